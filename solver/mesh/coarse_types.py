"""What a coarse mesh is: points, triangles and the smooth map of each triangle."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.notebook import brief
from conegap.solver.mesh.boundary_grid import BoundaryGrid
from conegap.solver.mesh.elimination import elimination_ranks
from conegap.solver.mesh.span import BoundaryIndex, Span

__all__ = [
    "CoarseMesh",
    "CurvedEdge",
    "RegionEdge",
    "SurfaceEdge",
    "UnstructuredRegion",
]


@dataclass(frozen=True)
class RegionEdge:
    """A coarse edge of the region on a span, counted through all loops, from u_first to u_last."""

    first: int
    last: int
    span: int
    u_first: float
    u_last: float


@dataclass(frozen=True)
class UnstructuredRegion:
    """Triangles between the spans.

    Parameters
    ----------
    points : (n, 2) array
        Scaled lengths.
    triangles : (m, 3) array of int
        Counterclockwise.
    edges : tuple of RegionEdge
        All edges along the spans.
    """

    points: FloatArray
    triangles: IntArray
    edges: tuple[RegionEdge, ...]

    __repr__ = brief

    @property
    def ends(self) -> IntArray:
        """Both points of every edge, (edges, 2) array."""
        return np.array([(edge.first, edge.last) for edge in self.edges], dtype=np.int64)


@dataclass(frozen=True)
class CurvedEdge:
    """A coarse edge of the region that follows a curved span from u_first to u_last."""

    first: int
    last: int
    span: Span
    u_first: float
    u_last: float


@dataclass(frozen=True)
class SurfaceEdge:
    """A coarse edge on a boundary of the section.

    ``block`` is the (boundary-layer grid, block) it belongs to, or None in the unstructured
    region.  Positions are sigma of the block or the curve parameter t.
    """

    first: int
    last: int
    boundary: BoundaryIndex
    position_first: float
    position_last: float
    block: tuple[int, int] | None


@dataclass(frozen=True)
class CoarseMesh:
    """Coarse points and triangles with their maps (scaled lengths).

    Parameters
    ----------
    scale : float
        Length unit, [m].
    points : (n, 2) array
    triangles : (m, 3) array
        Counterclockwise; the unstructured region first, then the boundary-layer grids.
    region_count : int
        Number of triangles of the unstructured region.
    grids : tuple of BoundaryGrid
    grid_of, block_of : (m - fill_count,) arrays
        BoundaryGrid and block of every boundary-layer grid triangle.
    coordinates : (m - fill_count, 3, 2) array
        (sigma, tau) of the corners of the boundary-layer grid triangles.
    curved_edges : tuple of CurvedEdge
    surface_edges : tuple of SurfaceEdge
    region : Fill or None
        What the unstructured region was before it was joined to the boundary-layer grids; None for
        triangles that came with the section.
    like : CoarseMesh or None
        A mesh with the same triangles, whose edges and order of elimination serve this one too.
    """

    section: Section
    scale: float
    points: FloatArray
    triangles: IntArray
    region_count: int
    grids: tuple[BoundaryGrid, ...]
    grid_of: IntArray
    block_of: IntArray
    coordinates: FloatArray
    curved_edges: tuple[CurvedEdge, ...]
    surface_edges: tuple[SurfaceEdge, ...]
    region: UnstructuredRegion | None = None
    like: CoarseMesh | None = field(default=None, repr=False, compare=False)

    __repr__ = brief

    @cached_property
    def sides(self) -> tuple[IntArray, IntArray]:
        """Both ends of every edge, (edges, 2) array; edge on each side, (3, m) array.

        The ends rise, and so do the edges; the sides run from a triangle's first corner to its
        second, and so on.
        """
        if self.like is not None:
            return self.like.sides
        ends = np.stack([self.triangles, np.roll(self.triangles, -1, axis=1)], axis=-1)
        ends = np.sort(ends.transpose(1, 0, 2).reshape(-1, 2), axis=1)
        keys, number = np.unique(ends[:, 0] * len(self.points) + ends[:, 1], return_inverse=True)
        return np.stack(np.divmod(keys, len(self.points)), axis=1), number.reshape(3, -1)

    def elimination_ranks(self, parts: int) -> IntArray:
        """When every point of a finer mesh is eliminated, (n,) array in the order of its points.

        Inside a coarse triangle the points of a finer mesh have no neighbours elsewhere, so they
        go first; what is left are the coarse points and edges.  Their order is found once, with
        every edge as one node, and serves all finer meshes: the factor stays as sparse as in an
        order of its own, which takes as long to find as the factor takes to compute.

        Parameters
        ----------
        parts : int
            Parts per coarse edge, >= 1, [-].
        """
        if parts == 1:
            return elimination_ranks(self.sides[0], self.points)
        count, corners = len(self.triangles), len(self.points)
        inside = (parts - 1) * (parts - 2) // 2
        return np.concatenate(
            [
                count + self._part_ranks[:corners],
                np.repeat(count + self._part_ranks[corners:], parts - 1),
                np.repeat(np.arange(count), inside),
            ]
        )

    def prepared(self) -> CoarseMesh:
        """This mesh with its order of elimination found, to be sent to other processes."""
        self.elimination_ranks(2)
        return self

    @cached_property
    def _part_ranks(self) -> IntArray:
        """When every coarse point, then every edge, is eliminated, (points + edges,) array."""
        if self.like is not None:
            return self.like._part_ranks
        ends, sides = self.sides
        corner, edge = self.triangles.T, len(self.points) + sides
        next_corner, next_edge = np.roll(corner, -1, axis=0), np.roll(edge, -1, axis=0)
        one = np.concatenate([corner, next_corner, edge], axis=None)
        two = np.concatenate([edge, edge, next_edge], axis=None)
        places = np.vstack([self.points, self.points[ends].mean(axis=1)])
        return elimination_ranks(np.stack([one, two], axis=1), places)
