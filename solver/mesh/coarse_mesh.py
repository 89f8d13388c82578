"""The coarse triangulation of a section, each triangle with a smooth map.

The region outside the boundary-layer grids is filled by the mesher of the netgen library;
the boundary-layer grids bring their own quadrilaterals, cut into triangles.  Refinement happens
later, by uniform subdivision of every coarse triangle under its map, so that a sequence of meshes
is nested and its error has an expansion in powers of the spacing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from itertools import groupby, pairwise

import numpy as np
from scipy.spatial import cKDTree

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import Section
from conegap.geometries.imported.edge_flips import delaunay_flipped
from conegap.geometries.quantities.errors import GeometryError, MeshError
from conegap.solver.common.time_limit import within
from conegap.solver.mesh.boundary_grid import BoundaryGrid, edge_grid
from conegap.solver.mesh.coarse_types import (
    CoarseMesh,
    CurvedEdge,
    RegionEdge,
    SurfaceEdge,
    UnstructuredRegion,
)
from conegap.solver.mesh.curved_triangles import inverted_element, twice_areas
from conegap.solver.mesh.grid_border import insert_grid
from conegap.solver.mesh.imported_coarse import imported_coarse_mesh
from conegap.solver.mesh.spacing import SpacingRule, divide_spans
from conegap.solver.mesh.span import Span, section_spans
from conegap.solver.mesh.triangle_quality import bare_share, keeps_outline

__all__ = [
    "CoarseMesh",
    "CurvedEdge",
    "SurfaceEdge",
    "UnstructuredRegion",
    "assembled",
    "coarse_mesh",
]

# Growth of the mesher's triangles, how far below its own wish an edge may lie undivided, and
# whether points are inserted into a Delaunay triangulation: four times quicker than the advancing
# front, and as good where the unstructured region has more than a few triangles across, so not for
# few points.
_ATTEMPTS = (
    (0.4, 0.3, True),
    (0.5, 0.3, False),
    (0.6, 0.3, False),
    (0.8, 0.3, False),
    (0.45, 0.3, False),
    (1.2, 0.3, False),
    (0.8, 0.1, False),
    (0.6, 0.03, False),
    (2.0, 0.03, False),
)
# Processor time for a fill, [s]: a hundred times the usual. Seen once, on the cap of a needle with
# a half angle of 17 deg: the mesher's insertion of points never ended; the next attempt succeeded.
_MOST_SECONDS = 5.0
# Share of triangles larger than wanted: slender fills, as of a confocal ellipse, have more, and
# a potential six times worse. Half or twice of it moves edge fields by 4e-6 at most.
_MOST_BARE = 0.12
# Pieces of outline, see above. With 0 or 60 instead the edge fields of nine exact sections stay
# as good; the potential in bare corners does not.
_FEW = 120
# What fails with the usual spacing along the boundaries is tried again with a finer one.
_FINER = (1.0, 0.5)
# Of the radius of curvature: 20 degrees of an arc. Twice of it leaves 5e-4 of the edge field,
# half costs 50 % more points and, beside thin fills, the order of convergence (7e-5 left on a
# needle with d/R = 1000, against 1.1e-5).
_GRID_ANGLE = 0.35


def coarse_mesh(
    section: Section,
    rule: SpacingRule | None = None,
    places: tuple[tuple[tuple[float, float], float], ...] = (),
    grid_angle: float = _GRID_ANGLE,
) -> CoarseMesh:
    """Mesh a section coarsely, or take the triangles that it brings.

    Parameters
    ----------
    rule : SpacingRule or None
        Spacing limits; the defaults when None.
    places : tuple of ((x, z), spacing)
        Places where a coarse spacing is asked for, both in [m].
    grid_angle : float
        Coarse spacing of the boundary-layer grids over the radius of curvature, [-].

    Raises
    ------
    MeshError
        The region could not be meshed.
    """
    rule = rule or SpacingRule()
    scale = _length_unit(section)
    if section.mesh is not None:
        return imported_coarse_mesh(section, section.mesh, scale)
    loops = section_spans(section, scale)
    grids: list[BoundaryGrid] = []
    sharp = [(np.array(place) / scale, spacing / scale) for place, spacing in places]
    for edge in section.edges:
        if len(section.loops[edge.loop]) == 1 and not 0.05 < edge.t < 0.95:
            raise MeshError(
                f"the emitting edge '{edge.name}' lies where its closed outline begins and ends; "
                "let the outline begin elsewhere"
            )
        grid = edge_grid(section, edge, scale, grid_angle)
        place = section.loops[edge.loop][edge.index].curve.point(np.array([edge.t]))[0] / scale
        if grid is not None:
            loops = insert_grid(loops, grid)
            grids.append(grid)
        else:
            # Without a grid three coarse cells per radius, or per fiftieth of the gap at a sharp
            # edge.
            size = edge.radius / scale if edge.radius > 0 else 0.02 * section.gap / scale
            sharp.append((place, 0.3 * size))
    reason = MeshError("no attempt")
    for finer in _FINER:
        divisions = divide_spans(loops, section.symmetry, _scaled(rule, finer), sharp)
        few = sum(len(u) - 1 for row in divisions for u in row) < _FEW
        for grading, undivided, delaunay in _ATTEMPTS:
            if delaunay and few:
                continue
            try:
                region = _fill_region(loops, divisions, grading, undivided, delaunay)
                return assembled(section, scale, region, loops, grids)
            except MeshError as error:
                reason = error
        if reason.cause == "crossing":
            break
    raise MeshError(
        f"the region between the electrodes could not be meshed: {reason}", cause=reason.cause
    )


def _scaled(rule: SpacingRule, finer: float) -> SpacingRule:
    """A rule whose spacings along curves and across gaps are a share of another's."""
    return replace(
        rule,
        per_radius=finer * rule.per_radius,
        per_axis_distance=finer * rule.per_axis_distance,
        per_clearance=finer * rule.per_clearance,
    )


