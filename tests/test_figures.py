"""Figures, checked on their numbers: scale, places of texts, axes with units, data drawn."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from numpy.testing import assert_allclose
from reporting import assessed_needle, with_meniscus, with_scans

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import axis_unit, field_text, percent, voltage_text
from conegap.solver.common.style import pretty, style
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import solve_field
from conegap.solver.figures.charts import (
    chart_budget,
    chart_edge_field,
    chart_onset_band,
    chart_scan,
)
from conegap.solver.figures.field_map import draw_equipotentials, draw_mesh, round_levels
from conegap.solver.figures.liquid_shapes import chart_branch, draw_shapes
from conegap.solver.figures.report_figures import png_of, report_pictures, svg_of
from conegap.solver.figures.section_view import draw_edge, draw_section, section_size
from conegap.solver.figures.window import (
    Window,
    edge_window,
    electrodes_window,
    surfaces,
    whole_outlines,
)
from conegap.solver.onset.surface_line import lines_from_edge
from conegap.validation.sections.catalogue import concentric_spheres

EXAMPLES = ("needle", "capillary", "slit", "profile")
UNIT = re.compile(r"\[(nm|µm|mm|V|kV|V/m|kV/m|MV/m|% of [\d.]+ k?V)\]")


def axes_of(size: tuple[float, float], *, full: bool = False):  # type: ignore[no-untyped-def]
    figure = Figure(figsize=size, layout=None if full else "constrained")
    FigureCanvasAgg(figure)
    return figure.add_axes((0.01, 0.01, 0.98, 0.98)) if full else figure.add_subplot()


def boxes(axes) -> list[tuple[str, Bbox]]:  # type: ignore[no-untyped-def]
    axes.figure.draw_without_rendering()
    renderer = axes.figure.canvas.get_renderer()
    texts = [t for t in axes.texts if isinstance(t, Text) and t.get_text()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in texts]


def overlaps(found: list[tuple[str, Bbox]]) -> list[tuple[str, str]]:
    clashes = []
    for k, (one, box) in enumerate(found):
        for other, there in found[k + 1 :]:
            wide = min(box.x1, there.x1) - max(box.x0, there.x0)
            tall = min(box.y1, there.y1) - max(box.y0, there.y0)
            if wide > 0.5 and tall > 0.5:
                clashes.append((one, other))
    return clashes


def drawn(name: str, *, edge: bool):  # type: ignore[no-untyped-def]
    section = Design.read(name).section()
    window = edge_window(section, section.edges[0]) if edge else electrodes_window(section)
    with style():
        axes = axes_of(section_size(window, 4.6), full=True)
        if edge:
            draw_edge(axes, section, section.edges[0])
        else:
            draw_section(axes, section)
    return axes, section, window


@pytest.mark.parametrize("edge", [False, True])
@pytest.mark.parametrize("name", EXAMPLES)
def test_drawing_is_true_to_scale_and_its_texts_keep_apart(name: str, edge: bool) -> None:
    """INVARIANT: one metre is as long across as up, every dimension is written, none overlap."""
    axes, section, _ = drawn(name, edge=edge)
    found = boxes(axes)
    per_x, per_z = np.diff(axes.transData.transform([[0, 0], [1, 1]]), axis=0)[0]
    assert_allclose(per_x, per_z, rtol=1e-9)
    written = [text for text, _ in found]
    for mark in section.marks:
        if mark.inset == edge:
            assert pretty(mark.label) in written
    assert overlaps(found) == []
    frame = axes.figure.bbox
    for text, box in found:
        outside = max(frame.x0 - box.x0, box.x1 - frame.x1, frame.y0 - box.y0, box.y1 - frame.y1)
        assert outside <= 1.0, text


@pytest.mark.parametrize("name", EXAMPLES)
def test_scale_bar_is_as_long_as_it_says(name: str) -> None:
    """EXACT: length of the bar on the axes against the number below it."""
    axes, _, window = drawn(name, edge=False)
    bar = next(line for line in axes.lines if line.get_linewidth() == 2.2)
    (x0, x1), (z0, z1) = bar.get_data()
    assert z0 == z1
    unit = {"µm": 1e-6, "mm": 1e-3, "nm": 1e-9}
    words = [t.get_text() for t in axes.texts if abs(t.get_position()[0] - (x0 + x1) / 2) < 1e-9]
    number, name_of_unit = words[0].split()
    in_axes = axis_unit(Design.read(name).dimension("accelerator.gap").kind, window.width).size
    assert_allclose((x1 - x0) * in_axes, float(number) * unit[name_of_unit], rtol=1e-6)


def test_upright_dimension_has_the_length_of_the_gap() -> None:
    """EXACT: arrows of the gap's dimension line end at its two faces."""
    axes, section, _ = drawn("needle", edge=False)
    heads = [t.xy for t in axes.texts if not t.get_text()]
    lane = max(x for x, _ in heads)
    ends = sorted(z for x, z in heads if abs(x - lane) < 1e-9)
    for z in (0.0, section.gap * 1e3, -3.0):
        assert min(abs(np.array(ends) - z)) < 1e-9


