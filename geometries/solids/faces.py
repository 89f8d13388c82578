"""The surfaces that bound a solid: swept lines and arcs, and flat ends.

A surface is unbounded where its distance is asked for, so that a point can be brought onto two or
three of them at once, and bounded where it is asked which points lie on it.  The surfaces of a
solid come in the order of its description: those of a changed solid of the same kind correspond one
by one, which is how the points of a mesh are carried over to it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from conegap.geometries.curves.curve import Arc, BoolArray, Curve, FloatArray, Line
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.solids.shapes import (
    Block,
    Difference,
    ExtrudedX,
    ExtrudedZ,
    Intersection,
    PartialRevolve,
    Revolved,
    Solid,
    Union,
)

__all__ = ["Ball", "Face", "Flat", "Swept", "faces_of"]

# Of a curve's length, beyond its ends: what lies on a corner belongs to both pieces.
_BEYOND = 1e-6


class Face(Protocol):
    """A surface to which the points of a mesh belong."""

    def distance(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Signed distance from the unbounded surface and its gradient.

        Parameters
        ----------
        points : (n, 3) array
            [m].

        Returns
        -------
        (n,) array, [m]; (n, 3) array, [-]
        """
        ...

    def bounds(self, points: FloatArray) -> BoolArray:
        """Which points, known to lie on the unbounded surface, lie within its bounds.

        Parameters
        ----------
        points : (n, 3) array
            [m].

        Returns
        -------
        (n,) array of bool
        """
        ...

    def carried(self, points: FloatArray, other: Face) -> FloatArray:
        """Where points on this surface lie, in proportion, on the surface of a changed solid.

        Parameters
        ----------
        points : (n, 3) array
            [m].
        other : Face
            Of the same kind.

        Returns
        -------
        (n, 3) array
            [m].
        """
        ...


