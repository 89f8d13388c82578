"""A potential with a continuous gradient from the values at the points of a mesh.

The gradient at every point comes from a cubic fitted to the values around it, exact values on
conductors among them.  Each triangle is then split at its centroid into three cubic
pieces that share value and gradient along every edge (Clough and Tocher's element with a normal
derivative that varies linearly along each edge; Alfeld 1984 describes the construction).  The
field is the exact negative gradient of that potential, so that an ion that follows it conserves
energy as well as the time integration allows.  Value and gradient are second order in the
spacing, as the mesh values are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from scipy.sparse import csr_matrix

from conegap.geometries.curves.curve import FloatArray, IntArray

__all__ = ["Cubics", "cubic_pieces", "recovered_gradient"]

# Points fitted at once: neighbourhoods of fifty points and nine functions then take a few
# megabytes.
_BATCH = 500
# Derivatives of a cubic by u and by v: coefficients and factors of 1, u, v, u^2, u v, v^2.
_RISE_OF = np.array([[1, 3, 4, 6, 7, 8], [2, 4, 5, 7, 8, 9]])
# The factors.
_RISE_BY = np.array([[1.0, 2.0, 1.0, 3.0, 2.0, 1.0], [1.0, 1.0, 2.0, 1.0, 2.0, 3.0]])


@dataclass(frozen=True)
class Cubics:
    """Cubic polynomials, one for each of n points (scaled quantities).

    Parameters
    ----------
    centre : (2, n) array
        Where the barycentric coordinates u and v are 0.
    sides : (2, 2, n) array
        From there to the corners u = 1 and v = 1, in the columns.
    slopes : (2, 2, n) array
        Gradients of u and of v, in the rows; the inverse of ``sides``.
    coefficients : (10, n) array
        In the order of `cubic_pieces`.
    acceleration : (2, 6, n) array
        Second derivatives of u and v over time for a charge that follows the negative gradient:
        factors of 1, u, v, u^2, u v, v^2.
    """

    centre: FloatArray
    sides: FloatArray
    slopes: FloatArray
    coefficients: FloatArray
    acceleration: FloatArray

    @classmethod
    def of(cls, centre: FloatArray, sides: FloatArray, coefficients: FloatArray) -> Cubics:
        """Cubics from where they lie and their coefficients, as above."""
        (a, b), (c, d) = sides
        slopes = np.stack([np.stack([d, -b]), np.stack([-c, a])]) / (a * d - b * c)
        metric = np.einsum("idn,jdn->ijn", slopes, slopes)
        rise = coefficients[_RISE_OF] * _RISE_BY[..., None]
        acceleration = -np.einsum("ijn,jtn->itn", metric, rise)
        return cls(centre, sides, slopes, coefficients, acceleration)

    @classmethod
    def joined(cls, parts: Sequence[Cubics]) -> Cubics:
        """Those of all parts, one part after the other."""
        if len(parts) == 1:
            return parts[0]
        return cls(
            *(
                np.concatenate([getattr(part, each.name) for part in parts], axis=-1)
                for each in fields(cls)
            )
        )

    def at(self, pick: IntArray) -> Cubics:
        """Some of the cubics, as often as their numbers are given, (k,) array of int."""
        return Cubics(
            self.centre.take(pick, axis=-1),
            self.sides.take(pick, axis=-1),
            self.slopes.take(pick, axis=-1),
            self.coefficients.take(pick, axis=-1),
            self.acceleration.take(pick, axis=-1),
        )

    def shares(self, points: FloatArray) -> FloatArray:
        """Barycentric coordinates u and v of points, (2, n) arrays both, [-]."""
        x, z = points - self.centre
        return np.asarray(self.slopes[:, 0] * x + self.slopes[:, 1] * z)

    def inward(self, state: FloatArray) -> FloatArray:
        """Place and velocity in u and v from those in the plane, (4, n) arrays both."""
        found = np.empty_like(state)
        found[:2] = self.shares(state[:2])
        found[2:] = self.slopes[:, 0] * state[2] + self.slopes[:, 1] * state[3]
        return found

    def outward(self, state: FloatArray) -> FloatArray:
        """Place and velocity in the plane from those in u and v, (4, n) arrays both."""
        found = self.turned(state)
        found[:2] += self.centre
        return found

    def turned(self, state: FloatArray) -> FloatArray:
        """Differences of place and velocity in the plane from those in u and v, (4, n) arrays."""
        local = state.reshape(2, 2, -1)
        found = local[:, 0, None] * self.sides[:, 0] + local[:, 1, None] * self.sides[:, 1]
        return np.asarray(found.reshape(4, -1))

    def evaluate(self, place: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value, (n,) array, and gradient in the plane, (2, n) array, at u and v, (2, n) array."""
        u, v = place
        p1, pu, pv, puu, puv, pvv, puuu, puuv, puvv, pvvv = self.coefficients
        uu, uv, vv = u * u, u * v, v * v
        quadratic_u, quadratic_v = puuv * u + puvv * v, puu * u + puv * v
        value = (
            p1
            + u * (pu + quadratic_v + puuu * uu + quadratic_u * v)
            + v * (pv + pvv * v + pvvv * vv)
        )
        du = pu + 2.0 * (puu * u + puuv * uv) + puv * v + 3.0 * puuu * uu + puvv * vv
        dv = pv + 2.0 * (pvv * v + puvv * uv) + puv * u + 3.0 * pvvv * vv + puuv * uu
        return value, du * self.slopes[0] + dv * self.slopes[1]