@pytest.mark.parametrize("name", ["needle", "capillary", "slit"])
def test_bodies_are_joined_with_their_mirror_image(name: str) -> None:
    """INVARIANT: a body on the axis becomes one outline that is its own mirror image."""
    section = Design.read(name).section()
    body = next(b for b in section.bodies if b.label == "emitter")
    outlines = whole_outlines(section, body)
    assert len(outlines) == 1
    assert_allclose(outlines[0], outlines[0][::-1] * [-1.0, 1.0], atol=1e-15)
    plate = next(b for b in section.bodies if b.label == "accelerator")
    assert len(whole_outlines(section, plate)) == 2


def test_surfaces_hold_both_halves() -> None:
    """INVARIANT: as many points left of the axis as right of it."""
    points = np.vstack([p for _, p in surfaces(Design.read("needle").section())])
    assert_allclose(points[:, 0].min(), -points[:, 0].max(), rtol=1e-12)


def test_charts_name_their_axes_with_units() -> None:
    """INVARIANT: every axis with numbers says what and in which unit."""
    assessment = with_scans()
    charts = [
        lambda axes: chart_edge_field(axes, assessment),
        lambda axes: chart_budget(axes, assessment.budget, assessment.onset.rigid.voltage),
        lambda axes: chart_onset_band(axes, assessment),
        *(lambda axes, scan=scan: chart_scan(axes, scan, assessment) for scan in assessment.scans),
    ]
    for draw in charts:
        with style():
            axes = draw(axes_of((4.6, 3.6)))
        assert UNIT.search(axes.get_xlabel()), axes.get_xlabel()
        words_in_place_of_numbers = draw in charts[1:3]
        if not words_in_place_of_numbers:
            assert UNIT.search(axes.get_ylabel()), axes.get_ylabel()


def test_band_lies_where_the_assessment_says() -> None:
    """EXACT: edges of the band and the marks in kilovolts."""
    assessment = assessed_needle()
    with style():
        axes = chart_onset_band(axes_of((4.6, 1.5)), assessment)
    band = axes.patches[0]
    ends = [band.get_x(), band.get_x() + band.get_width()]
    assert_allclose(
        ends, [assessment.emission.first.low / 1e3, assessment.emission.first.high / 1e3]
    )
    places = {round(float(line.get_xdata()[0]), 9) for line in axes.lines}
    design = assessment.design
    for voltage in (assessment.onset.rigid.voltage, design.voltage, design.supply.voltage_limit):
        assert round(voltage / 1e3, 9) in places
    assert overlaps(boxes(axes)) == []


