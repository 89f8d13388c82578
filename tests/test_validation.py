"""The validation table runs and passes, and every kind of check in it is shown able to fail."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.quantities.errors import ComputationError, ConegapError, MeshError
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.validation.cases import peers as peer_cases
from conegap.validation.cases.field import FieldCheck, field_rows, fitted_order
from conegap.validation.cases.row import Case, Row
from conegap.validation.cases.table import all_cases, run_case, run_validation
from conegap.validation.reference_fem.plane import solve_finite_element
from conegap.validation.sections import catalogue as sections
from conegap.validation.sections.exact_case import ExactCase


def needle() -> ExactCase:
    return sections.hyperboloid_needle(radius=5e-6, gap=5e-5, prescribed=False)


NEEDLE_CHECK = FieldCheck(needle)


@pytest.fixture(scope="module")
def needle_solution() -> FieldSolution:
    return solve_field(needle().section, accuracy=1e-4)


CASES = tuple(case for case in all_cases() if not case.slow)


@cache
def rows_of(number: int) -> tuple[Row, ...]:
    """Rows of a fast case, run once."""
    return tuple(run_case(CASES[number]))


def check(rows: Sequence[Row]) -> None:
    """Every row passes and names its quantity and source."""
    assert rows
    wrong = [
        f"{r.name}, {r.quantity}: exact {r.exact:.8g}, computed {r.computed:.8g}, "
        f"error {r.error:.2e} above {r.tolerance:.1e} {r.note}"
        for r in rows
        if not r.passed
    ]
    assert not wrong, "\n".join(wrong)
    assert all(r.source and r.quantity and r.seconds >= 0.0 for r in rows)
    assert not any("from memory" in r.source + r.note for r in rows)


@pytest.mark.parametrize("number", range(len(CASES)), ids=lambda number: CASES[number].name)
def test_every_row_of_the_table_passes(number: int) -> None:
    """EXACT, TABLE, RATE: each row of ``conegap validate``, live; the row names its source."""
    check(rows_of(number))


def test_table_leaves_out_slow_cases_and_tells_progress(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: order, progress calls and the slow switch of ``run_validation``."""
    good = Row("a", "derived", "x [-]", 1.0, 1.0, 0.0)
    cases = [Case("fast", lambda: [good]), Case("slow", lambda: [good, good], slow=True)]
    monkeypatch.setattr("conegap.validation.cases.table.all_cases", lambda: cases)
    seen: list[tuple[str, int, int]] = []
    rows = run_validation(progress=lambda *what: seen.append(what))
    assert seen == [("checks: fast", 0, 2), ("checks: slow", 1, 2), ("checks", 2, 2)]
    assert [row.slow for row in rows] == [False, True, True]
    assert len(run_validation(include_slow=False)) == 1


def perturbed(row: Row) -> Row:
    """The row with its computed value moved just past its tolerance."""
    step = 1.01 * row.tolerance + 1e-9
    if row.kind == "relative":
        return replace(row, computed=row.computed + 2.0 * step * abs(row.exact))
    if row.kind == "absolute":
        return replace(row, computed=row.computed + 2.0 * step)
    if row.kind == "at least":
        return replace(row, computed=row.exact - step)
    return replace(row, computed=row.exact + step)


def test_every_row_can_fail() -> None:
    """INVARIANT: each fast row fails when its computed value is moved past its tolerance."""
    rows = [
        row
        for number, case in enumerate(CASES)
        if case.name.startswith(("Taylor", "Rayleigh", "surface", "metals", "ion", "rounded"))
        for row in rows_of(number)
    ]
    assert {row.kind for row in rows} == {"relative", "absolute", "at least", "at most"}
    for row in rows:
        assert row.passed
        assert perturbed(row).failed, f"{row.name}, {row.quantity} cannot fail"
        assert replace(row, computed=float("nan")).failed


@pytest.mark.parametrize(
    ("kind", "at_limit", "beyond"),
    [
        ("relative", 1.25, 1.2500001),
        ("absolute", 1.25, 1.2500001),
        ("at least", 0.75, 0.7499999),
        ("at most", 1.25, 1.2500001),
    ],
)
def test_tolerance_at_equality(kind: str, at_limit: float, beyond: float) -> None:
    """INVARIANT: an error equal to the tolerance passes, the next larger one fails."""
    row = Row("a", "derived", "x [-]", 1.0, at_limit, 0.25, kind)  # type: ignore[arg-type]
    assert row.passed
    assert replace(row, computed=beyond).failed


def test_a_wrong_shape_fails(needle_solution: FieldSolution) -> None:
    """EXACT: a needle drawn 0.1 % too blunt is noticed by the field and charge rows."""
    assert not any(r.failed for r in field_rows(NEEDLE_CHECK, needle(), needle_solution))
    blunt = sections.hyperboloid_needle(radius=5.005e-6, gap=5e-5, prescribed=False)
    rows = field_rows(NEEDLE_CHECK, blunt, needle_solution)
    failed = {r.quantity for r in rows if r.failed}
    assert {"field at tip [V/m]", "charge of emitter [C]"} <= failed


