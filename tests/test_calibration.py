"""Calibration: the radius behind an onset, its interval, refusals, and the copy of the file."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from conftest import NEEDLE, NEEDLE_MICROMETRES, needle_design, refused
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.commands.main import main
from conegap.solver.field.solution import solve_field
from conegap.solver.onset.rigid import rigid_onset
from conegap.solver.studies import calibration
from conegap.solver.studies.calibration import (
    Calibration,
    calibrate,
    find_radius,
    relative_uncertainty,
)
from conegap.solver.studies.design_copy import source_text, with_measured_value
from conegap.solver.studies.variant_solver import VariantSolver

TEXT = NEEDLE.format(**NEEDLE_MICROMETRES)


def power(exponent: float, calls: list[float] | None = None) -> calibration.Voltages:
    """Onset 3 kV (R / 5 um)^exponent."""

    def voltages(radii: Sequence[float]) -> list[float | str]:
        if calls is not None:
            calls.extend(radii)
        return [3000.0 * (r / 5e-6) ** exponent for r in radii]

    return voltages


@pytest.mark.parametrize("exponent", [0.4, 0.25, -0.3])
def test_power_law_gives_radius_and_interval(exponent: float) -> None:
    """EXACT: R = 5 um (V / 3 kV)^(1/n), and both ends of the interval, for either sign of n."""
    root = find_radius(power(exponent), 5e-6, 3100.0, 0.03)
    ends = sorted(5e-6 * (3100.0 / 3000.0 * f) ** (1 / exponent) for f in (1.03, 1.0, 1 / 1.03))
    assert_allclose([root.low, root.value, root.high], ends, rtol=2e-4)
    assert_allclose(root.elasticity, exponent, rtol=1e-2)


def test_an_end_beyond_the_radii_is_open() -> None:
    """EXACT: with 60 % on V and n = 0.4 the interval is wider than a quarter to four times."""
    root = find_radius(power(0.4), 5e-6, 3000.0, 1.0)
    assert (root.low, root.high) == (0.0, math.inf)


def test_few_solves_are_enough() -> None:
    """RATE: Brent's method: nine radii of the grid and at most six more for each of three roots."""
    calls: list[float] = []
    find_radius(power(0.4, calls), 5e-6, 3100.0, 0.03)
    assert len(calls) == len(set(calls))
    assert len(calls) <= 9 + 3 * 6


def test_refusals_of_an_onset_without_a_radius() -> None:
    """EXACT: out of reach, hardly dependent, not monotone, and impossible radii, each in words."""
    with refused("--measured", "9000 V"):
        find_radius(power(0.4), 5e-6, 9000.0, 0.01)
    with refused("--measured", cause="insensitive"):
        find_radius(power(0.03), 5e-6, 3000.0, 0.01)

    def valley(radii: Sequence[float]) -> list[float | str]:
        return [3000.0 * (1.0 + 0.4 * math.log(r / 8e-6) ** 2) for r in radii]

    with refused("--measured", cause="not monotone"):
        find_radius(valley, 5e-6, 3100.0, 0.01)
    with refused("--measured", "too blunt"):
        find_radius(lambda radii: ["too blunt" for _ in radii], 5e-6, 3100.0, 0.01)


def test_radii_that_cannot_be_built_are_passed_over() -> None:
    """INVARIANT: refused radii at one end narrow the search and change no root."""

    def voltages(radii: Sequence[float]) -> list[float | str]:
        whole = power(0.4)(radii)
        return [v if r < 9e-6 else "too blunt" for r, v in zip(radii, whole, strict=True)]

    root = find_radius(voltages, 5e-6, 3100.0, 0.0)
    assert_allclose(root.value, 5e-6 * (31 / 30) ** 2.5, rtol=2e-4)


def test_uncertainties_are_combined() -> None:
    """EXACT: JCGM 100:2008: 4 % at k = 2, 3 % standard, 6 % rectangular: 2 sqrt(4 + 9 + 12) %."""
    found = relative_uncertainty(measurement=0.04, tension=0.03, numerical=0.06)
    assert_allclose(found, 0.1, rtol=1e-12)


@pytest.mark.parametrize(
    ("measured", "uncertainty", "option"),
    [
        (0.0, 0.0, "--measured"),
        (-5.0, 0.0, "--measured"),
        (3e3, -1.0, "--uncertainty"),
        (3e3, 2e3, "--uncertainty"),
    ],
)
def test_wrong_voltages_are_refused(measured: float, uncertainty: float, option: str) -> None:
    """EXACT: before any solve."""
    with refused(option):
        calibrate(needle_design(), measured, uncertainty)


def test_profile_has_no_radius() -> None:
    """EXACT: measured points carry no single dimension; the refusal says what to draw."""
    with refused("emitter.kind"):
        calibrate(Design.read("profile"), 3e3)


