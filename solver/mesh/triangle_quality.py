"""Whether the triangles between given boundary points are those of the outline, and small enough.

netgen inserts points into a Delaunay triangulation four times as quickly as its front advances (20
ms instead of 63 for the 225 boundary points of the shipped needle), for as good an edge field.  But
in a gap only a few boundary edges wide it inserts none: triangles then span the gap, and the
potential in a confocal ellipse's bare corner was six times less accurate; where sizes differ by a
factor 1e5 it left out boundary points.  So the quick method is tried first, for 120 pieces of
outline or more, and refused where more than 12 % of the triangles are larger than the boundary's
spacing allows or the outline is not kept.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from conegap.geometries.curves.curve import FloatArray, IntArray

__all__ = ["bare_share", "keeps_outline"]


# As in `SpacingRule`. Half or twice of it sends more or fewer sections to the other method: 13 %
# more or 11 % fewer points, for the same edge fields within 4e-6.
_GROWTH = 0.5


def bare_share(points: FloatArray, triangles: IntArray, edges: IntArray) -> float:
    """Share of triangles whose circumradius is greater than the spacing wanted there, [-].

    The spacing wanted is that of the nearest boundary edge, growing with the distance from it.

    Parameters
    ----------
    points : (n, 2) array
    triangles : (m, 3) array of int
        Counterclockwise.
    edges : (k, 2) array of int
        Boundary edges.
    """
    corners = points[triangles]
    sides = np.roll(corners, -1, axis=1) - corners
    lengths = np.hypot(sides[..., 0], sides[..., 1])
    twice_area = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    radius = lengths.prod(axis=1) / (2.0 * twice_area)
    along = points[edges[:, 1]] - points[edges[:, 0]]
    length = np.hypot(along[:, 0], along[:, 1])
    distance, nearest = cKDTree(points[edges].mean(axis=1)).query(corners.mean(axis=1))
    # The centroid of a triangle on a boundary edge lies some 0.3 of its length away.
    wanted = length[nearest] + _GROWTH * np.maximum(distance - 0.3 * length[nearest], 0.0)
    return float(np.mean(radius > wanted))


def keeps_outline(triangles: IntArray, edges: IntArray) -> bool:
    """Whether the sides of only one triangle are the boundary edges, and no others.

    Parameters
    ----------
    triangles : (m, 3) array of int
    edges : (k, 2) array of int
        Boundary edges.
    """
    sides = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2))
    count = int(sides.max()) + 1
    keys, times = np.unique(sides @ [count, 1], return_counts=True)
    return np.array_equal(keys[times == 1], np.unique(np.sort(edges) @ [count, 1]))
