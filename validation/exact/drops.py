"""Conducting spheroidal drops in a uniform field, and other closed forms for liquid surfaces.

Strengths are W = eps0 E0^2 r0 / gamma with r0 the radius of the undeformed drop.  A prolate
spheroid of semi-axes a > b and eccentricity e has the pole field E0 / N, where N is its
depolarisation factor, and the polarisability volume / N.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq, minimize_scalar

__all__ = [
    "cap_height",
    "cap_volume",
    "depolarisation",
    "neutral_charge_of_spheroids",
    "spheroid_by_energy",
    "spheroid_pole_and_equator",
    "turning_of_spheroids",
]

# Of the central differences: rounding, 1e-16 / 1e-4, and the fourth-order error both stay below
# 1e-11.
_STEP = 1e-4


def depolarisation(aspect: float) -> float:
    """Depolarisation factor N along the long axis of a prolate spheroid, [-].

    N = (1 - e^2) (artanh(e) - e) / e^3.  Source: textbook.

    Parameters
    ----------
    aspect : float
        a / b, above 1, [-].
    """
    e2 = 1.0 - 1.0 / aspect**2
    e = math.sqrt(e2)
    return (1.0 - e2) * (math.atanh(e) - e) / e**3


def spheroid_pole_and_equator(aspect: float) -> float:
    """W of a spheroid that is balanced at its poles and at its equator, [-].

    eps0 (E0 / N)^2 / 2 = gamma (2 a / b^2 - 1 / b - b / a^2), with a b^2 = r0^3.

    Source: G. I. Taylor, Proceedings of the Royal Society A 280, 383 (1964).

    Parameters
    ----------
    aspect : float
        a / b, above 1, [-].
    """
    b = math.pow(aspect, -1.0 / 3.0)
    a = aspect * b
    bend = 2.0 * a / b**2 - 1.0 / b - b / a**2
    return 2.0 * depolarisation(aspect) ** 2 * bend


def spheroid_by_energy(aspect: float) -> float:
    """W at which a spheroid has the stationary energy among spheroids of its volume, [-].

    Surface energy less half the polarisability times eps0 E0^2 (held field).

    Source: derived.

    Parameters
    ----------
    aspect : float
        a / b, above 1, [-].
    """
    volume = 4.0 / 3.0 * math.pi

    def surface(q: float) -> float:
        b = math.pow(q, -1.0 / 3.0)
        e = math.sqrt(1.0 - 1.0 / q**2)
        return 2.0 * math.pi * b**2 * (1.0 + q * math.asin(e) / e)

    def pull(q: float) -> float:
        return 0.5 * volume / depolarisation(q)

    return _slope(surface, aspect) / _slope(pull, aspect)


def _slope(function: Callable[[float], float], x: float) -> float:
    """Derivative by central differences, of fourth order."""
    near = function(x + _STEP) - function(x - _STEP)
    far = function(x + 2.0 * _STEP) - function(x - 2.0 * _STEP)
    return (8.0 * near - far) / (12.0 * _STEP)


def neutral_charge_of_spheroids() -> float:
    """Charge at which drawing a sphere out costs no energy, over 8 pi sqrt(eps0 gamma r0^3), [-].

    The energy of a spheroid of aspect q is 4 pi gamma r0^2 (s(q) + 2 X^2 k(q)), with s its surface
    and k its elastance over those of the sphere and X the charge in that unit; X follows from
    their second differences about the sphere.

    Source: derived; Rayleigh's 1 (1882) as quoted on physics.stackexchange.com, question 416416.
    """

    def surface(q: float) -> float:
        b, e = math.pow(q, -1.0 / 3.0), math.sqrt(1.0 - 1.0 / q**2)
        return 0.5 * b**2 * (1.0 + q * math.asin(e) / e)

    def elastance(q: float) -> float:
        e = math.sqrt(1.0 - 1.0 / q**2)
        return math.atanh(e) / (e * math.pow(q, 2.0 / 3.0))

    # Both are even in e to first order: their excess over the sphere's 1 goes as (q - 1)^2.
    ratios = [(surface(q) - 1.0) / (1.0 - elastance(q)) for q in (1.02, 1.01)]
    return math.sqrt(0.5 * (2.0 * ratios[1] - ratios[0]))


def turning_of_spheroids(electric_bond_number: Callable[[float], float]) -> tuple[float, float]:
    """Greatest W of a family of spheroids and the aspect a / b where it is reached, [-].

    Parameters
    ----------
    electric_bond_number : callable
        a / b to W, such as `spheroid_pole_and_equator`.
    """
    found = minimize_scalar(
        lambda q: -electric_bond_number(q),
        bounds=(1.2, 3.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return electric_bond_number(float(found.x)), float(found.x)


def cap_volume(height: float) -> float:
    """Volume of a spherical cap of base radius 1, pi h (3 + h^2) / 6, [-].

    Source: textbook.

    Parameters
    ----------
    height : float
        h, [-].
    """
    return math.pi * height * (3.0 + height**2) / 6.0


def cap_height(volume: float) -> float:
    """Height of a spherical cap of base radius 1, the inverse of `cap_volume`, [-].

    Parameters
    ----------
    volume : float
        > 0, [-].
    """
    return float(brentq(lambda h: cap_volume(h) - volume, 0.0, 10.0, xtol=1e-15))
