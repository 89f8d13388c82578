"""Distances between the electrodes as drawn: overlap, contact and the closest places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conegap.geometries.curves import Curve, FloatArray, Line
from conegap.geometries.errors import GeometryError
from conegap.geometries.quantity import LENGTH, as_text
from conegap.geometries.section import Boundary, Section, electrode_of

__all__ = ["Closest", "check_clearance", "closest_places", "inside", "ray_distance"]

BoolArray = NDArray[np.bool_]

_SAMPLES = 257
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


def _sampled(curves: Sequence[Curve]) -> FloatArray:
    """A fine polyline, lines divided too, so that a depth can be measured."""
    parts = []
    for curve in curves:
        t = np.linspace(0.0, 1.0, 33 if isinstance(curve, Line) else _SAMPLES)
        parts.append(curve.point(t))
    return np.vstack(parts)


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
    a, d = outline[:-1], np.diff(outline, axis=0)
    length = np.maximum(np.sum(d * d, axis=1), 1e-300)
    away = points[:, None, :] - a[None, :, :]
    share = np.clip(np.sum(away * d, axis=2) / length, 0.0, 1.0)
    rest = away - share[:, :, None] * d
    return np.hypot(rest[..., 0], rest[..., 1]), share


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
    """Distance along a ray to an outline, infinite where it misses, [m]."""
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
    loops = [_Loop.of(loop) for loop in section.loops]
    frame = loops[0]
    for island in loops[1:]:
        _check_pair(island, frame)
    for i, island in enumerate(loops[1:], start=1):
        for other in loops[i + 1 :]:
            _check_pair(island, other, beside=True)
    return _emitter_clearance(section)


@dataclass(frozen=True)
class _Loop:
    """A sampled loop and the boundary name of every point."""

    points: FloatArray
    names: tuple[str, ...]

    @classmethod
    def of(cls, loop: Sequence[Boundary]) -> _Loop:
        parts = [_sampled([b.curve]) for b in loop]
        names = [b.name for b, part in zip(loop, parts, strict=True) for _ in part]
        return cls(np.vstack(parts), tuple(names))

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


def _check_pair(island: _Loop, other: _Loop, *, beside: bool = False) -> None:
    """An island must lie inside the frame, or outside a neighbouring island."""
    within = inside(island.points, other.points)
    lost = within if beside else ~within
    pierced = inside(other.points, island.points)
    wrong = np.vstack([island.points[lost], other.points[pierced]])
    nearest = closest_places(island.points, other.closed)
    if len(wrong):
        depth = 0.0
        where, name = wrong[0], "emitter"
        for points, outline, names in (
            (island.points[lost], other, other.names),
            (other.points[pierced], island, None),
        ):
            if not len(points):
                continue
            distances, _ = _to_segments(points, outline.closed)
            own = distances.min(axis=1)
            i = int(np.argmax(own))
            if own[i] >= depth:
                depth, where = float(own[i]), points[i]
                if names is None:
                    k = int(np.argmin(np.hypot(*(other.points - where).T)))
                    name = other.names[k]
                else:
                    name = names[min(int(np.argmin(distances[i])), len(names) - 1)]
        size = float(np.ptp(island.points, axis=0).min())
        if depth > _TOUCH * size:
            raise GeometryError(
                f"the accelerator overlaps the {_called(name)} by {as_text(depth, LENGTH)} at "
                f"x = {as_text(where[0], LENGTH)}, z = {as_text(where[1], LENGTH)} (z counts from "
                f"the emitter's crest); {_remedy(name)}"
            )
    reverse = closest_places(other.points, island.closed)
    if reverse.distance < nearest.distance:
        k = int(np.argmin(np.hypot(*(other.points - reverse.first).T)))
        name, place = other.names[k], reverse.first
    else:
        name, place = other.names[min(nearest.segment, len(other.names) - 1)], nearest.last
    distance = min(nearest.distance, reverse.distance)
    if name in ("axis", "symmetry"):
        return
    if distance <= _TOUCH * float(np.ptp(island.points, axis=0).min()):
        raise GeometryError(
            f"the accelerator touches the {_called(name)} at x = {as_text(place[0], LENGTH)}, "
            f"z = {as_text(place[1], LENGTH)} (clearance {as_text(distance, LENGTH)}); "
            f"{_remedy(name)}"
        )


def _remedy(name: str) -> str:
    return {
        "emitter": "increase accelerator.gap or the opening, or make the emitter slimmer",
        "liquid": "increase accelerator.gap or the opening",
        "chamber": "make the chamber larger (its radius or half_width, its length) or the accelerator "
        "smaller",
        "outer": "increase accelerator.gap or the emitter's height above its holder",
        "accelerator": "move the two outlines apart",
    }.get(name, "keep the accelerator's outline away from the middle")


def _emitter_clearance(section: Section) -> float:
    """Smallest distance between emitter and accelerator, [m]."""
    sides: dict[str, list[FloatArray]] = {"emitter": [], "accelerator": []}
    for loop in section.loops:
        for boundary in loop:
            electrode = electrode_of(boundary.name)
            if electrode in sides:
                sides[electrode].append(_sampled([boundary.curve]))
    best = float("inf")
    for one in sides["emitter"]:
        for other in sides["accelerator"]:
            best = min(
                best, closest_places(one, other).distance, closest_places(other, one).distance
            )
    return best
