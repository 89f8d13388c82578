"""Tolerance stack-up: sensitivities, samples, response surface, callouts and solve cache."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import NEEDLE as NEEDLE_TEXT
from conftest import NEEDLE_MICROMETRES, needle_design, refused
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, DesignError, OutputError
from conegap.solver.commands.main import main
from conegap.solver.onset.rigid import RigidOnset, rigid_onset
from conegap.solver.studies import variant_solver
from conegap.solver.studies.nominal import Nominal
from conegap.solver.studies.onset import solve_onset
from conegap.solver.studies.response_surface import build_response_surface
from conegap.solver.studies.solve_cache import (
    KEPT,
    SolveCache,
    resumable_folder,
)
from conegap.solver.studies.tolerance import ToleranceStudy, stack_up, tolerate
from conegap.solver.studies.tolerance_allocation import Target, needed_tolerances, target_of
from conegap.solver.studies.tolerance_tables import callout_csv, tolerance_results
from conegap.solver.studies.variants import Changes

RADIUS, GAP = 5e-6, 500e-6
QUANTILE = 1.6448536269514722


def hyperboloid(radius: float, gap: float) -> float:
    """Onset of a hyperboloid over sqrt(4 gamma / eps0), the closed form's shape, [m^1/2]."""
    eta = math.sqrt(gap / (gap + radius))
    return math.sqrt(1.0 / radius) * radius * math.atanh(eta) / eta


def closed_form(
    law: Callable[[float, float, float], float],
) -> Callable[[Sequence[Changes], str], list[float]]:
    """An onset callable from a law of tip radius, gap and temperature."""

    def onset(variants: Sequence[Changes], what: str) -> list[float]:
        assert what
        drawn = {"emitter.tip_radius": RADIUS, "accelerator.gap": GAP, "liquid.temperature": 310.0}
        found = []
        for variant in variants:
            now = {**drawn, **dict(variant)}
            found.append(law(*(now[key] for key in drawn)))
        return found

    return onset


NEEDLE = closed_form(lambda radius, gap, temperature: hyperboloid(radius, gap))


def study_of(nominal: Nominal | None = None, **options: object) -> ToleranceStudy:
    """Stack-up of the needle by the closed form."""
    given = {"samples": 200_000, **options}
    return stack_up(needle_design(), NEEDLE, nominal or Nominal(3000.0), **given)  # type: ignore[arg-type]


def test_sampled_band_of_normal_radius_is_exact() -> None:
    """EXACT: hyperboloid, normal radius alone: 5 and 95 % against the onset of the quantiles."""
    onset = closed_form(lambda radius, gap, temperature: hyperboloid(radius, GAP))
    study = stack_up(
        needle_design(), onset, Nominal(1.0), normal=("emitter.tip_radius",), samples=400_000
    )
    low, high = study.band()
    sigma = 0.5e-6  # the tolerance of 1 um is two standard deviations
    for found, sign in ((low, -1.0), (high, 1.0)):
        exact = hyperboloid(RADIUS + sign * QUANTILE * sigma, GAP) / hyperboloid(RADIUS, GAP)
        # The cubic remainder of the fit, 3e-4, and three standard errors of the samples.
        assert_allclose(found, exact, rtol=7e-4, atol=0)
    # Coverage: the middle 90 % of the designs, counted with the closed form itself.
    radii = RADIUS + sigma * np.random.default_rng(7).standard_normal(40_000)
    onsets = np.array([hyperboloid(r, GAP) for r in radii[radii > 0]]) / hyperboloid(RADIUS, GAP)
    assert_allclose(np.mean((onsets > low) & (onsets < high)), 0.9, rtol=0, atol=6e-3)


def test_sampled_band_of_rectangular_radius_is_exact() -> None:
    """EXACT: a rectangular radius has its 5 and 95 % at nine tenths of the tolerance."""
    onset = closed_form(lambda radius, gap, temperature: hyperboloid(radius, GAP))
    band = stack_up(needle_design(), onset, Nominal(1.0), samples=400_000).band()
    exact = [
        hyperboloid(RADIUS + share * 1e-6, GAP) / hyperboloid(RADIUS, GAP) for share in (-0.9, 0.9)
    ]
    assert_allclose(band, exact, rtol=6e-4, atol=0)


