"""The liquid cone under the charge of the ions that leave its surface.

About the apex nothing has a length of its own, so all fields are powers of the distance r from it.
With the cone at zero and theta measured from the axis in the vacuum (the cone lies at
theta = pi - alpha), and with A = sqrt(gamma / eps0):

    potential          -A r^(1/2) f(theta)
    velocity           gradient of S = sqrt(2 e A / m) r^(5/4) s(theta)   (ions start from rest)
    charge density     eps0 A r^(-3/2) q(theta)

which turn energy, Poisson's equation and the conservation of charge into

    (5/4)^2 s^2 + s'^2 = f
    f'' + cot(theta) f' + (3/4) f = q
    (sin(theta) q s')' + (15/16) sin(theta) q s = 0

f = s = 0 on the cone, where q s' tends to the emitted current density, and f is regular on the
axis.  That the liquid is in balance without a pressure of its own, eps0 E^2 / 2 = gamma
cot(alpha) / r, asks for f'^2 = 2 cot(alpha) on the cone at every r at once.  Every half angle
below Taylor's 49.29 degrees therefore has one emission, found here by shooting from the cone to the
axis.  The axis is a stable node of the paths (they approach it as r^(-0.17) and do not cross it),
the charge goes to zero there, and so the flow has one stream in the whole vacuum.

The current through a sphere of radius r grows as r^(3/4), and with the voltage on the axis,
U = A r^(1/2) f(0), it is a perveance: I = P(alpha) eps0 sqrt(2 e / m) U^(3/2).

The approach, a cone whose emitted charge keeps the powers of r, is that of G. Sh. Boltachev,
N. M. Zubarev and O. V. Zubareva, arXiv:1201.3743 (abstract and first lines read; the equations are
derived here, and the paper's figures could not be read, so nothing is compared with them).

Limits: ions leave the whole cone, not its apex alone; no feed resistance, no droplets, no second
ionisation; the cone ends nowhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from conegap.solver.cone.taylor import TAYLOR_AXIS, TAYLOR_HALF_ANGLE

__all__ = ["ChargedCone", "ChargedFlow", "charged_cone", "charged_flow"]

# Below it the voltage is above four times that of Taylor's cone, [rad]: far outside every use.
_LEAST_HALF_ANGLE = math.radians(25.0)
# Where shooting ends, off the axis' coordinate singularity; f is taken on by its series, whose
# next term is 1e-13 there, [rad].
_END = 1e-3
# Square root of the angle off the cone at which the series there (f in x and x^(3/2)) hands over;
# what it leaves out is of the order of its fourth power.
_START = 1e-4
# f - (25/16) s^2 at which a path has turned before the axis: shooting with too little charge.
_TURNED = 1e-10


@dataclass(frozen=True)
class ChargedCone:
    """A cone in balance with the charge that leaves it; all numbers without dimension.

    Parameters
    ----------
    half_angle : float
        alpha of the liquid, [rad].
    emission : float
        Current density off the cone over eps0 A^(3/2) sqrt(2 e / m) r^(-5/4), [-].
    axis : float
        f(0): potential on the axis over A r^(1/2), [-].
    current : float
        Through a sphere of radius r, over eps0 A^(3/2) sqrt(2 e / m) r^(3/4), [-].
    """

    half_angle: float
    emission: float
    axis: float
    current: float

    @property
    def voltage_ratio(self) -> float:
        """Voltage up to a place on the axis over that of Taylor's cone, [-]."""
        return self.axis / TAYLOR_AXIS

    @property
    def perveance(self) -> float:
        """I / (eps0 sqrt(2 e / m) U^(3/2)), U up to the place on the axis, [-]."""
        return float(self.current / self.axis**1.5)

    @property
    def reduced_current(self) -> float:
        """I / (gamma L sqrt(2 e / m) U0^(-1/2)), L slant length, U0 of Taylor's cone, [-]."""
        return float(self.current * math.sqrt(TAYLOR_AXIS))


@dataclass(frozen=True)
class ChargedFlow:
    """The fields between cone and axis at unit radius, in the units of the module.

    Parameters
    ----------
    angle : (n,) array
        theta from the axis, falling from the cone on, [rad].
    potential : (n,) array
        f, [-].
    potential_slope : (n,) array
        df/dtheta, [-].
    radial_velocity, polar_velocity : (n,) arrays
        (5/4) s and ds/dtheta, [-].
    charge : (n,) array
        q, [-].
    """

    angle: NDArray[np.float64]
    potential: NDArray[np.float64]
    potential_slope: NDArray[np.float64]
    radial_velocity: NDArray[np.float64]
    polar_velocity: NDArray[np.float64]
    charge: NDArray[np.float64]


