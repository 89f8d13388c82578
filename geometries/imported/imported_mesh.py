"""A given mesh as the coarse mesh of a section: boundary curves through its points, Delaunay."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, IntArray, Line, Spline
from conegap.geometries.curves.section import (
    BOUNDARY_NAMES,
    Boundary,
    BoundaryLine,
    EmittingEdge,
    ImportedMesh,
    Symmetry,
)
from conegap.geometries.imported.closed_loops import at_place, vacuum_on_left
from conegap.geometries.imported.edge_flips import delaunay_flipped, opposite_angles
from conegap.geometries.imported.mesh_file import MeshFile
from conegap.geometries.imported.redrawn import nearest_parameters
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["MeshedOutline", "meshed_outline", "radius_error"]


# Of the size of the mesh; formats with single precision round to 6e-8 of it.
_ON_AXIS = 1e-7
# Lines that turn by less at a point lie on one straight line, [rad]: coordinates rounded to six
# digits turn lines of a hundredth of the size by as much.
_STRAIGHT = 1e-4
# A full circle meshed with ten lines turns by 36 degrees at each point; what turns by about as
# much or more is a corner of the drawing. A choice, no source.
_CORNER = math.radians(35.0)
# A corner as well, where both neighbours turn by less than a quarter of it.
_CLEAR_CORNER = math.radians(8.0)
# Beyond a right angle the circumcentre, a corner of the control volume, leaves the region;
# structured meshes along curved boundaries do so by a few degrees, which is let pass. A choice,
# no source.
_WIDEST = math.radians(95.0)
# About 100,000 points; halving them once, the least that shows an error, makes 400,000.
_MOST_TRIANGLES = 200_000


@dataclass(frozen=True)
class MeshedOutline:
    """Outlines of a mesh and the mesh itself, joined.

    Parameters
    ----------
    loops : tuple of tuples of Boundary
        The outer outline counterclockwise, islands clockwise.
    flips : int
        Inner edges that were flipped.
    """

    loops: tuple[tuple[Boundary, ...], ...]
    mesh: ImportedMesh
    flips: int


def meshed_outline(
    file: MeshFile, names: Mapping[str, str | None], *, symmetry: Symmetry, where: str
) -> MeshedOutline:
    """Boundary curves of a mesh, and its triangles brought to Delaunay's condition.

    Parameters
    ----------
    file : MeshFile
        In metres, the accelerator in the direction of +z.  It is not changed.
    names : mapping of str to str or None
        Boundary of every group; None or "nothing" for one without a meaning.
    symmetry : "planar" or "axisymmetric"
    where : str
        Name of the file, for messages.

    Raises
    ------
    GeometryError
        A boundary line without a name, triangles that overlap, obtuse angles that face the
        boundary, or too many triangles; the message gives the place.
    """
    if len(file.triangles) > _MOST_TRIANGLES:
        raise GeometryError(
            f"{where}: {len(file.triangles)} triangles are more than {_MOST_TRIANGLES}, the most "
            "that can be divided further for an error estimate; save a coarser mesh"
        )
    points = file.points.copy()
    size = float(np.ptp(points, axis=0).max())
    points[np.abs(points[:, 0]) < _ON_AXIS * size, 0] = 0.0
    triangles = _counterclockwise(points, file.triangles, where)
    triangles, flips = delaunay_flipped(points, triangles)
    known = _line_names(file, names)
    rings = _rings(points, triangles, known, symmetry, where, _how_to_name(file, names))
    _check_angles(points, triangles, where)
    half = symmetry == "axisymmetric" or any(n == "symmetry" for ring in rings for _, n in ring)
    loops: list[tuple[Boundary, ...]] = []
    lines: list[tuple[BoundaryLine, ...]] = []
    for ring in rings:
        row, edges = _curves(points, ring, half, len(loops))
        loops.append(row)
        lines.append(edges)
    ordered = vacuum_on_left(loops)
    # Boundary edges of counterclockwise triangles keep the inside on the left already.
    place = {id(row): k for k, row in enumerate(ordered)}
    numbered = [
        replace(line, boundary=(place[id(loops[k])], line.boundary[1]))
        for k, row in enumerate(lines)
        for line in row
    ]
    return MeshedOutline(ordered, ImportedMesh(points, triangles, tuple(numbered)), flips)


def radius_error(
    loops: tuple[tuple[Boundary, ...], ...], mesh: ImportedMesh, edge: EmittingEdge
) -> float:
    """How uncertain the edge's radius is because only points of the outline are known, [-].

    The radius of the curve through every other point is compared with that through all; an eighth
    of the difference stays, as for third order (a quintic spline's curvature is of fourth).

    Parameters
    ----------
    loops : tuple of tuples of Boundary
    """
    curve = loops[edge.loop][edge.index].curve
    if isinstance(curve, Line):
        return 0.0
    mine = [line for line in mesh.lines if line.boundary == (edge.loop, edge.index)]
    t = np.array([mine[0].t_first, *(line.t_last for line in mine)])
    points = curve.point(t)
    fewer = np.vstack([points[:-1:2], points[-1:]])
    if len(fewer) < 4:
        return 1.0
    level = []
    for end in (0.0, 1.0):
        place, way = curve.point([end])[0], curve.tangent([end])[0]
        near = abs(place[0]) <= 1e-9 * curve.length
        level.append(bool(near and abs(way[1]) < 1e-3 * abs(way[0])))
    other = Spline.through(fewer, mirror_first=level[0], mirror_last=level[1])
    samples = np.linspace(0.0, 1.0, 2001)
    distance = np.hypot(*(other.point(samples) - curve.point([edge.t])).T)
    bend = -float(other.curvature([samples[int(np.argmin(distance))]])[0])
    return abs(bend * edge.radius - 1.0) / 8.0


def _counterclockwise(points: FloatArray, triangles: IntArray, where: str) -> IntArray:
    corners = points[triangles]
    ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    twice = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    longest = np.maximum((ab**2).sum(axis=1), (ac**2).sum(axis=1))
    thin = np.abs(twice) < 1e-9 * longest
    if thin.any():
        k = int(np.argmax(thin))
        raise GeometryError(
            f"{where}: the triangle at {at_place(corners[k].mean(axis=0))} has no area"
        )
    result = triangles.copy()
    result[twice < 0.0] = triangles[twice < 0.0][:, [0, 2, 1]]
    return result


def _line_names(file: MeshFile, names: Mapping[str, str | None]) -> dict[tuple[int, int], str]:
    known = {}
    for line, group in zip(file.lines, file.line_groups, strict=True):
        meant = names[group]
        if meant in BOUNDARY_NAMES:
            known[int(min(line)), int(max(line))] = meant
    return known


def _how_to_name(file: MeshFile, names: Mapping[str, str | None]) -> str:
    """What to write for groups that have a number and no name, "" where there are none."""
    numbered = {
        group: file.line_groups.count(group)
        for group in file.groups
        if group.isdecimal() and names[group] not in (*BOUNDARY_NAMES, "nothing")
    }
    if not numbered:
        return ""
    found = ", ".join(f"{group} ({count} lines)" for group, count in numbered.items())
    first = next(iter(numbered))
    return (
        f"; groups with a number only: {found}; say under [emitter] what each of them is, such as "
        f'names = {{ "{first}" = "emitter" }}'
    )


def _rings(
    points: FloatArray,
    triangles: IntArray,
    known: Mapping[tuple[int, int], str],
    symmetry: Symmetry,
    where: str,
    how: str,
) -> list[list[tuple[int, str]]]:
    """Closed chains of boundary points, each with the name of the line that leaves it."""
    sides = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    low, high = sides.min(axis=1), sides.max(axis=1)
    key = low * len(points) + high
    unique, count = np.unique(key, return_counts=True)
    if np.any(count > 2):
        k = int(unique[int(np.argmax(count > 2))])
        place = points[[k // len(points), k % len(points)]].mean(axis=0)
        raise GeometryError(f"{where}: three triangles meet in one line at {at_place(place)}")
    border = sides[np.isin(key, unique[count == 1])]
    following: dict[int, int] = {}
    for a, b in border:
        if int(a) in following:
            raise GeometryError(
                f"{where}: the outline touches itself at {at_place(points[a])}; the vacuum must "
                "be one region whose boundary passes every point once"
            )
        following[int(a)] = int(b)
    named: dict[int, str] = {}
    nameless = []
    for a, b in following.items():
        name = known.get((min(a, b), max(a, b)))
        if name is None and symmetry == "axisymmetric" and points[a, 0] == points[b, 0] == 0.0:
            name = "axis"
        if name is None:
            nameless.append(a)
        else:
            named[a] = name
    if nameless:
        a = nameless[0]
        raise GeometryError(
            f"{where}: {len(nameless)} boundary lines have no name, the first from "
            f"{at_place(points[a])} to {at_place(points[following[a]])}; name every boundary "
            f"({', '.join(BOUNDARY_NAMES)}){how}"
        )
    left = set(following)
    rings = []
    while left:
        start = min(left)
        ring, here = [], start
        while here in left:
            left.discard(here)
            ring.append((here, named[here]))
            here = following[here]
        rings.append(ring)
    return rings


def _check_angles(points: FloatArray, triangles: IntArray, where: str) -> None:
    """Refuse triangles whose circumcentre lies far outside the region."""
    sides = np.stack([triangles[:, [1, 2]], triangles[:, [2, 0]], triangles[:, [0, 1]]], axis=1)
    key = sides.min(axis=2) * len(points) + sides.max(axis=2)
    unique, count = np.unique(key, return_counts=True)
    border = np.isin(key, unique[count == 1])
    angles = np.where(border, opposite_angles(points, triangles), 0.0)
    wide = np.argwhere(angles > _WIDEST)
    if len(wide):
        worst = int(np.argmax(angles[wide[:, 0], wide[:, 1]]))
        m, k = wide[worst]
        place = points[triangles[m]].mean(axis=0)
        raise GeometryError(
            f"{where}: {len(wide)} triangles face the boundary with an obtuse angle, the widest, "
            f"{math.degrees(angles[m, k]):.0f} deg, at {at_place(place)}: their control volumes "
            "would reach outside the region. Refine the boundary there, or write anew = true to "
            "let conegap mesh the same outline"
        )


def _curves(
    points: FloatArray, ring: list[tuple[int, str]], half: bool, loop: int
) -> tuple[tuple[Boundary, ...], tuple[BoundaryLine, ...]]:
    """Smooth curves and straight lines through a closed chain of boundary points."""
    count = len(ring)
    nodes = [node for node, _ in ring]
    names = [name for _, name in ring]
    turn = _turns(points[nodes])
    breaks = [k for k in range(count) if _breaks(k, names, turn, half, points[nodes])]
    if not breaks:
        flattest = int(np.argmin(np.abs(turn)))
        breaks = [flattest, (flattest + count // 2) % count]
    breaks.sort()
    row: list[Boundary] = []
    lines: list[BoundaryLine] = []
    for start, stop in zip(breaks, [*breaks[1:], breaks[0] + count], strict=True):
        mine = [k % count for k in range(start, stop + 1)]
        name = names[mine[0]]
        chain = [nodes[k] for k in mine]
        straight = bool(np.all(np.abs(turn[mine[1:-1]]) < _STRAIGHT))
        groups = (
            [chain]
            if straight or len(chain) >= 4
            else [list(pair) for pair in itertools.pairwise(chain)]
        )
        for group in groups:
            curve, t = _curve(points[group], half, straight or len(group) == 2)
            place = (loop, len(row))
            row.append(Boundary(name, curve))
            lines += [
                BoundaryLine(a, b, place, float(t[k]), float(t[k + 1]))
                for k, (a, b) in enumerate(itertools.pairwise(group))
            ]
    return tuple(row), tuple(lines)


def _turns(chain: FloatArray) -> FloatArray:
    """Angle by which a closed chain turns at every point, (n,) array, [rad]."""
    before = chain - np.roll(chain, 1, axis=0)
    after = np.roll(chain, -1, axis=0) - chain
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, (before * after).sum(axis=1)))


def _breaks(k: int, names: list[str], turn: FloatArray, half: bool, chain: FloatArray) -> bool:
    """Whether one curve ends and another begins at a point of a closed chain."""
    if names[k] != names[k - 1]:
        return True
    count = len(names)
    here = abs(float(turn[k]))
    before, after = abs(float(turn[k - 1])), abs(float(turn[(k + 1) % count]))
    if here > _CORNER or (here > _CLEAR_CORNER and here > 4.0 * max(before, after)):
        return True
    # The end of a straight stretch of two lines or more.
    return here >= _STRAIGHT and (before < _STRAIGHT) != (after < _STRAIGHT)


def _curve(chain: FloatArray, half: bool, straight: bool) -> tuple[Curve, FloatArray]:
    """A curve through points in order, and its parameter at each."""
    if straight:
        first, last = chain[0], chain[-1]
        length = float(np.hypot(*(last - first)))
        line = Line((float(first[0]), float(first[1])), (float(last[0]), float(last[1])))
        return line, np.hypot(*(chain - first).T) / length
    level = [False, False]
    if half:
        for end, (a, b, c) in enumerate((chain[:3], chain[:-4:-1])):
            if a[0] != 0.0:
                continue
            # Its mirror image turns by twice the slope of the first line.
            own = 2.0 * abs(math.atan2(b[1] - a[1], b[0] - a[0]))
            own = min(own, abs(2.0 * math.pi - own))
            one, two = b - a, c - b
            next_turn = abs(math.atan2(one[0] * two[1] - one[1] * two[0], float(one @ two)))
            corner = own > _CORNER or (own > _CLEAR_CORNER and own > 4.0 * next_turn)
            level[end] = not corner
    curve = Spline.through(chain, mirror_first=level[0], mirror_last=level[1])
    t = nearest_parameters(curve, chain)
    t[0], t[-1] = 0.0, 1.0
    return curve, t
