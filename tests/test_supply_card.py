"""The supply card and its place in review, results and report."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from conftest import refused
from numpy.testing import assert_allclose
from reporting import assessed_needle, plain_design

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import (
    current_text,
    energy_text,
    mass_flow_text,
    pressure_text,
    span_text,
    voltage_text,
)
from conegap.solver.common.style import pretty
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.figures.report_figures import report_pictures
from conegap.solver.operation.gap_operation import gap_operation
from conegap.solver.operation.operating_point import operating_point
from conegap.solver.operation.operating_rows import operating_rows
from conegap.solver.operation.review import ReviewRow, gap_review, review_row
from conegap.solver.operation.smallest_current import smallest_current
from conegap.solver.operation.supply_card import SupplyCard, supply_card, supply_rows
from conegap.solver.report.electrode import electrode_table, electrode_words
from conegap.solver.report.first_sheet import first_sheet
from conegap.solver.report.operating import (
    operating_facts,
    operating_table,
)
from conegap.solver.report.operation import (
    card_cautions,
    card_table,
    feed_table,
    feed_words,
    metals_table,
    operation_words,
)
from conegap.solver.report.page import html_report
from conegap.solver.report.words import verdict


def card_of(design: Design) -> SupplyCard:
    """Card of the assessed needle with another supply or other criteria."""
    found = assessed_needle()
    return supply_card(
        design,
        found.solution,
        band=(found.emission.first.low, found.emission.first.voltage, found.emission.first.high),
        accelerator=found.accelerator,
        operating=found.operation.operating,
    )


def test_ramp_limit_is_the_first_of_the_limits() -> None:
    """EXACT: a stated bulk field times clearance, the supply's limit, the accelerator's edge."""
    design = assessed_needle().design
    assert card_of(design).ramp_reason == "the supply's own limit"
    card = card_of(design.with_value("criteria.bulk_field", 4e6))
    assert_allclose(card.ramp_limit, 4e6 * design.clearance, rtol=1e-12)
    weak = card_of(design.with_value("supply.voltage_limit", 5.2e3))
    assert weak.ramp_limit == 5.2e3
    assert weak.ramp_reason == "the supply's own limit"
    strict = design.with_value("criteria.accelerator_edge_field", 1e6)
    edge = assessed_needle().accelerator.at_design
    assert_allclose(card_of(strict).ramp_limit, 1e6 / edge * design.voltage, rtol=1e-12)
    assert "accelerator" in card_of(strict).ramp_reason


def test_energy_is_that_of_the_capacitance() -> None:
    """EXACT: half C V^2 with C from the charge on the emitter; the cable's own formula."""
    found = assessed_needle()
    design = found.design.with_value("supply.cable_capacitance", 200e-12)
    card = card_of(design)
    ramp = card.ramp_limit
    share = ramp / design.voltage
    volts = electrode_voltages(design, found.solution.electrodes, share)
    energy = 0.5 * sum(found.solution.charge(n, volts).value * v for n, v in volts.items())
    assert card.gap_energy is not None
    assert_allclose(card.gap_energy, energy, rtol=1e-3)
    assert card.cable_energy is not None
    assert_allclose(card.cable_energy, 0.5 * 200e-12 * ramp**2, rtol=1e-12)
    assert card_of(found.design).cable_energy is None


def test_abort_trip_and_short_circuit() -> None:
    """EXACT: 5 % above the band but not above the ramp limit; twice the current or the supply's."""
    found = assessed_needle()
    card = card_of(found.design)
    assert_allclose(card.abort_voltage, 1.05 * found.emission.first.high, rtol=1e-12)
    current = found.operation.operating.point.current
    assert_allclose(card.trip_current, 2.0 * current, rtol=1e-12)
    assert card.short_circuit_current is not None
    assert_allclose(card.short_circuit_current * 200e6, found.design.voltage, rtol=1e-12)
    small = found.design.with_value("supply.current_limit", 1.5 * current)
    assert_allclose(card_of(small).trip_current, 1.5 * current, rtol=1e-12)
    low = card_of(found.design.with_value("supply.voltage_limit", 1.01 * found.emission.first.high))
    assert low.abort_voltage == low.ramp_limit


