"""The most that the current alone can heat the apex of a cone.

A voltage U along a conductor whose heat leaves the way the current comes raises its hottest place
to T_max^2 = T^2 + U^2 / L, whatever its shape (derived from the law of
Wiedemann and Franz, L = (pi^2 / 3) (k / e)^2 = 2.44e-8 V^2/K^2).  The liquid of a cone of solid
angle W beyond a radius R takes U = I resistivity / (W R).

A bound on the current's own heat: the flow of the liquid carries heat off besides.  Electrons that
come back from the accelerator and energy that ions leave in the surface are not in it.
"""

from __future__ import annotations

import math

from scipy.constants import Boltzmann, elementary_charge

from conegap.solver.cone.taylor import TAYLOR_HALF_ANGLE

__all__ = ["GREATEST_RESISTIVITY", "joule_rise"]

GREATEST_RESISTIVITY = 1.4e-6
"""Above that of every liquid metal here near its melting point, [ohm m]: bismuth's 1.3e-6, from
memory."""

_LORENZ = (math.pi * Boltzmann / elementary_charge) ** 2 / 3.0  # V^2/K^2
_SOLID_ANGLE = 2.0 * math.pi * (1.0 - math.cos(TAYLOR_HALF_ANGLE))


def joule_rise(
    current: float,
    *,
    radius: float,
    temperature: float,
    resistivity: float = GREATEST_RESISTIVITY,
) -> float:
    """Greatest rise of temperature at the apex by the current's own heat, [K].

    Parameters
    ----------
    current : float
        Of one cone, >= 0, [A].
    radius : float
        Of the apex, > 0, [m].
    temperature : float
        Of the liquid far from it, > 0, [K].
    resistivity : float
        Of the liquid, > 0, [ohm m].

    Raises
    ------
    ValueError
        The current is negative, or another quantity not positive.
    """
    if not (current >= 0.0 and radius > 0.0 and temperature > 0.0 and resistivity > 0.0):
        raise ValueError(
            f"current {current} must not be negative; radius {radius}, temperature {temperature} "
            f"and resistivity {resistivity} must be positive"
        )
    voltage = current * resistivity / (_SOLID_ANGLE * radius)
    return math.hypot(temperature, voltage / math.sqrt(_LORENZ)) - temperature
