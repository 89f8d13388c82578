"""Triangles as a careful user of a general-purpose library makes them.

The outline goes to netgen as lines and rational quadratic curves with a spacing for each, graded
from the emitting edge; points of the mesh on curved boundaries are then put on the exact curve.
All peers share these meshes, so that only their own work differs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, IntArray, Line
from conegap.geometries.curves.section import Boundary, Section, electrode_of

__all__ = ["PlainMesh", "on_curve", "plain_mesh"]


# Spacing over radius of curvature at fineness one, as conegap's own grids have.
_PER_RADIUS = 0.35
# Growth at fineness one and its upper limit; the library's default is 0.3.
_GRADING = 0.3
_MOST_GRADING = 0.5
# Finer meshes are made by halving, as users of the libraries do.
_FINEST_MADE = 1.0
# Largest spacing over the size of the region.
_SHARE_OF_SIZE = 0.15
# Spacing at corners with a singular field, over the size of the region.
_CORNER = 2e-3
# Turn of a curve between two of its corner points, [rad].
_TURN = 0.6
# Stand for zero and for no limit in divisions and minima.
_TINY, _FAR = 1e-300, 1e99


@dataclass(frozen=True)
class PlainMesh:
    """Triangles of a section, lengths in units of ``scale``.

    Parameters
    ----------
    netgen : netgen mesh
        Boundary edges carry one name per curve, "loop_index".
    scale : float
        Length unit, [m].
    points : (n, 2) array
    triangles : (m, 3) array of int
    edges : (k, 2) array of int
        Boundary edges.
    owner : (k, 2) array of int
        (loop, index) of the curve of each edge.
    """

    netgen: Any
    scale: float
    points: FloatArray
    triangles: IntArray
    edges: IntArray
    owner: IntArray

    def dirichlet(self, section: Section) -> dict[str, IntArray]:
        """Rows of the boundary edges of every electrode."""
        found: dict[str, list[int]] = {}
        for row, (loop, index) in enumerate(self.owner):
            electrode = electrode_of(section.loops[loop][index].name)
            if electrode is not None:
                found.setdefault(electrode, []).append(row)
        return {name: np.array(rows) for name, rows in found.items()}


def on_curve(curve: Curve, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The nearest places on a curve, by Newton's method, and their parameters.

    Parameters
    ----------
    points : (n, 2) array
        Near the curve, [m].
    """
    fine = np.linspace(0.0, 1.0, 4001)
    away = curve.point(fine)
    t = fine[
        np.argmin(
            np.hypot(points[:, :1] - away[None, :, 0], points[:, 1:] - away[None, :, 1]), axis=1
        )
    ]
    for _ in range(8):
        off = curve.point(t) - points
        first, second = curve.derivative(t), curve.derivative(t, 2)
        slope = np.sum(first * first, axis=1) + np.sum(off * second, axis=1)
        t = np.clip(t - np.sum(off * first, axis=1) / np.maximum(slope, _TINY), 0.0, 1.0)
    return curve.point(t), t


def _pieces(curve: Curve) -> FloatArray:
    """Parameters that cut a curve where it has turned enough, and where its spacing doubles."""
    if isinstance(curve, Line):
        return np.array([0.0, 1.0])
    t = np.linspace(0.0, 1.0, 2001)
    bend, speed = np.abs(curve.curvature(t)), np.hypot(*curve.derivative(t).T)
    measure = bend * speed / _TURN + 0.7 * np.abs(np.gradient(np.log(bend + 1e-12 * bend.max()), t))
    passed = np.concatenate([[0.0], np.cumsum(0.5 * (measure[1:] + measure[:-1]) * np.diff(t))])
    count = max(1, math.ceil(float(passed[-1])))
    return np.interp(np.linspace(0.0, passed[-1], count + 1), passed, t)