def test_row_of_a_weak_supply() -> None:
    """INVARIANT: the limit just above and just below the onset's upper end passes and fails."""
    found = assessed_needle()
    for factor, passes in ((1.01, True), (0.99, False)):
        design = found.design.with_value("supply.voltage_limit", factor * found.emission.first.high)
        (row,) = supply_rows(design, card_of(design))
        assert row.passed == passes
        assert bool(row.advice) != passes


def test_card_says_what_it_must() -> None:
    """INVARIANT: polarity, every limit, cautions and the line that it is no safety approval."""
    assessment = assessed_needle()
    table = card_table(assessment)
    names = [row[0] for row in table.rows]
    for name in ("polarity", "expected onset", "ramp limit", "abort voltage", "trip current",
                 "ballast", "energy stored in the gap", "energy stored in the cable"):  # fmt: skip
        assert name in names
    assert "emitter positive, accelerator negative" in table.rows[0][1]
    assert "no safety approval" in card_cautions(assessment)[-1]
    assert "licensed" in card_cautions(assessment)[-1]
    assert any("X-rays" in word for word in card_cautions(assessment))
    report = html_report(assessment, {})
    assert '<section aria-labelledby="card" class="card"' in report
    assert "break-before: page" in report
    for words in (card_cautions, electrode_words, operation_words, feed_words):
        for sentence in words(assessment):
            assert pretty(sentence).split("'")[0].split("&")[0].split(";")[0][
                :60
            ] in report.replace("&#39;", "'")


def test_tables_of_the_report_hold_the_numbers() -> None:
    """EXACT: current, electrons and metals as printed against the objects."""
    assessment = assessed_needle()
    operation = assessment.operation
    assert len(electrode_table(assessment).rows) == 2
    assert metals_table(assessment).rows[0][0] == operation.metals[0].name
    assert feed_table(assessment) is None  # a bare needle
    at, (weak, strong) = operation.operating, operation.operating_band
    assert weak.point.current < at.point.current < strong.point.current
    table = {row[0]: row[1:] for row in operating_table(assessment).rows}
    assert table["current"][1] == span_text(current_text, weak.point.current, strong.point.current)
    assert table["voltage across the gap"][0] == voltage_text(at.point.voltage)
    assert table["mass flow of the ions"][0] == span_text(mass_flow_text, *[at.mass_flow] * 2)
    assert "propellant lasts" not in table
    # A bare needle draws no way of the liquid.
    assert table["pressure that the feed loses"][0].startswith("not known")
    assert operation.operation_dict()["feed_pressure_loss_Pa"] is None
    facts = dict(operating_facts(assessment))
    assert facts["operating point, expected"].startswith(voltage_text(at.point.voltage))
    assert facts["its current, an order of magnitude"] == table["current"][1]
    assert set(facts.items()) <= {(a, b) for a, b in first_sheet(assessment).numbers}
    use = replace(operation.propellant, mass=0.1)
    full = replace(assessment, operation=replace(operation, propellant=use))
    assert "propellant lasts" in {row[0] for row in operating_table(full).rows}


def test_a_dark_and_a_limited_gap_say_so() -> None:
    """INVARIANT: without emission there is no operating point in print; at the current limit the
    sag is told."""
    assessment = assessed_needle()
    operation = assessment.operation
    settings = {"emitter_voltage": 4e3, "ballast": 1e6}
    dark = operating_point(operation.emission, voltage=1e3, **settings)
    limited = operating_point(operation.emission, voltage=5e3, current_limit=1e-6, **settings)
    words = []
    for at in (dark, limited):
        changed = replace(operation, operating=at, operating_band=(at, at))
        found = replace(assessment, operation=changed)
        assert len(operating_facts(found)) == (1 if at is dark else 3)
        words.append(" ".join(value for _, value in operating_facts(found)))
        table = {row[0]: row[1] for row in operating_table(found).rows}
        assert table["current"] == ("0 A" if at is dark else "1 µA")
        chart = report_pictures(found)["load_line"]
        assert ("no emission" in chart.alt) == (at is dark)
        assert ("sags" in chart.caption) == (at is limited)
    assert voltage_text(limited.supply_voltage) in words[1]
    assert "A" not in words[0].split()


