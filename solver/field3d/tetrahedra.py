"""Nested tetrahedral meshes of a sector.

The mesh library fills the vacuum with tetrahedra that follow the curved faces; finer meshes are
uniform refinements of the first one, with the new boundary points moved onto the faces, so that
the error has an expansion in the spacing and the leading term can be removed.

A crown of 4 um tips on a 30 mm chamber needs 2,000 points for its first mesh, because spacing may
grow by 0.3 per unit of distance.  Long rounded edges cost more than tips: `parts_per_radius` makes
them coarser where they are far away (a lone tip's field moves by 5e-4 between 2.0 and 0.3).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.quantities.notebook import brief
from conegap.geometries.solids.sector import Room3D, Sector
from conegap.solver.field3d.solids import vacuum_shape

__all__ = ["TetraMesh", "region_size", "shape_meshes", "tetra_meshes"]

# Growth of the spacing per distance. On a cone in a round room 0.15 takes 2.3 times the points
# for an apex field 3e-4 off, 0.6 leaves 7e-4; this leaves 2e-4.
_GRADING = 0.3
# Of the region's size. On the same cone 0.06 takes 3.7 times the points for no better field, and
# 0.24 saves a third of them.
_COARSEST = 0.12


@dataclass(frozen=True)
class TetraMesh:
    """One mesh of the sequence, lengths in units of the sector's scale.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    tetrahedra : (m, 4) array of int
    triangles : (k, 3) array of int
        On the boundary and on the dividing spheres.
    names : (k,) array of str
        Face of each triangle.
    scale : float
        Length unit, [m].
    refinements : int
        Times the first mesh was refined, [-].
    """

    points: FloatArray
    tetrahedra: IntArray
    triangles: IntArray
    names: Any
    scale: float
    refinements: int

    __repr__ = brief

    @property
    def subdivisions(self) -> int:
        """Parts per edge of the first mesh."""
        return int(2**self.refinements)

    def points_on(self, *wanted: str) -> IntArray:
        """Numbers of the points on faces whose name, before a colon, is one of those wanted.

        Parameters
        ----------
        wanted : str
        """
        return np.unique(self.triangles[self.faces_of(*wanted)])

    def faces_of(self, *wanted: str) -> Any:
        """Which triangles lie on faces of those names, (k,) array of bool.

        Parameters
        ----------
        wanted : str
            "emitter" covers "emitter:tip" too.
        """
        plain = np.char.partition(self.names.astype(str), ":")[:, 0]
        return np.isin(self.names, wanted) | np.isin(plain, wanted)


def region_size(sector: Sector) -> float:
    """Largest extent of a sector's region, [m]."""
    region = sector.region
    if isinstance(region, Room3D):
        return float(np.max(np.subtract(region.block.high, region.block.low)))
    return max(region.radius, region.top - region.bottom)


def tetra_meshes(sector: Sector, *, fineness: float = 1.0) -> Iterator[TetraMesh]:
    """The first mesh of a sector and its uniform refinements, without end.

    Parameters
    ----------
    fineness : float
        Multiplies the mesh sizes that are set, 1 for the default, [-].

    Yields
    ------
    TetraMesh

    Raises
    ------
    MeshError
        The mesh library could not fill the vacuum.
    """
    scale = sector.gap
    yield from shape_meshes(
        lambda: vacuum_shape(sector, scale, fineness),
        scale,
        region_size(sector) / scale,
        sector.parts_per_radius,
        fineness,
    )


def shape_meshes(
    shape: Callable[[], Any],
    scale: float,
    size: float,
    parts_per_radius: float,
    fineness: float = 1.0,
) -> Iterator[TetraMesh]:
    """The first mesh of a vacuum that the mesh library holds, and its refinements, without end.

    Parameters
    ----------
    shape : callable
        Makes the vacuum, in units of the scale.
    scale : float
        Length unit of the shape, [m].
    size : float
        Largest extent of the space, in units of the scale, [-].
    parts_per_radius : float
        Edges in a radius of curvature, [-].
    fineness : float
        Multiplies the mesh sizes, [-].

    Yields
    ------
    TetraMesh

    Raises
    ------
    MeshError
        The mesh library could not fill the vacuum.
    """
    from netgen.meshing import NgException
    from netgen.occ import OCCGeometry

    try:
        mesh = OCCGeometry(shape()).GenerateMesh(
            maxh=_COARSEST * fineness * size,
            grading=_GRADING,
            curvaturesafety=parts_per_radius / fineness,
        )
    except (NgException, RuntimeError) as error:
        raise MeshError(f"the space could not be meshed: {error}") from error
    refinements = 0
    while True:
        yield _arrays(mesh, scale, refinements)
        mesh.Refine()
        refinements += 1


def _arrays(mesh: Any, scale: float, refinements: int) -> TetraMesh:
    """The mesh library's mesh as arrays."""
    surface = mesh.Elements2D().NumPy()
    names = np.array([d.bcname for d in mesh.FaceDescriptors()], dtype=str)
    if len(mesh.Elements3D()) == 0:
        raise MeshError("the space could not be meshed: no tetrahedra")
    return TetraMesh(
        points=np.array(mesh.Coordinates(), dtype=float),
        tetrahedra=mesh.Elements3D().NumPy()["nodes"][:, :4].astype(np.int64) - 1,
        triangles=surface["nodes"][:, :3].astype(np.int64) - 1,
        names=names[surface["index"].astype(np.int64) - 1],
        scale=scale,
        refinements=refinements,
    )
