"""The turning point of a liquid surface on a nested sequence of meshes made for its shape.

Tangents from the Jacobian are not accurate enough to locate a turning point where the field is
singular at the contact line, so it is the vertex of a parabola through three balanced shapes, on
every mesh in the same planes where these lie well.
"""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.continuation import correct
from conegap.solver.liquid.meniscus import Equilibrium, Held, MeniscusProblem
from conegap.solver.liquid.moving_field import MovingField
from conegap.solver.liquid.planes import REFINED, Planes, crossings
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import LiquidSection, liquid_mesh, stay_outside
from conegap.solver.mesh.coarse_mesh import CoarseMesh

__all__ = ["turning_point_on_meshes", "turning_point_reach"]

# Distance between the planes, in scaled arc length: far enough apart for the scatter of Newton's
# method, near enough for a parabola.
_LARGEST_REACH = 0.06


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

    On every mesh three shapes are balanced in three planes across the branch, the same ones where
    these lie well; the strength is greatest at the vertex of the parabola through them.  That needs
    nothing of the Jacobian but that Newton's method converges.

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
        true vertex by less than 1e-4, in the same way for similar designs.  Where that mesh has no
        shape in the plane, its own vertex is sought.
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
    planes = Planes(guess, chord, reach)
    before = guessed = planes.guessed
    at = guess
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
            try:
                at = correct(system, at, planes.across, REFINED).x
            except ComputationError:
                at = crossings(system, planes, guessed).top
            values.append(float(at[-1]) / problem.reference_field**2)
            continue
        found = crossings(system, planes, guessed)
        guessed = found.places
        if number and found.planes is planes:
            # Second order: the next mesh moves the shapes by a quarter of what this one did.
            guessed = found.places + (found.places - before) / 4.0
        planes, before = found.planes, found.places
        parabola = np.polynomial.Polynomial.fit(planes.offsets, before[:, -1], 2)
        values.append(float(parabola(found.vertex)) / problem.reference_field**2)
        at = found.top
    if progress is not None:
        progress("turning point on finer meshes", len(levels), len(levels))
    turned = problem.equilibrium(at)
    stay_outside(liquid, turned.shape)
    return turned, tuple(values)
