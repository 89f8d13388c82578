"""Field evaporation from its potential, and the heat that a vapour pressure law implies.

An ion of charge n at a distance x from a metal in a field F has the energy
Q_n - n e F x - (n e)^2 / (16 pi eps0 x) against its atom in the metal: the field's slope and the
image force.  Sources: textbook electrostatics; R. Clausius (1850) for the slope of the vapour
pressure.
"""

from __future__ import annotations

import math

from scipy.constants import elementary_charge, epsilon_0
from scipy.optimize import brentq, minimize_scalar

from conegap.geometries.metals.metal import Metal

__all__ = ["heat_of_vaporisation", "hump_free_field"]


def hump_free_field(energy: float, charge: int) -> float:
    """Field at which the highest energy on the way out is that of the atom, by search, [V/m].

    Parameters
    ----------
    energy : float
        Q_n, [J].
    charge : int
        n, [-].
    """
    q = charge * elementary_charge

    def hump(logarithm: float) -> float:
        field = math.exp(logarithm)

        def below(log_x: float) -> float:
            x = math.exp(log_x)
            return float(q * field * x + q**2 / (16.0 * math.pi * epsilon_0 * x))

        least = minimize_scalar(below, bracket=(math.log(1e-12), math.log(1e-8)), tol=1e-12)
        return energy - float(least.fun)

    return math.exp(brentq(hump, math.log(1e8), math.log(1e12), xtol=1e-13))


def heat_of_vaporisation(metal: Metal) -> float:
    """-k d ln p / d(1/T) at the melting point by differences, per atom, [eV].

    Parameters
    ----------
    metal : Metal
        With a vapour pressure law.
    """
    low, high = metal.melting_point, 1.02 * metal.melting_point
    ratio = float(metal.vapour_pressure(high)) / float(metal.vapour_pressure(low))
    boltzmann = 1.380649e-23 / elementary_charge
    return float(boltzmann * math.log(ratio) / (1.0 / low - 1.0 / high))