def plain_mesh(section: Section, fineness: float) -> PlainMesh:
    """Mesh a section.

    Parameters
    ----------
    fineness : float
        Spacing over the usual one, [-]; below one a coarser mesh is divided uniformly by netgen's
        own refinement (asked for less growth, netgen leaves straight lines beside a fine edge
        undivided).

    Raises
    ------
    MeshError
        netgen refuses the outline.
    """
    from netgen.geom2d import SplineGeometry

    from conegap.geometries.quantities.errors import MeshError

    halvings = max(0, math.ceil(math.log2(_FINEST_MADE / fineness) - 1e-9))
    fineness *= 2.0**halvings
    radii = [e.radius for e in section.edges if e.radius > 0.0]
    size = float(np.ptp(section.outline(0), axis=0).max())
    scale = min(radii, default=size / 100.0)
    geometry = SplineGeometry()
    names: list[tuple[int, int]] = []
    corners = _corners(section)
    for number, loop in enumerate(section.loops):
        first_of_loop: int | None = None
        last = -1
        for index, boundary in enumerate(loop):
            curve = boundary.curve
            names.append((number, index))
            cuts = _pieces(curve)
            places = curve.point(cuts) / scale
            bend = np.abs(curve.curvature(cuts)) * scale
            if index == 0:
                sharp = fineness * _joint(loop, 0, (number, 0) in corners, size) / scale
                last = geometry.AppendPoint(*map(float, places[0]), maxh=sharp)
                first_of_loop = last
            for k, (low, high) in enumerate(pairwise(cuts)):
                closing = index == len(loop) - 1 and k == len(cuts) - 2
                if closing:
                    assert first_of_loop is not None
                    end = first_of_loop
                else:
                    joint = (number, (index + 1) % len(loop))
                    ends_here = k == len(cuts) - 2
                    sharp = _FAR
                    if ends_here:
                        sharp = fineness * _joint(loop, joint[1], joint in corners, size) / scale
                    end = geometry.AppendPoint(*map(float, places[k + 1]), maxh=sharp)
                spacing = _PER_RADIUS / max(float(bend[k : k + 2].max()), _TINY)
                spacing = fineness * min(spacing, _SHARE_OF_SIZE * size / scale)
                middle = None if isinstance(curve, Line) else _control(curve, low, high, scale)
                form: list[Any] = ["line", last, end]
                if middle is not None:
                    form = ["spline3", last, geometry.AppendPoint(*map(float, middle)), end]
                geometry.Append(
                    form, leftdomain=1, rightdomain=0, bc=f"{number}_{index}", maxh=spacing
                )
                last = end
    try:
        mesh = geometry.GenerateMesh(
            maxh=fineness * _SHARE_OF_SIZE * size / scale,
            grading=min(_MOST_GRADING, _GRADING * fineness),
        )
    except Exception as error:
        raise MeshError(f"netgen refuses the outline ({error})") from error
    for _ in range(halvings):
        mesh.Refine()
    return _checked(section, scale, mesh)


def _joint(loop: tuple[Boundary, ...], index: int, corner: bool, size: float) -> float:
    """Spacing wanted where a curve begins, from the bends of both curves that meet, [m]."""
    wanted = _CORNER * size if corner else _FAR
    for curve, t in ((loop[index - 1].curve, 1.0), (loop[index].curve, 0.0)):
        if not isinstance(curve, Line):
            bend = abs(float(curve.curvature(np.array([t]))[0]))
            wanted = min(wanted, _PER_RADIUS / max(bend, _TINY))
    return wanted


def _corners(section: Section) -> set[tuple[int, int]]:
    """(loop, index) of curves that begin at a corner where the field is not smooth."""
    found = set()
    for number, loop in enumerate(section.loops):
        for index in range(len(loop)):
            before, here = loop[index - 1], loop[index]
            a, b = before.curve.tangent([1.0])[0], here.curve.tangent([0.0])[0]
            turn = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
            mixed = (electrode_of(before.name) is None) != (electrode_of(here.name) is None)
            if math.pi - turn > math.radians(100.0 if mixed else 181.0):
                found.add((number, index))
    return found


def _control(curve: Curve, low: float, high: float, scale: float) -> FloatArray | None:
    """Where the tangents of both ends meet, or None for a piece that is straight."""
    ends = curve.point([low, high]) / scale
    (ax, az), (bx, bz) = curve.tangent([low, high])
    cross = ax * bz - az * bx
    if abs(cross) < 1e-6:
        return None
    gap = ends[1] - ends[0]
    along = (gap[0] * bz - gap[1] * bx) / cross
    return np.asarray(ends[0] + along * np.array([ax, az]))


def _checked(section: Section, scale: float, mesh: Any) -> PlainMesh:
    """Arrays of a netgen mesh, its boundary points put on the exact curves."""
    points = mesh.Coordinates()[:, :2].copy()
    triangles = np.array(mesh.Elements2D().NumPy()["nodes"][:, :3], dtype=np.intp) - 1
    lines = mesh.Elements1D().NumPy()
    edges = np.array(lines["nodes"][:, :2], dtype=np.intp) - 1
    which = np.array([_name(mesh, int(k)) for k in lines["index"]], dtype=np.intp)
    for loop, index in {tuple(row) for row in which.tolist()}:
        curve = section.loops[loop][index].curve
        mine = np.all(which == (loop, index), axis=1)
        nodes = np.unique(edges[mine])
        points[nodes] = on_curve(curve, points[nodes] * scale)[0] / scale
    on_axis = np.abs(points[:, 0]) < 1e-12
    points[on_axis, 0] = 0.0
    return PlainMesh(mesh, scale, points, triangles, edges, which)


def _name(mesh: Any, index: int) -> tuple[int, int]:
    loop, number = mesh.GetBCName(index - 1).split("_")
    return int(loop), int(number)
