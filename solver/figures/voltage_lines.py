"""What the design and its supply give, as lines across a chart."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import AxisUnit, voltage_text
from conegap.solver.common.style import INK, LIMIT

if TYPE_CHECKING:
    from matplotlib.lines import Line2D

__all__ = ["mark_voltages"]


def mark_voltages(
    line: Callable[..., Line2D], design: Design, unit: AxisUnit, *, zorder: float = 2.0
) -> None:
    """Draw the design's voltage and, where there is one, the limit of its supply.

    Parameters
    ----------
    line : callable
        ``axes.axvline`` or ``axes.axhline``, across the axis of voltages.
    unit : AxisUnit
        Of that axis.
    zorder : float
        Height among the other parts of the chart, [-].
    """
    line(
        design.voltage / unit.size,
        color=INK,
        lw=1.0,
        ls=(0, (4, 2)),
        zorder=zorder,
        label=f"design {voltage_text(design.voltage)}",
    )
    limit = design.supply.voltage_limit
    if limit is not None:
        line(
            limit / unit.size,
            color=LIMIT,
            lw=1.3,
            ls=(0, (1, 1.2)),
            zorder=zorder,
            label=f"supply limit {voltage_text(limit)}",
        )
