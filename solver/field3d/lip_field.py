"""The field along the crest of a blade that was solved in three dimensions.

A tube about the edge holds only the blade's own metal.  Across it the potential is a sum of smooth
functions of the angle, along it a spline; the region inside is the plane section of the edge, or
that turned about the axis of the bend, whose response to each function is solved once.  So the
field of the edge comes from potentials some way off, which a coarse mesh has right, and not from
its surface, which it has not.

On the mesh itself the field of points along the crest scatters by 10 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, GeometryError
from conegap.geometries.solids.sector import Lip, Room3D, Sector
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.extrapolation import combined
from conegap.solver.field3d.near_section import near_lip_section, rim_angle
from conegap.solver.field3d.sector_solution import SectorSolution
from conegap.solver.field3d.tetrahedra import TetraMesh
from conegap.solver.field3d.tip_field import (
    edge_response,
    polar_functions,
)

__all__ = ["LipField", "lip_field"]

# Polar functions across the tube; one fewer than about a tip, because a tube has fewer points
# around it.
_FUNCTIONS = 5
# Along the straight part and round the bend, where the field is given.
_PLACES = 41
# Share of the greatest field from which the change by extrapolation counts: where the field is
# weak nothing fires.
_STRONG = 0.8


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
    of_place = [response for response in responses for _ in range(_PLACES)]
    values = []
    for level in solution.levels:
        above = weights @ level.potentials - weights[0]
        means = _tube_means(level.mesh, lip, start, above, along)
        values.append([r.field(row).value for r, row in zip(of_place, means, strict=True)])
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
    end_angle = rim_angle(near_lip_section(lip.radius, lip.lean, lip.reach))
    polar = polar_functions(np.arctan2(y, depth), end_angle, _FUNCTIONS)
    knots = _knots(lip)

    def splines_at(places: FloatArray) -> FloatArray:
        inside = np.clip(places, knots[0], knots[-1] * (1.0 - 1e-12))
        return np.asarray(BSpline.design_matrix(inside, knots, 3).toarray())

    splines = splines_at(place)
    matrix = np.einsum("kn,nj->njk", polar, splines).reshape(len(nodes), -1)
    found, *_ = np.linalg.lstsq(matrix, above[nodes], rcond=1e-9)
    return np.asarray(splines_at(along) @ found.reshape(splines.shape[1], _FUNCTIONS))


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
