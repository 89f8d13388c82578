"""Pieces of a drawing before they are joined: lines, arcs and rational splines."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line
from conegap.geometries.imported.redrawn import redrawn

__all__ = ["ArcPiece", "DrawnPiece", "LinePiece", "SplinePiece"]

Point = tuple[float, float]


def _pair(point: FloatArray) -> Point:
    return float(point[0]), float(point[1])


@dataclass(frozen=True)
class LinePiece:
    """A straight line between two points, in the drawing's unit."""

    first: Point
    last: Point

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Both ends, (2,) arrays, drawing units."""
        return np.array(self.first), np.array(self.last)

    @property
    def places(self) -> FloatArray:
        """Some points along the piece, (n, 2) array, drawing units."""
        return np.array(self.ends)

    def moved(self, matrix: FloatArray, shift: FloatArray) -> LinePiece:
        """The image under x -> matrix x + shift; the matrix is a scaled turn or reflection.

        Parameters
        ----------
        matrix : (2, 2) array
            [m per drawing unit].
        shift : (2,) array
            [m].
        """
        one, other = (matrix @ end + shift for end in self.ends)
        return LinePiece(_pair(one), _pair(other))

    def curve(self, first: Point, last: Point, on_axis: tuple[bool, bool]) -> tuple[Curve, float]:
        """The curve between two given ends, and how far it departs from the drawn one, [m].

        Parameters
        ----------
        first, last : tuple of float
            Where its ends shall lie, within rounding of the drawn ones, [m].
        on_axis : tuple of bool
            Which ends lie on x = 0.
        """
        return Line(first, last), 0.0


@dataclass(frozen=True)
class ArcPiece:
    """A circular arc of less than a full turn; angles [rad], counterclockwise when rising."""

    centre: Point
    radius: float
    first_angle: float
    last_angle: float

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Both ends, (2,) arrays, drawing units."""
        arc = Arc(self.centre, self.radius, self.first_angle, self.last_angle)
        return arc.start, arc.end

    @property
    def places(self) -> FloatArray:
        """Some points along the piece, (n, 2) array, drawing units."""
        arc = Arc(self.centre, self.radius, self.first_angle, self.last_angle)
        return arc.point(np.linspace(0.0, 1.0, 9))

    def moved(self, matrix: FloatArray, shift: FloatArray) -> ArcPiece:
        """The image under x -> matrix x + shift, see `LinePiece.moved`."""
        scale = math.sqrt(abs(float(np.linalg.det(matrix))))
        sense = math.copysign(1.0, float(np.linalg.det(matrix)))
        way = matrix @ np.array([math.cos(self.first_angle), math.sin(self.first_angle)])
        start = math.atan2(way[1], way[0])
        sweep = sense * (self.last_angle - self.first_angle)
        centre = _pair(matrix @ np.array(self.centre) + shift)
        return ArcPiece(centre, scale * self.radius, start, start + sweep)

    def curve(self, first: Point, last: Point, on_axis: tuple[bool, bool]) -> tuple[Curve, float]:
        """The arc of the same sweep between two given ends, see `LinePiece.curve`."""
        sweep = self.last_angle - self.first_angle
        chord = np.array(last) - np.array(first)
        length = float(np.hypot(*chord))
        radius = length / (2.0 * abs(math.sin(sweep / 2.0)))
        # The centre lies to the left of the chord for a counterclockwise arc below half a turn.
        height = length / (2.0 * math.tan(sweep / 2.0))
        normal = np.array([-chord[1], chord[0]]) / length
        centre = (np.array(first) + np.array(last)) / 2.0 + height * normal
        start = math.atan2(first[1] - centre[1], first[0] - centre[0])
        return Arc(_pair(centre), radius, start, start + sweep), 0.0


