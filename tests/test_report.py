"""The HTML report and the field file: self-contained, readable, and with the right numbers."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import meshio
import numpy as np
import pytest
from numpy.testing import assert_allclose
from reporting import assessed_needle, with_meniscus, with_scans

from conegap.geometries.design.design import Design
from conegap.solver.assessment import SurfaceWave
from conegap.solver.beam.beam_review import MOST_FILLED
from conegap.solver.common.display_units import voltage_text
from conegap.solver.common.style import pretty
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.figures.report_figures import report_pictures
from conegap.solver.figures.voltage_lines import voltage_span
from conegap.solver.liquid.attached_cone import Extinction
from conegap.solver.liquid.slit_waves import FirstWave
from conegap.solver.report.blocks import Block, Bullets, Facts, Figures, Grid, Words
from conegap.solver.report.callouts import callouts_table, spare_offset
from conegap.solver.report.field_file import boundary_tag, nodal_field, write_field
from conegap.solver.report.first_sheet import first_sheet
from conegap.solver.report.liquid import liquid_facts, slit_words
from conegap.solver.report.operating import operating_table
from conegap.solver.report.operation import card_cautions
from conegap.solver.report.page import html_report
from conegap.solver.report.parts import report_parts
from conegap.solver.report.revolved_field_file import write_revolved_field
from conegap.solver.report.summary import summary
from conegap.solver.report.tables import (
    PRACTICE,
    budget_table,
    inputs_table,
    levels_table,
    property_text,
    review_basis,
    review_table,
)
from conegap.solver.report.words import (
    must_know,
    not_modelled,
    quality,
    verdict,
)

VOID = {"meta", "br", "link", "img", "hr", "input"}


class Page(HTMLParser):
    """Tags, attributes and text of a page; complains about tags that do not match."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1:] == [tag], tag
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "title"):
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@cache
def html() -> str:
    return html_report(with_scans(), report_pictures(with_scans()))


@cache
def page() -> Page:
    parsed = Page()
    parsed.feed(html())
    parsed.close()
    return parsed


def test_page_is_well_formed_and_needs_nothing_else() -> None:
    """INVARIANT: tags match; nothing is loaded, no script, identifiers stand once."""
    assert html().startswith("<!DOCTYPE html>")
    assert page().open == []
    loaded = [
        value
        for _, attributes in page().tags
        for name, value in attributes.items()
        if name in ("src", "href", "xlink:href", "data", "action", "srcset")
    ]
    assert loaded
    assert all(value and value.startswith("#") for value in loaded), loaded
    assert not {"script", "link", "iframe", "object", "img"} & {tag for tag, _ in page().tags}
    assert re.findall(r"url\((?!#)", html()) == []
    assert "@import" not in html()
    identifiers = [a["id"] for _, a in page().tags if "id" in a]
    assert len(identifiers) == len(set(identifiers))
    for value in loaded:
        assert value is not None
        assert value[1:] in identifiers
    for target in re.findall(r"url\(#([^)]+)\)", html()):
        assert target in identifiers


def test_every_figure_has_words() -> None:
    """INVARIANT: role, label and title on every figure, and a caption below."""
    figures = [a for tag, a in page().tags if tag == "svg" and a.get("role") == "img"]
    assert len(figures) == len(report_pictures(with_scans()))
    for attributes in figures:
        assert len(attributes["aria-label"] or "") > 30
    captions = [tag for tag, _ in page().tags if tag == "figcaption"]
    assert len(captions) == len(figures)


