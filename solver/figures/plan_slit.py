"""Plan of the end of a slit: lips, foot of the blade, slot and overhang."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.design.design import Design
from conegap.geometries.emitters.slit import Slit
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

__all__ = ["blade_foot", "slit_end_plan"]


def slit_end_plan(design: Design, slit: Slit) -> Drawing:
    """Plan of the end of a slit.

    Parameters
    ----------
    slit : Slit
        Its emitter, with a drawn end.
    """
    end = slit.end_radius or 0.0
    half, turn = slit.length / 2.0, slit.length / 2.0 - end
    foot = blade_foot(slit, end, max(0.0, turn - 2.0 * design.gap))
    slot, wide = design.accelerator.straight_slot(design.gap), float(foot[:, 1].max())
    open_y, length = 1.5 * wide, None
    if slot is not None:
        open_y, length = slot.slot_width / 2.0, slot.slot_length
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
    if slot is not None:
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