@dataclass(frozen=True)
class SplinePiece:
    """A (rational) B-spline between two of its parameters, in the drawing's unit.

    Parameters
    ----------
    knots : (n + degree + 1,) array
    control : (n, 2) array
    weights : (n,) array
        Ones for a polynomial spline.
    degree : int
    u_first, u_last : float
        Range of the parameter that this piece covers, [-].
    """

    knots: FloatArray
    control: FloatArray
    weights: FloatArray
    degree: int
    u_first: float
    u_last: float

    def position(self, t: FloatArray) -> FloatArray:
        """Points at t in [0, 1] of this piece, (n, 2) array, drawing units."""
        t = np.asarray(t, dtype=float)
        homogeneous = np.column_stack([self.control * self.weights[:, None], self.weights])
        value = BSpline(self.knots, homogeneous, self.degree)(
            self.u_first * (1.0 - t) + self.u_last * t
        )
        return np.asarray(value[:, :2] / value[:, 2:])

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Both ends, (2,) arrays, drawing units."""
        one, other = self.position(np.array([0.0, 1.0]))
        return one, other

    @property
    def places(self) -> FloatArray:
        """Some points along the piece, (n, 2) array, drawing units."""
        return self.position(np.linspace(0.0, 1.0, 33))

    def parts(self) -> tuple[SplinePiece, ...]:
        """The pieces between its kinks; a closed one is cut in two."""
        values, counts = np.unique(self.knots, return_counts=True)
        inner = (values > self.u_first) & (values < self.u_last) & (counts >= self.degree)
        cuts = [float(u) for u in values[inner] if self._bends_at(float(u))]
        one, other = self.ends
        size = float(np.ptp(self.control, axis=0).max())
        if not cuts and float(np.hypot(*(one - other))) < 1e-9 * size:
            cuts = [0.5 * (self.u_first + self.u_last)]
        marks = [self.u_first, *cuts, self.u_last]
        return tuple(
            SplinePiece(self.knots, self.control, self.weights, self.degree, a, b)
            for a, b in itertools.pairwise(marks)
        )

    def _bends_at(self, u: float) -> bool:
        """Whether direction or curvature jumps at an inner knot."""
        step = 1e-4 * (self.u_last - self.u_first)
        span = self.u_last - self.u_first
        at = (u - self.u_first) / span
        h = step / span
        p = self.position(at + h * np.array([-4.0, -2.0, 0.0, 2.0, 4.0]))
        steps = np.diff(p, axis=0)
        angle = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
        length = np.hypot(steps[:, 0], steps[:, 1])
        before = (angle[1] - angle[0]) / (length[0] + length[1])
        after = (angle[3] - angle[2]) / (length[2] + length[3])
        turn = angle[2] - angle[1]
        smooth = 0.5 * (abs(angle[1] - angle[0]) + abs(angle[3] - angle[2]))
        bend = max(abs(before), abs(after))
        return bool(abs(turn) > 3.0 * smooth + 1e-4 or abs(after - before) > 0.05 * bend + 1e-12)

    def moved(self, matrix: FloatArray, shift: FloatArray) -> SplinePiece:
        """The image under x -> matrix x + shift, see `LinePiece.moved`."""
        control = self.control @ matrix.T + shift
        return SplinePiece(
            self.knots, control, self.weights, self.degree, self.u_first, self.u_last
        )

    def curve(self, first: Point, last: Point, on_axis: tuple[bool, bool]) -> tuple[Curve, float]:
        """A smooth curve through points of the spline, see `LinePiece.curve`.

        Raises
        ------
        GeometryError
            The spline has a kink inside.
        """
        tangent = self.position(np.array([0.0, 1e-6, 1.0 - 1e-6, 1.0]))
        level = []
        for way in (tangent[1] - tangent[0], tangent[3] - tangent[2]):
            level.append(bool(abs(way[1]) < 1e-2 * abs(way[0])))
        mirrored = (on_axis[0] and level[0], on_axis[1] and level[1])
        return redrawn(self.position, first=first, last=last, on_axis=mirrored)


DrawnPiece = LinePiece | ArcPiece | SplinePiece
"""A piece of a drawing."""
