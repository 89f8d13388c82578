"""The top of a branch, from three solutions in planes across it.

The strength is greatest at the vertex of the parabola through three solutions in parallel planes.
Where the branch bends away from the guessed direction before its top, there may be no solution in
one of the planes (seen with thin films on sharp needles): the branch is then walked by its own
tangents to its top, and the planes are laid across it anew, so close that it hardly bends between
them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError
from conegap.solver.liquid.continuation import (
    BranchPoint,
    ContinuationError,
    System,
    correct,
    follow,
)

__all__ = ["REFINED", "Crossings", "Planes", "crossings"]

REFINED = 2e-5
"""Tolerance of Newton's method here, which leaves a hundredth of it; at the vertex the voltage is
flat, so that it moves by the square. A seventh of it moved the needle's onset by 2e-8."""

# Of the planes along the branch, each up to three distances.
_MOST_SHIFTS = 12
# Distance of the vertex from the middle plane, in distances of the planes, up to which a parabola
# is good enough: doubling it moved strengths by less than 1e-6.
_NEAR = 0.5
# Turn of the branch from the first to the second pair of planes up to which they are kept, [rad]:
# at 0.6 strengths are off by 3e-5.
_MOST_TURN = 0.8
# The same for planes laid anew: a quarter and twice of it moved the strength of a needle with a
# thin film by less than 7e-6.
_TURN = 0.25
# Where a walk to the top may begin, in distances of the planes from the middle one: on another mesh
# the branch may turn back before it reaches them.
_STARTS = (0.0, -1.0, 1.0, -3.0, 3.0, -9.0, 9.0)
# Shortest step of the walk and distance of the planes; far above the scatter of Newton's method.
_SHORTEST = 1e-3


@dataclass(frozen=True)
class Planes:
    """Three parallel planes across a branch.

    Parameters
    ----------
    middle, across : (n,) arrays
        A point of the middle plane and the unit normal of all of them, parameter last.
    reach : float
        Distance between two, [-].
    """

    middle: FloatArray
    across: FloatArray
    reach: float

    @property
    def offsets(self) -> FloatArray:
        """Of the planes from the middle one, (3,) array."""
        return self.reach * np.array([-1.0, 0.0, 1.0])

    @property
    def guessed(self) -> FloatArray:
        """Points of the three planes on a straight branch, (3, n) array."""
        return np.asarray(self.middle + self.offsets[:, None] * self.across)


@dataclass(frozen=True)
class Crossings:
    """Where a branch crosses three planes about its top.

    Parameters
    ----------
    planes : Planes
    places : (3, n) array
    vertex : float
        Place of the top between the planes, from the middle one, [-].
    """

    planes: Planes
    places: FloatArray
    vertex: float

    @property
    def top(self) -> FloatArray:
        """Unknowns at the vertex, by a parabola through each, (n,) array."""
        offsets = self.planes.offsets
        fits = (np.polynomial.Polynomial.fit(offsets, column, 2) for column in self.places.T)
        return np.array([float(fit(self.vertex)) for fit in fits])


def crossings(system: System, planes: Planes, guessed: FloatArray) -> Crossings:
    """The solutions of a system in three planes about the top of its branch.

    Parameters
    ----------
    system : callable
        As for `conegap.solver.liquid.continuation.correct`.
    planes : Planes
        Which are kept where they lie well.
    guessed : (3, n) array
        Near the solutions in these planes.

    Raises
    ------
    ContinuationError
        No top lies there.
    """
    for _ in range(_MOST_SHIFTS):
        found = _balanced(system, planes, guessed)
        if found is None:
            planes = _across_top(system, planes)
            guessed = planes.guessed
        elif abs(found.vertex) <= _NEAR * planes.reach:
            return found
        else:
            most = 3.0 * planes.reach
            guessed = found.places + float(np.clip(found.vertex, -most, most)) * planes.across
    raise ContinuationError(
        "the turning point could not be located on a fine mesh", cause="no turn"
    )


def _balanced(system: System, planes: Planes, guessed: FloatArray) -> Crossings | None:
    """The solutions in three planes, or None where the branch does not cross them straight."""
    try:
        places = np.array([correct(system, one, planes.across, REFINED).x for one in guessed])
    except ComputationError:
        return None
    curve = np.polynomial.Polynomial.fit(planes.offsets, places[:, -1], 2).convert()
    bent = _turn(places[1] - places[0], places[2] - places[1]) > _MOST_TURN
    if bent or curve.coef[2] >= 0.0:
        return None
    return Crossings(planes, places, float(-curve.coef[1] / (2.0 * curve.coef[2])))


def _across_top(system: System, planes: Planes) -> Planes:
    """Planes across the highest point of the branch, walked to from the nearest solution.

    Raises
    ------
    ContinuationError
        The branch could not be walked, or its planes would lie too close for a parabola.
    """
    here = _nearest(system, planes)
    points = follow(
        system,
        here.x,
        step=0.5 * planes.reach,
        smallest_step=_SHORTEST,
        direction=here.tangent * np.sign(here.tangent[-1]),
        beyond=1,
        tolerance=REFINED,
    )
    top, after = points[-2:]
    apart = float(np.linalg.norm(after.x - top.x))
    reach = min(0.5 * planes.reach, apart * _TURN / max(_turn(top.tangent, after.tangent), _TURN))
    if reach < _SHORTEST:
        raise ContinuationError(
            "the branch of liquid shapes bends too sharply where it turns", cause="no turn"
        )
    return Planes(top.x, top.tangent, reach)


def _nearest(system: System, planes: Planes) -> BranchPoint:
    """A solution in a plane parallel to three, as near to the middle one as any is found.

    Raises
    ------
    ContinuationError
        None is found.
    """
    failure: ComputationError | None = None
    for start in _STARTS:
        guess = planes.middle + start * planes.reach * planes.across
        try:
            return correct(system, guess, planes.across, REFINED)
        except ComputationError as error:
            failure = failure or error
    raise ContinuationError(f"no liquid shape was found near the turning point: {failure}")


def _turn(one: FloatArray, two: FloatArray) -> float:
    """Angle between two directions, [rad]."""
    cosine = one @ two / (np.linalg.norm(one) * np.linalg.norm(two))
    return float(math.acos(np.clip(cosine, -1.0, 1.0)))