def test_headings_go_down_one_step_at_a_time_and_keep_the_order() -> None:
    """INVARIANT: one h1, then the sections in the order of a review."""
    levels = [int(tag[1]) for tag, _ in page().tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    order = [a["id"] for tag, a in page().tags if tag == "h2"]
    assert order == [
        "verdict",
        "review",
        "uncertainty",
        "section",
        "beam",
        "operation",
        "feed",
        "electrode",
        "inputs",
        "metal",
        "quality",
        "card",
    ]
    cells = [a for tag, a in page().tags if tag == "th"]
    assert cells
    assert all(a.get("scope") in ("col", "row") for a in cells)


def test_colours_of_the_figures_follow_the_page() -> None:
    """INVARIANT: no fixed colour of the house is left in a figure; dark ones are given."""
    bodies = re.findall(r"<svg viewBox.*?</svg>", html(), flags=re.DOTALL)
    assert all("var(--ink)" in body for body in bodies)
    assert all("#1b2530" not in body for body in bodies)
    assert "prefers-color-scheme: dark" in html()
    assert "@page { size: A4" in html()


def test_numbers_of_the_page_are_those_of_the_assessment() -> None:
    """EXACT: onset, band, digest, drawing, every input and every criterion."""
    assessment = with_scans()
    text = page().text
    for voltage in (
        assessment.onset.rigid.voltage,
        assessment.emission.first.low,
        assessment.emission.first.high,
    ):
        assert voltage_text(voltage) in text
    design = assessment.design
    assert design.sha256 in text
    assert design.drawing.number in text
    assert design.title in text  # holds <, & and >
    for dimension in design.dimensions():
        assert dimension.key in text
    for row in assessment.review:
        assert row.name in text
        assert all(pretty(clause) in text for clause in row.basis.replace(f", {PRACTICE}", "†")
                   .replace(PRACTICE, "†").split("; "))  # fmt: skip
    assert text.count(PRACTICE) >= 1
    for note in design.section().notes:
        assert pretty(note).split(":")[0] in text
    assert design.metal.hazards.split(".")[0] in text


def test_verdict_names_what_fails() -> None:
    """INVARIANT: two sentences; what fails and what is not proved is named, with its advice, and
    nothing else has advice."""
    found = assessed_needle()
    assessment = replace(found, review=tuple(row for row in found.review if row.passed))
    assert assessment.passed
    bad = replace(assessment.review[0], passed=False, advice="do something about it")
    open_row = replace(assessment.review[1], passed=None, advice="measure it")
    failing = replace(assessment, review=(bad, open_row, *assessment.review[2:]))
    for one, named in ((assessment, ()), (failing, (bad, open_row))):
        headline, review = verdict(one)
        assert voltage_text(one.emission.first.voltage) in headline
        assert [row.name for row in one.review if row.name in review] == [r.name for r in named]
        assert str(len(one.review)) in review
        assert summary(one).advice == tuple(f"{row.name}: {row.advice}" for row in named)
        assert first_sheet(one).passed == (not named)
    table = review_table(failing)
    assert [row[3] for row in table.rows[:3]] == ["fail", "not proved", "pass"]
    assert [table.mark(k) for k in range(3)] == ["fail", "unproved", "pass"]
    html = html_report(failing, {})
    assert html.count("do something about it") == html.count("measure it") == 1
    assert 'class="answer failing"' in html


def test_numbers_of_the_sheet_follow_the_supply() -> None:
    """INVARIANT: with a limit below the band's upper end the ratio printed is below one."""
    upper = assessed_needle().emission.first.high
    for factor, printed in ((0.5, "0.5 ×"), (2.0, "2 ×")):
        design = assessed_needle().design.with_value("supply.voltage_limit", upper * factor)
        numbers = dict(first_sheet(replace(assessed_needle(), design=design)).numbers)
        assert printed in numbers["limit of the supply, over the band"]


def test_one_format_of_numbers() -> None:
    """INVARIANT: no hyphen for a minus sign, no power of ten as programs print it, no percent sign
    or micrometre as typed, in any sentence or cell of the sheet and behind it."""
    for assessment in (with_scans(), with_meniscus()):
        sheet = first_sheet(assessment)
        texts = [*sheet.verdict, *sheet.remarks, *(value for _, value in sheet.numbers)]
        texts += [cell for table in (sheet.criteria, sheet.contributions) for row in table.rows
                  for cell in row]  # fmt: skip
        for part in report_parts(assessment):
            for block in part.blocks:
                texts += _texts(block)
        assert len(texts) > 400
        bad = re.compile(r"(?<![\w.,-])-\d|\d[eE][-+]?\d+(?!\w)|\d%|\d um\b|\d deg\b")
        assert [text for text in texts if bad.search(text)] == []


def _texts(block: Block) -> list[str]:
    if isinstance(block, Words):
        return list(block.lines)
    if isinstance(block, Bullets):
        return list(block.items)
    if isinstance(block, Facts):
        return [words for pair in block.pairs for words in pair]
    if isinstance(block, Grid):
        return [cell for row in block.table.rows for cell in row]
    return []


def test_each_thing_is_said_once() -> None:
    """INVARIANT: no sentence stands twice behind the first sheet, and every figure stands once."""
    for assessment in (with_scans(), with_meniscus()):
        parts = report_parts(assessment)
        blocks = [block for part in parts for block in part.blocks]
        lines = [line for b in blocks if isinstance(b, Words | Bullets) for line in _texts(b)]
        assert len(lines) == len(set(lines))
        shown = [name for block in blocks if isinstance(block, Figures) for name in block.names]
        assert len(shown) == len(set(shown))
        drawn = set(report_pictures(assessment)) - {"onset_band", "section"}
        assert drawn == set(shown) & set(report_pictures(assessment))


def test_warnings_stand_in_the_report() -> None:
    """INVARIANT: a warning is shown, its markup escaped."""
    warned = replace(assessed_needle(), warnings=("look <here> at 4 um",))
    report = html_report(warned, {})
    assert "look &lt;here&gt; at 4 µm" in report
    assert "Warnings" not in html_report(replace(warned, warnings=()), {})


def test_words_about_limits_and_dangers() -> None:
    """INVARIANT: what a builder must not miss, without limits that do not bear on the design."""
    assessment = assessed_needle()
    limits = " ".join(not_modelled(assessment))
    for word in ("free surface", "cusp", "Roughness", "aligned"):
        assert word in limits
    for word in ("along y", "neighbouring tips", "contact line"):
        assert word not in limits
    assert "contact line" in " ".join(not_modelled(with_meniscus()))
    dangers = " ".join(card_cautions(assessment))
    for word in ("High voltage", "X-rays", "Vacuum", "Indium", "Local codes", "licensed practice"):
        assert word in dangers
    calm = assessment.design.with_value("voltages.emitter", 3e3)
    calm = calm.with_value("supply.voltage_limit", 4.5e3)
    quiet = " ".join(card_cautions(replace(assessment, design=calm)))
    assert "Above 5 kV have a licensed" not in quiet
    assert "Above 5 kV have a licensed" in dangers
    assert any("order of convergence" in sentence for sentence in quality(assessment))


def test_callouts_for_the_machinist() -> None:
    """EXACT: every edge radius, the finish from the smallest of them, and the offset at which the
    widest beam fills half of what is left of the opening."""
    assessment = assessed_needle()
    beams = assessment.beams
    assert beams is not None
    rows = {row[0]: row[1] for row in callouts_table(assessment).rows}
    assert rows["emitter’s tip radius"].startswith("R 4 um")
    assert rows["finish of the emitting edge"] == "Rz ≤ 0.4 µm"
    half = assessment.design.dimension("accelerator.diameter").value / 2.0
    for filling, spare in ((0.2, 0.6 * half), (0.5, 0.0), (0.7, 0.0)):
        beam = replace(beams.nominal, filling=filling)
        wide = replace(beams, nominal=beam, ends=(), errors=None)
        found = spare_offset(replace(assessment, beams=wide))
        assert found is not None
        assert_allclose(found, spare, rtol=1e-6, atol=1e-12)
        # The beam's half-width over the room that the offset leaves.
        if spare:
            assert_allclose(filling * half / (half - found), MOST_FILLED, rtol=1e-6)
    assert spare_offset(replace(assessment, beams=None)) is None


def test_an_axis_begins_where_the_difference_shows() -> None:
    """EXACT: near lines widen the axis, far ones do not, and a flat curve is not blown up."""
    design = assessed_needle().design.with_value("supply.voltage_limit", 8e3)
    volts = design.voltage
    assert_allclose(voltage_span(volts - 1e3, volts - 500.0, design)[1], volts + 120.0)
    low, high = voltage_span(1e3, 1.1e3, design)
    assert_allclose((low, high), (1e3 - 12.0, 1.1e3 + 12.0))
    low, high = voltage_span(1e3, 1e3, design)
    assert_allclose(high - low, 0.24 * 20.0)


def test_slit_says_order_of_magnitude() -> None:
    """INVARIANT: spacing and the wave's voltage, with what they are worth."""
    assert slit_words(assessed_needle()) == ()
    wave = SurfaceWave(spacing=14e-6, sites=714.0, crest_width=7.5e-6, onset_voltage=11.7e3)
    words = " ".join(slit_words(replace(assessed_needle(), surface_wave=wave)))
    assert "14 µm" in words
    assert "714 sites" in words
    assert "11.70 kV" in words
    assert "order of magnitude" in words


def test_tables() -> None:
    """EXACT: rows against the objects they come from."""
    assessment = assessed_needle()
    inputs = inputs_table(assessment)
    assert len(inputs.rows) == len(assessment.design.dimensions())
    tip = next(row for row in inputs.rows if row[0] == "emitter.tip_radius")
    assert tip == ("emitter.tip_radius", "4 µm", "", "measured")
    toleranced = Design.read("needle")
    rows = inputs_table(replace(assessment, design=toleranced)).rows
    assert next(row for row in rows if row[0] == "emitter.tip_radius")[2] == "± 1 µm"
    budget = budget_table(assessment)
    # One line more for what is assumed, and one for all together.
    assert len(budget.rows) == len(assessment.budget.contributions) + 2
    # Holder: thickness, edge radius, diameter; shoulder; contact angle; outer edge and
    # diameter of the plate.
    assert budget.rows[-2][0] == "7 assumed without tolerance"
    named = {row[0] for row, state in zip(inputs.rows, inputs.state, strict=True) if state}
    assert {"emitter.holder_diameter", "accelerator.outer_diameter"} <= named
    levels = levels_table(assessment)
    assert len(levels.rows) == len(assessment.solution.levels) + 1
    figures = {row[0]: row[1] for row in operating_table(assessment).rows}
    exhaust = assessment.operation.operating.exhaust
    assert exhaust is not None
    seconds = float(figures["specific impulse of the ions"].split()[0])
    assert_allclose(seconds, exhaust.specific_impulse, rtol=5e-2)  # two digits


def test_a_basis_that_repeats_is_said_once() -> None:
    """EXACT: as above where it follows itself, a footnote where a long clause returns, a dagger for
    common practice; every clause is said."""
    long = "at the worse ends of the tolerances of radius, gap and film"
    bases = ("law; " + long, f"law; own, {PRACTICE}", "other; short; " + long, "other; short")
    found = assessed_needle()
    rows = tuple(replace(found.review[0], basis=basis) for basis in bases)
    table, notes = review_basis(replace(found, review=rows))
    assert [row[4] for row in table.rows] == ["law‡", "as above; own†", "other; short‡", "as above"]
    assert notes == f"† {PRACTICE}. ‡ {long}"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.5541775, "N/m", "554.2 mN/m"),
        (7006.57, "kg/m^3", "7006.6 kg/m³"),
        (13690.0, "kg/m^3", "13690 kg/m³"),
        (1.747e-3, "Pa s", "1.747 mPa s"),
        (0.114818, "kg/mol", "114.82 g/mol"),
        (6.60096773208e-19, "J", "4.12 eV"),
    ],
)
def test_properties_in_handy_units(value: float, unit: str, text: str) -> None:
    """EXACT: factor and digits of each unit."""
    assert property_text(value, unit) == text


