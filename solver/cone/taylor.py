"""Taylor's cone: angle, field, voltage.

A conducting liquid cone in a vacuum is in balance without a pressure of its own at one half angle
alone, where its potential r^(1/2) P_1/2(cos theta) vanishes on it: G. I. Taylor, Proc R Soc A 280,
383 (1964); the numbers are roots found again by `conegap validate`.
"""

from __future__ import annotations

import math

from scipy.constants import epsilon_0

__all__ = ["TAYLOR_AXIS", "TAYLOR_HALF_ANGLE", "cone_voltage"]

TAYLOR_HALF_ANGLE = math.radians(49.29008929210)
"""Half angle of the cone in balance, pi minus the zero of P_1/2(cos theta), [rad]."""

TAYLOR_AXIS = 1.345926748
"""Potential on the axis over sqrt(gamma r / eps0); sqrt(2 cot(alpha)) over the slope of P_1/2 on
the cone, 0.97465975, [-]."""


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
