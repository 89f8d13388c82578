"""A Taylor cone on an emitter in its gap, and how much its ions take from the field's pull on it.

Ions leave the apex and move along the axis, charge I / v(z) per length.  By reciprocity the pull
that they take from the liquid cone is the integral of psi I / v, psi the potential that is E_n n_z
of the field without charge on the cone and nothing elsewhere.  E_z is such a potential but for its
values off the cone, so that with h, nothing on the cone and E_z on everything else,

    pull taken = integral of (E_z - h) I / v dz = I sqrt(2 m V / e) (1 - share that h takes):

the momentum of the ions less what other surfaces give.  h is smooth, the momentum is exact, and so
the apex, where charge and field have no bound, needs no care.  Constant densities on straight rings
of conical panels, graded toward edges; nothing of the solver is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve
from scipy.special import ellipk

from conegap.geometries.curves.curve import FloatArray

__all__ = ["ConeInGap", "GapWithCone", "capillary_gap", "needle_gap"]

# Plain Gauss points of a panel; its potential is called near where it is closer than four lengths.
_PLAIN, _NEAR = 6, 4.0
# Gauss points and power of u^power, which takes the logarithm out of a ring's potential.
_GRADED, _POWER = 14, 5


@dataclass(frozen=True)
class ConeInGap:
    """What the boundary elements find; lengths in base radii.

    Parameters
    ----------
    extinction_voltage : float
        At which the pull on the cone is 2 pi R gamma cos(alpha), over sqrt(gamma R / eps0), [-].
    cone_voltage : float
        At the extinction, from the cone to the place on the axis a slant length away, over the
        same, [-].
    momentum_share : float
        Pull that the ions take from the cone over I sqrt(2 m V / e), [-].
    direct_share : float
        The same from the charge that the ions induce, apex cut off, [-].
    """

    extinction_voltage: float
    cone_voltage: float
    momentum_share: float
    direct_share: float


@dataclass(frozen=True)
class GapWithCone:
    """Outlines about a cone of base radius 1 whose apex lies at the origin, ions toward z > 0.

    Parameters
    ----------
    half_angle : float
        Of the cone, [rad].
    emitter : tuple of (n, 2) arrays
        r and z of the panels' ends from the cone's base on, the vacuum on the left.
    plane_at : float
        z of the accelerator, an unbroken plane, [-].
    plane_radius : float
        Where it ends, [-].
    """

    half_angle: float
    emitter: tuple[FloatArray, ...]
    plane_at: float
    plane_radius: float

    def solve(self, panels: int = 30) -> ConeInGap:
        """Extinction voltage and the ions' share of the pull.

        Parameters
        ----------
        panels : int
            On each half of the cone, [-].
        """
        bem, on_cone, on_emitter = self._boundaries(panels)
        field, outward = bem.field(on_emitter)
        upward = field * outward
        others = bem.density(np.where(np.arange(len(outward)) < on_cone, 0.0, upward))
        area = 2.0 * math.pi * bem.middle[:, 0] * bem.length
        pull = float(np.sum((0.5 * field**2 * outward * area)[:on_cone]))

        z, weight = self._axis()
        speed = bem.speed(field, z)
        taken = float(np.sum(weight * bem.potential(others, z) / speed))
        apart = np.hypot(bem.middle[:, :1], bem.middle[:, 1:] - z)
        induced = 4.0 * math.pi * bem.density(-np.sum(weight / (speed * apart), axis=1))
        lost = float(np.sum((field * induced * outward * area)[:on_cone])) / (4.0 * math.pi)
        extinction = math.sqrt(2.0 * math.pi * math.cos(self.half_angle) / pull)
        slant = np.array([1.0 / math.sin(self.half_angle)])
        own = 1.0 - float(bem.potential(field / (4.0 * math.pi), slant)[0])
        # The momentum is integral E_z / sqrt(V_fallen) dz = 2 for a unit voltage.
        return ConeInGap(
            extinction_voltage=extinction,
            cone_voltage=extinction * own,
            momentum_share=1.0 - 0.5 * taken,
            direct_share=-0.5 * lost,
        )

    def neighbour_share(self, apart: float, panels: int = 30) -> float:
        """Pull that the ions of another such cone beside this one take from it, [-].

        Over their momentum; the charge that one cone's pull induces on the other is left out.

        Parameters
        ----------
        apart : float
            Distance of both axes over the base radius, >= 2, [-].
        panels : int
            On each half of the cone, [-].
        """
        bem, on_cone, on_emitter = self._boundaries(panels)
        field, outward = bem.field(on_emitter)
        psi = bem.density(np.where(np.arange(len(outward)) < on_cone, field * outward, 0.0))
        z, weight = self._axis()
        beside = np.array([bem.beside(psi, apart, float(height)) for height in z])
        return 0.5 * float(np.sum(weight * beside / bem.speed(field, z)))

    def _boundaries(self, panels: int) -> tuple[_Rings, int, int]:
        """All panels, and how many of them lie on the cone and on the emitter with it."""
        base = np.array([1.0, -1.0 / math.tan(self.half_angle)])
        cone = (
            _graded(np.zeros(2), 0.5 * base, panels, 1e-6),
            _graded(base, 0.5 * base, panels // 2, 1e-5)[::-1],
        )
        plane = _graded(
            np.array([1e-9 * self.plane_at, self.plane_at]),
            np.array([self.plane_radius, self.plane_at]),
            2 * panels,
            1e-5,
        )
        bem = _Rings((*cone, *self.emitter, plane))
        on_cone = sum(len(part) - 1 for part in cone)
        on_emitter = len(bem.length) - len(plane) + 1
        return bem, on_cone, on_emitter

    def _axis(self) -> tuple[FloatArray, FloatArray]:
        """Points and weights on the axis from next to the apex to the accelerator."""
        ends = np.geomspace(1e-7, self.plane_at, 90)
        point, share = np.polynomial.legendre.leggauss(5)
        half = 0.5 * np.diff(ends)[:, None]
        z = 0.5 * (ends[:-1] + ends[1:])[:, None] + half * point
        return z.ravel(), (half * share).ravel()


def needle_gap(*, cone_angle: float, shank_angle: float, gap: float) -> GapWithCone:
    """A cone on a conical needle before a plane.

    Parameters
    ----------
    cone_angle, shank_angle : float
        Half angles, [rad].
    gap : float
        Apex to plane over the base radius, [-].
    """
    length = 5.0 * gap
    base = np.array([1.0, -1.0 / math.tan(cone_angle)])
    far = base + length * np.array([math.tan(shank_angle), -1.0])
    behind = np.array([1e-6 * length, far[1]])
    shank = _graded(base, far, 50, 1e-8)
    return GapWithCone(cone_angle, (shank, _graded(far, behind, 12, 1e-2)), gap, 20.0 * length)


def capillary_gap(
    *, cone_angle: float, outer: float, gap: float, length: float | None = None
) -> GapWithCone:
    """A cone on the bore's edge of a flat-faced tube before a plane.

    Parameters
    ----------
    cone_angle : float
        Half angle, [rad].
    outer : float
        Outer radius over the base radius, > 1, [-]; a large one makes a plate of it.
    gap : float
        Apex to plane over the base radius, [-].
    length : float or None
        Of the tube over the base radius; ten gaps or more when left out, [-].
    """
    length = 10.0 * max(gap, 0.1 * outer) if length is None else length
    base = np.array([1.0, -1.0 / math.tan(cone_angle)])
    rim = np.array([outer, base[1]])
    far = rim + np.array([0.0, -length])
    behind = np.array([1e-6 * length, far[1]])
    middle = 0.5 * (base + rim)
    face = (_graded(base, middle, 20, 1e-6), _graded(rim, middle, 20, 1e-6)[::-1])
    outside = (_graded(rim, far, 40, 1e-7), _graded(far, behind, 12, 1e-2))
    return GapWithCone(cone_angle, (*face, *outside), gap, 20.0 * length)


def _graded(start: FloatArray, stop: FloatArray, panels: int, first: float) -> FloatArray:
    """Ends of panels that grow by one factor; the first is that share of the whole."""
    share = np.concatenate([[0.0], np.geomspace(first, 1.0, panels)])
    return np.asarray(start + (stop - start) * share[:, None])


class _Rings:
    """Charge of constant density on panels turned about the axis, with 4 pi eps0 = 1."""

    def __init__(self, parts: tuple[FloatArray, ...]) -> None:
        self._first = np.concatenate([part[:-1] for part in parts])
        step = np.concatenate([part[1:] for part in parts]) - self._first
        self.length = np.hypot(step[:, 0], step[:, 1])
        self.along = step / self.length[:, None]
        self.middle = self._first + 0.5 * step
        self._step = step
        point, share = np.polynomial.legendre.leggauss(_PLAIN)
        self._share = 0.5 * share
        self._source = self._first[:, None] + 0.5 * (1.0 + point)[:, None] * step[:, None]
        self._factor = lu_factor(self._matrix())

    def field(self, on_emitter: int) -> tuple[FloatArray, FloatArray]:
        """Normal field for a unit voltage, and the z of the normal into the vacuum."""
        panel = np.arange(len(self.length))
        outward = np.where(panel < on_emitter, self.along[:, 0], -1.0)
        return 4.0 * math.pi * self.density(np.where(panel < on_emitter, 1.0, 0.0)), outward

    def speed(self, field: FloatArray, z: FloatArray) -> FloatArray:
        """Of ions on the axis over that of the whole unit voltage."""
        potential = self.potential(field / (4.0 * math.pi), z)
        return np.asarray(np.sqrt(np.maximum(1.0 - potential, 1e-14)))

    def beside(self, density: FloatArray, r: float, z: float) -> float:
        """Potential off the axis, away from the panels by more than their length."""
        ring = _ring(np.array([r, z]), self._source) @ self._share * self.length
        return float(ring @ density)

    def density(self, potential: FloatArray) -> FloatArray:
        """Densities that give the panels' middles a potential."""
        return np.asarray(lu_solve(self._factor, potential))

    def potential(self, density: FloatArray, z: FloatArray) -> FloatArray:
        """On the axis, away from the panels by more than their length."""
        r, at = self._source[..., 0], self._source[..., 1]
        near = 2.0 * math.pi * r / np.hypot(r, at - z[:, None, None])
        return np.asarray((near @ self._share * self.length) @ density)

    def _matrix(self) -> FloatArray:
        count = len(self.length)
        found = np.empty((count, count))
        u, share = np.polynomial.legendre.leggauss(_GRADED)
        u, share = 0.5 * (1.0 + u), 0.5 * share
        reach, weight = u**_POWER, _POWER * u ** (_POWER - 1) * share
        for i, place in enumerate(self.middle):
            found[i] = _ring(place, self._source) @ self._share * self.length
            apart = np.hypot(*(self.middle - place).T)
            near = np.flatnonzero(apart < _NEAR * self.length)
            # Graded from the panel's point that is nearest to the place, to either end.
            step = self._step[near]
            closest = np.sum((place - self._first[near]) * step, axis=1) / self.length[near] ** 2
            closest = np.clip(closest, 0.0, 1.0)
            whole = np.zeros(len(near))
            for end in (0.0, 1.0):
                at = closest[:, None] + (end - closest)[:, None] * reach
                source = self._first[near][:, None] + at[..., None] * step[:, None]
                whole += np.abs(end - closest) * (_ring(place, source) @ weight)
            found[i, near] = whole * self.length[near]
        return found


def _ring(place: FloatArray, source: FloatArray) -> NDArray[np.float64]:
    """Potential of rings of unit charge per area and unit width, 4 pi eps0 = 1."""
    r, z = source[..., 0], source[..., 1]
    across = (place[0] + r) ** 2 + (place[1] - z) ** 2
    modulus = np.minimum(4.0 * place[0] * r / across, 1.0 - 1e-15)
    return np.asarray(4.0 * r * ellipk(modulus) / np.sqrt(across))
