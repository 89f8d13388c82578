"""The dimensioned section, true to scale, and the magnified view of the emitting edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import DimensionMark, EmittingEdge, Section
from conegap.geometries.quantities.quantity import LENGTH
from conegap.solver.common.display_units import axis_unit, length_words
from conegap.solver.common.style import (
    INK,
    INSULATOR,
    LIQUID,
    METAL,
    METAL_HATCH,
    SOFT,
)
from conegap.solver.figures.dimensions import draw_dimensions
from conegap.solver.figures.label_placer import Place, Placer
from conegap.solver.figures.window import (
    Window,
    edge_window,
    electrodes_window,
    is_half,
    round_length,
    surfaces,
    whole_outlines,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.path import Path

__all__ = [
    "draw_bodies",
    "draw_edge",
    "draw_scale_bar",
    "draw_section",
    "section_size",
    "set_window",
]

_HATCH = {"emitter": "////", "accelerator": "\\\\\\\\"}
# Width kept free at the right for upright dimensions, four lanes of text, [pt].
_LANE_POINTS = 74.0


def section_size(window: Window, width: float) -> tuple[float, float]:
    """Size of a figure that shows a window without spare room, (width, height), [in].

    There is room for upright dimensions at the right.

    Parameters
    ----------
    width : float
        Width of the figure, [in].
    """
    inner = width - _LANE_POINTS / 72.0
    return width, min(max(inner * window.height / window.width, 1.5), 1.45 * width)


def draw_section(axes: Axes, section: Section, window: Window | None = None) -> Axes:
    """The electrodes as drawn, mirrored about the axis, with their dimensions.

    Parameters
    ----------
    axes : Axes
        In a figure of `section_size`.
    window : Window or None
        The electrodes with the gap when left out.

    Examples
    --------
    ``python -m conegap.validation.gallery.section_on_axes`` draws a shipped design.
    """
    window = window or electrodes_window(section)
    marks = tuple(mark for mark in section.marks if not mark.inset)
    return _drawing(axes, section, window, marks, labels=("emitter", "accelerator"))


def draw_edge(axes: Axes, section: Section, edge: EmittingEdge) -> Axes:
    """The emitting edge, magnified and true to scale, with the dimensions that belong there.

    Parameters
    ----------
    axes : Axes
        In a figure of `section_size` of its window.
    """
    marks = tuple(mark for mark in section.marks if mark.inset)
    return _drawing(axes, section, edge_window(section, edge), marks, labels=("liquid", "emitter"))


def set_window(axes: Axes, window: Window, unit: float, *, lanes: bool) -> Axes:
    """Equal axes that show a window, with the room of the figure that is left.

    Parameters
    ----------
    unit : float
        Length of the axes' unit, [m].
    lanes : bool
        Leave room for upright dimensions at the right.
    """
    figure = axes.figure
    box = axes.get_position()
    width, height = (float(v) for v in figure.get_size_inches() * 72.0)  # type: ignore[union-attr]
    width, height = width * box.width, height * box.height
    inner = width - (_LANE_POINTS if lanes else 0.0)
    scale = min(inner / window.width, height / window.height)
    spare = inner / scale - window.width
    left = window.left - spare / 2.0
    middle = (window.low + window.high) / 2.0
    axes.set_xlim(left / unit, (left + width / scale) / unit)
    axes.set_ylim((middle - height / scale / 2.0) / unit, (middle + height / scale / 2.0) / unit)
    axes.set_aspect("equal", adjustable="box")
    return axes


def draw_bodies(
    axes: Axes,
    section: Section,
    window: Window,
    unit: float,
    *,
    outlines: bool = True,
    liquid_top: float | None = None,
) -> Axes:
    """Filled and hatched parts, cut off at a window, and their surfaces.

    Parameters
    ----------
    unit : float
        Length of the axes' unit, [m].
    outlines : bool
        Draw the surfaces as strong lines.
    liquid_top : float or None
        Leave out the liquid above this height, [m].
    """
    from matplotlib.patches import PathPatch, Rectangle
    from matplotlib.path import Path

    frame = Rectangle(
        (window.left / unit, window.low / unit),
        window.width / unit,
        window.height / unit,
        transform=axes.transData,
    )
    top = window.high if liquid_top is None else min(max(liquid_top, window.low), window.high)
    below = Rectangle(
        (window.left / unit, window.low / unit),
        window.width / unit,
        (top - window.low) / unit,
        transform=axes.transData,
    )
    order = {"insulator": 2.0, "electrode": 3.0, "liquid": 3.5}
    for body in section.bodies:
        for outline in whole_outlines(section, body):
            path = Path(_kept_near(outline, window) / unit, closed=False)
            if body.material == "electrode":
                look = {"fc": METAL, "ec": METAL_HATCH, "hatch": _HATCH.get(body.label, "////")}
            elif body.material == "liquid":
                look = {"fc": LIQUID, "ec": "none"}
            else:
                look = {"fc": INSULATOR, "ec": METAL_HATCH, "hatch": "----"}
            patch = PathPatch(path, lw=0.0, zorder=order[body.material], **look)
            axes.add_patch(patch)
            cut = body.material == "liquid" and liquid_top is not None
            patch.set_clip_path(below if cut else frame)
    if outlines:
        for name, points in surfaces(section, 513):
            if name in ("axis", "symmetry", "outer"):
                continue
            line = axes.plot(
                points[:, 0] / unit,
                points[:, 1] / unit,
                color=INK,
                lw=1.1,
                zorder=6,
                ls="-" if name != "chamber" else (0, (5, 2)),
            )[0]
            line.set_clip_path(frame)
    return axes


def _kept_near(outline: FloatArray, window: Window) -> FloatArray:
    """An outline with far points drawn in, so that hatches and files stay small."""
    room = 2.0 * max(window.width, window.height)
    if np.ptp(outline, axis=0).max() < 20.0 * room:
        return outline
    return _cut(outline, window, room)


def _cut(outline: FloatArray, window: Window, room: float) -> FloatArray:
    """A polygon cut by a rectangle (Sutherland and Hodgman), (n, 2) array, [m]."""
    sides = (
        (0, window.left - room, 1.0),
        (0, window.right + room, -1.0),
        (1, window.low - room, 1.0),
        (1, window.high + room, -1.0),
    )
    points = list(outline)
    for column, limit, sign in sides:
        kept = []
        for k, here in enumerate(points):
            before = points[k - 1]
            inside, was = (
                sign * (here[column] - limit) >= 0.0,
                sign * (before[column] - limit) >= 0.0,
            )
            if inside != was:
                share = (limit - before[column]) / (here[column] - before[column])
                kept.append(before + share * (here - before))
            if inside:
                kept.append(here)
        points = kept
        if not points:
            break
    return np.array(points) if points else np.empty((0, 2))


def _drawing(
    axes: Axes,
    section: Section,
    window: Window,
    marks: tuple[DimensionMark, ...],
    *,
    labels: tuple[str, ...],
) -> Axes:
    unit = axis_unit(LENGTH, window.width).size
    set_window(axes, window, unit, lanes=True)
    axes.set_axis_off()
    draw_bodies(axes, section, window, unit)
    placer = Placer(axes, unit)
    if is_half(section):
        placer.line(
            (0.0, window.low / unit),
            (0.0, window.high / unit),
            color=SOFT,
            lw=0.6,
            zorder=7,
            ls=(0, (9, 2, 1.5, 2)),
        )
    for name, points in surfaces(section, 129):
        if name not in ("axis", "symmetry", "outer"):
            placer.avoid(_filled(points, window.width / 60.0) / unit)
    draw_scale_bar(placer, window, unit)
    draw_dimensions(placer, marks, window.right / unit + placer.length(10.0), unit=unit)
    _part_names(placer, section, window, unit, labels)
    return axes


def _filled(points: FloatArray, step: float) -> FloatArray:
    """Points along a polyline no farther apart than a step, at most a thousand."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0.0, s[-1], min(1000, 2 + int(s[-1] / step)))
    return np.stack([np.interp(at, s, points[:, k]) for k in range(2)], axis=1)


