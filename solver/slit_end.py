"""The field along a slit's lips and round its ends, and whether the ends fire first.

Three scales meet at the end of a slit: lips of micrometres, a gap and an end radius of
millimetres, a length of many.  Near its edge the field of a slender blade is that of the plane
section times one number, the strength of the edge there, and that number hardly depends on how
round the edge is.  So the blade is solved in three dimensions with two blunter edges, the field
along its crest is divided by that far from the end, and the ratio is carried on to the true edge.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.interpolate import BSpline

from conegap.geometries.accelerators import SlottedPlate
from conegap.geometries.curves import FloatArray
from conegap.geometries.design import Design
from conegap.geometries.errors import ComputationError, DesignError, GeometryError
from conegap.geometries.sector import Lip, Room3D, Sector
from conegap.geometries.slit import Slit
from conegap.geometries.slit_end import slit_end_sector
from conegap.solver.extrapolation import combined
from conegap.solver.onset import electrode_voltages
from conegap.solver.review import ReviewRow, criterion
from conegap.solver.scan_progress import Progress
from conegap.solver.sector_field import SectorSolution, solve_sector
from conegap.solver.sector_mesh import TetraMesh
from conegap.solver.tip_field import edge_response, near_lip_section, polar_functions

__all__ = [
    "EndPoint",
    "LipField",
    "SlitEnd",
    "end_rows",
    "end_warnings",
    "lip_field",
    "slit_end",
]

_BLUNT = 0.06
_LESS_BLUNT = 1.6
_FUNCTIONS = 5
_PLACES = 41
_ALLOWED = 1.05
_STRONG = 0.8
_RADII = (0.5, 2.0, 4.0)
_OVERHANGS = (0.0, 1.0, 2.0)


@dataclass(frozen=True)
class LipField:
    """Field along the crest of one modelled edge.

    Parameters
    ----------
    along : (n,) array
        Distance along the crest from where the end's rounding begins, negative on the straight
        part, [m].
    share : (n,) array
        Field over that in the middle of the slit, [-].
    middle : float
        Field in the middle at the design's voltages, of the modelled edge, [V/m].
    change : float
        Largest change of the share, where it is large, by the last extrapolation, [-].
    radius : float
        Of the modelled edge, [m].
    """

    along: FloatArray
    share: FloatArray
    middle: float
    change: float
    radius: float


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
        Of the factor, from the meshes and from carrying it on to the true edge, absolute, [-].
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
        if one.factor > _ALLOWED >= two.factor:
            share = (one.factor - _ALLOWED) / (one.factor - two.factor)
            return one.value + share * (two.value - one.value)
    if points and points[0].factor <= _ALLOWED:
        return points[0].value
    return None


def lip_field(design: Design, sector: Sector, solution: SectorSolution) -> LipField:
    """Field along the crest of a sector's blade.

    Parameters
    ----------
    design : Design
        Gives the voltages.
    sector : Sector
        With a `Lip`.
    solution : SectorSolution
        Of the sector.

    Raises
    ------
    GeometryError
        The sector has no lip.
    ComputationError
        The mesh has no points along the crest.
    """
    lip = sector.lip
    if lip is None or not isinstance(sector.region, Room3D):
        raise GeometryError("this sector has no blade with an end")
    weights = solution.weights(electrode_voltages(design, solution.electrodes))
    start = sector.region.block.low[0]
    responses = [
        edge_response(
            near_lip_section(lip.radius, lip.lean, lip.reach, bend), bend=bend, functions=_FUNCTIONS
        )
        for bend in (None, lip.end_radius)
    ]
    along = np.concatenate(
        [
            np.linspace(-lip.straight, 0.0, _PLACES),
            np.linspace(0.0, lip.sweep * lip.end_radius, _PLACES),
        ]
    )
    values = []
    for level in solution.levels:
        above = weights @ level.potentials - weights[0]
        means = _tube_means(level.mesh, lip, start, above, along)
        bent = np.repeat([False, True], _PLACES)
        values.append(
            [responses[int(b)].field(row).value for b, row in zip(bent, means, strict=True)]
        )
    fields = np.array(values)
    sizes = solution.level_sizes
    best = np.array([combined(sizes, tuple(row), True) for row in fields.T])
    far = along < -0.8 * lip.straight
    middle = float(np.mean(best[far]))
    share, rough = best / middle, fields[-1] / np.mean(fields[-1][far])
    strong = share > _STRONG * share.max()
    change = float(np.max(np.abs(share - rough)[strong]))
    return LipField(along, share, middle, change, lip.radius)


def _tube_means(
    mesh: TetraMesh, lip: Lip, start: float, above: FloatArray, along: FloatArray
) -> FloatArray:
    """Potential on the tube about the edge as polar functions, at places along the edge.

    Parameters
    ----------
    mesh : TetraMesh
    lip : Lip
    start : float
        Where the straight part begins, [m].
    above : (n,) array
        Potential above the blade's own, [V].
    along : (k,) array
        Distance from where the rounding begins, [m].

    Returns
    -------
    (k, functions) array, [V]
    """
    turn, end = start + lip.straight, lip.end_radius
    straight = mesh.triangles[mesh.names == "inside:straight"]
    bent = mesh.triangles[mesh.names == "inside:bent"]
    nodes = np.unique(np.concatenate([straight, bent]))
    x, y, z = (mesh.points[nodes] * mesh.scale).T
    out = x > turn
    depth = np.where(out, np.hypot(x - turn, z + end) - end, z)
    place = np.where(out, end * np.arctan2(x - turn, z + end), x - turn)
    # The faces that close the tube at its ends are named like it; only its surface is wanted.
    on_tube = np.abs(np.hypot(y, depth) - lip.reach) < 1e-6 * lip.reach
    nodes, y, depth, place = nodes[on_tube], y[on_tube], depth[on_tube], place[on_tube]
    if len(nodes) < 4 * _FUNCTIONS:
        raise ComputationError("the mesh of the slit's end has too few points about the lips")
    rim = near_lip_section(lip.radius, lip.lean, lip.reach).loops[0][1].curve.end
    polar = polar_functions(
        np.arctan2(y, depth), math.atan2(float(rim[0]), float(rim[1])), _FUNCTIONS
    )
    knots = _knots(lip)
    splines = BSpline.design_matrix(
        np.clip(place, knots[0], knots[-1] * (1.0 - 1e-12)), knots, 3
    ).toarray()
    matrix = np.einsum("kn,nj->njk", polar, splines).reshape(len(nodes), -1)
    found, *_ = np.linalg.lstsq(matrix, above[nodes], rcond=1e-9)
    wanted = BSpline.design_matrix(
        np.clip(along, knots[0], knots[-1] * (1.0 - 1e-12)), knots, 3
    ).toarray()
    return np.asarray(wanted @ found.reshape(splines.shape[1], _FUNCTIONS))


def _knots(lip: Lip) -> FloatArray:
    """Knots of a cubic spline along the edge, finer towards the end, with a kink where it turns."""
    step = lip.reach
    places = [0.0]
    while places[-1] < lip.straight:
        places.append(places[-1] + step)
        step *= 1.4
    straight = -np.array(places[::-1])
    straight = straight * lip.straight / places[-1]
    length = lip.sweep * lip.end_radius
    parts = max(4, math.ceil(length / (1.5 * lip.reach)))
    bent = np.linspace(0.0, length, parts + 1)
    inner = np.concatenate([straight[1:-1], np.zeros(3), bent[1:-1]])
    return np.concatenate([np.full(4, straight[0]), inner, np.full(4, bent[-1])])


def _true_edge(slit: Slit) -> float:
    """Half the width of the two lips and the channel together, [m]."""
    return slit.channel_height / 2.0 + slit.lip_radius + slit.land / 2.0


def _solved(design: Design, slit: Slit, accelerator: Any, radius: float) -> tuple[LipField, Any]:
    sector = slit_end_sector(slit, accelerator, design.gap, design.room(), radius)
    solution = solve_sector(sector, meshes=2)
    return lip_field(design, sector, solution), solution


def slit_end(
    design: Design, *, curve: bool = True, progress: Progress | None = None
) -> SlitEnd | None:
    """Solve the end of a slit, or None where the design has no drawn end.

    Parameters
    ----------
    design : Design
    curve : bool
        Whether to compute other end radii and overhangs as well.
    progress : callable or None

    Raises
    ------
    DesignError
        The end cannot be built.
    MeshError, ConvergenceError
        The end could not be solved.
    """
    slit = design.emitter
    if not isinstance(slit, Slit) or slit.end_radius is None:
        return None
    end, true = slit.end_radius, _true_edge(slit)
    blunt = max(_BLUNT * min(design.gap, end), 1.05 * true)
    finer = max(blunt / _LESS_BLUNT, 1.001 * true)
    steps = 2 + (len(_RADII) + len(_OVERHANGS) if curve else 0)

    def step(k: int) -> None:
        if progress is not None:
            progress("the slit's end", k, steps)

    step(0)
    one, _ = _solved(design, slit, design.accelerator, blunt)
    step(1)
    two, solution = _solved(design, slit, design.accelerator, finer)
    share = np.interp(two.along, one.along, one.share)
    carried = two.share + (two.share - share) * (finer - true) / (blunt - finer)
    k = int(np.argmax(carried))
    factor = float(carried[k])
    shift = factor - float(one.share.max())
    radii, overhangs = [EndPoint(end, factor)], []
    done = 2
    step(done)
    if curve:
        for ratio in _RADII:
            other = slit.model_copy(update={"end_radius": min(ratio * end, slit.length / 2.0)})
            radii += _other_end(design, other, design.accelerator, ratio * blunt, shift)
            done += 1
            step(done)
        for share_of_gap in _OVERHANGS if isinstance(design.accelerator, SlottedPlate) else ():
            length = slit.length + 2.0 * share_of_gap * design.gap
            plate = design.accelerator.model_copy(update={"slot_length": length})
            for point in _other_end(design, slit, plate, blunt, shift):
                overhangs.append(EndPoint(share_of_gap * design.gap, point.factor))
            done += 1
            step(done)
    step(steps)
    return SlitEnd(
        along=two.along,
        share=carried,
        factor=factor,
        error=max(one.change, two.change) + abs(factor - float(two.share.max())),
        place=float(two.along[k]),
        end_radius=end,
        models=(one, two),
        over_radius=tuple(sorted(radii, key=lambda point: point.value)),
        over_overhang=tuple(overhangs),
        seconds=solution.seconds,
        cells=solution.cells,
    )


def _other_end(
    design: Design, slit: Slit, accelerator: Any, radius: float, shift: float
) -> list[EndPoint]:
    """Factor of a changed end with one blunt edge; empty where it cannot be built."""
    assert slit.end_radius is not None
    try:
        field, _ = _solved(design, slit, accelerator, max(radius, 1.05 * _true_edge(slit)))
    except (DesignError, ComputationError):
        return []
    return [EndPoint(slit.end_radius, float(field.share.max()) + shift)]


def end_rows(end: SlitEnd | None) -> tuple[ReviewRow, ...]:
    """Row of the review on the ends of a slit.

    Parameters
    ----------
    end : SlitEnd or None
    """
    if end is None:
        return ()
    return (
        criterion(
            "field at the slit's ends over that in its middle",
            end.factor,
            _ALLOWED,
            "",
            "the ends must not fire long before the middle; common practice, no source",
            "give the ends a larger radius or the slot more length beyond them",
        ),
    )


def end_warnings(end: SlitEnd | None, voltage: float) -> tuple[str, ...]:
    """What the reader must know of the ends.

    Parameters
    ----------
    end : SlitEnd or None
    voltage : float
        Onset in the middle of the slit, [V].
    """
    if end is None or end.factor <= 1.0:
        return ()
    return (
        f"the ends of the slit fire first, at about {voltage / end.factor:.4g} V: the field there "
        f"is {end.factor:.3f} times that in the middle, to which the onset given belongs",
    )
