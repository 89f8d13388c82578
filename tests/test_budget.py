"""The error budget against independent solves and the rules of its combination."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import pytest
from conftest import NEEDLE_MICROMETRES, needle_design, refused
from numpy.testing import assert_allclose
from reporting import with_meniscus

from conegap.geometries.design.design import Design
from conegap.solver.field.solution import FieldSolution
from conegap.solver.liquid.meniscus_onset import MeniscusOnset
from conegap.solver.onset.rigid import RigidOnset, rigid_onset, rigid_onset_of_solution
from conegap.solver.studies import variant_solver
from conegap.solver.studies.budget import Budget, Contribution, error_budget, in_the_onset
from conegap.solver.studies.onset import Onset
from conegap.solver.studies.turning_variants import TENSION

Solved = Callable[[str], tuple[Design, FieldSolution]]
Changes = tuple[tuple[str, float], ...]
NAME = "needle before a plane"


@pytest.fixture(scope="module")
def drawn(solved: Solved) -> RigidOnset:
    return rigid_onset_of_solution(*solved(NAME))


def onset_of(solved: Solved, drawn: RigidOnset, meniscus: MeniscusOnset | None = None) -> Onset:
    """Of the needle before a plane, from its solved field."""
    return Onset(*solved(NAME), drawn, meniscus, None)


@pytest.fixture(scope="module")
def lines(solved: Solved, drawn: RigidOnset) -> dict[str, Contribution]:
    found = error_budget(onset_of(solved, drawn))
    return {line.name: line for line in found.contributions}


def test_tolerances_equal_finite_differences(
    drawn: RigidOnset, lines: dict[str, Contribution]
) -> None:
    """INVARIANT: shifts of tip radius and gap equal those of independent three-mesh solves."""
    design = needle_design()
    for key, name in (("emitter.tip_radius", "tip"), ("accelerator.gap", "gap")):
        value = 1e-6 * NEEDLE_MICROMETRES["tip_radius" if name == "tip" else "gap"]
        shift = 1e-6 * NEEDLE_MICROMETRES[f"{name}_tolerance"]
        low, high = (
            rigid_onset(design.with_value(key, value + sign * shift)).voltage / drawn.voltage - 1.0
            for sign in (-1.0, 1.0)
        )
        # The errors of two and of three meshes both enter the small differences.
        assert_allclose(lines[key].down, -low / math.sqrt(3.0), rtol=0.02, atol=0)
        assert_allclose(lines[key].up, high / math.sqrt(3.0), rtol=0.02, atol=0)


def test_blunt_tips_cost_less_than_sharp_ones_gain(lines: dict[str, Contribution]) -> None:
    """INVARIANT: onset rises slower than in proportion to the radius, so the line is lopsided."""
    line = lines["emitter.tip_radius"]
    assert line.down > 1.05 * line.up > 0.0
    assert line.size == line.down


def test_temperature_moves_the_balance_only(
    solved: Solved, drawn: RigidOnset, lines: dict[str, Contribution]
) -> None:
    """EXACT: a temperature tolerance shifts by the square root of surface tension."""
    design, _ = solved(NAME)
    tension = design.metal.surface_tension
    warm, cold = (math.sqrt(tension(t) / tension(310.0)) - 1.0 for t in (315.0, 305.0))
    line = lines["liquid.temperature"]
    assert_allclose(line.down, -warm / math.sqrt(3.0), rtol=1e-6, atol=0)
    assert_allclose(line.up, cold / math.sqrt(3.0), rtol=1e-6, atol=0)


def test_mesh_and_surface_tension_lines(
    solved: Solved, drawn: RigidOnset, lines: dict[str, Contribution]
) -> None:
    """EXACT: the mesh enters as a rectangle, surface tension by half (V goes with its root)."""
    design, _ = solved(NAME)
    assert_allclose(lines["mesh"].up, drawn.error / math.sqrt(3.0), rtol=1e-12)
    tension = design.metal.surface_tension_uncertainty(310.0)
    assert_allclose(lines["surface_tension"].down, 0.5 * tension, rtol=1e-12, atol=0)


def test_room_is_checked_by_a_larger_chamber(
    drawn: RigidOnset, lines: dict[str, Contribution], solved: Solved
) -> None:
    """INVARIANT: the surroundings' line is the shift of a chamber twice as large, meshed anew."""
    design, _ = solved(NAME)
    wide = design
    for key in ("radius", "length"):
        wide = wide.with_value(f"chamber.{key}", 2e-6 * NEEDLE_MICROMETRES[key])
    shift = abs(rigid_onset(wide).voltage / drawn.voltage - 1.0)
    assert shift > 3e-4
    assert_allclose(lines["surroundings"].up, shift / math.sqrt(3.0), rtol=0, atol=1.5e-5)


def test_contributions_add_in_quadrature_and_expand_by_two() -> None:
    """EXACT: JCGM 100:2008, 3-4-12 percent give 2 x 13 percent, each side on its own."""
    budget = Budget(
        (
            Contribution("a", "a", 0.03, 0.0, ""),
            Contribution("b", "b", 0.04, 0.06, ""),
            Contribution("c", "c", 0.12, 0.08, ""),
        )
    )
    assert_allclose([budget.down, budget.up], [0.26, 0.20], rtol=1e-14, atol=0)
    assert Budget(()).up == 0.0


