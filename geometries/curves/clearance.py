"""Distances between the electrodes as drawn: overlap, contact and the closest places."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import Arc, BoolArray, Curve, FloatArray, Line
from conegap.geometries.curves.section import Boundary, Section, electrode_of
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["Closest", "check_clearance", "closest_places", "crossing", "inside", "ray_distance"]


# Chords per half turn: they stay within 1 - cos(pi / 256) = 8e-5 of the radius of an arc, less
# than what counts as contact.
_SAMPLES = 128
# Of the size of the drawing; what lies nearer than a ten-thousandth of it nobody can set or
# measure, so it counts as contact.
_TOUCH = 1e-4


@dataclass(frozen=True)
class Closest:
    """The closest places of two outlines.

    Parameters
    ----------
    distance : float
        Clearance, [m].
    first, last : (2,) array
        The two places, [m].
    segment : int
        Segment of the second outline on which ``last`` lies.
    """

    distance: float
    first: FloatArray
    last: FloatArray
    segment: int


def _sampled(curve: Curve, lines: int) -> FloatArray:
    """Points of a curve, dense in proportion to the angle it turns."""
    if isinstance(curve, Line):
        count = lines
    elif isinstance(curve, Arc):
        count = 3 + math.ceil(abs(curve.last_angle - curve.first_angle) / math.pi * _SAMPLES)
        count += 1 - count % 2
    else:
        count = 2 * _SAMPLES + 1
    return curve.point(np.linspace(0.0, 1.0, count))


def closest_places(points: FloatArray, outline: FloatArray) -> Closest:
    """The point of a set that lies closest to an outline.

    Parameters
    ----------
    points : (n, 2) array
        Points, [m].
    outline : (m, 2) array
        Polyline, [m].
    """
    distance, share = _to_segments(points, outline)
    i, j = np.unravel_index(int(np.argmin(distance)), distance.shape)
    a, b = outline[j], outline[j + 1]
    return Closest(float(distance[i, j]), points[i], a + share[i, j] * (b - a), int(j))


def _to_segments(points: FloatArray, outline: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distance of each point from each segment and where on it, (n, m - 1) arrays."""
    ax, az = outline[:-1, 0], outline[:-1, 1]
    dx, dz = np.diff(outline[:, 0]), np.diff(outline[:, 1])
    length = np.maximum(dx * dx + dz * dz, 1e-300)
    x, z = points[:, :1] - ax, points[:, 1:] - az
    share = np.clip((x * dx + z * dz) / length, 0.0, 1.0)
    x -= share * dx
    z -= share * dz
    return np.sqrt(x * x + z * z), share


def crossing(one: FloatArray, other: FloatArray) -> bool:
    """Whether two polylines cross.

    Parameters
    ----------
    one, other : (n, 2) array
        [m].
    """

    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
        u, v = (q - p)[:, None, :], r[None, :, :] - p[:, None, :]
        return np.asarray(np.sign(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]))

    from_one = side(one[:-1], one[1:], other)
    from_other = side(other[:-1], other[1:], one).T
    apart = from_one[:, :-1] * from_one[:, 1:]
    return bool(np.any((apart < 0.0) & (from_other[:-1] * from_other[1:] < 0.0)))


def inside(points: FloatArray, outline: FloatArray) -> BoolArray:
    """Which points lie inside a closed outline, (n,) array of bool."""
    x, z = points[:, 0][:, None], points[:, 1][:, None]
    following = np.roll(outline, -1, axis=0)
    xa, za = outline[:, 0][None, :], outline[:, 1][None, :]
    xb, zb = following[:, 0][None, :], following[:, 1][None, :]
    straddles = (za > z) != (zb > z)
    rise = np.where(straddles, zb - za, 1.0)
    crossing = xa + (z - za) / rise * (xb - xa)
    return np.asarray(np.count_nonzero(straddles & (x < crossing), axis=1) % 2 == 1)


def ray_distance(origin: FloatArray, direction: FloatArray, outline: FloatArray) -> float:
    """Distance from an origin in a direction to an outline, infinite where it misses, [m]."""
    a, d = outline[:-1], np.diff(outline, axis=0)
    cross = direction[0] * d[:, 1] - direction[1] * d[:, 0]
    away = a - origin
    safe = np.where(np.abs(cross) > 0.0, cross, np.inf)
    along = (away[:, 0] * d[:, 1] - away[:, 1] * d[:, 0]) / safe
    share = (away[:, 0] * direction[1] - away[:, 1] * direction[0]) / safe
    slack = 1e-9
    hits = along[(along > 0.0) & (share >= -slack) & (share <= 1.0 + slack) & (cross != 0.0)]
    return float(hits.min()) if len(hits) else float("inf")


def check_clearance(section: Section) -> float:
    """Refuse electrodes that overlap or touch.

    Parameters
    ----------
    section : Section
        The section as built.

    Returns
    -------
    float
        Smallest distance between the emitter and the accelerator, [m].

    Raises
    ------
    GeometryError
        Two electrodes overlap or touch; the message says where and by how much.
    """
    frame, *islands = section.loops
    for i, island in enumerate(islands):
        _check_pair(island, frame)
        for other in islands[i + 1 :]:
            _check_pair(island, other, beside=True)
    return _emitter_clearance(section)


