"""The first charge that leaves Taylor's cone, by linear response.

Ions in the uncharged cone's own field move along known paths, whose charge q changes the potential
f = A P_1/2(cos theta) by f1: f1'' + cot(theta) f1' + (3/4) f1 = q.  f1 is integrated from the axis
on, the opposite way of `conegap.solver.cone.charged_flow` and without shooting; the conditions on
the cone then give the change of its angle and of the voltage.  Derived here.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import simpson, solve_ivp
from scipy.optimize import brentq
from scipy.special import lpmv

if TYPE_CHECKING:
    from conegap.solver.cone.charged_flow import ChargedFlow

__all__ = ["carried_pull", "first_charge_slope", "taylor_axis_potential"]


def _legendre(theta: float) -> float:
    return float(lpmv(0, 0.5, math.cos(theta)))


def _legendre_slope(theta: float) -> float:
    """d P_1/2(cos theta) / d theta, from (1 - x^2) P' = nu (P_(nu-1) - x P_nu)."""
    x = math.cos(theta)
    return -0.5 * (float(lpmv(0, -0.5, x)) - x * _legendre(theta)) / math.sin(theta)


def _cone_at() -> float:
    return float(brentq(_legendre, 2.0, 2.6, xtol=1e-15))


def taylor_axis_potential() -> float:
    """Potential on the axis of Taylor's cone over sqrt(gamma r / eps0), [-]."""
    place = _cone_at()
    return math.sqrt(-2.0 / math.tan(place)) / abs(_legendre_slope(place))


def first_charge_slope() -> float:
    """dI* / d(U / U0) at no current, I* = I / (gamma L sqrt(2 e / m) U0^(-1/2)), [-].

    U is the voltage up to a place on the axis, L its distance from the apex.
    """
    cone, axis = _cone_at(), taylor_axis_potential()
    field = axis * abs(_legendre_slope(cone))
    start, last = 1e-4, math.sqrt(cone - 1e-2)

    # Paths and their charge per unit of emission, over y = sqrt(cone - theta).
    def paths(y: float, state: NDArray[np.float64]) -> list[float]:
        s, flux = state
        theta = cone - y * y
        across = math.sqrt(max(axis * _legendre(theta) - 25.0 / 16.0 * s * s, 1e-14))
        return [2.0 * y * across, -15.0 / 16.0 * s * 2.0 * y * flux / across]

    begun = [2.0 / 3.0 * math.sqrt(field) * start**3, math.sin(cone)]
    found = solve_ivp(paths, (start, last), begun, method="LSODA", rtol=1e-10, atol=1e-14,
                      dense_output=True)  # fmt: skip

    def source(y: float) -> float:
        """2 y q sin(theta)."""
        s, flux = found.sol(max(y, start))
        across = math.sqrt(max(axis * _legendre(cone - y * y) - 25.0 / 16.0 * s * s, 1e-14))
        return float(2.0 * y * flux / across)

    # f1 with f1 = 0 on the axis, from there to the cone.
    def response(y: float, state: NDArray[np.float64]) -> list[float]:
        sine = math.sin(cone - y * y)
        return [-2.0 * y * state[1] / sine, 2.0 * y * 0.75 * sine * state[0] - source(y)]

    f1, flux1 = solve_ivp(response, (last, start), [0.0, 0.0], method="LSODA", rtol=1e-10,
                          atol=1e-14).y[:, -1]  # fmt: skip
    # Off the last step to the cone, where q = 1 / sqrt(field (cone - theta)).
    slope1 = flux1 / math.sin(cone) + 2.0 * start / math.sqrt(field)
    f1 += flux1 / math.sin(cone) * start**2
    # f moves its zero by turn, and its slope there must stay sqrt(2 cot(alpha)).
    turn = f1 / field
    cot = -1.0 / math.tan(cone)
    wanted = -turn / (math.sin(cone) ** 2 * field)
    # The slope of f found on the moved cone, f' = -field, f'' = -cot(cone) f'.
    given = slope1 - cot * field * turn
    # A share of the whole f itself makes up the rest.
    share = (given - wanted) / field
    emitted = 2.0 * math.pi * (4.0 / 3.0) * math.sin(cone) * math.sqrt(axis)
    return float(emitted / share)


def carried_pull(flow: ChargedFlow, half_angle: float) -> float:
    """Axial pull on the cone within a sphere, over gamma times its radius, [-].

    Stress of the field on the part of the sphere in the vacuum, less the momentum that the ions
    carry out of it; neither enters the equations that the flow was solved from.

    Parameters
    ----------
    flow : ChargedFlow
    half_angle : float
        Of the cone, [rad].
    """
    sine, cosine = np.sin(flow.angle), np.cos(flow.angle)
    radial, polar = 0.5 * flow.potential, flow.potential_slope
    stress = radial * (radial * cosine - polar * sine) - 0.5 * (radial**2 + polar**2) * cosine
    along = flow.radial_velocity * cosine - flow.polar_velocity * sine
    # m n v v = 2 eps0 A^2 q v v / r with v in units of sqrt(2 e A / m) r^(1/4).
    carried = 2.0 * flow.charge * flow.radial_velocity * along
    # Even in the root of the angle off the cone, which takes the root out of q.
    root = np.sqrt(math.pi - half_angle - flow.angle)
    share = (stress - carried) * sine * 2.0 * root
    return float(2.0 * math.pi * simpson(share, x=root))
