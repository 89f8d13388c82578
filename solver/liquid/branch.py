"""The branch of liquid shapes against voltage, up to its turning point and a little beyond.

The mesh follows the surface; once the surface has moved far from the shape that the mesh was made
for, a new mesh is made for the present shape and the branch goes on from there.  The turning
point itself is then computed on meshes made for its own shape, on a nested sequence, so that its
numerical error can be estimated like that of any field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.notebook import brief
from conegap.solver.common.progress import Progress
from conegap.solver.field.extrapolation import Estimate, estimate
from conegap.solver.liquid.continuation import (
    BranchPoint,
    ContinuationError,
    follow,
)
from conegap.solver.liquid.meniscus import Equilibrium, Held, MeniscusProblem
from conegap.solver.liquid.moving_field import MovingField
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import (
    LiquidSection,
    SurfaceInSolid,
    liquid_mesh,
    stay_outside,
)
from conegap.solver.liquid.turning_point import turning_point_on_meshes, turning_point_reach

__all__ = [
    "LiquidSection",
    "MeniscusBranch",
    "SurfaceInSolid",
    "half_angle",
    "problem_at",
    "turning_point",
]

# Contact radii that the surface may move before its mesh is made anew; twice as many moved the
# capillary's onset by 4e-5 and doubled its stated error.
_FAR = 0.12
# Subdivisions, as for a field.
_LEVELS = (2, 4, 8)
# Arc-length steps in the scaled unknowns, halved where Newton's method fails; they decide how
# many shapes are recorded, not where the branch turns.
_FIRST_STEP = 0.2
_SMALLEST_STEP = 2e-3
# Of the correction by extrapolation, kept as error; the leading share of a field's error, times
# five for the contact line. A choice, no source.
_CORRECTION_SHARE = 0.3
# Tolerance of Newton's method on the way, where the coarse mesh leaves 1e-3.
_ON_THE_WAY = 1e-5
# Shapes of one branch; one that has not turned by then is given up.
_MOST_POINTS = 150


@dataclass(frozen=True)
class MeniscusBranch:
    """Equilibria from no voltage through the turning point.

    Parameters
    ----------
    held : "pressure", "volume" or "volume with contact angle"
    amount : float
        What is held, see `MeniscusProblem`, [-].
    equilibria : tuple of Equilibrium
        In the order of the branch, on coarse meshes; the shapes before the turning point are
        stable against axisymmetric (or planar) changes, those after it are not.
    turning_index : int
        Number of equilibria before the turning point.
    turning : Equilibrium
        The turning point on the finest mesh.
    electric_bond_number : Estimate
        lambda = eps0 V^2 / (gamma a) at the turning point over the mesh sequence; for a free
        contact line a is the contact radius of the starting shape, [-].
    """

    held: Held
    amount: float
    equilibria: tuple[Equilibrium, ...]
    turning_index: int
    turning: Equilibrium
    electric_bond_number: Estimate

    __repr__ = brief


def turning_point(
    liquid: LiquidSection,
    start: MeniscusShape,
    *,
    pressure: float,
    held: Held,
    amount: float,
    levels: tuple[int, ...] = _LEVELS,
    bond_number: float = 0.0,
    progress: Progress | None = None,
) -> MeniscusBranch:
    """Follow the branch from a shape without field and locate its turning point.

    Parameters
    ----------
    start : MeniscusShape
        Equilibrium without field.
    pressure : float
        Its gauge pressure in gamma / a, [-].
    held : "pressure", "volume" or "volume with contact angle"
    amount : float
        See `MeniscusProblem`, [-].
    levels : tuple of int
        Subdivisions of the meshes on which the turning point is computed; the branch itself is
        followed on the first, [-].
    bond_number : float
        rho g a^2 / gamma; the start need only be near balance when it is not zero, [-].
    progress : callable or None
        Called with (what, steps done, steps in all or 0).

    Raises
    ------
    ContinuationError
        The branch could not be followed; the message says where and why.
    SurfaceInSolid
        The surface would have to pass through the solid before it turns.
    MeshError
        A shape could not be meshed.
    """
    stay_outside(liquid, start)
    problem = problem_at(liquid, start, levels[0], held, amount, bond_number=bond_number)
    first = problem
    x = problem.unknowns(start, pressure, 0.0)
    direction: FloatArray | None = None
    points: list[BranchPoint] = []
    step = _FIRST_STEP
    while True:
        here = problem
        reference = here.shape(x)

        def far(
            point: BranchPoint, here: MeniscusProblem = here, reference: MeniscusShape = reference
        ) -> bool:
            shape = here.shape(point.x)
            if point.tangent[-1] > 0.0:
                stay_outside(liquid, shape)
            return _distance(shape, reference) > _FAR

        piece = follow(
            problem.residual_and_jacobian,
            x,
            step=step,
            smallest_step=_SMALLEST_STEP,
            direction=direction,
            finished=far,
            progress=None
            if progress is None
            else lambda n: progress("liquid shapes", len(points) + n, 0),
            tolerance=_ON_THE_WAY,
        )
        points.extend(piece if not points else piece[1:])
        if _fallen(points) >= 2:
            break
        if len(points) > _MOST_POINTS:
            raise ContinuationError(
                f"the voltage did not turn back within {_MOST_POINTS} liquid shapes",
                cause="no turn",
            )
        x, direction = piece[-1].x, piece[-1].tangent
        step = float(np.clip(np.linalg.norm(piece[-1].x - piece[-2].x), 0.02, _FIRST_STEP))
        problem = problem_at(liquid, problem.shape(x), levels[0], held, amount, first)
    turned = int(np.argmax([point.x[-1] for point in points])) + 1
    equilibria = tuple(_recorded(first, point) for point in points)
    fold, values = _refined(liquid, first, points[turned - 2], points[turned], levels, progress)
    return MeniscusBranch(
        held=held,
        amount=amount,
        equilibria=equilibria,
        turning_index=turned,
        turning=fold,
        electric_bond_number=_cautious(estimate(levels, values)),
    )


def _cautious(electric_bond_number: Estimate) -> Estimate:
    """The estimate with at least a share of its correction as error.

    The field is singular at the contact line, so the order is not cleanly two and the sequence
    alone understates what the correction leaves.
    """
    correction = abs(electric_bond_number.value - electric_bond_number.level_values[-1]) / abs(
        electric_bond_number.value
    )
    return replace(
        electric_bond_number, error=max(electric_bond_number.error, _CORRECTION_SHARE * correction)
    )


def _fallen(points: list[BranchPoint]) -> int:
    """Points after the greatest parameter."""
    return len(points) - 1 - int(np.argmax([point.x[-1] for point in points]))


def problem_at(
    liquid: LiquidSection,
    shape: MeniscusShape,
    level: int,
    held: Held,
    amount: float,
    like: MeniscusProblem | None = None,
    bond_number: float = 0.0,
) -> MeniscusProblem:
    """The discrete balance on a mesh made for a shape.

    Parameters
    ----------
    level : int
        Subdivisions per coarse edge, [-].
    held : "pressure", "volume" or "volume with contact angle"
    amount : float
        See `MeniscusProblem`, [-].
    like : MeniscusProblem or None
        Whose scales and Bond number are taken over.
    bond_number : float
        rho g a^2 / gamma, [-].

    Raises
    ------
    MeshError
        The shape could not be meshed.
    """
    section, surface = liquid.draw(shape)
    coarse = liquid_mesh(liquid, section, shape)
    field = MovingField(section, surface, level, liquid.potentials, coarse=coarse)
    return MeniscusProblem(
        field,
        radius=liquid.radius,
        contact=liquid.contact,
        held=held,
        amount=amount,
        reference=shape,
        like=like,
        bond_number=bond_number,
    )


def _distance(one: MeniscusShape, two: MeniscusShape) -> float:
    s = np.linspace(0.0, 1.0, 41)
    return float(np.hypot(*(one.points(s) - two.points(s)).T).max())


def _recorded(problem: MeniscusProblem, point: BranchPoint) -> Equilibrium:
    """An equilibrium without its field, for tables and pictures."""
    shape, pressure, electric_bond_number = problem.parts(point.x)
    empty = np.empty(0)
    return Equilibrium(shape, pressure, electric_bond_number, empty, empty)


def _refined(
    liquid: LiquidSection,
    first: MeniscusProblem,
    before: BranchPoint,
    after: BranchPoint,
    levels: tuple[int, ...],
    progress: Progress | None,
) -> tuple[Equilibrium, tuple[float, ...]]:
    """The turning point on meshes made for its own shape, and its strength on each of them."""
    apart = after.x - before.x
    length = float(np.linalg.norm(apart))
    return turning_point_on_meshes(
        liquid,
        first.shape(0.5 * (before.x + after.x)),
        0.5 * (before.x + after.x),
        apart / length,
        turning_point_reach(length),
        levels,
        held=first.held,
        amount=first.amount,
        like=first,
        progress=progress,
    )


def half_angle(shape: MeniscusShape) -> float:
    """Half angle of the cone that fits the middle third of the surface, [rad].

    At a turning point the surface is still on its way to Taylor's 49.29 deg, from either side.
    """
    s = np.linspace(1.0 / 3.0, 2.0 / 3.0, 61)
    return math.pi / 2.0 - float(np.mean(shape.slope(s)))