def recovered_gradient(
    points: FloatArray, triangles: IntArray, values: FloatArray, *, mirrored: bool
) -> FloatArray:
    """Gradient at the points of a mesh by a fitted cubic through each point's own value.

    Parameters
    ----------
    points : (n, 2) array
        Any unit of length.
    triangles : (m, 3) array of int
    values : (n,) array
        Any unit.
    mirrored : bool
        The field is its own mirror image about x = 0; points near that line then use the
        images of their neighbours, and the gradient on it lies along it.

    Returns
    -------
    (n, 2) array
        Unit of the values over unit of length.
    """
    count = len(points)
    on_line = np.abs(points[:, 0]) <= 1e-9 * np.ptp(points, axis=0).max()
    number = np.arange(count)
    corners = triangles
    if mirrored:
        images = np.nonzero(~on_line)[0]
        number = np.concatenate([number, images])
        place_of = np.arange(count)
        place_of[images] = count + np.arange(len(images))
        corners = np.vstack([triangles, place_of[triangles]])
        points = np.vstack([points, points[images] * np.array([-1.0, 1.0])])
    gradient = np.empty((count, 2))
    for rows, start, around in _neighbourhoods(corners, len(points), count):
        for low in range(0, len(rows), _BATCH):
            some = slice(low, low + _BATCH)
            gradient[rows[some]] = _fitted(
                points, number, values, rows[some], start[low : low + _BATCH + 1], around
            )
    if mirrored:
        gradient[on_line, 0] = 0.0
    return gradient


def _neighbourhoods(
    triangles: IntArray, total: int, count: int
) -> list[tuple[IntArray, IntArray, IntArray]]:
    """Points whose neighbourhoods are alike, and those neighbourhoods as compressed rows.

    Two edges reach far enough inside.  At the boundary they give only three rows of points,
    which leave a cubic undetermined, so that a third edge is added there.
    """
    a, b = triangles[:, [0, 1, 2]].ravel(), triangles[:, [1, 2, 0]].ravel()
    one_way = csr_matrix((np.ones(len(a), dtype=np.int32), (a, b)), shape=(total, total))
    graph = (one_way + one_way.T).tocsr()
    single = abs(one_way - one_way.T)
    at_boundary = np.asarray(single.sum(axis=1)).ravel()[:count] > 0
    found = []
    for rows, more in ((np.nonzero(~at_boundary)[0], False), (np.nonzero(at_boundary)[0], True)):
        near = graph[rows] @ graph + graph[rows]
        if more:
            near = near @ graph + near
        near = near.tocsr()
        found.append((rows, near.indptr.astype(np.int64), near.indices.astype(np.int64)))
    return found