def test_surface_tension_alone_is_exact() -> None:
    """EXACT: onset goes with sqrt(1 + g u), u normal; g counts the feed pressure."""
    flat = closed_form(lambda radius, gap, temperature: 1.0)
    nominal = Nominal(2000.0, tension=0.05, tension_gain=1.4)
    study = stack_up(needle_design(), flat, nominal, samples=400_000)
    exact = [2000.0 * math.sqrt(1.0 + s * 1.4 * 0.05 * QUANTILE) for s in (-1.0, 1.0)]
    assert_allclose(study.band(), exact, rtol=3e-4, atol=0)
    assert study.shares[0].name == "surface_tension"
    assert_allclose(study.shares[0].share, 1.0, rtol=1e-12, atol=0)
    assert_allclose(study.chance_above(2000.0), 0.5, rtol=0, atol=4e-3)


def test_shares_of_a_known_quadratic_are_exact() -> None:
    """EXACT: b x + c x^2 + d x y on rectangles: variances b^2/3 + 4 c^2/45 + d^2/18, and d^2/18."""

    def law(x: np.ndarray, what: str) -> np.ndarray:
        return 0.03 * x[:, 0] + 0.02 * x[:, 0] ** 2 + 0.01 * x[:, 0] * x[:, 1] + 0.001 * x[:, 1]

    found = build_response_surface(law, (False, False), noise=1e-6)
    assert found.held_out_error < 1e-14
    moments = np.full(2, 1.0 / 3.0), np.full(2, 1.0 / 5.0)
    joint = 0.01**2 / 9.0
    assert_allclose(
        found.variances(*moments),
        [0.03**2 / 3 + 0.02**2 * 4 / 45 + joint / 2, 0.001**2 / 3 + joint / 2],
        rtol=1e-10,
    )
    x = np.random.default_rng(3).uniform(-1.0, 1.0, (400_000, 2))
    assert_allclose(found.variances(*moments).sum(), np.var(found(x)), rtol=5e-3)


def test_sensitivities_have_sign_and_curvature() -> None:
    """EXACT: slope, curvature and elasticity of a power law V = R^0.4 / gap^0.2."""
    onset = closed_form(lambda radius, gap, temperature: radius**0.4 * gap**-0.2)
    study = stack_up(needle_design(), onset, Nominal(1.0), samples=1000)
    lines = {line.name: line for line in study.shares}
    tip, gap = lines["emitter.tip_radius"], lines["accelerator.gap"]
    # The fitted drawn value, from which shifts are counted, takes up a part of the misfit.
    assert_allclose([tip.low, tip.high], [0.8**0.4 - 1.0, 1.2**0.4 - 1.0], rtol=0, atol=2e-4)
    assert_allclose(tip.curvature, 0.4 * math.log(1.2 * 0.8), rtol=1e-9)
    # Slopes are those between the ends of the tolerances, 20 and 10 %.
    assert_allclose(tip.elasticity, 0.4 * math.log(1.2 / 0.8) / 0.4, rtol=1e-9)
    assert_allclose(gap.elasticity, -0.2 * math.log(1.1 / 0.9) / 0.2, rtol=1e-9)
    assert gap.low > 0.0 > gap.high
    assert gap.curvature > 0.0 > tip.curvature
    assert not lines["liquid.temperature"].resolved
    assert [line.share for line in study.shares] == sorted(
        (line.share for line in study.shares), reverse=True
    )
    assert_allclose(sum(line.share for line in study.shares), 1.0, rtol=1e-12)


def test_poor_surrogate_is_refused() -> None:
    """INVARIANT: an onset with a kink inside the tolerance has no quadratic, and no band."""
    kinked = closed_form(lambda radius, gap, t: 1.0 + 0.3 * (radius > RADIUS + 0.5e-6))
    with refused("", kind=ComputationError, cause="misfit"):
        stack_up(needle_design(), kinked, Nominal(1.0), samples=10_000)


def test_noise_as_large_as_the_band_is_refused() -> None:
    """INVARIANT: where meshing scatters as much as the tolerances, no band is given."""
    generator = np.random.default_rng(5)
    noisy = closed_form(lambda radius, gap, t: 1.0 + 2e-4 * generator.standard_normal())
    with refused("", kind=ComputationError, cause="misfit"):
        stack_up(needle_design(), noisy, Nominal(1.0), samples=10_000)