@dataclass(frozen=True)
class _Loop:
    """A sampled loop and the boundary name of every point."""

    points: FloatArray
    names: tuple[str, ...]

    @classmethod
    def of(cls, loop: Sequence[Boundary], lines: int) -> _Loop:
        parts = [_sampled(b.curve, lines) for b in loop]
        names = [b.name for b, part in zip(loop, parts, strict=True) for _ in part]
        return cls(np.vstack(parts), tuple(names))

    def name_at(self, place: FloatArray) -> str:
        """Boundary name of the point nearest to a place."""
        return self.names[int(np.argmin(np.hypot(*(self.points - place).T)))]

    @property
    def closed(self) -> FloatArray:
        return np.vstack([self.points, self.points[:1]])


def _called(name: str) -> str:
    return {
        "outer": "insulating floor",
        "chamber": "chamber wall",
        "axis": "axis",
        "symmetry": "plane of symmetry",
        "liquid": "liquid",
    }.get(name, name)


def _check_pair(
    first: Sequence[Boundary], second: Sequence[Boundary], *, beside: bool = False
) -> None:
    """An island must lie inside the frame, or outside a neighbouring island."""
    island, other = _Loop.of(first, 2), _Loop.of(second, 2)
    size = float(np.ptp(island.points, axis=0).min())
    lost = inside(island.points, other.points) != beside
    if not np.all(lost) or crossing(island.closed, other.closed):
        depth, where, name = _deepest(_Loop.of(first, 129), _Loop.of(second, 129), beside)
        if depth > _TOUCH * size:
            raise GeometryError(
                f"the accelerator overlaps the {_called(name)} by {as_text(depth, LENGTH)} at "
                f"{_at(where)}; {_remedy(name)}"
            )
    nearest = closest_places(island.points, other.closed)
    reverse = closest_places(other.points, island.closed)
    name, place = other.names[min(nearest.segment, len(other.names) - 1)], nearest.last
    if reverse.distance < nearest.distance:
        name, place = other.name_at(reverse.first), reverse.first
    distance = min(nearest.distance, reverse.distance)
    if name not in ("axis", "symmetry") and distance <= _TOUCH * size:
        raise GeometryError(
            f"the accelerator touches the {_called(name)} at {_at(place)} "
            f"(clearance {as_text(distance, LENGTH)}); {_remedy(name)}"
        )


def _deepest(island: _Loop, other: _Loop, beside: bool) -> tuple[float, FloatArray, str]:
    """How far two outlines overlap, where, and the name of the boundary that is overlapped."""
    found = [(0.0, island.points[0], other.names[0])]
    within = inside(island.points, other.points)
    lost = island.points[within if beside else ~within]
    pierced = other.points[inside(other.points, island.points)]
    if len(lost):
        distances, _ = _to_segments(lost, other.closed)
        i = int(np.argmax(distances.min(axis=1)))
        segment = min(int(np.argmin(distances[i])), len(other.names) - 1)
        found.append((float(distances[i].min()), lost[i], other.names[segment]))
    if len(pierced):
        distances, _ = _to_segments(pierced, island.closed)
        i = int(np.argmax(distances.min(axis=1)))
        found.append((float(distances[i].min()), pierced[i], other.name_at(pierced[i])))
    return max(found, key=lambda item: item[0])


def _at(place: FloatArray) -> str:
    x, z = as_text(float(place[0]), LENGTH), as_text(float(place[1]), LENGTH)
    return f"x = {x}, z = {z} (z counts from the emitter's apex)"


def _remedy(name: str) -> str:
    return {
        "emitter": "increase accelerator.gap or the opening, or make the emitter slimmer",
        "liquid": "increase accelerator.gap or the opening",
        "chamber": "enlarge the chamber (radius, half_width or length) or shrink the accelerator",
        "outer": "increase accelerator.gap or the emitter's height above its holder",
        "accelerator": "move the two outlines apart",
    }.get(name, "keep the accelerator's outline away from the middle")


def _emitter_clearance(section: Section) -> float:
    """Smallest distance between emitter and accelerator, [m]."""
    sides: dict[str, list[FloatArray]] = {"emitter": [], "accelerator": []}
    for loop in section.loops:
        previous = None
        for boundary in loop:
            electrode = electrode_of(boundary.name)
            if electrode in sides:
                points = _sampled(boundary.curve, 2)
                if electrode == previous:
                    sides[electrode][-1] = np.vstack([sides[electrode][-1], points])
                else:
                    sides[electrode].append(points)
            previous = electrode
    best = float("inf")
    for one in sides["emitter"]:
        for other in sides["accelerator"]:
            for points, outline in ((one, other), (other, one)):
                best = min(best, closest_places(points, outline).distance)
    return best
