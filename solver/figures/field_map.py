"""Equipotentials and meshes over a section."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.quantities.quantity import LENGTH, VOLTAGE
from conegap.solver.common.display_units import AxisUnit, axis_unit
from conegap.solver.common.style import ACCENT, INK, SOFT
from conegap.solver.figures.label_placer import Place, Placer
from conegap.solver.figures.section_view import draw_bodies, set_window
from conegap.solver.figures.window import Window, is_half

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.field.solution import FieldSolution

__all__ = ["draw_equipotentials", "draw_mesh", "label_lengths", "round_levels"]


def draw_equipotentials(
    axes: Axes,
    solution: FieldSolution,
    voltages: Mapping[str, float],
    window: Window,
) -> Axes:
    """Lines of equal potential at round voltages, with the electrodes.

    Parameters
    ----------
    voltages : mapping
        Of each electrode, [V].

    Examples
    --------
    ``python -m conegap.validation.gallery.equipotentials_on_axes`` draws them on axes of its own.
    """
    from matplotlib.tri import Triangulation

    section = solution.section
    unit = axis_unit(LENGTH, window.width)
    window = _whole_axes(set_window(axes, window, unit.size, lanes=False), unit)
    mesh = solution.levels[-1].mesh
    points = np.asarray(mesh.points) * solution.scale
    potential = solution.potential(voltages)
    triangles = _within(points, np.asarray(mesh.triangles), window)
    used, number = np.unique(triangles, return_inverse=True)
    points, potential = points[used], potential[used]
    triangles = number.reshape(-1, 3)
    shown = _seen(points, window)
    levels = round_levels(float(potential[shown].min()), float(potential[shown].max()), 11)
    volts = axis_unit(VOLTAGE, float(np.abs(levels).max()))
    flips = (1.0, -1.0) if is_half(section) else (1.0,)
    for flip in flips:
        grid = Triangulation(flip * points[:, 0] / unit.size, points[:, 1] / unit.size, triangles)
        axes.tricontour(
            grid,
            potential,
            levels=levels,
            colors=[ACCENT],
            linewidths=0.8,
            linestyles="-",
            zorder=4,
        )
    draw_bodies(axes, section, window, unit.size)
    _label_axes(axes, section.symmetry == "axisymmetric", unit)
    _label_levels(axes, points, triangles, potential, levels, volts, window, unit)
    return axes


def draw_mesh(axes: Axes, solution: FieldSolution, window: Window) -> Axes:
    """The triangles whose corners are the centres of the control volumes, on the right half.

    The first mesh of the sequence, on which single triangles can be seen.
    """
    section = solution.section
    unit = axis_unit(LENGTH, window.width)
    window = _whole_axes(set_window(axes, window, unit.size, lanes=False), unit)
    draw_bodies(axes, section, window, unit.size)
    mesh = solution.levels[0].mesh
    points = np.asarray(mesh.points) * solution.scale
    triangles = _within(points, np.asarray(mesh.triangles), window)
    axes.triplot(
        points[:, 0] / unit.size,
        points[:, 1] / unit.size,
        triangles,
        color=ACCENT,
        lw=0.35,
        zorder=4,
    )
    _label_axes(axes, section.symmetry == "axisymmetric", unit)
    return axes


def round_levels(low: float, high: float, count: int) -> FloatArray:
    """Round values strictly between two ends, (n,) array.

    Parameters
    ----------
    low, high : float
        Ends, in any unit.
    count : int
        About how many, [-].
    """
    span = high - low
    if not span > 0.0:
        return np.array([low])
    step = span / (count + 1)
    decade = 10.0 ** math.floor(math.log10(step))
    step = min(m * decade for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * decade >= 0.999 * step)
    first = math.ceil(low / step + 1e-6)
    last = math.floor(high / step - 1e-6)
    values = np.arange(first, last + 1) * step
    return np.asarray(values) if len(values) else np.array([(low + high) / 2.0])


def label_lengths(axes: Axes, axisymmetric: bool, unit: str) -> Axes:
    """Name the axes of a section.

    Parameters
    ----------
    axisymmetric : bool
    unit : str
        "mm".
    """
    across = "radius r" if axisymmetric else "x"
    axes.set_xlabel(f"{across} [{unit}]")
    if axisymmetric:
        axes.xaxis.set_major_formatter(lambda x, _: f"{abs(x):g}")
    axes.set_ylabel(f"height z above the emitting edge [{unit}]")
    return axes


def _whole_axes(axes: Axes, unit: AxisUnit) -> Window:
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    return Window(left * unit.size, right * unit.size, low * unit.size, high * unit.size)


def _label_axes(axes: Axes, axisymmetric: bool, unit: AxisUnit) -> None:
    label_lengths(axes, axisymmetric, unit.name)


def _within(points: FloatArray, triangles: IntArray, window: Window) -> IntArray:
    """Triangles that touch a window or its mirror image."""
    x, z = points[:, 0][triangles], points[:, 1][triangles]
    left = x.min(axis=1) <= max(window.right, -window.left)
    right = x.max(axis=1) >= min(window.left, -window.right)
    near = left & right & (z.min(axis=1) <= window.high) & (z.max(axis=1) >= window.low)
    return np.asarray(triangles[near])


def _seen(points: FloatArray, window: Window) -> BoolArray:
    """Which points lie in a window or its mirror image."""
    inside = (
        (points[:, 0] <= max(window.right, -window.left))
        & (points[:, 0] >= min(window.left, -window.right))
        & (points[:, 1] <= window.high)
        & (points[:, 1] >= window.low)
    )
    return np.asarray(inside if inside.any() else np.ones(len(points), dtype=bool))


def _label_levels(
    axes: Axes,
    points: FloatArray,
    triangles: IntArray,
    potential: FloatArray,
    levels: FloatArray,
    volts: AxisUnit,
    window: Window,
    unit: AxisUnit,
) -> None:
    """Write the voltage on each line where it crosses an upright or slanting way, if free."""
    placer = Placer(axes, unit.size)
    decimals = 0
    while decimals < 4 and np.any(
        np.abs(np.round(levels / volts.size, decimals) - levels / volts.size) > 1e-6
    ):
        decimals += 1
    ways = [(way, _potential_along(way, points, triangles, potential)) for way in _ways(window)]
    for level in levels:
        spots: list[Place] = []
        for way, (along, values) in ways:
            where = _first_place(along, values, float(level))
            if where is not None and where < way.length:
                x, z = way.point(where)
                spots.append((x / unit.size, z / unit.size, "center", "center"))
        if spots:
            words = f"{level / volts.size:.{decimals}f}".replace("-", "−")
            placer.text_if_free(words, spots, size=6.5, colour=INK)
    axes.set_title(f"potential in {volts.name}", fontsize=7.5, fontweight="normal", color=SOFT)


@dataclass(frozen=True)
class _Way:
    """A straight way through a window: start, unit direction and length, [m]."""

    start: tuple[float, float]
    direction: tuple[float, float]
    length: float

    def point(self, along: float) -> tuple[float, float]:
        return (
            self.start[0] + along * self.direction[0],
            self.start[1] + along * self.direction[1],
        )


def _potential_along(
    way: _Way, points: FloatArray, triangles: IntArray, potential: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where a way enters and leaves each triangle it cuts, and the potential there.

    Returns
    -------
    (n, 2) array
        Distance along the way of both cuts, [m].
    (n, 2) array
        Potential there, linear along the sides, [V].
    """
    away = points - np.array(way.start)
    along = away @ np.array(way.direction)
    side = away @ np.array([-way.direction[1], way.direction[0]])
    side = np.where(side == 0.0, 1e-300, side)  # a point on the way counts for one side
    cut = triangles[np.abs(np.sign(side[triangles]).sum(axis=1)) < 3.0]
    alone = np.argmax(np.sign(side[cut]) * np.sign(side[cut]).sum(axis=1)[:, None] < 0.0, axis=1)
    rows = np.arange(len(cut))
    places, values = [], []
    for step in (1, 2):
        one, two = cut[rows, alone], cut[rows, (alone + step) % 3]
        share = side[one] / (side[one] - side[two])
        places.append(along[one] + share * (along[two] - along[one]))
        values.append(potential[one] + share * (potential[two] - potential[one]))
    return np.stack(places, axis=1), np.stack(values, axis=1)


def _first_place(along: FloatArray, values: FloatArray, level: float) -> float | None:
    """Smallest distance at or past the start at which a way crosses a level, [m], or None."""
    low, high = values.min(axis=1), values.max(axis=1)
    hit = (low <= level) & (level <= high) & (high > low)
    a, b = along[hit], values[hit]
    where = a[:, 0] + (level - b[:, 0]) / (b[:, 1] - b[:, 0]) * (a[:, 1] - a[:, 0])
    where = where[where >= 0.0]
    return float(where.min()) if len(where) else None


def _ways(window: Window) -> Iterator[_Way]:
    """Lines through a window along which the voltages are written: upright ones, then rays."""
    for across in (0.62, 0.8, 0.45):
        yield _Way((across * window.right, window.high), (0.0, -1.0), window.height)
    for turn in (55.0, 40.0, 70.0, 25.0):
        x, z = math.sin(math.radians(turn)), math.cos(math.radians(turn))
        reach = 1.5 * max(window.width, window.height)
        yield _Way((0.0, 0.0), (x, z), min(reach, window.right / x, window.high / z))
