"""The coarse mesh of a section moved smoothly to a neighbouring section.

Points on boundaries keep their place along them, the boundary-layer grids around the edges are
laid anew with as many cells, and every other point stays the same average of its neighbours, with
mean value weights (M. S. Floater, Computer Aided Geometric Design 20, 19 (2003), from memory):
positive, and exact for straight maps, so that nothing moves when nothing changes and everything
scales when everything does.  A shift between two designs then carries no noise of meshing.

Measured on needle, capillary, slit and profile: each tolerance's onsets lie on a polynomial to 1e-8
or better, where new meshes scatter by 2e-4, and two moved meshes give the shift of three new ones
to 3e-5.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix, identity
from scipy.sparse.linalg import splu

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.mesh.boundary_grid import BoundaryGrid, carried_over
from conegap.solver.mesh.coarse_mesh import CoarseMesh, UnstructuredRegion, assembled
from conegap.solver.mesh.curved_triangles import twice_areas
from conegap.solver.mesh.grid_border import insert_grid
from conegap.solver.mesh.span import Span, section_spans

__all__ = ["MovedTooFar", "followed", "morphed"]

# Of a coarse triangle, in either direction. Up to tenfold did no harm to onsets on needle and
# slit; less is allowed, since other sections were not tried.
_LARGEST_STRETCH = 4.0


class MovedTooFar(MeshError):
    """A section differs too much from the meshed one for its mesh to follow."""


def followed(near: CoarseMesh | None, section: Section) -> CoarseMesh | None:
    """The mesh of a neighbouring section moved to this one, None where it cannot follow.

    Parameters
    ----------
    near : CoarseMesh or None
        Of the neighbouring section; None where there is none.
    """
    if near is not None:
        with suppress(MeshError):
            return morphed(near, section)
    return None


def morphed(coarse: CoarseMesh, section: Section) -> CoarseMesh:
    """A coarse mesh moved to a neighbouring section.

    Parameters
    ----------
    coarse : CoarseMesh
        Of a section without triangles of its own.
    section : Section
        With the same boundaries and edges, other dimensions.

    Returns
    -------
    CoarseMesh
        With the same triangles and unit of length.

    Notes
    -----
    Measured on needle and slit with dimensions from a half to twice: the onset on three meshes then
    differs by less than 5e-5 from that on new meshes, even where triangles are stretched tenfold.

    Raises
    ------
    MovedTooFar
        The sections are not of one kind, or a triangle would be stretched four times as much in
        one direction as across it.
    MeshError
        A boundary-layer grid loses its place, or a triangle folds over on itself.
    """
    region = coarse.region
    if region is None or not _alike(coarse.section, section):
        raise MovedTooFar("the sections have different boundaries")
    scale = coarse.scale
    grids = [carried_over(grid, section) for grid in coarse.grids]
    loops = _outside(section, scale, grids)
    spans = [span for row in loops for span in row]
    before = [span for row in _outside(coarse.section, scale, coarse.grids) for span in row]
    if [_kind(span) for span in spans] != [_kind(span) for span in before]:
        raise MovedTooFar("the boundary-layer grids meet the boundaries at other places")
    points = region.points.copy()
    fixed = np.zeros(len(points), dtype=bool)
    for edge in region.edges:
        ends = [edge.first, edge.last]
        points[ends] = spans[edge.span].point(np.array([edge.u_first, edge.u_last]))
        fixed[ends] = True
    moved = _averaged(region.points, region.triangles, points, fixed)
    stretch = _stretch(region.points, moved, region.triangles)
    if not stretch <= _LARGEST_STRETCH:
        raise MovedTooFar(f"a triangle would be stretched by a factor {stretch:.3g}")
    region = UnstructuredRegion(moved, region.triangles, region.edges)
    return replace(assembled(section, scale, region, loops, grids), like=coarse)


def _alike(one: Section, other: Section) -> bool:
    """Whether two sections have the same boundaries, one by one, and the same edges."""

    def of(section: Section) -> tuple[object, ...]:
        return (
            section.symmetry,
            section.mirrored,
            [[(b.name, type(b.curve)) for b in loop] for loop in section.loops],
            [(e.name, e.loop, e.index, e.radius > 0.0) for e in section.edges],
        )

    return other.mesh is None and of(one) == of(other)


def _outside(section: Section, scale: float, grids: Sequence[BoundaryGrid]) -> list[list[Span]]:
    """Spans of the region outside the boundary-layer grids."""
    loops = section_spans(section, scale)
    for grid in grids:
        loops = insert_grid(loops, grid)
    return loops


def _kind(span: Span) -> tuple[object, ...]:
    """What a span has in common with the same span of a neighbouring section."""
    count = None if span.divisions is None else len(span.divisions)
    return span.boundary, span.straight, count


def _averaged(
    before: FloatArray, triangles: IntArray, points: FloatArray, fixed: BoolArray
) -> FloatArray:
    """Places of all points when those not fixed stay the same averages of their neighbours."""
    rows, columns, weights = [], [], []
    for k in range(3):
        i, others = triangles[:, k], (triangles[:, (k + 1) % 3], triangles[:, (k + 2) % 3])
        ways = [before[j] - before[i] for j in others]
        lengths = [np.hypot(*way.T) for way in ways]
        # tan(angle / 2) = sin / (1 + cos)
        sine = np.abs(ways[0][:, 0] * ways[1][:, 1] - ways[0][:, 1] * ways[1][:, 0])
        half = sine / (lengths[0] * lengths[1] + (ways[0] * ways[1]).sum(axis=1))
        for j, length in zip(others, lengths, strict=True):
            rows.append(i)
            columns.append(j)
            weights.append(half / length)
    count = len(before)
    matrix = coo_matrix(
        (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))),
        shape=(count, count),
    ).tocsr()
    total = np.asarray(matrix.sum(axis=1)).ravel()
    free = ~fixed
    average = matrix.multiply(1.0 / total[:, None]).tocsr()[free]
    result = points.copy()
    if np.any(free):
        system = (identity(int(free.sum())) - average[:, free]).tocsc()
        result[free] = splu(system).solve(np.ascontiguousarray(average[:, fixed] @ points[fixed]))
    return result


def _stretch(before: FloatArray, after: FloatArray, triangles: IntArray) -> float:
    """Largest ratio of the two stretches of a triangle, inf where one is turned over, [-]."""
    if np.any(twice_areas(after, triangles) <= 0.0):
        return np.inf
    old, new = (_sides(points, triangles) for points in (before, after))
    stretches = np.linalg.svd(new @ np.linalg.inv(old), compute_uv=False)
    return float((stretches[:, 0] / stretches[:, 1]).max())


def _sides(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Two sides of every triangle as the columns of a matrix, (m, 2, 2) array."""
    corners = points[triangles]
    return np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=-1)
