"""Balance of a liquid surface: its Jacobian, caps without field, turning points, refusals."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.quantities.errors import ComputationError, MeshError
from conegap.solver.liquid.branch import problem_at, turning_point
from conegap.solver.liquid.continuation import ContinuationError, correct
from conegap.solver.liquid.meniscus import Held, MeniscusProblem
from conegap.solver.liquid.shape import cap
from conegap.validation.cases.free_surface import force_closure, volume_by_slices
from conegap.validation.exact.drops import cap_height
from conegap.validation.sections.menisci import (
    EXTENT,
    electric_bond_number_of_field,
    free_drop,
    on_plane,
)


def held_strength(problem: MeniscusProblem, guess: FloatArray) -> FloatArray:
    """Balanced unknowns at the guess's strength."""
    direction = np.zeros(len(guess))
    direction[-1] = 1.0
    return correct(problem.residual_and_jacobian, guess, direction).x


def bulged(symmetry: Symmetry, held: Held, level: int) -> tuple[MeniscusProblem, FloatArray]:
    """A cap of 0.7 rad (or a hemisphere on a free line) and its balance in a moderate field."""
    free = held == "volume with contact angle"
    start = cap(math.pi / 2.0 if free else 0.7, 6, symmetry)
    pressure = (2.0 if symmetry == "axisymmetric" else 1.0) * math.sin(start.contact_angle)
    amount = {"pressure": pressure, "volume": start.volume}.get(held, start.contact_angle)
    problem = problem_at(on_plane(), start, level, held, amount)
    guess = problem.unknowns(start, pressure, 0.0)
    guess[-1] = 0.1
    return problem, held_strength(problem, guess)


def jacobian_error(problem: MeniscusProblem, x: FloatArray) -> float:
    """Relative difference of the Jacobian and central differences of the residual."""
    h = 1e-5
    numeric = np.stack(
        [
            (problem.residual(x + h * e) - problem.residual(x - h * e)) / (2.0 * h)
            for e in np.eye(len(x))
        ],
        axis=1,
    )
    _, jacobian = problem.residual_and_jacobian(x)
    return float(np.linalg.norm(jacobian - numeric) / np.linalg.norm(numeric))


def test_planar_jacobian_converges_to_the_discrete_one() -> None:
    """RATE: Hadamard's Jacobian errs by a quarter as much on a mesh of half the spacing."""
    errors = [jacobian_error(*bulged("planar", "pressure", level)) for level in (2, 4, 8)]
    ratios = [a / b for a, b in pairwise(errors)]
    assert errors[-1] < 1e-5, errors
    assert min(ratios) > 2.7, f"errors {errors}, ratios {ratios}"


@pytest.mark.parametrize("held", ["pressure", "volume", "volume with contact angle"])
def test_axisymmetric_jacobian_converges(held: Held) -> None:
    """RATE: with every constraint the Jacobian is right to 5e-4 and better on finer meshes."""
    errors = [jacobian_error(*bulged("axisymmetric", held, level)) for level in (2, 8)]
    assert errors[0] < 5e-4, errors
    assert errors[1] < 0.6 * errors[0], errors


def test_jacobian_check_notices_a_wrong_response() -> None:
    """INVARIANT: without the change of field the Jacobian would be far off."""
    problem, x = bulged("planar", "pressure", 2)
    still = x.copy()
    still[-1] = 0.0
    _, stiff = problem.residual_and_jacobian(still)
    _, whole = problem.residual_and_jacobian(x)
    shape_part = np.linalg.norm((whole - stiff)[:, :-1]) / np.linalg.norm(whole)
    assert shape_part > 100.0 * jacobian_error(problem, x)


@pytest.mark.parametrize(
    ("symmetry", "pressure", "most"), [("axisymmetric", 1.2, 2.0), ("planar", 0.7, 1.0)]
)
def test_without_field_a_cap_is_found(symmetry: Symmetry, pressure: float, most: float) -> None:
    """EXACT: Young and Laplace: contact angle asin(p) or asin(p / 2), and the circle's height."""
    angle = math.asin(pressure / most)
    start = cap(0.8 * angle, 8, symmetry)
    problem = problem_at(on_plane(), start, 2, "pressure", pressure)
    found = problem.shape(held_strength(problem, problem.unknowns(start, pressure, 0.0)))
    assert_allclose(found.contact_angle, angle, rtol=1e-11, atol=0)
    assert_allclose(found.height, math.tan(angle / 2.0), rtol=1e-11, atol=0)


def test_without_field_a_volume_sets_its_pressure() -> None:
    """EXACT: the cap of volume a^3 has p = 4 h / (1 + h^2) with pi h (3 + h^2) / 6 = 1."""
    start = cap(0.9, 8, "axisymmetric")
    problem = problem_at(on_plane(), start, 2, "volume", 1.0)
    x = held_strength(problem, problem.unknowns(start, 1.2, 0.0))
    shape, pressure, electric_bond_number = problem.parts(x)
    height = cap_height(1.0)
    assert electric_bond_number == 0.0
    assert_allclose(shape.height, height, rtol=1e-11, atol=0)
    assert_allclose(pressure, 4.0 * height / (1.0 + height**2), rtol=1e-11, atol=0)