@pytest.mark.parametrize("limit", [8e3, 9e3, 12e3, 20e3, None])
def test_words_of_the_band_keep_apart(limit: float | None) -> None:
    """INVARIANT: wherever design and limit lie, their words overlap neither each other's nor the
    onset's, and stay on the page of the report."""
    for low, high in ((6630.0, 8610.0), (7600.0, 8000.0), (4000.0, 9000.0)):
        first = SimpleNamespace(voltage=7870.0, low=low, high=high)
        for design in np.linspace(4000.0, limit or 15000.0, 24):
            stated = SimpleNamespace(voltage=design, supply=SimpleNamespace(voltage_limit=limit))
            assessment = SimpleNamespace(design=stated, emission=SimpleNamespace(first=first))
            with style():
                axes = chart_onset_band(axes_of((7.2, 1.3)), assessment)
            found = boxes(axes)
            assert overlaps(found) == [], design
            page = axes.figure.bbox
            assert all(page.x0 <= b.x0 and b.x1 <= page.x1 for _, b in found), design
            assert all(page.y0 <= b.y0 and b.y1 <= page.y1 for _, b in found), design


def test_scan_shows_points_drawn_value_and_limit() -> None:
    """EXACT: the curve holds the scan's numbers in the units of its labels."""
    assessment = with_scans()
    scan = assessment.scans[0]
    with style():
        axes = chart_scan(axes_of((4.6, 3.5)), scan, assessment)
    lines = {line.get_label().partition(" ")[0]: line for line in axes.lines}
    assert_allclose(lines["rigid"].get_xdata(), scan.values * 1e3, rtol=1e-12)
    assert_allclose(lines["rigid"].get_ydata(), scan.voltages / 1e3, rtol=1e-12)
    assert_allclose(lines["drawn"].get_xdata()[0], assessment.design.gap * 1e3)
    limit = assessment.design.supply.voltage_limit
    assert limit is not None
    assert_allclose(lines["supply"].get_ydata()[0], limit / 1e3)


def test_scan_of_a_free_surface_shows_both() -> None:
    """EXACT: turning points where they were found, beside the rigid curve."""
    assessment = with_scans()
    scan = assessment.scans[0]
    points = [
        replace(p, turning=None if k == 1 or p.onset is None else 1.2 * p.onset.voltage)
        for k, p in enumerate(scan.points)
    ]
    with style():
        axes = chart_scan(axes_of((4.6, 3.5)), replace(scan, points=tuple(points)), assessment)
    lines = {line.get_label().partition(" ")[0]: line for line in axes.lines}
    assert_allclose(lines["free"].get_xdata(), np.delete(scan.values, 1) * 1e3, rtol=1e-12)
    assert_allclose(lines["free"].get_ydata(), 1.2e-3 * np.delete(scan.voltages, 1), rtol=1e-12)
    assert_allclose(lines["rigid"].get_ydata(), scan.voltages / 1e3, rtol=1e-12)


def test_budget_bars_have_the_size_of_the_contributions() -> None:
    """EXACT: longest bar and total in percent."""
    assessment = assessed_needle()
    with style():
        axes = chart_budget(axes_of((4.6, 3.0)), assessment.budget, assessment.onset.rigid.voltage)
    widths = sorted(abs(bar.get_width()) for bar in axes.patches)
    assert_allclose(widths[-1], 100 * max(assessment.budget.up, assessment.budget.down))
    assert_allclose(
        max(w for w in widths if w < widths[-2]), 100 * assessment.budget.contributions[0].size
    )


def test_field_along_the_edge_starts_at_the_balance() -> None:
    """INVARIANT: at onset the apex's field is the balance field, and it falls outwards."""
    assessment = assessed_needle()
    design, solution, onset = assessment.design, assessment.solution, assessment.onset.rigid
    share = onset.voltage / design.voltage
    lines = lines_from_edge(solution, onset, electrode_voltages(design, solution.electrodes, share))
    assert_allclose(lines[0].field[0], onset.balance_field, rtol=2e-3)
    assert lines[0].distance[0] == 0.0
    assert np.all(np.diff(lines[0].distance) > 0.0)
    assert lines[0].field[-1] < 0.1 * lines[0].field[0]


