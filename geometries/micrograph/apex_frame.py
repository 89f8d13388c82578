"""A traced outline turned so that its tip points up, in order from the left flank to the right."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import DesignError

__all__ = ["TIPS", "ApexFrame", "apex_frame"]

TIPS = ("up", "down", "left", "right")
"""Where the tip points on the picture."""

# Angle by which a picture is turned so that its tip points up, [rad].
_TURN = {"up": 0.0, "down": math.pi, "left": -math.pi / 2.0, "right": math.pi / 2.0}
# Of the specimen in its picture; more is a picture that was not set upright, or a wrong --tip. A
# choice, no source.
_LARGEST_TILT = math.radians(10.0)
# Points that must lie beyond the highest one on either side: with fewer it is the frame of the
# picture that cuts the outline.
_END_POINTS = 4


@dataclass(frozen=True)
class ApexFrame:
    """An outline in the frame of its own axis.

    Parameters
    ----------
    points : (n, 2) array
        From the left flank over the apex to the right flank; x from the axis, z up, [px].
    apex : int
        Number of the highest point.
    tilt : float
        Angle between the outline's axis and the picture's, [rad].
    turn : float
        Angle by which the picture was turned, [rad].
    """

    points: FloatArray
    apex: int
    tilt: float
    turn: float

    @property
    def depth(self) -> float:
        """Depth below the apex to which both flanks are seen, [px]."""
        top = float(self.points[self.apex, 1])
        return top - max(float(self.points[0, 1]), float(self.points[-1, 1]))


def apex_frame(points: FloatArray, name: str, *, tip: str = "up") -> ApexFrame:
    """Turn an outline upright about its own axis, the middle between its flanks.

    Parameters
    ----------
    points : (n, 2) array
        To the right and up, in order along the outline, [px].
    name : str
        Name of the file, for messages.
    tip : str
        One of `TIPS`.

    Raises
    ------
    DesignError
        The tip lies at the end of the outline (out of the frame), or the axis is tilted by more
        than ten degrees.
    """
    turn = _TURN[tip]
    upright = _turned(points, turn)
    if np.hypot(*(upright[0] - upright[-1])) < 3.0 * np.median(
        np.hypot(*np.diff(upright, axis=0).T)
    ):
        # A closed outline begins at its lowest point.
        lowest = int(np.argmin(upright[:, 1]))
        upright = np.roll(upright[:-1], -lowest, axis=0)
    if upright[0, 0] > upright[-1, 0]:
        upright = upright[::-1]
    tilt = 0.0
    for _ in range(4):
        turned = _turned(upright, tilt)
        apex = _apex(turned, name, tip)
        step = _lean(turned, apex)
        tilt += step
        if abs(tilt) > _LARGEST_TILT:
            raise DesignError(
                f"{name}: the axis is tilted by {abs(math.degrees(tilt)):.0f} deg against the "
                f"picture, more than {math.degrees(_LARGEST_TILT):.0f} deg; turn the picture so "
                f"that the tip points {tip}, or check --tip"
            )
    turned = _turned(upright, tilt)
    apex = _apex(turned, name, tip)
    first, last = _falling(turned, apex)
    kept = turned[first : last + 1]
    origin = np.array([_middle(kept, apex - first), kept[apex - first, 1]])
    return ApexFrame(kept - origin, apex - first, tilt, turn + tilt)


def _turned(points: FloatArray, angle: float) -> FloatArray:
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def _apex(points: FloatArray, name: str, tip: str) -> int:
    """Highest point, in the middle of a level stretch."""
    z = points[:, 1]
    top = np.flatnonzero(z >= z.max() - 1e-9)
    apex = int(top[len(top) // 2])
    if apex < _END_POINTS or apex >= len(points) - _END_POINTS:
        raise DesignError(
            f"{name}: the outline ends at its highest point, so the edge lies out of the frame (or "
            f"the tip does not point {tip}); take a picture that shows both flanks, or give --tip"
        )
    return apex


def _falling(points: FloatArray, apex: int) -> tuple[int, int]:
    """The stretch around the apex on which both flanks go down."""
    z = points[:, 1]
    slack = 0.02 * (z[apex] - z.min())
    left = z[: apex + 1][::-1]
    right = z[apex:]
    first = apex - _stop(left, slack)
    last = apex + _stop(right, slack)
    return first, last


def _stop(heights: FloatArray, slack: float) -> int:
    """How far a flank goes before it rises again."""
    lowest = np.minimum.accumulate(heights)
    risen = np.flatnonzero(heights > lowest + slack)
    end = int(risen[0]) if len(risen) else len(heights)
    return int(np.argmin(heights[:end]))


def _flanks(points: FloatArray, apex: int) -> tuple[FloatArray, FloatArray]:
    """Middle between the flanks, and depth below the apex, at a row of depths."""
    first, last = _falling(points, apex)
    depth = points[apex, 1] - points[:, 1]
    left, right = slice(first, apex + 1), slice(apex, last + 1)
    deepest = min(float(depth[left].max()), float(depth[right].max()))
    at = np.linspace(0.15, 0.95, 33) * deepest
    sides = []
    for side, order in ((left, -1), (right, 1)):
        d = np.maximum.accumulate(depth[side][::order])
        sides.append(np.interp(at, d, points[side, 0][::order]))
    return 0.5 * (sides[0] + sides[1]), at


def _lean(points: FloatArray, apex: int) -> float:
    """Angle by which the outline must turn for its middle line to stand upright, [rad]."""
    middle, depth = _flanks(points, apex)
    slope = float(np.polyfit(depth, middle, 1)[0])
    # The middle line runs to the right as it goes down: turn clockwise, which is negative.
    return -math.atan(slope)


def _middle(points: FloatArray, apex: int) -> float:
    middle, _ = _flanks(points, apex)
    return float(np.median(middle))
