"""One end of a slit, its lips and channel drawn as one blunt edge, solved in three dimensions.

Near its edge the field of a slender blade is that of the plane section times one number, the
strength of the edge there, and that number hardly depends on how round the edge is: on the shipped
slit it moves by 0.5 % from an edge radius of 30 to one of 20 um.

A rough model, one edge on a coarser mesh, serves curves and ends that are only assumed: on the
shipped slit with ends of 0.8 to 2.6 mm it lies at most 1.2 % below both edges carried on to the
true one, and takes 4 s of one processor where those take 25 s.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from conegap.geometries.design.alignment import aligned
from conegap.geometries.design.design import Design
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.setting import length_text
from conegap.geometries.quantities.errors import GeometryError, MeshError
from conegap.solver.field3d.lip_field import LipField, lip_field
from conegap.solver.field3d.sector_solution import SectorSolution, solve_sector

__all__ = [
    "ROUGH_ERROR",
    "EndModel",
    "end_model",
    "end_radius",
    "rough_end_factor",
    "solve_end",
]

# Radius of the blunter edge, of the gap or the end radius, whichever is less: the second mesh of
# a finer edge then has some 90,000 points on the shipped slit.
_BLUNT = 0.06
# Over the true half width of the edge: a model is never sharper than what it stands for.
_LEAST = 1.05
# Radii of the edge in the tube about it: the boundary-layer grid is four radii thick, and below
# this the mesher fails or finds no end (measured at leans of 5 to 30 degrees).
_LEAST_REACH = 4.15
# Meshing of a rough model; the ratio of end to middle moves by 0.4 %.
_ROUGH = 0.4
ROUGH_ERROR = 0.02
"""Relative error of a rough model's end factor beside that of its meshes: measured 1.2 % at most,
with a margin, [-]."""


@dataclass(frozen=True)
class EndModel:
    """One end to be solved.

    Parameters
    ----------
    slit : Emitter
        With drawn ends, aligned.
    accelerator : Accelerator
        Aligned.
    radius : float
        Of the blunt edge, [m].
    rough : bool
        Whether a coarser mesh will do.
    """

    slit: Emitter
    accelerator: Accelerator
    radius: float
    rough: bool = False


def end_radius(design: Design) -> float | None:
    """Radius with which a slit's edge turns down at its ends, drawn or assumed, [m]; None where
    there are no ends to be solved."""
    drawn = design.emitter.drawn_end
    slot = design.accelerator.straight_slot(design.gap)
    wide = None if slot is None else slot.slot_width
    return design.emitter.assumed_end(wide, design.gap) if drawn is None else drawn


def _blunt_radius(design: Design, end: float) -> float:
    """Radius of the blunt edge of a model, [m].

    Parameters
    ----------
    end : float
        End radius, [m].
    """
    return max(_BLUNT * min(design.gap, end), _LEAST * design.emitter.edge_half_width)


def end_model(design: Design, end: float) -> EndModel | None:
    """Rough model of a design with another end radius, or None where the ends would meet.

    A misaligned slit or slot is taken as aligned: the ratio of end to middle is the same in the
    mirror, so that an offset changes it only in second order.

    Parameters
    ----------
    end : float
        End radius, [m].
    """
    straight = aligned(design)
    slit = straight.emitter.with_end(end)
    if slit is None:
        return None
    return EndModel(slit, straight.accelerator, _blunt_radius(design, end), rough=True)


def solve_end(design: Design, model: EndModel) -> tuple[LipField, SectorSolution]:
    """Field along the lips and the solution of one model.

    Parameters
    ----------
    design : Design
        Gives gap, chamber and voltages.
    model : EndModel

    Raises
    ------
    GeometryError
        The end cannot be built.
    MeshError, ConvergenceError, ComputationError
        It could not be solved.
    """
    sector = model.slit.end_sector(model.accelerator, design.gap, design.room(), model.radius)
    lip = sector.lip
    if lip is not None and lip.reach < _LEAST_REACH * lip.radius:
        raise MeshError(
            f"the edge has {length_text(lip.radius)} and the tube about its end "
            f"{length_text(lip.reach)}: ends are computed where it has {_LEAST_REACH:g} of the "
            "edge's radii, so on a wider gap or a sharper edge"
        )
    if model.rough:
        sector = replace(sector, parts_per_radius=_ROUGH)
    solution = solve_sector(sector, meshes=2)
    return lip_field(design, sector, solution), solution


def rough_end_factor(design: Design, end: float) -> float:
    """Greatest field at the ends over that in the middle, of one rough model, [-].

    Parameters
    ----------
    end : float
        End radius, [m].

    Raises
    ------
    GeometryError
        The design has no ends that can be built.
    MeshError, ConvergenceError, ComputationError
        They could not be solved.
    """
    model = end_model(design, end)
    if model is None:
        raise GeometryError("the slit is too short for its ends")
    return float(solve_end(design, model)[0].share.max())
