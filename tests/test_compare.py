"""Revisions side by side: what changed, which change did it, and what is refused."""

from __future__ import annotations

import copy
import json
import math
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from numpy.testing import assert_allclose
from reporting import assessed_needle, plain_design

from conegap.geometries.design.design import Design
from conegap.geometries.metals.metal import metal
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.commands.compare import distinct_names
from conegap.solver.commands.main import main
from conegap.solver.common.writing import json_text
from conegap.solver.comparison.comparison import Comparison, compare
from conegap.solver.comparison.revision import Revision, read_revision
from conegap.solver.comparison.words import number_words, signed_voltage, value_text
from conegap.solver.studies.onset import solve_onset


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def changed_text() -> str:
    """The plain needle with a wider gap, a blunter tip and another metal."""
    text = plain_design().replace('gap = { value = "1 mm"', 'gap = { value = "1.3 mm"')
    text = text.replace('tip_radius = { value = "4 um"', 'tip_radius = { value = "5 um"')
    return text.replace('metal = "indium"', 'metal = "gallium"')


def results() -> dict[str, Any]:
    """What `conegap onset` writes for the plain needle."""
    return copy.deepcopy(json.loads(json_text(assessed_needle().as_dict())))


def revision(name: str, design: Design, voltage: float) -> Revision:
    """The plain needle's results with another design and first emission."""
    found = results()
    found["inputs"] = design.record
    for place in (found["onset"], found["onset"]["first_emission"]):
        place["voltage_V"] = voltage
    return Revision(name, found, design)


@cache
def compared() -> Comparison:
    """The plain needle beside the changed one, both solved with a rigid surface."""
    first = Revision("B", results(), assessed_needle().design, solved=assessed_needle().onset)
    design = Design.from_text(changed_text(), "needle.toml")
    return compare([first, revision("C", design, solve_onset(design).voltage)])


def report(name: str, **changes: Any) -> Path:
    """A report folder with some of its results changed."""
    folder = Path(name)
    folder.mkdir()
    (folder / "results.json").write_text(json.dumps({**results(), **changes}), encoding="utf-8")
    return folder


# What changed


def test_changed_entries_are_named_once() -> None:
    """EXACT: three entries differ, with value, and nothing else does."""
    found = {change.key: change for change in compared().changes}
    assert set(found) == {"emitter.tip_radius", "accelerator.gap", "liquid.metal"}
    gap = found["accelerator.gap"].entries
    assert_allclose([one.value for one in gap if one is not None], [1e-3, 1.3e-3], rtol=1e-15)
    assert found["accelerator.gap"].what(1) == ("value",)
    assert found["liquid.metal"].what(1) == ("entry",)


def test_tolerance_and_basis_are_changes_of_the_drawing() -> None:
    """EXACT: a tolerance and a basis alone are listed; the same length in another unit is not."""
    text = plain_design()
    one = Design.from_text(text, "a.toml")
    text = text.replace('"4 um", basis = "measured"', '"4 um", basis = "drawn"')
    text = text.replace('gap = { value = "1 mm"', 'gap = { value = "1000 um", tolerance = "9 um"')
    other = Design.from_text(text, "b.toml")
    found = compare([revision("a", one, 3e3), revision("b", other, 3e3)], shares=False).changes
    assert {change.key: change.what(1) for change in found} == {
        "emitter.tip_radius": ("basis",),
        "accelerator.gap": ("tolerance",),
    }


def test_a_default_that_follows_is_marked() -> None:
    """INVARIANT: the shoulder follows the shank; it is listed and gets no share of its own."""
    one = assessed_needle().design
    other = one.with_value("emitter.shank_diameter", 1.2 * one.dimension(SHANK).value)
    found = compare([revision("a", one, 3e3), revision("b", other, 3e3)], shares=False).changes
    assert {change.key: change.follows for change in found}[SHANK] is False
    assert {change.key: change.follows for change in found}["emitter.shoulder_radius"] is True


SHANK = "emitter.shank_diameter"


# Which change did it


