"""Load-line chart: current of the cones and line of the supply over the voltage of the gap."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.quantity import CURRENT, VOLTAGE
from conegap.solver.common.display_units import axis_unit, current_text, span_text, voltage_text
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    INK,
    LIMIT,
    SOFT,
    legend_below,
    quiet_axes,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.assessment import Assessment
    from conegap.solver.operation.beam_current import CurrentLaw
    from conegap.solver.operation.gap_operation import GapOperation
    from conegap.solver.operation.operating_point import OperatingPoint

__all__ = [
    "chart_load_line",
    "currents",
    "line_of_supply",
    "load_line_alt",
    "load_line_caption",
]

# Points of a curve: enough for a smooth line at the width of the page.
_POINTS = 61


def chart_load_line(axes: Axes, assessment: Assessment) -> Axes:
    """Cone curve with its band, load line, onset, extinction and operating point."""
    operation, supply = assessment.operation, assessment.design.supply
    at, law = operation.operating, operation.emission
    weak, strong = operation.operating_band
    slow, steep = operation.emission_band
    still = law.onset_voltage * law.extinction_over_onset
    lit = max(at.point.lit, 1)
    # No two tips of a crown are alike; the first ones light, and go out, below this.
    alike = ", tips alike" if len(law.relative_onsets) > 1 else ""
    first = min(still, steep.onset_voltage * steep.extinction_over_onset)
    left = first - 0.08 * (at.set_voltage - first)
    right = at.set_voltage + 0.05 * (at.set_voltage - left)
    if right <= first:
        left, right = 0.9 * at.set_voltage, 1.1 * law.onset_voltage
    # The point where the curve leaves the axis is one of its points.
    begin = still * (1.0 + 1e-9)
    across = np.sort(np.append(np.linspace(left, right, _POINTS), begin))
    burning = currents(law, lit, across)
    low = currents(slow, max(weak.point.lit, 1), across)
    high = currents(steep, max(strong.point.lit, 1), across)
    # As high as the band reaches on the load line, with room for what stands above.
    top = 1.25 * max(strong.point.current, at.point.current, float(burning.max()) * 0.05, 1e-9)
    limit = supply.current_limit
    if limit is not None and limit < 2.0 * top:
        top = max(top, 1.15 * limit)
    volts, amperes = axis_unit(VOLTAGE, right), axis_unit(CURRENT, top)
    x = across / volts.size
    axes.fill_between(
        x, low / amperes.size, high / amperes.size, fc=BAND, lw=0.0, alpha=0.75, zorder=1,
        label="band of the cones",
    )  # fmt: skip
    shown = burning > 0.0
    axes.plot(
        x[shown], burning[shown] / amperes.size, color=ACCENT, lw=2.0, zorder=4, label=_burning(at)
    )
    line = line_of_supply(at, supply.ballast_resistance, limit, top)
    axes.plot(
        line[:, 0] / volts.size, line[:, 1] / amperes.size, color=INK, lw=1.4, ls=(0, (5, 2)),
        zorder=3, label="supply behind its ballast",
    )  # fmt: skip
    ends = np.array([[p.point.voltage, p.point.current] for p in (weak, at, strong)])
    if len(line) > 2 and ends[2, 1] >= line[1, 1] * (1.0 - 1e-9):
        # Round the corner of the current limit.
        ends = np.array([*(p for p in ends if p[0] >= line[1, 0]), line[1], ends[2]])
    axes.plot(
        ends[:, 0] / volts.size, ends[:, 1] / amperes.size, color=INK, lw=4.5, alpha=0.45,
        solid_capstyle="butt", zorder=2, label="its operating points",
    )  # fmt: skip
    axes.plot(
        [at.point.voltage / volts.size], [at.point.current / amperes.size], ls="none", marker="o",
        ms=7.0, mfc="white", mec=INK, mew=1.8, zorder=6, label=_words(at), clip_on=False,
    )  # fmt: skip
    axes.axvline(
        law.onset_voltage / volts.size, color=SOFT, lw=1.2, ls=(0, (1, 1.2)), zorder=2,
        label=f"onset {voltage_text(law.onset_voltage)}{alike}",
    )  # fmt: skip
    if still < law.onset_voltage:
        axes.axvline(
            still / volts.size, color=SOFT, lw=1.0, ls=(0, (6, 2, 1, 2)), zorder=2,
            label=f"extinction {voltage_text(still)} (estimate)",
        )  # fmt: skip
    if limit is not None:
        beyond = "" if limit <= top else " (above)"
        axes.axhline(
            limit / amperes.size, color=LIMIT, lw=1.3, ls=(0, (3, 1.5)), zorder=2,
            label=f"current limit {current_text(limit)}{beyond}",
        )  # fmt: skip
    axes.set_xlim(left / volts.size, right / volts.size)
    axes.set_ylim(0.0, top / amperes.size)
    axes.set_xlabel(f"voltage across the gap [{volts.name}]")
    axes.set_ylabel(f"current of all sites [{amperes.name}]")
    quiet_axes(axes)
    return legend_below(axes)


def currents(law: CurrentLaw, lit: int, voltages: FloatArray) -> FloatArray:
    """Current of tips that burn at each voltage, (n,) array, [A].

    Parameters
    ----------
    law : CurrentLaw
    lit : int
        Tips that burn, [-].
    voltages : (n,) array
        Across the gap, [V].
    """
    return np.array([law.at(volts, lit).current for volts in voltages.tolist()])


def line_of_supply(
    at: OperatingPoint, ballast: float, limit: float | None, top: float
) -> FloatArray:
    """Corners of the line of a supply: down along its ballast, then along its current limit.

    Parameters
    ----------
    at : OperatingPoint
        For the voltage that is set.
    ballast : float
        [ohm].
    limit : float or None
        [A].
    top : float
        Where the chart ends, [A].

    Returns
    -------
    (n, 2) array
        Voltage across the gap and current, [V] and [A].
    """
    most = top if limit is None else min(limit, top)
    corners = [(at.set_voltage, 0.0), (at.set_voltage - ballast * most, most)]
    if limit is not None and limit <= top:
        corners.append((0.0, limit))
    return np.array(corners)


def load_line_caption(operation: GapOperation) -> str:
    """Words under the chart.

    Parameters
    ----------
    operation : GapOperation
    """
    at = operation.operating
    words = (
        "Where supply, ballast, feed and cones meet; the band takes the slope a factor of three "
        "either way and the onset at the ends of its band."
    )
    if at.state == "current limit":
        words += (
            " The supply's current limit is reached: its voltage sags to "
            f"{voltage_text(at.supply_voltage)}."
        )
    return words


def load_line_alt(operation: GapOperation) -> str:
    """The chart in words.

    Parameters
    ----------
    operation : GapOperation
    """
    at, law = operation.operating, operation.emission
    return (
        f"Current against voltage across the gap: onset {voltage_text(law.onset_voltage)}, "
        f"{_words(at)}, supply set to {voltage_text(at.set_voltage)}."
    )


def _burning(at: OperatingPoint) -> str:
    tips = at.point.lit
    return f"{tips} burning tips" if tips > 1 else "burning cones"


def _words(at: OperatingPoint) -> str:
    if not at.current_known:
        return f"a current that is not known at {voltage_text(at.set_voltage)}"
    if at.state == "dark":
        return f"no emission at {voltage_text(at.set_voltage)}"
    amperes = span_text(current_text, at.point.current, at.point.current)
    return f"operating point {voltage_text(at.point.voltage)}, {amperes}"
