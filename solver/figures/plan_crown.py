"""Plan of a crown: ring, slot, tips with their numbers and the wedge that is solved."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.design.design import Design
from conegap.geometries.emitters.crown import Crown
from conegap.solver.figures.drawing import (
    Drawing,
    Name,
    Shape,
    circle,
    diameter_leader,
    dimension_label,
)
from conegap.solver.figures.window import Window

__all__ = ["crown_plan"]

# More do not fit round the circle at the letters' size.
_MOST_NUMBERS = 36


def crown_plan(design: Design, crown: Crown) -> Drawing:
    """Plan of a ring of tips.

    Parameters
    ----------
    crown : Crown
        Its emitter.
    """
    radius, half = crown.pitch_radius, crown.body_width / 2.0
    slot = design.accelerator.ring_slot(design.gap)
    inner, outer, shift = radius - half, radius + half, (0.0, 0.0)
    shapes, marks = [], []
    if slot is not None:
        inner = (slot.mean_diameter - slot.slot_width) / 2.0
        outer = (slot.mean_diameter + slot.slot_width) / 2.0
        shift = (slot.lateral_offset, 0.0)
    reach = 1.3 * max(outer, radius + half)
    if slot is not None:
        reach = min(reach, 1.04 * design.accelerator.half_width)
        shapes += [
            Shape(circle(shift, design.accelerator.half_width), "far"),
            Shape(circle(shift, outer), "opening"),
        ]
        wide = dimension_label(design, "accelerator.slot_width", "slot ", lines=True)
        where = diameter_leader(
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
    places = design.emitter.tip_places()
    for place in places:
        shapes.append(Shape(circle(place, foot, points=36), "opening", 0.8))
        shapes.append(Shape(circle(place, 0.12 * foot, points=8), "liquid", 0.0))
    marks += [
        diameter_leader(
            "emitter.pitch_diameter",
            dimension_label(design, "emitter.pitch_diameter", "pitch ⌀ "),
            (0.0, 0.0),
            radius,
            180.0 * (1 + 2 * round(0.56 * crown.tips)) / crown.tips,
            True,
        ),
        diameter_leader(
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
