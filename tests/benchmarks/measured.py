"""What one run of a method gives, and how a field along an edge becomes one number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray

__all__ = ["Run", "apex"]

# Places to either side of the greatest one through which a polynomial of fourth degree is
# fitted, as `apex_of` does for conegap's own fields.
_SIDE = 6
_DEGREE = 4


@dataclass(frozen=True)
class Run:
    """One solve.

    Parameters
    ----------
    edge_field : float
        Field at the apex of the emitting edge, [V/m].
    unknowns : int
        Of the finest linear system.
    cells : int
        Elements, or control volumes.
    mesh_seconds : float
        Making the mesh, [s].
    solve_seconds : float
        Everything after it, [s].
    """

    edge_field: float
    unknowns: int
    cells: int
    mesh_seconds: float
    solve_seconds: float


def apex(along: FloatArray, field: FloatArray, *, from_middle: bool) -> float:
    """Greatest field along an edge, by a polynomial through its neighbourhood, [V/m].

    Parameters
    ----------
    along : (n,) array
        Place along the edge, rising, [m].
    field : (n,) array
        Outward field, [V/m].
    from_middle : bool
        The edge begins on the axis or the symmetry line, at place 0, and is mirrored there.
    """
    if from_middle:
        along = np.concatenate([-along[::-1], along])
        field = np.concatenate([field[::-1], field])
    peak = int(np.argmax(field))
    some = slice(max(0, peak - _SIDE), peak + _SIDE + 1)
    degree = min(_DEGREE, len(along[some]) - 1)
    fit = np.polynomial.Polynomial.fit(along[some], field[some], degree)
    near = slice(max(0, peak - 2), peak + 3)
    fine = np.linspace(along[near][0], along[near][-1], 2001)
    return float(fit(fine).max())
