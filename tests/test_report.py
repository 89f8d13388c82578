"""The HTML report and the field file: self-contained, readable, and with the right numbers."""

from __future__ import annotations

import itertools
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
from conegap.solver.common.display_units import voltage_text
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.figures.report_figures import report_pictures
from conegap.solver.liquid.attached_cone import Extinction
from conegap.solver.liquid.slit_waves import FirstWave
from conegap.solver.report.field_file import nodal_field, write_field
from conegap.solver.report.liquid import liquid_facts, slit_words
from conegap.solver.report.page import html_report
from conegap.solver.report.tables import (
    budget_table,
    inputs_table,
    levels_table,
    operation_table,
    property_text,
    review_table,
)
from conegap.solver.report.words import (
    cautions,
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
        "answer",
        "section",
        "field",
        "scans",
        "budget",
        "review",
        "inputs",
        "metal",
        "classic",
        "electrode",
        "beam",
        "operation",
        "feed",
        "metals",
        "quality",
        "limits",
        "cautions",
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
        assert row.basis in text
    for note in design.section().notes:
        assert note.split(":")[0].replace("um", "µm") in text
    assert design.metal.hazards.split(".")[0] in text


def test_verdict_names_what_fails() -> None:
    """INVARIANT: passing and failing reviews read differently."""
    found = assessed_needle()
    assessment = replace(found, review=tuple(row for row in found.review if row.passed))
    assert assessment.passed
    assert "criteria of the gap review pass" in " ".join(verdict(assessment))
    bad = replace(assessment.review[0], passed=False, advice="do something about it")
    failing = replace(assessment, review=(bad, *assessment.review[1:]))
    words = " ".join(verdict(failing))
    assert f"1 of {len(assessment.review)} criteria" in words
    assert bad.name in words
    table = review_table(failing)
    assert table.rows[0][3] == "✗ fail"
    assert table.mark(0) == "fail"
    assert table.rows[0][5] == "do something about it"
    assert table.rows[1][3] == "✓ pass"
    report = html_report(failing, {})
    assert "does not pass the gap review" in report


def test_verdict_without_supply_and_with_too_weak_a_supply() -> None:
    """INVARIANT: what is said of the supply follows from its limit."""
    text = assessed_needle().design
    weak = text.with_value("supply.voltage_limit", assessed_needle().emission.first.high * 0.99)
    words = " ".join(verdict(replace(assessed_needle(), design=weak)))
    assert "does not reach the upper end" in words
    assert "times the upper end" in " ".join(verdict(assessed_needle()))


def test_warnings_stand_in_the_report() -> None:
    """INVARIANT: a warning is shown, its markup escaped."""
    warned = replace(assessed_needle(), warnings=("look <here> at 4 um",))
    report = html_report(warned, {})
    assert "look &lt;here&gt; at 4 µm" in report
    assert "Warnings" not in html_report(replace(warned, warnings=()), {})


def test_words_about_limits_and_dangers() -> None:
    """INVARIANT: what a builder must not miss."""
    assessment = assessed_needle()
    limits = " ".join(not_modelled(assessment))
    for word in ("free surface", "21%", "Space charge", "Roughness", "aligned"):
        assert word in limits
    dangers = " ".join(cautions(assessment))
    for word in ("High voltage", "X-rays", "Vacuum", "Indium", "local codes", "licensed practice"):
        assert word in dangers
    calm = assessment.design.with_value("voltages.emitter", 3e3)
    calm = calm.with_value("supply.voltage_limit", 4.5e3)
    assert "Above 5 kV have a licensed" not in " ".join(cautions(replace(assessment, design=calm)))
    assert "Above 5 kV have a licensed" in dangers
    assert any("order of convergence" in sentence for sentence in quality(assessment))


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
    tip = next(row for row in inputs.rows if row[1] == "emitter.tip_radius")
    assert tip == ("tip radius", "emitter.tip_radius", "4 µm", "none", "measured")
    toleranced = Design.read("needle")
    rows = inputs_table(replace(assessment, design=toleranced)).rows
    assert next(row for row in rows if row[1] == "emitter.tip_radius")[3] == "± 1 µm"
    budget = budget_table(assessment)
    # One line more for what is assumed, and one for all together.
    assert len(budget.rows) == len(assessment.budget.contributions) + 2
    assert budget.rows[-2][0].startswith("assumed, no tolerance: ")
    assert "holder diameter" in budget.rows[-2][0]
    assert "gap" not in budget.rows[-2][0]
    levels = levels_table(assessment)
    assert len(levels.rows) == len(assessment.solution.levels) + 1
    figures = operation_table(assessment)
    assert figures is not None
    assert assessment.exhaust is not None
    speed = next(row[1] for row in figures.rows if row[0] == "exhaust speed")
    assert_allclose(float(speed.split()[0]) * 1e3, assessment.exhaust.speed, rtol=5e-3)
    thrust = next(row[1] for row in figures.rows if row[0] == "thrust per current")
    per_ampere = float(thrust.split()[0]) * 1e-3
    assert_allclose(per_ampere, assessment.exhaust.thrust_per_current, rtol=5e-3)
    assert operation_table(replace(assessment, exhaust=None)) is None


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
    for name in solution.section.boundary_names:
        on_it = grid.cell_data[f"boundary_{name}"][1].astype(bool)
        assert on_it.any()
        assert not grid.cell_data[f"boundary_{name}"][0].any()
        here = np.unique(grid.cells[1].data[on_it])
        electrode = {"liquid": "emitter"}.get(name, name)
        if electrode in voltages:
            inner = grid.point_data["potential"][here]
            assert_allclose(np.median(inner), voltages[electrode], rtol=1e-12, atol=1e-9)
    tip = int(np.argmin(np.hypot(*(points - np.array(assessment.onset.rigid.position)).T)))
    electric_bond_number = np.hypot(*grid.point_data["field"][tip, :2])
    assert_allclose(electric_bond_number, assessment.onset.rigid.edge_at_design.value, rtol=0.1)
    assert grid.point_data["field"][tip, 1] > 0.0


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
    words = " ".join(verdict(assessment))
    assert "emitting at 4.00 kV" in words
    assert "free liquid surface loses its equilibrium at 4.00 kV (turning point)" in words
    assert f"would give {voltage_text(assessment.onset.rigid.voltage)}" in words
    assert "held rigid" in " ".join(verdict(with_scans()))
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
    assert "keeps its drawn shape" not in " ".join(not_modelled(assessment))


@pytest.mark.parametrize(("volts", "said"), [(3.5e3, True), (4.5e3, False)])
def test_waves_below_the_turning_point_are_told(volts: float, said: bool) -> None:
    """INVARIANT: waves that grow before the turning point stand in the verdict."""
    meniscus = with_meniscus().onset.meniscus
    assert meniscus is not None
    electric_bond_number = (
        volts**2 * 8.8541878188e-12 / (meniscus.surface_tension * meniscus.radius)
    )
    wave = FirstWave(
        electric_bond_number=electric_bond_number, wave_number=1.0, before_turning_point=said
    )
    assessment = with_meniscus()
    onset = replace(assessment.onset, meniscus=replace(meniscus, wave=wave))
    assessment = replace(assessment, onset=onset)
    text = f"Before it, at {volts / 1e3:.2f} kV: waves along the crest."
    assert (text in " ".join(verdict(assessment))) == said
    assert dict(liquid_facts(assessment))["waves along the needle grow from"] == voltage_text(volts)
