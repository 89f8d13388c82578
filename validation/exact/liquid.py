"""Closed-form results for charged liquid surfaces: cone, drop, surface waves.

Normal balance on the liquid: p_liquid - p_vacuum + eps0 E^2 / 2 = gamma (1/R1 + 1/R2).  SI
throughout; gamma is the surface tension, [N/m].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import epsilon_0
from scipy.optimize import brentq
from scipy.special import ellipe, ellipk, lpmv

__all__ = [
    "CriticalWave",
    "cone_exponent",
    "cone_polar_slope",
    "critical_wave",
    "growth_rate_squared",
    "rayleigh_charge",
    "rayleigh_field",
    "rayleigh_voltage",
    "site_spacing",
    "taylor_amplitude",
    "taylor_cone_field",
    "taylor_half_angle",
    "taylor_half_angle_elliptic",
]

_EPSILON_0 = float(epsilon_0)


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} = {value:g} must be a finite number above zero")


def cone_exponent(*, half_angle: float) -> float:
    """Exponent nu of the potential rho^nu P_nu(cos theta) that vanishes on a cone, [-].

    The smallest root of P_nu(-cos(alpha)) = 0; the field along the cone goes as rho^(nu - 1).

    Source: textbook.

    Parameters
    ----------
    half_angle : float
        Half angle alpha of the metal cone, from 0.02 to 1.5, [rad].

    Raises
    ------
    ValueError
        The angle is outside its range.
    """
    if not 0.02 <= half_angle <= 1.5:
        raise ValueError(f"half_angle = {half_angle:g} must be from 0.02 to 1.5 rad")
    cosine = -math.cos(half_angle)
    return float(brentq(lambda nu: float(lpmv(0, nu, cosine)), 1e-3, 1.0, xtol=1e-14))


def cone_polar_slope(*, half_angle: float) -> float:
    """Magnitude of dP_nu(cos theta)/d theta on the cone, nu from `cone_exponent`, [-].

    (1 - x^2) P_nu' = nu (P_(nu-1) - x P_nu).  ``half_angle`` in rad.

    Raises
    ------
    ValueError
        The angle is outside its range.
    """
    nu = cone_exponent(half_angle=half_angle)
    x = -math.cos(half_angle)
    below, here = float(lpmv(0, nu - 1.0, x)), float(lpmv(0, nu, x))
    return abs(nu * (below - x * here) / math.sin(half_angle))


def taylor_half_angle() -> float:
    """Half angle of Taylor's cone, pi minus the zero of P_1/2(cos theta), [rad].

    49.2901 degrees.  Source: G. I. Taylor, Proceedings of the Royal Society A 280, 383 (1964).
    """
    zero = brentq(lambda angle: float(lpmv(0, 0.5, math.cos(angle))), 2.0, 2.6, xtol=1e-15)
    return math.pi - float(zero)


def taylor_half_angle_elliptic() -> float:
    """The same angle from P_1/2(cos theta) = (2/pi)(2 E(m) - K(m)), m = sin^2(theta/2), [rad].

    Source: textbook (Legendre functions of half-integer degree as elliptic integrals).
    """
    m = brentq(lambda x: float(2.0 * ellipe(x) - ellipk(x)), 0.5, 0.95, xtol=1e-15)
    return math.pi - 2.0 * math.asin(math.sqrt(float(m)))


def taylor_cone_field(*, surface_tension: float, distance: float) -> float:
    """Field on Taylor's cone, sqrt(2 gamma cot(alpha) / (eps0 r)), [V/m].

    From eps0 E^2 / 2 = gamma cot(alpha) / r with no pressure difference.

    Source: G. I. Taylor, Proceedings of the Royal Society A 280, 383 (1964).

    Parameters
    ----------
    surface_tension : float
        gamma, > 0, [N/m].
    distance : float
        Slant distance from the apex r, > 0, [m].

    Raises
    ------
    ValueError
        A value is not above zero.
    """
    _positive(surface_tension=surface_tension, distance=distance)
    cot = 1.0 / math.tan(taylor_half_angle())
    return math.sqrt(2.0 * surface_tension * cot / (_EPSILON_0 * distance))


def taylor_amplitude() -> float:
    """A of the balanced potential A sqrt(gamma r / eps0) P_1/2(cos theta), 1.3459, [-].

    Source: derived from `taylor_cone_field` and `cone_polar_slope`.
    """
    angle = taylor_half_angle()
    return math.sqrt(2.0 / math.tan(angle)) / cone_polar_slope(half_angle=angle)


def rayleigh_field(*, surface_tension: float, radius: float) -> float:
    """Surface field of a sphere whose field stress equals its surface tension, [V/m].

    E = 2 sqrt(gamma / (eps0 R)); also the neutral point of its quadrupole oscillation.

    Source: derived, see `neutral_charge_of_spheroids`; quoted so from Rayleigh (1882) in an
    answer on physics.stackexchange.com, question 416416, read.

    Parameters
    ----------
    surface_tension : float
        gamma, > 0, [N/m].
    radius : float
        Radius R, > 0, [m].

    Raises
    ------
    ValueError
        A value is not above zero.
    """
    _positive(surface_tension=surface_tension, radius=radius)
    return 2.0 * math.sqrt(surface_tension / (_EPSILON_0 * radius))


def rayleigh_voltage(*, surface_tension: float, radius: float) -> float:
    """Voltage of the isolated sphere at the Rayleigh limit, E R, [V]; see `rayleigh_field`."""
    return rayleigh_field(surface_tension=surface_tension, radius=radius) * radius


def rayleigh_charge(*, surface_tension: float, radius: float) -> float:
    """Charge at the Rayleigh limit, 8 pi sqrt(eps0 gamma R^3), [C]; see `rayleigh_field`."""
    _positive(surface_tension=surface_tension, radius=radius)
    return 8.0 * math.pi * math.sqrt(_EPSILON_0 * surface_tension * radius**3)


def growth_rate_squared(
    *, surface_tension: float, density: float, field: float, wave_number: float, gravity: float
) -> float:
    """Square of the growth rate of waves on a charged flat liquid, [1/s^2].

    rho s^2 = eps0 E^2 k^2 - gamma k^3 - rho g k; deep, inviscid, gap much above 1/k.

    Source: Tonks, Physical Review 48, 562 (1935); Frenkel (1936).

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    density : float
        rho, > 0, [kg/m3].
    field : float
        E, [V/m].
    wave_number : float
        k, [1/m].
    gravity : float
        g towards the liquid, [m/s2].

    Raises
    ------
    ValueError
        The density is not above zero.
    """
    _positive(density=density)
    push = _EPSILON_0 * field**2 * wave_number**2
    return (push - surface_tension * wave_number**3) / density - gravity * wave_number


@dataclass(frozen=True)
class CriticalWave:
    """First unstable wave of a flat liquid: field [V/m] and wavelength [m]."""

    field: float
    wavelength: float


def critical_wave(*, surface_tension: float, density: float, gravity: float) -> CriticalWave:
    """Field and wavelength at which a flat liquid surface first goes unstable.

    E = (4 rho g gamma)^(1/4) / sqrt(eps0), lambda = 2 pi sqrt(gamma / (rho g)).

    Source: Tonks, Physical Review 48, 562 (1935); Frenkel (1936).  Parameters as for
    `growth_rate_squared`, [N/m], [kg/m3], [m/s2].

    Raises
    ------
    ValueError
        A value is not above zero.
    """
    _positive(surface_tension=surface_tension, density=density, gravity=gravity)
    weight = density * gravity
    return CriticalWave(
        (4.0 * weight * surface_tension) ** 0.25 / math.sqrt(_EPSILON_0),
        2.0 * math.pi * math.sqrt(surface_tension / weight),
    )


def site_spacing(*, surface_tension: float, field: float) -> float:
    """Fastest growing wavelength without gravity, 3 pi gamma / (eps0 E^2), [m].

    Source: derived from `growth_rate_squared`.  Parameters [N/m], [V/m].

    Raises
    ------
    ValueError
        A value is not above zero.
    """
    _positive(surface_tension=surface_tension, field=field)
    return 3.0 * math.pi * surface_tension / (_EPSILON_0 * field**2)