def test_field_file_holds_mesh_potential_field_and_boundaries(tmp_path: Path) -> None:
    """INVARIANT: round trip of the points; voltages on the electrodes; tip field; names."""
    assessment = assessed_needle()
    solution = assessment.solution
    voltages = electrode_voltages(assessment.design, solution.electrodes)
    write_field(tmp_path / "field.vtu", solution, voltages)
    grid = meshio.read(tmp_path / "field.vtu")
    points = solution.levels[-1].mesh.points * solution.scale
    assert_allclose(grid.points[:, :2], points, rtol=0, atol=1e-15)
    assert [block.type for block in grid.cells] == ["triangle", "line"]
    tag, numbers = boundary_tag(solution.section.boundary_names)
    assert set(grid.cell_data) == {tag}
    assert not grid.cell_data[tag][0].any()
    for name in solution.section.boundary_names:
        on_it = grid.cell_data[tag][1] == numbers[name]
        assert on_it.any()
        here = np.unique(grid.cells[1].data[on_it])
        electrode = {"liquid": "emitter"}.get(name, name)
        if electrode in voltages:
            inner = grid.point_data["potential [V]"][here]
            assert_allclose(np.median(inner), voltages[electrode], rtol=1e-12, atol=1e-9)
    tip = int(np.argmin(np.hypot(*(points - np.array(assessment.onset.rigid.position)).T)))
    electric_bond_number = np.hypot(*grid.point_data["field [V/m]"][tip, :2])
    assert_allclose(electric_bond_number, assessment.onset.rigid.edge_at_design.value, rtol=0.1)
    assert grid.point_data["field [V/m]"][tip, 1] > 0.0


