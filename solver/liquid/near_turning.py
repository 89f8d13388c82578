"""A turning point beside one that is known, from one shape on every mesh.

The strength is flat at a turning point: a shape balanced in the plane across the branch in which
the known one lies misses the vertex of a neighbouring branch in second order alone.  Half way to
twice the drawn gap or radius the vertex of the shipped needle moved by 0.002, which is 1e-5 of the
strength.  How far it moved shows in the slope of the branch: the tangent from the Jacobian is wrong
by what the mesh adds, but by nearly the same on the known branch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.liquid.continuation import BranchPoint, correct
from conegap.solver.liquid.meniscus import Equilibrium, Held, MeniscusProblem
from conegap.solver.liquid.moving_field import MovingField
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import LiquidSection, liquid_mesh, stay_outside
from conegap.solver.mesh.coarse_mesh import CoarseMesh

__all__ = ["PlaneSolve", "problems_on_meshes", "shape_in_plane"]

# As for the shapes of a turning point found anew: at the vertex the voltage is flat, so that what
# Newton's method leaves counts by its square.
_REFINED = 2e-5


@dataclass(frozen=True)
class PlaneSolve:
    """Shapes in balance in one plane across the branch, a mesh each.

    Parameters
    ----------
    unknowns : tuple of (n,) arrays
        As in `MeniscusProblem`, [-].
    strengths : tuple of float
        Electric Bond numbers, [-].
    slope : float
        Relative growth of the strength along the chord on the first mesh, by the tangent, [-].
    equilibrium : Equilibrium
        On the last mesh.
    """

    unknowns: tuple[FloatArray, ...]
    strengths: tuple[float, ...]
    slope: float
    equilibrium: Equilibrium


def problems_on_meshes(
    liquid: LiquidSection,
    shape: MeniscusShape,
    levels: tuple[int, ...],
    *,
    held: Held,
    amount: float,
    like: MeniscusProblem | None = None,
    reference_field: float | None = None,
    near: CoarseMesh | None = None,
) -> Iterator[MeniscusProblem]:
    """The balance on nested meshes made for a shape, with common scales of its unknowns.

    Parameters
    ----------
    levels : tuple of int
        Subdivisions of the meshes, [-].
    held : "pressure", "volume" or "volume with contact angle"
    amount, reference_field : float
        See `MeniscusProblem`, [-].
    like : MeniscusProblem or None
        See `MeniscusProblem`.
    near : CoarseMesh or None
        Of a neighbouring section, to be moved to this one where it can follow.

    Raises
    ------
    MeshError
        The shape could not be meshed.
    """
    section, surface = liquid.draw(shape)
    coarse = liquid_mesh(liquid, section, shape, near)
    for level in levels:
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
        yield problem


def shape_in_plane(
    liquid: LiquidSection,
    shape: MeniscusShape,
    guess: FloatArray,
    chord: FloatArray,
    levels: tuple[int, ...],
    *,
    held: Held,
    amount: float,
    reference_field: float,
    finer: FloatArray | None = None,
    near: CoarseMesh | None = None,
) -> PlaneSolve:
    """The shape in balance in the plane through a guess across the branch, on every mesh.

    Parameters
    ----------
    shape : MeniscusShape
        For which the meshes are made.
    guess, chord : (n,) arrays
        Unknowns near the turning point on the first mesh and unit direction along the branch
        there, [-].
    levels : tuple of int
        Subdivisions of the meshes, [-].
    held : "pressure", "volume" or "volume with contact angle"
    amount, reference_field : float
        See `MeniscusProblem`, [-].
    finer : (n,) array or None
        By how much the unknowns of a neighbour are known to differ on the second mesh, [-].
    near : CoarseMesh or None
        Of a neighbouring section, to be moved to this one where it can follow.

    Raises
    ------
    ContinuationError
        No shape was found in the plane, or the surface passes through the metal.
    MeshError
        The shape could not be meshed.
    """
    at, points = guess, list[BranchPoint]()
    strengths = []
    for number, problem in enumerate(
        problems_on_meshes(
            liquid,
            shape,
            levels,
            held=held,
            amount=amount,
            reference_field=reference_field,
            near=near,
        )
    ):
        if number == 1 and finer is not None:
            at = at + finer
        points.append(correct(problem.residual_and_jacobian, at, chord, _REFINED))
        at = points[-1].x
        strengths.append(float(at[-1]) / problem.reference_field**2)
    found = problem.equilibrium(at)
    stay_outside(liquid, found.shape)
    along = points[0].tangent / (points[0].tangent @ chord)
    slope = float(along[-1] / points[0].x[-1])
    return PlaneSolve(tuple(p.x for p in points), tuple(strengths), slope, found)
