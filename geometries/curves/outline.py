"""Straight outlines with rounded corners, as they stand on a drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line, Spline
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["lying", "mirror_image", "moved", "reversed_chain", "rounded_polygon"]


def rounded_polygon(
    vertices: ArrayLike, radii: Sequence[float], *, closed: bool = False
) -> list[Curve]:
    """Lines through the vertices of an outline with tangential arcs at its corners.

    Parameters
    ----------
    vertices : (n, 2) array
        Corners as drawn, before rounding, in order, [m].  A closed outline does not repeat the
        first one.
    radii : (n,) sequence of float
        Corner radii, 0 for a corner left sharp, [m].  Those of the two ends of an open outline
        are ignored.
    closed : bool
        Join the last vertex to the first.

    Returns
    -------
    list of Curve
        Lines and arcs in order, tangent where a corner is rounded; pieces of no length are left
        out.  A closed outline starts behind its first corner's arc.

    Raises
    ------
    GeometryError
        A radius does not fit between its neighbours.
    """
    array = np.asarray(vertices, dtype=float)
    count = len(array)
    sides = np.roll(array, -1, axis=0) - array
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    if np.any(lengths[: count if closed else count - 1] <= 0.0):
        raise GeometryError("two corners of an outline coincide; a dimension is zero or too small")
    set_back = np.zeros(count)
    arcs: list[Arc | None] = [None] * count
    corners = range(count) if closed else range(1, count - 1)
    for i in corners:
        if radii[i] > 0.0:
            set_back[i], arcs[i] = _corner_arc(array[i], sides[i - 1], sides[i], radii[i])
    last_side = count if closed else count - 1
    for i in range(last_side):
        need = set_back[i] + set_back[(i + 1) % count]
        if need > lengths[i] * (1.0 + 1e-9):
            raise GeometryError(
                f"the radii {radii[i]:.4g} m and {radii[(i + 1) % count]:.4g} m do not fit on a "
                f"side {lengths[i]:.4g} m long, they need {need:.4g} m; make them smaller"
            )
    curves: list[Curve] = []
    for i in range(last_side):
        following = (i + 1) % count
        direction = sides[i] / lengths[i]
        first = array[i] + direction * set_back[i]
        last = array[following] - direction * set_back[following]
        if lengths[i] - set_back[i] - set_back[following] > 1e-9 * lengths[i]:
            curves.append(Line((first[0], first[1]), (last[0], last[1])))
        arc = arcs[following]
        if arc is not None:
            curves.append(arc)
    return curves


def _corner_arc(
    corner: FloatArray, before: FloatArray, after: FloatArray, radius: float
) -> tuple[float, Arc | None]:
    """Set-back along both sides and the arc that is tangent to them."""
    into, out = before / np.hypot(*before), after / np.hypot(*after)
    turn = math.atan2(into[0] * out[1] - into[1] * out[0], float(into @ out))
    if abs(turn) < 1e-9:
        return 0.0, None
    set_back = radius * math.tan(abs(turn) / 2.0)
    side = math.copysign(1.0, turn)
    start = corner - into * set_back
    centre = start + side * radius * np.array([-into[1], into[0]])
    angle = math.atan2(start[1] - centre[1], start[0] - centre[0])
    return set_back, Arc((float(centre[0]), float(centre[1])), radius, angle, angle + turn)


def reversed_chain(curves: Sequence[Curve]) -> list[Curve]:
    """A chain of curves run through in the other direction."""
    return [curve.reversed() for curve in reversed(curves)]


def mirror_image(curves: Sequence[Curve]) -> list[Curve]:
    """A chain of curves mirrored at x = 0 and reversed, so that the vacuum stays on its left.

    Raises
    ------
    GeometryError
        A curve of a kind that has no mirror image here.
    """
    images: list[Curve] = []
    for curve in reversed(curves):
        if isinstance(curve, Line):
            images.append(Line((-curve.last[0], curve.last[1]), (-curve.first[0], curve.first[1])))
        elif isinstance(curve, Arc):
            images.append(
                Arc(
                    (-curve.centre[0], curve.centre[1]),
                    curve.radius,
                    math.pi - curve.last_angle,
                    math.pi - curve.first_angle,
                )
            )
        elif isinstance(curve, Spline):
            b = curve.curve
            images.append(Spline(BSpline(b.t, b.c * np.array([-1.0, 1.0]), b.k)).reversed())
        else:
            raise GeometryError(f"a {type(curve).__name__} has no mirror image here")
    return images


def moved(curves: Sequence[Curve], across: float, along: float = 0.0) -> list[Curve]:
    """A chain of curves moved by (across, along), [m].

    Raises
    ------
    GeometryError
        A curve of a kind that cannot be moved here.
    """
    by = np.array([across, along])
    images: list[Curve] = []
    for curve in curves:
        if isinstance(curve, Line):
            first, last = np.array(curve.first) + by, np.array(curve.last) + by
            images.append(Line((first[0], first[1]), (last[0], last[1])))
        elif isinstance(curve, Arc):
            centre = (curve.centre[0] + across, curve.centre[1] + along)
            images.append(Arc(centre, curve.radius, curve.first_angle, curve.last_angle))
        elif isinstance(curve, Spline):
            b = curve.curve
            images.append(Spline(BSpline(b.t, b.c + by, b.k)))
        else:
            raise GeometryError(f"a {type(curve).__name__} cannot be moved here")
    return images


def lying(curve: Curve, at: float) -> Curve:
    """A curve in (across, along) as one in (at + along, across), in the same direction.

    Swapping the coordinates mirrors the plane: what lay on the curve's left lies on its right.

    Parameters
    ----------
    at : float
        Where along = 0 comes to lie, [m].

    Raises
    ------
    GeometryError
        A curve of a kind that cannot be laid down here.
    """
    if isinstance(curve, Line):
        (a, b), (c, d) = curve.first, curve.last
        return Line((at + b, a), (at + d, c))
    if isinstance(curve, Arc):
        # An angle t becomes pi/2 - t.
        return Arc(
            (at + curve.centre[1], curve.centre[0]),
            curve.radius,
            math.pi / 2.0 - curve.first_angle,
            math.pi / 2.0 - curve.last_angle,
        )
    raise GeometryError(f"a {type(curve).__name__} cannot be laid down here")
