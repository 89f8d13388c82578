"""Coarse triangles bent along curved boundaries, and whether they stay free of folds."""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.solver.coarse_types import CoarseMesh, IntArray

__all__ = ["bend", "first_fold", "lattice", "twice_areas"]

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


def bend(place: FloatArray, coarse: CoarseMesh, barycentric: FloatArray) -> IntArray:
    """Bend fill triangles along curved edges: a smooth blend that vanishes on the other sides.

    With barycentric coordinates a and b of the edge's ends, the departure of the curve from its
    chord at s = (1 + b - a)/2 enters with weight a b / (s (1 - s)), which is one on the edge.

    Parameters
    ----------
    place : (m, k, 2) array
        Points of every coarse triangle on its straight sides, scaled; those of bent triangles are
        moved.
    coarse : CoarseMesh
    barycentric : (k, 3) array
        Where the points lie in each triangle, [-].

    Returns
    -------
    (n,) array of int
        Numbers of the bent triangles.
    """
    owner = _owners(coarse)
    bent: set[int] = set()
    for curve in coarse.curved_edges:
        low, high = sorted((curve.first, curve.last))
        for number, side in owner.get(low * len(coarse.points) + high, ()):
            bent.add(number)
            corner_a, corner_b = side, (side + 1) % 3
            a, b = barycentric[:, corner_a], barycentric[:, corner_b]
            s = (1.0 + b - a) / 2.0
            inside = a * b > 1e-12
            ends = (curve.u_first, curve.u_last)
            if coarse.triangles[number, corner_a] != curve.first:
                ends = ends[::-1]
            s = s[inside]
            start = coarse.points[coarse.triangles[number, corner_a]]
            stop = coarse.points[coarse.triangles[number, corner_b]]
            chord = start + s[:, None] * (stop - start)
            departure = curve.span.point(ends[0] + (ends[1] - ends[0]) * s) - chord
            weight = (a * b)[inside] / (s * (1.0 - s))
            place[number, inside] += weight[:, None] * departure
    return np.array(sorted(bent), dtype=np.int64)


def _owners(coarse: CoarseMesh) -> dict[int, list[tuple[int, int]]]:
    """(triangle, side) of the fill on both sides of every curved edge, by the edge's key."""
    if not coarse.curved_edges:
        return {}
    ends = np.sort(np.array([(c.first, c.last) for c in coarse.curved_edges]), axis=1)
    wanted = ends[:, 0] * len(coarse.points) + ends[:, 1]
    fill = coarse.triangles[: coarse.fill_count]
    found: dict[int, list[tuple[int, int]]] = {}
    for side in range(3):
        pair = np.sort(fill[:, [side, (side + 1) % 3]], axis=1)
        keys = pair[:, 0] * len(coarse.points) + pair[:, 1]
        for number in np.flatnonzero(np.isin(keys, wanted)):
            found.setdefault(int(keys[number]), []).append((int(number), side))
    return found


def first_fold(coarse: CoarseMesh) -> tuple[float, float] | None:
    """Where a bent triangle of the fill folds over on itself, (x, z) scaled, or None.

    Parameters
    ----------
    coarse : CoarseMesh
    """
    points, small = lattice(_PARTS)
    inner = np.array(points) / _PARTS
    barycentric = np.column_stack([1.0 - inner.sum(axis=1), inner])
    place: FloatArray = np.einsum(
        "kl,mld->mkd", barycentric, coarse.points[coarse.triangles[: coarse.fill_count]]
    )
    bent = bend(place, coarse, barycentric)
    corners = place[bent][:, small].reshape(-1, 3, 2)
    areas = twice_areas(corners.reshape(-1, 2), np.arange(3 * len(corners)).reshape(-1, 3))
    folded = np.flatnonzero(areas <= 0.0)
    if not len(folded):
        return None
    x, z = corners[folded[0]].mean(axis=0)
    return float(x), float(z)