def draw_scale_bar(placer: Placer, window: Window, unit: float) -> None:
    """A bar of a round length in the lower right corner, beside the section.

    Parameters
    ----------
    unit : float
        Length of the axes' unit, [m].
    """
    length = round_length(placer.length(_LANE_POINTS - 22.0) * unit)
    x, z = window.right / unit + placer.length(12.0), window.low / unit + placer.length(6.0)
    end = x + length / unit
    rise = placer.length(2.5)
    placer.line((x, z), (end, z), lw=2.2, zorder=9)
    middle = (x + end) / 2.0
    placer.text(length_words(length), [(middle, z + rise, "center", "bottom")], paper=False)


def _part_names(
    placer: Placer, section: Section, window: Window, unit: float, wanted: tuple[str, ...]
) -> None:
    """Name each part once, inside it, where there is room."""
    from matplotlib.path import Path

    for name in wanted:
        across = 0.55 * placer.width(name) * unit
        up = 0.6 * placer.length(9.0) * unit
        inside: list[tuple[float, float]] = []
        for body in section.bodies:
            if body.label != name:
                continue
            for outline in whole_outlines(section, body):
                inside += _free_places(Path(outline), window, across, up)
        inside.sort(key=lambda p: (abs(p[0] - 0.6 * window.left), -p[1]))
        places: list[Place] = [(x / unit, z / unit, "center", "center") for x, z in inside[:200]]
        places = places or _on_thin_parts(section, window, unit, name)
        if places:
            placer.text(name, places, colour=SOFT if name != "liquid" else INK)


def _on_thin_parts(section: Section, window: Window, unit: float, name: str) -> list[Place]:
    """Places over a wall that closes around the whole picture and has no room for its name."""
    found: list[Place] = []
    if "chamber" in section.electrodes:
        return found
    for body in section.bodies:
        if body.label == name and body.outline[:, 1].min() < window.low + 0.2 * window.height:
            x, z = body.outline[np.argsort(body.outline[:, 1])].T
            near = abs(x) < 0.45 * window.width
            found += [
                (float(a) / unit, float(b) / unit, "center", "center")
                for a, b in zip(x[near], z[near], strict=True)
            ][4:40]
    return found


def _free_places(path: Path, window: Window, across: float, up: float) -> list[tuple[float, float]]:
    """Places in a body with room for a word on all sides, [m]."""
    grid_x = np.linspace(window.left + across, window.right - across, 41)
    grid_z = np.linspace(window.low + up, window.high - up, 61)
    x, z = (values.ravel() for values in np.meshgrid(grid_x, grid_z))
    free = np.ones(len(x), dtype=bool)
    for i in (-1.0, 0.0, 1.0):
        for j in (-1.0, 0.0, 1.0):
            free &= path.contains_points(np.stack([x + i * across, z + j * up], axis=1))
    return list(zip(x[free].tolist(), z[free].tolist(), strict=True))
