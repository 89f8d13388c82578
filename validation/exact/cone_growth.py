"""Runaway past a turning point and growth of waves, from their equations.

t0^2 x'' + tv x' = epsilon + x^2 is the simplest motion whose two equilibria meet and vanish;
derived for any surface near its turning point, with coefficients of one on the right.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

__all__ = ["greatest_growth_rate", "least_step", "ramp_runaway", "runaway_from_rest"]

# x from which the rest of the way is taken in closed form, [-].
_FAR = 1e7


def _far(_: float, state: NDArray[np.float64]) -> float:
    return float(state[0] - _FAR)


_far.terminal = True  # type: ignore[attr-defined]


def ramp_runaway(inertial: float, viscous: float, rise: float) -> float:
    """V / V0 - 1 at which a ramp's surface has run away, epsilon = 2 t / T, [-].

    Parameters
    ----------
    inertial, viscous : float
        t0 and tv, not both zero, [s].
    rise : float
        T from nothing to V0, [s].
    """
    # In units of the delay: mass alone x'' = s + x^2, viscosity alone x' = s + x^2.
    if inertial > 0.0:
        unit = (0.5 * rise * inertial**4) ** 0.2
        drag = viscous * unit / inertial**2

        def moves(s: float, state: NDArray[np.float64]) -> list[float]:
            return [state[1], s + state[0] ** 2 - drag * state[1]]

        start, first = -60.0, [-math.sqrt(60.0), 0.5 / math.sqrt(60.0)]
        left = math.sqrt(6.0 / _FAR)
    else:
        unit = (0.5 * rise * viscous**2) ** (1.0 / 3.0)

        def moves(s: float, state: NDArray[np.float64]) -> list[float]:
            return [s + state[0] ** 2]

        start, first = -20.0, [-math.sqrt(20.0)]
        left = 1.0 / _FAR
    found = solve_ivp(moves, (start, 100.0), first, method="DOP853", events=_far,
                      rtol=1e-10, atol=1e-12)  # fmt: skip
    return float((found.t[-1] + left) * unit / rise)


def runaway_from_rest() -> float:
    """Time over t0 from rest at x = -1, balance without field, to infinity at epsilon = 0, [-]."""
    found = solve_ivp(lambda _, state: [state[1], state[0] ** 2], (0.0, 100.0), [-1.0, 0.0],
                      method="DOP853", events=_far, rtol=1e-11, atol=1e-13)  # fmt: skip
    # What is left beyond x: sqrt(6 / x).
    return float(found.t[-1]) + math.sqrt(6.0 / _FAR)


def least_step() -> float:
    """Least V / V0 put on at once at which mass alone runs away from rest at x = -1, [-].

    By bisection on the motion: far beyond within ten times the unit of time, or back.
    """

    def back(_: float, state: NDArray[np.float64]) -> float:
        return float(state[1])

    back.terminal, back.direction = True, -1.0  # type: ignore[attr-defined]
    low, high = 0.5, 1.0
    while high - low > 1e-7:
        step = 0.5 * (low + high)
        push = step**2 - 1.0
        found = solve_ivp(lambda _, state, p=push: [state[1], p + state[0] ** 2], (0.0, 60.0),
                          [-1.0, 1e-12], method="DOP853", events=(_far, back), rtol=1e-10,
                          atol=1e-12)  # fmt: skip
        low, high = (low, step) if found.t_events[0].size else (step, high)
    return high


def greatest_growth_rate(*, stress: float, surface_tension: float, density: float) -> float:
    """Largest s of rho s^2 = P k^2 - gamma k^3, found by search, [1/s].

    Parameters
    ----------
    stress : float
        P = eps0 E^2, [Pa].
    surface_tension : float
        gamma, [N/m].
    density : float
        rho, [kg/m^3].
    """
    cut = stress / surface_tension

    def falls(share: float) -> float:
        k = share * cut
        return -(stress * k**2 - surface_tension * k**3) / density

    found = minimize_scalar(falls, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-9})
    return math.sqrt(-float(found.fun))
