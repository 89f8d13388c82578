"""Pseudo-arclength continuation through turning points.

H. B. Keller, in Applications of Bifurcation Theory (Academic Press, 1977): the branch is followed
by its own arc length, with a bordered Newton system that stays regular where the parameter (the
last unknown) turns back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError

__all__ = ["BranchPoint", "ContinuationError", "System", "correct", "follow"]

System = Callable[[FloatArray], tuple[FloatArray, FloatArray]]

# Largest change of an unknown in the last step; the error left is of the order of its square.
_TOLERANCE = 1e-7
# Newton's method converges in a few or not at all.
_MOST_ITERATIONS = 25


class ContinuationError(ComputationError):
    """The branch could not be followed; the message says where and why."""


@dataclass(frozen=True)
class BranchPoint:
    """A converged point.

    Parameters
    ----------
    x : (n + 1,) array
        Unknowns, parameter last.
    tangent : (n + 1,) array
        Unit tangent of the branch.
    stable_sign : float
        Sign of the determinant of the Jacobian without the parameter; it changes where the
        branch turns.
    """

    x: FloatArray
    tangent: FloatArray
    stable_sign: float


def correct(
    system: System, guess: FloatArray, direction: FloatArray, tolerance: float = _TOLERANCE
) -> BranchPoint:
    """Newton's method in the hyperplane through the guess normal to a direction.

    A Jacobian that is exact for the continuous problem lacks what the mesh adds: on a coarse mesh
    that alone would leave a sixth of the error at every step.  What a step shows of the lack is
    added to the Jacobian (C. G. Broyden, Math Comp 19 (1965) 577, from memory).

    Parameters
    ----------
    system : callable
        x, (n + 1,) array, to residual (n,) and Jacobian (n, n + 1).
    guess, direction : (n + 1,) arrays
    tolerance : float
        Largest change of an unknown in the last step; the error left is smaller by the
        contraction of the step before, [-].

    Raises
    ------
    ContinuationError
        No convergence.
    """
    x, last = guess.copy(), np.inf
    lacking: FloatArray = np.zeros((len(guess) - 1, len(guess)))
    before: tuple[FloatArray, FloatArray, FloatArray] | None = None
    for _ in range(_MOST_ITERATIONS):
        residual, jacobian = system(x)
        if not (np.all(np.isfinite(residual)) and np.all(np.isfinite(jacobian))):
            raise ContinuationError("the balance is not finite", cause="not finite")
        if before is not None:
            # What the mean of both Jacobians does not explain is their common lack.
            there, at, by = before
            left = residual - there - (0.5 * (at + jacobian) + lacking) @ by
            lacking = np.asarray(lacking + np.outer(left, by / (by @ by)))
        own = jacobian + lacking
        bordered = np.vstack([own, direction])
        try:
            full = np.append(residual, direction @ (x - guess))
            step: FloatArray = np.asarray(np.linalg.solve(bordered, -full), dtype=float)
        except np.linalg.LinAlgError as error:
            raise ContinuationError("the balance is singular", cause="singular") from error
        size = float(np.abs(step).max())
        if size > 1.0 or (size > 2.0 * last and size > 1e-4):
            raise ContinuationError(f"Newton's method diverges (step {size:.2g})", cause="diverged")
        x = x + step
        last, before = size, (residual, jacobian, step)
        if size < tolerance:
            tangent = np.linalg.solve(bordered, np.append(np.zeros(len(residual)), 1.0))
            tangent /= np.linalg.norm(tangent)
            sign, _ = np.linalg.slogdet(own[:, :-1])
            return BranchPoint(x, tangent, float(sign))
    raise ContinuationError(
        f"Newton's method did not converge in {_MOST_ITERATIONS} iterations (step {last:.1e})",
        cause="diverged",
    )


def follow(
    system: System,
    start: FloatArray,
    *,
    step: float,
    smallest_step: float,
    direction: FloatArray | None = None,
    beyond: int = 2,
    most_points: int = 80,
    finished: Callable[[BranchPoint], bool] | None = None,
    progress: Callable[[int], None] | None = None,
    tolerance: float = _TOLERANCE,
) -> list[BranchPoint]:
    """Points along a branch from a start until the parameter has turned back.

    Parameters
    ----------
    system : callable
    start : (n + 1,) array
        A solution (or a close guess), parameter last.
    step, smallest_step : float
        First and smallest arc-length step, [-].
    direction : (n + 1,) array or None
        Direction in which to follow the branch; toward growing parameter when None.
    beyond : int
        Points wanted after the turning point.
    most_points : int
        Give up after so many points.
    finished : callable or None
        Further reason to stop.
    progress : callable or None
        Called with the number of points.
    tolerance : float
        See `correct`, [-].

    Raises
    ------
    ContinuationError
        The step became too small or the parameter never turned; the message says where.
    """
    upward = direction
    if upward is None:
        upward = np.zeros(len(start))
        upward[-1] = 1.0
    point = correct(system, start, upward, tolerance)
    if point.tangent @ upward < 0.0:
        point = BranchPoint(point.x, -point.tangent, point.stable_sign)
    points = [point]
    after = 0
    while len(points) < most_points:
        guess = point.x + step * point.tangent
        try:
            following = correct(system, guess, point.tangent, tolerance)
        except ComputationError as error:
            step /= 2.0
            if step < smallest_step:
                raise ContinuationError(
                    f"the branch of liquid shapes could not be followed beyond point "
                    f"{len(points)}, parameter {point.x[-1]:.6g}: {error}",
                    cause=error.cause,
                ) from error
            continue
        # Cosine of the branch's turn in one step: below 0.8 the step is halved, above 0.98 it
        # grows.
        turn = float(following.tangent @ point.tangent)
        if turn < 0.8 and step > 4.0 * smallest_step:
            step /= 2.0
            continue
        points.append(following)
        point = following
        if progress is not None:
            progress(len(points))
        if point.x[-1] < points[-2].x[-1]:
            after += 1
            if after >= beyond:
                return points
        if finished is not None and finished(point):
            return points
        if turn > 0.98:
            step *= 1.5
    raise ContinuationError(
        f"the voltage did not turn back within {most_points} points of the branch; last "
        f"parameter {point.x[-1]:.6g}",
        cause="no turn",
    )
