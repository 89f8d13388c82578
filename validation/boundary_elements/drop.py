"""The shape of a drop or meniscus on a plane, and the field on it.

The liquid stands on the grounded plane z = 0 and reaches from the axis (or the line of symmetry) at
t = 0 to its contact line at t = 1.  Its slope below the horizontal is psi(t) = sum over k of
c_k T_(2k-1)(t), and dr = cos(psi) ds, dz = -sin(psi) ds along s = L (t + 3 t^3 - 2 t^5) / 2.
That stretching is gentle in the middle, where drops are pointed, and stands still at the contact
line, where the curvature is a power of the distance that becomes smooth enough for polynomials.
Far away, or before a plate above without the liquid, the field is 1 along z; lengths are in any one
unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np
from numpy.polynomial import chebyshev
from scipy.special import ellipkm1, zeta

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.boundary_elements.panels import Panels

__all__ = ["Drop", "Form", "Slopes"]

Form: TypeAlias = Literal["round", "long"]
"""A drop about an axis, or a ridge with a plane of symmetry."""


_IMAGES = 6  # above and below: the next term of the far ones is (height / 12 gap)^2 of them


@dataclass(frozen=True)
class Slopes:
    """The functions that slopes are made of, at the nodes of panels.

    Parameters
    ----------
    modes : int
        Coefficients of a shape, [-].
    """

    panels: Panels
    modes: int

    @cached_property
    def values(self) -> FloatArray:
        """T_(2k-1) at the nodes, (n, modes) array."""
        return np.asarray(chebyshev.chebvander(self.panels.nodes, 2 * self.modes - 1)[:, 1::2])

    @cached_property
    def derivatives(self) -> FloatArray:
        """Their derivatives, (n, modes) array."""
        table = np.eye(2 * self.modes)[1::2]
        return np.asarray(
            chebyshev.chebval(self.panels.nodes, chebyshev.chebder(table, axis=1).T).T
        )

    @cached_property
    def stretch(self) -> FloatArray:
        """ds / dt over L at the nodes, (n,) array."""
        square = self.panels.nodes**2
        return np.asarray(0.5 * (1.0 - square) * (1.0 + 10.0 * square))

    @cached_property
    def weights(self) -> FloatArray:
        """Share of every node in the arc, (n,) array."""
        return self.stretch * self.panels.weights

    @cached_property
    def tests(self) -> FloatArray:
        """Even functions T_(2k-2) times the weights, (modes, n) array, to project balances on."""
        even = chebyshev.chebvander(self.panels.nodes, 2 * self.modes - 2)[:, ::2]
        return even.T * self.panels.weights


@dataclass(frozen=True)
class Drop:
    """A shape with the grounded plane below it.

    Parameters
    ----------
    form : "round" or "long"
    coefficients : (modes,) array
        c_k, [rad].
    length : float
        Arc length L from the middle to the contact line.
    gap : float
        From the plane to a plate above at the voltage gap x 1; infinite without.
    """

    form: Form
    slopes: Slopes
    coefficients: FloatArray
    length: float
    gap: float = math.inf

    @classmethod
    def cap(
        cls, form: Form, slopes: Slopes, contact_angle: float, radius: float, gap: float = math.inf
    ) -> Drop:
        """Circular cap of a contact angle [rad] and a contact radius."""
        coefficients = np.zeros(slopes.modes)
        coefficients[:3] = contact_angle * np.array([1.0, 0.0625, -0.0625])  # s / L itself
        length = radius * contact_angle / math.sin(contact_angle)
        return cls(form, slopes, coefficients, length, gap)

    @cached_property
    def slope(self) -> FloatArray:
        """psi at the nodes, (n,) array, [rad]."""
        return np.asarray(self.slopes.values @ self.coefficients)

    @cached_property
    def radius(self) -> float:
        """Contact radius, or half width."""
        return self.length * float(self.slopes.weights @ np.cos(self.slope))

    @cached_property
    def height(self) -> float:
        """Of the middle above the plane."""
        return self.length * float(self.slopes.weights @ np.sin(self.slope))

    @property
    def contact_angle(self) -> float:
        """Of the liquid at the contact line, [rad]; every T_(2k-1)(1) is one."""
        return float(np.sum(self.coefficients))

    @cached_property
    def points(self) -> FloatArray:
        """Nodes (r or x, z), (n, 2) array."""
        inside = self.slopes.panels.cumulative * self.slopes.stretch
        r = self.length * (inside @ np.cos(self.slope))
        z = self.height - self.length * (inside @ np.sin(self.slope))
        return np.stack([r, z], axis=1)

    @cached_property
    def surface_weights(self) -> FloatArray:
        """Surface that belongs to every node, (n,) array; of a ridge both halves, per length."""
        arc = self.length * self.slopes.weights
        return arc * (2.0 * math.pi * self.points[:, 0] if self.form == "round" else 2.0)

    @property
    def area(self) -> float:
        """Surface of the liquid."""
        return float(np.sum(self.surface_weights))

    @property
    def volume(self) -> float:
        """Liquid above the plane; for a ridge its cross section."""
        return float(self.surface_weights @ (np.cos(self.slope) * self.points[:, 1]))

    @property
    def bending(self) -> FloatArray:
        """Sum of the principal curvatures times ds / dt over L at the nodes, (n,) array."""
        plane = (self.slopes.derivatives @ self.coefficients) / self.length
        if self.form == "long":
            return np.asarray(plane)
        around = np.sin(self.slope) / self.points[:, 0]
        return np.asarray(plane + around * self.slopes.stretch)

    @cached_property
    def field(self) -> FloatArray:
        """Outward field at the nodes over the far field, (n,) array, [-].

        The charge's potential and its image's in the plane cancel the far field's, -z, on the
        surface; the charge over eps0 is the field.
        """
        panels, near = self.slopes.panels, self.slopes.panels.near
        points, z = self.points, self.points[:, 1]
        potential = _POTENTIALS[self.form]
        matrix = np.zeros((len(z), len(z)))
        at, of = np.nonzero(panels.far)
        matrix[at, of] = panels.weights[of] * potential(points[at], points[of])
        there = np.einsum("tqp,tpd->tqd", near.carry, points[near.sources])
        parts = near.weights * potential(points[near.targets][:, None], there)
        shares = np.einsum("tq,tqp->tp", parts, near.carry)
        np.add.at(matrix, (near.targets[:, None], near.sources), shares)
        if math.isfinite(self.gap):
            matrix += panels.weights * self._images()
        per_parameter = np.linalg.solve(matrix / z[:, None], np.ones_like(z))
        return np.asarray(per_parameter / (self.length * self.slopes.stretch))

    def _images(self) -> FloatArray:
        """Potential of the charges' images in the plate and of theirs, (n, n) array.

        They lie 2 n gap above and below; the far ones act as dipoles, whose sum is Hurwitz's zeta
        function.
        """
        points, apart = self.points, 2.0 * self.gap
        total = np.zeros((len(points), len(points)))
        for n in range(1, _IMAGES + 1):
            for shift in (n * apart, -n * apart):
                total += _POTENTIALS[self.form](points[:, None] + np.array([0.0, shift]), points)
        lifts = np.outer(points[:, 1], points[:, 1])
        if self.form == "round":
            ring = 2.0 * points[:, 0] / apart**3
            return np.asarray(total - 2.0 * lifts * ring * zeta(3, _IMAGES + 1))
        return np.asarray(total - 4.0 * lifts / (math.pi * apart**2) * zeta(2, _IMAGES + 1))

    @property
    def moment(self) -> float:
        """Integral of the field times z over the surface: the dipole moment over 2 eps0 E0."""
        return float(self.surface_weights @ (self.field * self.points[:, 1]))


def _ring_potential(at: FloatArray, ring: FloatArray) -> FloatArray:
    """Potential of rings of charge eps0 per surface and of their images, per arc length.

    r' K(m) / (pi p), p^2 = (r + r')^2 + (z - z')^2, m = 4 r r' / p^2.  Source: textbook (e.g.
    Jackson, Classical Electrodynamics; from memory).  Arrays (..., 2) that broadcast.
    """
    r, z, rr, zz = at[..., 0], at[..., 1], ring[..., 0], ring[..., 1]

    def one(height: FloatArray) -> FloatArray:
        close, wide = (r - rr) ** 2 + height**2, (r + rr) ** 2 + height**2
        return np.asarray(rr * ellipkm1(close / wide) / (math.pi * np.sqrt(wide)))

    return one(z - zz) - one(z + zz)


def _line_potential(at: FloatArray, line: FloatArray) -> FloatArray:
    """The same for pairs of lines at x' and -x': logarithms of distances over 2 pi."""
    x, z, xx, zz = at[..., 0], at[..., 1], line[..., 0], line[..., 1]
    up, down = (z - zz) ** 2, (z + zz) ** 2
    image, own = (x - xx) ** 2, (x + xx) ** 2
    ratio = (image + down) * (own + down) / ((image + up) * (own + up))
    return np.asarray(np.log(ratio) / (4.0 * math.pi))


_POTENTIALS = {"round": _ring_potential, "long": _line_potential}