def test_slit_with_a_free_surface_is_explained(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: the turning point between the lips does not tell their radius."""
    meniscus = SimpleNamespace(voltage=7804.0, error=2e-4)
    monkeypatch.setattr("conegap.solver.studies.onset.free_surface", lambda *_: (meniscus, ()))
    with refused("emitter.channel_height"):
        calibrate(Design.read("slit"), 8e3)


def test_other_explanations_are_exact_for_a_power_law(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: V as gap^0.2 / T^0.5: the moves, in tolerances, and the surface tension's share."""
    template = rigid_onset(needle_design(), meshes=2)

    def solve(
        design: Design,
        variants: Sequence[object],
        finished: Callable[[int, object], None],
        **_: object,
    ) -> list[object]:
        every = []
        for k, variant in enumerate(variants):
            v = dict(variant)  # type: ignore[call-overload]
            voltage = (v.get("accelerator.gap", 500e-6) / 500e-6) ** 0.2
            voltage /= (v.get("liquid.temperature", 310.0) / 310.0) ** 0.5
            every.append(replace(template, voltage=voltage))
            finished(k, every[-1])
        return every

    monkeypatch.setattr("conegap.solver.studies.variant_solver.onset_of_variants", solve)
    design = needle_design()
    variants = VariantSolver(design, solve_field(design.section(), meshes=2))
    found = calibration._alternatives(
        design, "emitter.tip_radius", math.log(1.01), 0.5, 0.02, variants
    )
    by_key = {one.key: one for one in found}
    assert set(by_key) == {"accelerator.gap", "liquid.temperature", "surface_tension"}
    gap = by_key["accelerator.gap"]
    assert_allclose(gap.in_tolerances, math.log(1.01) / (0.1 * math.log(1.1 / 0.9)), rtol=1e-9)
    assert_allclose(gap.move, 50e-6 * gap.in_tolerances, rtol=1e-12)
    assert gap.plausible
    warm = by_key["liquid.temperature"]
    assert warm.move < 0.0
    assert warm.move_text.startswith("-")
    assert not warm.plausible
    tension = by_key["surface_tension"]
    assert_allclose(tension.move, math.log(1.01) / 0.5, rtol=1e-9)
    assert tension.plausible
    assert [one.in_tolerances for one in found] == sorted(one.in_tolerances for one in found)


@pytest.fixture(scope="module")
def recovered() -> Calibration:
    """Calibration of the 5 um needle from the onset of a 6.3 um one."""
    true = rigid_onset(needle_design().with_value("emitter.tip_radius", 6.3e-6))
    return calibrate(needle_design(), true.voltage, 0.01 * true.voltage, criterion="rigid")


@pytest.mark.slow
def test_radius_is_recovered_from_its_onset(recovered: Calibration) -> None:
    """INVARIANT: the onset of a 6.3 um tip, meshed for itself, gives 6.3 um back."""
    root = recovered.root
    assert_allclose(root.value, 6.3e-6, rtol=1e-4 / root.elasticity)
    assert root.low < 6.3e-6 < root.high
    assert_allclose(recovered.edge_radius, root.value, rtol=1e-9)
    assert_allclose(recovered.drawn, 5e-6, rtol=1e-12)
    assert recovered.mode == "rigid surface"
    # Half of the interval is the uncertainty over the elasticity, to first order.
    half = 0.5 * math.log(root.high / root.low)
    assert_allclose(half, recovered.relative_uncertainty / root.elasticity, rtol=0.05)


@pytest.mark.slow
def test_another_explanation_explains(recovered: Calibration) -> None:
    """INVARIANT: the gap moved as listed, the radius as drawn, has the measured onset (slope)."""
    gap = next(one for one in recovered.alternatives if one.key == "accelerator.gap")
    assert gap.in_tolerances > 1.0
    assert not gap.plausible
    moved = rigid_onset(needle_design().with_value("accelerator.gap", 500e-6 + gap.move))
    wanted = math.log(recovered.measured / recovered.drawn_onset)
    assert_allclose(math.log(moved.voltage / recovered.drawn_onset), wanted, rtol=0.25)


def test_copy_changes_one_line_only() -> None:
    """EXACT: value, tolerance and basis are written; comments and everything else stay."""
    text = source_text("needle")
    copy = with_measured_value(
        text, "emitter.tip_radius", "4.6 um", "0.9 um", name="x.toml", folder=Path()
    )
    old, new = text.splitlines(), copy.splitlines()
    changed = [k for k, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    assert len(changed) == 1
    assert new[changed[0]] == (
        'tip_radius = { value = "4.6 um", tolerance = "0.9 um", basis = "measured" }'
    )
    found = Design.from_text(copy).dimension("emitter.tip_radius")
    assert_allclose(found.value, 4.6e-6, rtol=1e-12)
    assert found.basis == "measured"


def test_copy_keeps_a_comment_and_adds_a_missing_entry() -> None:
    """EXACT: a comment behind the value stays; an entry left out is added to its section."""
    commented = TEXT.replace('half_angle = "15 deg"', "half_angle = '15 deg'   # of the flank")
    copy = with_measured_value(
        commented, "emitter.half_angle", "14 deg", "", name="x", folder=Path()
    )
    assert 'half_angle = { value = "14 deg", basis = "measured" }   # of the flank\n' in copy
    missing = "\n".join(line for line in TEXT.splitlines() if "shoulder_radius" not in line)
    copy = with_measured_value(
        missing, "emitter.shoulder_radius", "80 um", "", name="x", folder=Path()
    )
    found = Design.from_text(copy).dimension("emitter.shoulder_radius")
    assert_allclose(found.value, 80e-6, rtol=1e-9)
    assert len(copy.splitlines()) == len(missing.splitlines()) + 1


@pytest.mark.parametrize(
    "written",
    [
        "half_angle.value = '15 deg'",
        "half_angle = '15 deg' # was \"14 deg\"",
        '"half_angle" = """15 deg"""',
        '# half_angle = "13 deg"\nhalf_angle = {value="15 deg",basis=\'drawn\'}',
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_copy_follows_every_way_of_writing(written: str, end: str) -> None:
    """INVARIANT: dotted keys, quotes, inline tables and line ends of TOML 1.0; all else stays."""
    text = TEXT.replace('half_angle = "15 deg"', written).replace("\n", end)
    copy = with_measured_value(
        text, "emitter.half_angle", "14 deg", "1 deg", name="x", folder=Path()
    )
    new = 'half_angle = { value = "14 deg", tolerance = "1 deg", basis = "measured" }'
    old = {line for line in text.split(end) if not line.lstrip('"').startswith("half_angle")}
    assert old < set(copy.split(end))
    assert sum(new in line.replace('"half_angle"', "half_angle") for line in copy.split(end)) == 1
    assert_allclose(Design.from_text(copy).dimension("emitter.half_angle").value, math.radians(14))


def test_copy_refuses_what_it_cannot_change() -> None:
    """EXACT: a value that the design refuses and a section that is missing leave no copy."""
    with refused("emitter.tip_radius", "9 mm"):
        with_measured_value(TEXT, "emitter.tip_radius", "9 mm", "", name="x", folder=Path())
    with refused("tank.width"):
        with_measured_value(TEXT, "tank.width", "1 mm", "", name="x", folder=Path())


def fake_calibration(low: float = 4e-6) -> Calibration:
    """A calibration without solves."""
    return Calibration(
        key="emitter.tip_radius",
        label="tip radius",
        drawn=5e-6,
        root=calibration.Root(5.4321987e-6, low, 7e-6, 0.3),
        edge_radius=5.4e-6,
        measured=3100.0,
        measured_uncertainty=0.0,
        drawn_onset=3000.0,
        relative_uncertainty=0.05,
        mode="rigid surface",
        ratio_to_rigid=1.0,
        way="",
        alternatives=(
            calibration.Alternative("accelerator.gap", "gap", "500 um", 1e-5, "+10 um", 0.2),
        ),
        warnings=("mind the film",),
    )


def test_command_writes_a_copy_and_never_the_source(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: the source is replaced with --force only; the interval becomes the tolerance."""
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(TEXT, encoding="utf-8")
    monkeypatch.setattr(calibration, "calibrate", lambda *_, **__: fake_calibration())
    command = ["calibrate", "mine.toml", "--measured", "3.1 kV", "--write"]
    assert main([*command, "mine.toml"]) == 2
    assert Path("mine.toml").read_text(encoding="utf-8") == TEXT
    assert "--force" in capsys.readouterr().err
    assert main([*command, "other.toml"]) == 0
    out, err = capsys.readouterr()
    assert "5.432 um" in out
    assert "could explain it alone" in out
    assert "mind the film" in err
    found = Design.read("other.toml").dimension("emitter.tip_radius")
    assert_allclose([found.value, found.tolerance], [5.432e-6, 1.6e-6], rtol=1e-9)
    assert found.basis == "measured"
    assert main([*command, "mine.toml", "--force"]) == 0
    assert Path("mine.toml").read_text() == Path("other.toml").read_text()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["mine.toml", "other.toml"]


def test_open_interval_keeps_the_drawn_tolerance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXACT: no half width can be written from an interval that is open."""
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(TEXT, encoding="utf-8")
    monkeypatch.setattr(calibration, "calibrate", lambda *_, **__: fake_calibration(low=0.0))
    assert main(["calibrate", "mine.toml", "--measured", "3.1 kV", "--write", "b.toml"]) == 0
    found = Design.read("b.toml").dimension("emitter.tip_radius")
    assert_allclose(found.tolerance, 1e-6, rtol=1e-9)


@pytest.mark.parametrize("text", ["5.2", "5.2 mm", "soon"])
def test_measured_voltage_needs_its_unit(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: exit code 2 and the option in the message."""
    assert main(["calibrate", "needle", "--measured", text]) == 2
    assert "--measured" in capsys.readouterr().err


def test_grid_of_radii_is_even_in_the_logarithm() -> None:
    """EXACT: the radii looked at run from a quarter to four times the drawn one."""
    calls: list[float] = []
    with pytest.raises(DesignError):
        find_radius(power(0.4, calls), 5e-6, 1e5, 0.0)
    assert_allclose(calls[0], 1.25e-6, rtol=1e-12)
    assert_allclose(calls[-1], 20e-6, rtol=1e-12)
    assert_allclose(np.diff(np.log(calls)), math.log(16.0) / 8, rtol=1e-9)
