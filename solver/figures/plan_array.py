"""Plan of an array: block, tips by class, plate and the part that is solved."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.design.design import Design
from conegap.geometries.emitters.tip_array import Spot, TipArray
from conegap.geometries.parts.opening import RoundHole, StraightSlot
from conegap.solver.figures.drawing import (
    Drawing,
    Name,
    Shape,
    circle,
    diameter_leader,
    dimension_label,
    length_text,
    page_point,
    rectangle,
)
from conegap.solver.figures.window import Window

__all__ = ["array_plan"]

# Pitches to either side: of larger arrays the middle is drawn, where single tips are still seen.
_MOST_SHOWN = 9.0


def array_plan(design: Design, array: TipArray) -> Drawing:
    """Plan of an array.

    Parameters
    ----------
    array : TipArray
        Its emitter.
    """
    slot, hole = _openings(design)
    foot = array.base_half_width
    half_x, half_y = array.half_length, array.half_depth
    far = _MOST_SHOWN * array.pitch
    open_y = 0.0 if slot is None else slot.slot_width / 2.0
    reach_x = min(1.12 * half_x, far)
    reach_y = max(min(1.06 * max(half_y, 1.25 * open_y), far), 0.25 * reach_x)
    low = -reach_y - 0.17 * reach_x
    window = Window(-reach_x, reach_x, low, reach_y)
    places = [
        (x, y)
        for x, y in design.emitter.tip_places()
        if abs(x) < reach_x + foot and abs(y) < reach_y + foot
    ]
    block = rectangle(-half_x, half_x, -half_y, half_y)
    shapes = [Shape(block, "seen", 1.1 if slot is None else 0.0)]
    hidden: tuple[FloatArray, ...] = ()
    if slot is not None:
        wide, tall = 2.0 * reach_x, 3.0 * reach_y
        for ends in ((-tall, -open_y), (open_y, tall)):
            shapes.append(Shape(rectangle(-wide, wide, *ends), "far"))
        hidden = (np.vstack([block, block[:1]]),)
    shapes.append(_solved_part(design, array))
    if hole is not None:
        rim = hole.diameter / 2.0
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


def _openings(design: Design) -> tuple[StraightSlot | None, RoundHole | None]:
    plate = design.accelerator
    return plate.straight_slot(design.gap), plate.round_hole(design.gap)


def _solved_part(design: Design, array: TipArray) -> Shape:
    """A quarter of the whole or of one cell."""
    if not array.endless:
        return Shape(rectangle(0.0, array.half_length, 0.0, array.half_depth), "solved", 0.6)
    tall = {"linear": array.half_depth, "square": array.pitch / 2.0}.get(
        array.layout, array.row_distance
    )
    x, y = min(design.emitter.tip_places(), key=lambda place: math.hypot(*place) + 1e-9 * place[0])
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
    slot, hole = _openings(design)
    if slot is not None:
        edge = slot.slot_width / 2.0
        words = "slot\n" + dimension_label(design, "accelerator.slot_width", lines=True)
        ends = (window.right, -edge), (window.right, edge)
        marks.append(DimensionMark("accelerator.slot_width", words, *ends))
    if hole is not None:
        middle = max(places, key=lambda p: p[1] + 1e-3 * p[0])
        words = dimension_label(design, "accelerator.diameter", "⌀ ", lines=True)
        marks.append(
            diameter_leader("accelerator.diameter", words, middle, hole.diameter / 2.0, 50.0, False)
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
    slot, _ = _openings(design)
    if slot is not None:
        at = 0.5 * (slot.slot_width / 2.0 + min(up, window.high))
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
