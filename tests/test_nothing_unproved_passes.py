"""What is not known is never passed, and bands hold what they are made of."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import tomlkit
from conftest import refused
from numpy.testing import assert_allclose
from reporting import assessed_needle

from conegap.geometries import examples
from conegap.geometries.design.design import Design
from conegap.solver.arrays.end_review import end_rows
from conegap.solver.assessment import assess
from conegap.solver.beam.beam_review import beam_rows, unknown_beam_rows
from conegap.solver.operation.breakdown import electron_rows
from conegap.solver.operation.feed_ends import feed_ends
from conegap.solver.operation.feed_rows import feed_rows
from conegap.solver.operation.gap_operation import gap_operation
from conegap.solver.operation.operating_point import operating_point
from conegap.solver.operation.operating_rows import operating_rows
from conegap.solver.operation.propellant import propellant_use
from conegap.solver.operation.smallest_current import smallest_current
from conegap.solver.report.operating import operating_facts, operating_table
from conegap.solver.report.summary import summary

EXAMPLES = Path(examples.__path__[0])
CUSTOM = """
[liquid.custom]
name = "an alloy"
molar_mass = "110 g/mol"
melting_point = "420 K"
surface_tension = {tension}
density = "7000 kg/m^3"
"""


def with_custom(tension: str, more: str = "") -> Design:
    """The shipped needle with a liquid of its own."""
    text = (EXAMPLES / "needle.toml").read_text("utf-8").replace('metal = "indium"', "", 1)
    before, after = text.split("[voltages]", 1)
    return Design.from_text(before + CUSTOM.format(tension=tension) + more + "[voltages]" + after)


def test_a_tolerance_that_would_move_nothing_is_refused() -> None:
    """INVARIANT: a band never leaves out a tolerance that the design states."""
    assert with_custom('"0.55 N/m"').liquid.custom is not None
    with refused("liquid.custom.surface_tension", "surface_tension_relative_uncertainty"):
        with_custom('{ value = "0.55 N/m", tolerance = "0.2 N/m" }')


def test_properties_that_are_not_known_leave_their_rows_not_proved() -> None:
    """INVARIANT: without viscosity no flow, without a work function no electron current of the
    coated accelerator is passed."""
    design = with_custom('"0.55 N/m"')
    ends = feed_ends(design)
    assert ends is not None
    assert ends.drawn.greatest_mass_flow is None
    assert "not proved" in [row.state for row in feed_rows(design, ends, (1e-12, 1e-11, 1e-10))]
    electrode = replace(assessed_needle().operation.electrode, contaminated=None)
    assert [row.state for row in electron_rows(design, electrode)] == ["pass", "not proved"]


def test_what_could_not_be_solved_is_not_proved() -> None:
    """INVARIANT: ends and ion paths without a solve have the rows of those that have one."""
    assert [row.state for row in end_rows(None, ("the ends meet",))] == ["not proved"]
    found = assessed_needle()
    assert found.beams is not None
    unknown = unknown_beam_rows(found.design, "the paths cross")
    assert [row.name for row in unknown] == [r.name for r in beam_rows(found.design, found.beams)]
    assert {row.state for row in unknown} == {"not proved"}


def test_ions_that_the_chamber_sends_back_are_not_blamed_on_the_opening() -> None:
    """INVARIANT: at an emitter below its chamber no opening lets ions leave, so the advice of the
    failing row speaks of the voltages."""
    found = assessed_needle()
    assert found.beams is not None
    nominal = replace(found.beams.nominal, intercepted=1.0, left=0.0)
    for volts, word in ((-1000.0, "raise the emitter"), (3000.0, "open the aperture plate")):
        point = replace(found.beams.points[0], emitter_voltage=volts)
        band = replace(found.beams, nominal=nominal, points=(point, *found.beams.points[1:]))
        row = beam_rows(found.design, band)[0]
        assert row.state == "fail"
        assert word in row.advice


@pytest.mark.parametrize("limit", [1e-9, 40e-6])
def test_a_thrust_stands_between_its_ends(limit: float) -> None:
    """INVARIANT: at a current limit the greater current law leaves less voltage and so less
    thrust; the lower end is printed first all the same, and holds the expected value."""
    assessment = assessed_needle()
    operation = assessment.operation
    laws = (operation.emission_band[0], operation.emission, operation.emission_band[1])
    weak, at, strong = (
        operating_point(law, voltage=5e3, emitter_voltage=4e3, ballast=0.0, current_limit=limit)
        for law in laws
    )
    assert weak.thrust is not None
    assert strong.thrust is not None
    assert weak.thrust > strong.thrust
    changed = replace(operation, operating=at, operating_band=(weak, strong))
    facts = dict(operating_facts(replace(assessment, operation=changed)))
    ends = [float(word.split()[0]) for word in facts["its thrust"].split(" to ")]
    assert ends == sorted(ends)
    use = propellant_use(assessment.design, (strong, at, weak))
    assert use.mass_flow[0] <= use.mass_flow[1] <= use.mass_flow[2]
    assert use.efficiency[0] <= use.efficiency[1] <= use.efficiency[2]


def test_a_gap_that_is_dark_as_expected_may_burn_within_its_band() -> None:
    """INVARIANT: the rows of a burning site stay, not proved, and the current is told."""
    assessment = assessed_needle()
    operation = assessment.operation
    voltage = 0.99 * operation.emission.onset_voltage
    weak, at, strong = (
        operating_point(law, voltage=voltage, emitter_voltage=voltage, ballast=0.0)
        for law in (operation.emission_band[0], operation.emission, operation.emission_band[1])
    )
    assert (weak.state, at.state, strong.state) == ("dark", "dark", "regulated")
    rows = operating_rows(assessment.design, (weak, at, strong), smallest_current("Ga", 313.0))
    assert rows[-2].state == "not proved"
    assert rows[-2].value > 0.0
    changed = replace(operation, operating=at, operating_band=(weak, strong))
    found = replace(assessment, operation=changed)
    ((_, words),) = operating_facts(found)
    table = {row[0]: row[1:] for row in operating_table(found).rows}
    assert table["current"][1].rpartition(" to ")[2] in words
    assert table["state"][0] == words
    assert_allclose(at.point.current, 0.0)


def test_a_gap_of_which_only_the_ends_emit_is_not_dark() -> None:
    """INVARIANT: between the first emission, in a place outside the law, and the law's own onset
    the state says so, and nothing that rests on the current is a number or a pass."""
    found = assessed_needle()
    operation = found.operation
    voltage = 0.6 * operation.emission.onset_voltage
    at = operating_point(
        operation.emission,
        voltage=voltage,
        emitter_voltage=voltage,
        ballast=0.0,
        first_emission=0.5 * operation.emission.onset_voltage,
    )
    assert at.state == "first place alone"
    changed = replace(operation, operating=at, operating_band=(at, at))
    told = replace(found, operation=changed).as_dict()["operation"]
    for key in ("current_A", "current_high_A", "thrust_N", "power_W", "mass_flow_kg_per_s"):
        assert told[key] is None
    assert told["state"] == at.state
    assert told["cone"].get("apex_current_density_A_per_m2") is None
    ((_, words),) = operating_facts(replace(found, operation=changed))
    assert "not known" in words
    rows = operating_rows(found.design, (at, at, at), smallest_current("Ga", 313.0))
    assert [row.state for row in rows] == ["not proved"]
    dark = replace(at, state="dark")
    table = operating_table(replace(found, operation=replace(changed, operating=dark)))
    assert dict(row[:2] for row in table.rows)["current"] == "0 A"


def test_a_gap_that_does_not_emit_has_no_beam() -> None:
    """INVARIANT: no current, no ions: below the onset no number of a beam is given, its rows are
    not proved and say why, and no trip current of 0 A is set."""
    text = (EXAMPLES / "needle.toml").read_text("utf-8")
    document = tomlkit.parse(text)
    document["voltages"]["emitter"] = "1 kV"  # type: ignore[index]
    document["voltages"]["accelerator"] = "-1 kV"  # type: ignore[index]
    found = assess(Design.from_text(document.as_string()), scans=False, criterion="rigid")
    assert found.operation.operating.point.current == 0.0
    assert found.beams is None
    assert found.why_no_beam
    rows = [row for row in found.review if row.name in {r.name for r in unknown_beam_rows(
        found.design, "")}]  # fmt: skip
    assert [row.state for row in rows] == ["not proved", "not proved"]
    assert {row.basis for row in rows} == {found.why_no_beam}
    assert "lands on the accelerator" not in dict(summary(found).facts)
    # Nothing that rests on a current: no flow that is met, no impulse of ions that do not leave.
    assert not [row.name for row in found.review if "flow needed" in row.name]
    assert [row[0] for row in operating_table(found).rows] == [
        "state", "voltage set at the supply", "current"]  # fmt: skip
    assert not [key for key in found.as_dict()["operation"] if "operating_specific_impulse" in key]
    assert found.operation.propellant.specific_impulse is None


def test_an_accelerator_without_a_stated_opening_has_beam_rows_all_the_same() -> None:
    """INVARIANT: ions may meet every outline with a depth, whatever its kind states; only a closed
    plane ends the beam."""
    drawn = Design.read("drawn")
    assert drawn.accelerator.opening is None
    assert len(unknown_beam_rows(drawn, "no paths")) == 2
    text = (EXAMPLES / "needle.toml").read_text("utf-8")
    document = tomlkit.parse(text)
    document["accelerator"] = {"kind": "plane", "gap": "1 mm"}
    assert unknown_beam_rows(Design.from_text(document.as_string()), "no paths") == ()


def test_a_liquid_without_ions_of_a_metal_has_no_thrust() -> None:
    """REGRESSION: salt water was given the current, beam, specific impulse and thrust of ions of
    its mean molar mass; a metal of a user's own has them once its ionisation energy is stated."""
    assessment = assessed_needle()
    found = {}
    for more in ("", 'first_ionisation_energy = "5.8 eV"\n'):
        design = with_custom('"0.55 N/m"', more)
        operation = gap_operation(
            design,
            assessment.solution,
            assessment.onset.rigid,
            None,
            onset=assessment.onset.voltage,
            onset_band=(assessment.onset.voltage,) * 2,
            band=(assessment.onset.voltage,) * 3,
            accelerator=assessment.accelerator,
            site_spacing=None,
        )
        found[more] = operation
        told = operation.operation_dict()
        rows = {row.name: row.state for row in operation.rows}
        known = bool(more)
        for key in ("current_A", "parallel_thrust_N", "power_W", "mass_flow_kg_per_s"):
            assert (told[key] is not None) is known
        assert (told["cone"]["slope_A_per_V"] is not None) is known
        assert (told.get("specific_impulse_with_droplets_s") is not None) is known
        assert (operation.operating.exhaust is not None) is known
        assert any("ionisation energy" in word for word in operation.warnings) is not known
        state = rows["current that the gap would draw against the supply"]
        assert state == ("pass" if known else "not proved")
        (own,) = [row for row in operation.metals if row.of_design]
        assert (own.exhaust is not None) is known
    at = found[""].operating
    assert at.state == "no metal ions"
    changed = replace(assessment, beams=None, design=design, operation=found[""])
    assert changed.thrust is None
    ((_, words),) = operating_facts(changed)
    assert "no ions of a metal" in words
    assert "no ions of a metal" in changed.why_no_beam
