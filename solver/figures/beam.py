"""The fan of ion paths over the drawn section, true to scale, with what it hits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.quantity import LENGTH
from conegap.solver.common.display_units import axis_unit, percent
from conegap.solver.common.style import ACCENT, INK, LIMIT, PAPER, SOFT
from conegap.solver.figures.field_map import label_lengths
from conegap.solver.figures.section_view import draw_bodies, set_window
from conegap.solver.figures.window import Window, electrodes_window, is_half

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.beam.ion_beam import Beam

__all__ = ["beam_alt", "beam_caption", "beam_window", "draw_beam"]

# Of each edge: enough to show the fan, few enough to tell them apart.
_PATHS = 21


def beam_window(section: Section) -> Window:
    """From a little below the emitting edge to as far beyond the accelerator as the gap is wide."""
    whole = electrodes_window(section)
    metal = [b.outline for b in section.bodies if b.label == "accelerator"]
    top = max((float(m[:, 1].max()) for m in metal), default=section.gap)
    low = max(whole.low, -0.45 * section.gap)
    high = top + 1.1 * section.gap
    wide = min(max(0.62 * (high - low), 1.25 * _opening(section)), max(whole.right, -whole.left))
    return Window(-wide, wide, low, high)


def draw_beam(axes: Axes, section: Section, beam: Beam, window: Window | None = None) -> Axes:
    """Paths that leave in full lines, those that are caught broken and with a cross at their end.

    Parameters
    ----------
    window : Window or None
        That of `beam_window` when left out.
    """
    window = window or beam_window(section)
    unit = axis_unit(LENGTH, window.width)
    set_window(axes, window, unit.size, lanes=False)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    window = Window(left * unit.size, right * unit.size, low * unit.size, high * unit.size)
    draw_bodies(axes, section, window, unit.size)
    flips = (1.0, -1.0) if is_half(section) else (1.0,)
    landing = beam.trajectories.landing
    shown = _shown(beam)
    for number in shown:
        path, spot = beam.trajectories.paths[number], landing[number]
        caught = spot is not None and spot.name in ("accelerator", "emitter", "liquid")
        look = {"color": LIMIT, "ls": (0, (4, 2))} if caught else {"color": ACCENT, "ls": "-"}
        line = _thinned(path, window)
        for flip in flips:
            axes.plot(
                flip * line[:, 0] / unit.size, line[:, 1] / unit.size, lw=0.75, zorder=4.5, **look
            )
            if caught:
                axes.plot(
                    [flip * path[-1, 0] / unit.size],
                    [path[-1, 1] / unit.size],
                    marker="X",
                    ms=5.5,
                    mfc=LIMIT,
                    mec=PAPER,
                    mew=0.6,
                    ls="none",
                    zorder=8,
                )
    label_lengths(axes, section.symmetry == "axisymmetric", unit.name)
    if math.isfinite(beam.half_angle_95):
        _draw_edges(axes, beam, window, unit.size, half=is_half(section))
    axes.set_title(_headline(beam), fontsize=7.5, fontweight="normal", color=SOFT)
    return axes


def beam_caption(beam: Beam) -> str:
    """What the figure shows, with the assumption that it rests on."""
    with_charge = (
        "of single ions"
        if beam.charge is None
        else "with the beam's own charge at the expected current"
    )
    words = [
        f"Paths of ions at the operating point, true to scale, {with_charge}. Emission half angle "
        f"{_degrees(beam.emission.half_angle)} (assumed)."
    ]
    if math.isfinite(beam.half_angle_95):
        words.append("Dotted lines hold 95 % of what leaves.")
    if beam.spots:
        words.append("Crosses mark where ions meet the accelerator; their paths are broken lines.")
    return " ".join(words)


def beam_alt(beam: Beam) -> str:
    """The figure in words."""
    return f"Fan of ion paths from the emitting edge through the accelerator: {_headline(beam)}."


def _headline(beam: Beam) -> str:
    caught = (
        f"{percent(beam.intercepted)} lands on the accelerator"
        if beam.intercepted
        else ("none lands on the accelerator")
    )
    if not math.isfinite(beam.half_angle_95):
        return caught
    words = f"95 % within ±{_degrees(beam.half_angle_95)}"
    if abs(beam.steering_angle) >= math.radians(0.1):
        words += f" of {_degrees(beam.steering_angle)}".replace("-", "−")
    return f"{words}; {caught}"


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.3g}°"


def _shown(beam: Beam) -> list[int]:
    """Numbers of a few paths spread evenly over the starts of each edge."""
    count, wanted = len(beam.trajectories.paths), _PATHS * len(beam.edge_shares)
    return sorted(set(np.linspace(0, count - 1, min(wanted, count)).round().astype(int).tolist()))


def _thinned(path: FloatArray, window: Window) -> FloatArray:
    """A path up to a little beyond the window, without points too close to be told apart."""
    outside = np.nonzero(path[:, 1] > window.high + 0.02 * window.height)[0]
    path = path[: outside[0] + 1] if len(outside) else path
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    keep = np.unique(np.searchsorted(s, np.arange(0.0, s[-1], window.height / 400.0)))
    return np.vstack([path[keep], path[-1:]])


def _draw_edges(axes: Axes, beam: Beam, window: Window, unit: float, *, half: bool) -> None:
    """Straight lines at the final angles that hold 95 %, from where the beam crosses the top."""
    paths = beam.trajectories.paths
    angle = beam.trajectories.end_angle
    for side in (1.0, -1.0):
        wanted = beam.steering_angle + side * beam.half_angle_95
        if half and side < 0.0:
            continue
        number = int(np.nanargmin(np.where(_leaves(beam), np.abs(angle - wanted), np.nan)))
        line = _thinned(paths[number], window) / unit
        for flip in (1.0, -1.0) if half else (1.0,):
            axes.plot(flip * line[:, 0], line[:, 1], color=INK, lw=1.5, ls=(0, (1, 1.6)), zorder=5)


def _leaves(beam: Beam) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    names = [spot.name if spot is not None else "" for spot in beam.trajectories.landing]
    return np.array([name in ("chamber", "outer") for name in names])


def _opening(section: Section) -> float:
    """Half width of the accelerator's opening with its rounded edges, [m]."""
    metal = [np.abs(b.outline[:, 0]).min() for b in section.bodies if b.label == "accelerator"]
    return float(max(metal, default=section.gap))