def test_scatter_of_the_drawn_solve_is_averaged_out() -> None:
    """INVARIANT: 6e-4 on the drawn solve alone moves the ends of a tolerance by a third of it."""

    def law(x: np.ndarray, what: str) -> np.ndarray:
        return 0.03 * x[:, 0] + 1e-4 * x[:, 1] - 2e-4 * x[:, 2] + 6e-4

    found = build_response_surface(law, (False,) * 3, noise=2e-4)
    assert_allclose(found.slopes, [0.03, 1e-4, -2e-4], rtol=0, atol=1e-12)
    assert_allclose(found.low, [-0.03, -1e-4, 2e-4], rtol=0, atol=2e-4)
    assert_allclose(found.curvatures[1:], 0.0, rtol=0, atol=0)
    assert found.constant > 3.5e-4


def test_same_seed_same_numbers() -> None:
    """INVARIANT: the band is reproducible, and another seed moves it by less than 2e-3."""
    assert study_of().band() == study_of().band()
    assert study_of(seed=2).band() != study_of().band()
    assert_allclose(study_of(seed=2).band(), study_of().band(), rtol=2e-3, atol=0)


@pytest.mark.parametrize("wanted", [0.02, 0.04])
def test_needed_tolerances_make_the_band_fit(wanted: float) -> None:
    """INVARIANT: a stack-up of the design redrawn with the needed tolerances fits, and just."""
    study = study_of(Nominal(3000.0, tension=0.01))
    found = needed_tolerances(study, Target("", half_width=wanted))
    assert study.half_width > wanted
    assert found.reachable
    assert not found.fits_as_drawn
    needed = {row.dimension.key: 1e6 * (row.needed or 0.0) for row in found.rows}
    verdicts = {row.dimension.key: row.verdict for row in found.rows}
    assert verdicts["emitter.tip_radius"] == "tighten"
    assert verdicts["liquid.temperature"] == "may open"
    redrawn = redrawn_needle(needed["emitter.tip_radius"], needed["accelerator.gap"])
    again = stack_up(redrawn, NEEDLE, Nominal(3000.0, tension=0.01), samples=200_000)
    assert again.half_width <= wanted * 1.003
    assert again.half_width >= 0.93 * wanted


def redrawn_needle(tip_tolerance: float, gap_tolerance: float) -> Design:
    """The needle before a plane with other tolerances, in micrometres."""
    sizes = {**NEEDLE_MICROMETRES, "tip_tolerance": tip_tolerance, "gap_tolerance": gap_tolerance}
    return Design.from_text(NEEDLE_TEXT.format(**sizes))


def test_band_that_fits_lets_dimensions_open() -> None:
    """INVARIANT: nothing is tightened, something opens, at most to twice, and it still fits."""
    study = study_of()
    target = Target("", half_width=1.15 * study.half_width)
    found = needed_tolerances(study, target)
    assert found.fits_as_drawn
    scales = [(row.needed or 0.0) / (row.dimension.tolerance or 1.0) for row in found.rows]
    assert min(scales) >= 1.0
    assert 1.0 < max(scales) <= 2.0
    assert target.excess(found.band, study.nominal.voltage) <= 0.0


def test_band_out_of_reach_is_said() -> None:
    """INVARIANT: surface tension alone is wider than the wish: no tolerance is offered."""
    study = study_of(Nominal(3000.0, tension=0.1))
    found = needed_tolerances(study, Target("", half_width=0.02))
    assert not found.reachable
    assert {(row.needed, row.verdict) for row in found.rows} == {(None, "out of reach")}
    assert (found.band[1] - found.band[0]) / 6000.0 > 0.02


def test_upper_end_is_brought_below_a_voltage() -> None:
    """INVARIANT: with a highest onset as the wish, the needed tolerances keep 95 % below it."""
    study = study_of()
    highest = 0.5 * (study.band()[1] + 3000.0)
    found = needed_tolerances(study, Target("", highest=highest))
    assert found.band[1] <= highest < study.band()[1]


def test_wishes_of_a_command_line() -> None:
    """EXACT: 3% is 0.03; the supply is its share of the limit; nonsense is refused."""
    design = needle_design()
    three = target_of("3%", design)
    supply = target_of(None, design)
    assert three is not None
    assert supply is not None
    assert (three.half_width, three.highest) == (0.03, None)
    assert_allclose(supply.highest, 0.8 * 10e3, rtol=1e-12)
    assert target_of("design", design) == Target(
        "95 % of the onsets below the design's voltage", highest=6000.0
    )
    for text in ("three", "0%", "300%", "nan%"):
        with refused("--fit"):
            target_of(text, design)


