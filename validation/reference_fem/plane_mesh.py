"""Triangles with quadratic edges on the exact boundary, for the finite-element check.

Shares nothing with the solver's own meshing: the boundary is divided here by repeated halving,
the inside is filled by the netgen library, and the middle of every boundary edge is put back on
its curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray, Line
from conegap.geometries.curves.section import Section, electrode_of
from conegap.geometries.quantities.errors import MeshError

__all__ = ["CurvedTriangles", "curved_triangles"]


# Of the spacing per distance from a finer place.
_GROWTH = 0.35
# Along the boundary; a mesh with more takes too long for a check.
_MOST_SEGMENTS = 8000


@dataclass(frozen=True)
class CurvedTriangles:
    """A mesh of a section for the finite elements, in units of ``scale``.

    Parameters
    ----------
    mesh : skfem.MeshTri2
    scale : float
        Length unit, [m].
    facets : (n,) array
        Boundary edges of the mesh.
    owner : (n, 2) array
        (loop, index) of the boundary curve of each.
    parameter : (n, 2) array
        Curve parameter of its two ends, in the direction of the boundary, [-].
    """

    mesh: Any
    scale: float
    facets: IntArray
    owner: IntArray
    parameter: FloatArray

    def on(self, loop: int, index: int) -> IntArray:
        """Rows of ``facets`` on one boundary curve, in the order of its parameter."""
        rows = np.flatnonzero((self.owner[:, 0] == loop) & (self.owner[:, 1] == index))
        return rows[np.argsort(self.parameter[rows, 0])]


@dataclass(frozen=True)
class _Division:
    """Parameters t of the points along one boundary curve."""

    owner: tuple[int, int]
    t: FloatArray


def _corner_points(section: Section) -> list[FloatArray]:
    """Joints where the potential is not smooth: wide corners of the vacuum that need grading."""
    found = []
    for loop in section.loops:
        for one, following in zip(loop, loop[1:] + loop[:1], strict=True):
            a = one.curve.tangent(np.array([1.0]))[0]
            b = following.curve.tangent(np.array([0.0]))[0]
            turn = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
            mixed = (electrode_of(one.name) is None) != (electrode_of(following.name) is None)
            # A left turn by 180 deg - angle; smooth where turn = 0.
            angle = math.pi - turn
            smooth = math.radians(100.0) if mixed else math.radians(181.0)
            if angle > smooth:
                found.append(one.curve.end)
    return found


def _own_limit(section: Section, item: tuple[int, int], t: FloatArray) -> FloatArray:
    """Largest spacing from the curve itself, (n,) array, [m]."""
    boundary = section.loops[item[0]][item[1]]
    limit = np.full(len(t), np.inf)
    if not isinstance(boundary.curve, Line):
        bend = np.abs(boundary.curve.curvature(t))
        limit = np.asarray(0.35 / np.maximum(bend, 1e-300))
    if section.symmetry == "axisymmetric" and electrode_of(boundary.name) is not None:
        radial = np.abs(boundary.curve.normal(t)[:, 0])
        radius = boundary.curve.point(t)[:, 0]
        wall = (radial > 0.05) & (radius > 1e-12 * radius.max())
        limit[wall] = np.minimum(limit[wall], radius[wall] / radial[wall])
    return np.asarray(limit)


def _divide(section: Section, fineness: float, size: float) -> list[_Division]:
    """Halve the pieces of every boundary until each is as short as its place demands."""
    items = [(i, j) for i, loop in enumerate(section.loops) for j in range(len(loop))]
    parameter = {item: np.linspace(0.0, 1.0, 9) for item in items}
    marked = [(p, 1e-3 * size) for p in _corner_points(section)]
    for edge in section.edges:
        curve = section.loops[edge.loop][edge.index].curve
        if edge.radius > 0.0 and math.isfinite(edge.radius):
            marked.append((curve.point(np.array([edge.t]))[0], 0.2 * edge.radius))
    for _ in range(60):
        places = [np.array([p for p, _ in marked]).reshape(-1, 2)]
        limits = [np.array([s for _, s in marked]) * fineness]
        for item in items:
            t = parameter[item]
            where = np.sort(np.concatenate([t, (t[1:] + t[:-1]) / 2.0]))
            places.append(section.loops[item[0]][item[1]].curve.point(where))
            limits.append(fineness * np.minimum(_own_limit(section, item, where), 0.2 * size))
        place, limit = np.vstack(places), np.concatenate(limits)
        if len(place) > 2 * _MOST_SEGMENTS:
            raise MeshError(f"the boundary asks for more than {_MOST_SEGMENTS} segments")
        changed = False
        for item in items:
            curve, t = section.loops[item[0]][item[1]].curve, parameter[item]
            middle = (t[1:] + t[:-1]) / 2.0
            at = curve.point(middle)
            far = np.hypot(at[:, :1] - place[:, 0], at[:, 1:] - place[:, 1])
            allowed = np.min(limit + _GROWTH * far, axis=1)
            allowed = np.minimum(allowed, _clearance(section, item, at, parameter))
            long = np.hypot(*np.diff(curve.point(t), axis=0).T) > allowed
            if np.any(long):
                changed = True
                parameter[item] = np.sort(np.concatenate([t, middle[long]]))
        if not changed:
            break
    return [_Division(item, parameter[item]) for item in items]


def _clearance(
    section: Section, item: tuple[int, int], at: FloatArray, parameter: dict[Any, FloatArray]
) -> FloatArray:
    """Distance of points of one curve from all curves that are not its neighbours, [m]."""
    count = len(section.loops[item[0]])
    near = {(item[0], (item[1] + k) % count) for k in (-1, 0, 1)}
    others = [
        section.loops[i][j].curve.point(t) for (i, j), t in parameter.items() if (i, j) not in near
    ]
    if not others:
        return np.full(len(at), np.inf)
    cloud = np.vstack(others)
    return np.asarray(np.hypot(at[:, :1] - cloud[:, 0], at[:, 1:] - cloud[:, 1]).min(axis=1))


def _fill(section: Section, divisions: list[_Division], scale: float) -> tuple[Any, ...]:
    """Points, triangles and boundary edges (ends, division, parameters) from netgen."""
    from netgen.geom2d import SplineGeometry

    geometry = SplineGeometry()
    pieces: list[tuple[int, float, float]] = []
    at = 0
    for number in range(len(section.loops)):
        here = [d for d in divisions if d.owner[0] == number]
        numbers: list[int] = []
        for division in here:
            curve = section.loops[number][division.owner[1]].curve
            for x, z in curve.point(division.t[:-1]) / scale:
                numbers.append(geometry.AppendPoint(float(x), float(z)))
        ring = [*numbers[1:], numbers[0]]
        spot = 0
        for division in here:
            for first, last in zip(division.t[:-1], division.t[1:], strict=True):
                geometry.Append(
                    ["line", numbers[spot], ring[spot]],
                    bc=len(pieces) + 1,
                    leftdomain=1,
                    rightdomain=0,
                )
                pieces.append((at + here.index(division), float(first), float(last)))
                spot += 1
        at += len(here)
    mesh = geometry.GenerateMesh(maxh=1e12, grading=0.25, segmentsperedge=0.3)
    points = np.array([p.p[:2] for p in mesh.Points()])
    triangles = np.array([[v.nr - 1 for v in e.vertices] for e in mesh.Elements2D()])
    edges = [(tuple(v.nr - 1 for v in e.vertices), e.index) for e in mesh.Elements1D()]
    return points, triangles, edges, pieces


def curved_triangles(section: Section, fineness: float = 1.0) -> CurvedTriangles:
    """Mesh a section.

    Parameters
    ----------
    fineness : float
        Spacing over the usual one; 0.5 halves it everywhere, [-].

    Raises
    ------
    MeshError
        The boundary is too intricate, or an element is turned inside out.
    """
    from skfem import MeshTri, MeshTri2

    size = float(np.ptp(section.outline(0), axis=0).max())
    scale = min([e.radius for e in section.edges if 0.0 < e.radius < math.inf], default=size / 10.0)
    divisions = _divide(section, fineness, size)
    points, triangles, edges, pieces = _fill(section, divisions, scale)
    corners = np.ascontiguousarray(triangles.T)
    flat = MeshTri(np.ascontiguousarray(points.T), corners)
    lookup = {tuple(sorted(pair)): k for k, pair in enumerate(flat.facets.T.tolist())}
    facets, owner, parameter, middles = [], [], [], []
    for (one, two), index in edges:
        division, first, last = pieces[index - 1]
        loop, number = divisions[division].owner
        curve = section.loops[loop][number].curve
        a, b = curve.point(np.array([first, last])) / scale
        along = np.array([(points[k] - a) @ (b - a) / ((b - a) @ (b - a)) for k in (one, two)])
        if along[0] > along[1]:
            along, one, two = along[::-1], two, one
        t = first + (last - first) * along
        for k, place in zip((one, two), curve.point(t) / scale, strict=True):
            points[k] = place
        facets.append(lookup[tuple(sorted((one, two)))])
        owner.append((loop, number))
        parameter.append(t)
        middles.append(curve.point(np.array([t.mean()]))[0] / scale)
    curved = MeshTri2.from_mesh(MeshTri(np.ascontiguousarray(points.T), corners))
    places = curved.doflocs.copy()
    places[:, curved.dofs.facet_dofs[0, facets]] = np.array(middles).T
    mesh = MeshTri2(np.ascontiguousarray(places), curved.t)
    if _folded(mesh):
        raise MeshError("a curved triangle of the finite-element check is turned inside out")
    return CurvedTriangles(mesh, scale, np.array(facets), np.array(owner), np.array(parameter))


# Reference coordinates of a quadratic triangle's six nodes.
_CORNERS = np.array([[0.0, 1.0, 0.0, 0.5, 0.5, 0.0], [0.0, 0.0, 1.0, 0.0, 0.5, 0.5]])


def _folded(mesh: Any) -> bool:
    """Whether the orientation changes inside any one triangle."""
    jacobian = mesh.mapping().detDF(_CORNERS)
    return bool(np.any(jacobian.min(axis=1) * jacobian.max(axis=1) <= 0.0))
