"""Coarse triangles bent along curved boundaries, and whether they stay free of folds."""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.solver.mesh.coarse_types import CoarseMesh

__all__ = ["blending_displacement", "inverted_element", "lattice", "twice_areas"]

_PARTS = 16  # as fine as the finest mesh ever divides


def lattice(parts: int) -> tuple[list[tuple[int, int]], IntArray]:
    """Points of a triangle whose sides are divided into equal parts, and the triangles between.

    Parameters
    ----------
    parts : int
        Parts per side, >= 1, [-].

    Returns
    -------
    list of (i, j)
        Parts towards the second and the third corner.
    (parts^2, 3) array of int
        Counterclockwise triangles, as places in that list.
    """
    n = parts
    points = [(i, j) for j in range(n + 1) for i in range(n + 1 - j)]
    number = {ij: k for k, ij in enumerate(points)}
    upright = [(number[i, j], number[i + 1, j], number[i, j + 1]) for i, j in points if i + j < n]
    turned = [
        (number[i + 1, j], number[i + 1, j + 1], number[i, j + 1])
        for i, j in points
        if i + j < n - 1
    ]
    return points, np.array(upright + turned)


def twice_areas(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Twice the signed area of triangles, (m,) array, positive when counterclockwise.

    Parameters
    ----------
    points : (n, 2) array
    triangles : (m, 3) array of int
    """
    corners = points[triangles]
    ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.asarray(ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])


def blending_displacement(
    coarse: CoarseMesh, barycentric: FloatArray
) -> tuple[IntArray, FloatArray]:
    """How far points of triangles move where a side of theirs follows a curve.

    A smooth blend that vanishes on the other sides: with barycentric coordinates a and b of the
    edge's ends, the deviation of the curve from its chord at s = (1 + b - a)/2 enters with weight
    a b / (s (1 - s)), which is one on the edge.

    Parameters
    ----------
    barycentric : (k, 3) array
        Where the points lie in each triangle, [-].

    Returns
    -------
    (n,) array of int
        Triangles, once for every curved side.
    (n, k, 2) array
        Movement from the place on straight sides, scaled.
    """
    triangle, side, curve = _curved_sides(coarse)
    corner_a, corner_b = side, (side + 1) % 3
    ends_a, ends_b = coarse.triangles[triangle, corner_a], coarse.triangles[triangle, corner_b]
    a, b = barycentric[:, corner_a].T, barycentric[:, corner_b].T
    s = 0.5 * (1.0 + b - a)
    weight = np.divide(a * b, s * (1.0 - s), out=np.zeros_like(s), where=a * b > 1e-12)
    start, stop = coarse.points[ends_a][:, None], coarse.points[ends_b][:, None]
    chord = start + s[..., None] * (stop - start)

    curves = coarse.curved_edges
    first = np.array([c.first for c in curves], dtype=np.int64)[curve]
    u = np.array([(c.u_first, c.u_last) for c in curves]).reshape(-1, 2)[curve]
    u[ends_a != first] = u[ends_a != first][:, ::-1]
    positions = u[:, :1] + (u[:, 1:] - u[:, :1]) * s
    place = np.empty_like(chord)
    span_of = np.array([id(c.span) for c in curves], dtype=np.int64)[curve]
    for one in np.unique(span_of):
        mine = np.flatnonzero(span_of == one)
        span = curves[curve[mine[0]]].span
        place[mine] = span.point(positions[mine].ravel()).reshape(len(mine), -1, 2)
    return triangle, weight[..., None] * (place - chord)


def _curved_sides(coarse: CoarseMesh) -> tuple[IntArray, IntArray, IntArray]:
    """Triangle, side and curved edge of every side of the region that follows a curve."""
    count = len(coarse.points)
    ends = np.array([(c.first, c.last) for c in coarse.curved_edges], dtype=np.int64)
    ends = np.sort(ends.reshape(-1, 2), axis=1)
    keys = ends[:, 0] * count + ends[:, 1]
    order = np.argsort(keys)
    region = coarse.triangles[: coarse.region_count]
    sides = np.sort(np.stack([region, np.roll(region, -1, axis=1)], axis=2), axis=2)
    sought = sides[..., 0] * count + sides[..., 1]
    triangle, side = np.nonzero(np.isin(sought, keys))
    found = np.searchsorted(keys, sought[triangle, side], sorter=order)
    return triangle, side, order[found]


def inverted_element(coarse: CoarseMesh) -> tuple[float, float] | None:
    """Where a curved triangle is inverted somewhere, (x, z) scaled, or None."""
    points, small = lattice(_PARTS)
    inner = np.array(points) / _PARTS
    barycentric = np.column_stack([1.0 - inner.sum(axis=1), inner])
    triangle, moved = blending_displacement(coarse, barycentric)
    bent, row = np.unique(triangle, return_inverse=True)
    place = barycentric @ coarse.points[coarse.triangles[bent]]
    np.add.at(place, row, moved)
    corners = place[:, small].reshape(-1, 3, 2)
    areas = twice_areas(corners.reshape(-1, 2), np.arange(3 * len(corners)).reshape(-1, 3))
    folded = np.flatnonzero(areas <= 0.0)
    if not len(folded):
        return None
    x, z = corners[folded[0]].mean(axis=0)
    return float(x), float(z)
