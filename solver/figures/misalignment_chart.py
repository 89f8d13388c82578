"""Chart of the onset over the offset or the tilt of an accelerator that is out of line."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.quantities.quantity import LENGTH
from conegap.solver.common.display_units import axis_unit
from conegap.solver.common.style import ACCENT, BAND, INK, SOFT, legend_below, quiet_axes
from conegap.solver.figures.picture import WIDTH, Picture, charted

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.studies.misalignment import Misalignment

__all__ = ["misalignment_pictures"]

# Points of a curve of second order.
_POINTS = 121
# Shown beyond what was solved, so that the drawn range stands inside the picture, [-].
_BEYOND = 1.5


def misalignment_pictures(found: Misalignment | None) -> list[Picture]:
    """Onset over the offset, or over the tilt where no offset is stated; none where nothing is.

    Parameters
    ----------
    found : Misalignment or None
    """
    if found is None:
        return []
    offset, tilt = found.limits
    over = "offset" if offset else "tilt"
    drawn = 100.0 * (1.0 / found.factor - 1.0)
    ends = [
        100.0 * (1.0 / found.law.factor(*place) - 1.0)
        for place in (
            ((-offset, found.place[1]), (offset, found.place[1]))
            if offset
            else ((0.0, -tilt), (0.0, tilt))
        )
    ]
    return [
        Picture(
            "misalignment",
            f"Onset beside that of the aligned gap over the {over} of the opening, by the second "
            "order solved in three dimensions; the band is the tolerance about the drawn place.",
            f"Onset over the {over} of the opening: {drawn:+.2g} % as drawn, {ends[0]:+.2g} % and "
            f"{ends[1]:+.2g} % as far as its tolerance goes to either side.",
            charted(lambda axes: _chart(axes, found), (WIDTH, 2.9)),
        )
    ]


def _chart(axes: Axes, found: Misalignment) -> Axes:
    """Change of the onset in per cent; the law's own error is about the line's width."""
    (offset, tilt), (most, lean) = found.place, found.limits
    unit, name, drawn, end = 1.0, "", offset, most
    if most:
        shown = axis_unit(LENGTH, most)
        unit, name = shown.size, f"offset of the opening [{shown.name}]"
    else:
        unit, name, drawn, end = math.radians(1.0), "tilt of the accelerator [deg]", tilt, lean
    x = np.linspace(-_BEYOND * end, _BEYOND * end, _POINTS)

    def change(places: float, leaning: float) -> float:
        at = (places, leaning) if most else (0.0, places)
        return 100.0 * (1.0 / found.law.factor(*at) - 1.0)

    axes.axhline(0.0, color=SOFT, lw=0.9, zorder=2)
    half = end - abs(drawn)
    if half > 0.0:
        axes.axvspan(
            (drawn - half) / unit, (drawn + half) / unit, color=BAND, zorder=1, label="tolerance"
        )
    words = f"leaning by {math.degrees(tilt):.3g}° as drawn" if most and tilt else "solved"
    axes.plot(x / unit, [change(v, tilt) for v in x], color=ACCENT, label=words, zorder=4)
    if most and tilt:
        axes.plot(
            x / unit,
            [change(v, 0.0) for v in x],
            color=INK,
            ls=(0, (4, 2)),
            label="square to the axis",
        )
    axes.plot(
        [drawn / unit], [change(drawn, tilt)], ls="none", marker="D", ms=6.0, mfc=BAND, mec=INK,
        label="as drawn", zorder=5,
    )  # fmt: skip
    axes.set_xlabel(name)
    axes.set_ylabel("change of the onset [%]")
    axes.set_xlim(x[0] / unit, x[-1] / unit)
    quiet_axes(axes)
    legend_below(axes)
    return axes
