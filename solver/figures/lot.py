"""The onset of every article of a lot with its band, beside its measured onset and the supplies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.quantities.quantity import VOLTAGE
from conegap.solver.common.display_units import axis_unit, voltage_text
from conegap.solver.common.style import ACCENT, BAND, INK, LIMIT, SOFT, legend_below, quiet_axes
from conegap.solver.lots.lot import Lot
from conegap.solver.lots.supplies import Choice

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["chart_lot", "lot_height"]

# Of the highest onset: what a supply allows farther up would press the articles together.
_NEAR = 1.2


def chart_lot(axes: Axes, lot: Lot, choices: Sequence[Choice]) -> Axes:
    """One line an article, the lowest onset on top; one without an onset says so.

    Parameters
    ----------
    choices : sequence of Choice
        Whose allowed voltages are drawn, unless they lie far beyond all onsets.
    """
    order = sorted(lot.results, key=lambda one: (np.isnan(one.voltage), one.voltage))
    ends = [one.high for one in order if not one.refusal]
    ends += [one.low for one in order if not one.refusal]
    ends += [one.article.measured for one in order if one.article.measured is not None]
    ends.append(lot.drawn)
    allowed = sorted({one.allowed for one in choices if one.allowed <= _NEAR * max(ends)})
    ends += allowed
    unit = axis_unit(VOLTAGE, max(ends))
    for k, one in enumerate(order):
        if one.refusal:
            axes.annotate("no onset", (min(ends) / unit.size, k), va="center", color=LIMIT)
            continue
        low, high, at = (v / unit.size for v in (one.low, one.high, one.voltage))
        label = "onset with its band" if k == 0 else "_"
        axes.barh(k, high - low, left=low, height=0.56, fc=BAND, ec=ACCENT, lw=0.6, zorder=2)
        axes.plot([at, at], [k - 0.36, k + 0.36], color=ACCENT, lw=2.0, label=label, zorder=3)
    measured = [(one.article.measured, k) for k, one in enumerate(order) if one.article.measured]
    if measured:
        values, places = np.array(measured).T
        axes.plot(values / unit.size, places, "D", color=INK, ms=4.0, label="measured", zorder=5)
    drawn = f"as drawn {voltage_text(lot.drawn)}"
    axes.axvline(lot.drawn / unit.size, color=SOFT, lw=0.9, ls=(0, (4, 2)), label=drawn)
    for value in allowed:
        words = f"allowed by a supply {voltage_text(value)}"
        axes.axvline(value / unit.size, color=LIMIT, lw=1.3, ls=(0, (1, 1.2)), label=words)
    room = 0.04 * (max(ends) - min(ends)) / unit.size
    axes.set_xlim(min(ends) / unit.size - room, max(ends) / unit.size + room)
    axes.set_ylim(len(order) - 0.4, -0.6)
    axes.set_yticks(range(len(order)), [one.article.name for one in order])
    axes.set_xlabel(f"emitter minus accelerator [{unit.name}]")
    quiet_axes(axes).grid(False, axis="y")
    return legend_below(axes)


def lot_height(lot: Lot) -> float:
    """Height of the chart, [in]."""
    return 1.2 + 0.2 * len(lot.results)