def _length_unit(section: Section) -> float:
    """Smallest edge radius, or a hundredth of the gap where every edge is sharp, [m]."""
    radii = [edge.radius for edge in section.edges if edge.radius > 0.0]
    size = float(np.ptp(section.outline(), axis=0).max())
    return min(radii) if radii else min(section.gap if section.gap > 0 else size, size) / 100.0


def _fill_region(
    loops: list[list[Span]],
    divisions: list[list[FloatArray]],
    grading: float,
    undivided: float,
    delaunay: bool,
) -> UnstructuredRegion:
    """Mesh the region between spans; a `MeshError` says why it fails."""
    from netgen.geom2d import SplineGeometry

    geometry = SplineGeometry()
    points: list[FloatArray] = []
    spans = [span for row in loops for span in row]
    pieces: list[RegionEdge] = []
    number = 0
    for row, division in zip(loops, divisions, strict=True):
        start = len(points)
        ring: list[tuple[int, float, float]] = []
        for span, u in zip(row, division, strict=True):
            points.extend(span.point(u[:-1]))
            ring.extend((number, a, b) for a, b in pairwise(u))
            number += 1
        count = len(ring)
        for k, (of_span, a, b) in enumerate(ring):
            pieces.append(RegionEdge(start + k, start + (k + 1) % count, of_span, a, b))
    crossing = _crossing(np.array(points), pieces)
    if crossing is not None:
        x, z = crossing
        raise MeshError(
            f"the outline crosses or touches itself near ({x:.4g}, {z:.4g})", cause="crossing"
        )
    numbers = [geometry.AppendPoint(float(p[0]), float(p[1])) for p in points]
    for k, piece in enumerate(pieces):
        line = ["line", numbers[piece.first], numbers[piece.last]]
        geometry.Append(line, leftdomain=1, rightdomain=0, bc=k + 1)
    try:
        mesh = within(
            _MOST_SECONDS,
            partial(
                geometry.GenerateMesh,
                maxh=1e12,
                grading=grading,
                segmentsperedge=undivided,
                delaunay2d=delaunay,
            ),
        )
    except Exception as error:
        raise MeshError(f"the mesher refused the outline ({error})") from error
    array = mesh.Coordinates()[:, :2].copy()
    elements = mesh.Elements2D().NumPy()
    if len(elements) == 0:
        raise MeshError("the mesher returned no triangles")
    triangles = elements["nodes"][:, :3].astype(np.int64) - 1
    edges = []
    for element in mesh.Elements1D():
        a, b = (v.nr - 1 for v in element.vertices)
        piece = pieces[mesh.EdgeDescriptor(element.index).edgenr - 1]
        start_point = points[piece.first]
        chord = points[piece.last] - start_point
        along = np.array([(array[k] - start_point) @ chord for k in (a, b)]) / (chord @ chord)
        if along[0] > along[1]:
            a, b, along = b, a, along[::-1]
        divided = along[0] > 1e-9 or along[1] < 1.0 - 1e-9
        if spans[piece.span].divisions is not None and divided:
            raise MeshError("the mesher divided the border of a boundary-layer grid")
        u_first, u_last = piece.u_first + (piece.u_last - piece.u_first) * along
        edges.append(RegionEdge(int(a), int(b), piece.span, float(u_first), float(u_last)))
    for number, mine in groupby(sorted(edges, key=lambda edge: edge.span), lambda edge: edge.span):
        along_span = list(mine)
        ends = [k for edge in along_span for k in (edge.first, edge.last)]
        positions = [u for edge in along_span for u in (edge.u_first, edge.u_last)]
        array[ends] = spans[number].point(np.array(positions))
    clockwise = twice_areas(array, triangles) < 0
    triangles[clockwise] = triangles[clockwise][:, [0, 2, 1]]
    try:
        # Voronoi cells need Delaunay's condition, which the mesher's own swaps do not keep.
        triangles, _ = delaunay_flipped(array, triangles)
    except GeometryError as error:
        raise MeshError(
            "the mesher's triangles fold where curved boundaries leave their chords", cause="folded"
        ) from error
    region = UnstructuredRegion(array, triangles, tuple(edges))
    if not keeps_outline(triangles, region.ends):
        raise MeshError("the mesher left out points of the outline")
    if delaunay and bare_share(array, triangles, region.ends) > _MOST_BARE:
        raise MeshError("the mesher leaves gaps without points")
    return region


