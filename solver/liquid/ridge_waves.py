"""Waves along a charged ridge of liquid: where a row of emission sites would form.

A free cylinder of liquid at a fixed potential, with radius R and field E on its surface, stands
for the apex of a ridge.  Its axisymmetric waves of wave number k grow as

    rho R^3 s^2 / gamma = x I1(x) / I0(x) [1 - x^2 + G (x K1(x) / K0(x) - 1)],   x = k R,

with G = eps0 E^2 R / gamma.  Derived; without field this is Rayleigh's jet (1879), with it Basset's
(1894), neither of which was opened, and `conegap validate` integrates the radial equations beside
it.  The balance of a planar ridge, eps0 E^2 / 2 = gamma / R, is G = 2; far above it the waves are
those of a flat surface, see `conegap.solver.onset.surface_balance.surface_wave_spacing`.
"""

from __future__ import annotations

import math

from scipy.optimize import minimize_scalar
from scipy.special import ive, kve

__all__ = ["fastest_ridge_wave", "ridge_growth"]


def ridge_growth(*, wave_number: float, stress: float) -> float:
    """Square of the growth rate of a wave along a charged cylinder, in gamma / (rho R^3).

    Parameters
    ----------
    wave_number : float
        x = k R, > 0, [-].
    stress : float
        G = eps0 E^2 R / gamma, [-].

    Returns
    -------
    float
        rho R^3 s^2 / gamma, negative for waves that swing, [-].

    Raises
    ------
    ValueError
        The wave number is not above zero or the stress is negative.
    """
    _check(stress)
    if not wave_number > 0.0:
        raise ValueError(f"wave_number = {wave_number:g} must be above zero")
    x = wave_number
    inside = x * float(ive(1, x) / ive(0, x))
    outside = x * float(kve(1, x) / kve(0, x))
    return inside * (1.0 - x**2 + stress * (outside - 1.0))


def fastest_ridge_wave(*, stress: float) -> float:
    """Wave number x = k R of the fastest-growing wave along a charged cylinder, [-].

    Parameters
    ----------
    stress : float
        G = eps0 E^2 R / gamma, [-].

    Raises
    ------
    ValueError
        The stress is negative.
    """
    _check(stress)
    # No wave beyond x^2 = 1 + G x grows, as x K1 / K0 - 1 stays below x.
    most = 0.5 * (stress + math.sqrt(stress**2 + 4.0))
    found = minimize_scalar(
        lambda x: -ridge_growth(wave_number=x, stress=stress),
        bounds=(1e-6 * most, most),
        method="bounded",
        options={"xatol": 1e-9 * most},
    )
    return float(found.x)


def _check(stress: float) -> None:
    if not (math.isfinite(stress) and stress >= 0.0):
        raise ValueError(f"stress = {stress:g} must be a finite number not below zero")
