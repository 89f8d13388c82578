"""Onset of the tips of a sector, and what the third dimension makes of a tip's field.

The plane section of a crown or an array shows one tip alone; it is solved to full accuracy.  The
sector gives the factor by which the true electrodes and the other tips change that tip's field,
and every onset of the section is divided by it: the liquid at the very end of a tip sees its
surroundings only through the one number that scales its field.

The factor moves by 4e-5 when the tip radius goes from 2 to 8 um, so variants that only change the
radius keep it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.notebook import brief
from conegap.geometries.solids.sector import Sector
from conegap.solver.common.progress import Progress
from conegap.solver.field.extrapolation import Estimate
from conegap.solver.field3d.moved_tetrahedra import SectorMeshes
from conegap.solver.field3d.sector_solution import SectorSolution, solve_sector
from conegap.solver.field3d.tip_field import apex_estimate, field_at_tip, tip_response

__all__ = ["SectorOnset", "TipField", "per_volt_weights", "sector_onset", "tip_fields"]


@dataclass(frozen=True)
class TipField:
    """Field at the apex of one class of tips.

    Parameters
    ----------
    name : str
        Class of the tip: "tip", "middle", "end", "corner".
    members : int
        How many tips of the whole emitter are of this class.
    per_volt : Estimate
        Field per volt of (emitter - accelerator) in the proportion of the design's voltages,
        [1/m].
    fit_error : float
        What the smooth functions leave of the potential on the sphere about the apex, root mean
        square, relative, [-].
    """

    name: str
    members: int
    per_volt: Estimate
    fit_error: float

    @property
    def error(self) -> float:
        """Relative numerical error: mesh sequence and fit on the sphere, [-]."""
        return math.hypot(self.per_volt.error, self.fit_error)


@dataclass(frozen=True)
class SectorOnset:
    """Fields of a sector's tips beside that of one tip alone in the plane section.

    Parameters
    ----------
    tips : tuple of TipField
        Strongest first.
    section_per_volt : float
        Field per volt of the plane section, [1/m].
    """

    solution: SectorSolution
    tips: tuple[TipField, ...]
    section_per_volt: float

    __repr__ = brief

    @property
    def meshes(self) -> SectorMeshes:
        """The first two meshes, to be moved to the sector's variants."""
        levels = self.solution.levels[:2]
        return SectorMeshes(self.solution.sector, tuple(level.mesh for level in levels))

    @property
    def factor(self) -> float:
        """Field of the strongest tip over that of the plane section, [-]."""
        return self.tips[0].per_volt.value / self.section_per_volt

    @property
    def error(self) -> float:
        """Relative numerical error of the factor, [-]."""
        return self.tips[0].error

    def share(self, tip: TipField) -> float:
        """Field of a tip over that of the strongest, [-]."""
        return tip.per_volt.value / self.tips[0].per_volt.value

    def first_meshes(self, count: int) -> SectorOnset:
        """The same from only its coarsest meshes, to compare like with like.

        Parameters
        ----------
        count : int
            At least two, [-].
        """
        tips = tuple(
            replace(
                tip,
                per_volt=apex_estimate(
                    tip.per_volt.level_sizes[:count], tip.per_volt.level_values[:count]
                ),
            )
            for tip in self.tips
        )
        return replace(self, tips=tips)


def tip_fields(design: Design, sector: Sector, solution: SectorSolution) -> tuple[TipField, ...]:
    """Field at the apex of every tip of a sector, strongest first.

    Parameters
    ----------
    design : Design
        Gives the proportion of the voltages.
    solution : SectorSolution
        Of the sector.

    Raises
    ------
    DesignError
        The field at a tip does not point outward.
    MeshError, ConvergenceError
        The region about a tip could not be solved.
    """
    weights = per_volt_weights(design, solution)
    found = []
    responses = {}
    for tip in sector.tips:
        shape = (tip.radius, tip.half_angle, tip.reach)
        if shape not in responses:
            responses[shape] = tip_response(tip)
        best, left = field_at_tip(tip, responses[shape], solution.levels, weights)
        if best.value <= 0.0:
            raise DesignError(
                f"voltages: the field at the tip '{tip.name}' does not point outward; check the "
                "voltages"
            )
        found.append(TipField(tip.name, design.emitter.members(tip.name), best, left))
    return tuple(sorted(found, key=lambda tip: tip.per_volt.value, reverse=True))


def per_volt_weights(design: Design, solution: SectorSolution) -> FloatArray:
    """Voltages of a sector's electrodes per volt of the gap, the chamber grounded.

    Parameters
    ----------
    design : Design
        Gives their proportion.

    Returns
    -------
    (electrodes,) array, [-]
        The emitter first.
    """
    wanted = {
        "emitter": design.voltages.emitter / design.voltage,
        "accelerator": design.voltages.accelerator / design.voltage,
        "chamber": 0.0,
    }
    return solution.weights({name: wanted[name] for name in solution.electrodes})


def sector_onset(
    design: Design,
    section_per_volt: float,
    *,
    meshes: int = 2,
    near: SectorMeshes | None = None,
    progress: Progress | None = None,
) -> SectorOnset | None:
    """Solve a design's sector, or None where it has only a plane section.

    Parameters
    ----------
    section_per_volt : float
        Field per volt at the tip of the plane section, [1/m].
    meshes : int
        Meshes of the sequence: 2 for shifts and curves, 3 for the design itself, [-].
    near : SectorMeshes or None
        See `solve_sector`.
    progress : callable or None

    Raises
    ------
    DesignError
        The field at a tip does not point outward.
    MeshError, ConvergenceError
        The sector could not be solved.
    """
    sector = design.sector()
    if sector is None:
        return None
    solution = solve_sector(sector, meshes=meshes, near=near, progress=progress)
    fields = tip_fields(design, sector, solution)
    if not np.isfinite([tip.per_volt.value for tip in fields]).all():
        raise DesignError("the field at a tip could not be computed")
    return SectorOnset(solution, fields, section_per_volt)
