"""Equilibria of a liquid surface under the field it shapes.

On the surface  p + lambda e^2 / 2 - B z = 2H  with lengths in contact radii a, pressures in
gamma / a, e the field per volt times a, lambda = eps0 V^2 / (gamma a), z the height above the
contact line and B = rho g a^2 / gamma the Bond number (gravity along -z; zero when left out).
The balance is weighted with even Chebyshev polynomials over the surface and integrated by Gauss's
rule.  Its Jacobian is exact for the continuous problem: moving the surface outward by d changes
the potential there by e d, and Laplace's equation with these boundary data on the unmoved region
gives the change of the field (J. Hadamard, Mem Acad Sci Paris 33 (1908), from memory).

Weighting with sums over the mesh's points instead would alias the high modes near the contact line;
the field therefore enters through a spline over the mesh's surface points.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial import chebyshev
from scipy.interpolate import make_interp_spline

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.liquid.moving_field import MovingField, SurfaceState
from conegap.solver.liquid.shape import MeniscusShape

__all__ = ["Equilibrium", "Held", "MeniscusProblem"]

Held = Literal["pressure", "volume", "volume with contact angle"]


@dataclass(frozen=True)
class Equilibrium:
    """One shape in balance (or an iterate of one).

    Parameters
    ----------
    pressure : float
        Gauge pressure in gamma / a, [-].
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a), [-].
    fraction : (n,) array
        Arc-length fractions of the surface points whose field is of second order.
    field : (n,) array
        Field per volt times a there, [-].
    bond_number : float
        rho g a^2 / gamma, [-].
    """

    shape: MeniscusShape
    pressure: float
    electric_bond_number: float
    fraction: FloatArray
    field: FloatArray
    bond_number: float = 0.0


class MeniscusProblem:
    """The discrete balance of a pinned surface.

    Unknowns are the shape's coefficients, the pressure when the volume is held, and the scaled
    strength lambda e0^2, where e0 is the apex field of the reference shape.

    With "volume with contact angle" the contact line is free and the slope there is given.  The
    unit of length is still the contact radius, which then varies while the volume stays: the last
    unknown is the electric Bond number of the reference shape's contact radius.  This needs
    surroundings without a length of their own (a drop on a plate in a uniform field).

    Parameters
    ----------
    radius : float
        Contact radius or half width a, [m].
    contact : tuple of float
        Contact line (r or x, z), [m].
    held : "pressure", "volume" or "volume with contact angle"
    amount : float
        The held pressure in gamma / a, the volume in a^3 (area in a^2), or the contact angle in
        radians.
    reference : MeniscusShape
        Shape of the reference mesh.
    like : MeniscusProblem or None
        Problem whose scales of the unknowns are taken over, so that a branch goes on.
    bond_number : float
        rho g a^2 / gamma, positive when the liquid stands up against gravity; needs a pinned
        contact line, [-].
    reference_field : float or None
        e0 where it is known and nothing is taken over; the electric Bond number's scale only, [-].
    """

    def __init__(
        self,
        field: MovingField,
        *,
        radius: float,
        contact: tuple[float, float],
        held: Held,
        amount: float,
        reference: MeniscusShape,
        like: MeniscusProblem | None = None,
        bond_number: float = 0.0,
        reference_field: float | None = None,
    ) -> None:
        self.field, self.radius, self.contact = field, radius, contact
        self.held, self.amount = held, amount
        self.bond_number: float = bond_number if like is None else like.bond_number
        self.modes = len(reference.coefficients)
        self.symmetry = reference.symmetry
        self._ratio = radius / field.scale
        self._round = self.symmetry == "axisymmetric"
        nodes, weights = np.polynomial.legendre.leggauss(4 * self.modes)
        self._places = 0.5 * (1.0 + nodes)
        even = chebyshev.chebvander(self._places, 2 * self.modes - 2)[:, ::2].T
        self._weights = 0.5 * weights * even
        # The field is even about the axis; its spline takes values at the mesh's points to the
        # Gauss points, where the curvature is exact.
        some = field.fraction[field.even]
        mirrored = np.concatenate([-some[:0:-1], some])
        both = np.eye(len(field.fraction))[field.even]
        spline = make_interp_spline(mirrored, np.vstack([both[:0:-1], both]), k=3)
        self._interpolation = np.asarray(spline(self._places))
        self._slopes = np.asarray(spline.derivative()(field.fraction))
        self._reference_volume: float = reference.volume if like is None else like._reference_volume
        if like is None and reference_field is not None:
            self.reference_field: float = reference_field
        elif like is None:
            self.reference_field = float(np.abs(self.state(reference).field[0])) * self._ratio
        else:
            self.reference_field = like.reference_field

    @property
    def size(self) -> int:
        """Number of unknowns without the electric Bond number."""
        return self.modes + (0 if self.held == "pressure" else 1)

    def unknowns(
        self, shape: MeniscusShape, pressure: float, electric_bond_number: float
    ) -> FloatArray:
        """Vector of unknowns, scaled strength last."""
        scaled = electric_bond_number * self.reference_field**2 / self._growth(shape)
        middle = [] if self.held == "pressure" else [pressure]
        return np.concatenate([shape.coefficients, middle, [scaled]])

    def shape(self, x: FloatArray) -> MeniscusShape:
        """The shape of a vector of unknowns."""
        return MeniscusShape(x[: self.modes], self.symmetry)

    def parts(self, x: FloatArray) -> tuple[MeniscusShape, float, float]:
        """Shape, pressure and strength lambda of a vector of unknowns."""
        shape = MeniscusShape(x[: self.modes], self.symmetry)
        pressure = self.amount if self.held == "pressure" else float(x[self.modes])
        return shape, pressure, float(x[-1]) * self._growth(shape) / self.reference_field**2

    def _growth(self, shape: MeniscusShape) -> float:
        """Contact radius over that of the reference shape of the same volume."""
        if self.held != "volume with contact angle":
            return 1.0
        return float((self._reference_volume / shape.volume) ** self._growth_power)

    @property
    def _growth_power(self) -> float:
        return 1.0 / 3.0 if self.symmetry == "axisymmetric" else 0.5

    def _positions(self, shape: MeniscusShape) -> FloatArray:
        """Places of the mesh's surface points on a shape, (n, 2) array, [m]."""
        place = shape.points(self.field.fraction) * self.radius
        place[:, 1] += self.contact[1]
        place[0, 0] = 0.0
        place[-1] = self.contact
        return place

    def state(self, shape: MeniscusShape) -> SurfaceState:
        """Field on a shape, in scaled lengths."""
        return self.field.state(self._positions(shape))

    def equilibrium(self, x: FloatArray) -> Equilibrium:
        """The shape and its field for a vector of unknowns."""
        shape, pressure, electric_bond_number = self.parts(x)
        state, even = self.state(shape), self.field.even
        return Equilibrium(
            shape,
            pressure,
            electric_bond_number,
            state.fraction[even],
            state.field[even] * self._ratio,
            self.bond_number,
        )

    def residual(self, x: FloatArray) -> FloatArray:
        """Weighted imbalance, (size,) array."""
        return self._assemble(x, jacobian=False)[0]

    def residual_and_jacobian(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Weighted imbalance, (size,), and its derivative, (size, size + 1)."""
        residual, jacobian = self._assemble(x, jacobian=True)
        assert jacobian is not None
        return residual, jacobian

    def _assemble(self, x: FloatArray, *, jacobian: bool) -> tuple[FloatArray, FloatArray | None]:
        shape, pressure, electric_bond_number = self.parts(x)
        state = self.state(shape)
        field = state.field * self._ratio
        at = self._interpolation @ field
        s = self._places
        weights = self._weights * (shape.points(s)[:, 0] if self._round else 1.0)
        bend = shape.curvature(s)
        weight = self.bond_number * shape.points(s)[:, 1]
        balance = pressure + 0.5 * electric_bond_number * at**2 - weight - bend
        residual = weights @ balance
        if self.held == "volume":
            residual = np.append(residual, shape.volume - self.amount)
        elif self.held == "volume with contact angle":
            residual = np.append(residual, shape.contact_angle - self.amount)
        if not jacobian:
            return residual, None
        columns = np.zeros((len(s), len(x)))
        constraint_row, growth_row = np.zeros(len(x)), np.zeros(len(x))
        growth = self._growth(shape)
        nodes = state.fraction
        along = self._slopes @ field / shape.length
        moved, bent = shape.variation(nodes).places, shape.variation(s)
        outward = (moved * shape.normals(nodes)).sum(axis=-1)
        sideways = (moved * shape.tangents(nodes)).sum(axis=-1)
        bends = bent.curvature + self.bond_number * bent.places[..., 1]
        if self.held == "volume":
            constraint_row[: self.modes] = shape.volume_gradient
        elif self.held == "volume with contact angle":
            constraint_row[: self.modes] = 1.0  # every odd polynomial is one at the contact line
            growth_row[: self.modes] = -self._growth_power * shape.volume_gradient / shape.volume
        rise = field * outward
        change = (
            state.response(rise) * self._ratio - shape.curvature(nodes) * rise + along * sideways
        )
        stress = electric_bond_number * at * (change @ self._interpolation.T)
        columns[:, : self.modes] = (stress - bends).T
        columns += np.outer(0.5 * electric_bond_number * at**2, growth_row)
        if self.held != "pressure":
            columns[:, self.modes] = 1.0
        columns[:, -1] = 0.5 * at**2 * growth / self.reference_field**2
        matrix = weights @ columns
        if self.held != "pressure":
            matrix = np.vstack([matrix, constraint_row])
        return residual, matrix
