"""Potential and field at any points of a section, quickly and for many points at once.

Points are found by walking from triangle to triangle towards them, starting where they were
before or at the triangle with the nearest centroid.  Lengths and potentials are scaled inside:
lengths by the unit of the mesh, potentials by the largest difference of potential.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.errors import GeometryError
from conegap.solver.field.smooth_potential import Cubics, cubic_pieces, recovered_gradient
from conegap.solver.field.solution import FieldSolution
from conegap.solver.mesh.subdivision import FineMesh

__all__ = ["FieldAtPoints", "field_at_points", "field_of_potential"]

# Barycentric: a point on a side, within rounding, lies in both triangles.
_ROOM = 1e-9
# Triangles tried around a point that the walk cannot reach; around a corner of the region six or
# seven meet.
_CANDIDATES = 12


@dataclass(frozen=True)
class FieldAtPoints:
    """Smooth potential of a section at given voltages; build with `field_at_points`.

    A section that is one half of its shape answers for the mirrored half too.

    Parameters
    ----------
    scale : float
        Length unit of the mesh, [m].
    volts : float
        Largest difference of potential, [V].
    pieces : (m, 3, 10) array
        Cubic pieces of the potential, in units of ``volts``.
    neighbours : (m, 3) array of int
        Triangle beyond the side opposite each corner, -1 at the boundary.
    inverse : (m, 2, 2) array
        Maps an offset from corner 0 to the barycentric coordinates of corners 1 and 2.
    mirrored : bool
        Whether the section is one half of its shape.
    """

    section: Section
    mesh: FineMesh
    scale: float
    volts: float
    pieces: FloatArray
    neighbours: IntArray
    inverse: FloatArray
    mirrored: bool

    def potential(self, points: FloatArray) -> FloatArray:
        """Potential at points inside the section.

        Parameters
        ----------
        points : (n, 2) array
            [m].

        Returns
        -------
        (n,) array
            [V].

        Raises
        ------
        GeometryError
            A point lies in a conductor or beyond the section.
        """
        return self._inside(points)[0] * self.volts

    def field(self, points: FloatArray) -> FloatArray:
        """Field E = -grad(phi) at points inside the section.

        Parameters
        ----------
        points : (n, 2) array
            [m].

        Returns
        -------
        (n, 2) array
            [V/m].

        Raises
        ------
        GeometryError
            A point lies in a conductor or beyond the section.
        """
        return -self._inside(points)[1] * (self.volts / self.scale)

    def _inside(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        scaled = np.atleast_2d(np.asarray(points, dtype=float)) / self.scale
        triangle, inside = self.locate(scaled)
        if not inside.all():
            x, z = scaled[int(np.argmin(inside))] * self.scale
            raise GeometryError(
                f"the point ({x:.6g}, {z:.6g}) m lies in a conductor or beyond the section; a "
                "potential is known in the vacuum only"
            )
        return self.evaluate(scaled, triangle)

    @cached_property
    def spacing(self) -> FloatArray:
        """Longest side of every triangle, (m,) array, scaled."""
        corner = self.mesh.points[self.mesh.triangles]
        sides = corner - np.roll(corner, 1, axis=1)
        return np.asarray(np.hypot(sides[..., 0], sides[..., 1]).max(axis=1))

    @cached_property
    def centroids(self) -> FloatArray:
        """Centroid of every triangle, (m, 2) array, scaled."""
        return np.asarray(self.mesh.points[self.mesh.triangles].mean(axis=1))

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.centroids)

    @cached_property
    def mirror_sides(self) -> BoolArray:
        """Whether the side opposite each corner lies on the line of symmetry, (m, 3) array."""
        if not self.mirrored:
            return np.zeros(self.mesh.triangles.shape, dtype=bool)
        x = np.abs(self.mesh.points[:, 0])
        on_line = (x <= 1e-9 * x.max())[self.mesh.triangles]
        return np.asarray(np.roll(on_line, -1, axis=1) & np.roll(on_line, -2, axis=1))

    def _folded(self, points: FloatArray) -> FloatArray:
        """Points of the mirrored half moved to their images, (n, 2) array, scaled."""
        if not self.mirrored:
            return points
        return np.stack([np.abs(points[:, 0]), points[:, 1]], axis=1)

    def barycentric(self, points: FloatArray, triangle: IntArray) -> FloatArray:
        """Barycentric coordinates of points in given triangles, (n, 3) array, [-].

        Parameters
        ----------
        points : (n, 2) array
            Scaled, of the half that is meshed.
        triangle : (n,) array of int
        """
        offset = points - self.mesh.points[self.mesh.triangles[triangle, 0]]
        inverse = self.inverse[triangle]
        b = np.empty((len(points), 3))
        b[:, 1] = inverse[:, 0, 0] * offset[:, 0] + inverse[:, 0, 1] * offset[:, 1]
        b[:, 2] = inverse[:, 1, 0] * offset[:, 0] + inverse[:, 1, 1] * offset[:, 1]
        b[:, 0] = 1.0 - b[:, 1] - b[:, 2]
        return b

    def locate(
        self, points: FloatArray, start: IntArray | None = None
    ) -> tuple[IntArray, BoolArray]:
        """Triangle of every point.

        Parameters
        ----------
        points : (n, 2) array
            Scaled.
        start : (n,) array of int or None
            Triangles near by; those with the nearest centroids when left out.

        Returns
        -------
        (n,) array of int
            Triangle; for a point outside, one at the boundary near by.
        (n,) array of bool
            Whether the point is inside.
        """
        points = self._folded(points)
        if start is None:
            start = np.asarray(self._tree.query(points)[1], dtype=np.int64)
        triangle = start.copy()
        inside = np.zeros(len(points), dtype=bool)
        walking = np.arange(len(points))
        stuck = []
        for _ in range(len(self.mesh.triangles)):
            b = self.barycentric(points[walking], triangle[walking])
            side = np.argmin(b, axis=1)
            arrived = b[np.arange(len(b)), side] >= -_ROOM
            inside[walking[arrived]] = True
            onward = ~arrived
            walking, side = walking[onward], side[onward]
            beyond = self.neighbours[triangle[walking], side]
            blocked = beyond < 0
            stuck.append(walking[blocked])
            walking = walking[~blocked]
            triangle[walking] = beyond[~blocked]
            if not len(walking):
                break
        lost = np.concatenate([*stuck, walking])
        if len(lost):
            self._search(points, lost, triangle, inside)
        return triangle, inside

    def _search(
        self, points: FloatArray, lost: IntArray, triangle: IntArray, inside: BoolArray
    ) -> None:
        """Look for points behind a corner of the region among the triangles near them."""
        near = np.asarray(self._tree.query(points[lost], k=_CANDIDATES)[1], dtype=np.int64)
        near = near.reshape(len(lost), -1)
        width = near.shape[1]
        b = self.barycentric(np.repeat(points[lost], width, axis=0), near.ravel())
        depth = b.min(axis=1).reshape(len(lost), width)
        best = np.argmax(depth, axis=1)
        rows = np.arange(len(lost))
        found = depth[rows, best] >= -_ROOM
        triangle[lost[found]] = near[rows, best][found]
        inside[lost[found]] = True

    def evaluate(self, points: FloatArray, triangle: IntArray) -> tuple[FloatArray, FloatArray]:
        """Potential and its gradient by the pieces of given triangles.

        Parameters
        ----------
        points : (n, 2) array
            Scaled; a little outside its triangle is allowed.
        triangle : (n,) array of int

        Returns
        -------
        (n,) array
            Potential in units of ``volts``.
        (n, 2) array
            Gradient, scaled.
        """
        points_here = self._folded(points)
        piece = np.argmin(self.barycentric(points_here, triangle), axis=1)
        cubics = self.cubics(triangle, piece)
        value, rows = cubics.evaluate(cubics.shares(points_here.T))
        gradient = rows.T.copy()
        if self.mirrored:
            gradient[:, 0] *= np.where(points[:, 0] < 0.0, -1.0, 1.0)
        return value, gradient

    def cubics(self, triangle: IntArray, piece: IntArray) -> Cubics:
        """Cubic pieces of the potential.

        Parameters
        ----------
        triangle : (n,) array of int
        piece : (n,) array of int
            0 to 2, the corner that each lies opposite to.
        """
        return self.every_cubic.at(3 * triangle + piece)

    @cached_property
    def every_cubic(self) -> Cubics:
        """All pieces of all triangles, three after three."""
        spokes = self.mesh.points[self.mesh.triangles] - self.centroids[:, None]
        sides = np.stack([np.roll(spokes, -1, axis=1), np.roll(spokes, -2, axis=1)], axis=-1)
        return Cubics.of(
            np.repeat(self.centroids.T, 3, axis=1),
            np.ascontiguousarray(np.moveaxis(sides.reshape(-1, 2, 2), 0, -1)),
            np.ascontiguousarray(self.pieces.reshape(-1, 10).T),
        )


def field_at_points(
    solution: FieldSolution, voltages: Mapping[str, float], level: int = -1
) -> FieldAtPoints:
    """The smooth potential of a solved section.

    Parameters
    ----------
    voltages : mapping
        Of each electrode, missing ones at 0, [V].
    level : int
        Which mesh of the sequence, the finest when left out, [-].

    Raises
    ------
    GeometryError
        An unknown electrode, or all potentials are equal.
    """
    return field_of_potential(solution, solution.potential(voltages, level), level)


def field_of_potential(
    solution: FieldSolution, potential: FloatArray, level: int = -1
) -> FieldAtPoints:
    """The smooth potential through values at the points of one mesh.

    Parameters
    ----------
    potential : (n,) array
        [V].
    level : int
        Which mesh of the sequence, the finest when left out, [-].

    Raises
    ------
    GeometryError
        All potentials are equal.
    """
    mesh, section = solution.levels[level].mesh, solution.section
    volts = float(np.ptp(potential))
    if not volts > 0.0:
        raise GeometryError("voltages: all electrodes are at one potential, there is no field")
    mirrored = section.symmetry == "axisymmetric" or section.mirrored
    values = potential / volts
    gradient = recovered_gradient(mesh.points, mesh.triangles, values, mirrored=mirrored)
    corner = mesh.points[mesh.triangles]
    along = np.stack([corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]], axis=2)
    return FieldAtPoints(
        section=section,
        mesh=mesh,
        scale=solution.scale,
        volts=volts,
        pieces=cubic_pieces(mesh.points, mesh.triangles, values, gradient),
        neighbours=_neighbours(mesh.triangles, len(mesh.points)),
        inverse=np.asarray(np.linalg.inv(along), dtype=np.float64),
        mirrored=mirrored,
    )


def _neighbours(triangles: IntArray, count: int) -> IntArray:
    """Triangle beyond the side opposite each corner, -1 at the boundary, (m, 3) array."""
    sides = np.sort(
        np.stack([triangles[:, [1, 2]], triangles[:, [2, 0]], triangles[:, [0, 1]]], axis=1), axis=2
    )
    key = (sides[..., 0] * count + sides[..., 1]).ravel()
    order = np.argsort(key, kind="stable")
    twin = np.nonzero(key[order][:-1] == key[order][1:])[0]
    found = np.full(len(key), -1, dtype=np.int64)
    one, other = order[twin], order[twin + 1]
    found[one], found[other] = other // 3, one // 3
    return found.reshape(triangles.shape)