def test_revolved_field_fills_the_volume(tmp_path: Path) -> None:
    """EXACT: what a triangle sweeps has Pappus' volume, 2 pi times its centroid's distance times
    its area, less the polygon's share sin(10 deg) / (10 deg); cells are positive in VTK's order;
    the field points away from the axis everywhere, and the potential of the outermost point is the
    section's."""
    solution = assessed_needle().solution
    write_revolved_field(tmp_path / "r.vtu", solution, {"emitter": 1e3})
    grid = meshio.read(tmp_path / "r.vtu")
    x, y, _ = grid.points.T
    volume = 0.0
    # Tetrahedra that make up the cells of VTK's book, all of one orientation.
    parts = {
        "wedge": [(0, 2, 1, 3), (2, 5, 1, 3), (1, 3, 5, 4)],
        "pyramid": [(0, 1, 2, 4), (0, 2, 3, 4)],
        "tetra": [(0, 1, 2, 3)],
    }
    for block in grid.cells:
        for four in parts.get(block.type, []):
            corner = grid.points[block.data[:, four]]
            each = np.linalg.det(corner[:, 1:] - corner[:, :1]) / 6.0
            assert np.all(each > 0.0), (block.type, four)
            volume += each.sum()
    cells = sum(len(b.data) for b in grid.cells if b.type in parts) // 36
    level = [len(one.mesh.triangles) for one in solution.levels].index(cells)
    mesh = solution.levels[level].mesh
    corner = mesh.points[mesh.triangles] * solution.scale
    ab, ac = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = 0.5 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    swept = 2.0 * math.pi * np.sum(area * corner[:, :, 0].mean(axis=1))
    step = math.radians(10.0)
    assert_allclose(volume, swept * math.sin(step) / step, rtol=1e-9)
    potential = solution.potential({"emitter": 1e3}, level)
    assert_allclose(grid.point_data["potential [V]"][np.argmax(x)], potential[np.argmax(x[y == 0])])
    across = grid.point_data["field [V/m]"][:, :2]
    assert_allclose(across[:, 0] * y, across[:, 1] * x, atol=1e-9 * np.abs(across).max())
    (name,) = grid.cell_data
    assert "axis" not in name
    inside = [tags.any() for tags, b in zip(grid.cell_data[name], grid.cells, strict=True)
              if b.type in parts]  # fmt: skip
    assert not any(inside)
    outer = [tags for tags, b in zip(grid.cell_data[name], grid.cells, strict=True)
             if b.type not in parts]  # fmt: skip
    assert all(tags.all() for tags in outer)


