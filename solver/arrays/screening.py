"""How much the tips of a crown or an array reduce each other's field."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from conegap.geometries.design.design import Design
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.solver.common.parallel_map import parallel_map
from conegap.solver.common.progress import Progress
from conegap.solver.field3d.sector_factor import SectorOnset, tip_fields
from conegap.solver.field3d.sector_solution import solve_sector

__all__ = ["Screening", "ScreeningPoint", "screening"]

# Parts per radius of rounded edges far from the tips; from 2.0 down to this a lone tip's field
# moves by 5e-4.
_ROUGH = 0.3
# Of the tips' height: screening changes fastest about one.
_PITCHES = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0)


@dataclass(frozen=True)
class ScreeningPoint:
    """Field of a tip among others.

    Parameters
    ----------
    pitch : float
        Distance between neighbours, [m].
    tips : int
        Number of tips.
    share : float
        Field of the most screened tip over that of a tip alone in the same place, [-].
    """

    pitch: float
    tips: int
    share: float


@dataclass(frozen=True)
class Screening:
    """Screening of a crown or an array, as drawn and over its pitch.

    Parameters
    ----------
    strongest, weakest : float
        Field of the strongest and the weakest tip over that of a tip alone, [-].
    height : float
        Of the tips, [m].
    points : tuple of ScreeningPoint
        In rising order of the pitch; empty where no curve was asked for.
    """

    strongest: float
    weakest: float
    height: float
    points: tuple[ScreeningPoint, ...]


def screening(
    design: Design, sector: SectorOnset, *, curve: bool, progress: Progress | None = None
) -> Screening:
    """Compare the tips of a design with one alone in the same place.

    Parameters
    ----------
    design : Design
        A crown or an array.
    sector : SectorOnset
        As drawn.
    curve : bool
        Whether to compute the dependence on the pitch as well.
    progress : callable or None

    Raises
    ------
    DesignError
        The design is neither.
    MeshError, ConvergenceError
        A sector could not be solved.
    """
    emitter = design.emitter
    lone = emitter.alone()
    if lone is None:
        raise DesignError(f"screening: a {emitter.kind} has no tips that screen each other")
    variants = _variants(emitter) if curve else []
    found = parallel_map(
        partial(_fields, design), [lone, *variants], progress=progress, what="screening"
    )
    if isinstance(found[0], str):
        raise ComputationError(f"screening: one tip alone could not be solved: {found[0]}")
    alone = found[0][0]
    drawn = sector.first_meshes(2).tips
    points = []
    for other, fields in zip(variants, found[1:], strict=True):
        # A pitch at which the tips overlap or a body cannot be built is left out of the curve.
        if not isinstance(fields, str):
            pitch = other.pitch_length or 0.0
            points.append(ScreeningPoint(pitch, other.count, fields[-1] / alone))
    return Screening(
        strongest=drawn[0].per_volt.value / alone,
        weakest=drawn[-1].per_volt.value / alone,
        height=emitter.height,
        points=tuple(sorted(points, key=lambda point: point.pitch)),
    )


def _fields(design: Design, emitter: Emitter) -> list[float]:
    """Fields per volt of an emitter's tips in the design's surroundings, strongest first.

    Rounded edges far from the tips are meshed coarsely; a lone tip's field moves by 5e-4.
    """
    other = replace(design, emitter=emitter)
    sector = other.sector()
    assert sector is not None
    sector = replace(sector, parts_per_radius=min(sector.parts_per_radius, _ROUGH))
    solution = solve_sector(sector, meshes=2)
    return [tip.per_volt.value for tip in tip_fields(other, sector, solution)]


def _variants(emitter: Emitter) -> list[Emitter]:
    """The same emitter with other pitches."""
    found: list[Emitter] = []
    for share in _PITCHES:
        other = emitter.spaced(share * emitter.height)
        # Whole numbers of tips on a ring can make two pitches one.
        if other is not None and other not in found:
            found.append(other)
    return found