def test_design_without_tolerances_is_refused() -> None:
    """EXACT: nothing to stack up, and a key without a tolerance cannot be normal."""
    bare = Design.from_text(
        redrawn_needle_text()
        .replace(', tolerance = "1.0 um"', "")
        .replace(', tolerance = "50.0 um"', "")
        .replace(', tolerance = "5 K"', "")
    )
    with refused("tolerance"):
        stack_up(bare, NEEDLE, Nominal(1.0))
    with refused("--normal", "emitter.half_angle", "accelerator.gap"):
        study_of(normal=("emitter.half_angle",))


def redrawn_needle_text() -> str:
    """Text of the needle before a plane."""
    return NEEDLE_TEXT.format(**NEEDLE_MICROMETRES)


def fake_solver(
    counts: list[Changes], stop_after: int = 10**6
) -> Callable[..., list[RigidOnset | str]]:
    """In place of the field solves: the closed form, counted; interrupted after some."""
    template = rigid_onset(needle_design(), meshes=2)

    def solve(
        design: Design, variants: Sequence[Changes], *, finished: object = None, **_: object
    ) -> list[RigidOnset | str]:
        results: list[RigidOnset | str] = []
        for k, variant in enumerate(variants):
            if len(counts) >= stop_after:
                raise KeyboardInterrupt
            counts.append(variant)
            changes = tuple(c for c in variant if "chamber" not in c[0])
            drawn, changed = NEEDLE([(), changes], "solve")
            results.append(replace(template, voltage=template.voltage * changed / drawn))
            assert callable(finished)
            finished(k, results[-1])
        return results

    return solve


def test_interrupted_run_goes_on_where_it_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: Ctrl-C keeps the finished solves; the next run makes only the missing ones."""
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(redrawn_needle_text(), encoding="utf-8")
    whole: list[Changes] = []
    monkeypatch.setattr(variant_solver, "onset_of_variants", fake_solver(whole))
    assert main(["tolerate", "mine.toml", "--to", "whole", "--samples", "2000"]) == 0
    first: list[Changes] = []
    monkeypatch.setattr(variant_solver, "onset_of_variants", fake_solver(first, stop_after=6))
    assert main(["tolerate", "mine.toml", "--samples", "2000"]) == 130
    folder = Path("conegap-tolerance-mine")
    assert [p.name for p in folder.iterdir()] == [KEPT]
    second: list[Changes] = []
    monkeypatch.setattr(variant_solver, "onset_of_variants", fake_solver(second))
    assert main(["tolerate", "mine.toml", "--samples", "2000"]) == 0
    assert len(first) == 6
    assert sorted(map(repr, first + second)) == sorted(map(repr, whole))
    third: list[Changes] = []
    monkeypatch.setattr(variant_solver, "onset_of_variants", fake_solver(third))
    assert main(["tolerate", "mine.toml", "--samples", "2000", "--fit", "5%"]) == 0
    assert third == []
    assert {p.name for p in folder.iterdir()} == {
        *(KEPT, "tolerance.json", "tolerance.csv", "tornado.svg", "tornado.png")
    }
    again = json.loads((folder / "tolerance.json").read_text(encoding="utf-8"))
    other = json.loads(Path("whole/tolerance.json").read_text(encoding="utf-8"))
    assert again["onset"] == other["onset"]


def test_other_designs_and_damaged_lines_are_not_reused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: a kept solve belongs to one design, and half a line to none."""
    counts: list[Changes] = []
    monkeypatch.setattr(variant_solver, "onset_of_variants", fake_solver(counts))
    path = tmp_path / KEPT
    variant: Changes = (("accelerator.gap", 0.6e-3),)

    def shifts(design: Design, kept: SolveCache) -> list[object]:
        onset = solve_onset(design, criterion="rigid", kept=kept)
        return list(onset.variants.shifts([variant, variant], "x"))

    one, two = shifts(needle_design(), SolveCache(path))
    assert one == two
    assert len(counts) == 1
    again = SolveCache.read(path)
    assert shifts(needle_design(), again) == [one, two]
    assert len(counts) == 1
    shifts(redrawn_needle(0.5, 20.0), again)
    assert len(counts) == 2
    path.write_text(path.read_text(encoding="utf-8")[:-25], encoding="utf-8")
    assert len(SolveCache.read(path).rows) == 1


