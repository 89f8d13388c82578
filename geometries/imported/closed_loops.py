"""From loose named curves to closed outlines with the vacuum on their left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from conegap.geometries.curves.clearance import inside
from conegap.geometries.curves.curve import FloatArray, IntArray, polyline
from conegap.geometries.curves.section import Boundary
from conegap.geometries.imported.drawn_piece import DrawnPiece, LinePiece
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["Closed", "at_place", "closed_loops", "vacuum_on_left"]


# Of the size of the drawing: ends nearer than this are one point, because drawings round their
# coordinates to six digits or more.
_JOINT = 1e-6


@dataclass(frozen=True)
class Closed:
    """Closed outlines.

    Parameters
    ----------
    loops : tuple of tuples of Boundary
        The outer outline first, counterclockwise; islands clockwise.
    deviation : float
        Largest distance of a redrawn spline from the drawn one, [m].
    """

    loops: tuple[tuple[Boundary, ...], ...]
    deviation: float


def at_place(place: FloatArray) -> str:
    """A place in words, such as "(1.2 mm, 3 um)".

    Parameters
    ----------
    place : (2,) array
        [m].
    """
    return f"({as_text(float(place[0]), LENGTH)}, {as_text(float(place[1]), LENGTH)})"


def closed_loops(
    pieces: Sequence[tuple[str, DrawnPiece]], *, axis: bool, half: bool, hint: str = ""
) -> Closed:
    """Join pieces end to end.

    Parameters
    ----------
    pieces : sequence of (str, DrawnPiece)
        Boundary name and piece, [m].
    axis : bool
        Open ends on x = 0 are joined along the axis where the drawing leaves it out.
    half : bool
        x = 0 is the axis or a line of symmetry: splines that meet it level go on as their image.
    hint : str
        What was left out of the drawing, for the message when it does not close.

    Raises
    ------
    GeometryError
        Ends that meet nothing, or more than two that meet in one place; the message gives the
        coordinates.
    """
    ends = np.array([end for _, piece in pieces for end in piece.ends])
    size = float(np.ptp(ends, axis=0).max()) or 1.0
    ends[np.abs(ends[:, 0]) < _JOINT * size, 0] = 0.0
    node, places = _joints(ends, _JOINT * size)
    named = list(pieces)
    links = [(int(node[2 * k]), int(node[2 * k + 1])) for k in range(len(pieces))]
    degree = np.bincount(node, minlength=len(places)).astype(np.int64)
    if axis:
        for one, other in _along_axis(degree, places):
            named.append(("axis", LinePiece(tuple(places[one]), tuple(places[other]))))
            links.append((one, other))
        degree = np.bincount(np.array(links).ravel(), minlength=len(places)).astype(np.int64)
    _check(degree, places, links, named, hint)
    rings = _rings(links)
    loops, deviation = [], 0.0
    for ring in rings:
        row = []
        for k, forward in ring:
            name, piece = named[k]
            first, last = (tuple(map(float, places[n])) for n in links[k])
            zero = (half and first[0] == 0.0, half and last[0] == 0.0)
            curve, off = piece.curve((first[0], first[1]), (last[0], last[1]), zero)
            deviation = max(deviation, off)
            row.append(Boundary(name, curve if forward else curve.reversed()))
        loops.append(tuple(row))
    return Closed(vacuum_on_left(loops), deviation)


def _joints(ends: FloatArray, tolerance: float) -> tuple[IntArray, FloatArray]:
    """Number of the joint at every end, and the joints' places."""
    tree = cKDTree(ends)
    number = np.full(len(ends), -1, dtype=np.int64)
    places: list[FloatArray] = []
    for k in range(len(ends)):
        if number[k] >= 0:
            continue
        mine = [i for i in tree.query_ball_point(ends[k], tolerance) if number[i] < 0]
        number[mine] = len(places)
        place = ends[mine].mean(axis=0)
        if np.any(ends[mine, 0] == 0.0):
            place[0] = 0.0
        places.append(place)
    return number, np.array(places)


