"""What the design and its supply give, as lines across a chart."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import AxisUnit, voltage_text
from conegap.solver.common.style import INK, LIMIT

if TYPE_CHECKING:
    from matplotlib.lines import Line2D

__all__ = ["mark_voltages", "voltage_span"]

# Room about the data, over what they span; a line farther away than twice that span would press
# the data into a corner and is named in the legend only.
_ROOM, _FAR = 0.12, 2.0
# Smallest span of an axis over its largest value, so that numerical scatter is not enlarged.
_LEAST = 0.02


def voltage_span(low: float, high: float, design: Design) -> tuple[float, float]:
    """Ends of a voltage axis that shows where the data differ, [V].

    Design voltage and supply limit widen it where they are not far away.

    Parameters
    ----------
    low, high : float
        Of the data, [V].
    """
    span = max(high - low, _LEAST * high)
    limit = design.supply.voltage_limit
    near = [
        value
        for value in (design.voltage, limit)
        if value is not None and low - _FAR * span <= value <= high + _FAR * span
    ]
    low, high = min(low, *near, high), max(high, *near, low)
    room = _ROOM * max(high - low, span)
    return max(low - room, 0.0), high + room


def mark_voltages(
    line: Callable[..., Line2D],
    design: Design,
    unit: AxisUnit,
    *,
    span: tuple[float, float] | None = None,
    zorder: float = 2.0,
) -> None:
    """Draw the design's voltage and, where there is one, the limit of its supply.

    Parameters
    ----------
    line : callable
        ``axes.axvline`` or ``axes.axhline``, across the axis of voltages.
    unit : AxisUnit
        Of that axis.
    span : tuple of float or None
        Ends of that axis, [V]: the legend says which line lies outside.
    zorder : float
        Height among the other parts of the chart, [-].
    """
    line(
        design.voltage / unit.size,
        color=INK,
        lw=1.0,
        ls=(0, (4, 2)),
        zorder=zorder,
        label=f"design {voltage_text(design.voltage)}{_outside(design.voltage, span)}",
    )
    limit = design.supply.voltage_limit
    if limit is not None:
        line(
            limit / unit.size,
            color=LIMIT,
            lw=1.3,
            ls=(0, (1, 1.2)),
            zorder=zorder,
            label=f"supply limit {voltage_text(limit)}{_outside(limit, span)}",
        )


def _outside(value: float, span: tuple[float, float] | None) -> str:
    if span is None or span[0] <= value <= span[1]:
        return ""
    return " (above)" if value > span[1] else " (below)"
