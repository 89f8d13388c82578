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
from functools import cache, cached_property, lru_cache

import numpy as np
from numpy.polynomial import chebyshev

from conegap.geometries.curves.curve import FloatArray, IntArray, Spline
from conegap.geometries.curves.section import Symmetry

__all__ = ["MeniscusShape", "ShapeVariation", "apex_grid_radius", "cap"]

# Twelve points per piece, see below.
_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(12)
# Of the surface, with 12 Gauss points each: a polynomial slope of degree 27 is then integrated
# to rounding.
_PIECES = 24
_EDGES = np.linspace(0.0, 1.0, _PIECES + 1)
_HALF = 0.5 / _PIECES
# Radius of the grid around the apex, in radii of the surface's curve there, and at most in contact
# radii: a third of the curve resolves it, a quarter of the surface leaves room to the contact line.
_PATCH_OF_APEX = 0.35
_LARGEST_PATCH = 0.25
# Gauss's nodes in every piece, (pieces, nodes) array.
_PLACES = _EDGES[:-1, None] + _HALF * (1.0 + _GAUSS_NODES)


@cache
def _odd_chebyshev(modes: int) -> FloatArray:
    """T_(2k+1) at the Gauss nodes of every piece, (pieces, nodes, modes) array."""
    return np.asarray(chebyshev.chebvander(_PLACES, 2 * modes - 1)[..., 1::2])


@dataclass(frozen=True)
class _Places:
    """Polynomials at places s and at Gauss nodes from the piece's beginning to each s.

    They do not depend on the shape: a mesh keeps its places while hundreds of shapes are tried.

    Parameters
    ----------
    piece : (m,) array of int
    width : (m,) array
        Half the way from the piece's beginning.
    near : (m, nodes, modes) array
        T_(2k+1) at the nodes.
    odd, rise : (m, modes) arrays
        T_(2k+1) at s and its derivative.
    """

    piece: IntArray
    width: FloatArray
    near: FloatArray
    odd: FloatArray
    rise: FloatArray


# A surface has some eight sets of places: the mesh's points, those where it is balanced, its ends,
# those of its drawn curve and of its volume; more for a second mesh. Each takes below 0.5 MB.
@lru_cache(maxsize=32)
def _at_places(places: bytes, modes: int) -> _Places:
    """The polynomials at places given by the bytes of their array."""
    s = np.frombuffer(places)
    piece = np.minimum((s * _PIECES).astype(np.int64), _PIECES - 1)
    width = (s - _EDGES[piece]) / 2.0
    local = _EDGES[piece][:, None] + width[:, None] * (1.0 + _GAUSS_NODES)
    change = chebyshev.chebder(np.eye(2 * modes)[1::2], axis=1)
    return _Places(
        piece,
        width,
        np.asarray(chebyshev.chebvander(local, 2 * modes - 1)[..., 1::2], dtype=np.float64),
        np.asarray(chebyshev.chebvander(s, 2 * modes - 1)[:, 1::2], dtype=np.float64),
        np.asarray(chebyshev.chebvander(s, 2 * modes - 2) @ change.T, dtype=np.float64),
    )


