"""The figures of a report: which there are, what they are called and what they say in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.section import DimensionMark, EmittingEdge, Section
from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import field_text, length_words, percent, voltage_text
from conegap.solver.common.style import pretty, style
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.figures.beam import beam_alt, beam_caption, beam_window, draw_beam
from conegap.solver.figures.charts import (
    chart_budget,
    chart_edge_field,
    chart_onset_band,
    chart_scan,
)
from conegap.solver.figures.emission import chart_instabilities, instabilities_height
from conegap.solver.figures.field_map import draw_equipotentials, draw_mesh
from conegap.solver.figures.finish import finish_mark
from conegap.solver.figures.liquid_shapes import (
    chart_balance,
    chart_branch,
    draw_shapes,
    shapes_window,
)
from conegap.solver.figures.load_line import chart_load_line, load_line_alt, load_line_caption
from conegap.solver.figures.picture import WIDTH, Picture, charted, png_of, sketched, svg_of
from conegap.solver.figures.section_view import draw_edge, draw_section, section_size
from conegap.solver.figures.sector_pictures import (
    section_remark,
    section_title,
    sector_charts,
    sector_drawings,
)
from conegap.solver.figures.window import Window, edge_window, electrodes_window

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from conegap.solver.assessment import Assessment
    from conegap.solver.beam.ion_beam import Beam
    from conegap.solver.field.solution import FieldSolution
    from conegap.solver.liquid.meniscus_onset import MeniscusOnset
    from conegap.solver.studies.scan import Scan

__all__ = [
    "Picture",
    "charted",
    "drawing_pictures",
    "mesh_pictures",
    "png_of",
    "report_pictures",
    "svg_of",
]

# Width of the voltage axis across the first sheet, [in].
_ACROSS = 7.2


def drawing_pictures(design: Design) -> tuple[Picture, ...]:
    """The dimensioned section and the magnified edges of a design."""
    section = design.section()
    window = electrodes_window(section)
    whole = Picture(
        "section",
        "The section true to scale. Metal is hatched, liquid is solid; parts that reach beyond "
        f"the view are cut off at the sides.{section_remark(design)}",
        f"Dimensioned section of {design.emitter.kind} and accelerator, true to scale. "
        + _marks_in_words(section, inset=False),
        sketched(
            lambda axes: draw_section(axes, section, window),
            section_size(window, WIDTH),
            section_title(design),
        ),
    )
    edges = (_edge_picture(design, section, edge) for edge in _edges_shown(section))
    return *sector_drawings(design), whole, *edges


def mesh_pictures(solution: FieldSolution) -> tuple[Picture, ...]:
    """The coarsest mesh over the section and at the first emitting edge."""
    section = solution.section
    windows = [("mesh", "over the electrodes", electrodes_window(section))]
    windows += [("mesh_edge", "at the edge", edge_window(section, e)) for e in section.edges[:1]]
    found = []
    for name, where, window in windows:
        found.append(
            Picture(
                name,
                f"The coarsest mesh of the sequence {where}; finer ones divide each triangle.",
                f"Triangular mesh {where}, refined towards the emitting edge.",
                _framed(_mesh_drawer(solution, window), window),
            )
        )
    return tuple(found)


def report_pictures(assessment: Assessment) -> dict[str, Picture]:
    """Every figure of the report by its name."""
    pictures = [_band_picture(assessment), *drawing_pictures(assessment.design)]
    if len(assessment.emission.instabilities) > 1:
        pictures.append(_emission_picture(assessment))
    if assessment.onset.meniscus is not None:
        pictures += _liquid_pictures(assessment.onset.followed.section(), assessment.onset.meniscus)
    pictures += _field_pictures(assessment)
    if assessment.beam is not None:
        pictures.append(_beam_picture(assessment.solution.section, assessment.beam))
    pictures += [_scan_picture(scan, assessment) for scan in assessment.scans if len(scan.values)]
    if assessment.design.metal.gives_ions:
        pictures.append(_load_line_picture(assessment))
    pictures += sector_charts(assessment)
    pictures.append(_budget_picture(assessment))
    return {picture.name: picture for picture in pictures}


def _framed(draw: Callable[[Axes], object], window: Window) -> Figure:
    """A figure with a drawing in axes with numbers."""
    from matplotlib.figure import Figure

    left, right, low, high = 0.58, 0.08, 0.45, 0.28
    inner = WIDTH - left - right
    tall = min(max(inner * window.height / window.width, 1.6), 1.4 * inner)
    height = tall + low + high
    with style():
        figure = Figure(figsize=(WIDTH, height))
        box = (left / WIDTH, low / height, inner / WIDTH, tall / height)
        draw(figure.add_axes(box))
    return figure


def _edges_shown(section: Section) -> tuple[EmittingEdge, ...]:
    """One view where the edges lie together, as the two lips of a slit do."""
    return section.edges[:1]


def _edge_picture(design: Design, section: Section, edge: EmittingEdge) -> Picture:
    window = edge_window(section, edge)
    radius = f"radius {length_words(edge.radius)}" if edge.radius > 0.0 else "sharp"
    called = _with_callouts(design, section, edge, window)
    return Picture(
        "edge",
        f"The emitting edge magnified, true to scale; the {edge.name} has a surface of {radius}.",
        f"Magnified section of the emitting edge, {edge.name}, {radius}. "
        + _marks_in_words(called, inset=True),
        sketched(lambda axes: draw_edge(axes, called, edge), section_size(window, WIDTH)),
    )


def _with_callouts(design: Design, section: Section, edge: EmittingEdge, window: Window) -> Section:
    """The section with tolerances at the dimensions of its edge, and the finish of the edge."""
    held = {d.key: d.tolerance_text for d in design.dimensions() if d.tolerance}
    marks = [
        replace(mark, label=f"{mark.label}{_break(mark)}± {held[mark.key]}")
        if mark.inset and mark.key in held
        else mark
        for mark in section.marks
    ]
    finish = finish_mark(design, section, edge, window)
    if finish is not None:
        marks.append(replace(finish, inset=True))
    return replace(section, marks=tuple(marks))


def _break(mark: DimensionMark) -> str:
    """Upright dimensions stand in a narrow lane: their tolerance goes on a line of its own."""
    upright = abs(mark.last[1] - mark.first[1]) >= abs(mark.last[0] - mark.first[0])
    return "\n" if mark.kind == "linear" and upright else " "


def _marks_in_words(section: Section, *, inset: bool) -> str:
    words = [
        f"{mark.key.rpartition('.')[2].replace('_', ' ')} " + pretty(mark.label.replace("\n", " "))
        for mark in section.marks
        if mark.inset == inset
    ]
    return f"Dimensions: {'; '.join(words)}." if words else "No dimensions are marked."


def _mesh_drawer(solution: FieldSolution, window: Window) -> Callable[[Axes], object]:
    return lambda axes: draw_mesh(axes, solution, window)


def _band_picture(assessment: Assessment) -> Picture:
    limit = assessment.design.supply.voltage_limit
    supply = f", supply limit {voltage_text(limit)}" if limit is not None else ""
    first = assessment.emission.first
    words = (
        f"onset {voltage_text(first.voltage)}, between "
        f"{voltage_text(first.low)} and {voltage_text(first.high)}; "
        f"design voltage {voltage_text(assessment.design.voltage)}{supply}"
    )
    return Picture(
        "onset_band",
        "The onset with its band (k = 2, about 95 %) beside the voltage of the design and the "
        "limit of the supply.",
        f"Voltage axis: {words}.",
        charted(lambda axes: chart_onset_band(axes, assessment), (_ACROSS, 1.3)),
    )


def _emission_picture(assessment: Assessment) -> Picture:
    found = assessment.emission.instabilities
    words = "; ".join(
        f"{one.place}, {one.mode}: {voltage_text(one.voltage)}, {voltage_text(one.low)} to "
        f"{voltage_text(one.high)}"
        for one in found
    )
    return Picture(
        "first_emission",
        "Every way to begin that was solved, with its band (k = 2); the lowest is the first.",
        f"Voltage axis: {words}.",
        charted(
            lambda axes: chart_instabilities(axes, assessment),
            (WIDTH, instabilities_height(assessment)),
        ),
    )


def _liquid_pictures(section: Section, meniscus: MeniscusOnset) -> list[Picture]:
    top = length_words(meniscus.branch.turning.shape.height * meniscus.radius)
    at = voltage_text(meniscus.voltage)
    return [
        Picture(
            "liquid_shapes",
            "The liquid surface at rising voltage, true to scale, up to the last shape in balance.",
            f"Shapes of the liquid surface up to the loss of balance at {at}, where the apex "
            f"stands {top} above the contact line.",
            _framed(lambda axes: draw_shapes(axes, section, meniscus), shapes_window(meniscus)),
        ),
        Picture(
            "liquid_branch",
            "Voltage of the shapes in balance; the highest is the onset, found on finer meshes.",
            f"Voltage against the height of the apex: it rises to the loss of balance at {at} and "
            f"{top}.",
            charted(lambda axes: chart_branch(axes, meniscus), (WIDTH, 3.6)),
        ),
        Picture(
            "liquid_balance",
            "Pressures along the surface when it loses its balance.",
            f"Pressure of the field and of the liquid along the surface at {at}; their sum "
            "follows the pressure of surface tension.",
            charted(lambda axes: chart_balance(axes, meniscus), (WIDTH, 3.4)),
        ),
    ]


def _field_pictures(assessment: Assessment) -> list[Picture]:
    design, solution, onset = assessment.design, assessment.solution, assessment.onset.rigid
    voltages = electrode_voltages(design, solution.electrodes)
    at = ", ".join(f"{name} {voltage_text(v)}".replace("-", "−") for name, v in voltages.items())
    edge = solution.section.edge(onset.edge_name)

    def over(window: Window) -> Callable[[Axes], object]:
        return lambda axes: draw_equipotentials(axes, solution, voltages, window)

    whole, near = electrodes_window(solution.section), edge_window(solution.section, edge)
    return [
        Picture(
            "equipotentials",
            f"Lines of equal potential at the design's voltages: {at}.",
            f"Equipotential lines between the electrodes with {at}; they crowd at the edge.",
            _framed(over(whole), whole),
        ),
        Picture(
            "equipotentials_edge",
            "The same near the emitting edge.",
            "Equipotential lines within a few radii of the emitting edge.",
            _framed(over(near), near),
        ),
        Picture(
            "edge_field",
            "Field along the surface as drawn, from the apex outwards.",
            f"Field along the surface from the apex: at the rigid onset it starts at "
            f"{field_text(onset.balance_field)}, the balance with surface tension, and falls with "
            f"distance; at the design's voltages it starts at "
            f"{field_text(onset.edge_at_design.value)}.",
            charted(lambda axes: chart_edge_field(axes, assessment), (WIDTH, 3.6)),
        ),
    ]


def _beam_picture(section: Section, beam: Beam) -> Picture:
    window = beam_window(section)
    return Picture(
        "beam",
        beam_caption(beam),
        beam_alt(beam),
        _framed(lambda axes: draw_beam(axes, section, beam, window), window),
    )


def _load_line_picture(assessment: Assessment) -> Picture:
    return Picture(
        "load_line",
        load_line_caption(assessment.operation),
        load_line_alt(assessment.operation),
        charted(lambda axes: chart_load_line(axes, assessment), (WIDTH, 4.0)),
    )


def _scan_picture(scan: Scan, assessment: Assessment) -> Picture:
    name = "onset_over_gap" if scan.key == "accelerator.gap" else "onset_over_edge_size"
    low, high = int(np.argmin(scan.values)), int(np.argmax(scan.values))
    from conegap.geometries.quantities.quantity import as_text

    kind = assessment.design.dimension(scan.key).kind
    ends = [
        f"{voltage_text(float(scan.voltages[k]))} at "
        f"{pretty(as_text(float(scan.values[k]), kind, scan.unit))}"
        for k in (low, high)
    ]
    refused = sum(point.onset is None for point in scan.points)
    followed, free = len(scan.free[0]), ""
    if followed:
        free = f" Diamonds: the free surface, found at {followed}."
    elif assessment.onset.meniscus is not None:
        free = " The diamond is the free surface as drawn."
    gone = f" {refused} of {len(scan.points)} points have no onset." if refused else ""
    return Picture(
        name,
        f"Over {scan.label}, every point solved.{free}{gone}",
        f"Onset voltage of the rigid surface over {scan.label}: {ends[0]}, {ends[1]}.{gone}",
        charted(lambda axes: chart_scan(axes, scan, assessment), (WIDTH, 3.5)),
    )


def _budget_picture(assessment: Assessment) -> Picture:
    emission = assessment.emission.first
    budget = emission.budget
    first = budget.contributions[0]
    rows = min(10, sum(line.size >= 5e-6 for line in budget.contributions))
    return Picture(
        "budget",
        "One standard uncertainty each, downward (hatched) and upward, and all together at k = 2.",
        f"Bars of the error budget; the largest is {pretty(first.label)} with "
        f"{percent(first.size)}; all together −{percent(budget.down)} and +{percent(budget.up)}.",
        charted(
            lambda axes: chart_budget(axes, budget, emission.voltage),
            (WIDTH, 0.95 + 0.27 * (rows + 1)),
        ),
    )
