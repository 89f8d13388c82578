"""Pseudo-arclength continuation on problems whose branches are known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError, MeshError
from conegap.solver.liquid.continuation import ContinuationError, correct, follow
from conegap.solver.liquid.planes import Planes, crossings

Evaluated = tuple[FloatArray, FloatArray]


def cubic(x: FloatArray) -> Evaluated:
    """lambda = 3 u - u^3: the parameter turns at u = 1, lambda = 2."""
    u, electric_bond_number = x
    return np.array([electric_bond_number - 3.0 * u + u**3]), np.array([[-3.0 + 3.0 * u**2, 1.0]])


def snap(x: FloatArray) -> Evaluated:
    """Bratu's two-point model u'' + lambda e^u = 0 on three equal intervals.

    By symmetry both inner values are u with lambda = 9 u e^-u, which turns at u = 1.
    """
    u, v, electric_bond_number = x
    residual = np.array(
        [
            9.0 * (v - 2.0 * u) + electric_bond_number * math.exp(u),
            9.0 * (u - 2.0 * v) + electric_bond_number * math.exp(v),
        ]
    )
    jacobian = np.array(
        [
            [-18.0 + electric_bond_number * math.exp(u), 9.0, math.exp(u)],
            [9.0, -18.0 + electric_bond_number * math.exp(v), math.exp(v)],
        ]
    )
    return residual, jacobian


def test_cubic_is_followed_through_its_turning_point() -> None:
    """EXACT: every point lies on lambda = 3 u - u^3, on both sides of the turn at (1, 2)."""
    points = follow(cubic, np.zeros(2), step=0.2, smallest_step=1e-4, beyond=3)
    u, electric_bond_number = np.array([p.x for p in points]).T
    assert_allclose(electric_bond_number, 3.0 * u - u**3, rtol=0, atol=1e-12)
    assert np.all(np.diff(u) > 0.0)
    assert u[0] == 0.0
    assert np.count_nonzero(u > 1.0) >= 3
    assert electric_bond_number.max() > 1.95
    assert np.all(electric_bond_number <= 2.0 + 1e-12)


def test_sign_of_the_determinant_changes_where_the_branch_turns() -> None:
    """EXACT: d lambda / d u = 3 - 3 u^2 changes sign at u = 1, and the determinant with it."""
    points = follow(cubic, np.zeros(2), step=0.2, smallest_step=1e-4, beyond=3)
    for point in points:
        assert point.stable_sign == np.sign(point.x[0] - 1.0)
        slope = 3.0 - 3.0 * point.x[0] ** 2
        expected = np.array([1.0, slope]) / math.hypot(1.0, slope)
        assert_allclose(point.tangent, expected, rtol=0, atol=1e-6)


def test_two_unknowns_turn_at_nine_over_e() -> None:
    """EXACT: three intervals of Bratu's problem turn at u = v = 1, lambda = 9 / e."""
    points = follow(snap, np.zeros(3), step=0.1, smallest_step=1e-4, beyond=2)
    x = np.array([p.x for p in points])
    assert_allclose(x[:, 0], x[:, 1], rtol=0, atol=1e-10)
    assert_allclose(x[:, 2], 9.0 * x[:, 0] * np.exp(-x[:, 0]), rtol=0, atol=1e-9)
    top = int(np.argmax(x[:, 2]))
    # The vertex of the parabola through three points, as the solver finds its turning points.
    some = slice(top - 1, top + 2)
    curve = np.polynomial.Polynomial.fit(x[some, 0], x[some, 2], 2)
    vertex = float(curve.deriv().roots()[0])
    assert_allclose(vertex, 1.0, rtol=0, atol=2e-2)
    assert_allclose(curve(vertex), 9.0 / math.e, rtol=1e-3, atol=0)


def test_correction_stays_in_its_plane() -> None:
    """INVARIANT: the correction is normal to the direction and solves the system."""
    guess, direction = np.array([0.5, 1.2]), np.array([0.6, 0.8])
    found = correct(cubic, guess, direction).x
    assert_allclose(direction @ (found - guess), 0.0, rtol=0, atol=1e-14)
    assert_allclose(cubic(found)[0], 0.0, rtol=0, atol=1e-12)
    assert abs(found - guess).max() > 1e-3


def test_branch_is_followed_backward_when_asked() -> None:
    """EXACT: from the top of the cubic in the direction of falling u the branch goes back."""
    start = np.array([1.5, 3.0 * 1.5 - 1.5**3])
    back = np.array([-1.0, 0.0])
    points = follow(cubic, start, step=0.2, smallest_step=1e-4, direction=back, beyond=2)
    u = np.array([p.x[0] for p in points])
    assert np.all(np.diff(u) < 0.0)
    assert u[-1] < 1.0


def test_finished_stops_early() -> None:
    """INVARIANT: the caller's reason to stop is obeyed at the first point that meets it."""
    points = follow(
        cubic, np.zeros(2), step=0.1, smallest_step=1e-4, finished=lambda p: p.x[0] > 0.5
    )
    assert points[-1].x[0] > 0.5
    assert all(p.x[0] <= 0.5 for p in points[:-1])


