"""The chart of a trade-off: the curve of best designs, and every design that was solved."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.quantity import VOLTAGE
from conegap.solver.common.display_units import AxisUnit, axis_unit
from conegap.solver.common.style import ACCENT, INK, LIMIT, PAPER, legend_below, quiet_axes
from conegap.solver.sizing.search import Sizing
from conegap.solver.sizing.trade import Goal, Trade, TradePoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["chart_trade"]

# Units of a thrust's axis, largest first, with their sizes in newton.
_THRUSTS = ((1e-3, "mN"), (1e-6, "µN"), (1e-9, "nN"))


def chart_trade(axes: Axes, trade: Trade, found: Sizing) -> Axes:
    """Second goal over first: curve, solved designs, the answer.

    Parameters
    ----------
    axes : Axes
    trade : Trade
    found : Sizing
        The answer that is marked, where its goals are known.
    """
    units = [
        _unit(goal, max(one.goals[k] for one in (*trade.curve, *trade.solved)))
        for k, goal in enumerate(trade.goals)
    ]

    def placed(points: tuple[TradePoint, ...]) -> FloatArray:
        sizes = [unit.size for unit in units]
        return np.array([one.goals for one in points], dtype=float).reshape(-1, 2) / sizes

    curve = placed(trade.curve)
    if len(curve) > 1:
        axes.plot(*curve.T, color=ACCENT, lw=1.6, zorder=3, label="best designs, from the surfaces")
    ends = placed(trade.solved)
    met = np.array([one.met for one in trade.solved], dtype=bool)
    axes.plot(
        *ends[met].T,
        ls="none",
        marker="o",
        ms=4.5,
        color=ACCENT,
        zorder=4,
        label="solved, meets all",
    )
    axes.plot(
        *ends[~met].T, ls="none", marker="o", ms=4.5, mfc=PAPER, mec=LIMIT, zorder=2,
        label="solved, misses a demand",
    )  # fmt: skip
    own = [goal.value(found.sample) for goal in trade.goals]
    if own[0] is not None and own[1] is not None:
        axes.plot(
            own[0] / units[0].size, own[1] / units[1].size, ls="none", marker="s", ms=8,
            mfc="none", mec=INK, mew=1.2, zorder=5, label="the answer",
        )  # fmt: skip
    axes.set_xlabel(_words(trade.goals[0], units[0]))
    axes.set_ylabel(_words(trade.goals[1], units[1]))
    quiet_axes(axes)
    return legend_below(axes)


def _unit(goal: Goal, largest: float) -> AxisUnit:
    if goal.unit == "V":
        return axis_unit(VOLTAGE, largest)
    if goal.unit == "N":
        size, name = next((one for one in _THRUSTS if largest >= one[0]), _THRUSTS[-1])
        return AxisUnit(size, name)
    return AxisUnit(1.0, "")


def _words(goal: Goal, unit: AxisUnit) -> str:
    label = {"beam_half_width": "beam half-width / available half-width"}
    words = label.get(goal.key, goal.key.replace("_", " "))
    return f"{words} [{unit.name}]" if unit.name else words