def test_equipotentials_are_round_and_inside_the_voltages() -> None:
    """INVARIANT: round levels between the electrodes' voltages, equal axes, labelled lengths."""
    assessment = assessed_needle()
    solution = assessment.solution
    voltages = electrode_voltages(assessment.design, solution.electrodes)
    window = electrodes_window(solution.section)
    with style():
        axes = axes_of((4.6, 4.6))
        axes.figure.set_layout_engine("none")
        draw_equipotentials(axes, solution, voltages, window)
    levels = axes.collections[0].levels
    assert min(voltages.values()) < levels[0]
    assert levels[-1] < max(voltages.values())
    assert_allclose(np.diff(levels), 500.0)
    assert axes.get_xlabel() == "radius r [mm]"
    assert axes.get_ylabel().endswith("[mm]")
    assert axes.get_aspect() == 1.0
    labels = boxes(axes)
    assert len(labels) >= len(levels) // 2
    assert overlaps(labels) == []
    for words, _ in labels:
        assert float(words.replace("−", "-")) * 1e3 in levels.tolist()


def test_mesh_is_drawn_in_the_window() -> None:
    """INVARIANT: equal axes, and lines are there."""
    solution = assessed_needle().solution
    with style():
        axes = axes_of((4.6, 4.6))
        axes.figure.set_layout_engine("none")
        draw_mesh(axes, solution, electrodes_window(solution.section))
    assert axes.get_aspect() == 1.0
    assert sum(np.isfinite(line.get_xdata()).sum() for line in axes.lines) > 500


@pytest.mark.parametrize(
    ("low", "high", "count"), [(-1e3, 5e3, 11), (0.0, 1.0, 9), (3.31e3, 3.97e3, 11), (1e-3, 2e3, 5)]
)
def test_round_levels(low: float, high: float, count: int) -> None:
    """INVARIANT: multiples of 1, 2, 2.5 or 5 times a power of ten, strictly inside."""
    levels = round_levels(low, high, count)
    assert low < levels[0]
    assert levels[-1] < high
    assert count / 2.6 <= len(levels) <= count + 1
    step = levels[1] - levels[0]
    assert_allclose(levels / step, np.round(levels / step), atol=1e-9)
    mantissa = step / 10.0 ** np.floor(np.log10(step) + 1e-12)
    assert min(abs(mantissa - m) for m in (1.0, 2.0, 2.5, 5.0)) < 1e-9


def test_every_picture_has_words_and_both_forms() -> None:
    """INVARIANT: names are unique, captions and alternative texts say numbers."""
    pictures = report_pictures(with_scans())
    assert set(pictures) == {
        "onset_band",
        "section",
        "edge",
        "equipotentials",
        "equipotentials_edge",
        "edge_field",
        "beam",
        "load_line",
        "onset_over_gap",
        "onset_over_edge_size",
        "budget",
    }
    for picture in pictures.values():
        assert len(picture.alt) > 30
        assert len(picture.caption) > 30
    assert "1 of 6 points have no onset" in pictures["onset_over_gap"].alt
    band = pictures["onset_band"]
    assert voltage_text(with_scans().onset.voltage) in band.alt
    assert svg_of(band.figure).lstrip().startswith("<?xml")
    assert png_of(band.figure)[:4] == b"\x89PNG"


def test_texts_with_units() -> None:
    """EXACT: prefixes and typeset units."""
    assert voltage_text(3292.0) == "3.29 kV"
    assert voltage_text(850.0) == "850 V"
    assert field_text(2.36e8) == "236 MV/m"
    assert percent(0.0816) == "8.2 %"
    assert percent(0.21) == "21 %"
    assert pretty("R 4 um") == "R 4 µm"
    assert pretty("half angle 15 deg ± 1 deg") == "half angle 15° ± 1°"
    assert pretty("-1 kV, 20 Mohm, 200 uA") == "−1 kV, 20 MΩ, 200 µA"