def _fitted(
    points: FloatArray,
    number: IntArray,
    values: FloatArray,
    rows: IntArray,
    start: IntArray,
    around: IntArray,
) -> FloatArray:
    """Gradients of the cubics at some points, (len(rows), 2) array."""
    sizes = np.diff(start)
    slot = np.arange(int(sizes.max()))
    there = slot[None, :] < sizes[:, None]
    pick = np.where(there, start[:-1, None] + slot[None, :], start[0])
    near = around[pick]
    offset = points[near] - points[rows][:, None, :]
    distance = np.hypot(offset[..., 0], offset[..., 1])
    reach = np.max(np.where(there, distance, 0.0), axis=1)
    # The point itself is among its second neighbours; its distance of zero is no information.
    # Inverse distance, levelled off at a tenth of the reach so that no neighbour rules alone.
    weight = np.where(there & (distance > 0.0), 1.0 / (0.1 * reach[:, None] + distance), 0.0)
    u, v = offset[..., 0] / reach[:, None], offset[..., 1] / reach[:, None]
    rise = values[number[near]] - values[rows][:, None]
    uu, uv, vv = u * u, u * v, v * v
    basis = np.stack([u, v, uu, uv, vv, uu * u, uu * v, u * vv, v * vv], axis=-1)
    weighted = basis * (weight**2)[..., None]
    normal = np.swapaxes(weighted, 1, 2) @ basis
    right = np.einsum("nkp,nk->np", weighted, rise)
    # A trace of damping keeps cubics that too few points determine from running away.
    size = np.trace(normal, axis1=1, axis2=2) / basis.shape[-1]
    normal += 1e-11 * size[:, None, None] * np.eye(basis.shape[-1])
    found = np.linalg.solve(normal, right[..., None])[..., 0]
    return np.asarray(found[:, :2] / reach[:, None])


def cubic_pieces(
    points: FloatArray, triangles: IntArray, values: FloatArray, gradient: FloatArray
) -> FloatArray:
    """Polynomials of the three cubic pieces of every triangle.

    Piece i lies opposite corner i, between the next two corners j, k and the centroid.  Its
    variables u and v are the barycentric coordinates of j and k, both 0 at the centroid.  The
    coefficients belong to 1, u, v, u^2, u v, v^2, u^3, u^2 v, u v^2, v^3.

    Parameters
    ----------
    points : (n, 2) array
    triangles : (m, 3) array of int
    values : (n,) array
    gradient : (n, 2) array

    Returns
    -------
    (m, 3, 10) array
        Unit of the values.
    """
    corner = points[triangles]
    value, slope = values[triangles], gradient[triangles]
    centre = corner.mean(axis=1)
    pieces = np.empty((len(triangles), 3, 10))
    inward = value + np.einsum("mid,mid->mi", slope, centre[:, None] - corner) / 3.0
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        side = corner[:, k] - corner[:, j]
        c210 = value[:, j] + np.sum(slope[:, j] * side, axis=1) / 3.0
        c120 = value[:, k] - np.sum(slope[:, k] * side, axis=1) / 3.0
        # From the foot of the perpendicular through the centroid: rates -(1 - t), -t, 1.
        t = np.sum((centre - corner[:, j]) * side, axis=1) / np.sum(side**2, axis=1)
        at_j = -(1.0 - t) * value[:, j] - t * c210 + inward[:, j]
        at_k = -(1.0 - t) * c120 - t * value[:, k] + inward[:, k]
        c111 = 0.5 * (at_j + at_k) + (1.0 - t) * c210 + t * c120
        pieces[:, i, 0], pieces[:, i, 1] = value[:, j], value[:, k]
        pieces[:, i, 3], pieces[:, i, 5], pieces[:, i, 9] = c210, c120, c111
        pieces[:, i, 4], pieces[:, i, 6] = inward[:, j], inward[:, k]
    middle = pieces[:, :, 9]
    # Towards corner i lies the border of the two pieces that are not opposite it.
    border = np.stack(
        [(inward[:, i] + middle[:, (i + 1) % 3] + middle[:, (i + 2) % 3]) / 3.0 for i in range(3)],
        axis=1,
    )
    for i in range(3):
        pieces[:, i, 7], pieces[:, i, 8] = border[:, (i + 1) % 3], border[:, (i + 2) % 3]
    pieces[:, :, 2] = border.mean(axis=1)[:, None]
    return _in_powers(pieces)


def _in_powers(bernstein: FloatArray) -> FloatArray:
    """From the order 300, 030, 003, 210, 201, 120, 021, 102, 012, 111 to powers of u and v."""
    c300, c030, c003, c210, c201, c120, c021, c102, c012, c111 = np.moveaxis(bernstein, -1, 0)
    return np.stack(
        [
            c003,
            3.0 * (c102 - c003),
            3.0 * (c012 - c003),
            3.0 * (c201 - 2.0 * c102 + c003),
            6.0 * (c111 - c102 - c012 + c003),
            3.0 * (c021 - 2.0 * c012 + c003),
            c300 - 3.0 * c201 + 3.0 * c102 - c003,
            3.0 * (c210 - 2.0 * c111 - c201 + 2.0 * c102 + c012 - c003),
            3.0 * (c120 - 2.0 * c111 - c021 + 2.0 * c012 + c102 - c003),
            c030 - 3.0 * c021 + 3.0 * c012 - c003,
        ],
        axis=-1,
    )