def test_equilibrium_balances_pointwise_and_as_a_whole() -> None:
    """INVARIANT: stress and pressure equal the curvature on the surface, and the axial force."""
    problem, x = bulged("axisymmetric", "pressure", 8)
    found = problem.equilibrium(x)
    inner = found.fraction < 0.9
    stress = 0.5 * found.electric_bond_number * found.field**2
    imbalance = found.pressure + stress - found.shape.curvature(found.fraction)
    assert np.abs(imbalance[inner]).max() < 2e-3
    assert abs(force_closure(found)) < 1e-4
    wrong = replace(found, electric_bond_number=1.05 * found.electric_bond_number)
    assert abs(force_closure(wrong)) > 1e-3


def test_small_field_on_a_hemisphere_is_three_times_the_uniform() -> None:
    """EXACT: the field of a grounded hemisphere is 3 E0 cos(theta), in the mean over its points.

    Single points where the spacing jumps are off by some per cent.
    """
    start = cap(math.pi / 2.0, 6, "axisymmetric")
    problem = problem_at(on_plane(), start, 8, "volume", start.volume)
    found = problem.equilibrium(problem.unknowns(start, 2.0, 0.0))
    off = found.field * EXTENT - 3.0 * np.cos(found.fraction * math.pi / 2.0)
    assert abs(off[0]) < 1e-3
    assert np.median(np.abs(off)) < 1e-3
    assert np.sqrt(np.mean(off[:-1] ** 2)) < 5e-3


def test_volume_stays_along_a_branch() -> None:
    """INVARIANT: with the volume held in a field the volume by slices stays to 1e-12."""
    problem, x = bulged("axisymmetric", "volume", 2)
    shape, pressure, electric_bond_number = problem.parts(x)
    assert_allclose(volume_by_slices(shape), problem.amount, rtol=1e-12, atol=0)
    assert electric_bond_number > 0.0
    assert pressure < 2.0 * math.sin(0.7)


def test_drop_turns_where_published() -> None:
    """TABLE (Miksis, 1981; Basaran and Scriven, 1989; from memory): sqrt(W) 0.452, aspect 1.84."""
    branch = free_drop()
    root = math.sqrt(electric_bond_number_of_field(branch.electric_bond_number.value))
    assert_allclose(root, 0.4521, rtol=1e-3, atol=0)
    assert_allclose(branch.turning.shape.height, 1.836, rtol=3e-3, atol=0)
    assert 0.0 < branch.electric_bond_number.error < 1e-3
    electric_bond_numbers = [e.electric_bond_number for e in branch.equilibria]
    assert electric_bond_numbers[0] == 0.0
    heights = [e.shape.height for e in branch.equilibria]
    assert np.all(np.diff(heights) > 0.0)
    assert heights[branch.turning_index - 2] < 1.836 < heights[branch.turning_index]


def test_turning_point_reports_its_progress() -> None:
    """INVARIANT: progress tells every shape and every mesh of the refinement."""
    seen: list[tuple[str, int, int]] = []
    start = cap(math.asin(0.75), 8, "axisymmetric")
    turning_point(
        on_plane(),
        start,
        pressure=1.5,
        held="pressure",
        amount=1.5,
        levels=(2, 4),
        progress=lambda *what: seen.append(what),
    )
    shapes = [done for what, done, _ in seen if what == "liquid shapes"]
    assert shapes == sorted(shapes)
    assert shapes[-1] >= 3
    meshes = [(done, whole) for what, done, whole in seen if what != "liquid shapes"]
    assert meshes == [(0, 2), (1, 2), (2, 2)]


def test_mesh_that_folds_is_refused() -> None:
    """INVARIANT: a surface moved through the mesh raises, it gives no field."""
    start = cap(0.3, 6, "axisymmetric")
    problem = problem_at(on_plane(), start, 2, "pressure", 0.5)
    x = problem.unknowns(cap(2.6, 6, "axisymmetric"), 0.5, 0.1)
    with refused("", kind=MeshError, cause="folded"):
        problem.residual(x)


def test_a_branch_that_cannot_start_is_refused() -> None:
    """INVARIANT: beyond 2 gamma / a there is no shape to start from, and no number comes out."""
    start = cap(1.5, 6, "axisymmetric")
    with pytest.raises(ComputationError) as caught:
        turning_point(on_plane(), start, pressure=2.1, held="pressure", amount=2.1)
    assert caught.value.cause in ("diverged", "folded")


def test_a_fold_that_is_no_maximum_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: a branch whose voltage never turns within its points says so."""
    monkeypatch.setattr("conegap.solver.liquid.branch._MOST_POINTS", 2)
    start = cap(math.asin(0.25), 6, "axisymmetric")
    with refused("", "2", kind=ContinuationError, cause="no turn"):
        turning_point(on_plane(), start, pressure=0.5, held="pressure", amount=0.5)