def test_shares_add_up_to_the_difference() -> None:
    """EXACT: single shares, interaction and rest close; the rest is rounding here."""
    (shares,) = compared().shares
    assert shares.interaction is not None
    total = sum(one.shift or 0.0 for one in shares.single) + shares.interaction + shares.rest
    assert_allclose(total, shares.after - shares.before, rtol=1e-12, atol=0)
    assert abs(shares.rest) < 1e-9 * shares.before
    keys = [one.key for one in shares.single]
    assert sorted(keys) == ["accelerator.gap", "emitter.tip_radius", "liquid.metal"]
    assert all((one.shift or 0.0) > 0.0 for one in shares.single)


def test_share_of_the_metal_is_the_root_of_the_tensions() -> None:
    """EXACT: without feed pressure a rigid onset goes with the root of the surface tension."""
    (shares,) = compared().shares
    (share,) = [one for one in shares.single if one.key == "liquid.metal"]
    kelvin = assessed_needle().design.liquid.temperature
    ratio = metal("gallium").surface_tension(kelvin) / metal("indium").surface_tension(kelvin)
    assert share.shift is not None
    assert_allclose(1.0 + share.shift / shares.before, math.sqrt(ratio), rtol=1e-9, atol=0)


def test_dimensions_together_are_solved_beside_each_alone() -> None:
    """INVARIANT: gap and tip multiply as in sqrt(R) ln(4 d / R), so together they exceed the sum
    of both; a solve of the changed design on its own mesh leaves a rest within twice its error."""
    one = assessed_needle().design
    other = one.with_value("accelerator.gap", 1.3e-3).with_value("emitter.tip_radius", 5e-6)
    first = Revision("B", results(), one, solved=assessed_needle().onset)
    (shares,) = compare([first, revision("C", other, solve_onset(other).voltage)]).shares
    assert shares.interaction is not None
    assert 0.0 < shares.interaction < 0.1 * shares.total
    assert abs(shares.rest) < 2.0 * shares.error


def test_kinds_that_differ_have_no_shares() -> None:
    """INVARIANT: no number, and a reason that names the key."""
    one, other = assessed_needle().design, Design.read("capillary")
    (shares,) = compare([revision("a", one, 3e3), revision("b", other, 6e3)]).shares
    assert shares.single == ()
    assert "emitter.kind" in shares.refusal
    assert shares.rest == shares.total == 3e3


def test_different_criteria_are_warned_of() -> None:
    """INVARIANT: a rigid onset beside a turning point is no like with like."""
    one = assessed_needle().design
    other = revision("b", one, 3e3)
    assert compare([revision("a", one, 3e3), other], shares=False).warnings == ()
    other.results["onset"]["criterion"] = "meniscus turning point"  # type: ignore[index]
    (warning,) = compare([revision("a", one, 3e3), other], shares=False).warnings
    assert "meniscus turning point" in warning


# The command


