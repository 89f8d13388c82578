"""Plans: crowns, arrays and slit ends as seen from the accelerator, true to scale."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.accelerators import AperturePlate, SlottedPlate
from conegap.geometries.annular_slot import AnnularSlot
from conegap.geometries.crown import Crown
from conegap.geometries.curves import FloatArray
from conegap.geometries.design import Design
from conegap.geometries.errors import DesignError
from conegap.geometries.section import DimensionMark
from conegap.geometries.slit import Slit
from conegap.geometries.tip_array import Spot, TipArray
from conegap.solver.figure_drawing import (
    Drawing,
    Name,
    Shape,
    circle,
    dimension_label,
    draw_drawing,
    length_text,
    page_point,
    rectangle,
)
from conegap.solver.figure_window import Window

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["blade_foot", "draw_plan", "plan_drawing", "tip_places"]

_MOST_NUMBERS = 36
_MOST_SHOWN = 9.0


def draw_plan(axes: Axes, design: Design) -> Axes:
    """The electrodes seen along z from the accelerator, which is drawn as if transparent.

    Parameters
    ----------
    axes : Axes
        In a figure of the size of the window of `plan_drawing`.
    design : Design
        A crown, an array or a slit with a drawn end.

    Raises
    ------
    DesignError
        The design is none of them.
    """
    return draw_drawing(axes, plan_drawing(design))


def plan_drawing(design: Design) -> Drawing:
    """What `draw_plan` draws.

    Parameters
    ----------
    design : Design

    Raises
    ------
    DesignError
        The design has no plan.
    """
    emitter = design.emitter
    if isinstance(emitter, Crown):
        return _crown(design, emitter)
    if isinstance(emitter, TipArray):
        return _array(design, emitter)
    if isinstance(emitter, Slit) and emitter.end_radius is not None:
        return _slit_end(design, emitter, emitter.end_radius)
    raise DesignError(f"plan: the section of a {emitter.kind} shows all of it")


def _leader(
    key: str, words: str, centre: tuple[float, float], radius: float, angle: float, inward: bool
) -> DimensionMark:
    """A diameter on a leader from outside the circle, or from inside it."""
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


def _crown(design: Design, crown: Crown) -> Drawing:
    radius, half = crown.pitch_radius, crown.body_width / 2.0
    slot = design.accelerator if isinstance(design.accelerator, AnnularSlot) else None
    inner, outer, shift = radius - half, radius + half, (0.0, 0.0)
    shapes, marks = [], []
    if slot is not None:
        inner = (slot.mean_diameter - slot.slot_width) / 2.0
        outer = (slot.mean_diameter + slot.slot_width) / 2.0
        shift = (slot.lateral_offset, 0.0)
    reach = 1.3 * max(outer, radius + half)
    if slot is not None:
        reach = min(reach, 1.04 * slot.half_width)
        shapes += [
            Shape(circle(shift, slot.half_width), "far"),
            Shape(circle(shift, outer), "opening"),
        ]
        wide = dimension_label(design, "accelerator.slot_width", "slot ", lines=True)
        where = _leader(
            "accelerator.slot_width",
            wide,
            shift,
            outer,
            180.0 * (2 * round(crown.tips / 3) + 1) / crown.tips,
            False,
        )
        mean = dimension_label(design, "accelerator.mean_diameter", "mean ⌀ ")
        marks += [
            DimensionMark(where.key, f"{wide}\n{mean}", where.first, where.last, kind="radius")
        ]
    ring = np.vstack([circle((0.0, 0.0), radius + half), circle((0.0, 0.0), radius - half)[::-1]])
    shapes.append(Shape(ring, "seen", 0.0))
    rims = [circle((0.0, 0.0), radius + half), circle((0.0, 0.0), radius - half)]
    if slot is not None:
        shapes.append(Shape(circle(shift, inner), "far"))
    part = math.pi / crown.tips
    wedge = np.vstack([[[0.0, 0.0]], circle((0.0, 0.0), outer, 0.0, part)])
    shapes.append(Shape(wedge, "solved", 0.6))
    foot = crown.base_half_width
    places = tip_places(design)
    for place in places:
        shapes.append(Shape(circle(place, foot, points=36), "opening", 0.8))
        shapes.append(Shape(circle(place, 0.12 * foot, points=8), "liquid", 0.0))
    marks += [
        _leader(
            "emitter.pitch_diameter",
            dimension_label(design, "emitter.pitch_diameter", "pitch ⌀ "),
            (0.0, 0.0),
            radius,
            180.0 * (1 + 2 * round(0.56 * crown.tips)) / crown.tips,
            True,
        ),
        _leader(
            "emitter.body_width",
            dimension_label(design, "emitter.body_width", "ring ") + " wide",
            (0.0, 0.0),
            radius - half,
            236.0,
            True,
        ),
    ]
    lines: list[FloatArray] = []
    names = [*_numbers(crown, places, outer)]
    if crown.tips > 1:
        arm, arc = 1.02 * (radius + foot), 0.5 * (radius - half)
        for turn in (0.0, 2.0 * part):
            lines.append(np.array([[0.0, 0.0], [arm * math.cos(turn), arm * math.sin(turn)]]))
        lines.append(circle((0.0, 0.0), arc, 0.0, 2.0 * part))
        spots = tuple(
            (1.0 * arc * f * math.cos(t), 1.0 * arc * f * math.sin(t))
            for f in (1.25, 1.45, 1.0)
            for t in (2.0 * part + 0.25, 2.0 * part + 0.4, -0.25)
        )
        names.append(Name(f"{360.0 / crown.tips:.4g} deg", spots))
    solved = (
        f"solved in three\ndimensions: {180.0 / crown.tips:.4g} deg"
        if crown.tips > 1
        else "half of it solved in\nthree dimensions"
    )
    far = outer
    marks.append(
        DimensionMark(
            "solved",
            solved,
            (0.0, 0.0),
            (far * math.cos(0.75 * part), far * math.sin(0.75 * part)),
            kind="radius",
        )
    )
    if slot is not None:
        names.append(Name("disc", ((-0.4 * inner, 0.5 * inner), (0.4 * inner, -0.5 * inner))))
        names.append(Name("plate", ((0.0, -0.5 * (outer + reach)), (-0.7 * reach, -0.7 * reach))))
    cross = 1.02 * max(outer, radius + half)
    return Drawing(
        window=Window(-reach, reach, -reach, reach),
        shapes=tuple(shapes),
        marks=tuple(marks),
        names=tuple(names),
        centres=(
            circle((0.0, 0.0), radius),
            np.array([[-cross, 0.0], [cross, 0.0]]),
            np.array([[0.0, -cross], [0.0, cross]]),
        ),
        lines=(*rims, *lines),
    )


def _numbers(crown: Crown, places: tuple[tuple[float, float], ...], outer: float) -> list[Name]:
    """Numbers of the tips, beside them; of many tips only some."""
    step = max(1, math.ceil(crown.tips / _MOST_NUMBERS))
    radius, edge = crown.pitch_radius, crown.pitch_radius + crown.body_width / 2.0
    away = 1.065 * max(edge, outer)
    return [
        Name(str(k + 1), ((x * away / radius, y * away / radius),), size=6.5, strong=True)
        for k, (x, y) in enumerate(places)
        if k % step == 0
    ]


def tip_places(design: Design) -> tuple[tuple[float, float], ...]:
    """Axes of the tips of a crown or an array, (x, y), [m]; a crown's first one stands on x.

    Parameters
    ----------
    design : Design

    Raises
    ------
    DesignError
        The design is neither.
    """
    emitter = design.emitter
    if isinstance(emitter, Crown):
        turns = [2.0 * math.pi * k / emitter.tips for k in range(emitter.tips)]
        r = emitter.pitch_radius
        return tuple((r * math.cos(t), r * math.sin(t)) for t in turns)
    if not isinstance(emitter, TipArray):
        raise DesignError(f"plan: a {emitter.kind} has no tips")
    found = []
    for j in range(emitter.rows):
        moved = (0.25 if j % 2 else -0.25) if emitter.layout == "hexagonal" else 0.0
        y = (j - (emitter.rows - 1) / 2.0) * emitter.row_distance
        for i in range(emitter.tips_per_row):
            x = (i - (emitter.tips_per_row - 1) / 2.0 + moved) * emitter.pitch
            found.append((x, y))
    return tuple(found)


def _array(design: Design, array: TipArray) -> Drawing:
    plate, foot = design.accelerator, array.base_half_width
    half_x, half_y = array.half_length, array.half_depth
    far = _MOST_SHOWN * array.pitch
    open_y = plate.slot_width / 2.0 if isinstance(plate, SlottedPlate) else 0.0
    reach_x = min(1.12 * half_x, far)
    reach_y = max(min(1.06 * max(half_y, 1.25 * open_y), far), 0.25 * reach_x)
    low = -reach_y - 0.17 * reach_x
    window = Window(-reach_x, reach_x, low, reach_y)
    places = [
        (x, y) for x, y in tip_places(design) if abs(x) < reach_x + foot and abs(y) < reach_y + foot
    ]
    block = rectangle(-half_x, half_x, -half_y, half_y)
    shapes = [Shape(block, "seen", 0.0 if isinstance(plate, SlottedPlate) else 1.1)]
    hidden: tuple[FloatArray, ...] = ()
    if isinstance(plate, SlottedPlate):
        wide, tall = 2.0 * reach_x, 3.0 * reach_y
        for ends in ((-tall, -open_y), (open_y, tall)):
            shapes.append(Shape(rectangle(-wide, wide, *ends), "far"))
        hidden = (np.vstack([block, block[:1]]),)
    shapes.append(_solved_part(design, array))
    if isinstance(plate, AperturePlate):
        rim = plate.diameter / 2.0
        shapes += [Shape(circle(place, rim, points=48), "opening", 0.8) for place in places]
    shapes += [Shape(circle(place, foot, points=36), "opening", 0.7) for place in places]
    lettered = {} if array.endless or array.rows == 1 else _letters(array)
    shapes += [
        Shape(circle((x, y), 0.12 * foot, points=8), "liquid", 0.0)
        for x, y in places
        if not any(math.hypot(x - s.x, y - s.y) < foot for s in lettered)
    ]
    marks, lines = _array_marks(design, array, places, window)
    return Drawing(
        window=window,
        shapes=tuple(shapes),
        marks=tuple(marks),
        names=tuple(_array_names(design, array, window)),
        centres=(
            np.array([[window.left, 0.0], [window.right, 0.0]]),
            np.array([[0.0, -reach_y], [0.0, window.high]]),
        ),
        lines=tuple(lines),
        hidden=hidden,
    )


def _solved_part(design: Design, array: TipArray) -> Shape:
    """A quarter of the whole or of one cell."""
    if not array.endless:
        return Shape(rectangle(0.0, array.half_length, 0.0, array.half_depth), "solved", 0.6)
    tall = {"linear": array.half_depth, "square": array.pitch / 2.0}.get(
        array.layout, array.row_distance
    )
    x, y = min(tip_places(design), key=lambda place: math.hypot(*place) + 1e-9 * place[0])
    return Shape(rectangle(x, x + array.pitch / 2.0, y, y + tall), "solved", 0.6)


def _letters(array: TipArray) -> dict[Spot, str]:
    """A letter for every tip of the quarter."""
    return {spot: chr(ord("A") + k) for k, spot in enumerate(array.spots())}


def _array_marks(
    design: Design, array: TipArray, places: list[tuple[float, float]], window: Window
) -> tuple[list[DimensionMark], list[FloatArray]]:
    """Dimensions, and the thin lines that carry the level ones below the block."""
    point = page_point(window)
    lowest = min(y for _, y in places)
    row = sorted(x for x, y in places if abs(y - lowest) < 1e-9)
    below = window.low + 14.0 * point
    marks, lines = [], []

    def down(x: float, y: float) -> None:
        lines.append(np.array([[x, y], [x, below - 4.0 * point]]))

    if len(row) > 1:
        words = "pitch " + dimension_label(design, "emitter.pitch", lines=True)
        marks.append(DimensionMark("emitter.pitch", words, (row[0], below), (row[1], below)))
        down(row[0], lowest)
        down(row[1], lowest)
    x, y = max(places, key=lambda p: (round(p[0], 12), -p[1]))
    if x + array.base_margin < window.right:
        key = "emitter.base_margin"
        words = "margin " + dimension_label(design, key, lines=True)
        marks.append(DimensionMark(key, words, (x, below), (x + array.base_margin, below)))
        down(x, y)
        down(x + array.base_margin, -min(array.half_depth, -window.low))
    column = sorted({round(y, 12) for _, y in places})
    if len(column) > 1:
        words = f"{length_text(array.row_distance)}\nrow to row"
        high = column[-1]
        last = max(x for x, y in places if abs(y - high) < 1e-9)
        marks.append(DimensionMark("rows", words, (last, high), (last, high - array.row_distance)))
    plate = design.accelerator
    if isinstance(plate, SlottedPlate):
        edge = plate.slot_width / 2.0
        words = "slot\n" + dimension_label(design, "accelerator.slot_width", lines=True)
        ends = (window.right, -edge), (window.right, edge)
        marks.append(DimensionMark("accelerator.slot_width", words, *ends))
    if isinstance(plate, AperturePlate):
        middle = max(places, key=lambda p: p[1] + 1e-3 * p[0])
        words = dimension_label(design, "accelerator.diameter", "⌀ ", lines=True)
        marks.append(
            _leader("accelerator.diameter", words, middle, plate.diameter / 2.0, 50.0, False)
        )
    return marks, lines


def _array_names(design: Design, array: TipArray, window: Window) -> list[Name]:
    point, foot = page_point(window), array.base_half_width
    names, across, up = [], array.half_length, array.half_depth
    if array.endless:
        words = "shaded: a quarter\nof one cell, solved"
        spots = tuple((f * across, g * up) for g in (0.88, -0.88) for f in (-0.35, 0.4))
    else:
        words = "quarter solved"
        spots = tuple((f * across, g * up) for g in (0.9, 0.8) for f in (0.5, 0.3, 0.7))
        names += _lettered(array, window) if array.rows > 1 else _row_names(array, foot, point)
    names.append(Name(words, spots))
    if isinstance(design.accelerator, SlottedPlate):
        at = 0.5 * (design.accelerator.slot_width / 2.0 + min(up, window.high))
        names.append(Name("plate, block below it", ((-0.5 * across, at), (-0.5 * across, -at))))
    else:
        block = tuple((-f * across, g * up) for g in (0.85, -0.85) for f in (0.85, 0.6))
        names.append(Name("block", block, needed=False))
    return names


def _row_names(array: TipArray, foot: float, point: float) -> list[Name]:
    """Classes of the tips of a row, below and above them in turn."""
    names = []
    for k, spot in enumerate(array.spots()):
        away = foot + 7.0 * point
        sides = (1.0, -1.0) if k % 2 else (-1.0, 1.0)
        spots = tuple((spot.x, spot.y + s * away * f) for f in (1.0, 1.35) for s in sides)
        words = spot.name.replace(" from the end", " from end")
        names.append(Name(words, spots, size=6.0, strong=True))
    return names


def _lettered(array: TipArray, window: Window) -> list[Name]:
    """Letters on the tips of the quarter and their key beside the plan."""
    point, letters = page_point(window), _letters(array)
    names = [
        Name(letter, ((spot.x, spot.y),), size=6.5, strong=True) for spot, letter in letters.items()
    ]
    key = "\n".join(f"{letter}  {spot.name}" for spot, letter in letters.items())
    middle = 0.5 * (window.low + window.high)
    spots = tuple((window.right + 6.0 * point, middle - (k + 4) * 8.0 * point) for k in range(8))
    return [*names, Name(key, spots, size=6.5, strong=True, left=True)]


def _slit_end(design: Design, slit: Slit, end: float) -> Drawing:
    half, turn = slit.length / 2.0, slit.length / 2.0 - end
    foot = blade_foot(slit, end, max(0.0, turn - 2.0 * design.gap))
    plate, wide = design.accelerator, float(foot[:, 1].max())
    open_y, length = 1.5 * wide, None
    if isinstance(plate, SlottedPlate):
        open_y, length = plate.slot_width / 2.0, plate.slot_length
    over = 2.0 * design.gap if length is None else length / 2.0 - half
    left, right = float(foot[:, 0].min()), half + max(over, 0.0) + 0.12 * end + 0.5 * design.gap
    reach = max(1.6 * max(open_y, wide), 0.12 * (right - left))
    window = Window(left, right, -reach - 0.15 * (right - left), reach)
    point = page_point(window)
    below = window.low + 14.0 * point
    frame = rectangle(left - end, right + end, -3.0 * reach, 3.0 * reach)
    shapes, names = [], []
    marks = [
        DimensionMark(
            "emitter.end_radius",
            dimension_label(design, "emitter.end_radius", "end radius "),
            (turn, below),
            (half, below),
        )
    ]
    lines = [
        np.array([[left, 0.0], [half, 0.0]]),
        *(np.array([[x, 0.0], [x, below - 4.0 * point]]) for x in (turn, half)),
    ]
    if isinstance(plate, SlottedPlate):
        stop = right + end if length is None else length / 2.0
        shapes.append(Shape(frame, "far", 0.0))
        shapes.append(Shape(rectangle(left - end, stop, -open_y, open_y), "opening"))
        words = "slot\n" + dimension_label(design, "accelerator.slot_width", lines=True)
        ends = (right, -open_y), (right, open_y)
        marks.append(DimensionMark("accelerator.slot_width", words, *ends))
        names.append(Name("plate", ((turn, 0.5 * (reach + open_y)),)))
        if length is not None and over > 0.0:
            words, level = f"overhang {length_text(over)}", below + 15.0 * point
            marks.append(DimensionMark("overhang", words, (half, level), (half + over, level)))
            lines.append(np.array([[half + over, 0.0], [half + over, below - 4.0 * point]]))
    shapes.append(Shape(foot, "seen", 0.8))
    shapes.append(Shape(rectangle(left - end, right + end, 0.0, 2.0 * reach), "solved", 0.0))
    names += [
        Name("crest of the lips", ((0.5 * (turn + half) - 0.1 * end, 7.0 * point),), strong=True),
        Name("blade's foot", ((0.5 * (turn + half) - 0.2 * end, -0.3 * wide),)),
        Name("shaded: solved", tuple((half, f * open_y) for f in (0.7, 0.5, 1.15))),
    ]
    return Drawing(
        window=window,
        shapes=tuple(shapes),
        marks=tuple(marks),
        names=tuple(names),
        centres=(np.array([[left, 0.0], [right, 0.0]]),),
        lines=tuple(lines),
    )


def blade_foot(slit: Slit, end: float, start: float) -> FloatArray:
    """Outline of a blade's foot on the holder's face in plan, (n, 2) array, [m].

    Parameters
    ----------
    slit : Slit
    end : float
        End radius, [m].
    start : float
        Where the drawn part begins, from the slit's middle, [m].
    """
    turn, deep = slit.length / 2.0 - end, slit.protrusion
    r = slit.channel_height / 2.0 + slit.lip_radius + slit.land / 2.0
    last = turn + (end if deep >= end else math.sqrt(end**2 - (end - deep) ** 2))
    x = np.concatenate([[start], turn + (last - turn) * np.sin(np.linspace(0.0, math.pi / 2, 121))])
    off = np.maximum(x - turn, 0.0)
    depth = end - np.hypot(off, max(end - deep, 0.0))
    depth[off == 0.0] = deep
    depth = np.minimum(depth, deep)
    lean = slit.lean
    cone = r * math.cos(lean) + (depth - r * (1.0 - math.sin(lean))) * math.tan(lean)
    wide = np.where(depth <= 0.0, 0.0, np.maximum(cone, 0.0))
    upper = np.stack([x, wide], axis=1)
    return np.vstack([upper, upper[::-1] * [1.0, -1.0]])
