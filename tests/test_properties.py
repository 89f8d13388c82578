"""Laws that hold for every design: scaling, units, mirror, reciprocity, and errors that bound.

The large run over thousands of designs is ``cd tests && python -m random_designs.run``.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_designs.designs import KINDS, RandomDesign, random_design
from random_designs.liquids import LIQUID_KINDS, check_liquid, random_liquid
from random_designs.properties import Findings, Property, check_design
from random_designs.run import design_row, summary, tip_row

from conegap.geometries.curves.section import Section
from conegap.geometries.design.design import Design
from conegap.solver.field.solution import FieldSolution, solve_field


@st.composite
def designs(draw: st.DrawFn) -> RandomDesign:
    """A design of any plane kind."""
    kind = draw(st.sampled_from(KINDS))
    return random_design(lambda: draw(st.floats(0.0, 1.0)), kind)


@given(random=designs())
@settings(
    max_examples=5,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)
def test_laws_hold_for_any_design(
    tmp_path_factory: pytest.TempPathFactory, random: RandomDesign
) -> None:
    """INVARIANT: it is refused in words, or every law holds."""
    found = check_design(random, tmp_path_factory.mktemp("design"))
    assert found.outcome == "solved" or found.reason
    broken = [law for law in found.properties if not law.holds]
    assert not broken, random.text()


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_solved_and_checked(kind: str, tmp_path: Path) -> None:
    """INVARIANT: a design of each kind is solved on three meshes and obeys every law."""
    random = random_design(np.random.default_rng(4).random, kind)
    found = check_design(random, tmp_path, meshes=3)
    assert found.outcome == "solved", found.reason
    assert [law for law in found.properties if not law.holds] == []
    assert len(found.properties) >= 8
    assert len(found.bounds) == 1


def test_skewed_slit_is_mirrored(tmp_path: Path) -> None:
    """INVARIANT: lips out of line and a slot beside the middle, and their mirror image."""
    random = random_design(np.random.default_rng(0).random, "slit")
    skewed = replace(random, lengths={**random.lengths, "emitter.misalignment_half": 2e-7})
    assert skewed.one_sided
    mirrored = skewed.mirrored()
    assert mirrored.lengths["emitter.misalignment_half"] == -2e-7
    names = [law.name for law in check_design(skewed, tmp_path).properties if law.holds]
    assert "same onset in the mirror" in names


def test_a_broken_law_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: charges that are one per cent too large on one electrode are reported."""
    random = random_design(np.random.default_rng(4).random, "needle")

    def wrong(section: Section, *, meshes: int) -> FieldSolution:
        given = solve_field(section, meshes=meshes)
        last = given.levels[-1]
        factor = np.ones((len(given.electrodes), 1))
        factor[0] = 1.01
        last = replace(last, charges=factor * last.charges)
        return replace(given, levels=(*given.levels[:-1], last))

    monkeypatch.setattr("random_designs.properties.solve_field", wrong)
    broken = {law.name for law in check_design(random, tmp_path).properties if not law.holds}
    assert "charge matrix is symmetric" in broken


def test_summary_of_the_large_run() -> None:
    """EXACT: counts, shares and failures by hand."""
    bound = Property("error", 1.0, 2.0)
    assert bound.holds
    assert not Property("nan", float("nan"), 1.0).holds
    assert Findings("refused").properties == ()
    good = {"number": 0, "kind": "slit", "outcome": "solved", "reason": "", "broken": [],
            "bounds": [{"name": "b", "holds": True}] * 3}  # fmt: skip
    bad = {
        **good,
        "number": 1,
        "broken": [{"name": "law"}],
        "bounds": [{"name": "b", "holds": False}],
    }
    found = summary([good, bad], [])
    assert found["share_of_errors_that_bound_the_change"] == {"b": 0.75}
    assert found["unexplained_failures"] == [bad]
    assert not found["passed"]
    assert found["outcomes"] == {"slit: solved": 2}


def test_row_of_the_large_run_names_what_broke(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: a breakdown becomes a row with the design that caused it."""

    def break_down(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("random_designs.run.check_design", break_down)
    row = design_row(0, seed=1, every=5)
    assert row["outcome"] == "broke down"
    assert "[emitter]" in row["design"]


@pytest.mark.slow
@pytest.mark.parametrize("number", [1, 2])
def test_laws_hold_for_tips_in_three_dimensions(number: int) -> None:
    """INVARIANT: a factor without unit, and an error that bounds what a third mesh changes."""
    row = tip_row(number, seed=5)
    assert (row["outcome"], row["broken"]) == ("solved", [])
    assert [bound["holds"] for bound in row["bounds"]] == [True]


# The first designs of a seed of each kind that can be built and followed.
_FOLLOWED = {"needle": 2, "capillary": 0, "slit": 1}


@pytest.mark.slow
@pytest.mark.parametrize("kind", LIQUID_KINDS)
def test_laws_hold_for_a_free_surface(kind: str, tmp_path: Path) -> None:
    """INVARIANT: scaling and tension, and no lower onset with a wider gap, a greater advancing
    angle or less pressure; a state of wetting has one onset whichever design states it."""
    random = random_liquid(np.random.default_rng((7, _FOLLOWED[kind])).random)
    assert random.kind == kind
    found = check_liquid(random, tmp_path)
    assert found.outcome == "solved", found.reason
    assert [law for law in found.properties if not law.holds] == []
    assert len(found.properties) >= 4


def test_broken_laws_of_a_free_surface_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXACT: an onset that goes with the gap's inverse and the tension itself breaks its laws."""

    def wrong(design: Design) -> float:
        return design.surface_tension / design.gap

    monkeypatch.setattr("random_designs.liquids.voltage_in_proportion", wrong)
    random = random_liquid(np.random.default_rng((7, 2)).random)
    broken = {law.name for law in check_liquid(random, tmp_path).properties if not law.holds}
    assert broken == {
        "onset of a free surface with twice the lengths",
        "onset of a free surface with four times the tension",
        "onset of a free surface not lower with a wider gap",
    }