def test_two_reports_are_compared_without_a_solve(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: exit code 1 when a criterion that passed fails, 0 the other way round."""

    def never(*_: object, **__: object) -> None:
        raise AssertionError("solved")

    for name in ("revision.assess", "revision.solve_onset", "shares.solve_onset"):
        monkeypatch.setattr(f"conegap.solver.comparison.{name}", never)
    broken = results()["review"]
    assert broken[0]["state"] == "pass"
    broken[0].update(state="fail", passed=False, value=1e9)
    report("b")
    report("c", review=broken)
    assert main(["compare", "b", "c", "--quick", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert [row["name"] for row in found["review"] if row["broken"]] == [broken[0]["name"]]
    assert found["changes"] == found["shares"] == []
    folder = Path("conegap-compare-b-c")
    assert {one.name for one in folder.iterdir()} == {
        "results.json", "sections.svg", "sections.png", "voltages.svg", "voltages.png",
    }  # fmt: skip
    assert not any(row["left_open"] for row in found["review"])
    broken[0].update(state="not proved", passed=None)
    report("d", review=broken)
    assert main(["compare", "b", "d", "--quick", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert not any(row["broken"] for row in found["review"])
    assert [row["name"] for row in found["review"] if row["left_open"]] == [broken[0]["name"]]
    assert main(["compare", "c", "b", "--quick", "--to", "back"]) == 0
    assert main(["compare", "b", "b", "--to", "same"]) == 0  # nothing changed, nothing to solve


def test_compare_end_to_end(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: a report beside a design that is solved now; the tables name what changed."""
    report("conegap-report-b")
    Path("c.toml").write_text(
        plain_design().replace('gap = { value = "1 mm"', 'gap = { value = "1.1 mm"'), "utf-8"
    )
    assert main(["compare", "conegap-report-b", "c.toml", "--criterion", "rigid"]) == 0
    out = capsys.readouterr().out
    assert "accelerator.gap" in out
    assert "emitter.tip_radius" not in out
    found = json.loads(Path("conegap-compare-b-c/results.json").read_text("utf-8"))
    (shares,) = found["shares"]
    assert_allclose(shares["single"][0]["shift_V"], shares["difference_V"], rtol=1e-2, atol=0)


def damaged(what: str) -> Path:
    """A folder that is no report of an onset."""
    if what == "damaged":
        folder = Path(what)
        folder.mkdir()
        (folder / "results.json").write_text("{", encoding="utf-8")
        return folder
    found = results()
    if what == "no number":
        return report("x", onset={**found["onset"], "voltage_V": None})
    if what == "older":
        return report("x", inputs=None)
    return report("x", review=[{"name": "a row"}])


@pytest.mark.parametrize("what", ["damaged", "no number", "older", "no review"])
def test_a_folder_that_is_no_report_is_refused(
    what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: exit code 2, a message that names the file, and nothing written."""
    folder = damaged(what)
    before = sorted(Path().iterdir())
    assert main(["compare", str(folder), "needle"]) == 2
    assert "results.json" in capsys.readouterr().err
    assert sorted(Path().iterdir()) == before


@pytest.mark.parametrize(
    "given", [["needle"], ["needle"] * 7, ["needle", "no such design"], [".", "needle"]]
)
def test_wrong_designs_are_refused(given: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: exit code 2 before anything is solved or written."""
    assert main(["compare", *given]) == 2
    assert capsys.readouterr().err.startswith("conegap: ")
    assert list(Path().iterdir()) == []


def test_a_report_of_a_drawing_is_compared_without_its_section() -> None:
    """INVARIANT: what was read from another file has no shares, and says which file is missing."""
    folder = report("x", inputs=Design.read("drawn").record)
    found = read_revision(folder, "x")
    assert found.design is None
    (shares,) = compare([revision("a", assessed_needle().design, 3e3), found]).shares
    assert "drawn_gap.dxf" in shares.refusal
    with pytest.raises(DesignError):
        found.onset()


# Words


def test_names_are_distinct() -> None:
    """EXACT: stems, with the folder where two are alike, with a number where that is not enough."""
    assert distinct_names(["a/b.toml", "c.toml"]) == ["b", "c"]
    assert distinct_names(["one/b.toml", "two/b.toml"]) == ["one/b", "two/b"]
    assert distinct_names(["needle", "needle"])[1].endswith("needle (2)")


@pytest.mark.parametrize(
    ("key", "value", "wanted"),
    [
        ("current_A", 2e-5, ("current", "20 µA")),
        ("mass_flow_kg_per_s", 2e-12, ("mass flow", "2 ng/s")),
        ("beam_rms_half_angle_rad", math.radians(12.0), ("beam rms half angle", "12°")),
        ("mass_flow_with_droplets_kg_per_s.low", 2e-12, ("mass flow with droplets, low", "2 ng/s")),
        ("cone.slope_A_per_V", 1e-7, ("cone, slope", "1e-07 A/V")),
        ("thrust_N", 4.6e-6, ("thrust", "4.6 µN")),
        ("intercepted_fraction", 0.25, ("intercepted fraction", "0.25")),
    ],
)
def test_numbers_have_their_units(key: str, value: float, wanted: tuple[str, str]) -> None:
    """EXACT: label and value with its unit by the suffix of the key."""
    label, unit = number_words(key)
    assert (label, value_text(value, unit)) == wanted


def test_differences_have_their_sign() -> None:
    """EXACT: three digits, kilovolts from 1 kV on, rounding is nothing."""
    assert [signed_voltage(v) for v in (95.25, -1234.0, 1e-12)] == ["+95.2 V", "-1.23 kV", "0 V"]