def test_rectangular_tolerance_is_divided_by_root_three(
    solved: Solved, drawn: RigidOnset, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXACT: shifts of -6 and +3 percent give 0.06/sqrt(3) down, 0.03/sqrt(3) up, sorted first."""
    design, solution = solved(NAME)
    near = rigid_onset_of_solution(design, solution.first_meshes(2))
    factors = {"emitter.tip_radius": (0.94, 1.03), "accelerator.gap": (1.02, 1.01)}

    def shifted(
        design: Design,
        variants: Iterable[Changes],
        finished: Callable[[int, RigidOnset], None],
        **rest: object,
    ) -> list[RigidOnset]:
        taken: dict[str, int] = {}
        every = []
        for k, ((key, _), *_more) in enumerate(variants):
            number = taken.get(key, 0)
            taken[key] = number + 1
            factor = factors[key][number] if key in factors else 1.0
            every.append(replace(near, voltage=factor * near.voltage))
            finished(k, every[-1])
        return every

    monkeypatch.setattr(variant_solver, "onset_of_variants", shifted)
    found = error_budget(onset_of(solved, drawn)).contributions
    assert found[0].name == "emitter.tip_radius"
    assert_allclose([found[0].down, found[0].up], [0.06 / 3**0.5, 0.03 / 3**0.5], rtol=1e-9)
    gap = next(line for line in found if line.name == "accelerator.gap")
    # Both ends raise the onset: nothing downward, the larger shift upward.
    assert gap.down == 0.0
    assert_allclose(gap.up, 0.02 / 3**0.5, rtol=1e-9, atol=0)
    assert [line.size for line in found] == sorted((line.size for line in found), reverse=True)


def test_turning_points_shift_the_budget_and_a_lost_one_says_so(
    solved: Solved,
    drawn: RigidOnset,
    lines: dict[str, Contribution],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """EXACT: shifts of made-up turning points; the gap's is lost and falls back to the rigid."""
    design, _ = solved(NAME)

    def turned(
        design: Design,
        variants: Iterable[Changes],
        start: object,
        finished: Callable[[int, float | str], None],
        **_: object,
    ) -> None:
        found: list[float | str] = []
        for variant in variants:
            if not variant:
                found.append(4e3)
            elif variant[0][0] == "accelerator.gap":
                found.append("it was lost")
            elif variant[0][0] == TENSION:
                found.append(4e3 * variant[0][1] ** 0.8)
            else:
                found.append(4e3 * 1.06 if variant[0][1] > 5e-6 else 4e3 * 0.9)
        for k, result in enumerate(found):
            finished(k, result)

    monkeypatch.setattr(variant_solver, "turning_voltages", turned)
    monkeypatch.setattr(variant_solver, "drawn_liquid_mesh", lambda *_: None)
    monkeypatch.setattr(variant_solver, "settled_start", lambda _, start, __: start)
    budget = error_budget(onset_of(solved, drawn, with_meniscus().onset.meniscus))
    found = {line.name: line for line in budget.contributions}
    tip, gap = found["emitter.tip_radius"], found["accelerator.gap"]
    assert_allclose([tip.down, tip.up], [0.1 / 3**0.5, 0.06 / 3**0.5], rtol=1e-12)
    assert "turning point solved" in tip.basis
    assert_allclose([gap.down, gap.up], [lines[gap.name].down, lines[gap.name].up], rtol=1e-9)
    assert "rigid balance" in gap.basis
    assert "turning point was not found" in gap.basis
    tension = design.metal.surface_tension_uncertainty(310.0)
    assert_allclose(found["surface_tension"].up, (1.0 + tension) ** 0.8 - 1.0, rtol=1e-12)


def test_end_that_cannot_be_built_is_refused(
    solved: Solved, drawn: RigidOnset, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXACT: the message names the dimension, its end and the reason."""

    def blunt(
        design: Design,
        variants: Iterable[Changes],
        finished: Callable[[int, str], None],
        **rest: object,
    ) -> list[str]:
        every = ["the tip is too blunt" for _ in variants]
        for k, why in enumerate(every):
            finished(k, why)
        return every

    monkeypatch.setattr(variant_solver, "onset_of_variants", blunt)
    with refused("emitter.tip_radius", "-", "the tip is too blunt"):
        error_budget(onset_of(solved, drawn))


def test_what_the_section_does_not_hold_has_no_line() -> None:
    """EXACT: the length of a slit, its end's radius and the slot's length are not in the section
    across it; everything else that is drawn is, in every plane kind."""
    outside = {"emitter.length", "emitter.end_radius", "accelerator.slot_length"}
    for name in ("needle", "capillary", "slit", "slit_end", "profile"):
        design = Design.read(name)
        for dimension in design.dimensions():
            if dimension.value:
                beyond = dimension.key in outside and design.section().symmetry == "planar"
                assert in_the_onset(design, dimension) != beyond, dimension.key
    # In three dimensions the pitch counts, though the section of one tip does not hold it.
    crown = Design.read("crown")
    assert in_the_onset(crown, crown.dimension("emitter.pitch_diameter"))