def test_foreign_folders_are_left_alone(tmp_path: Path) -> None:
    """INVARIANT: a folder with other files, or a refused design, leaves no trace."""
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "a.png").write_bytes(b"x")
    with (
        refused("", "photos", "a.png", kind=OutputError),
        resumable_folder(tmp_path / "photos", ("tolerance.json",)),
    ):
        pass
    with refused("", "no onset"):
        _refused_run(tmp_path / "new")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["photos"]


def _refused_run(place: Path) -> None:
    with resumable_folder(place, ()) as (_, kept):
        kept.keep("a", voltage_V=1.0)
        raise DesignError("no onset")


def test_results_and_callouts_agree() -> None:
    """EXACT: the CSV's needed tolerance in its own unit is that of the JSON in SI."""
    study = study_of()
    callouts = needed_tolerances(study, Target("", half_width=0.04))
    results = tolerance_results(needle_design(), study, callouts)
    head, units, *rows = list(csv.reader(callout_csv(study, callouts).splitlines()))
    assert len(head) == len(units) == len(rows[0])
    tip = dict(zip(head, rows[0], strict=True))
    assert (tip["key"], tip["unit"], tip["value"]) == ("emitter.tip_radius", "um", "5")
    entry = next(d for d in results["callouts"]["dimensions"] if d["key"] == tip["key"])
    assert_allclose(1e-6 * float(tip["needed_tolerance"]), entry["needed_tolerance"], rtol=1e-5)
    low, high = study.band()
    assert results["onset"]["voltage_low_V"] == low < high == results["onset"]["voltage_high_V"]
    assert (
        results["response_surface"]["held_out_error"]
        <= results["response_surface"]["allowed_error"]
    )


@pytest.mark.slow
def test_sensitivities_equal_independent_solves() -> None:
    """INVARIANT: shifts of the stack-up equal finite differences of three-mesh solves."""
    design = needle_design()
    study = tolerate(design, criterion="rigid", samples=20_000)
    drawn = rigid_onset(design).voltage
    lines = {line.name: line for line in study.shares}
    for key, name in (("emitter.tip_radius", "tip"), ("accelerator.gap", "gap")):
        value = 1e-6 * NEEDLE_MICROMETRES["tip_radius" if name == "tip" else "gap"]
        step = 1e-6 * NEEDLE_MICROMETRES[f"{name}_tolerance"]
        low, high = (
            rigid_onset(design.with_value(key, value + sign * step)).voltage / drawn - 1.0
            for sign in (-1.0, 1.0)
        )
        assert_allclose([lines[key].low, lines[key].high], [low, high], rtol=0, atol=4e-4)
        assert abs(high) > 4e-3
    tension = design.metal.surface_tension
    # The field stays the same: the slope is exact, whatever value the drawn design was fitted.
    exact = 0.25 * math.log(tension(315.0) / tension(305.0))
    assert_allclose(lines["liquid.temperature"].slope, exact, rtol=1e-6)
    assert study.response_surface.held_out_error < 2e-3
    assert study.nominal.voltage == drawn
    # A design between the fitted points, by three meshes.
    assert_allclose(
        study.response_surface(np.array([[0.5, -0.5, 0.0]]))[0],
        math.log(
            rigid_onset(
                design.with_value("emitter.tip_radius", 5.5e-6).with_value(
                    "accelerator.gap", 475e-6
                )
            ).voltage
            / drawn
        ),
        rtol=0,
        atol=6e-4,
    )


def test_root_of_the_quantile_is_consistent() -> None:
    """EXACT: the radius at the band's lower end is the 5 % quantile of the radius."""
    onset = closed_form(lambda radius, gap, temperature: hyperboloid(radius, GAP))
    study = stack_up(needle_design(), onset, Nominal(1.0), normal=("all",), samples=400_000)
    low = study.band()[0] * hyperboloid(RADIUS, GAP)
    radius = brentq(lambda r: hyperboloid(r, GAP) - low, 1e-6, 2e-5, xtol=1e-14)
    assert_allclose(radius, RADIUS - QUANTILE * 0.5e-6, rtol=2e-3)
