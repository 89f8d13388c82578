"""In which order the points of a nested mesh are eliminated.

Inside a coarse triangle the points of a finer mesh have no neighbours elsewhere, so they go first;
what is left are the coarse points and the coarse edges.  Their order is found once, on the mesh of
halves, in which every coarse edge is one point, and serves all finer meshes: the factor stays as
sparse as with an order of its own, which takes as long to find as the factor takes to compute.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import SuperLU, splu

from conegap.geometries.curves import FloatArray
from conegap.solver.dissection import dissection_order

__all__ = ["PermutedFactor", "part_ranks", "point_ranks", "symmetric_factor"]

IntArray = NDArray[np.int64]

_DISSECTED = 10_000


def part_ranks(points: FloatArray, triangles: IntArray, sides: IntArray) -> IntArray:
    """Rank of every coarse point, then of every coarse edge, (points + edges,) array.

    The library's order of least degree, or nested dissection where that can take minutes to find.

    Parameters
    ----------
    points : (n, 2) array
    triangles : (m, 3) array of int
    sides : (3, m) array of int
        Numbers of the edges from a triangle's first corner to its second, and so on.
    """
    count = len(points) + int(sides.max()) + 1
    corner, edge = triangles.T, len(points) + sides
    next_corner, next_edge = np.roll(corner, -1, axis=0), np.roll(edge, -1, axis=0)
    one = np.concatenate([corner, next_corner, edge], axis=None)
    two = np.concatenate([edge, edge, next_edge], axis=None)
    graph = coo_array((np.ones(len(one)), (one, two)), (count, count)).tocsr()
    graph = graph + graph.T
    # Any matrix of that pattern will do; this one needs no pivoting.
    matrix = diags_array(graph.sum(axis=1) + 1.0, format="csr") - graph
    if count < _DISSECTED:
        return np.asarray(_factorised(matrix, "MMD_AT_PLUS_A").perm_c, dtype=np.int64)
    places = np.empty((count, 2))
    places[: len(points)] = points
    places[edge.ravel()] = 0.5 * (points[corner.ravel()] + points[next_corner.ravel()])
    rank = np.empty(count, dtype=np.int64)
    rank[dissection_order(matrix, places)] = np.arange(count)
    return rank


def point_ranks(ranks: IntArray, coarse_points: int, triangles: int, parts: int) -> IntArray:
    """Rank of every point of a finer mesh, (n,) array; those of one triangle or edge share it.

    Parameters
    ----------
    ranks : (coarse points + edges,) array of int
        From `part_ranks`.
    coarse_points, triangles : int
        Of the coarse mesh.
    parts : int
        Parts per coarse edge, >= 1, [-].
    """
    inside = (parts - 1) * (parts - 2) // 2
    return np.concatenate(
        [
            triangles + ranks[:coarse_points],
            np.repeat(triangles + ranks[coarse_points:], parts - 1),
            np.repeat(np.arange(triangles), inside),
        ]
    )


class PermutedFactor:
    """A factor of a matrix whose rows and columns were put in another order.

    Parameters
    ----------
    factor : SuperLU
        Of the matrix in the new order.
    order : (n,) array of int
        Old number of every new row.
    """

    def __init__(self, factor: SuperLU, order: IntArray) -> None:
        self._factor = factor
        self._order = order

    @property
    def entries(self) -> int:
        """Entries of the lower factor."""
        return int(self._factor.L.nnz)

    def solve(self, right_hand_side: FloatArray) -> FloatArray:
        """Solution for one or several right-hand sides.

        Parameters
        ----------
        right_hand_side : (n,) or (n, k) array
            In the old order.
        """
        result = np.empty_like(right_hand_side)
        result[self._order] = self._factor.solve(np.ascontiguousarray(right_hand_side[self._order]))
        return result


def symmetric_factor(matrix: Any, ranks: IntArray) -> PermutedFactor:
    """Sparse factorisation in symmetric mode, the quickest for these meshes.

    Parameters
    ----------
    matrix : (n, n) sparse matrix
        Symmetric in its pattern.
    ranks : (n,) array of int
        When every row is eliminated; of equal ones the first row first.
    """
    order = np.argsort(ranks, kind="stable")
    return PermutedFactor(_factorised(matrix.tocsr()[order][:, order], "NATURAL"), order)


def _factorised(matrix: Any, order: str) -> SuperLU:
    return splu(
        matrix.tocsc(), permc_spec=order, diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