def test_field_at_points_is_exact_for_a_linear_potential() -> None:
    """EXACT: phi = 3 x - 2 z has the field (-3, 2) everywhere."""
    points = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.4, 0.3]])
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    field = nodal_field(points, triangles, 3.0 * points[:, 0] - 2.0 * points[:, 1])
    assert_allclose(field, np.tile([-3.0, 2.0], (5, 1)), rtol=1e-12)


def test_free_surface_has_its_section() -> None:
    """INVARIANT: turning point, rigid value and facts; none of it where the surface is rigid."""
    assessment = with_meniscus()
    report = html_report(assessment, report_pictures(assessment))
    assert 'id="liquid"' in report
    assert 'id="liquid"' not in html()
    assert "emitting at 4.00 kV" in verdict(assessment)[0]
    numbers = dict(first_sheet(assessment).numbers)
    rigid = voltage_text(assessment.onset.rigid.voltage)
    assert numbers["onset of the surface held rigid"] == rigid
    # A number of a rigid surface is not shown without what it leaves out.
    assert must_know(assessment) == ()
    assert len(must_know(with_scans())) == 1
    assert pretty(must_know(with_scans())[0]) in first_sheet(with_scans()).remarks
    facts = dict(liquid_facts(assessment))
    assert facts["contact radius"] == "4 µm"
    assert facts["an attached cone collapses between"].startswith("2.80 kV and the onset")
    meniscus = assessment.onset.meniscus
    assert meniscus is not None
    above = replace(meniscus, extinction=Extinction(4.1e3, 3.3e3, 4.9e3, "made up"))
    assert above.standing_extinction is None
    onset = replace(assessment.onset, meniscus=above)
    said = dict(liquid_facts(replace(assessment, onset=onset)))["an attached cone collapses"]
    assert "above the onset" in said
    assert "kV" not in said
    assert liquid_facts(with_scans()) == ()


@pytest.mark.parametrize(("volts", "said"), [(3.5e3, True), (4.5e3, False)])
def test_waves_below_the_turning_point_are_told(volts: float, said: bool) -> None:
    """INVARIANT: waves that grow before the turning point stand in the verdict."""
    meniscus = with_meniscus().onset.meniscus
    assert meniscus is not None
    electric_bond_number = (
        volts**2 * 8.8541878188e-12 / (meniscus.surface_tension * meniscus.radius)
    )
    wave = FirstWave(electric_bond_number=electric_bond_number, wave_number=1.0)
    assessment = with_meniscus()
    onset = replace(assessment.onset, meniscus=replace(meniscus, wave=wave))
    assessment = replace(assessment, onset=onset)
    assert ("waves along the crest" in verdict(assessment)[0]) == said
    assert dict(liquid_facts(assessment))["waves along the needle grow from"] == voltage_text(volts)