def _along_axis(degree: IntArray, places: FloatArray) -> list[tuple[int, int]]:
    """Pairs of open ends on x = 0 that the axis joins, from below."""
    loose = [int(k) for k in np.flatnonzero((degree == 1) & (places[:, 0] == 0.0))]
    loose.sort(key=lambda k: float(places[k, 1]))
    if len(loose) % 2:
        return []
    return list(zip(loose[::2], loose[1::2], strict=True))


def _check(
    degree: IntArray,
    places: FloatArray,
    links: list[tuple[int, int]],
    named: list[tuple[str, DrawnPiece]],
    hint: str,
) -> None:
    """Refuse open ends and branches."""
    owner: dict[int, list[str]] = {}
    for (name, _), link in zip(named, links, strict=True):
        for n in link:
            owner.setdefault(n, []).append(name)
    crowded = np.flatnonzero(degree > 2)
    if len(crowded):
        k = int(crowded[0])
        raise GeometryError(
            f"{int(degree[k])} lines meet at {at_place(places[k])} "
            f"({', '.join(sorted(set(owner[k])))}), where the boundary of the vacuum has two; "
            "leave out lines inside metal and lines drawn twice"
        )
    loose = np.flatnonzero(degree == 1)
    if len(loose):
        told = []
        for k in loose[:6]:
            others = loose[loose != k]
            near = ""
            if len(others):
                gaps = np.hypot(*(places[others] - places[k]).T)
                j = int(np.argmin(gaps))
                near = (
                    f", {as_text(float(gaps[j]), LENGTH)} from the end of "
                    f"'{owner[int(others[j])][0]}' at {at_place(places[others[j]])}"
                )
            told.append(f"'{owner[int(k)][0]}' ends at {at_place(places[k])}{near}")
        more = f" and {len(loose) - 6} more" if len(loose) > 6 else ""
        raise GeometryError(
            f"the outline is open: {'; '.join(told)}{more}. Close the gaps; the boundary of the "
            f"vacuum must be drawn all round{hint}"
        )


def _rings(links: list[tuple[int, int]]) -> list[list[tuple[int, bool]]]:
    """Closed chains of pieces, each with its sense."""
    at: dict[int, list[int]] = {}
    for k, link in enumerate(links):
        for n in link:
            at.setdefault(n, []).append(k)
    left = set(range(len(links)))
    rings = []
    while left:
        k = min(left)
        start, here = links[k]
        ring = [(k, True)]
        left.discard(k)
        while here != start:
            k = next(j for j in at[here] if j in left)
            left.discard(k)
            forward = links[k][0] == here
            here = links[k][1] if forward else links[k][0]
            ring.append((k, forward))
        rings.append(ring)
    return rings


def vacuum_on_left(loops: Sequence[tuple[Boundary, ...]]) -> tuple[tuple[Boundary, ...], ...]:
    """Outer outline first and counterclockwise, islands clockwise.

    Parameters
    ----------
    loops : sequence of tuples of Boundary
        Closed, in any sense and order.

    Raises
    ------
    GeometryError
        One outline lies outside all the others, or a closed outline has no area.
    """
    points = [polyline([b.curve for b in loop], 129) for loop in loops]
    areas = [_area(p) for p in points]
    outer = int(np.argmax(np.abs(areas)))
    for k, p in enumerate(points):
        size = float(np.ptp(p, axis=0).max())
        if abs(areas[k]) < 1e-9 * size**2:
            raise GeometryError(f"a closed outline at {at_place(p[0])} has no area")
        if k != outer and not bool(np.all(inside(p, points[outer]))):
            raise GeometryError(
                f"a second closed outline at {at_place(p[0])} does not lie inside the largest one; "
                "the drawing must show one region of vacuum, with islands in it"
            )
    order = [outer, *(k for k in range(len(loops)) if k != outer)]
    return tuple(
        tuple(loops[k]) if (areas[k] > 0.0) == (k == outer) else _backwards(loops[k]) for k in order
    )


def _area(points: FloatArray) -> float:
    x, z = points[:, 0], points[:, 1]
    return 0.5 * float(np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z))


def _backwards(loop: Sequence[Boundary]) -> tuple[Boundary, ...]:
    return tuple(Boundary(b.name, b.curve.reversed()) for b in reversed(loop))
