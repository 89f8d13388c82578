"""True sections: through a tip of a crown, along a row of an array, in the plane of a blade."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray, polyline
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.design.design import Design
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.emitters.slit import Slit
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.emitters.tip_group import TipGroup
from conegap.geometries.parts.accelerator import Accelerator
from conegap.solver.figures.drawing import (
    Drawing,
    Name,
    Shape,
    dimension_label,
    length_text,
    page_point,
    rectangle,
)
from conegap.solver.figures.window import Window

if TYPE_CHECKING:
    pass

__all__ = ["blade_section", "crown_section", "plate_pieces", "row_section"]

# Pitches to either side of the middle that are drawn.
_MOST_SHOWN = 5.0


def _upright(design: Design, key: str, x: float, low: float, high: float) -> DimensionMark:
    return DimensionMark(key, dimension_label(design, key, lines=True), (x, low), (x, high))


def _level(
    design: Design, key: str, left: float, right: float, z: float, before: str = ""
) -> DimensionMark:
    words = before + dimension_label(design, key, lines=True)
    return DimensionMark(key, words, (left, z), (right, z))


def _with_tips(body: FloatArray, group: TipGroup, places: Sequence[float]) -> FloatArray:
    """A body's outline with tips standing on its crest, (n, 2) array, [m]."""
    crest = -group.tip_height
    level = 1e-9 * group.tip_height
    ends = np.roll(body, -1, axis=0)
    on = (np.abs(body[:, 1] - crest) < level) & (np.abs(ends[:, 1] - crest) < level)
    k = int(np.argmax(np.where(on, np.abs(ends[:, 0] - body[:, 0]), -1.0)))
    tip = group.tip("tip", (0.0, 0.0), math.inf, 0.0, ())
    right = polyline(list(tip.outline(0.0)[:2]), 17)
    profile = np.vstack([(right * [-1.0, 1.0])[::-1], right])
    forward = bool(ends[k, 0] > body[k, 0])
    pieces = [
        (profile if forward else profile[::-1]) + [x, 0.0]
        for x in sorted(places, reverse=not forward)
    ]
    return np.vstack([body[: k + 1], *pieces, body[k + 1 :]])


def _floor(window: Window, floor: float) -> Shape:
    room = window.width
    slab = rectangle(window.left - room, window.right + room, window.low - room, floor)
    return Shape(slab, "insulator", 0.8)


def _group_marks(design: Design, group: TipGroup, x: float) -> list[DimensionMark]:
    tall, floor = group.tip_height, -group.tip_height - group.holder_thickness
    return [
        _upright(design, "accelerator.gap", x, 0.0, design.gap),
        _upright(design, "emitter.tip_height", x, -tall, 0.0),
        _upright(design, "emitter.holder_thickness", x, floor, -tall),
    ]


def crown_section(design: Design, crown: Crown) -> Drawing:
    """Section through the axis of a crown and one of its tips.

    Parameters
    ----------
    crown : Crown
        Its emitter.
    """
    radius, half = crown.pitch_radius, crown.body_width / 2.0
    slot = design.accelerator.ring_slot(design.gap)
    floor = -crown.tip_height - crown.holder_thickness
    wide = half if slot is None else max(half, slot.slot_width / 2.0)
    tall = design.gap + design.accelerator.depth - floor
    right = radius + wide + 0.35 * tall
    axis = radius - wide < 1.6 * tall
    left = -0.06 * right if axis else radius - wide - 0.35 * tall
    top = design.gap + max(design.accelerator.depth, 0.1 * tall)
    window = Window(left, right, floor - 0.1 * tall, top + 0.06 * tall)
    point = page_point(window)
    sector = design.sector()
    assert sector is not None
    bodies = [polyline(list(c.solid.outline), 17) for c in sector.conductors]  # type: ignore[union-attr]
    ring = bodies[0] * [1.0, 1.0]
    ring[:, 1] = np.maximum(ring[:, 1], floor)
    shapes = [_floor(window, floor), Shape(_with_tips(ring, crown, [radius]), "cut")]
    marks = [
        *_group_marks(design, crown, radius + crown.base_half_width),
        _level(
            design,
            "emitter.body_width",
            radius - half,
            radius + half,
            floor + 0.3 * crown.holder_thickness,
            "ring ",
        ),
    ]
    lean, foot = crown.half_angle, crown.base_half_width
    words = dimension_label(design, "emitter.half_angle", "half angle ", lines=True)
    ends = (radius, foot / math.tan(lean) - crown.tip_height), (radius + foot, -crown.tip_height)
    marks.append(DimensionMark("emitter.half_angle", words, *ends, kind="angle"))
    names = [Name("floor", ((0.5 * (left + radius - half), 0.5 * (window.low + floor)),))]
    if slot is not None:
        shift = slot.lateral_offset
        shapes += [Shape(loop + np.array([shift, 0.0]), "cut_other") for loop in bodies[1:]]
        mean, far = slot.mean_diameter / 2.0 + shift, design.gap + design.accelerator.depth
        edges = (mean - slot.slot_width / 2.0, mean + slot.slot_width / 2.0)
        middle = 0.5 * (design.gap + far)
        marks += [
            _level(design, "accelerator.slot_width", *edges, middle, "slot "),
            _upright(design, "accelerator.thickness", edges[1], design.gap, far),
        ]
        names.append(Name("disc", ((0.5 * (max(left, 0.0) + edges[0]), middle),)))
        names.append(Name("plate", ((0.5 * (edges[1] + right), middle),)))
    else:
        shapes.append(_closed_plane(window, design.gap))
    centres = [np.array([[radius, floor - 0.05 * tall], [radius, window.high]])]
    if axis:
        centres.append(np.array([[0.0, window.low], [0.0, window.high]]))
        place = -0.55 * crown.tip_height
        label = "radius " + length_text(radius)
        marks.append(DimensionMark("emitter.pitch_diameter", label, (0.0, place), (radius, place)))
        names.append(
            Name("axis of\nthe crown", ((0.09 * radius + 22.0 * point, 0.4 * design.gap),))
        )
    names.append(Name("ring", ((radius, -crown.tip_height - 0.35 * crown.holder_thickness),)))
    return Drawing(window, tuple(shapes), tuple(marks), tuple(names), tuple(centres))