def test_progress_counts_points() -> None:
    """INVARIANT: progress is told 2, 3, ... up to the number of points."""
    seen: list[int] = []
    points = follow(cubic, np.zeros(2), step=0.2, smallest_step=1e-4, progress=seen.append)
    assert seen == list(range(2, len(points) + 1))


def test_no_solution_is_refused() -> None:
    """INVARIANT: u^2 + 1 = 0 has no root, and Newton's method says so."""

    def rootless(x: FloatArray) -> Evaluated:
        return np.array([x[0] ** 2 + 1.0]), np.array([[2.0 * x[0], 0.0]])

    with refused("", kind=ContinuationError, cause="diverged"):
        correct(rootless, np.array([0.6, 0.0]), np.array([0.0, 1.0]))


def test_singular_system_is_refused() -> None:
    """INVARIANT: a direction within the span of the Jacobian leaves the step undetermined."""
    with refused("", kind=ContinuationError, cause="singular"):
        correct(cubic, np.array([1.0, 0.0]), np.array([0.0, 1.0]))


def test_infinite_balance_is_refused() -> None:
    """INVARIANT: a residual that is not finite is named as such."""
    with refused("", kind=ContinuationError, cause="not finite"):
        correct(lambda x: (np.array([np.inf]), np.ones((1, 2))), np.zeros(2), np.array([0.0, 1.0]))


def test_end_of_the_branch_is_told_with_place_and_reason() -> None:
    """INVARIANT: where the system fails for good, the message has parameter and cause."""

    def ends(x: FloatArray) -> Evaluated:
        if x[0] > 0.5:
            raise MeshError("the mesh folded over", cause="folded")
        return cubic(x)

    with pytest.raises(ContinuationError) as caught:
        follow(ends, np.zeros(2), step=0.1, smallest_step=1e-3)
    assert caught.value.cause == "folded"
    assert isinstance(caught.value, ComputationError)
    told = float(str(caught.value).split("parameter ")[1].split(":")[0])
    assert_allclose(told, 3.0 * 0.5 - 0.125, rtol=0, atol=0.02)


def test_a_parameter_that_never_turns_is_refused() -> None:
    """INVARIANT: lambda = u has no turning point; the message has the last parameter."""

    def straight(x: FloatArray) -> Evaluated:
        return np.array([x[1] - x[0]]), np.array([[-1.0, 1.0]])

    with refused("", "10", kind=ContinuationError, cause="no turn"):
        follow(straight, np.zeros(2), step=0.1, smallest_step=1e-3, most_points=10)


# The branch below: radius of its circle, height of its top on it, and how fast it falls from there.
BENT, TOP, FALL = 0.05, 0.03, 10.0


def bent(x: FloatArray) -> Evaluated:
    """A circle u^2 + v^2 = BENT^2 on which lambda = 1 - FALL (v - TOP)^2, greatest at v = TOP."""
    u, v, electric_bond_number = x
    residual = [u**2 + v**2 - BENT**2, electric_bond_number - 1.0 + FALL * (v - TOP) ** 2]
    jacobian = [[2.0 * u, 2.0 * v, 0.0], [0.0, 2.0 * FALL * (v - TOP), 1.0]]
    return np.array(residual), np.array(jacobian)


@pytest.mark.parametrize("middle", [0.02, 0.035, 0.048, 0.055, 0.07])
def test_top_of_a_branch_that_turns_back_before_the_guessed_planes(middle: float) -> None:
    """MANUFACTURED: u never exceeds BENT, so that some or all planes u = constant hold nothing."""
    guess = Planes(np.array([middle, -0.02, 0.98]), np.array([1.0, 0.0, 0.0]), 0.01)
    found = crossings(bent, guess, guess.guessed)
    top = [math.sqrt(BENT**2 - TOP**2), TOP, 1.0]
    # A parabola through three planes of a circle, a fifth of its radius apart or less.
    assert_allclose(found.top[:2], top[:2], rtol=0, atol=1e-2 * BENT)
    assert_allclose(found.top[2], 1.0, rtol=0, atol=1e-5)


def test_planes_that_lie_well_are_kept() -> None:
    """EXACT: lambda = 3 u - u^3 turns at u = 1; planes u = constant about it serve."""
    planes = Planes(np.array([1.004, 2.0]), np.array([1.0, 0.0]), 0.02)
    found = crossings(cubic, planes, planes.guessed)
    assert found.planes is planes
    assert_allclose(found.top, [1.0, 2.0], rtol=0, atol=5e-4)


def test_a_branch_without_a_top_is_refused() -> None:
    """INVARIANT: a straight line rises for ever."""
    planes = Planes(np.zeros(2), np.array([1.0, 0.0]), 0.02)
    with pytest.raises(ContinuationError, match="did not turn back"):
        crossings(lambda x: (x[:1] - x[1:], np.array([[1.0, -1.0]])), planes, planes.guessed)
