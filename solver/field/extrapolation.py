"""Values, orders and errors from a sequence of nested meshes.

Where three meshes show the second order that the scheme should have, the leading error is removed
(L. F. Richardson, Phil Trans R Soc A 210, 307 (1911)); where they do not, the value of the finest
mesh stands, with a wider error.  Either way the error is estimated from the sequence itself.

The error, half of what the first extrapolation still moved or 6 % of the correction, whichever is
larger, was chosen so that it bounds the true error on every exact case.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["Estimate", "combined", "estimate"]

# Observed orders that count as second order: the meshes' orders on exact edges lie between 1.8
# and 2.1, those of sequences that a kink or a jump of the spacing spoils below 1.5 or far above.
_EARNED_ORDER = (1.5, 2.6)
# Of the correction, kept as error. With none, one of nine exact edges lies outside its stated
# error; with half of it, all lie inside.
_LEADING_SHARE = 0.06
# On the last change where no order is observed: at first order the change to the next mesh is
# half the last one, and all that follow add up to the whole of it. The half more is a choice.
_SAFETY = 1.5


@dataclass(frozen=True)
class Estimate:
    """A computed number with its numerical error.

    Parameters
    ----------
    value : float
        Best value, in the unit of the quantity.
    error : float
        Estimated relative numerical error, [-].
    order : float
        Observed order of convergence (nan where the sequence is not monotone), [-].
    extrapolated : bool
        Whether the leading error was removed.
    level_sizes : tuple of int
        Subdivisions per coarse edge of every mesh.
    level_values : tuple of float
        Value on every mesh.
    """

    value: float
    error: float
    order: float
    extrapolated: bool
    level_sizes: tuple[int, ...]
    level_values: tuple[float, ...]


def combined(sizes: tuple[int, ...], values: tuple[float, ...], extrapolated: bool) -> float:
    """The linear combination of mesh values that `estimate` uses.

    Parameters
    ----------
    sizes : tuple of int
        Subdivisions of the meshes, each twice the one before, [-].
    values : tuple of float
        The quantity on each mesh.
    extrapolated : bool
        Remove the second- and fourth-order terms; otherwise the finest value.

    Returns
    -------
    float
        In the unit of the values.
    """
    if not extrapolated:
        return values[-1]
    # Halving the spacing leaves a quarter of the h^2 term and a sixteenth of the h^4 term.
    best = values[-1] + (values[-1] - values[-2]) / 3.0
    if len(sizes) == 2:
        return best
    previous = values[-2] + (values[-2] - values[-3]) / 3.0
    return best + (best - previous) / 15.0


def estimate(sizes: tuple[int, ...], values: tuple[float, ...]) -> Estimate:
    """Best value and error from a mesh sequence.

    Parameters
    ----------
    sizes : tuple of int
        Subdivisions of the meshes, each twice the one before, at least two, [-].  Two meshes
        cannot observe an order: second order is taken for granted and the error is wide.
    values : tuple of float
        The quantity on each mesh.

    Raises
    ------
    ValueError
        Fewer than two meshes or a ratio other than two.
    """
    if len(sizes) < 2 or len(sizes) != len(values):
        raise ValueError("a mesh sequence needs at least two meshes, one value each")
    if any(2 * a != b for a, b in pairwise(sizes)):
        raise ValueError(f"each mesh must have twice the subdivisions of the last, got {sizes}")
    if len(sizes) == 2:
        # All of the correction is kept as the error.
        correction = (values[1] - values[0]) / 3.0
        value = values[1] + correction
        error = max(abs(correction) / max(abs(value), 1e-300), 1e-11)
        return Estimate(value, error, math.nan, True, tuple(sizes), tuple(values))
    coarse, middle, fine = values[-3:]
    before, after = middle - coarse, fine - middle
    size = max(abs(fine), 1e-300)
    order = math.log2(before / after) if before * after > 0.0 else math.nan
    extrapolated = fine + after / 3.0
    previous = middle + before / 3.0
    tiny = max(abs(before), abs(after)) <= 1e-11 * size
    earned = tiny or _EARNED_ORDER[0] <= order <= _EARNED_ORDER[1]
    if earned:
        # The next term, of fourth order, goes too; half of what the first step still moved is
        # kept as the error, ten times the share that a clean fourth order would leave.
        spread = max(abs(extrapolated - previous) / 2.0, _LEADING_SHARE * abs(extrapolated - fine))
        value = combined(sizes, values, True)
    else:
        spread = _SAFETY * max(abs(after), abs(before) / 2.0, abs(extrapolated - previous))
        value = fine
    error = max(spread / max(abs(value), 1e-300), 1e-11)
    return Estimate(value, error, order, earned, tuple(sizes), tuple(values))