def _crossing(points: FloatArray, pieces: list[RegionEdge]) -> FloatArray | None:
    """A point where two pieces of outline cross or touch, or None."""
    first = np.array([piece.first for piece in pieces])
    last = np.array([piece.last for piece in pieces])
    p, q = points[first], points[last]
    along = q - p

    def side(of: FloatArray) -> FloatArray:
        """Side of every piece's line on which each place lies, -1, 0 or 1."""
        offset = of[None, :, :] - p[:, None, :]
        return np.sign(_cross(along[:, None, :], offset))

    # Pieces that only touch count too (the mesher would not return), neighbours do not.
    straddles = side(p) * side(q) <= 0
    low, high = np.minimum(p, q), np.maximum(p, q)
    near = np.all(low[:, None] <= high[None, :], axis=-1)
    ends = np.stack([first, last], axis=1)
    joined = np.any(ends[:, None, :, None] == ends[None, :, None, :], axis=(2, 3))
    crossing = straddles & straddles.T & near & near.T & ~joined
    where = np.argwhere(crossing)
    return np.asarray(p[where[0, 0]]) if len(where) else None


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product of plane vectors."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def assembled(
    section: Section,
    scale: float,
    region: UnstructuredRegion,
    loops: list[list[Span]],
    grids: Sequence[BoundaryGrid],
) -> CoarseMesh:
    """Join the unstructured region and the boundary-layer grids into one coarse mesh.

    Parameters
    ----------
    scale : float
        Length unit, > 0, [m].
    loops : list of lists of Span
        Between which the unstructured region lies.
    grids : sequence of BoundaryGrid

    Raises
    ------
    MeshError
        They do not fit together, or a triangle folds over on itself.
    """
    spans = [span for row in loops for span in row]
    points = [region.points]
    count = len(region.points)
    tree = cKDTree(region.points)
    triangles, coordinates, grid_of, block_of = [region.triangles], [], [], []
    surface: list[SurfaceEdge] = []
    curved: list[CurvedEdge] = []
    for edge in region.edges:
        span, ends = spans[edge.span], (edge.u_first, edge.u_last)
        if not span.straight:
            curved.append(CurvedEdge(edge.first, edge.last, span, *ends))
        if span.boundary is not None:
            t = span.parameter(np.array(ends))
            surface.append(
                SurfaceEdge(edge.first, edge.last, span.boundary, float(t[0]), float(t[1]), None)
            )
    for number, grid in enumerate(grids):
        ids, new, count = _grid_numbers(grid, tree, count)
        points.append(new)
        for block_number, block in enumerate(grid.blocks):
            nodes = ids[block_number]
            tris, coords = _block_triangles(nodes)
            triangles.append(tris)
            coordinates.append(coords)
            grid_of.append(np.full(len(tris), number))
            block_of.append(np.full(len(tris), block_number))
            for k in range(block.cells):
                surface.append(
                    SurfaceEdge(
                        int(nodes[k, 0]),
                        int(nodes[k + 1, 0]),
                        block.boundary,
                        float(k),
                        float(k + 1),
                        (number, block_number),
                    )
                )
    all_points = np.vstack(points)
    all_triangles = np.vstack(triangles)
    if np.any(twice_areas(all_points, all_triangles) <= 0.0):
        raise MeshError(
            "the coarse mesh has a folded triangle near an electrode edge", cause="folded"
        )
    empty = np.empty(0, dtype=np.int64)
    coarse = CoarseMesh(
        section=section,
        scale=scale,
        points=all_points,
        triangles=all_triangles,
        region_count=len(region.triangles),
        grids=tuple(grids),
        grid_of=np.concatenate(grid_of) if grid_of else empty,
        block_of=np.concatenate(block_of) if block_of else empty,
        coordinates=np.vstack(coordinates) if coordinates else np.empty((0, 3, 2)),
        curved_edges=tuple(curved),
        surface_edges=tuple(surface),
        region=region,
    )
    fold = inverted_element(coarse)
    if fold is not None:
        raise MeshError(
            "a triangle beside a curved boundary folds over on itself near "
            f"({fold[0] * scale:.4g}, {fold[1] * scale:.4g}) m; smooth the outline there, or leave "
            "out points that only show the scatter of the reading",
            cause="folded",
        )
    return coarse


