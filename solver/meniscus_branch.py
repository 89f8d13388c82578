"""The branch of liquid shapes against voltage, up to its turning point and a little beyond.

The mesh follows the surface; once the surface has moved far from the shape that the mesh was made
for, a new mesh is made for the present shape and the branch goes on from there.  The turning
point itself is then computed on meshes made for its own shape, on a nested sequence, so that its
numerical error can be estimated like that of any field.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.geometries.section import Section
from conegap.solver.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.continuation import BranchPoint, correct, follow, refine_turning_point
from conegap.solver.extrapolation import Estimate, estimate
from conegap.solver.meniscus import Equilibrium, Held, MeniscusProblem
from conegap.solver.meniscus_shape import MeniscusShape
from conegap.solver.moving_field import MovingField

__all__ = ["LiquidSection", "MeniscusBranch", "turning_point"]

_FAR = 0.12
_LEVELS = (2, 4, 8)
_FIRST_STEP = 0.2
_SMALLEST_STEP = 2e-3
_SURFACE_SPACING = 0.2
_CONTACT_SPACING = 0.1
_PATCH_ANGLE = 0.2


@dataclass(frozen=True)
class LiquidSection:
    """A section that can be drawn with any liquid surface.

    Parameters
    ----------
    draw : callable
        MeniscusShape to (Section, (loop, index) of the liquid surface); the surface starts on
        the axis or line of symmetry and ends at the contact line.
    radius : float
        Contact radius or half width, [m].
    contact : tuple of float
        Contact line (r or x, z), [m].
    potentials : mapping of electrode to potential per volt of emitter minus accelerator, [-]
    """

    draw: Callable[[MeniscusShape], tuple[Section, tuple[int, int]]]
    radius: float
    contact: tuple[float, float]
    potentials: dict[str, float]


@dataclass(frozen=True)
class MeniscusBranch:
    """Equilibria from no voltage through the turning point.

    Parameters
    ----------
    held : "pressure", "volume" or "volume with contact angle"
    equilibria : tuple of Equilibrium
        In the order of the branch, on coarse meshes; the shapes before the turning point are
        stable against axisymmetric (or planar) changes, those after it are not.
    turning_index : int
        Number of equilibria before the turning point.
    turning : Equilibrium
        The turning point on the finest mesh.
    strength : Estimate
        lambda = eps0 V^2 / (gamma a) at the turning point over the mesh sequence; for a free
        contact line a is the contact radius of the starting shape, [-].
    """

    held: Held
    equilibria: tuple[Equilibrium, ...]
    turning_index: int
    turning: Equilibrium
    strength: Estimate


def turning_point(
    liquid: LiquidSection,
    start: MeniscusShape,
    *,
    pressure: float,
    held: Held,
    amount: float,
    levels: tuple[int, ...] = _LEVELS,
    progress: Callable[[str, int, int], None] | None = None,
) -> MeniscusBranch:
    """Follow the branch from a shape without field and locate its turning point.

    Parameters
    ----------
    liquid : LiquidSection
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
    progress : callable or None
        Called with (what, steps done, steps in all or 0).

    Raises
    ------
    ContinuationError
        The branch could not be followed; the message says where and why.
    MeshError
        A shape could not be meshed.
    """
    problem = _problem(liquid, start, levels[0], held, amount, None)
    first = problem
    x = problem.unknowns(start, pressure, 0.0)
    direction: FloatArray | None = None
    points: list[BranchPoint] = []
    step = _FIRST_STEP
    while True:
        here = problem
        reference = here.shape(x)

        def far(point: BranchPoint, here: MeniscusProblem = here,
                reference: MeniscusShape = reference) -> bool:
            return _distance(here.shape(point.x), reference) > _FAR

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
        )
        points.extend(piece if not points else piece[1:])
        if piece[-1].tangent[-1] < 0.0 and len(piece) > 1 and _beyond(points) >= 2:
            break
        x, direction = piece[-1].x, piece[-1].tangent
        step = float(np.clip(np.linalg.norm(piece[-1].x - piece[-2].x), 0.02, _FIRST_STEP))
        problem = _problem(liquid, problem.shape(x), levels[0], held, amount, first)
    turned = next(k for k, point in enumerate(points) if point.tangent[-1] < 0.0)
    equilibria = tuple(_recorded(first, point) for point in points)
    fold, values = _refined(liquid, first, points[turned - 1], points[turned], levels, progress)
    return MeniscusBranch(
        held=held,
        equilibria=equilibria,
        turning_index=turned,
        turning=fold,
        strength=estimate(levels, values),
    )


def _beyond(points: list[BranchPoint]) -> int:
    return sum(1 for point in points if point.tangent[-1] < 0.0)


def _problem(liquid, shape, level, held, amount, like):  # type: ignore[no-untyped-def]
    """The discrete balance on a mesh made for a shape."""
    section, surface = liquid.draw(shape)
    coarse = _liquid_mesh(liquid, section, shape)
    field = MovingField(section, surface, level, liquid.potentials, coarse=coarse)
    return MeniscusProblem(
        field,
        radius=liquid.radius,
        contact=liquid.contact,
        held=held,
        amount=amount,
        reference=shape,
        like=like,
    )


def _liquid_mesh(liquid: LiquidSection, section: Section, shape: MeniscusShape) -> CoarseMesh:
    """Coarse mesh with the liquid surface and its contact line well covered."""
    s = np.linspace(0.0, 1.0, 9)
    along = shape.points(s) * liquid.radius + np.array([0.0, liquid.contact[1]])
    spacing = np.where(s > 0.95, _CONTACT_SPACING, _SURFACE_SPACING) * liquid.radius
    places = tuple(
        ((float(x), float(z)), float(h)) for (x, z), h in zip(along, spacing, strict=True)
    )
    return coarse_mesh(section, places=places, patch_angle=_PATCH_ANGLE)


def _distance(one: MeniscusShape, two: MeniscusShape) -> float:
    s = np.linspace(0.0, 1.0, 41)
    return float(np.hypot(*(one.points(s) - two.points(s)).T).max())


def _recorded(problem: MeniscusProblem, point: BranchPoint) -> Equilibrium:
    """An equilibrium without its field, for tables and pictures."""
    shape, pressure, strength = problem.parts(point.x)
    empty = np.empty(0)
    return Equilibrium(shape, pressure, strength, empty, empty)


def _refined(liquid, first, before, after, levels, progress):  # type: ignore[no-untyped-def]
    """The turning point on meshes made for its own shape."""
    rise, fall = before.tangent[-1], after.tangent[-1]
    guess = before.x + rise / (rise - fall) * (after.x - before.x)
    shape = first.shape(guess)
    section, surface = liquid.draw(shape)
    coarse = _liquid_mesh(liquid, section, shape)
    values = []
    point: BranchPoint | None = None
    bend = 0.0
    for number, level in enumerate(levels):
        if progress is not None:
            progress("turning point on finer meshes", number, len(levels))
        field = MovingField(section, surface, level, liquid.potentials, coarse=coarse)
        problem = MeniscusProblem(
            field,
            radius=liquid.radius,
            contact=liquid.contact,
            held=first.held,
            amount=first.amount,
            reference=shape,
            like=first,
        )
        system = problem.residual_and_jacobian
        if point is None:
            reach = float(np.linalg.norm(after.x - before.x))
            chord = (after.x - before.x) / reach
            low = correct(system, guess - 0.4 * reach * chord, chord)
            high = correct(system, guess + 0.4 * reach * chord, chord)
            while low.tangent[-1] <= 0.0:
                low = correct(system, low.x - 0.4 * reach * chord, chord)
            while high.tangent[-1] >= 0.0:
                high = correct(system, high.x + 0.4 * reach * chord, chord)
            point = refine_turning_point(system, low, high)
            bend = (high.tangent[-1] - low.tangent[-1]) / float(
                (high.x - low.x) @ point.tangent
            )
            top = float(point.x[-1])
        else:
            point = correct(system, point.x, point.tangent)
            # The parabola through this point with the bend of the first mesh.
            top = float(point.x[-1] - point.tangent[-1] ** 2 / (2.0 * bend))
            if abs(point.tangent[-1] / bend) > 0.02:
                point = correct(system, point.x - point.tangent * point.tangent[-1] / bend,
                                point.tangent)
                top = float(point.x[-1] - point.tangent[-1] ** 2 / (2.0 * bend))
        values.append(top / first.reference_field**2)
    if progress is not None:
        progress("turning point on finer meshes", len(levels), len(levels))
    fold = problem.equilibrium(point.x)
    return fold, tuple(values)


def half_angle(shape: MeniscusShape) -> float:
    """Half angle of the cone that the surface approaches, at its place of least slope change, [rad].

    The complement of the slope where the surface is straightest between apex and contact line.
    """
    s = np.linspace(0.05, 0.95, 181)
    straightest = s[int(np.argmin(np.abs(shape.slope_derivative(s))))]
    return math.pi / 2.0 - float(shape.slope(np.array([straightest]))[0])
