"""The outline of a traced edge as smooth points: circle, transition and flank.

Inside the window the points lie on the fitted circle.  Beyond it the curvature falls from the
circle's to zero smoothly while the tangent turns to the flank's direction, so that no
place is sharper than the edge; further down a polynomial of fourth degree follows the trace.
"""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.micrograph.measured_edge import MeasuredEdge

__all__ = ["measured_profile"]

# Between the points that stand for the fitted circle, [rad]; a quintic spline through points six
# degrees apart keeps its curvature to 2e-6.
_ARC_STEP = math.radians(6.0)
# Of the widest place: a flank that becomes narrower by more ends there, as below a bead.
_DRAWN_IN = 0.05
# Of the transition from the circle to the flank, so that it has a length even where the window
# already ends on the flank, [rad].
_LEAST_TURN = math.radians(2.0)


def measured_profile(edge: MeasuredEdge, *, extruded: bool) -> FloatArray:
    """Points of the outline.

    A revolved outline is the mean of both flanks, from the axis down; an extruded one keeps its
    two flanks, from the left foot to the right.

    Parameters
    ----------
    extruded : bool
        Keep both flanks.

    Returns
    -------
    (n, 2) array
        Radius or x, and height with the apex at 0, [m].
    """
    fit, frame = edge.window.fit, edge.frame
    points = frame.points - np.array([fit.centre[0], fit.centre[1] + fit.radius])
    count = max(4, math.ceil(edge.window.angle / _ARC_STEP))
    arc = np.linspace(0.0, edge.window.angle, count + 1)
    cap = fit.radius * np.column_stack([np.sin(arc), np.cos(arc) - 1.0])
    flip = np.array([-1.0, 1.0])
    sides = [points[: frame.apex + 1] * flip, points[frame.apex :]]
    depths = [_reach(side) for side in sides]
    if extruded:
        left, right = (
            _flank(side, depth, cap[-1], edge.window.angle, fit.radius)
            for side, depth in zip(sides, depths, strict=True)
        )
        whole = np.vstack([np.vstack([cap, left])[:0:-1] * flip, cap, right])
        return np.asarray(whole * edge.bar.pixel)
    # The mean of two flanks ends where the shorter one does.
    flank = _flank(np.vstack(sides), min(depths), cap[-1], edge.window.angle, fit.radius)
    return np.asarray(np.vstack([cap, flank]) * edge.bar.pixel)


def _reach(side: FloatArray) -> float:
    """Depth to which a flank is followed: to its widest place where it draws in again, [px]."""
    order = np.argsort(-side[:, 1])
    depth, half = -side[order, 1], side[order, 0]
    widest = int(np.argmax(half))
    drawn_in = float(half[widest:].min()) < (1.0 - _DRAWN_IN) * float(half[widest])
    return float(depth[widest] if drawn_in else depth[-1])


def _flank(
    side: FloatArray, deepest: float, start: FloatArray, angle: float, radius: float
) -> FloatArray:
    """Points below the circle, (n, 2) array, [px]."""
    depth, half = -side[:, 1], side[:, 0]
    below = half > 0.3 * float(start[0])
    depth, half = depth[below], half[below]
    foot = -float(start[1])
    _, slope = _line_at(depth, half, min(foot + radius, 0.5 * (foot + deepest)), radius)
    turn = max(math.pi / 2.0 - math.atan(slope) - angle, _LEAST_TURN)
    length = 2.0 * radius * turn
    # Curvature (1 - 10 v^3 + 15 v^4 - 6 v^5) / R along the transition, v = s / length.
    v = np.linspace(0.0, 1.0, 201)
    tangent = angle + length / radius * (v - 2.5 * v**4 + 3.0 * v**5 - v**6)
    steps = 0.5 * length * np.diff(v)[:, None]
    way = np.column_stack([np.cos(tangent), -np.sin(tangent)])
    path = start + np.vstack([[0.0, 0.0], np.cumsum(steps * (way[1:] + way[:-1]), axis=0)])
    pieces = max(8, math.ceil(length / (0.1 * radius)))
    some = path[np.linspace(0, 200, pieces + 1).round().astype(int)][1:]
    bend = [place for place in some if -place[1] < 0.95 * deepest]
    at = -float(path[-1, 1])
    if at >= 0.95 * deepest:
        return np.array(bend).reshape(-1, 2)
    # From there a polynomial that leaves the transition without a kink.
    top, wide = at, float(path[-1, 0])
    rise = 1.0 / math.tan(float(tangent[-1]))
    mine = (depth >= top) & (depth <= deepest)
    u = (depth[mine] - top) / (deepest - top)
    powers = np.column_stack([u**2, u**3, u**4])
    rest = half[mine] - wide - rise * (depth[mine] - top)
    bent, *_ = np.linalg.lstsq(powers, rest, rcond=1e-6)
    found = []
    step = 0.08 * radius
    while at + step < 0.97 * deepest:
        at += step
        u_at = (at - top) / (deepest - top)
        bow = float(np.array([u_at**2, u_at**3, u_at**4]) @ bent)
        found.append((wide + rise * (at - top) + bow, -at))
        step = min(1.3 * step, 0.12 * deepest)
    return np.array([*bend, *found]).reshape(-1, 2)


def _line_at(depth: FloatArray, half: FloatArray, at: float, reach: float) -> tuple[float, float]:
    """Half width and its slope over depth from a weighted straight line about one depth."""
    for _ in range(12):
        weight = np.clip(1.0 - (np.abs(depth - at) / reach) ** 3, 0.0, None) ** 3
        if np.count_nonzero(weight) >= 6:
            break
        reach *= 1.5
    slope, value = np.polyfit(depth - at, half, 1, w=np.sqrt(weight))
    return float(value), float(slope)
