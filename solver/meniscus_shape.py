"""The shape of a liquid surface, by its slope.

The surface runs from the axis (or the line of symmetry) to its contact line.  Its slope angle psi
below the horizontal is an odd polynomial of the arc-length fraction s in [0, 1], so that both
principal curvatures are exact derivatives, domes and overhangs are single-valued, and the surface
is smooth at the pole:

    dr/ds = L cos(psi),   dz/ds = -L sin(psi).

Lengths are in units of the contact radius (or half width), pressures in surface tension over it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from conegap.geometries.curves import FloatArray, Spline
from conegap.geometries.section import Symmetry

__all__ = ["MeniscusShape", "cap"]

_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(12)
_PIECES = 24


@dataclass(frozen=True)
class MeniscusShape:
    """A liquid surface pinned at (1, 0).

    Parameters
    ----------
    coefficients : (n,) array
        psi(s) = sum over k of c_k T_(2k+1)(s), odd Chebyshev polynomials, [rad].
    symmetry : "axisymmetric" or "planar"
    """

    coefficients: FloatArray
    symmetry: Symmetry

    def slope(self, s: FloatArray) -> FloatArray:
        """psi at arc-length fractions s, (m,) array, [rad]."""
        return np.asarray(chebyshev.chebval(s, self._odd()))

    def slope_derivative(self, s: FloatArray) -> FloatArray:
        """d psi / d s, (m,) array, [rad]."""
        return np.asarray(chebyshev.chebval(s, chebyshev.chebder(self._odd())))

    def _odd(self) -> FloatArray:
        full = np.zeros(2 * len(self.coefficients))
        full[1::2] = self.coefficients
        return full

    def _integrals(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Integrals of cos(psi) and sin(psi) from 0 to each s."""
        edges = np.linspace(0.0, 1.0, _PIECES + 1)
        half = 0.5 / _PIECES
        nodes = edges[:-1, None] + half * (1.0 + _GAUSS_NODES)
        psi = self.slope(nodes.ravel()).reshape(nodes.shape)
        whole = [
            np.concatenate([[0.0], np.cumsum(half * (f(psi) @ _GAUSS_WEIGHTS))])
            for f in (np.cos, np.sin)
        ]
        piece = np.minimum((s * _PIECES).astype(int), _PIECES - 1)
        width = (s - edges[piece]) / 2.0
        local = edges[piece][:, None] + width[:, None] * (1.0 + _GAUSS_NODES)
        psi = self.slope(local.ravel()).reshape(local.shape)
        return (
            whole[0][piece] + width * (np.cos(psi) @ _GAUSS_WEIGHTS),
            whole[1][piece] + width * (np.sin(psi) @ _GAUSS_WEIGHTS),
        )

    @property
    def length(self) -> float:
        """Arc length from the axis to the contact line, [-]."""
        across, _ = self._integrals(np.ones(1))
        return float(1.0 / across[0])

    @property
    def height(self) -> float:
        """Apex above the contact line, [-]."""
        across, down = self._integrals(np.ones(1))
        return float(down[0] / across[0])

    @property
    def contact_angle(self) -> float:
        """Slope at the contact line: angle of the liquid above the horizontal, [rad]."""
        return float(self.slope(np.ones(1))[0])

    def points(self, s: FloatArray) -> FloatArray:
        """Points (r or x, z) at arc-length fractions s, (m, 2) array."""
        s = np.asarray(s, dtype=float)
        across, down = self._integrals(np.append(s, 1.0))
        length = 1.0 / across[-1]
        return np.stack([length * across[:-1], length * (down[-1] - down[:-1])], axis=1)

    def normals(self, s: FloatArray) -> FloatArray:
        """Unit normals into the vacuum at s, (m, 2) array."""
        psi = self.slope(s)
        return np.stack([np.sin(psi), np.cos(psi)], axis=1)

    def tangents(self, s: FloatArray) -> FloatArray:
        """Unit tangents toward the contact line at s, (m, 2) array."""
        psi = self.slope(s)
        return np.stack([np.cos(psi), -np.sin(psi)], axis=1)

    def curvature(self, s: FloatArray) -> FloatArray:
        """Sum of the principal curvatures, positive where convex, (m,) array."""
        s = np.asarray(s, dtype=float)
        length = self.length
        plane = self.slope_derivative(s) / length
        if self.symmetry == "planar":
            return plane
        r = self.points(s)[:, 0]
        pole = r < 1e-9
        azimuth = np.where(pole, plane, np.sin(self.slope(s)) / np.where(pole, 1.0, r))
        return np.asarray(plane + azimuth)

    @property
    def volume(self) -> float:
        """Liquid above the contact plane: volume / radius^3, or area per half / half width^2."""
        edges = np.linspace(0.0, 1.0, _PIECES + 1)
        half = 0.5 / _PIECES
        s = (edges[:-1, None] + half * (1.0 + _GAUSS_NODES)).ravel()
        weights = np.tile(half * _GAUSS_WEIGHTS, _PIECES)
        place, psi = self.points(s), self.slope(s)
        dr = self.length * np.cos(psi) * weights
        if self.symmetry == "planar":
            return float(place[:, 1] @ dr)
        return float(2.0 * math.pi * (place[:, 0] * place[:, 1]) @ dr)

    def curve(self, radius: float, contact: tuple[float, float]) -> Spline:
        """The surface as a boundary curve from apex to contact line.

        Parameters
        ----------
        radius : float
            Contact radius or half width, [m].
        contact : tuple of float
            Contact line (r or x, z), [m].
        """
        s = np.linspace(0.0, 1.0, 161)
        place = self.points(s) * radius
        place[:, 1] += contact[1]
        place[0, 0] = 0.0
        place[-1] = contact
        return Spline.through(place, mirror_first=True)

    def changed(self, coefficients: FloatArray) -> MeniscusShape:
        """The shape with other coefficients."""
        return MeniscusShape(np.asarray(coefficients, dtype=float), self.symmetry)


def cap(contact_angle: float, modes: int, symmetry: Symmetry) -> MeniscusShape:
    """Circular cap, the shape without field, psi = contact angle times s.

    Parameters
    ----------
    contact_angle : float
        Slope at the contact line, [rad].
    modes : int
        Number of coefficients, [-].
    symmetry : "axisymmetric" or "planar"
    """
    coefficients = np.zeros(modes)
    coefficients[0] = contact_angle
    return MeniscusShape(coefficients, symmetry)
