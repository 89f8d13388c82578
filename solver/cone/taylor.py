"""Taylor's cone: angle, field, voltage, and the pull that holds it.

A conducting liquid cone in a vacuum is in balance without a pressure of its own at one half angle
alone, where its potential r^(1/2) P_1/2(cos theta) vanishes on it: G. I. Taylor, Proc R Soc A 280,
383 (1964); the numbers are roots found again by `conegap validate`.
"""

from __future__ import annotations

import math

from scipy.constants import epsilon_0

__all__ = [
    "EXTINCTION_UNCERTAINTY",
    "TAYLOR_AXIS",
    "TAYLOR_HALF_ANGLE",
    "cone_voltage",
    "held_pressure",
    "pull_share",
]

TAYLOR_HALF_ANGLE = math.radians(49.29008929210)
"""Half angle of the cone in balance, pi minus the zero of P_1/2(cos theta), [rad]."""

TAYLOR_AXIS = 1.345926748
"""Potential on the axis over sqrt(gamma r / eps0); sqrt(2 cot(alpha)) over the slope of P_1/2 on
the cone, 0.97465975, [-]."""

EXTINCTION_UNCERTAINTY = 0.2
"""Relative, of the voltage at which the field no longer holds a cone up; common practice, no
source."""


def cone_voltage(*, surface_tension: float, slant_length: float) -> float:
    """Voltage between Taylor's cone and the place on its axis at a distance, [V].

    1.3459 sqrt(gamma L / eps0): G. I. Taylor, Proc R Soc A 280, 383 (1964), derived.

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    slant_length : float
        L, from the apex, [m].

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    if not (surface_tension > 0.0 and slant_length > 0.0):
        raise ValueError(
            f"surface tension {surface_tension} and length {slant_length} must be positive"
        )
    return TAYLOR_AXIS * math.sqrt(surface_tension * slant_length / epsilon_0)


def held_pressure(*, surface_tension: float, base_radius: float) -> float:
    """Mean stress that holds a cone of Taylor's angle on its base, 2 gamma cos(alpha) / R, [Pa].

    Force around the base over its area, derived.

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    base_radius : float
        R, > 0, [m].
    """
    return 2.0 * surface_tension * math.cos(TAYLOR_HALF_ANGLE) / base_radius


def pull_share(pressure: float, *, surface_tension: float, base_radius: float) -> float:
    """Pull that the field must give to hold a cone, over that without a pressure in it, [-].

    1 - p R / (2 gamma cos(alpha)) from the balance of the whole cone, derived; suction asks for
    more.  A pressure helps at the base alone: about the apex, where both stresses rise as 1 / r,
    it counts for nothing, and a field below Taylor's cannot hold the surface there.  The help is
    therefore counted only as far as the balance of the whole is trusted, `EXTINCTION_UNCERTAINTY`
    in the voltage, also where the pressure alone would carry the cone.

    Parameters
    ----------
    pressure : float
        Gauge pressure p at the base, [Pa].
    surface_tension : float
        gamma, [N/m].
    base_radius : float
        R, > 0, [m].
    """
    held = held_pressure(surface_tension=surface_tension, base_radius=base_radius)
    return max(1.0 - pressure / held, (1.0 - EXTINCTION_UNCERTAINTY) ** 2)
