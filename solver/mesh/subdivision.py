"""Nested fine meshes by uniform subdivision of a coarse mesh under its smooth maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.quantities.notebook import brief
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.mesh.curved_triangles import blending_displacement, lattice, twice_areas
from conegap.solver.mesh.span import BoundaryIndex

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
    """One mesh of the sequence.

    Parameters
    ----------
    subdivisions : int
        Parts per coarse edge, [-].
    points : (n, 2) array
        Scaled lengths.
    triangles : (m, 3) array of int
        Counterclockwise.
    chains : tuple of SurfaceChain
        One per coarse edge on a boundary.
    ranks : (n,) array of int
        When every point is eliminated from a linear system.
    """

    subdivisions: int
    points: FloatArray
    triangles: IntArray
    chains: tuple[SurfaceChain, ...]
    ranks: IntArray

    __repr__ = brief


def subdivide(coarse: CoarseMesh, subdivisions: int) -> FineMesh:
    """Divide every edge of the coarse mesh into equal parts.

    Parameters
    ----------
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
    ends, inverse = coarse.sides
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
            forward = triangles[:, from_corner] == ends[edge, 0]
            nodes[:, k] = coarse_count + edge * (n - 1) + np.where(forward, step - 1, n - step - 1)
        else:
            nodes[:, k] = coarse_count + len(ends) * (n - 1) + np.arange(count) * interior + inner
            inner += 1
    barycentric = np.array([((n - i - j) / n, i / n, j / n) for i, j in places])
    place = _mapped(coarse, barycentric)

    total = coarse_count + len(ends) * (n - 1) + count * interior
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
            "outline bends more tightly than its surroundings allow; smooth the outline there",
            cause="folded",
        )
    return FineMesh(n, points, fine, _chains(coarse, n), coarse.elimination_ranks(n))


def _mapped(coarse: CoarseMesh, barycentric: FloatArray) -> FloatArray:
    """Lattice points of every coarse triangle under its map, (m, k, 2) array."""
    place: FloatArray = barycentric @ coarse.points[coarse.triangles]
    bent, moved = blending_displacement(coarse, barycentric)
    np.add.at(place, bent, moved)
    region = coarse.region_count
    coordinates = barycentric @ coarse.coordinates
    for number, grid in enumerate(coarse.grids):
        for block in range(len(grid.blocks)):
            mine = np.nonzero((coarse.grid_of == number) & (coarse.block_of == block))[0]
            where = coordinates[mine]
            place[region + mine] = grid.points(block, where[..., 0], where[..., 1])
    return place


def _chains(coarse: CoarseMesh, n: int) -> tuple[SurfaceChain, ...]:
    """Points along every coarse edge on a boundary."""
    count = len(coarse.points)
    ends = np.array([(edge.first, edge.last) for edge in coarse.surface_edges])
    low, high = np.sort(ends, axis=1).T
    position = np.searchsorted(coarse.sides[0] @ [count, 1], low * count + high)
    middle = count + position[:, None] * (n - 1) + np.arange(n - 1)
    backward = ends[:, 0] > ends[:, 1]
    middle[backward] = middle[backward][:, ::-1]
    nodes = np.column_stack([ends[:, 0], middle, ends[:, 1]])
    where = np.linspace(
        [edge.position_first for edge in coarse.surface_edges],
        [edge.position_last for edge in coarse.surface_edges],
        n + 1,
        axis=1,
    )
    for row, edge in zip(where, coarse.surface_edges, strict=True):
        if edge.block is not None:
            grid, block = edge.block
            row[:] = coarse.grids[grid].blocks[block].parameter(row)
    return tuple(
        SurfaceChain(edge.boundary, *row)
        for edge, *row in zip(coarse.surface_edges, nodes, where, strict=True)
    )
