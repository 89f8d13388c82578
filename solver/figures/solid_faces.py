"""Faces of turned, drawn-out and flat bodies for a view of the electrodes, from their outlines."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.figures.depth_image import Faces, corner_normals

__all__ = ["block", "cut_face", "drawn_out", "grid_faces", "together", "turned", "with_hole"]

Tint = tuple[float, float, float]
# Paper colour, so that cut faces read as cut, (red, green, blue) in 0 to 1.
CUT: Tint = (0.98, 0.95, 0.87)


def grid_faces(points: FloatArray, tint: Tint) -> Faces:
    """Faces over a grid of points.

    Parameters
    ----------
    points : (m, n, 3) array
        [m].
    tint : tuple of float
        Red, green and blue, 0 to 1.
    """
    rows, columns = points.shape[:2]
    flat = points.reshape(-1, 3)
    at = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]
    triangles = np.concatenate(
        [np.stack([a, b, c], axis=-1).reshape(-1, 3), np.stack([a, c, d], axis=-1).reshape(-1, 3)]
    )
    size = float(np.ptp(flat, axis=0).max()) or 1.0
    _, keys = np.unique(np.round(flat / size, 9), axis=0, return_inverse=True)
    corners = flat[triangles]
    area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    real = np.linalg.norm(area, axis=1) > 1e-14 * size**2
    corners, numbers = corners[real], keys.reshape(-1)[triangles[real]]
    return Faces(
        corners, corner_normals(corners, numbers), np.tile(np.array(tint), (len(corners), 1))
    )


def turned(
    outline: FloatArray,
    tint: Tint,
    *,
    centre: tuple[float, float] = (0.0, 0.0),
    first: float = 0.0,
    last: float = 2.0 * math.pi,
    parts: int = 144,
) -> Faces:
    """An outline in (distance from an axis, height) turned about that axis.

    Parameters
    ----------
    outline : (n, 2) array
        [m].
    tint : tuple of float
    centre : tuple of float
        Place of the axis, [m].
    first, last : float
        Angles from the x axis, [rad].
    parts : int
        Of a whole turn.
    """
    count = 2 + int(parts * (last - first) / (2.0 * math.pi))
    turn = np.linspace(first, last, count)
    x = centre[0] + outline[:, :1] * np.cos(turn)
    y = centre[1] + outline[:, :1] * np.sin(turn)
    z = np.repeat(outline[:, 1:], count, axis=1)
    return grid_faces(np.stack([x, y, z], axis=2), tint)


def drawn_out(outline: FloatArray, low: float, high: float, tint: Tint) -> Faces:
    """A convex closed outline in (y, z) moved along x, with cut faces at both ends.

    Parameters
    ----------
    outline : (n, 2) array
        [m].
    low, high : float
        [m].
    tint : tuple of float
    """
    closed = np.vstack([outline, outline[:1]])
    ends = [np.column_stack([np.full(len(closed), x), closed]) for x in (low, high)]
    side = grid_faces(np.stack(ends, axis=1), tint)
    return together([side, *(cut_face(end[:-1]) for end in ends)])


def block(low: Sequence[float], high: Sequence[float], tint: Tint) -> Faces:
    """A box between two corners.

    Parameters
    ----------
    low, high : sequence of float
        (x, y, z), [m].
    tint : tuple of float
    """
    (a, b, c), (d, e, f) = low, high
    sides = (
        [[a, b, c], [d, b, c], [a, b, f], [d, b, f]],
        [[a, e, c], [d, e, c], [a, e, f], [d, e, f]],
        [[a, b, c], [a, e, c], [a, b, f], [a, e, f]],
        [[d, b, c], [d, e, c], [d, b, f], [d, e, f]],
        [[a, b, f], [d, b, f], [a, e, f], [d, e, f]],
        [[a, b, c], [d, b, c], [a, e, c], [d, e, c]],
    )
    return together([grid_faces(np.array(side).reshape(2, 2, 3), tint) for side in sides])


def with_hole(
    centre: tuple[float, float],
    radius: float,
    half: tuple[float, float],
    z: float,
    tint: Tint,
    *,
    last: float = 2.0 * math.pi,
) -> Faces:
    """A level rectangle about a round hole, or the part of it up to an angle.

    Parameters
    ----------
    centre : tuple of float
        [m].
    radius : float
        Of the hole, less than both half widths, [m].
    half : tuple of float
        Half widths along x and y, [m].
    z : float
        [m].
    tint : tuple of float
    last : float
        [rad].
    """
    corner = math.atan2(half[1], half[0])
    corners = [corner, math.pi - corner, math.pi + corner, 2.0 * math.pi - corner]
    turn = np.unique([*np.linspace(0.0, last, 49), *(c for c in corners if c < last)])
    cosine, sine = np.cos(turn), np.sin(turn)
    reach = np.minimum(
        half[0] / np.maximum(abs(cosine), 1e-12), half[1] / np.maximum(abs(sine), 1e-12)
    )
    rings = [
        np.stack([centre[0] + r * cosine, centre[1] + r * sine, np.full(len(turn), z)], axis=1)
        for r in (np.full(len(turn), radius), reach)
    ]
    return grid_faces(np.stack(rings), tint)


def cut_face(outline: FloatArray) -> Faces:
    """A convex plane outline in space as the face of a cut.

    Parameters
    ----------
    outline : (n, 3) array
        [m].
    """
    middle = outline.mean(axis=0)
    closed = np.vstack([outline, outline[:1]])
    return grid_faces(np.stack([closed, np.broadcast_to(middle, closed.shape)]), CUT)


def together(parts: Sequence[Faces]) -> Faces:
    """All the faces of several bodies.

    Parameters
    ----------
    parts : sequence of Faces
    """
    return Faces(
        np.concatenate([part.corners for part in parts]),
        np.concatenate([part.normals for part in parts]),
        np.concatenate([part.tints for part in parts]),
    )