def _closed_plane(window: Window, gap: float) -> Shape:
    room = window.width
    plate = rectangle(window.left - room, window.right + room, gap, window.high + room)
    return Shape(plate, "cut_other")


def row_section(design: Design, array: TipArray) -> Drawing:
    """Section along the middle row of an array.

    Parameters
    ----------
    array : TipArray
        Its emitter.
    """
    floor = -array.tip_height - array.holder_thickness
    across = min({abs(round(y, 12)) for _, y in design.emitter.tip_places()})
    row = sorted({round(x, 12) for x, y in design.emitter.tip_places() if abs(y - across) < 1e-9})
    tall = design.gap + design.accelerator.depth - floor
    reach = min(1.06 * array.half_length, _MOST_SHOWN * array.pitch)
    top = design.gap + max(design.accelerator.depth, 0.1 * tall)
    window = Window(-reach, reach, floor - 0.14 * reach, top + 0.06 * tall)
    shown = [x for x in row if abs(x) < reach + array.pitch]
    body = rectangle(-array.half_length, array.half_length, floor, -array.tip_height)[::-1]
    shapes = [_floor(window, floor), Shape(_with_tips(body, array, shown), "cut")]
    shapes += _plate_over(design.accelerator, design.gap, window, shown, across)
    last = max(x for x in shown if x < reach)
    marks = _group_marks(design, array, last + array.base_half_width)
    depth = design.accelerator.depth
    if depth > 0.0:
        top_z = design.gap + depth
        marks.append(_upright(design, "accelerator.thickness", last, design.gap, top_z))
    if len(shown) > 1:
        first = [x for x in shown if x > -reach][:2]
        marks.append(
            _level(design, "emitter.pitch", first[0], first[1], 0.35 * design.gap, "pitch ")
        )
    hole = design.accelerator.round_hole(design.gap)
    if hole is not None:
        middle = min(x for x in shown if x > -reach)
        edge, z = hole.diameter / 2.0, design.gap + 0.5 * depth
        marks.append(_level(design, "accelerator.diameter", middle - edge, middle + edge, z, "⌀ "))
    middle = -array.tip_height - 0.5 * array.holder_thickness
    plate = design.gap + 0.5 * depth
    names = [Name("block", ((0.0, middle),)), Name("floor", ((0.0, floor - 0.07 * reach),))]
    slot = design.accelerator.straight_slot(design.gap)
    if slot is not None and across < slot.slot_width / 2:
        names.append(Name("far side of the slot", ((0.0, plate), (0.3 * reach, plate))))
    elif depth > 0.0:
        names.append(Name("plate", ((-0.97 * reach, plate), (0.9 * reach, plate)), needed=False))
    centres = [np.array([[x, -1.1 * array.tip_height], [x, window.high]]) for x in shown]
    return Drawing(window, tuple(shapes), tuple(marks), tuple(names), tuple(centres))


def _plate_over(
    plate: Accelerator, gap: float, window: Window, row: Sequence[float], across: float
) -> list[Shape]:
    """Metal of the accelerator in the plane of a row, or what is seen behind it."""
    if plate.closed:
        return [_closed_plane(window, gap)]
    wide = min(plate.half_width, 2.0 * window.width)
    far = gap + plate.depth
    slot = plate.straight_slot(gap)
    if slot is not None:
        open_there = across < slot.slot_width / 2.0
        look = "far" if open_there else "cut_other"
        return [Shape(rectangle(-2.0 * wide, 2.0 * wide, gap, far), look)]  # type: ignore[arg-type]
    pieces = _between_holes(plate, gap, wide, row)
    back = Shape(rectangle(-wide, wide, gap, far), "far", 0.8)
    return [back, *(Shape(piece, "cut_other") for piece in pieces)]


