"""A shaded picture of triangles by depth buffer: what is nearer hides what is farther, exactly.

Parallel projection, one light, normals smooth within 30 degrees; ink where the depth or the normal
jumps, so that the picture reads as a drawing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray

__all__ = ["Camera", "Faces", "corner_normals", "depth_image"]

# Faces that meet at less than 30 degrees are shaded as one curved surface; the curves drawn turn
# by less from face to face, the corners of the electrodes by more.
_CREASE = np.cos(np.radians(30.0))
# An edge of more than 50 degrees is inked. A matter of looks.
_INKED = np.cos(np.radians(50.0))
# Pixels filled at once, so that work arrays stay small.
_BATCH = 400_000
# Second difference of the depth, in pixels, beyond which one body hides another.
_JUMP = 4.0


@dataclass(frozen=True)
class Faces:
    """Triangles in space with a tint each.

    Parameters
    ----------
    corners : (n, 3, 3) array
        [m].
    normals : (n, 3, 3) array
        Unit normal at every corner, of either sign.
    tints : (n, 3) array
        Red, green and blue, 0 to 1.
    """

    corners: FloatArray
    normals: FloatArray
    tints: FloatArray


@dataclass(frozen=True)
class Camera:
    """Direction of a parallel projection.

    Parameters
    ----------
    azimuth, elevation : float
        Of the viewer, from the x axis and above the plane z = 0, [rad].
    """

    azimuth: float
    elevation: float

    def axes(self) -> FloatArray:
        """Unit vectors to the right, upward and towards the viewer, (3, 3) array."""
        a, e = self.azimuth, self.elevation
        right = np.array([-np.sin(a), np.cos(a), 0.0])
        towards = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
        return np.stack([right, np.cross(towards, right), towards])


def corner_normals(corners: FloatArray, keys: IntArray) -> FloatArray:
    """Normals at the corners of triangles, smooth where they meet flatly, (n, 3, 3) array.

    Parameters
    ----------
    corners : (n, 3, 3) array
        Neighbours turn the same way round, [m].
    keys : (n, 3) array of int
        Number of the point at each corner.
    """
    area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    unit = area / np.maximum(np.linalg.norm(area, axis=1), 1e-300)[:, None]
    flat = keys.ravel()
    order = np.argsort(flat, kind="stable")
    faces = order // 3
    total = np.zeros((len(flat), 3))
    # Neighbours at the same point stand together in the sorted list: compare at every distance.
    sorted_keys = flat[order]
    for step in range(40):
        same = sorted_keys[: len(flat) - step] == sorted_keys[step:]
        if not same.any():
            break
        first, second = np.nonzero(same)[0], np.nonzero(same)[0] + step
        close = np.sum(unit[faces[first]] * unit[faces[second]], axis=1) > _CREASE
        first, second = first[close], second[close]
        np.add.at(total, first, area[faces[second]])
        if step:
            np.add.at(total, second, area[faces[first]])
    found = np.empty_like(total)
    found[order] = total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    return found.reshape(-1, 3, 3)


def depth_image(
    faces: Faces, camera: Camera, window: tuple[float, float, float, float], width: int
) -> FloatArray:
    """Shaded picture, (rows, width, 4) array, 0 to 1, clear where there is nothing.

    Parameters
    ----------
    window : tuple of float
        Left, right, low and high of the picture along the camera's axes, [m].
    width : int
        Pixels across.
    """
    left, right, low, high = window
    size = (right - left) / width
    rows = max(1, round((high - low) / size))
    place = faces.corners @ camera.axes().T
    place = (place - [left, low, 0.0]) / size
    normals = faces.normals @ camera.axes().T
    depth = np.full(rows * width, -np.inf)
    owner = np.full(rows * width, -1)
    weights = np.zeros((rows * width, 3))
    for chosen, pixels, z, bary in _covered(place, rows, width):
        order = np.argsort(z, kind="stable")
        # Of several faces on a pixel the last assignment, the nearest, stands.
        nearest = np.zeros(rows * width, dtype=np.int64)
        nearest[pixels[order]] = order
        touched = np.unique(pixels)
        pick = nearest[touched]
        nearer = z[pick] > depth[touched]
        touched, pick = touched[nearer], pick[nearer]
        depth[touched], owner[touched], weights[touched] = z[pick], chosen[pick], bary[pick]
    seen = owner >= 0
    picture = np.zeros((rows * width, 4))
    lean = np.zeros((rows * width, 3))
    lean[seen] = np.einsum("ij,ijk->ik", weights[seen], normals[owner[seen]])
    lean *= np.where(lean[:, 2:] < 0.0, -1.0, 1.0)
    lean /= np.maximum(np.linalg.norm(lean, axis=1), 1e-12)[:, None]
    light = np.array([-0.45, 0.6, 0.66])
    bright = 0.52 + 0.48 * np.clip(lean @ light / np.linalg.norm(light), 0.0, 1.0)
    picture[seen, :3] = faces.tints[owner[seen]] * bright[seen][:, None]
    picture[seen, 3] = 1.0
    ink = _ink(depth.reshape(rows, width), lean.reshape(rows, width, 3))
    picture[ink.ravel()] = [0.11, 0.15, 0.19, 1.0]
    return np.asarray(picture.reshape(rows, width, 4)[::-1])


Covered = tuple[IntArray, IntArray, FloatArray, FloatArray]


def _covered(place: FloatArray, rows: int, width: int) -> Iterator[Covered]:
    """Faces, pixels, depths and weights of the corners, in batches of faces of like size."""
    low = np.floor(place[:, :, :2].min(axis=1)).astype(np.int64)
    high = np.ceil(place[:, :, :2].max(axis=1)).astype(np.int64)
    low, high = np.maximum(low, 0), np.minimum(high, [width, rows])
    span = (high - low).max(axis=1, initial=0)
    usable = (high > low).all(axis=1) & (np.abs(_twice_area(place)) > 1e-12)
    tall = 1
    while tall < 2 * max(rows, width):
        batch = np.nonzero(usable & (span <= tall) & (span > tall // 2))[0]
        part = max(1, _BATCH // (tall * tall))
        for start in range(0, len(batch), part):
            yield _batch(place, batch[start : start + part], low, high, tall, width)
        tall *= 2


def _twice_area(place: FloatArray) -> FloatArray:
    u, v = place[:, 1, :2] - place[:, 0, :2], place[:, 2, :2] - place[:, 0, :2]
    return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def _batch(
    place: FloatArray, batch: IntArray, low: IntArray, high: IntArray, tall: int, width: int
) -> Covered:
    steps = np.arange(tall)
    column = (low[batch, 0][:, None, None] + steps[None, None, :]) + 0 * steps[None, :, None]
    row = (low[batch, 1][:, None, None] + steps[None, :, None]) + 0 * steps[None, None, :]
    x, y = column + 0.5, row + 0.5
    a, b, c = (place[batch, k][:, :, None, None] for k in range(3))
    twice = _twice_area(place[batch])[:, None, None]
    one = ((c[:, 0] - b[:, 0]) * (y - b[:, 1]) - (c[:, 1] - b[:, 1]) * (x - b[:, 0])) / twice
    two = ((a[:, 0] - c[:, 0]) * (y - c[:, 1]) - (a[:, 1] - c[:, 1]) * (x - c[:, 0])) / twice
    three = 1.0 - one - two
    inside = np.minimum(np.minimum(one, two), three) >= -1e-6
    inside &= (column < high[batch, 0][:, None, None]) & (row < high[batch, 1][:, None, None])
    face, _, _ = np.nonzero(inside)
    weights = np.stack([one[inside], two[inside], three[inside]], axis=1)
    depth = np.sum(weights * place[batch[face], :, 2], axis=1)
    return batch[face], (row * width + column)[inside], depth, weights


def _ink(depth: FloatArray, lean: FloatArray) -> FloatArray:
    """Where an outline or an edge is drawn, (rows, width) array of bool."""
    seen = np.isfinite(depth)
    filled = np.where(seen, depth, -1e6)
    ink = np.zeros(depth.shape, dtype=bool)
    for axis in (0, 1):
        before, after = np.roll(filled, 1, axis), np.roll(filled, -1, axis)
        bend = before - 2.0 * filled + after
        # The farther side of a jump stays clear, so that a line is one pixel wide.
        ink |= seen & (bend < -_JUMP)
        turn = np.sum(lean * np.roll(lean, 1, axis), axis=2)
        ink |= seen & (np.roll(seen, 1, axis)) & (turn < _INKED) & (np.abs(bend) <= _JUMP)
    ink[[0, -1], :] = False
    ink[:, [0, -1]] = False
    return ink
