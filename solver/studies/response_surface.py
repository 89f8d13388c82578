"""A quadratic stand-in for the onset within the tolerances, and its proof on solves held out.

With x the dimensions' deviations in units of their tolerances, the logarithm of the onset over its
drawn value is a + sum b x + sum c x^2 + sum d x x', fitted by least squares to solves at both ends
of each tolerance and at two opposite corners of pairs of dimensions (a composite design; G. E. P.
Box and K. B. Wilson, J R Stat Soc B 13, 1 (1951)).  Random designs within the tolerances, kept out
of the fit, tell how wrong it is; their error includes whatever noise the solves have.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray

__all__ = ["LogOnset", "ResponseSurface", "build_response_surface", "draw_deviations"]

LogOnset = Callable[[FloatArray, str], FloatArray]
"""Takes deviations, (n, d) array in tolerances, and a stage's name; gives log(onset / drawn)."""

NORMAL_SHARE = 0.5
"""Standard deviation of a normal tolerance over its half width: plus-minus is two of them."""

# Tolerances: designs held out lie within three standard deviations, where nearly all samples
# lie.
_FARTHEST = 1.5
# Times the noise, from which a dimension's shift is worth a curved term.
_BENT = 20.0
# Joint terms, for the pairs of the largest shifts: all pairs of six dimensions; each costs two
# solves.
_MOST_PAIRS = 15
# Random designs kept out of the fit: their largest miss is exceeded by one design in thirteen.
_HELD_OUT = 12


@dataclass(frozen=True)
class ResponseSurface:
    """The fitted quadratic; call it with deviations.

    Parameters
    ----------
    constant : float
        Fitted value at the drawn design: what noise scattered its solve by; shifts are counted
        from there, [-].
    slopes, curvatures : (d,) array
        b and c, [-].
    cross : (d, d) array
        d above the diagonal, zero elsewhere, [-].
    low, high : (d,) array
        Solved shifts of log(onset) at the lower and upper end of each tolerance, counted from
        the fitted value at the drawn design, [-].
    fit_error : float
        Root mean square residual of the fit, [-].
    held_out : (m,) array
        Response surface minus solve on the designs held out, in log(onset), [-].
    solves : int
        Designs evaluated, those held out included.
    """

    constant: float
    slopes: FloatArray
    curvatures: FloatArray
    cross: FloatArray
    low: FloatArray
    high: FloatArray
    fit_error: float
    held_out: FloatArray
    solves: int

    @property
    def held_out_error(self) -> float:
        """Largest error on the designs held out, in log(onset), [-]."""
        return float(np.abs(self.held_out).max(initial=0.0))

    def __call__(self, deviations: FloatArray) -> FloatArray:
        """Log of onset over drawn onset, (n,) array, at (n, d) deviations in tolerances.

        Without the constant, which is scatter of the drawn design's own solve and so part of that
        onset's numerical error; measured 3e-8 and less where meshes follow, the held-out error of
        the same designs 4e-5 to 8e-4.
        """
        x = np.asarray(deviations)
        linear = x @ self.slopes + (x * x) @ self.curvatures
        return np.asarray(linear + np.einsum("ni,ij,nj->n", x, self.cross, x, optimize=True))

    def variances(self, second: FloatArray, fourth: FloatArray) -> FloatArray:
        """Share of each dimension in the variance of log(onset), (d,) array, not normalised.

        A pair's joint part is halved between both (exact for independent, symmetric deviations).

        Parameters
        ----------
        second, fourth : (d,) array
            Second and fourth moments of the deviations, [-].
        """
        own = self.slopes**2 * second + self.curvatures**2 * (fourth - second**2)
        joint = self.cross**2 * np.outer(second, second)
        return np.asarray(own + 0.5 * (joint.sum(axis=0) + joint.sum(axis=1)))


def draw_deviations(
    normal: tuple[bool, ...], count: int, generator: np.random.Generator
) -> FloatArray:
    """Random deviations in tolerances, (n, d) array.

    Parameters
    ----------
    normal : tuple of bool
        Per dimension: normal with the tolerance as two standard deviations, else rectangular.
    count : int
    generator : numpy Generator
    """
    flat = generator.uniform(-1.0, 1.0, (count, len(normal)))
    bell = NORMAL_SHARE * generator.standard_normal((count, len(normal)))
    return np.where(np.array(normal, dtype=bool), bell, flat)


def build_response_surface(
    log_onset: LogOnset,
    normal: tuple[bool, ...],
    *,
    noise: float,
    seed: int = 1,
) -> ResponseSurface:
    """Evaluate, fit and test.

    Parameters
    ----------
    log_onset : callable
    normal : tuple of bool
        Distribution of each dimension, see `draw_deviations`.
    noise : float
        Scatter of one evaluation; dimensions near it enter no pair and have no curvature, so
        that they average the scatter of the drawn design instead, [-].
    seed : int
        Of the random designs.
    """
    count = len(normal)
    ends = np.concatenate([-np.eye(count), np.eye(count)])
    at_ends = log_onset(ends, "each dimension at both ends")
    low, high = at_ends[:count], at_ends[count:]
    pairs = _pairs(np.maximum(np.abs(low), np.abs(high)), noise, _MOST_PAIRS)
    corners = np.zeros((2 * len(pairs), count))
    for k, pair in enumerate(pairs):
        corners[2 * k, pair] = 1.0
        corners[2 * k + 1, pair] = -1.0
    at_corners = log_onset(corners, "pairs of dimensions") if pairs else np.zeros(0)
    points = np.concatenate([np.zeros((1, count)), ends, corners])
    values = np.concatenate([[0.0], at_ends, at_corners])
    curved = np.flatnonzero(
        (np.maximum(np.abs(low), np.abs(high)) > _BENT * noise)
        | (np.abs(low + high) > _BENT * noise / 2.0)
    )
    bent = [int(i) for i in curved]
    terms = _terms(points, bent, pairs)
    found, *_ = np.linalg.lstsq(terms, values, rcond=None)
    first = 1 + count + len(bent)
    curvatures = np.zeros(count)
    curvatures[bent] = found[1 + count : first]
    cross = np.zeros((count, count))
    for k, (i, j) in enumerate(pairs):
        cross[i, j] = found[first + k]
    generator = np.random.default_rng(seed)
    tests = np.clip(draw_deviations(normal, _HELD_OUT, generator), -_FARTHEST, _FARTHEST)
    truth = log_onset(tests, "designs held out")
    return ResponseSurface(
        constant=float(found[0]),
        slopes=found[1 : 1 + count],
        curvatures=curvatures,
        cross=cross,
        low=low - found[0],
        high=high - found[0],
        fit_error=float(np.sqrt(np.mean((terms @ found - values) ** 2))),
        held_out=_terms(tests, bent, pairs) @ found - truth,
        solves=len(points) + _HELD_OUT,
    )


def _pairs(sizes: FloatArray, noise: float, most: int) -> list[list[int]]:
    """Pairs of the dimensions that matter, largest product of shifts first."""
    seen = [int(i) for i in np.flatnonzero(sizes > 2.0 * noise)]
    pairs = [list(pair) for pair in itertools.combinations(seen, 2)]
    pairs.sort(key=lambda pair: -float(sizes[pair[0]] * sizes[pair[1]]))
    return pairs[:most]


def _terms(points: FloatArray, bent: list[int], pairs: list[list[int]]) -> FloatArray:
    """Columns of the least-squares problem, (n, 1 + d + bent + pairs) array."""
    joint = [points[:, i] * points[:, j] for i, j in pairs]
    return np.column_stack([np.ones(len(points)), points, points[:, bent] ** 2, *joint])
