"""Drawn splines and ellipses redrawn as smooth curves, with the deviation known.

A drawing program's parameter may run at any speed, even stand still; the mesh needs curves that
are parametrised close to arc length and two times differentiable.  Points are laid on the drawn
curve in proportion to the angle it turns, and a quintic spline runs through them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, Spline
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["nearest_parameters", "redrawn"]

# Deviation from the drawn curve over its smallest radius of curvature, far below the width of
# any drawn line.
_TOLERANCE = 1e-5
# Turn of the curve in one piece of the quintic spline at the first try, [rad]; tries with up to
# six times as many follow until the tolerance is kept.
_ANGLE_STEP = 0.1
# Of the whole curve, however straight: a spline's ends need a few.
_LEAST_PIECES = 12
# Between chords of the dense points with which the new curve is compared, [rad]: their sagitta,
# 0.01^2 / 8, is about the tolerance.
_SMALLEST_TURN = 0.01


def redrawn(
    position: Callable[[FloatArray], FloatArray],
    *,
    first: tuple[float, float],
    last: tuple[float, float],
    on_axis: tuple[bool, bool],
) -> tuple[Spline, float]:
    """A quintic spline through points of a drawn curve.

    Parameters
    ----------
    position : callable (n,) array -> (n, 2) array
        Points of the drawn curve at parameters in [0, 1], [m].
    first, last : tuple of float
        Where the ends shall lie exactly, within rounding of the drawn ones, [m].
    on_axis : tuple of bool
        Which ends meet the line x = 0 at a right angle and go on as their own mirror image.

    Returns
    -------
    Spline
    float
        Largest distance found between the drawn curve and the spline, [m].

    Raises
    ------
    GeometryError
        The curve cannot be followed, because the drawn curve has a kink.
    """
    u, points = _resolved(position)
    steps = np.diff(points, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    whole = float(lengths.sum())
    turn = np.abs(_turns(steps))
    bend = turn / np.maximum(0.5 * (lengths[1:] + lengths[:-1]), 1e-12 * whole)
    smallest = min(whole, 1.0 / max(float(bend.max(initial=0.0)), 1.0 / whole))
    spread = np.concatenate([[0.0], 0.5 * (turn[1:] + turn[:-1]), [0.0]])
    if len(turn):
        spread[0], spread[-1] = 0.5 * turn[0], 0.5 * turn[-1]
    measure = np.concatenate([[0.0], np.cumsum(spread[: len(lengths)] / _ANGLE_STEP)])
    measure += np.concatenate([[0.0], np.cumsum(lengths)]) / whole * _LEAST_PIECES
    reached = np.inf
    for density in (1.0, 1.6, 2.5, 4.0, 6.0):
        count = int(np.ceil(density * measure[-1])) + 1
        at = np.interp(np.linspace(0.0, measure[-1], count), measure, u)
        through = position(at)
        through[0], through[-1] = first, last
        curve = Spline.through(through, mirror_first=on_axis[0], mirror_last=on_axis[1])
        steps_in_u = np.diff(at)[:, None] * np.array([0.25, 0.5, 0.75])
        between = position((at[:-1, None] + steps_in_u).ravel())
        t = nearest_parameters(curve, between)
        reached = float(np.hypot(*(curve.point(t) - between).T).max())
        if reached <= _TOLERANCE * smallest:
            return curve, reached
    x, z = points[0]
    raise GeometryError(
        f"the spline that begins at ({x:.6g}, {z:.6g}) m cannot be followed by a smooth curve "
        f"(off by {reached:.2g} m): it has a kink inside; split it there"
    )


def nearest_parameters(curve: Curve, points: FloatArray) -> FloatArray:
    """Curve parameters of the places nearest to points that lie on or very near a curve in order.

    Parameters
    ----------
    points : (n, 2) array
        In the order of the curve, [m].

    Returns
    -------
    (n,) array
        In [0, 1], [-].
    """
    t = np.linspace(0.0, 1.0, max(1025, 8 * len(points)))
    dense = curve.point(t)
    best = np.empty(len(points))
    start = 0
    for k, point in enumerate(points):
        # In order, so the search never goes back more than one sample.
        ahead = dense[start:]
        start += int(np.argmin(np.hypot(*(ahead - point).T)))
        best[k] = t[start]
        start = max(start - 1, 0)
    for _ in range(6):
        offset = curve.point(best) - points
        slope = curve.derivative(best, 1)
        best -= (offset * slope).sum(axis=1) / (slope**2).sum(axis=1)
        best = np.clip(best, 0.0, 1.0)
    return best


def _resolved(position: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Parameters and points so dense that no chord turns by more than a small angle."""
    u = np.linspace(0.0, 1.0, 129)
    points = position(u)
    whole = float(np.hypot(*np.diff(points, axis=0).T).sum())
    if not whole > 0.0:
        raise GeometryError("a drawn curve has no length")
    for _ in range(16):
        steps = np.diff(points, axis=0)
        turn = np.abs(_turns(steps))
        sharp = turn > _SMALLEST_TURN
        wanted = np.zeros(len(steps), dtype=bool)
        wanted[:-1] |= sharp
        wanted[1:] |= sharp
        wanted &= np.hypot(steps[:, 0], steps[:, 1]) > 1e-9 * whole
        if not wanted.any():
            break
        u = np.sort(np.concatenate([u, 0.5 * (u[1:] + u[:-1])[wanted]]))
        points = position(u)
    keep = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-12 * whole])
    return u[keep], points[keep]


def _turns(steps: FloatArray) -> FloatArray:
    """Signed angles between consecutive steps, (n - 1,) array, [rad]."""
    a, b = steps[:-1], steps[1:]
    return np.asarray(
        np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1]))
    )