@dataclass(frozen=True)
class Flat:
    """A plane across an axis, or across any direction, with the box in which it counts.

    Parameters
    ----------
    normal : tuple of float
        Unit vector, [-].
    offset : float
        Of the plane along it, [m].
    low, high : tuple of float
        Opposite corners of the box, [m].
    """

    normal: tuple[float, float, float]
    offset: float
    low: tuple[float, float, float]
    high: tuple[float, float, float]

    def distance(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Face`."""
        normal = np.array(self.normal)
        return points @ normal - self.offset, np.broadcast_to(normal, points.shape)

    def bounds(self, points: FloatArray) -> BoolArray:
        """See `Face`."""
        low, high = np.array(self.low), np.array(self.high)
        margin = _BEYOND * np.max(high - low)
        return np.asarray(np.all((points >= low - margin) & (points <= high + margin), axis=1))

    def carried(self, points: FloatArray, other: Face) -> FloatArray:
        """See `Face`."""
        assert isinstance(other, Flat)
        low, high = np.array(self.low), np.array(self.high)
        wide = np.where(high > low, high - low, 1.0)
        share = (points - low) / wide
        new = np.array(other.low) + share * (np.array(other.high) - np.array(other.low))
        # Where the box has no depth the share is a plain distance.
        return np.asarray(np.where(high > low, new, np.array(other.low) + points - low))


@dataclass(frozen=True)
class Ball:
    """A sphere.

    Parameters
    ----------
    centre : tuple of float
        [m].
    radius : float
        [m].
    """

    centre: tuple[float, float, float]
    radius: float

    def distance(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Face`."""
        away = points - np.array(self.centre)
        length = np.linalg.norm(away, axis=1)
        return length - self.radius, away / np.maximum(length, 1e-300)[:, None]

    def bounds(self, points: FloatArray) -> BoolArray:
        """See `Face`."""
        return np.ones(len(points), dtype=bool)

    def carried(self, points: FloatArray, other: Face) -> FloatArray:
        """See `Face`."""
        assert isinstance(other, Ball)
        away = points - np.array(self.centre)
        return np.asarray(np.array(other.centre) + away * (other.radius / self.radius))


@dataclass(frozen=True)
class Swept:
    """A line or an arc swept along an axis or about one.

    Parameters
    ----------
    curve : Line or Arc
        In the plane (first, second), [m].
    about : (3, 3) tuple of tuples
        Unit vectors of first, second and of the sweep, [-].
    origin : tuple of float
        Of the plane; for a sweep about an axis a point of that axis, [m].
    start, stop : float
        Of the sweep along the third vector, [m], or about the second one from the first towards
        the third, [rad].
    turned : bool
        Whether the sweep turns about the second vector's direction; else it moves along the third.
    """

    curve: Curve
    about: tuple[tuple[float, ...], ...]
    origin: tuple[float, float, float]
    start: float
    stop: float
    turned: bool

    def _plane(self, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Places in the plane of the curve, of the sweep, and the plane's first direction there."""
        one, two, three = (np.array(v) for v in self.about)
        away = points - np.array(self.origin)
        x, y, z = away @ one, away @ two, away @ three
        if not self.turned:
            return np.stack([x, y], axis=1), z, np.broadcast_to(one, points.shape)
        far = np.hypot(x, z)
        angle = np.arctan2(z, x)
        outward = np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * three
        return np.stack([far, y], axis=1), angle, outward

    def _solid(self, flat: FloatArray, along: FloatArray) -> FloatArray:
        """Places in space from those in the plane and along the sweep."""
        one, two, three = (np.array(v) for v in self.about)
        if self.turned:
            first = np.cos(along)[:, None] * one + np.sin(along)[:, None] * three
            return np.asarray(np.array(self.origin) + flat[:, :1] * first + flat[:, 1:] * two)
        return np.asarray(
            np.array(self.origin) + flat[:, :1] * one + flat[:, 1:] * two + along[:, None] * three
        )

    def distance(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Face`."""
        flat, _, first = self._plane(points)
        second = np.array(self.about[1])
        if isinstance(self.curve, Arc):
            away = flat - np.array(self.curve.centre)
            length = np.maximum(np.hypot(*away.T), 1e-300)
            value, normal = length - self.curve.radius, away / length[:, None]
        else:
            way = self.curve.end - self.curve.start
            across = np.array([way[1], -way[0]]) / np.hypot(*way)
            value = (flat - self.curve.start) @ across
            normal = np.broadcast_to(across, flat.shape)
        return value, normal[:, :1] * first + normal[:, 1:] * second

    def _parameter(self, flat: FloatArray) -> FloatArray:
        """Place along the curve, from 0 to 1, (n,) array, [-]."""
        if isinstance(self.curve, Arc):
            first, sweep = self.curve.first_angle, self.curve.last_angle - self.curve.first_angle
            angle = np.arctan2(*(flat - np.array(self.curve.centre)).T[::-1])
            # The turn that brings the angle nearest to the middle of the arc.
            middle = first + 0.5 * sweep
            angle = middle + np.remainder(angle - middle + math.pi, 2.0 * math.pi) - math.pi
            return np.asarray((angle - first) / sweep)
        way = self.curve.end - self.curve.start
        return np.asarray((flat - self.curve.start) @ way / (way @ way))

    def bounds(self, points: FloatArray) -> BoolArray:
        """See `Face`."""
        flat, along, _ = self._plane(points)
        t = self._parameter(flat)
        inside = (t > -_BEYOND) & (t < 1.0 + _BEYOND)
        margin = _BEYOND * abs(self.stop - self.start)
        if self.turned:
            along = self.start - margin + np.remainder(along - self.start + margin, 2.0 * math.pi)
        return np.asarray(inside & (along >= self.start - margin) & (along <= self.stop + margin))

    def carried(self, points: FloatArray, other: Face) -> FloatArray:
        """See `Face`."""
        assert isinstance(other, Swept)
        flat, along, _ = self._plane(points)
        if not self.turned:
            share = (along - self.start) / (self.stop - self.start)
            along = other.start + share * (other.stop - other.start)
        return other._solid(other.curve.point(self._parameter(flat)), along)


_X, _Y, _Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def faces_of(solid: Solid) -> Iterator[Face]:
    """The surfaces that bound a solid, in the order of its description.

    Parameters
    ----------
    solid : Solid

    Raises
    ------
    GeometryError
        An outline has a curve other than lines and arcs.
    """
    if isinstance(solid, Block):
        for axis in range(3):
            normal = tuple(np.eye(3)[axis])
            for corner in (solid.low, solid.high):
                yield Flat(normal, corner[axis], solid.low, solid.high)
    elif isinstance(solid, Revolved):
        origin = (*solid.centre, 0.0)
        stop = solid.start + solid.sweep
        yield from _swept(solid.outline, (_X, _Z, _Y), origin, solid.start, stop, turned=True)
    elif isinstance(solid, ExtrudedX):
        yield from _extruded(solid.outline, (_Y, _Z, _X), solid.low, solid.high)
    elif isinstance(solid, ExtrudedZ):
        yield from _extruded(solid.outline, (_X, _Y, _Z), solid.low, solid.high)
    elif isinstance(solid, PartialRevolve):
        raise GeometryError("the surfaces of a body turned in part are not followed")
    elif isinstance(solid, Difference):
        for part in (solid.body, *solid.tools):
            yield from faces_of(part)
    else:
        assert isinstance(solid, Union | Intersection)
        for part in solid.parts:
            yield from faces_of(part)


def _extruded(
    outline: tuple[Curve, ...], about: tuple[tuple[float, ...], ...], low: float, high: float
) -> Iterator[Face]:
    """Mantle and both ends of an outline moved along an axis."""
    yield from _swept(outline, about, (0.0, 0.0, 0.0), low, high, turned=False)
    places = np.concatenate([curve.point(np.linspace(0.0, 1.0, 9)) for curve in outline])
    small, large = places.min(axis=0), places.max(axis=0)
    axes = np.array(about)
    corners = [tuple(np.array([*flat, end]) @ axes) for flat, end in ((small, low), (large, high))]
    for end in (low, high):
        yield Flat(tuple(axes[2]), end, corners[0], corners[1])


def _swept(
    outline: tuple[Curve, ...],
    about: tuple[tuple[float, ...], ...],
    origin: tuple[float, float, float],
    start: float,
    stop: float,
    *,
    turned: bool,
) -> Iterator[Face]:
    """The mantle of an outline; what lies on the axis of a turn has none."""
    size = max(float(np.max(np.abs(curve.point(np.array([0.0, 1.0]))))) for curve in outline)
    for curve in outline:
        if not isinstance(curve, Line | Arc):
            raise GeometryError(f"a {type(curve).__name__} cannot bound a solid")
        ends = curve.point(np.array([0.0, 0.5, 1.0]))
        if turned and np.all(np.abs(ends[:, 0]) < 1e-9 * size):
            continue
        yield Swept(curve, about, origin, start, stop, turned)