def plate_pieces(design: Design, wide: float) -> list[FloatArray]:
    """Convex outlines of an array's accelerator cut along the middle row, (x, z), [m].

    Parameters
    ----------
    design : Design
        An array.
    wide : float
        How far the plate reaches to both sides, [m].
    """
    hole = design.accelerator.round_hole(design.gap)
    if hole is None:
        return []
    places = design.emitter.tip_places()
    across = min(y for _, y in places if y > -1e-9)
    row = sorted({round(x, 12) for x, y in places if abs(y - across) < 1e-9})
    row = [x for x in row if abs(x) + hole.diameter / 2.0 < wide]
    return _between_holes(design.accelerator, design.gap, wide, row)


def _between_holes(
    plate: Accelerator, gap: float, wide: float, row: Sequence[float]
) -> list[FloatArray]:
    """Outlines of a plate cut through the middles of its holes."""
    hole = plate.round_hole(gap)
    if hole is None:
        return [rectangle(-wide, wide, gap, gap + plate.depth)]
    far = gap + plate.depth
    inner = polyline(list(hole.wall), 17)
    left = inner * [-1.0, 1.0]
    ends = [-wide, *row, wide]
    pieces = []
    for k, (one, two) in enumerate(itertools.pairwise(ends)):
        start = rectangle(one, one, gap, far)[[0, 3]] if k == 0 else inner + np.array([one, 0.0])
        stop = left + np.array([two, 0.0])
        if k == len(ends) - 2:
            stop = rectangle(two, two, gap, far)[[0, 3]]
        pieces.append(np.vstack([start, stop[::-1]]))
    return pieces


def blade_section(design: Design, slit: Slit) -> Drawing:
    """Section in the middle plane of a slit's channel, at its end.

    Parameters
    ----------
    slit : Slit
        Its emitter.
    """
    end = slit.end_radius or 0.0
    half, turn, foot = slit.length / 2.0, slit.length / 2.0 - end, -slit.protrusion
    floor = foot - slit.holder_thickness
    plate = design.accelerator
    slot = plate.straight_slot(design.gap)
    length = None if slot is None else slot.slot_length
    over = 2.0 * design.gap if length is None else max(length / 2.0 - half, 0.0)
    left = max(0.0, turn - 2.0 * design.gap)
    right = half + over + 0.12 * end + 0.5 * design.gap
    far = design.gap + plate.depth
    tall = far - floor
    window = Window(
        left,
        right,
        floor - 0.08 * (right - left),
        far + 0.06 * tall + 0.1 * (plate.depth == 0) * tall,
    )
    sweep = math.pi / 2.0 if slit.protrusion >= end else math.acos(1.0 - slit.protrusion / end)
    at = np.linspace(0.0, sweep, 61)
    crest = np.stack([turn + end * np.sin(at), -end * (1.0 - np.cos(at))], axis=1)
    corners = [[left - end, foot], [left - end, 0.0], *crest.tolist()]
    if slit.protrusion > end:
        corners.append([half, foot])
    corners.append([crest[-1, 0], foot])
    holder = rectangle(left - end, right + end, floor, foot)
    shapes = [_floor(window, floor), Shape(holder, "cut"), Shape(np.array(corners), "seen")]
    spot = turn + end * math.sin(0.5 * sweep), -end * (1.0 - math.cos(0.5 * sweep))
    key = "emitter.end_radius"
    marks = [
        DimensionMark(key, dimension_label(design, key, "R "), (turn, -end), spot, kind="radius"),
        _upright(design, "accelerator.gap", half, 0.0, design.gap),
        _upright(design, "emitter.protrusion", float(crest[-1, 0]), foot, 0.0),
        _upright(design, "emitter.holder_thickness", right, floor, foot),
    ]
    names = [
        Name("holder", ((0.5 * (left + right), 0.5 * (floor + foot)),)),
        Name(
            "inner wall of one blade\n(liquid before it)",
            ((left + 0.55 * (turn + 0.6 * end - left), 0.6 * foot),),
        ),
    ]
    if slot is not None:
        stop = right + end if length is None else length / 2.0
        shapes.append(Shape(rectangle(left - end, stop, design.gap, far), "far"))
        if length is not None:
            shapes.append(Shape(rectangle(stop, right + end, design.gap, far), "cut_other"))
            z = 0.5 * design.gap
            words = f"overhang {length_text(length / 2.0 - half)}"
            marks.append(DimensionMark("overhang", words, (half, z), (stop, z)))
        marks.append(_upright(design, "accelerator.thickness", right, design.gap, far))
        middle = 0.5 * (design.gap + far)
        names.append(
            Name(
                "far side of the slot",
                ((0.5 * (turn + left), middle), (turn, middle), (half, middle)),
            )
        )
    else:
        shapes.append(_closed_plane(window, design.gap))
    return Drawing(
        window=window,
        shapes=tuple(shapes),
        marks=tuple(marks),
        names=tuple(names),
        lines=(
            np.array([[half, crest[-1, 1]], [half, design.gap]]),
            np.array([[turn, 0.3 * foot], [turn, 0.0]]),
        ),
    )