def test_a_flipped_voltage_fails(needle_solution: FieldSolution) -> None:
    """EXACT: field and charge rows notice a wrong sign."""
    flipped = replace(needle(), voltages={"emitter": -1.0, "accelerator": 0.0})
    rows = field_rows(NEEDLE_CHECK, flipped, needle_solution)
    assert sum(r.failed for r in rows if r.kind == "relative") == 4


def test_an_understated_error_fails(needle_solution: FieldSolution) -> None:
    """EXACT: the bound row fails when the solver reports a hundredth of its error."""

    def boastful(name: str, voltages: dict[str, float]) -> SimpleNamespace:
        edge = needle_solution.edge(name, voltages)
        return SimpleNamespace(
            value=edge.value,
            error=edge.error / 100.0,
            level_sizes=edge.level_sizes,
            level_values=edge.level_values,
        )

    stand_in = SimpleNamespace(edge=boastful, charge=needle_solution.charge)
    rows = field_rows(NEEDLE_CHECK, needle(), stand_in)  # type: ignore[arg-type]
    assert [r.quantity for r in rows if r.failed] == ["true error over reported error [-]"]


def test_first_order_fails(needle_solution: FieldSolution) -> None:
    """RATE: a sequence that converges at first order is fitted as such and its row fails."""
    sizes = (2, 4, 8)
    assert_allclose(fitted_order(sizes, (1.5, 1.25, 1.125), 1.0), 1.0, rtol=1e-12)
    assert_allclose(fitted_order(sizes, (0.96, 0.99, 0.9975), 1.0), 2.0, rtol=1e-12)

    def slow_charge(name: str, voltages: dict[str, float]) -> SimpleNamespace:
        exact = needle().charges[name]
        values = tuple(exact * (1.0 + 1e-2 / n) for n in sizes)
        return SimpleNamespace(value=exact, error=1e-3, level_sizes=sizes, level_values=values)

    stand_in = SimpleNamespace(edge=needle_solution.edge, charge=slow_charge)
    rows = field_rows(NEEDLE_CHECK, needle(), stand_in)  # type: ignore[arg-type]
    failed = [r.quantity for r in rows if r.failed]
    assert failed == ["charge of emitter: order of convergence [-]"]


def test_finite_elements_converge_to_the_exact_needle() -> None:
    """RATE: halving the spacing lowers the charge error of the peer at least eightfold."""
    case = needle()
    errors = []
    for fineness in (1.0, 0.5):
        result = solve_finite_element(case.section, case.voltages, fineness=fineness)
        errors.append(abs(result.charges["emitter"] / case.charges["emitter"] - 1.0))
        assert_allclose(result.energy, 0.5 * result.charges["emitter"], rtol=1e-10)
        assert_allclose(
            result.charges["emitter"], -result.charges["accelerator"], rtol=1e-10, atol=0
        )
    assert errors[1] < errors[0] / 8.0
    assert errors[1] < 1e-6


def test_finite_elements_take_prescribed_data() -> None:
    """EXACT: half-cylinder boss, exact potential on the far arc, apex field twice the uniform."""
    case = sections.half_cylinder_boss(radius=1e-4)
    result = solve_finite_element(case.section, case.voltages, prescribed=case.prescribed_data)
    assert_allclose(result.edge_fields["edge"], 2.0, rtol=5e-5, atol=0)
    assert_allclose(result.charges["emitter"], case.charges["emitter"], rtol=1e-5, atol=0)


def test_finite_elements_notice_a_wrong_shape() -> None:
    """EXACT: the peer tells a needle that is 0.1 % too blunt from the right one."""
    blunt = sections.hyperboloid_needle(radius=5.005e-6, gap=5e-5, prescribed=False)
    result = solve_finite_element(blunt.section, blunt.voltages)
    assert abs(result.edge_fields["tip"] / needle().edge_fields["tip"] - 1.0) > 5e-4


def test_missing_peer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: without scikit-fem the peer's rows say so, and neither pass nor fail."""
    monkeypatch.setattr(peer_cases, "has_skfem", lambda: False)
    rows = [r for c in peer_cases.peer_cases() for r in run_case(c)]
    assert rows
    assert not any(r.passed or r.failed for r in rows)
    assert all("scikit-fem" in r.note for r in rows)
    monkeypatch.setitem(sys.modules, "skfem", None)
    with refused("", "scikit-fem", "conegap[test]", kind=ComputationError, cause="missing library"):
        solve_finite_element(needle().section, {"emitter": 1.0})


def test_a_case_that_breaks_gives_a_failing_row() -> None:
    """INVARIANT: a refusal of the solver becomes a failed row with its message."""

    def broken() -> list[Row]:
        raise MeshError("no room for the mesh")

    assert issubclass(MeshError, ConegapError)
    (row,) = run_case(Case("broken", broken))
    assert row.failed
    assert "no room" in row.note
    assert np.isnan(row.computed)
