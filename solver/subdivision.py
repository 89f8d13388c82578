"""Nested fine meshes by uniform subdivision of a coarse mesh under its smooth maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.geometries.errors import MeshError
from conegap.solver.bent_triangles import bend, lattice, twice_areas
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

    Raises
    ------
    MeshError
        A triangle folds over on itself.
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

    places, small = lattice(n)
    nodes = np.empty((count, len(places)), dtype=np.int64)
    inner = 0
    for k, (i, j) in enumerate(places):
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
    barycentric = np.array([((n - i - j) / n, i / n, j / n) for i, j in places])
    place = _mapped(coarse, barycentric)

    total = coarse_count + len(edges) * (n - 1) + count * interior
    points = np.zeros((total, 2))
    points[nodes.ravel()] = place.reshape(-1, 2)
    # Corner points keep their coarse coordinates exactly.
    points[:coarse_count] = coarse.points
    fine = nodes[:, small].reshape(-1, 3)
    folded = np.flatnonzero(twice_areas(points, fine) <= 0.0)
    if len(folded):
        x, z = points[fine[folded[0]]].mean(axis=0) * coarse.scale
        raise MeshError(
            f"a triangle of the mesh folds over on itself near ({x:.4g}, {z:.4g}) m, where the "
            "outline bends more tightly than its surroundings allow; smooth the outline there"
        )
    return FineMesh(n, points, fine, _chains(coarse, edges, coarse_count, n))


def _mapped(coarse: CoarseMesh, barycentric: FloatArray) -> FloatArray:
    """Lattice points of every coarse triangle under its map, (m, k, 2) array."""
    place: FloatArray = np.einsum("kl,mld->mkd", barycentric, coarse.points[coarse.triangles])
    bend(place, coarse, barycentric)
    fill = coarse.fill_count
    coordinates = np.einsum("kl,mld->mkd", barycentric, coarse.coordinates)
    for number, patch in enumerate(coarse.patches):
        for block in range(len(patch.blocks)):
            mine = np.nonzero((coarse.patch_of == number) & (coarse.block_of == block))[0]
            where = coordinates[mine]
            place[fill + mine] = patch.points(block, where[..., 0], where[..., 1])
    return place


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
