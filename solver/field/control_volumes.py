"""Voronoi control volumes of a triangulated point set.

Every point owns the cell of places nearer to it than to any other point.  The face between two
neighbours is perpendicular to the line joining them, so the difference of their potentials over
their distance is a consistent flux.  A face is made of pieces from the midpoint of a triangle's
edge to the triangle's circumcentre; in an axisymmetric section each piece carries the exact
integral of r along it (not r at the edge, which is wrong by a third in the cells on the axis).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import Symmetry
from conegap.solver.mesh.subdivision import FineMesh

__all__ = ["ControlVolumes", "control_volumes", "surface_measure"]


@dataclass(frozen=True)
class ControlVolumes:
    """Faces of the control volumes.

    Parameters
    ----------
    first, last : (n,) arrays of int
        Points on both sides of each face.
    area : (n,) array
        Face area: length, times mean r in an axisymmetric section (scaled; without 2 pi).
        A face of a boundary cell whose circumcentre lies outside the region counts negatively
        there, which keeps the flux consistent.
    distance : (n,) array
        Distance between the two points, scaled length.
    """

    first: IntArray
    last: IntArray
    area: FloatArray
    distance: FloatArray


def control_volumes(mesh: FineMesh, symmetry: Symmetry) -> ControlVolumes:
    """Faces between the control volumes of neighbouring points.

    Parameters
    ----------
    symmetry : "planar" or "axisymmetric"
    """
    corner = np.ascontiguousarray(mesh.triangles.T)
    x, z = (mesh.points[:, axis][corner] for axis in (0, 1))
    # The side opposite to every corner runs from the next corner to the one after.
    start, stop = corner[[1, 2, 0]], corner[[2, 0, 1]]
    side_x, side_z = x[[2, 0, 1]] - x[[1, 2, 0]], z[[2, 0, 1]] - z[[1, 2, 0]]
    square = side_x**2 + side_z**2
    twice_area = side_z[2] * side_x[1] - side_x[2] * side_z[1]
    between = side_x[[1, 2, 0]] * side_x[[2, 0, 1]] + side_z[[1, 2, 0]] * side_z[[2, 0, 1]]
    area = -0.5 * between / twice_area * np.sqrt(square)
    if symmetry == "axisymmetric":
        centre_r = x[0] - (side_z[1] * square[2] + side_z[2] * square[1]) / (2.0 * twice_area)
        middle_r = 0.5 * (x[[1, 2, 0]] + x[[2, 0, 1]])
        area *= 0.5 * (middle_r + centre_r)
    # A sparse matrix adds up the pieces of every pair of points, in order.
    shape = (len(mesh.points),) * 2
    ends = (np.minimum(start, stop).ravel(), np.maximum(start, stop).ravel())
    faces = coo_matrix((area.ravel(), ends), shape).tocsr()
    faces.sort_indices()
    one = np.repeat(np.arange(len(mesh.points)), np.diff(faces.indptr))
    two = faces.indices.astype(np.int64)
    separation = mesh.points[two] - mesh.points[one]
    return ControlVolumes(one, two, faces.data, np.hypot(separation[:, 0], separation[:, 1]))


def surface_measure(points: FloatArray, nodes: IntArray, symmetry: Symmetry) -> FloatArray:
    """Area of surface that belongs to each point of chains (scaled; without 2 pi).

    Parameters
    ----------
    points : (n, 2) array
    nodes : (..., m) array of int
        Consecutive points on a boundary, one chain or several.
    symmetry : "planar" or "axisymmetric"

    Returns
    -------
    (..., m) array
        Half of each adjoining piece, times mean r in an axisymmetric section.
    """
    along = np.diff(points[nodes], axis=-2)
    half = 0.5 * np.hypot(along[..., 0], along[..., 1])
    measure = np.zeros(nodes.shape)
    if symmetry == "planar":
        measure[..., :-1] += half
        measure[..., 1:] += half
    else:
        r = points[nodes, 0]
        measure[..., :-1] += half * (0.75 * r[..., :-1] + 0.25 * r[..., 1:])
        measure[..., 1:] += half * (0.25 * r[..., :-1] + 0.75 * r[..., 1:])
    return measure