def charged_cone(half_angle: float) -> ChargedCone:
    """The emission that keeps a cone of this half angle in balance.

    Parameters
    ----------
    half_angle : float
        alpha of the liquid, from 25 degrees to Taylor's 49.29 degrees, [rad].

    Raises
    ------
    ValueError
        The angle is outside its range: no charge of one sign holds a blunter cone.
    """
    _check(half_angle)
    if half_angle >= TAYLOR_HALF_ANGLE - 1e-9:
        return ChargedCone(half_angle, 0.0, TAYLOR_AXIS, 0.0)
    low, high = 0.0, 0.02
    while _residual(high, half_angle) < 0.0:
        low, high = high, 2.0 * high
    emission = float(brentq(_residual, low, high, (half_angle,), xtol=1e-12, rtol=1e-10))
    end = _shoot(half_angle, emission).y[0, -1]
    # The charge leaves through the spheres what it gains from the cone: (3/4) I = area x density.
    current = 2.0 * math.pi * (4.0 / 3.0) * emission * math.sin(half_angle)
    return ChargedCone(half_angle, emission, float(end) * (1.0 + 3.0 / 16.0 * _END**2), current)


def charged_flow(cone: ChargedCone, points: int = 2001) -> ChargedFlow:
    """Fields of a cone found by `charged_cone`.

    Parameters
    ----------
    cone : ChargedCone
    points : int
        Even in the square root of the angle off the cone, [-].
    """
    cone_at = math.pi - cone.half_angle
    found = _shoot(cone.half_angle, cone.emission, points)
    f, slope, s, flux = found.y
    angle = cone_at - found.t**2
    across = np.sqrt(np.maximum(f - 25.0 / 16.0 * s**2, _TURNED))
    return ChargedFlow(
        angle=angle,
        potential=f,
        potential_slope=-slope,
        radial_velocity=1.25 * s,
        polar_velocity=-across,
        charge=flux / (np.sin(angle) * across),
    )


def _check(half_angle: float) -> None:
    if not _LEAST_HALF_ANGLE <= half_angle <= TAYLOR_HALF_ANGLE + 1e-9:
        raise ValueError(
            f"the half angle {math.degrees(half_angle):g} degrees must lie between "
            f"{math.degrees(_LEAST_HALF_ANGLE):g} and Taylor's "
            f"{math.degrees(TAYLOR_HALF_ANGLE):.4f}"
        )


def _residual(emission: float, half_angle: float) -> float:
    """What f' is above that of a solution regular on the axis, f' = -(3/8) f theta, times theta."""
    found = _shoot(half_angle, emission)
    theta = math.pi - half_angle - float(found.t[-1]) ** 2
    return float(theta * found.y[1, -1] - 0.375 * found.y[0, -1] * theta**2)


def _shoot(half_angle: float, emission: float, points: int | None = None) -> Any:
    """f, -f', s and the flux sin(theta) q |s'| over y = sqrt(theta_cone - theta), from the cone.

    y takes the roots out of the start: f goes as y^2, s as y^3, q as 1 / y.
    """
    cone_at = math.pi - half_angle
    field = math.sqrt(2.0 / math.tan(half_angle))
    crowd = emission / math.sqrt(field)

    def along(y: float, state: NDArray[np.float64]) -> list[float]:
        f, slope, s, flux = state
        theta = cone_at - y * y
        sine = math.sin(theta)
        across = math.sqrt(max(f - 25.0 / 16.0 * s * s, 0.1 * _TURNED))
        charge = 2.0 * y * flux / (sine * across)
        return [
            2.0 * y * slope,
            charge + 2.0 * y * (math.cos(theta) / sine * slope - 0.75 * f),
            2.0 * y * across,
            -15.0 / 16.0 * sine * s * charge,
        ]

    def turned(y: float, state: NDArray[np.float64]) -> float:
        return float(state[0] - 25.0 / 16.0 * state[2] ** 2 - _TURNED)

    turned.terminal = True  # type: ignore[attr-defined]
    turned.direction = -1.0  # type: ignore[attr-defined]
    x = _START**2
    start = [
        field * x + 4.0 / 3.0 * crowd * x**1.5,
        field + 2.0 * crowd * _START,
        2.0 / 3.0 * math.sqrt(field) * x**1.5,
        emission * math.sin(cone_at),
    ]
    last = math.sqrt(cone_at - _END)
    at = None if points is None else np.linspace(_START, last, points)
    return solve_ivp(
        along, (_START, last), start, method="LSODA", t_eval=at, events=turned,
        rtol=1e-9, atol=1e-13,
    )  # fmt: skip
