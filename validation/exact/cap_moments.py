"""Field at the top of a ball from moments of the flux into its cap.

Flux per surface at single points of an unstructured mesh scatters by per cents; integrals of it
against smooth functions converge at the full order of the scheme.  The field on the cap is taken
as a polynomial in the place, whose coefficients follow from as many moments.
"""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray

__all__ = ["cap_field"]

# Radius over that of the ball at which the weight has faded out: inside the cap, whose rim is a
# corner.
_FITTED = 0.9
# Gauss points in height and azimuth; the weights are polynomials and integrated to rounding.
_NODES = 24


def cap_field(
    points: FloatArray,
    flux: FloatArray,
    apex: tuple[float, float, float],
    radius: float,
    mirrors: int,
) -> float:
    """Outward field at the apex, [V/length unit].

    Parameters
    ----------
    points : (n, 3) array
        Points of the conductor, [length unit].
    flux : (n,) array
        Field integrated over the surface that belongs to each, [V length unit].
    apex : tuple of float
        Top of the ball, [length unit].
    radius : float
        Of the ball, [length unit].
    mirrors : int
        1 where the points cover the half y >= 0 of the cap, 2 for the quarter x >= 0, y >= 0, [-].
    """
    offset = (points - np.asarray(apex)) / radius
    near = offset[:, 2] > -1.0
    x, y = offset[near, 0], offset[near, 1]
    moments = (_functions(x, y, mirrors) * _fading(x, y)) @ flux[near] / radius**2
    nodes, shares = np.polynomial.legendre.leggauss(_NODES)
    height = 0.5 * (1.0 - math.sqrt(1.0 - _FITTED**2))
    turn = 0.5 * math.pi / mirrors
    cosine, azimuth = 1.0 - height * (1.0 - nodes), turn * (1.0 + nodes)
    area = np.outer(height * shares, turn * shares).ravel()
    far = np.sqrt(1.0 - cosine**2)
    x = np.outer(far, np.cos(azimuth)).ravel()
    y = np.outer(far, np.sin(azimuth)).ravel()
    functions = _functions(x, y, mirrors)
    matrix = (functions * area * _fading(x, y)) @ functions.T
    return float(np.linalg.solve(matrix, moments)[0])


def _fading(x: FloatArray, y: FloatArray) -> FloatArray:
    """Smooth weight that ends inside the cap."""
    return np.asarray(np.maximum(1.0 - (x**2 + y**2) / _FITTED**2, 0.0) ** 3)


def _functions(x: FloatArray, y: FloatArray, mirrors: int) -> FloatArray:
    """Polynomials with the cap's symmetry; only the first is not zero at the apex."""
    square = x**2 + y**2
    found = [np.ones_like(x), square, square**2, x**2 - y**2]
    if mirrors == 1:
        found += [x, x * square]
    return np.stack(found)
