"""The field along a slit's lips and round its ends, and whether the ends fire first.

Three scales meet at the end of a slit: lips of micrometres, a gap and an end radius of
millimetres, a length of many.  Near its edge the field of a slender blade is that of the plane
section times one number, the strength of the edge there, and that number hardly depends on how
round the edge is.  So the blade is solved in three dimensions with two blunter edges, the field
along its crest is divided by that far from the end, and the ratio is carried on to the true edge.

The ratio moves by 0.5 % from an edge radius of 30 to one of 20 um.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.quantities.errors import ComputationError, GeometryError
from conegap.solver.common.parallel_map import parallel_map
from conegap.solver.common.progress import Progress
from conegap.solver.field3d.lip_field import LipField, lip_field
from conegap.solver.field3d.sector_solution import SectorSolution, solve_sector
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = [
    "ALLOWED_FACTOR",
    "EndPoint",
    "SlitEnd",
    "end_rows",
    "end_warnings",
    "slit_end",
    "slit_end_or_why",
]

# Radius of the blunter edge, of the gap or the end radius, whichever is less: the second mesh of
# the finer edge then has some 90,000 points on the shipped slit.
_BLUNT = 0.06
# Over the radius of the second edge: wide enough apart for a straight line through both.
_LESS_BLUNT = 1.6
ALLOWED_FACTOR = 1.05
"""Field at the ends over that in the middle that the review lets pass, [-]."""
# End radii of the curve, over the drawn one.
_RADII = (0.5, 0.75, 1.25, 2.0)
_ROUGH = 0.4
# Of the slot beyond the lips, in gaps.
_OVERHANGS = (0.0, 1.0, 2.0)


@dataclass(frozen=True)
class EndPoint:
    """End factor of a changed end.

    Parameters
    ----------
    value : float
        End radius, or overhang of the slot beyond the emitter's end, [m].
    factor : float
        Greatest field round the end over that in the middle, [-].
    """

    value: float
    factor: float


@dataclass(frozen=True)
class SlitEnd:
    """Field along the lips and the end factor; build with `slit_end`.

    Parameters
    ----------
    along, share : (n,) arrays
        Distance from the beginning of the rounding, [m], and field over that in the middle, for
        the true edge, [-].
    factor : float
        Greatest share, [-].
    error : float
        Of the factor, from the meshes, from carrying it on to the true edge, and half the step
        where the straight lip meets the rounding, absolute, [-].
    place : float
        Where along the crest, [m].
    end_radius : float
        [m].
    models : tuple of LipField
        The two modelled edges, the blunter one first.
    over_radius, over_overhang : tuple of EndPoint
        The factor for other end radii and other overhangs of the slot, rising.
    seconds : float
        Time of the two solves, [s].
    cells : int
        Control volumes of the larger one.
    solution : SectorSolution or None
        With the sharper modelled edge, to be exported.
    """

    along: FloatArray
    share: FloatArray
    factor: float
    error: float
    place: float
    end_radius: float
    models: tuple[LipField, ...]
    over_radius: tuple[EndPoint, ...]
    over_overhang: tuple[EndPoint, ...]
    seconds: float
    cells: int
    solution: SectorSolution | None = None

    @property
    def keeping_radius(self) -> float | None:
        """Smallest end radius at which the ends fire at most 5 % early, [m]."""
        return _first_below(self.over_radius)

    @property
    def keeping_overhang(self) -> float | None:
        """Smallest overhang at which the ends fire at most 5 % early, [m]."""
        return _first_below(self.over_overhang)

    def as_dict(self) -> dict[str, Any]:
        """For the results contract, SI."""
        return {
            "end_radius_m": self.end_radius,
            "end_factor": self.factor,
            "error": self.error,
            "keeping_end_radius_m": self.keeping_radius,
            "keeping_overhang_m": self.keeping_overhang,
            "over_end_radius": [
                {"end_radius_m": p.value, "end_factor": p.factor} for p in self.over_radius
            ],
            "over_overhang": [
                {"overhang_m": p.value, "end_factor": p.factor} for p in self.over_overhang
            ],
            "along_m": self.along.tolist(),
            "field_over_middle": self.share.tolist(),
            "cells": self.cells,
            "seconds": self.seconds,
        }


def _first_below(points: tuple[EndPoint, ...]) -> float | None:
    """Where a curve of factors falls to the allowed one, by straight lines, [m]."""
    for one, two in itertools.pairwise(points):
        if one.factor > ALLOWED_FACTOR >= two.factor:
            share = (one.factor - ALLOWED_FACTOR) / (one.factor - two.factor)
            return one.value + share * (two.value - one.value)
    if points and points[0].factor <= ALLOWED_FACTOR:
        return points[0].value
    return None


@dataclass(frozen=True)
class _Model:
    """One end to be solved: its blade, plate and modelled edge."""

    slit: Emitter
    accelerator: Accelerator
    radius: float
    rough: bool = False


def _solved(design: Design, model: _Model) -> tuple[LipField, SectorSolution]:
    """Field along the lips and the solution of one model (runs in a worker)."""
    sector = model.slit.end_sector(model.accelerator, design.gap, design.room(), model.radius)
    if model.rough:
        # The ratio of end to middle moves by 0.4 % on the coarser mesh, which serves the curves.
        sector = replace(sector, parts_per_radius=_ROUGH)
    solution = solve_sector(sector, meshes=2)
    return lip_field(design, sector, solution), solution


def slit_end(
    design: Design, *, curve: bool = True, progress: Progress | None = None
) -> SlitEnd | None:
    """Solve the end of a slit, or None where the design has no drawn end.

    Parameters
    ----------
    curve : bool
        Whether to compute other end radii and overhangs as well.
    progress : callable or None

    Raises
    ------
    DesignError
        The end cannot be built.
    ComputationError
        The end could not be solved.
    """
    slit = design.emitter
    end, true = slit.drawn_end, slit.edge_half_width
    if end is None:
        return None
    blunt = max(_BLUNT * min(design.gap, end), 1.05 * true)
    finer = max(blunt / _LESS_BLUNT, 1.001 * true)
    # Refuses what cannot be built before anything is solved.
    slit.end_sector(design.accelerator, design.gap, design.room(), blunt)
    others = _other_ends(design, end, blunt) if curve else []
    models = [
        _Model(slit, design.accelerator, blunt),
        _Model(slit, design.accelerator, finer),
        *(model for _, _, model in others),
    ]
    found = parallel_map(partial(_solved, design), models, progress=progress, what="slit's end")
    (one, _), (two, solution) = (_or_raise(result) for result in found[:2])
    # Both crests are followed at the same places; where the straight part meets the rounding there
    # are two values, which interpolation would mix.
    same = np.array_equal(one.along, two.along)
    share = one.share if same else np.interp(two.along, one.along, one.share)
    carried = two.share + (two.share - share) * (finer - true) / (blunt - finer)
    k = int(np.argmax(carried))
    factor = float(carried[k])
    shift = factor - float(one.share.max())
    points: dict[str, list[EndPoint]] = {"radius": [EndPoint(end, factor)], "overhang": []}
    for (kind, value, _), result in zip(others, found[2:], strict=True):
        # An end that cannot be built or meshed is left out of its curve.
        if not isinstance(result, str):
            points[kind].append(EndPoint(value, float(result[0].share.max()) + shift))
    return SlitEnd(
        along=two.along,
        share=carried,
        factor=factor,
        error=max(one.change, two.change)
        + abs(factor - float(two.share.max()))
        + 0.5 * _jump(two.along, carried),
        place=float(two.along[k]),
        end_radius=end,
        models=(one, two),
        over_radius=tuple(sorted(points["radius"], key=lambda point: point.value)),
        over_overhang=tuple(points["overhang"]),
        seconds=solution.seconds,
        cells=solution.cells,
        solution=solution,
    )


def _jump(along: FloatArray, share: FloatArray) -> float:
    """Difference of the two values where the straight lip meets the rounding, [-].

    One is that of a straight edge, the other of one bent all along; the truth lies between them.
    """
    met = np.flatnonzero(np.diff(along) == 0.0)
    return float(np.max(np.abs(np.diff(share)[met]), initial=0.0))


def _or_raise(result: tuple[LipField, SectorSolution] | str) -> tuple[LipField, SectorSolution]:
    if isinstance(result, str):
        raise ComputationError(f"the slit's end could not be solved: {result}")
    return result


def _other_ends(design: Design, end: float, blunt: float) -> list[tuple[str, float, _Model]]:
    """The same slit with other end radii and other overhangs of the slot, [m]."""
    slit, plate = design.emitter, design.accelerator
    true = 1.05 * slit.edge_half_width
    found = []
    for radius in (ratio * end for ratio in _RADII):
        other = slit.with_end(radius)
        if other is not None:
            edge = max(_BLUNT * min(design.gap, radius), true)
            found.append(("radius", radius, _Model(other, plate, edge, rough=True)))
    for overhang in (share * design.gap for share in _OVERHANGS):
        longer = plate.with_slot_length((slit.line_length or 0.0) + 2.0 * overhang)
        if longer is not None:
            found.append(("overhang", overhang, _Model(slit, longer, blunt, rough=True)))
    return found


def slit_end_or_why(
    design: Design, *, curve: bool = True, progress: Progress | None = None
) -> tuple[SlitEnd | None, tuple[str, ...]]:
    """The end of a slit, or a warning that says why it was not computed.

    Parameters
    ----------
    curve : bool
        Whether to compute other end radii and overhangs as well.
    progress : callable or None

    Raises
    ------
    MeshError, ConvergenceError
        The end could not be solved.
    """
    try:
        return slit_end(design, curve=curve, progress=progress), ()
    except GeometryError as error:
        return None, (f"the slit's ends were not computed: {error}",)


def end_rows(end: SlitEnd | None) -> tuple[ReviewRow, ...]:
    """Row of the review on the ends of a slit."""
    if end is None:
        return ()
    return (
        review_row(
            "field at the slit's ends over that in its middle",
            end.factor,
            ALLOWED_FACTOR,
            "",
            "the ends must not fire long before the middle; common practice, no source",
            "give the ends a larger radius or the slot more length beyond them",
        ),
    )


def end_warnings(design: Design) -> tuple[str, ...]:
    """What the reader must know of a slit whose ends are not drawn."""
    if design.emitter.line_length is None or getattr(design.emitter, "end_radius", 0.0) is not None:
        return ()
    return (
        "the ends of this slit are not drawn: they see more field than its middle and may emit "
        "long before it, but only the middle is solved; give emitter.end_radius to have the ends "
        "solved too",
    )
