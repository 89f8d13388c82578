"""Perfectly conducting spheres on a lattice by Rayleigh's method of multipoles.

The potential about every sphere is a sum of outgoing solid harmonics, the same on every sphere;
the regular field that the other spheres make is a lattice sum of theirs.  The sums over a cubic
lattice and over a square layer are split by Ewald into two parts that converge exponentially, and
their independence of the splitting length is a check of its own.  Nothing here knows of a mesh.

Source: derived.  The method is Lord Rayleigh's (1892) as extended by R. C. McPhedran and
D. R. McKenzie, Proc R Soc A 359, 45 (1978), abstract read; the addition theorem of solid harmonics
is checked in `tests/test_sector_lattice.py` by summing it, and the lattice sums point by point.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, gammaincc, lpmv, zeta

from conegap.geometries.curves.curve import FloatArray, IntArray

__all__ = [
    "LatticeSpheres",
    "cubic_lattice",
    "cubic_sum",
    "layer_sum",
    "outgoing",
    "square_layer",
]

ComplexArray = NDArray[np.complex128]
Sums: TypeAlias = Callable[[int, int], float]

_SPLIT = 1.9  # of the order of sqrt(pi) over the lattice constant: both sums are equally short
# Lattice constants to either side: both sums of Ewald's method have then fallen to rounding.
_CUBIC_REACH = 5
# Lattice constants to either side; the rest of the sum is integrated.
_LAYER_REACH = 24


def _angles(points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    x, y, z = points.T
    r = np.sqrt(x**2 + y**2 + z**2)
    return r, z / r, np.arctan2(y, x)


def _legendre(degree: int, order: int, cosine: FloatArray) -> FloatArray:
    """Associated Legendre function with the sign (-1)^m, for either sign of the order."""
    if order >= 0:
        return np.asarray(lpmv(order, degree, cosine))
    m = -order
    factor = (-1) ** m * math.factorial(degree - m) / math.factorial(degree + m)
    return np.asarray(factor * lpmv(m, degree, cosine))


def outgoing(degree: int, order: int, points: FloatArray) -> ComplexArray:
    """Solid harmonic (l-m)! P_l^m(cos theta) exp(i m phi) / r^(l+1) at points, (n,) array.

    Parameters
    ----------
    degree, order : int
        l and m, [-].
    points : (n, 3) array
        [length].
    """
    r, cosine, azimuth = _angles(points)
    size = math.factorial(degree - order) * _legendre(degree, order, cosine) / r ** (degree + 1)
    return np.asarray(size * np.exp(1j * order * azimuth))


def _cubic_places(reach: int) -> FloatArray:
    steps = range(-reach, reach + 1)
    return np.array([p for p in product(steps, steps, steps) if p != (0, 0, 0)], dtype=float)


def cubic_sum(degree: int, order: int, split: float = _SPLIT) -> float:
    """Sum of `outgoing` over the simple cubic lattice of unit spacing without its origin.

    Degree two converges only conditionally; it is zero by symmetry when taken over spheres.

    Parameters
    ----------
    degree, order : int
        l >= 2, even, and m, a multiple of four, [-].
    split : float
        Where the sum is divided, which must not matter, [1/lattice constant].
    """
    if degree == 2:
        return 0.0
    places = _cubic_places(_CUBIC_REACH)
    half = degree + 0.5
    near = gammaincc(half, split**2 * np.sum(places**2, axis=1))
    direct = float(np.sum(outgoing(degree, order, places).real * near))
    waves = 2.0 * math.pi * places
    square = np.sum(waves**2, axis=1)
    angular = outgoing(degree, order, waves).real * np.sqrt(square) ** (2 * degree - 1)
    far = float(np.sum(angular * np.exp(-square / (4.0 * split**2))))
    sign = (-1) ** (degree // 2)
    return float(direct + sign * math.pi**1.5 / (2.0 ** (degree - 2) * gamma(half)) * far)


def layer_sum(degree: int, order: int) -> float:
    """Sum of `outgoing` over the square lattice of unit spacing in the plane without its origin.

    Order zero is 4 zeta(s) beta(s) with s = (l + 1) / 2 (textbook; `conegap validate` sets an
    integral over theta functions beside it); the others have no mean over the angle, so that a
    smooth end of the sum leaves nothing.

    Parameters
    ----------
    degree, order : int
        l >= 2, even, and m, a multiple of four, [-].
    """
    if order == 0:
        s = (degree + 1) / 2.0
        beta = 4.0**-s * (zeta(s, 0.25) - zeta(s, 0.75))
        flat = math.factorial(degree) * float(lpmv(0, degree, 0.0))
        return float(flat * 4.0 * zeta(s, 1.0) * beta)
    steps = range(-_LAYER_REACH, _LAYER_REACH + 1)
    places = np.array([(i, j, 0) for i, j in product(steps, steps) if (i, j) != (0, 0)], float)
    r = np.linalg.norm(places, axis=1)
    fade = gammaincc(14.0, 40.0 * (r / _LAYER_REACH) ** 2)
    return float(np.sum(outgoing(degree, order, places).real * fade))


@dataclass(frozen=True)
class LatticeSpheres:
    """Grounded spheres of a lattice of unit spacing in a unit local field along z.

    Parameters
    ----------
    radius : float
        Over the lattice constant, [-].
    degrees, orders : (n,) arrays of int
        Of the harmonics kept.
    outer : (n,) array
        Coefficient of each outgoing harmonic, in units of field and lattice constant.
    """

    radius: float
    degrees: IntArray
    orders: IntArray
    outer: FloatArray

    @property
    def dipole(self) -> float:
        """Dipole moment over 4 pi eps0 times the local field and the cube of the spacing, [-]."""
        return float(self.outer[(self.degrees == 1) & (self.orders == 0)][0])

    @property
    def top_field(self) -> float:
        """Field at the pole over the local field, three for a lone sphere, [-]."""
        axial = self.orders == 0
        degree, outer = self.degrees[axial], self.outer[axial]
        factorial = np.array([math.factorial(int(k)) for k in degree], dtype=float)
        parts = (2 * degree + 1) * factorial * outer / self.radius ** (degree + 2.0)
        return float(np.sum(parts))

    @property
    def conductivity(self) -> float:
        """Effective over matrix conductivity of a cubic lattice, [-].

        The local field of sums over spheres is Lorentz's, the mean field plus a third of the
        polarisation.
        """
        polarisation = 4.0 * math.pi * self.dipole
        return 1.0 + polarisation / (1.0 - polarisation / 3.0)

    @property
    def shift(self) -> float:
        """Potential far above a square layer below that of the undisturbed field, [-]."""
        return 2.0 * math.pi * self.dipole


def _solve(radius: float, highest: int, sums: Sums) -> LatticeSpheres:
    """Multipoles of odd degree and orders that are multiples of four.

    On a sphere B_lm (l-m)! (l+m)! = a^(2l+1) (sum of S_(l+k, n-m) B_kn + local field); the unknowns
    are B_lm scaled so that the matrix is symmetric and of order one.
    """
    pairs = [(k, m) for k in range(1, highest + 1, 2) for m in range(-(k // 4) * 4, k + 1, 4)]
    size = np.array([math.sqrt(math.factorial(k - m) * math.factorial(k + m)) for k, m in pairs])
    degrees, orders = (np.array(part) for part in zip(*pairs, strict=True))
    unit = radius ** (degrees + 0.5) / size
    needed = {(k + j, abs(n - m)) for k, m in pairs for j, n in pairs}
    value = {key: sums(*key) for key in needed}
    total = np.array([[value[(k + j, abs(n - m))] for j, n in pairs] for k, m in pairs])
    own = np.where((degrees == 1) & (orders == 0), unit, 0.0)
    scaled = np.linalg.solve(np.eye(len(pairs)) - np.outer(unit, unit) * total, own)
    return LatticeSpheres(radius, degrees, orders, scaled * unit)


def cubic_lattice(radius: float, highest: int = 15) -> LatticeSpheres:
    """Spheres on a simple cubic lattice.

    Parameters
    ----------
    radius : float
        Over the lattice constant, below one half, [-].
    highest : int
        Degree of the last multipole, odd, [-].
    """
    return _solve(radius, highest, cubic_sum)


def square_layer(radius: float, highest: int = 15) -> LatticeSpheres:
    """Spheres on a square lattice in one plane, or hemispheres on a plane; field normal to it.

    Parameters
    ----------
    radius : float
        Over the lattice constant, below one half, [-].
    highest : int
        Degree of the last multipole, odd, [-].
    """
    return _solve(radius, highest, layer_sum)
