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

from conegap.geometries.curves import FloatArray
from conegap.geometries.section import Symmetry
from conegap.solver.coarse_mesh import IntArray
from conegap.solver.subdivision import FineMesh

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
    mesh : FineMesh
    symmetry : "planar" or "axisymmetric"
    """
    corners = mesh.points[mesh.triangles]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac = b - a, c - a
    twice_area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    ab2, ac2 = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    centre_r = a[:, 0] + (ac[:, 1] * ab2 - ab[:, 1] * ac2) / (2.0 * twice_area)
    first, last, area = [], [], []
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        to_i, to_j = corners[:, i] - corners[:, k], corners[:, j] - corners[:, k]
        edge = corners[:, j] - corners[:, i]
        cotangent = (to_i * to_j).sum(axis=1) / twice_area
        piece = 0.5 * cotangent * np.hypot(edge[:, 0], edge[:, 1])
        if symmetry == "axisymmetric":
            middle_r = 0.5 * (corners[:, i, 0] + corners[:, j, 0])
            piece = piece * 0.5 * (middle_r + centre_r)
        first.append(mesh.triangles[:, i])
        last.append(mesh.triangles[:, j])
        area.append(piece)
    pairs = np.sort(np.stack([np.concatenate(first), np.concatenate(last)], axis=1), axis=1)
    key, inverse = np.unique(pairs[:, 0] * len(mesh.points) + pairs[:, 1], return_inverse=True)
    total = np.bincount(inverse, np.concatenate(area), len(key)).astype(np.float64)
    one, two = key // len(mesh.points), key % len(mesh.points)
    separation = mesh.points[two] - mesh.points[one]
    return ControlVolumes(one, two, total, np.hypot(separation[:, 0], separation[:, 1]))


def surface_measure(points: FloatArray, nodes: IntArray, symmetry: Symmetry) -> FloatArray:
    """Area of surface that belongs to each point of a chain (scaled; without 2 pi).

    Parameters
    ----------
    points : (n, 2) array
    nodes : (m,) array of int
        Consecutive points on a boundary.
    symmetry : "planar" or "axisymmetric"

    Returns
    -------
    (m,) array
        Half of each adjoining piece, times mean r in an axisymmetric section.
    """
    place = points[nodes]
    half = 0.5 * np.hypot(*np.diff(place, axis=0).T)
    measure = np.zeros(len(nodes))
    if symmetry == "planar":
        measure[:-1] += half
        measure[1:] += half
    else:
        r = place[:, 0]
        measure[:-1] += half * (0.75 * r[:-1] + 0.25 * r[1:])
        measure[1:] += half * (0.25 * r[:-1] + 0.75 * r[1:])
    return measure