def test_results_hold_the_contract() -> None:
    """INVARIANT: the keys that scripts rely on, with plain numbers."""
    results = assessed_needle().as_dict()
    assert set(results["accelerator"]["electron_current_A"]) == {"clean", "contaminated"}
    for key in ("current_A", "thrust_N", "power_W", "mass_flow_kg_per_s"):
        assert results["operation"][key] > 0.0
    at = results["operation"]
    assert_allclose(at["power_W"], at["current_A"] * at["operating_emitter_voltage_V"], rtol=1e-12)
    assert len(results["review"]) == len(assessed_needle().review)
    assert results["supply"]["ramp_limit_V"] > 0.0
    assert {row["symbol"] for row in results["metals"]} >= {"Cs", "In", "Ga", "Au"}


def test_a_barrier_that_is_gone_is_said() -> None:
    """INVARIANT: the sentence stands only where the law ends."""
    assessment = assessed_needle()
    assert "lower bound" not in " ".join(electrode_words(assessment))
    electrode = assessment.operation.electrode
    gone = replace(electrode, clean=replace(electrode.clean, greatest_scaled_field=1.2))
    operation = replace(assessment.operation, electrode=gone)
    assert "lower bound" in " ".join(electrode_words(replace(assessment, operation=operation)))


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (current_text(1e-30), "below 1 pA"),
        (current_text(3.64e7), "above 1 kA"),
        (current_text(5.79e-5), "57.9 µA"),
        (current_text(2.5e-11), "25 pA"),
        (pressure_text(4.394e4), "43.9 kPa"),
        (mass_flow_text(1.24e-9), "1.24 µg/s"),
        (mass_flow_text(6.9e-11), "69 ng/s"),
        (energy_text(3.66e-6), "3.66 µJ"),
        (energy_text(2.0), "2 J"),
    ],
)
def test_handy_texts(text: str, wanted: str) -> None:
    """EXACT: unit and digits."""
    assert text == wanted


def test_a_gap_that_cannot_operate_gets_no_card() -> None:
    """EXACT: a limit below the onset, a setting above the limit or below the onset are refused with
    both voltages; the settings are then in neither the table nor the results."""
    found = assessed_needle()
    onset, setting = found.onset.voltage, found.design.voltage
    assert card_of(found.design).refusal == ""
    low = card_of(found.design.with_value("supply.voltage_limit", 0.9 * onset))
    assert "below the expected onset" in low.refusal
    assert voltage_text(onset) in low.refusal
    assert voltage_text(0.9 * onset) in low.refusal
    between = card_of(found.design.with_value("supply.voltage_limit", 0.5 * (onset + setting)))
    assert "above the ramp limit" in between.refusal
    accelerator = found.design.voltages.accelerator
    quiet = found.design.with_value("voltages.emitter", accelerator + 0.9 * onset)
    assert "do not reach the expected onset" in card_of(quiet).refusal
    operation = replace(found.operation, card=low)
    assert card_table(replace(found, operation=operation)).rows == (
        ("none", "no card", low.refusal),
    )
    results = operation.more_dict()["supply"]
    assert results["refused"] == low.refusal
    assert "abort_voltage_V" not in results
    assert found.operation.more_dict()["supply"]["refused"] is None


