"""Plane curves from which electrode sections are drawn.

A curve is a smooth map from a parameter t in [0, 1] to the half plane (radius or x, axial z), in
metres.  Everything the mesh needs is here: points, derivatives, curvature and length.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import BSpline, make_interp_spline

from conegap.geometries.quantities.errors import GeometryError

__all__ = ["Arc", "BoolArray", "Curve", "FloatArray", "IntArray", "Line", "Spline", "polyline"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Eight points integrate the speed of a quintic piece to rounding.
_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(8)


class Curve(ABC):
    """A directed smooth curve; the vacuum lies on its left when it bounds a section."""

    @abstractmethod
    def point(self, t: ArrayLike) -> FloatArray:
        """Points of the curve.

        Parameters
        ----------
        t : (n,) array
            Curve parameter in [0, 1], [-].

        Returns
        -------
        (n, 2) array
            Coordinates (radius or x, z), [m].
        """

    @abstractmethod
    def derivative(self, t: ArrayLike, order: int = 1) -> FloatArray:
        """Derivative of the points with respect to t.

        Parameters
        ----------
        t : (n,) array
            Curve parameter in [0, 1], [-].
        order : int
            1 or 2, [-].

        Returns
        -------
        (n, 2) array
            Derivative, [m].
        """

    @abstractmethod
    def reversed(self) -> Curve:
        """The same points run through in the other direction."""

    @property
    def start(self) -> FloatArray:
        """First point, (2,) array, [m]."""
        return np.asarray(self.point(np.array([0.0]))[0])

    @property
    def end(self) -> FloatArray:
        """Last point, (2,) array, [m]."""
        return np.asarray(self.point(np.array([1.0]))[0])

    def tangent(self, t: ArrayLike) -> FloatArray:
        """Unit tangent in the direction of growing t, (n, 2) array, [-]."""
        d = self.derivative(t, 1)
        return np.asarray(d / np.hypot(d[:, 0], d[:, 1])[:, None])

    def normal(self, t: ArrayLike) -> FloatArray:
        """Unit normal to the left, which is into the vacuum, (n, 2) array, [-]."""
        d = self.tangent(t)
        return np.stack([-d[:, 1], d[:, 0]], axis=1)

    def curvature(self, t: ArrayLike) -> FloatArray:
        """Signed curvature, (n,) array, [1/m]; negative where the conductor is convex."""
        first, second = self.derivative(t, 1), self.derivative(t, 2)
        cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
        return np.asarray(cross / np.hypot(first[:, 0], first[:, 1]) ** 3)

    @cached_property
    def length(self) -> float:
        """Arc length, [m]."""
        edges = np.linspace(0.0, 1.0, 65)
        half = (edges[1] - edges[0]) / 2.0
        t = (edges[:-1, None] + half * (1.0 + _GAUSS_NODES)).ravel()
        d = self.derivative(t, 1)
        weights = np.tile(_GAUSS_WEIGHTS * half, len(edges) - 1)
        return float(np.hypot(d[:, 0], d[:, 1]) @ weights)


@dataclass(frozen=True)
class Line(Curve):
    """Straight segment from ``first`` to ``last``, both (x, z), [m]."""

    first: tuple[float, float]
    last: tuple[float, float]

    def point(self, t: ArrayLike) -> FloatArray:
        t = np.asarray(t, dtype=float)[:, None]
        return np.asarray(np.array(self.first) * (1.0 - t) + np.array(self.last) * t)

    def derivative(self, t: ArrayLike, order: int = 1) -> FloatArray:
        count = len(np.asarray(t))
        slope = np.array(self.last) - np.array(self.first) if order == 1 else np.zeros(2)
        return np.tile(slope, (count, 1))

    def reversed(self) -> Line:
        return Line(self.last, self.first)


@dataclass(frozen=True)
class Arc(Curve):
    """Circular arc; angles in radians from the +x direction, counterclockwise when rising.

    Parameters
    ----------
    centre : tuple of float
        Centre (x, z), [m].
    radius : float
        Radius, > 0, [m].
    first_angle, last_angle : float
        Polar angles of the ends, [rad].
    """

    centre: tuple[float, float]
    radius: float
    first_angle: float
    last_angle: float

    def _angle(self, t: ArrayLike) -> FloatArray:
        t = np.asarray(t, dtype=float)
        return self.first_angle * (1.0 - t) + self.last_angle * t

    def point(self, t: ArrayLike) -> FloatArray:
        angle = self._angle(t)
        offset = self.radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        return np.asarray(np.array(self.centre) + offset)

    def derivative(self, t: ArrayLike, order: int = 1) -> FloatArray:
        angle, sweep = self._angle(t), self.last_angle - self.first_angle
        if order == 1:
            direction = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
        else:
            direction = -np.stack([np.cos(angle), np.sin(angle)], axis=1)
        return np.asarray(self.radius * sweep**order * direction)

    def reversed(self) -> Arc:
        return Arc(self.centre, self.radius, self.last_angle, self.first_angle)


@dataclass(frozen=True)
class Spline(Curve):
    """Interpolating B-spline, parametrised close to arc length; build with `through`."""

    curve: BSpline

    @classmethod
    def through(
        cls,
        points: ArrayLike,
        *,
        closed: bool = False,
        mirror_first: bool = False,
        mirror_last: bool = False,
    ) -> Spline:
        """Smooth curve through points, quintic where there are enough of them.

        Parameters
        ----------
        points : (n, 2) array
            Points in order, [m].  A closed curve repeats its first point at the end.
        closed : bool
            Periodic curve.
        mirror_first, mirror_last : bool
            The curve meets the axis x = 0 there and continues as its own mirror image, so that
            the revolved surface has no point at the pole.

        Raises
        ------
        GeometryError
            Fewer than three points, repeated points, or a mirrored end off the axis.
        """
        array = np.asarray(points, dtype=float)
        if len(array) < 3:
            raise GeometryError(f"a profile needs at least three points, got {len(array)}")
        count_before = count_after = 0
        flip = np.array([-1.0, 1.0])
        for wanted, end in ((mirror_first, 0), (mirror_last, -1)):
            if wanted and abs(array[end, 0]) > 1e-9 * np.ptp(array, axis=0).max():
                raise GeometryError(
                    f"the profile should end on the axis but ends at radius {array[end, 0]:.6g} m"
                )
        base = array
        if mirror_first:
            count_before = min(len(base) - 1, 12)
            array = np.vstack([(base[1 : count_before + 1] * flip)[::-1], array])
        if mirror_last:
            count_after = min(len(base) - 1, 12)
            array = np.vstack([array, (base[-count_after - 1 : -1] * flip)[::-1]])
        chords = np.hypot(*np.diff(array, axis=0).T)
        if np.any(chords <= 1e-12 * chords.max()):
            where = int(np.argmin(chords))
            raise GeometryError(f"profile points {where + 1} and {where + 2} coincide")
        degree = 5 if len(array) > 5 else 3 if len(array) > 3 else 1  # odd, as few points allow
        knots = np.concatenate([[0.0], np.cumsum(chords)])
        if closed:
            array[-1] = array[0]
        bc_type = "periodic" if closed else None
        spline = make_interp_spline(knots, array, k=degree, bc_type=bc_type)
        # A second pass replaces chord length by arc length: smoother curvature.
        knots = _arc_lengths(spline, knots)
        spline = make_interp_spline(knots, array, k=degree, bc_type=bc_type)
        first, last = knots[count_before], knots[len(knots) - 1 - count_after]
        return cls(BSpline((spline.t - first) / (last - first), spline.c, degree))

    def point(self, t: ArrayLike) -> FloatArray:
        return np.asarray(self.curve(np.asarray(t, dtype=float)))

    def derivative(self, t: ArrayLike, order: int = 1) -> FloatArray:
        return np.asarray(self.curve(np.asarray(t, dtype=float), nu=order))

    def reversed(self) -> Spline:
        knots = (1.0 - self.curve.t)[::-1]
        return Spline(BSpline(knots, self.curve.c[::-1], self.curve.k))


def _arc_lengths(spline: BSpline, knots: FloatArray) -> FloatArray:
    """Arc length of a spline at its data parameters, (n,) array."""
    half = np.diff(knots)[:, None] / 2.0
    u = knots[:-1, None] + half * (1.0 + _GAUSS_NODES)
    d = spline(u.ravel(), nu=1)
    speed = np.hypot(d[:, 0], d[:, 1]).reshape(u.shape)
    return np.concatenate([[0.0], np.cumsum((speed * half) @ _GAUSS_WEIGHTS)])


def polyline(curves: list[Curve] | tuple[Curve, ...], samples: int = 33) -> FloatArray:
    """Points along a chain of curves, for drawing and distance screens, (n, 2) array, [m].

    Straight segments give their ends only; other curves give ``samples`` points each.
    """
    parts = []
    for curve in curves:
        t = np.linspace(0.0, 1.0, 2 if isinstance(curve, Line) else samples)
        parts.append(curve.point(t))
    return np.vstack(parts)
