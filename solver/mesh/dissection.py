"""An elimination order for large meshes: nested dissection by the places of the points.

A mesh is halved again and again by a straight cut, and the points along each cut are eliminated
last (A. George, SIAM J Numer Anal 10, 345 (1973), from memory): the factor of a plane mesh of n
points then has of the order of n log n entries, whatever the mesh.  The minimum-degree order of the
sparse library has fewer on small meshes and can take minutes to find on large structured ones.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from conegap.geometries.curves.curve import FloatArray, IntArray

__all__ = ["dissection_order"]

# Rows below which a part is not halved further; 16 to 128 take the same time.
_LEAF = 64


def dissection_order(matrix: Any, places: FloatArray) -> IntArray:
    """Order in which the rows are eliminated, (n,) array.

    Parameters
    ----------
    matrix : (n, n) sparse matrix
        Symmetric in its pattern.
    places : (n, dimensions) array
        Of every row, in any unit.
    """
    rows = matrix.tocsr()
    starts, neighbours = rows.indptr.astype(np.int64), rows.indices
    half = np.zeros(len(places), dtype=np.int8)
    finished: list[IntArray] = []
    # Parts still to be halved; what is finished first is eliminated last.
    waiting = [np.arange(len(places), dtype=np.int64)]
    while waiting:
        part = waiting.pop()
        found = _halved(part, places, starts, neighbours, half) if len(part) > _LEAF else None
        if found is None:
            finished.append(part)
            continue
        low, high, between = found
        finished.append(between)
        waiting += [low, high]
    return np.concatenate(finished[::-1])


def _halved(
    part: IntArray,
    places: FloatArray,
    starts: IntArray,
    neighbours: IntArray,
    half: NDArray[np.int8],
) -> tuple[IntArray, IntArray, IntArray] | None:
    """Two halves with the fewest points between them; None where there is no cut."""
    best: tuple[IntArray, IntArray, IntArray] | None = None
    for along in places[part].T:
        middle = (len(along) - 1) // 2
        below = along <= np.partition(along, middle)[middle]
        if below.all():
            continue
        low, high = part[below], part[~below]
        half[low], half[high] = 1, 2
        count = starts[low + 1] - starts[low]
        ends = np.cumsum(count)
        entries = np.arange(ends[-1]) + np.repeat(starts[low] - (ends - count), count)
        crossing = half[neighbours[entries]] == 2
        touches = np.bincount(np.repeat(np.arange(len(low)), count)[crossing], minlength=len(low))
        half[part] = 0
        between = low[touches > 0]
        if best is None or len(between) < len(best[2]):
            best = (low[touches == 0], high, between)
    return best
