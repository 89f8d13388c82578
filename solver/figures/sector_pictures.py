"""The pictures of designs that need the third dimension, with their words."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import length_words, percent, voltage_text
from conegap.solver.common.style import pretty
from conegap.solver.field3d.slit_end import ALLOWED_FACTOR, EndPoint, SlitEnd
from conegap.solver.figures.drawing import Drawing, draw_drawing
from conegap.solver.figures.misalignment_chart import misalignment_pictures
from conegap.solver.figures.picture import WIDTH, Picture, charted, sketched
from conegap.solver.figures.section_view import section_size
from conegap.solver.figures.sector_charts import (
    chart_end_factor,
    chart_firing,
    chart_firing_order,
    chart_lip,
    chart_screening,
    chart_tip_classes,
)
from conegap.solver.figures.solid_view import draw_solid_view
from conegap.solver.figures.solids import (
    plan_drawing,
    solid_view,
    true_section_cut,
    true_section_drawing,
)
from conegap.solver.studies.firing_order import Firing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.arrays.sector_assessment import SectorAssessment
    from conegap.solver.assessment import Assessment

__all__ = ["section_remark", "section_title", "sector_charts", "sector_drawings"]


def section_title(design: Design) -> str:
    """Title of the plane section where it is not the whole truth, "" elsewhere."""
    shown = design.emitter.section_shows
    return f"{shown[0].upper()}{shown[1:]}: the plane section" if shown else ""


def section_remark(design: Design) -> str:
    """What the caption of the plane section must add, "" for nothing."""
    shown = design.emitter.section_shows
    if not shown:
        return ""
    return f" It shows {shown}; the plan, the true section and the view show all of the electrodes."


def sector_drawings(design: Design) -> tuple[Picture, ...]:
    """Plan, true section and view of a design that needs the third dimension, else nothing.

    Raises
    ------
    GeometryError
        A rounding does not fit.
    """
    if design.emitter.solid is None:
        return ()
    return _plan(design), _true_section(design), _view(design)


def _marks_in_words(drawing: Drawing) -> str:
    words = [pretty(mark.label).replace("\n", " ") for mark in drawing.marks]
    return f"Dimensions: {'; '.join(words)}."


def _plan(design: Design) -> Picture:
    drawing, name = plan_drawing(design), design.emitter.solid_name
    solved = (
        "Shaded: the part that is solved in three dimensions; its mirror images make the whole."
    )
    if design.emitter.endless:
        solved = "Shaded: the part of the endless array that is solved in three dimensions."
    if design.emitter.solid == "blade":
        solved = "Shaded: the side that is solved in three dimensions."
    return Picture(
        "plan",
        f"Plan of the {name}, true to scale, as seen from the accelerator, which is "
        f"drawn as if transparent. {solved}",
        f"Plan of the {name}, true to scale. {_marks_in_words(drawing)}",
        sketched(
            lambda axes: draw_drawing(axes, drawing),
            section_size(drawing.window, WIDTH),
            f"Plan: {name}",
        ),
    )


def _true_section(design: Design) -> Picture:
    drawing = true_section_drawing(design)
    title, where = true_section_cut(design)
    return Picture(
        "true_section",
        f"The true section in {where}, true to scale. Cut metal is hatched; what is only seen "
        "behind the plane is plain.",
        f"Section in {where}, true to scale. {_marks_in_words(drawing)}",
        sketched(
            lambda axes: draw_drawing(axes, drawing), section_size(drawing.window, WIDTH), title
        ),
    )


def _view(design: Design) -> Picture:
    view = solid_view(design)
    left, right, low, high = view.window
    size = (WIDTH, WIDTH * (high - low) / (right - left))
    return Picture(
        "view",
        "The electrodes in parallel projection, drawn from their dimensions; the bar holds for "
        f"lengths across the picture. {view.words}",
        f"View from above of the {design.emitter.solid_name} and the accelerator. {view.words}",
        sketched(lambda axes: draw_solid_view(axes, view), size, "View"),
    )


def sector_charts(assessment: Assessment) -> list[Picture]:
    """Charts of what the solve in three dimensions found; empty for a plane section."""
    found = []
    design = assessment.design
    if assessment.sector is not None:
        found += _screening(design, assessment.sector)
        if len(assessment.sector.onset.tips) > 1:
            found.append(_classes(design, assessment.sector))
        if assessment.sector.firing is not None:
            found += _firing(design, assessment.sector.firing)
    found += misalignment_pictures(assessment.onset.misaligned)
    if assessment.slit_end is not None:
        found += _end(design, assessment.slit_end)
    return found


def _screening(design: Design, sector: SectorAssessment) -> list[Picture]:
    emitter = design.emitter
    pitch, found = emitter.pitch_length, sector.screening
    if emitter.count == 1 or pitch is None or not found.points:
        return []
    drawn = pitch / found.height
    words = "; ".join(f"{p.share:.3f} at {p.pitch / found.height:.3g}" for p in found.points)
    return [
        Picture(
            "screening",
            "How much the tips take from each other's field: field of the most screened tip over "
            "that of one tip alone in the same place, over pitch over height. Every point is a "
            "solve of its own.",
            f"Field over that of a tip alone: {found.weakest:.3f} as drawn, at a pitch of "
            f"{drawn:.3g} heights; {words}.",
            charted(lambda axes: chart_screening(axes, sector, pitch), (WIDTH, 3.2)),
        )
    ]


def _classes(design: Design, sector: SectorAssessment) -> Picture:
    classes = sector.tip_voltages()
    words = "; ".join(f"{name} {voltage_text(voltage)}" for name, _, _, voltage in classes)
    return Picture(
        "tip_classes",
        "Onset of each class of tips, the strongest first, beside the voltage of the design. "
        "Tips that are alike by symmetry make a class.",
        f"Onsets: {words}; design {voltage_text(design.voltage)}.",
        charted(
            lambda axes: chart_tip_classes(axes, sector, design),
            (WIDTH, 0.9 + 0.34 * len(classes)),
        ),
    )


def _firing(design: Design, firing: Firing) -> list[Picture]:
    first, last = voltage_text(firing.first[1]), voltage_text(firing.last[1])
    late = voltage_text(firing.last[2])
    order = ", ".join(str(k) for k in firing.order[:5])
    return [
        Picture(
            "firing",
            f"Tips that fire as the voltage rises, over {firing.samples} sampled crowns: radius "
            f"± {length_words(firing.radius_scatter)} and height "
            f"± {length_words(firing.height_scatter)} from tip to tip.",
            f"Fraction of tips lit against voltage: the first fires at {first}, all at {last} in "
            f"the middle of the crowns and by {late} in 95 % of them; "
            f"without a ballast {percent(firing.lit_share(design.voltage))} would be lit at the "
            f"design's {voltage_text(design.voltage)}.",
            charted(lambda axes: chart_firing(axes, firing, design), (WIDTH, 3.5)),
        ),
        Picture(
            "firing_order",
            "One crown drawn at random from the tolerances: onset of every tip round the ring. "
            "The numbers above are the order in which they fire, the first quarter dark.",
            f"Onset of each tip round the ring; the first to fire are tips {order}.",
            charted(lambda axes: chart_firing_order(axes, firing), (WIDTH, 2.6)),
        ),
    ]


def _end(design: Design, end: SlitEnd) -> list[Picture]:
    arc = float(end.along[-1])
    low = max(float(end.along[0]), -0.8 * arc)
    at = length_words(float(np.round(end.place, 6)))
    found = [
        Picture(
            "lip_field",
            "Field along the crest of the lips over that in the middle of the slit, from "
            + (
                f"a solve with an end radius of {length_words(end.end_radius)}, assumed because "
                "none is drawn; "
                if end.assumed
                else "solves with two blunter edges carried on to the true one; "
            )
            + "below, the crest with its end.",
            f"The field is greatest {at} after the beginning of the rounding, {end.factor:.3f} "
            f"times that in the middle, ± {end.error:.3f}; {ALLOWED_FACTOR} is allowed.",
            charted(lambda axes: chart_lip(axes, end, (low, arc)), (WIDTH, 3.8)),
        )
    ]
    slot = design.accelerator.straight_slot(design.gap)
    length, along = None if slot is None else slot.slot_length, design.emitter.line_length
    over = None if length is None or along is None else length / 2.0 - along / 2.0
    for name, points, drawn, what in (
        ("end_over_radius", end.over_radius, end.end_radius, "end radius"),
        ("end_over_overhang", end.over_overhang, over, "overhang of the slot beyond the lips"),
    ):
        if len(points) < 2:
            continue
        if end.assumed:
            drawn = None
        words = "; ".join(f"{p.factor:.3f} at {length_words(p.value)}" for p in points)
        found.append(
            Picture(
                name,
                f"End factor, the greatest field at the end over that in the middle, over the "
                f"{what}; all else as drawn. Every point is a solve of its own.",
                f"End factor over the {what}: {words}; {ALLOWED_FACTOR} is allowed.",
                charted(_end_drawer(points, drawn, what), (WIDTH, 2.6)),
            )
        )
    return found


def _end_drawer(
    points: tuple[EndPoint, ...], drawn: float | None, what: str
) -> Callable[[Axes], object]:
    return lambda axes: chart_end_factor(axes, points, drawn, what)