def test_free_surface_is_drawn_at_its_places() -> None:
    """EXACT: the turning point's shape ends on the contact lines, true to scale, in the legend."""
    assessment = with_meniscus()
    meniscus = assessment.onset.meniscus
    assert meniscus is not None
    section = assessment.design.section()
    with style():
        axes = axes_of((4.6, 4.6))
        axes.figure.set_layout_engine("none")
        draw_shapes(axes, section, meniscus)
        per_x, per_z = np.diff(axes.transData.transform([[0, 0], [1, 1]]), axis=0)[0]
    assert_allclose(per_x, per_z, rtol=1e-9)
    last = axes.lines[-1]
    assert last.get_label() == "4.00 kV, turning point"
    x, z = last.get_data()
    assert_allclose([x[0], x[-1]], [-4.0, 4.0], rtol=1e-9)
    assert_allclose([z[0], z[-1]], -1.0, atol=1e-9)
    height = meniscus.branch.turning.shape.height * 4.0
    assert_allclose(z.max(), height - 1.0, rtol=1e-6)
    assert len(axes.lines) >= 4


def test_branch_turns_at_the_turning_point() -> None:
    """EXACT: the highest voltage of the curve is the turning point's; beyond it is apart."""
    meniscus = with_meniscus().onset.meniscus
    assert meniscus is not None
    with style():
        axes = chart_branch(axes_of((4.6, 3.6)), meniscus)
    lines = {line.get_label().partition(" ")[0].strip(":"): line for line in axes.lines}
    stable, beyond = lines["stable"].get_data(), lines["beyond"].get_data()
    assert_allclose(max(stable[1].max(), beyond[1].max()), 4.0, rtol=1e-9)
    assert_allclose(stable[0][-1], beyond[0][0])
    assert np.all(np.diff(np.concatenate([stable[0], beyond[0]])) >= 0.0)
    assert UNIT.search(axes.get_xlabel())
    assert UNIT.search(axes.get_ylabel())
    assert {"liquid_shapes", "liquid_branch"} <= set(report_pictures(with_meniscus()))


def test_crowded_dimensions_keep_apart() -> None:
    """INVARIANT: dimensions of the same place and kind are written beside each other."""
    section = Design.read("needle").section()
    more = tuple(
        replace(mark, label=f"{mark.label} no {k}") for mark in section.marks for k in (2, 3)
    )
    crowded = replace(section, marks=section.marks + more)
    window = electrodes_window(crowded)
    with style():
        axes = axes_of(section_size(window, 4.6), full=True)
        draw_section(axes, crowded, window)
    found = boxes(axes)
    assert sum("no 3" in words for words, _ in found) == sum(not m.inset for m in section.marks)
    assert overlaps(found) == []


def test_voltages_stand_on_their_own_lines() -> None:
    """EXACT: between concentric spheres every label lies where the potential has its value."""
    case = concentric_spheres(inner=1e-3, outer=2e-3)
    solution = solve_field(case.section)
    axes = axes_of((4.0, 4.0))
    window = Window(0.0, 2e-3, -3e-3, 1e-3)
    draw_equipotentials(axes, solution, {"emitter": 1000.0, "accelerator": 0.0}, window)
    found = [t for t in axes.texts if t.get_text()]
    assert len(found) >= 5
    for text in found:
        x, z = text.get_position()
        distance = np.hypot(x * 1e-3, z * 1e-3 + 1e-3)
        exact = 1000.0 * (1e-3 / distance - 0.5) / 0.5
        assert float(text.get_text()) == pytest.approx(exact, abs=2.0)


def test_equipotentials_need_no_valid_triangulation() -> None:
    """INVARIANT: two triangles that overlap, which matplotlib's point search refuses, are drawn."""
    case = concentric_spheres(inner=1e-3, outer=2e-3)
    solution = solve_field(case.section, meshes=2)
    last = solution.levels[-1]
    doubled = np.vstack([last.mesh.triangles, last.mesh.triangles[:50, [0, 2, 1]]])
    level = replace(last, mesh=replace(last.mesh, triangles=doubled))
    rough = replace(solution, levels=(*solution.levels[:-1], level))
    axes = axes_of((4.0, 4.0))
    window = Window(0.0, 2e-3, -3e-3, 1e-3)
    draw_equipotentials(axes, rough, {"emitter": 1.0, "accelerator": 0.0}, window)
    assert axes.texts
