"""Nested fine meshes by uniform subdivision of a coarse mesh under its smooth maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conegap.geometries.curves import FloatArray
from conegap.solver.coarse_mesh import CoarseMesh, IntArray
from conegap.solver.span import BoundaryIndex

__all__ = ["FineMesh", "SurfaceChain", "subdivide"]


@dataclass(frozen=True)
class SurfaceChain:
    """Consecutive points on one boundary.

    Parameters
    ----------
    boundary : tuple of int
        (loop, index) in the section.
    nodes : (n,) array of int
        Point numbers in the direction of the boundary.
    parameter : (n,) array
        Curve parameter t of each.
    """

    boundary: BoundaryIndex
    nodes: IntArray
    parameter: FloatArray


@dataclass(frozen=True)
class FineMesh:
    """Points and counterclockwise triangles of one mesh of the sequence (scaled lengths)."""

    subdivisions: int
    points: FloatArray
    triangles: IntArray
    chains: tuple[SurfaceChain, ...]


def subdivide(coarse: CoarseMesh, subdivisions: int) -> FineMesh:
    """Divide every edge of the coarse mesh into equal parts.

    Parameters
    ----------
    coarse : CoarseMesh
    subdivisions : int
        Parts per coarse edge, >= 1, [-].
    """
    n = subdivisions
    triangles = coarse.triangles
    count, coarse_count = len(triangles), len(coarse.points)
    sides = np.sort(
        np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1
    )
    key = sides[:, 0] * coarse_count + sides[:, 1]
    edges, inverse = np.unique(key, return_inverse=True)
    inverse = inverse.reshape(3, count)
    edge_low = edges // coarse_count
    interior = (n - 1) * (n - 2) // 2

    lattice = [(i, j) for j in range(n + 1) for i in range(n + 1 - j)]
    number = {ij: k for k, ij in enumerate(lattice)}
    nodes = np.empty((count, len(lattice)), dtype=np.int64)
    inner = 0
    for (i, j), k in number.items():
        h = n - i - j
        if h == n:
            nodes[:, k] = triangles[:, 0]
        elif i == n:
            nodes[:, k] = triangles[:, 1]
        elif j == n:
            nodes[:, k] = triangles[:, 2]
        elif j == 0 or h == 0 or i == 0:
            side, from_corner, step = (0, 0, i) if j == 0 else (1, 1, j) if h == 0 else (2, 2, h)
            edge = inverse[side]
            forward = triangles[:, from_corner] == edge_low[edge]
            nodes[:, k] = coarse_count + edge * (n - 1) + np.where(forward, step - 1, n - step - 1)
        else:
            nodes[:, k] = coarse_count + len(edges) * (n - 1) + np.arange(count) * interior + inner
            inner += 1
    barycentric = np.array([((n - i - j) / n, i / n, j / n) for i, j in lattice])
    place = _mapped(coarse, barycentric, inverse, edges, coarse_count)

    total = coarse_count + len(edges) * (n - 1) + count * interior
    points = np.zeros((total, 2))
    points[nodes.ravel()] = place.reshape(-1, 2)
    # Corner points keep their coarse coordinates exactly.
    points[:coarse_count] = coarse.points
    small = [
        (number[i, j], number[i + 1, j], number[i, j + 1]) for i, j in lattice if i + j < n
    ] + [
        (number[i + 1, j], number[i + 1, j + 1], number[i, j + 1])
        for i, j in lattice
        if i + j < n - 1
    ]
    fine = nodes[:, np.array(small)].reshape(-1, 3)
    return FineMesh(n, points, fine, _chains(coarse, edges, coarse_count, n))


def _mapped(
    coarse: CoarseMesh,
    barycentric: FloatArray,
    inverse: IntArray,
    edges: IntArray,
    coarse_count: int,
) -> FloatArray:
    """Lattice points of every coarse triangle under its map, (m, k, 2) array."""
    place: FloatArray = np.einsum("kl,mld->mkd", barycentric, coarse.points[coarse.triangles])
    _bend(place, coarse, barycentric, inverse, edges, coarse_count)
    fill = coarse.fill_count
    coordinates = np.einsum("kl,mld->mkd", barycentric, coarse.coordinates)
    for number, patch in enumerate(coarse.patches):
        for block in range(len(patch.blocks)):
            mine = np.nonzero((coarse.patch_of == number) & (coarse.block_of == block))[0]
            where = coordinates[mine]
            place[fill + mine] = patch.points(block, where[..., 0], where[..., 1])
    return place


def _bend(
    place: FloatArray,
    coarse: CoarseMesh,
    barycentric: FloatArray,
    inverse: IntArray,
    edges: IntArray,
    coarse_count: int,
) -> None:
    """Bend fill triangles along curved edges: a smooth blend that vanishes on the other sides.

    With barycentric coordinates a and b of the edge's ends, the departure of the curve from its
    chord at s = (1 + b - a)/2 enters with weight a b / (s (1 - s)), which is one on the edge.
    """
    if not coarse.curved_edges:
        return
    order = {int(key): k for k, key in enumerate(edges)}
    owner: dict[int, list[tuple[int, int]]] = {}
    for side in range(3):
        for triangle in np.nonzero(_is_curved(coarse, inverse[side], edges, coarse_count))[0]:
            if triangle < coarse.fill_count:
                owner.setdefault(int(inverse[side][triangle]), []).append((int(triangle), side))
    for curve in coarse.curved_edges:
        low, high = sorted((curve.first, curve.last))
        for number, side in owner.get(order[low * coarse_count + high], []):
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


def _is_curved(
    coarse: CoarseMesh, edge_numbers: IntArray, edges: IntArray, coarse_count: int
) -> NDArray[np.bool_]:
    """Whether coarse edges follow a curved span."""
    keys = np.array(
        [min(c.first, c.last) * coarse_count + max(c.first, c.last) for c in coarse.curved_edges]
    )
    return np.isin(edges[edge_numbers], keys)


def _chains(
    coarse: CoarseMesh, edges: IntArray, coarse_count: int, n: int
) -> tuple[SurfaceChain, ...]:
    """Points along every coarse edge on a boundary."""
    chains = []
    for edge in coarse.surface_edges:
        low, high = sorted((edge.first, edge.last))
        position = int(np.searchsorted(edges, low * coarse_count + high))
        middle = coarse_count + position * (n - 1) + np.arange(n - 1)
        if edge.first > edge.last:
            middle = middle[::-1]
        nodes = np.concatenate([[edge.first], middle, [edge.last]])
        where = np.linspace(edge.position_first, edge.position_last, n + 1)
        if edge.block is not None:
            patch, block = edge.block
            where = np.asarray(coarse.patches[patch].blocks[block].parameter(where))
        chains.append(SurfaceChain(edge.boundary, nodes, where))
    return tuple(chains)
