"""From measured points to the curve, its apex and its sharpest edge."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, Line, Spline, polyline
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["Profile", "Sharpest", "sharpest_edges"]

# Places along the outline among which the greatest height and curvature are sought; the greatest
# curvature is then refined between its two neighbours. Several lie in each piece of a spline
# through a few hundred points, the most that a micrograph gives.
_SAMPLES = 2001
# The same for the place of an apex, where the outline is level.
_FINE = 20_001
# Edges whose radii, or corners whose turns, agree to one part in a thousand emit together: the
# two flanks of a drawn blade differ by less, two measured ones by more.
_ALIKE = 1e-3
# A radius that differs by a larger factor is no correction of the measured one but another edge,
# whose flanks the points do not show. A choice, no source.
_LARGEST_SCALE = 2.5

Form = Literal["from the middle", "across", "closed", "between the poles"]


@dataclass(frozen=True)
class Profile:
    """An outline given by points.

    Parameters
    ----------
    points : (n, 2) array
        Points in order along the outline, [m].
    form : str
        "from the middle": starts on x = 0 and ends on a flank; "across": from the left flank to
        the right one; "closed": comes back to its first point; "between the poles": revolved,
        with both ends on the axis.
    corners : bool
        Straight lines between the points, with sharp corners, instead of a smooth curve.
    """

    points: FloatArray
    form: Form
    corners: bool = False

    @classmethod
    def of(cls, points: FloatArray, name: str, *, revolved: bool, corners: bool) -> Profile:
        """Recognise the form of an outline and put it in order.

        Parameters
        ----------
        points : (n, 2) array
            Points, [m].
        name : str
            Name of their file, for messages.
        revolved : bool
            The first column is a radius.
        corners : bool
            Keep the corners.

        Raises
        ------
        GeometryError
            A negative radius, or an outline that neither closes nor starts on the axis.
        """
        size = float(np.ptp(points, axis=0).max())
        points = points.copy()
        points[np.abs(points[:, 0]) < 1e-6 * size, 0] = 0.0
        first, last = points[0], points[-1]
        if revolved and points[:, 0].min() < 0.0:
            raise GeometryError(
                f"{name}: a radius is negative, {points[:, 0].min():.4g} m; a revolved outline "
                "lies on one side of the axis; set revolved = false for a section with two flanks"
            )
        if np.hypot(*(last - first)) < 1e-6 * size:
            points[-1] = points[0]
            return cls(_seam_moved(points), "closed", corners)
        on_axis = (first[0] == 0.0, last[0] == 0.0)
        if revolved:
            if all(on_axis):
                ordered = points if first[1] > last[1] else points[::-1]
                return cls(ordered, "between the poles", corners)
            if not any(on_axis):
                raise GeometryError(
                    f"{name}: a revolved outline starts on the axis, at radius 0, but this one "
                    f"starts at {first[0]:.4g} m and ends at {last[0]:.4g} m; add the pole"
                )
            return cls(points if on_axis[0] else points[::-1], "from the middle", corners)
        if any(on_axis) and points[:, 0].min() >= 0.0:
            return cls(points if on_axis[0] else points[::-1], "from the middle", corners)
        return cls(points if first[0] < last[0] else points[::-1], "across", corners)

    def whole(self) -> Profile:
        """A half outline completed by its mirror image."""
        if self.form != "from the middle":
            return self
        mirror = self.points[:0:-1] * np.array([-1.0, 1.0])
        return Profile(np.vstack([mirror, self.points]), "across", self.corners)

    def curves(self) -> list[Curve]:
        """The outline in the order of its points, smooth or with corners.

        Raises
        ------
        GeometryError
            Too few points for a curve.
        """
        if self.corners:
            p = [(float(x), float(z)) for x, z in self.points]
            return [Line(a, b) for a, b in itertools.pairwise(p)]
        middle = self.form in ("from the middle", "between the poles")
        return [
            Spline.through(
                self.points,
                closed=self.form == "closed",
                mirror_first=middle,
                mirror_last=self.form == "between the poles",
            )
        ]

    def apex(self) -> float:
        """Greatest height of the outline, [m]."""
        return float(polyline(self.curves(), _SAMPLES)[:, 1].max())

    def apex_radius(self) -> float:
        """Radius of curvature at the highest place of a smooth outline, [m]."""
        return self.apex_place()[1]

    def apex_place(self) -> tuple[float, float]:
        """Parameter of the first curve at its highest place, and the radius there, [-], [m]."""
        curve = self.curves()[0]
        t = np.linspace(0.0, 1.0, _FINE)
        at = t[[int(np.argmax(curve.point(t)[:, 1]))]]
        return float(at[0]), float(-1.0 / curve.curvature(at)[0])

    def lowest(self) -> float:
        """Smallest height of the outline, [m]."""
        return float(polyline(self.curves(), _SAMPLES)[:, 1].min())

    def raised(self, by: float) -> Profile:
        """The same outline moved along z, [m]."""
        return Profile(self.points + np.array([0.0, by]), self.form, self.corners)

    def with_radius(self, radius: float, name: str, own: float | None = None) -> Profile:
        """The outline scaled about its edge so that the edge has a given radius.

        A conical flank keeps its angle, so that little but the edge changes.

        Parameters
        ----------
        radius : float
            Radius wanted in the plane of the section, > 0, [m].
        name : str
            Name of the points' file, for messages.
        own : float or None
            Radius that the edge has, that of the sharpest place where left out, [m].

        Raises
        ------
        GeometryError
            The outline closes on itself, its edge is a corner, or its own radius is another by
            more than a factor 2.5.
        """
        if self.form in ("closed", "between the poles"):
            raise GeometryError(
                f"{name} closes on itself, so emitter.edge_radius has no meaning; remove it"
            )
        on_middle = 1e-9 * float(np.ptp(self.points, axis=0).max())
        edge = max(
            sharpest_edges(self.curves()),
            key=lambda e: (abs(e.point[0]) < on_middle, float(e.point[1])),
        )
        own = edge.radius if own is None else own
        if not own / _LARGEST_SCALE <= radius <= own * _LARGEST_SCALE:
            raise GeometryError(
                f"{name}: the points have an edge radius of {own:.4g} m, but emitter.edge_radius "
                f"is {radius:.4g} m; check the units of both, or leave edge_radius out",
                keys=("emitter.edge_radius",),
            )
        centre = edge.point if self.form == "across" else np.array([0.0, float(edge.point[1])])
        points = centre + (self.points - centre) * (radius / own)
        return Profile(points, self.form, self.corners)

    def wavy(self) -> int:
        """How often the curvature changes its sign along a smooth outline."""
        if self.corners:
            return 0
        k = self.curves()[0].curvature(np.linspace(0.0, 1.0, _SAMPLES)[10:-10])
        k = k[np.abs(k) > 1e-3 * np.abs(k).max()]
        return int(np.count_nonzero(np.diff(np.sign(k))))


@dataclass(frozen=True)
class Sharpest:
    """A place of largest convex curvature.

    Parameters
    ----------
    index : int
        Curve on which it lies.
    t : float
        Curve parameter there, [-].
    radius : float
        Radius of curvature in the plane of the section, 0 at a corner, [m].
    point : (2,) array
        The place, [m].
    normal : (2,) array
        Unit normal into the vacuum, [-].
    """

    index: int
    t: float
    radius: float
    point: FloatArray
    normal: FloatArray


def _seam_moved(points: FloatArray) -> FloatArray:
    """A closed outline that begins at its flattest point.

    An emitting edge must not lie at the place where the curve begins and ends.
    """
    ring = points[:-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    lengths = np.hypot(*before.T) * np.hypot(*after.T) * np.hypot(*(before + after).T)
    flattest = int(np.argmin(np.abs(cross) / np.maximum(lengths, 1e-300)))
    moved = np.roll(ring, -flattest, axis=0)
    return np.vstack([moved, moved[:1]])


def sharpest_edges(curves: Sequence[Curve]) -> list[Sharpest]:
    """The convex places whose curvature is largest, within one part in a thousand.

    Parameters
    ----------
    curves : sequence of Curve
        An outline with the vacuum on its left.

    Raises
    ------
    GeometryError
        The outline is nowhere convex.
    """
    if all(isinstance(curve, Line) for curve in curves):
        return _corners(curves)
    found: list[Sharpest] = []
    for index, curve in enumerate(curves):
        if isinstance(curve, Line):
            continue
        t = np.linspace(0.0, 1.0, _SAMPLES)
        bend = -curve.curvature(t)
        closed = bool(np.hypot(*(curve.end - curve.start)) < 1e-9 * curve.length)
        before = np.concatenate([[bend[-2] if closed else -np.inf], bend[:-1]])
        after = np.concatenate([bend[1:], [-np.inf]])
        for i in np.flatnonzero((bend > 0.0) & (bend >= before) & (bend >= after)):
            found.append(_refined(curve, index, t, int(i)))
        # A pole counts even where rounding hides that its curvature is the largest.
        for end in (0, len(t) - 1):
            on_axis = abs(float(curve.point(t[[end]])[0, 0])) < 1e-9 * curve.length
            if on_axis and not closed and bend[end] > 0.0:
                found.append(_refined(curve, index, t, end))
    if not found:
        raise GeometryError(
            "the emitter's outline is nowhere convex, so it has no emitting edge; is the order of "
            "its points or the sign of its height reversed?"
        )
    least = min(edge.radius for edge in found)
    return [edge for edge in found if edge.radius <= least * (1.0 + _ALIKE)]


def _refined(curve: Curve, index: int, t: FloatArray, i: int) -> Sharpest:
    """The maximum of curvature near sample i."""
    best = float(t[i])
    if 0 < i < len(t) - 1:
        fine = np.linspace(t[i - 1], t[i + 1], 201)
        best = float(fine[int(np.argmax(-curve.curvature(fine)))])
        # A circle's curvature is the same everywhere: keep the sample.
        if abs(float(curve.curvature([best])[0] / curve.curvature([t[i]])[0]) - 1.0) < 1e-6:
            best = float(t[i])
    at = np.array([best])
    return Sharpest(
        index, best, float(-1.0 / curve.curvature(at)[0]), curve.point(at)[0], curve.normal(at)[0]
    )


def _corners(curves: Sequence[Curve]) -> list[Sharpest]:
    """The convex corner that turns most; of several alike, all."""
    found = []
    for index in range(len(curves)):
        before = curves[index - 1]
        if np.hypot(*(before.end - curves[index].start)) > 1e-9 * before.length:
            continue
        into, out = before.tangent([1.0])[0], curves[index].tangent([0.0])[0]
        turn = float(np.arctan2(into[0] * out[1] - into[1] * out[0], into @ out))
        normal = before.normal([1.0])[0] + curves[index].normal([0.0])[0]
        length = float(np.hypot(*normal))
        found.append((turn, index, normal / length if length > 0.0 else into))
    # A half outline that starts on x = 0 turns there against its own mirror image.
    start = curves[0].tangent([0.0])[0]
    if curves[0].start[0] == 0.0 and start[1] < 0.0:
        turn = -2.0 * float(np.arctan2(-start[1], start[0]))
        found.append((turn, 0, np.array([0.0, 1.0])))
    found = [item for item in found if item[0] < 0.0]
    if not found:
        raise GeometryError("the emitter's outline has no convex corner")
    sharpest = min(turn for turn, _, _ in found)
    return [
        Sharpest(i, 0.0, 0.0, curves[i].start, n)
        for turn, i, n in found
        if turn <= sharpest * (1.0 - _ALIKE)
    ]
