"""A smooth outline through scattered points, and how sure the radius of its edge is.

Measured points scatter; a curve through every one of them turns 10 nm of scatter into 15 % of the
radius of an edge of 6 um.  Here both coordinates are quintic splines of asinh(s / R), with s along
the outline from its apex and R a first guess of the radius, so that the edge and the flank vary on
the same scale.  Their third derivatives, in units of the place's own scale, are penalised (P. H. C.
Eilers and B. D. Marx, Statist Sci 11, 89 (1996), from memory); penalty and scatter are those of the
greatest restricted likelihood (G. Wahba, Ann Statist 13, 1378 (1985), from memory).  The curvature
at the apex has the variance of that model (D. Nychka, J Am Stat Assoc 83, 1134 (1988), from
memory), with Student's t for a scatter that the points themselves must tell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.interpolate import BSpline
from scipy.special import stdtrit

from conegap.geometries.curves.curve import FloatArray

__all__ = ["FittedOutline", "fit_outline"]

_DEGREE = 5
# Step of the knots in asinh(s / R): an exact spheroid's radius comes out 2e-4 right.
_STEP = 0.15
# Steps of the new points: the curve through them keeps the fit's radius to 1e-4.
_NEW_STEP = 0.1
# Relative ridge that keeps the matrices positive where no point and no penalty reaches; far below
# what the data determine, far above rounding.
_RIDGE = 1e-13
# log10 of the penalties that are tried, in units of the first radius squared.
_PENALTIES = np.arange(-14.0, 4.01, 0.5)
# Minus twice the logarithm of a likelihood over the greatest from which on a penalty has no say,
# e^-6 of the best.
_UNLIKELY = 12.0
# What the radii of exact spheroids with scatter of 1 to 50 nm vary by over what the model states,
# at most: a scatter that is small beside the shape is told least well.
_UNDERSTATED = 1.4
# Points of an outline from which a scatter can be told apart from a shape. A choice, no source.
FEWEST = 10


@dataclass(frozen=True)
class FittedOutline:
    """The outcome of a fit.

    Parameters
    ----------
    radius, uncertainty : float
        Radius of curvature at the apex and its standard uncertainty, [m].
    scatter : float
        Standard deviation of one coordinate of a point from the curve, [m].
    points : (m, 2) array
        Points of the smooth curve, denser than those given, [m].
    """

    radius: float
    uncertainty: float
    scatter: float
    points: FloatArray


def fit_outline(points: FloatArray, *, half: bool, scatter: float | None = None) -> FittedOutline:
    """Fit an open outline with one rounded apex.

    Parameters
    ----------
    points : (n, 2) array
        In order; a half outline starts on x = 0, a whole one has its apex inside, [m].
    half : bool
        Half of an outline that is its own mirror image.
    scatter : float or None
        Standard deviation of one coordinate, told from the points where left out, [m].
    """
    return _fitted(np.ascontiguousarray(points).tobytes(), half, scatter)


@lru_cache(maxsize=16)
def _fitted(raw: bytes, half: bool, scatter: float | None) -> FittedOutline:
    """`fit_outline` once per outline: a design asks for its outline many times."""
    points = np.frombuffer(raw).reshape(-1, 2)
    apex = 0 if half else int(np.argmax(points[:, 1]))
    origin = np.array([0.0 if half else points[apex, 0], points[apex, 1]])
    local = points - origin
    guess = _first_radius(local)
    local = local / guess
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(local, axis=0).T))])
    u = np.arcsinh(along - along[apex])
    reach = float(np.abs(u).max()) * (1.0 + 1e-9)
    count = max(math.ceil(reach / _STEP), 4)
    knots = np.linspace(-reach, reach, 2 * count + 1)
    step = knots[1] - knots[0]
    outside = step * np.arange(1, _DEGREE + 1)
    knots = np.concatenate([knots[0] - outside[::-1], knots, knots[-1] + outside])
    spline = BSpline(knots, np.eye(len(knots) - _DEGREE - 1), _DEGREE)
    dense = np.linspace(-reach, reach, 20 * count + 1)
    third = spline(dense, nu=3) / np.cosh(dense)[:, None]
    penalty = third.T @ third * (dense[1] - dense[0])
    coordinates = [
        _Coordinate(spline(u), penalty, local[:, k], fold)
        for k, fold in enumerate(_folds(len(penalty), half))
    ]
    numbers = sum(one.rank_of_data for one in coordinates)
    given = None if scatter is None else (scatter / guess) ** 2
    found = [_likelihood(coordinates, 10.0**power, given) for power in _PENALTIES]
    least = min(one[0] for one in found)
    likely = [one for one in found if one[0] - least < _UNLIKELY]
    shares = np.exp([0.5 * (least - one[0]) for one in likely])
    shares = shares / shares.sum()
    # Each likely penalty has its curvature and variance; what they differ by is uncertain too.
    bends, variances = np.array([_at_apex(coordinates, spline, *one[1:]) for one in likely]).T
    bend = float(shares @ bends)
    spread = math.sqrt(float(shares @ (variances + (bends - bend) ** 2)))
    _, weight, variance, used = likely[int(np.argmax(shares))]
    curves = [one.solve(weight)[0] for one in coordinates]
    freedom = max(numbers - used, 1.0)
    stretch = 1.0 if scatter is not None else float(stdtrit(freedom, 0.975)) / 2.0
    radius = guess / bend
    new = np.linspace(0.0 if half else -reach, reach, math.ceil(reach / _NEW_STEP) * (2 - half) + 1)
    smooth = np.column_stack([spline(new) @ c for c in curves]) * guess + origin
    if half:
        smooth[0, 0] = 0.0
    return FittedOutline(
        radius=radius,
        uncertainty=abs(radius / bend) * spread * stretch * _UNDERSTATED,
        scatter=guess * math.sqrt(variance),
        points=smooth,
    )


def _at_apex(
    coordinates: list[_Coordinate], spline: BSpline, weight: float, variance: float, _used: float
) -> tuple[float, float]:
    """Curvature at the apex under one penalty, and its variance."""
    curves = [one.solve(weight) for one in coordinates]
    rows = [spline(0.0, nu=1).ravel(), spline(0.0, nu=2).ravel()]
    first, second = ([float(row @ c) for c, _ in curves] for row in rows)
    bend, slopes = _curvature(first, second)
    spread = 0.0
    for (_, inverse), (by_first, by_second) in zip(curves, slopes, strict=True):
        gradient = by_first * rows[0] + by_second * rows[1]
        spread += float(gradient @ inverse @ gradient)
    return bend, variance * spread


def _first_radius(local: FloatArray) -> float:
    """Radius of the circles through the apex and the points that lie on its shoulders, [m]."""
    wide, deep = np.abs(local[:, 0]), -local[:, 1]
    shoulder = (deep > 0.25 * wide) & (deep < wide)
    if not np.any(shoulder):
        shoulder = (deep > 0.0) & (wide > 0.0)
    if not np.any(shoulder):
        return float(np.ptp(local, axis=0).max())
    circles = (wide[shoulder] ** 2 + deep[shoulder] ** 2) / (2.0 * deep[shoulder])
    return float(np.median(circles))


def _folds(count: int, half: bool) -> list[FloatArray]:
    """From free coefficients to those of the spline: odd and even ones for a half outline."""
    if not half:
        return [np.eye(count), np.eye(count)]
    odd = np.zeros((count, count // 2))
    even = np.zeros((count, count - count // 2))
    for i in range(count // 2):
        odd[i, i], odd[count - 1 - i, i] = -1.0, 1.0
    for i in range(count - count // 2):
        even[i, i] = even[count - 1 - i, i] = 1.0
    return [odd, even]


class _Coordinate:
    """One coordinate of the outline with its penalised equations."""

    def __init__(
        self, basis: FloatArray, penalty: FloatArray, data: FloatArray, fold: FloatArray
    ) -> None:
        self.fold, self.data = fold, data
        self.basis = basis @ fold
        # A half outline stands for both of its halves, whose penalty counts once.
        self.penalty = fold.T @ penalty @ fold * (0.5 if fold.shape[1] < len(fold) else 1.0)
        self.normal = self.basis.T @ self.basis
        self.rank = int(np.linalg.matrix_rank(self.penalty, hermitian=True))
        self.rank_of_data = len(data)

    def matrix(self, weight: float) -> FloatArray:
        """Normal matrix with the penalty."""
        whole = self.normal + weight * self.penalty
        return np.asarray(whole + _RIDGE * np.trace(whole) / len(whole) * np.eye(len(whole)))

    def terms(self, weight: float) -> tuple[float, float, float]:
        """Penalised sum of squares, determinant of the likelihood, and free numbers used."""
        whole = self.matrix(weight)
        free = np.linalg.solve(whole, self.basis.T @ self.data)
        rest = self.data - self.basis @ free
        squares = float(rest @ rest + weight * free @ self.penalty @ free)
        determinant = float(np.linalg.slogdet(whole)[1]) - self.rank * math.log(weight)
        return squares, determinant, float(np.trace(np.linalg.solve(whole, self.normal)))

    def solve(self, weight: float) -> tuple[FloatArray, FloatArray]:
        """Coefficients of the spline and their covariance over the variance of a point."""
        inverse = np.linalg.inv(self.matrix(weight))
        free = inverse @ (self.basis.T @ self.data)
        return self.fold @ free, self.fold @ inverse @ self.fold.T


def _likelihood(
    coordinates: list[_Coordinate], weight: float, given: float | None
) -> tuple[float, float, float, float]:
    """Restricted likelihood (minus twice its logarithm), penalty, variance and numbers used."""
    squares, determinant, used = np.sum([one.terms(weight) for one in coordinates], axis=0)
    free = sum(one.rank_of_data - (one.penalty.shape[0] - one.rank) for one in coordinates)
    variance = squares / free if given is None else given
    value = squares / variance + free * math.log(max(variance, 1e-300)) + determinant
    return float(value), weight, float(variance), float(used)


def _curvature(
    first: list[float], second: list[float]
) -> tuple[float, tuple[tuple[float, float], tuple[float, float]]]:
    """Curvature of an arch, and its slopes by the first and second derivative of x and of z."""
    (x1, z1), (x2, z2) = first, second
    speed = math.hypot(x1, z1)
    turn = z1 * x2 - x1 * z2
    by_x = (-z2 / speed**3 - 3.0 * turn * x1 / speed**5, z1 / speed**3)
    by_z = (x2 / speed**3 - 3.0 * turn * z1 / speed**5, -x1 / speed**3)
    return turn / speed**3, (by_x, by_z)
