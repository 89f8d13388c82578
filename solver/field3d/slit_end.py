"""The field along a slit's lips and round its ends, and whether the ends fire first.

Three scales meet at the end of a slit: lips of micrometres, a gap and an end radius of
millimetres, a length of many.  So the blade is solved in three dimensions with two blunter edges
(`conegap.solver.field3d.end_model`), the field along its crest is divided by that far from the
end, and the ratio is carried on to the true edge.

Ends that are not drawn are still there.  They are taken to be as round as the slot is half wide,
and at least as the gap, and solved with half and twice that radius as well, each on one rough
model; what the radius leaves open is part of their band.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, GeometryError
from conegap.solver.common.parallel_map import parallel_map
from conegap.solver.common.progress import Progress
from conegap.solver.field3d.end_model import (
    ROUGH_ERROR,
    EndModel,
    end_model,
    end_radius,
    solve_end,
)
from conegap.solver.field3d.lip_field import LipField
from conegap.solver.field3d.sector_solution import SectorSolution

__all__ = [
    "ALLOWED_FACTOR",
    "EndPoint",
    "SlitEnd",
    "slit_end",
    "slit_end_or_why",
]

# Radius of the blunter edge over that of the second one: wide enough apart for a straight line
# through both.
_LESS_BLUNT = 1.6
ALLOWED_FACTOR = 1.05
"""Field at the ends over that in the middle that the review lets pass, [-]."""
# End radii of the curve, over the drawn one.
_RADII = (0.5, 0.75, 1.25, 2.0)
# Assumed end radii that bound the one not drawn, over it: a factor two either way, the step of a
# designer's preferred sizes (common practice, no source).
_ASSUMED = (0.5, 2.0)
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
        With the sharper modelled edge, to be exported; None for an assumed end.
    assumed : bool
        Whether the end radius is not drawn: `over_radius` then holds half and twice of it too.
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
    assumed: bool = False

    @property
    def factors(self) -> tuple[float, float]:
        """Least and greatest factor of the end radii that an assumed one stands for, [-]."""
        found = [p.factor for p in self.over_radius] if self.assumed else []
        return min([self.factor, *found]), max([self.factor, *found])

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
            "end_radius_assumed": self.assumed,
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


def slit_end(
    design: Design, *, curve: bool = True, progress: Progress | None = None
) -> SlitEnd | None:
    """Solve the end of a slit, or None where the design has no ends.

    Parameters
    ----------
    curve : bool
        Whether to compute other end radii and overhangs of a drawn end as well.
    progress : callable or None

    Raises
    ------
    DesignError
        The end cannot be built.
    ComputationError
        The end could not be solved.
    """
    end = end_radius(design)
    if end is None:
        if design.emitter.line_length is None:
            return None
        raise GeometryError(
            "none are drawn, and the slit is too short, or too near, for ends with a middle "
            "between them; give emitter.end_radius"
        )
    rough = end_model(design, end)
    if rough is None:
        raise GeometryError("the roundings of both ends meet")
    # Refuses what cannot be built before anything is solved.
    rough.slit.end_sector(rough.accelerator, design.gap, design.room(), rough.radius)
    if design.emitter.drawn_end is None:
        return _assumed_end(design, end, rough, progress)
    true, blunt = design.emitter.edge_half_width, rough.radius
    finer = max(blunt / _LESS_BLUNT, 1.001 * true)
    others = _other_ends(design, end, rough) if curve else []
    models = [
        replace(rough, rough=False),
        replace(rough, radius=finer, rough=False),
        *(model for _, _, model in others),
    ]
    found = parallel_map(partial(solve_end, design), models, progress=progress, what="slit's end")
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
        The end as drawn could not be solved; one that is only assumed is left out.
    """
    try:
        return slit_end(design, curve=curve, progress=progress), ()
    except (GeometryError, ComputationError) as error:
        if isinstance(error, ComputationError) and design.emitter.drawn_end is not None:
            raise
        return None, (f"the slit's ends were not computed: {error}",)


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


def _assumed_end(design: Design, end: float, drawn: EndModel, progress: Progress | None) -> SlitEnd:
    """The end with a radius that the design does not state, on rough models."""
    others = [(end * share, end_model(design, end * share)) for share in _ASSUMED]
    models = {end: drawn} | {radius: model for radius, model in others if model is not None}
    found = parallel_map(
        partial(solve_end, design), list(models.values()), progress=progress, what="slit's end"
    )
    lip, solution = _or_raise(found[0])
    points = tuple(
        EndPoint(radius, float(result[0].share.max()))
        for radius, result in sorted(zip(models, found, strict=True), key=lambda one: one[0])
        if not isinstance(result, str)
    )
    k = int(np.argmax(lip.share))
    factor = float(lip.share[k])
    return SlitEnd(
        along=lip.along,
        share=lip.share,
        factor=factor,
        error=lip.change + ROUGH_ERROR * factor + 0.5 * _jump(lip.along, lip.share),
        place=float(lip.along[k]),
        end_radius=end,
        models=(lip,),
        over_radius=points,
        over_overhang=(),
        seconds=solution.seconds,
        cells=solution.cells,
        assumed=True,
    )


def _other_ends(design: Design, end: float, drawn: EndModel) -> list[tuple[str, float, EndModel]]:
    """The same slit with other end radii and other overhangs of the slot, [m]."""
    found = []
    for radius in (ratio * end for ratio in _RADII):
        model = end_model(design, radius)
        if model is not None:
            found.append(("radius", radius, model))
    for overhang in (share * design.gap for share in _OVERHANGS):
        length = (design.emitter.line_length or 0.0) + 2.0 * overhang
        longer = drawn.accelerator.with_slot_length(length)
        if longer is not None:
            found.append(("overhang", overhang, replace(drawn, accelerator=longer)))
    return found
