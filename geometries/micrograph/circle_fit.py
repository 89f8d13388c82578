"""The circle that fits points best by orthogonal distance, and how sure its radius is.

Geometric fit by least squares of the distances to the circle: W. Gander, G. H. Golub, R. Strebel,
BIT Numerical Mathematics 34, 558 (1994), from memory.  The start is the algebraic fit of I. Kasa,
IEEE Trans Instrum Meas 25, 8 (1976), from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import stdtrit

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import DesignError

__all__ = ["CircleFit", "fit_circle"]

# One more than determine a circle, so that the scatter can be estimated.
_FEWEST = 4


@dataclass(frozen=True)
class CircleFit:
    """A fitted circle, in the unit of the points.

    Parameters
    ----------
    centre : tuple of float
    radius : float
    uncertainty : float
        Standard uncertainty of the radius from the scatter of the points.
    scatter : float
        Standard deviation of the points from the circle, along its radius.
    points : int
        How many were fitted.
    independent : float
        How many independent ones they are worth, [-].
    """

    centre: tuple[float, float]
    radius: float
    uncertainty: float
    scatter: float
    points: int
    independent: float

    def interval(self) -> tuple[float, float]:
        """Interval of 95 % of the radius from the scatter alone, by Student's t."""
        freedom = max(self.independent - 3.0, 1.0)
        reach = float(stdtrit(freedom, 0.975)) * self.uncertainty
        return self.radius - reach, self.radius + reach


def fit_circle(points: FloatArray) -> CircleFit:
    """Fit a circle to points in order along an outline.

    Neighbours on a traced outline err together.  With the correlation r of neighbouring residuals
    the variance grows by (1 + r)/(1 - r) (G. V. Bayley, J. M. Hammersley, J R Stat Soc Suppl 8,
    184 (1946), from memory); a negative r is taken for zero.

    Parameters
    ----------
    points : (n, 2) array
        In any unit of length.

    Raises
    ------
    DesignError
        Fewer than four points, or points on a straight line.
    """
    if len(points) < _FEWEST:
        raise DesignError(f"{len(points)} points are too few for a circle, {_FEWEST} are needed")
    middle = points.mean(axis=0)
    size = float(np.sqrt(((points - middle) ** 2).sum(axis=1).mean())) or 1.0
    local = (points - middle) / size
    matrix = np.column_stack([2.0 * local, np.ones(len(local))])
    algebraic, _, rank, _ = np.linalg.lstsq(matrix, (local**2).sum(axis=1), rcond=1e-10)
    if rank < 3:
        raise DesignError("the points lie on a straight line, so no circle fits them")
    a, b, c = algebraic
    start = np.array([a, b, math.sqrt(max(c + a * a + b * b, 1e-12))])

    def distances(circle: FloatArray) -> FloatArray:
        return np.asarray(np.hypot(*(local - circle[:2]).T) - circle[2])

    def slopes(circle: FloatArray) -> FloatArray:
        offset = circle[:2] - local
        length = np.maximum(np.hypot(offset[:, 0], offset[:, 1]), 1e-300)
        return np.column_stack([offset / length[:, None], -np.ones(len(local))])

    found = least_squares(distances, start, slopes, method="lm", xtol=1e-12, ftol=1e-12)
    if not np.all(np.isfinite(found.x)) or abs(found.x[2]) > 1e4:
        raise DesignError("the points lie on a straight line, so no circle fits them")
    residual = distances(found.x)
    free = len(points) - 3
    variance = float(residual @ residual) / max(free, 1)
    covariance = variance * np.linalg.inv(found.jac.T @ found.jac)
    power = float(residual @ residual)
    r = float(residual[1:] @ residual[:-1]) / power if power > 0.0 else 0.0
    r = min(max(r, 0.0), 0.95)
    inflation = (1.0 + r) / (1.0 - r)
    centre = middle + size * found.x[:2]
    return CircleFit(
        centre=(float(centre[0]), float(centre[1])),
        radius=size * float(found.x[2]),
        uncertainty=size * math.sqrt(float(covariance[2, 2]) * inflation),
        scatter=size * math.sqrt(variance),
        points=len(points),
        independent=len(points) / inflation,
    )