def test_tolerances_of_voltages_and_supply_reach_the_rows() -> None:
    """EXACT: each limit less its tolerance, each voltage with the sum of both settings' own."""
    found = assessed_needle()

    def rows(**texts: tuple[str, str]) -> dict[str, ReviewRow]:
        text = plain_design()
        for key, (value, tolerance) in texts.items():
            text, count = re.subn(
                rf'(?m)^{key} = "{value}"$',
                f'{key} = {{ value = "{value}", tolerance = "{tolerance}" }}',
                text,
            )
            assert count == 1, key
        design = Design.from_text(text)
        at = found.operation.operating
        both = (
            *gap_review(design, 3.3e3, 3.4e3, found.accelerator),
            *operating_rows(design, (at, at, at), smallest_current("Ga", 313.0)),
        )
        return {row.name: row for row in both}

    drawn = rows()
    spread = rows(
        emitter=("4 kV", "100 V"),
        accelerator=("-1 kV", "50 V"),
        voltage_limit=("8 kV", "0.3 kV"),
        current_limit=("200 uA", "10 uA"),
    )
    name = "highest onset against the supply"
    assert_allclose(spread[name].limit / drawn[name].limit, 7.7 / 8.0, rtol=1e-12)
    assert_allclose(spread["highest onset against the design's voltage"].limit, 4.85e3)
    row = spread["voltage of the design against the supply"]
    assert row.span is not None
    assert_allclose((*row.span, row.limit), (4.85e3, 5.15e3, 7.7e3), rtol=1e-12)
    name = "field on the accelerator's edge"
    assert_allclose(spread[name].value / drawn[name].value, 5.15 / 5.0, rtol=1e-12)
    name = "current that the gap would draw against the supply"
    assert_allclose(spread[name].limit, 190e-6, rtol=1e-12)
    straddled = rows(voltage_limit=("8 kV", "3.1 kV"), emitter=("4 kV", "200 V"))
    assert straddled["voltage of the design against the supply"].state == "not proved"
    # Where a tolerance would reach no row it is refused.
    with refused("supply.ballast_resistance", "would move no result"):
        rows(ballast_resistance=("200 Mohm", "10 Mohm"))


def test_a_row_whose_span_holds_the_limit_is_not_proved() -> None:
    """EXACT: pass below, fail above, neither between; a lower bound can fail but never pass."""
    states = [
        review_row("", 5.0, limit, "A", "", "do this", span=(2.0, 9.0)).state
        for limit in (1.9, 2.0, 8.9, 9.0)
    ]
    assert states == ["fail", "not proved", "not proved", "pass"]
    bound = review_row("", 5.0, 6.0, "A", "", "do this", span=(5.0, math.inf))
    assert (bound.passed, bound.advice) == (None, "do this")
    assert bound.as_dict()["value_high"] is None
    assert review_row("", 5.0, 4.0, "A", "", "", span=(5.0, math.inf)).passed is False
    assessment = replace(assessed_needle(), review=(bound,))
    assert not assessment.passed
    assert not assessment.failed
    assert "not proved" in first_sheet(assessment).stamp
    assert not first_sheet(assessment).passed
    assert "1 is not proved" in verdict(assessment)[1]


def test_tolerances_of_the_supply_reach_card_and_band() -> None:
    """EXACT: ramp limit and trip current keep below limits that may be 0.3 kV and 50 uA short; the
    ends of the band have both settings at theirs, and the greater one the longer limit."""
    found = assessed_needle()
    current = found.operation.operating.point.current
    limit = 1.5 * current
    text = plain_design()
    for key, value in {
        "voltage_limit": '{ value = "5.5 kV", tolerance = "0.3 kV" }',
        "current_limit": f'{{ value = "{limit} A", tolerance = "{0.1 * limit} A" }}',
        "emitter": '{ value = "4 kV", tolerance = "100 V" }',
        "accelerator": '{ value = "-1 kV", tolerance = "50 V" }',
        "ballast_resistance": '"1 Mohm"',
    }.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
        assert count == 1, key
    design = Design.from_text(text)
    card = card_of(design)
    assert_allclose([card.ramp_limit, card.trip_current], [5.2e3, 0.9 * limit], rtol=1e-12)
    assert "0.3 kV" in card.ramp_reason or "300 V" in card.ramp_reason
    first = found.emission.first
    operation = gap_operation(
        design,
        found.solution,
        found.onset.rigid,
        None,
        onset=found.onset.voltage,
        onset_band=(first.low, first.high),
        band=(first.low, first.voltage, first.high),
        accelerator=found.accelerator,
        site_spacing=None,
    )
    points = (operation.operating_band[0], operation.operating, operation.operating_band[1])
    assert_allclose([at.set_voltage for at in points], [4.85e3, 5e3, 5.15e3], rtol=1e-12)
    assert all(at.state == "current limit" for at in points)
    amperes = [at.point.current for at in points]
    assert_allclose(amperes, [0.9 * limit, limit, 1.1 * limit], rtol=1e-9)
