"""The turning point of a liquid surface on a nested sequence of meshes made for its shape.

Tangents from the Jacobian are not accurate enough to locate a turning point where the field is
singular at the contact line, so it is the vertex of a parabola through three balanced shapes in the
same planes on every mesh.
"""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.continuation import ContinuationError, System, correct
from conegap.solver.liquid.meniscus import Equilibrium, Held, MeniscusProblem
from conegap.solver.liquid.moving_field import MovingField
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import LiquidSection, liquid_mesh, stay_outside
from conegap.solver.mesh.coarse_mesh import CoarseMesh

__all__ = ["turning_point_on_meshes", "turning_point_reach"]

# Distance between the planes, in scaled arc length: far enough apart for the scatter of Newton's
# method, near enough for a parabola.
_LARGEST_REACH = 0.06
# Of the planes along the branch, each up to three reaches.
_MOST_SHIFTS = 12
# Distance of the vertex from the middle plane, in reaches, up to which a parabola is good enough:
# doubling it moved strengths by less than 1e-6.
_NEAR = 0.5
# Tolerance of Newton's method here, which leaves a hundredth of it; at the vertex the voltage is
# flat, so that it moves by the square. A seventh of it moved the needle's onset by 2e-8.
_REFINED = 2e-5


def turning_point_reach(apart: float) -> float:
    """Distance between the planes of a turning point, [-].

    Parameters
    ----------
    apart : float
        Distance of the shapes beside it, [-].
    """
    return float(np.clip(0.5 * apart, 0.02, _LARGEST_REACH))


def turning_point_on_meshes(
    liquid: LiquidSection,
    shape: MeniscusShape,
    guess: FloatArray,
    chord: FloatArray,
    reach: float,
    levels: tuple[int, ...],
    *,
    held: Held,
    amount: float,
    like: MeniscusProblem | None = None,
    reference_field: float | None = None,
    near: CoarseMesh | None = None,
    quick: bool = False,
    progress: Progress | None = None,
) -> tuple[Equilibrium, tuple[float, ...]]:
    """The turning point near a guess on nested meshes, and its strength on each of them.

    On every mesh three shapes are balanced in the same three planes across the branch; the
    strength is greatest at the vertex of the parabola through them.  That needs nothing of the
    Jacobian but that Newton's method converges.

    Parameters
    ----------
    shape : MeniscusShape
        For which the meshes are made.
    guess, chord : (n,) array
        Unknowns near the turning point and unit direction along the branch there.
    reach : float
        Distance of the outer planes from the middle one, [-].
    levels : tuple of int
        Subdivisions of the meshes, [-].
    held : "pressure", "volume" or "volume with contact angle"
    amount : float
        See `MeniscusProblem`, [-].
    like : MeniscusProblem or None
        Whose scales are those of the guess.
    reference_field : float or None
        Scale of the guess's strength where there is no such problem, [-].
    near : CoarseMesh or None
        Of a neighbouring section, to be moved to this one where it can follow.
    quick : bool
        Beyond the first mesh balance one shape alone, in the plane of the first mesh's turning
        point: the electric Bond number is flat there, so that the ends of the sequence miss the
        true vertex by less than 1e-4, in the same way for similar designs.
    progress : callable or None

    Raises
    ------
    ContinuationError
        No turning point lies there.
    MeshError
        The shape could not be meshed.
    """
    section, surface = liquid.draw(shape)
    coarse = liquid_mesh(liquid, section, shape, near)
    offsets = reach * np.array([-1.0, 0.0, 1.0])
    places = guess + offsets[:, None] * chord
    guessed, at, vertex = places, guess, 0.0
    values = []
    for number, level in enumerate(levels):
        if progress is not None:
            progress("turning point on finer meshes", number, len(levels))
        problem = MeniscusProblem(
            MovingField(section, surface, level, liquid.potentials, coarse=coarse),
            radius=liquid.radius,
            contact=liquid.contact,
            held=held,
            amount=amount,
            reference=shape,
            like=like,
            reference_field=reference_field,
        )
        like = like or problem
        system = problem.residual_and_jacobian
        if quick and number:
            at = correct(system, at, chord, _REFINED).x
            values.append(float(at[-1]) / problem.reference_field**2)
            continue
        before_this = places
        places, vertex = _balanced(system, guessed, chord, offsets)
        if number == 0:
            for _ in range(_MOST_SHIFTS):
                if abs(vertex) <= _NEAR * reach:
                    break
                shift = float(np.clip(vertex, -3.0 * reach, 3.0 * reach))
                places, vertex = _balanced(system, places + shift * chord, chord, offsets)
            else:
                raise ContinuationError("the turning point could not be located on a fine mesh")
        # Second order: the next mesh moves the shapes by a quarter of what this one did.
        guessed = places if number == 0 else places + (places - before_this) / 4.0
        parabola = np.polynomial.Polynomial.fit(offsets, places[:, -1], 2)
        values.append(float(parabola(vertex)) / problem.reference_field**2)
        at = _at(places, offsets, vertex)
    if progress is not None:
        progress("turning point on finer meshes", len(levels), len(levels))
    found = problem.equilibrium(at)
    stay_outside(liquid, found.shape)
    return found, tuple(values)


def _at(places: FloatArray, offsets: FloatArray, vertex: float) -> FloatArray:
    """Unknowns between three shapes, by a parabola through each."""
    fits = [np.polynomial.Polynomial.fit(offsets, column, 2) for column in places.T]
    return np.array([float(fit(vertex)) for fit in fits])


def _balanced(
    system: System, places: FloatArray, chord: FloatArray, offsets: FloatArray
) -> tuple[FloatArray, float]:
    """Solutions in the three planes through the places, and the vertex of the parabola."""
    solved = np.array([correct(system, place, chord, _REFINED).x for place in places])
    curve = np.polynomial.Polynomial.fit(offsets, solved[:, -1], 2).convert()
    if curve.coef[2] >= 0.0:
        raise ContinuationError("the voltage has no maximum where the turning point was expected")
    return solved, float(-curve.coef[1] / (2.0 * curve.coef[2]))
