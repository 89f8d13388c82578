"""How two electrodes, one inside the other, are drawn: the wall of the outer one and dimensions."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.profile import Sharpest
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.parts.setting import length_text

__all__ = ["WALL_NOTE", "gap_mark", "radius_mark", "size_marks", "wall"]

# Of the wall drawn around the outer electrode over its size; the file gives none and the field
# needs none. A matter of looks.
_THICKNESS = 0.06
WALL_NOTE = "The outer electrode is drawn with a wall; the files give its inner surface alone."


def wall(inner: FloatArray) -> FloatArray:
    """Closed outline of a wall behind a surface, of a nominal thickness, for the drawing only.

    Parameters
    ----------
    inner : (n, 2) array
        Points of the surface with the vacuum on the left, [m].

    Returns
    -------
    (2 n, 2) array, [m]
    """
    along = np.gradient(inner, axis=0)
    right = np.stack([along[:, 1], -along[:, 0]], axis=1)
    right /= np.maximum(np.hypot(*right.T), 1e-300)[:, None]
    outer = inner + _THICKNESS * float(np.ptp(inner, axis=0).max()) * right
    on_axis = np.abs(inner[:, 0]) < 1e-9 * float(np.ptp(inner, axis=0).max())
    if on_axis[0] and on_axis[-1]:
        outer[[0, -1], 0] = 0.0
    return np.vstack([inner, outer[::-1]])


def size_marks(
    key: str, points: FloatArray, *, revolved: bool, around: FloatArray | None = None
) -> Iterator[DimensionMark]:
    """Greatest width (or diameter) and height of an outline.

    Parameters
    ----------
    key : str
        Design file key of the outline.
    points : (n, 2) array, [m]
    revolved : bool
        The points are one half of a section turned about the axis.
    around : (m, 2) array or None
        The electrode around it, into whose vacuum the width is moved so that the widths of both
        do not stand on one line, [m].
    """
    right, left = points[int(np.argmax(points[:, 0]))], points[int(np.argmin(points[:, 0]))]
    first = float(-right[0] if revolved else left[0])
    width = length_text(float(right[0]) - first)
    level = at = float(right[1])
    if around is not None:
        lowest = float(points[:, 1].min())
        level = lowest - 0.4 * (lowest - float(around[:, 1].min()))
    yield DimensionMark(
        key,
        f"⌀ {width}" if revolved else width,
        (first, level),
        (float(right[0]), level),
        foot=None if around is None else at,
    )
    top, foot = points[int(np.argmax(points[:, 1]))], points[int(np.argmin(points[:, 1]))]
    yield DimensionMark(
        key,
        length_text(float(top[1] - foot[1])),
        (float(top[0]), float(top[1])),
        (float(foot[0]), float(foot[1])),
    )


def gap_mark(edge: Sharpest, gap: float) -> DimensionMark:
    """The gap, as a dimension line where its normal is level or upright, else on a leader.

    Parameters
    ----------
    edge : Sharpest
        Where the gap begins.
    gap : float
        Distance along its normal, [m].
    """
    x, z = (float(v) for v in edge.point)
    across, up = (float(v) for v in edge.normal)
    if max(abs(across), abs(up)) > 0.9999:
        far = (x + gap * across, z + gap * up)
        return DimensionMark("emitter.points", f"gap {length_text(gap)}", (x, z), far)
    behind = (x - gap * across, z - gap * up)
    return DimensionMark("emitter.points", f"gap {length_text(gap)}", behind, (x, z), "radius")


def radius_mark(edge: Sharpest) -> DimensionMark:
    """The radius of the emitting edge, for the magnified view."""
    spot = edge.point
    centre = spot - edge.radius * edge.normal
    return DimensionMark(
        "emitter.points",
        f"R = {edge.radius * 1e6:.4g} um",
        (float(centre[0]), float(centre[1])),
        (float(spot[0]), float(spot[1])),
        kind="radius",
        inset=True,
    )