def _grid_numbers(
    grid: BoundaryGrid, tree: cKDTree, count: int
) -> tuple[list[IntArray], FloatArray, int]:
    """Point numbers of every block's (sigma, tau) grid; border points are the region's."""
    blocks: list[IntArray] = []
    new: list[FloatArray] = []
    for number, block in enumerate(grid.blocks):
        sigma, tau = np.meshgrid(
            np.arange(block.cells + 1.0), np.arange(grid.layers + 1.0), indexing="ij"
        )
        place = grid.points(number, sigma, tau)
        numbers = np.full(sigma.shape, -1, dtype=np.int64)
        if number > 0:
            numbers[0] = blocks[-1][-1]
        border = tau == grid.layers
        border[0] |= grid.open_ends[0] and number == 0
        border[-1] |= grid.open_ends[1] and number == len(grid.blocks) - 1
        missing = border & (numbers < 0)
        distance, found = tree.query(place[missing])
        if np.any(distance > 1e-6 * (grid.radius + grid.height(np.array([grid.layers]))[0])):
            raise MeshError("a boundary-layer grid does not meet the surrounding mesh")
        numbers[missing] = found
        free = numbers < 0
        numbers[free] = count + np.arange(np.count_nonzero(free))
        new.append(place[free])
        count += int(np.count_nonzero(free))
        blocks.append(numbers)
    return blocks, np.vstack(new) if new else np.empty((0, 2)), count


def _block_triangles(grid: IntArray) -> tuple[IntArray, FloatArray]:
    """Triangles of one block and the (sigma, tau) of their corners."""
    cells, layers = grid.shape[0] - 1, grid.shape[1] - 1
    i, j = (a.ravel() for a in np.meshgrid(np.arange(cells), np.arange(layers), indexing="ij"))
    corner = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)]
    triangles, coordinates = [], []
    # The surface runs with the vacuum on its left, so (sigma, tau) is right-handed.
    for choice in ((0, 1, 2), (0, 2, 3)):
        triangles.append(np.stack([grid[corner[k]] for k in choice], axis=1))
        coordinates.append(
            np.stack([np.stack(corner[k], axis=1) for k in choice], axis=1).astype(float)
        )
    return np.vstack(triangles), np.vstack(coordinates)