@dataclass(frozen=True)
class ShapeVariation:
    """Changes of a shape with each of its coefficients.

    Parameters
    ----------
    places : (n, m, 2) array
        Of the points (r or x, z).
    curvature : (n, m) array
        Of the sum of the principal curvatures.
    """

    places: FloatArray
    curvature: FloatArray


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
        return np.asarray(self._at(s).odd @ self.coefficients)

    def slope_derivative(self, s: FloatArray) -> FloatArray:
        """d psi / d s, (m,) array, [rad]."""
        return np.asarray(self._at(s).rise @ self.coefficients)

    def _at(self, s: FloatArray) -> _Places:
        return _at_places(np.asarray(s, dtype=float).tobytes(), len(self.coefficients))

    @cached_property
    def _whole(self) -> tuple[FloatArray, FloatArray]:
        """Integrals of cos(psi) and sin(psi) from 0 to the end of every piece, from 0 on."""
        psi = _odd_chebyshev(len(self.coefficients)) @ self.coefficients
        across, down = (
            np.concatenate([[0.0], np.cumsum(_HALF * (f(psi) @ _GAUSS_WEIGHTS))])
            for f in (np.cos, np.sin)
        )
        return across, down

    def _integrals(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Integrals of cos(psi) and sin(psi) from 0 to each s."""
        across, down = self._whole
        at = self._at(s)
        psi = at.near @ self.coefficients
        return (
            across[at.piece] + at.width * (np.cos(psi) @ _GAUSS_WEIGHTS),
            down[at.piece] + at.width * (np.sin(psi) @ _GAUSS_WEIGHTS),
        )

    @property
    def length(self) -> float:
        """Arc length from the axis to the contact line, [-]."""
        return float(1.0 / self._whole[0][-1])

    @property
    def height(self) -> float:
        """Apex above the contact line, [-]."""
        across, down = self._whole
        return float(down[-1] / across[-1])

    @property
    def contact_angle(self) -> float:
        """Slope at the contact line: angle of the liquid above the horizontal, [rad]."""
        return float(self.slope(np.ones(1))[0])

    def points(self, s: FloatArray) -> FloatArray:
        """Points (r or x, z) at arc-length fractions s, (m, 2) array."""
        s = np.asarray(s, dtype=float)
        across, down = self._integrals(s)
        return self.length * np.stack([across, self._whole[1][-1] - down], axis=1)

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
        s = _PLACES.ravel()
        weights = np.tile(_HALF * _GAUSS_WEIGHTS, _PIECES)
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

    def variation(self, s: FloatArray) -> ShapeVariation:
        """How places, curvature and volume change with every coefficient, exactly.

        Parameters
        ----------
        s : (m,) array
            Arc-length fractions, [-].
        """
        length = self.length
        wide, deep = self._integrals(s)
        d_whole, d_wide, d_deep = self._integral_changes(s)
        d_length = -(length**2) * d_whole[0]
        drop, d_drop = self._whole[1][-1] - deep, d_whole[1][:, None] - d_deep
        places = np.stack(
            [
                d_length[:, None] * wide + length * d_wide,
                d_length[:, None] * drop + length * d_drop,
            ],
            axis=-1,
        )
        at = self._at(s)
        along = at.rise.T
        plane = along / length - np.outer(d_length, self.slope_derivative(s)) / length**2
        if self.symmetry == "planar":
            return ShapeVariation(places, plane)
        psi, r = self.slope(s), length * wide
        pole = r < 1e-9
        safe = np.where(pole, 1.0, r)
        azimuth = np.cos(psi) * at.odd.T / safe - np.sin(psi) * places[..., 0] / safe**2
        return ShapeVariation(places, plane + np.where(pole, plane, azimuth))

    @property
    def volume_gradient(self) -> FloatArray:
        """Change of the volume with every coefficient, (n,) array."""
        s = _PLACES.ravel()
        weights = np.tile(_HALF * _GAUSS_WEIGHTS, _PIECES)
        place, psi = self.points(s), self.slope(s)
        change = self.variation(s).places
        odd = _odd_chebyshev(len(self.coefficients)).reshape(len(s), -1).T
        d_length = -(self.length**2) * self._integral_changes(s[:1])[0][0]
        dr = self.length * np.cos(psi)
        d_dr = np.outer(d_length, np.cos(psi)) - self.length * np.sin(psi) * odd
        if self.symmetry == "planar":
            return np.asarray((change[..., 1] * dr + place[:, 1] * d_dr) @ weights)
        turned = change[..., 0] * place[:, 1] + place[:, 0] * change[..., 1]
        swept = turned * dr + place[:, 0] * place[:, 1] * d_dr
        return np.asarray(2.0 * math.pi * (swept @ weights))

    def _integral_changes(
        self, s: FloatArray
    ) -> tuple[tuple[FloatArray, FloatArray], FloatArray, FloatArray]:
        """Changes of the integrals of cos(psi) and sin(psi), whole (n,) and to each s (n, m)."""
        modes = len(self.coefficients)
        odd = _odd_chebyshev(modes)
        psi = odd @ self.coefficients
        at = self._at(s)
        slope = at.near @ self.coefficients
        whole, parts = [], []
        for f in (lambda angle: -np.sin(angle), np.cos):
            each = _HALF * np.einsum("pg,pgk,g->kp", f(psi), odd, _GAUSS_WEIGHTS)
            before = np.concatenate([np.zeros((modes, 1)), np.cumsum(each, axis=1)], axis=1)
            rest = at.width * np.einsum("mg,mgk,g->km", f(slope), at.near, _GAUSS_WEIGHTS)
            whole.append(before[:, -1])
            parts.append(before[:, at.piece] + rest)
        return (whole[0], whole[1]), parts[0], parts[1]

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


def apex_grid_radius(shape: MeniscusShape) -> float:
    """Radius on which to lay the grid of points around the apex, in contact radii, [-]."""
    bend = float(shape.slope_derivative(np.zeros(1))[0]) / shape.length
    return min(_LARGEST_PATCH, _PATCH_OF_APEX / max(bend, 1e-9))
