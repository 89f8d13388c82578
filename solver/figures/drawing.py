"""Drawings of what no plane section shows: plans and sections put together from outlines."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.quantity import LENGTH
from conegap.solver.common.display_units import axis_unit
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    INK,
    INSULATOR,
    LIQUID,
    METAL,
    METAL_HATCH,
    PAPER,
    SOFT,
    pretty,
)
from conegap.solver.figures.dimensions import draw_dimensions
from conegap.solver.figures.label_placer import Across, Place, Placer
from conegap.solver.figures.picture import WIDTH
from conegap.solver.figures.section_view import draw_scale_bar, set_window
from conegap.solver.figures.window import Window

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "Drawing",
    "Name",
    "Shape",
    "circle",
    "diameter_leader",
    "dimension_label",
    "draw_drawing",
    "length_text",
    "page_point",
    "rectangle",
]

Look = Literal["cut", "cut_other", "seen", "far", "opening", "liquid", "insulator", "solved"]

_LOOKS: dict[str, dict[str, object]] = {
    "cut": {"fc": METAL, "ec": METAL_HATCH, "hatch": "////"},
    "cut_other": {"fc": METAL, "ec": METAL_HATCH, "hatch": "\\\\\\\\"},
    "seen": {"fc": METAL, "ec": "none"},
    "far": {"fc": "#eef0f1", "ec": "none"},
    "opening": {"fc": PAPER, "ec": "none"},
    "liquid": {"fc": LIQUID, "ec": "none"},
    "insulator": {"fc": INSULATOR, "ec": METAL_HATCH, "hatch": "----"},
    "solved": {"fc": BAND, "ec": ACCENT, "alpha": 0.55},
}
# Chain line: long dash, gap, dot, gap, [pt].
_CHAIN = (0, (9, 2, 1.5, 2))


@dataclass(frozen=True)
class Shape:
    """A filled outline.

    Parameters
    ----------
    outline : (n, 2) array
        Closed, [m].
    look : str
        "cut" or "cut_other" for metal in the plane of a section, "seen" for metal before or below
        it, "far" for what lies behind, "opening", "liquid", "insulator" or "solved".
    edge : float
        Width of its outline, 0 for none, [pt].
    """

    outline: FloatArray
    look: Look
    edge: float = 1.1


@dataclass(frozen=True)
class Name:
    """Words on a drawing.

    Parameters
    ----------
    words : str
    places : tuple of (x, y)
        Where their middle may be, best first, [m].
    size : float
        [pt].
    strong : bool
        In ink; softer otherwise.
    needed : bool
        Left out where there is no room if not.
    left : bool
        The places are those of its left end.
    """

    words: str
    places: tuple[tuple[float, float], ...]
    size: float = 7.5
    strong: bool = False
    needed: bool = True
    left: bool = False


@dataclass(frozen=True)
class Drawing:
    """A drawing to scale.

    Parameters
    ----------
    shapes : tuple of Shape
        The hindmost first.
    marks : tuple of DimensionMark
    names : tuple of Name
    centres : tuple of (2, 2) array
        Chain lines, [m].
    lines, hidden : tuple of (n, 2) array
        Thin full and dashed lines, [m].
    """

    window: Window
    shapes: tuple[Shape, ...]
    marks: tuple[DimensionMark, ...] = ()
    names: tuple[Name, ...] = ()
    centres: tuple[FloatArray, ...] = field(default=())
    lines: tuple[FloatArray, ...] = field(default=())
    hidden: tuple[FloatArray, ...] = field(default=())

    @property
    def point(self) -> float:
        """What one point of the page is in a figure of the usual width, [m]."""
        return page_point(self.window)


def page_point(window: Window) -> float:
    """What one point of the page is in a drawing of the usual width, [m]."""
    return window.width / (72.0 * WIDTH - 74.0)


def dimension_label(design: Design, key: str, before: str = "", *, lines: bool = False) -> str:
    """A dimension with its tolerance as the design file writes them: "8 mm ± 20 um".

    Parameters
    ----------
    key : str
        Key of the design file.
    before : str
        Put in front: "⌀ ".
    lines : bool
        Tolerance on a line of its own.

    Raises
    ------
    DesignError
        The design has no such dimension.
    """
    dimension = design.dimension(key)
    if not dimension.tolerance_text:
        assumed = dimension.basis == "assumed"
        return before + (length_text(dimension.value) if assumed else dimension.text)
    return f"{before}{dimension.text}{chr(10) if lines else ' '}± {dimension.tolerance_text}"


def diameter_leader(
    key: str, words: str, centre: tuple[float, float], radius: float, angle: float, inward: bool
) -> DimensionMark:
    """A diameter on a leader from outside the circle, or from inside it.

    Parameters
    ----------
    key : str
        Key of the design file.
    words : str
    centre : tuple of float
        [m].
    radius : float
        [m].
    angle : float
        Where the arrow touches the circle, [deg].
    inward : bool
        The words stand inside.
    """
    way = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    spot = np.asarray(centre) + radius * way
    origin = spot + radius * way if inward else np.asarray(centre)
    return DimensionMark(
        key,
        words,
        (float(origin[0]), float(origin[1])),
        (float(spot[0]), float(spot[1])),
        kind="radius",
    )


def length_text(value: float) -> str:
    """A length with at most four digits: "1.153 mm".

    Parameters
    ----------
    value : float
        [m].
    """
    unit = axis_unit(LENGTH, value)
    return f"{value / unit.size:.4g} {unit.name}"


def circle(
    centre: tuple[float, float],
    radius: float,
    first: float = 0.0,
    last: float = 2.0 * np.pi,
    *,
    points: int = 121,
) -> FloatArray:
    """Points on a circle, (n, 2) array, [m].

    Parameters
    ----------
    centre : tuple of float
        [m].
    radius : float
        [m].
    first, last : float
        Angles, [rad].
    points : int
        Of a whole turn.
    """
    turn = np.linspace(first, last, 3 + int(points * abs(last - first) / (2.0 * np.pi)))
    return np.asarray(centre) + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def rectangle(left: float, right: float, low: float, high: float) -> FloatArray:
    """Corners of a rectangle, (4, 2) array, [m].

    Parameters
    ----------
    left, right, low, high : float
        [m].
    """
    return np.array([[left, low], [right, low], [right, high], [left, high]])


def draw_drawing(axes: Axes, drawing: Drawing) -> Axes:
    """Shapes, chain lines, dimensions, names and a scale bar, true to scale.

    Parameters
    ----------
    axes : Axes
        In a figure of `conegap.solver.figures.section_view.section_size`.
    """
    window = drawing.window
    unit = axis_unit(LENGTH, window.width).size
    set_window(axes, window, unit, lanes=True)
    axes.set_axis_off()
    _fill(axes, drawing, unit)
    placer = Placer(axes, unit)
    for shape in drawing.shapes:
        if shape.edge >= 1.0:
            placer.avoid(_dense(shape.outline, window) / unit)
    draw_scale_bar(placer, window, unit)
    for name in drawing.names:
        if name.strong:
            _write(placer, name, unit)
    lane = window.right / unit + placer.length(10.0)
    draw_dimensions(placer, drawing.marks, lane, unit=unit)
    for name in drawing.names:
        if not name.strong:
            _write(placer, name, unit)
    return axes


def _fill(axes: Axes, drawing: Drawing, unit: float) -> None:
    from matplotlib.patches import PathPatch, Polygon, Rectangle
    from matplotlib.path import Path

    window = drawing.window
    corner = (window.left / unit, window.low / unit)
    frame = Rectangle(corner, window.width / unit, window.height / unit, transform=axes.transData)
    for k, shape in enumerate(drawing.shapes):
        order = 2.0 + 0.01 * k
        path = Path(shape.outline / unit, closed=False)
        patch = PathPatch(path, lw=0.0, zorder=order, **_LOOKS[shape.look])
        axes.add_patch(patch)
        patch.set_clip_path(frame)
        if shape.edge > 0.0:
            rim = Polygon(
                shape.outline / unit, closed=True, fill=False, ec=INK, lw=shape.edge, zorder=order
            )
            axes.add_patch(rim)
            rim.set_clip_path(frame)
    for points in drawing.centres:
        line = axes.plot(*(points / unit).T, color=SOFT, lw=0.6, ls=_CHAIN, zorder=6)[0]
        line.set_clip_path(frame)
    for points in drawing.lines:
        line = axes.plot(*(points / unit).T, color=INK, lw=0.6, zorder=6)[0]
        line.set_clip_path(frame)
    for points in drawing.hidden:
        line = axes.plot(*(points / unit).T, color=SOFT, lw=0.7, ls=(0, (4, 2)), zorder=5)[0]
        line.set_clip_path(frame)


def _write(placer: Placer, name: Name, unit: float) -> None:
    side: Across = "left" if name.left else "center"
    places: list[Place] = [(x / unit, y / unit, side, "center") for x, y in name.places]
    colour = INK if name.strong else SOFT
    if name.needed:
        placer.text(pretty(name.words), places, size=name.size, colour=colour, paper=False)
    else:
        placer.text_if_free(pretty(name.words), places, size=name.size, colour=colour)


def _dense(outline: FloatArray, window: Window) -> FloatArray:
    """Points along a closed outline, close together, inside the window."""
    closed = np.vstack([outline, outline[:1]])
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = min(2000, 2 + int(way[-1] / (window.width / 100.0)))
    at = np.linspace(0.0, way[-1], count)
    points = np.stack([np.interp(at, way, closed[:, k]) for k in range(2)], axis=1)
    inside = (points[:, 0] >= window.left) & (points[:, 0] <= window.right)
    inside &= (points[:, 1] >= window.low) & (points[:, 1] <= window.high)
    return points[inside]
