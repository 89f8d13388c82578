"""The turning point of a surface whose contact line stands still, beside that of the drawn design.

The electric Bond number is flat at its vertex along the branch: one shape on each mesh, in the
plane of the drawn design's, does where the branch's tangent shows that the vertex has hardly moved;
elsewhere three planes are solved on the first mesh.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from conegap.geometries.curves.wall import ContactPlace
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.liquid.contact_section import Wetting
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.liquid_section import held_in, liquid_section
from conegap.solver.liquid.meniscus import Equilibrium, Held
from conegap.solver.liquid.near_turning import shape_in_plane
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import LiquidSection, SurfaceInSolid, liquid_mesh
from conegap.solver.liquid.turning_point import turning_point_on_meshes, turning_point_reach
from conegap.solver.liquid.wetting_states import wetting_of
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.studies.turning_start import TurningStart

__all__ = ["LEVELS", "drawn_liquid_mesh", "pinned_section", "place_of", "settled_start", "turned"]

# Subdivisions of the two meshes; 2 and 4 gave the ends of the capillary's tolerances within 4e-4
# of branches followed anew.
LEVELS = (2, 4)
# How far the vertex may have moved along the branch, in reaches, until its strength is found anew:
# that far it lies 8e-5 above the plane's, and what the tangents show scatters by a third of it.
_NEAR = 0.25


def place_of(design: Design, start: TurningStart, gamma: float) -> tuple[Wetting, ContactPlace]:
    """Wetting of a changed design, and the start's place on its wall.

    Parameters
    ----------
    gamma : float
        Surface tension, [N/m].

    Raises
    ------
    ContinuationError
        The design has no wall for its contact line.
    """
    wetting = wetting_of(design, gamma)
    if wetting is None or start.wall_place is None:
        raise ContinuationError("the changed design has no wall for its contact line")
    return wetting, wetting.wall.at(*start.wall_place)


def pinned_section(
    design: Design, start: TurningStart, gamma: float
) -> tuple[LiquidSection, Held, float]:
    """The section of a surface whose contact line stands still, what is held and how much.

    Parameters
    ----------
    gamma : float
        Surface tension, [N/m].

    Raises
    ------
    ContinuationError
        The design has no wall for its contact line.
    """
    if start.wall_place is None:
        liquid = liquid_section(design)
        held, amount, _, _ = held_in(design, liquid.radius, gamma)
        return liquid, held, amount
    wetting, contact = place_of(design, start, gamma)
    return wetting.liquid(contact), "pressure", wetting.pressure * contact.position[0]


def drawn_liquid_mesh(design: Design, start: TurningStart) -> CoarseMesh:
    """Coarse mesh of the design as drawn for the start's shape, to be moved to its variants.

    Raises
    ------
    MeshError
        The shape could not be meshed.
    """
    liquid, _, _ = pinned_section(design, start, design.surface_tension)
    shape = MeniscusShape(start.coefficients, start.symmetry)
    section, _ = liquid.draw(shape)
    return liquid_mesh(liquid, section, shape).prepared()


def turned(
    liquid: LiquidSection,
    held: Held,
    amount: float,
    shape: MeniscusShape,
    start: TurningStart,
    near: CoarseMesh | None,
    levels: tuple[int, ...],
) -> tuple[Equilibrium, tuple[float, ...]]:
    """A turning point and its electric Bond numbers.

    From one shape a mesh where the start is settled and the turning point has hardly moved along
    the branch, else from planes across it.

    Parameters
    ----------
    held : "pressure", "volume" or "volume with contact angle"
    amount : float
        See `MeniscusProblem`, [-].
    shape : MeniscusShape
        For which the meshes are made.
    near : CoarseMesh or None
        Of a neighbouring section, to be moved to this one where it can follow.
    levels : tuple of int
        Subdivisions of the meshes, [-].

    Raises
    ------
    ContinuationError
        No turning point was found from the start, or the surface passes through the metal.
    MeshError
        The shape could not be meshed.
    """
    length = float(np.linalg.norm(start.chord))
    chord, reach = start.chord / length, turning_point_reach(length)
    field = 1.0 / math.sqrt(start.electric_bond_number)
    if start.settled:
        try:
            one = shape_in_plane(
                liquid,
                shape,
                start.unknowns,
                chord,
                levels,
                held=held,
                amount=amount,
                reference_field=field,
                finer=start.finer,
                near=near,
            )
        except SurfaceInSolid:
            raise
        except ContinuationError:
            pass
        else:
            if abs(one.slope - start.slope) <= _NEAR * reach * abs(start.bend):
                return one.equilibrium, one.strengths
    return turning_point_on_meshes(
        liquid,
        shape,
        start.unknowns,
        chord,
        reach,
        levels,
        held=held,
        amount=amount,
        reference_field=field,
        near=near,
        quick=True,
    )


def settled_start(design: Design, start: TurningStart, near: CoarseMesh | None) -> TurningStart:
    """The turning point of the drawn design on the meshes of its variants.

    Parameters
    ----------
    start : TurningStart
        Of the design as drawn.
    near : CoarseMesh or None
        As for `turning_voltage`.

    Returns
    -------
    TurningStart
        As it was where no branch turns, or it does not turn there again.
    """
    if not len(start.chord) or start.bend >= 0.0:
        return start
    liquid, held, amount = pinned_section(design, start, design.surface_tension)
    shape = MeniscusShape(start.coefficients, start.symmetry)
    try:
        found, _ = turned(liquid, held, amount, shape, start, near, LEVELS[:1])
        start = start.at(found)
        length = float(np.linalg.norm(start.chord))
        one = shape_in_plane(
            liquid,
            found.shape,
            start.unknowns,
            start.chord / length,
            LEVELS,
            held=held,
            amount=amount,
            reference_field=1.0 / math.sqrt(start.electric_bond_number),
            near=near,
        )
    except (ContinuationError, MeshError):
        return start
    return replace(start, slope=one.slope, finer=one.unknowns[1] - one.unknowns[0])
