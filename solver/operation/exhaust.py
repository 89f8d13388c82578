"""Exhaust speed, specific impulse and thrust per ampere of a beam of single ions.

The exhaust energy is that from the emitter to ground, where the beam ends, not that of the whole
voltage across the gap.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import elementary_charge, g

__all__ = ["IonExhaust", "ion_exhaust"]


@dataclass(frozen=True)
class IonExhaust:
    """Figures of merit of a beam of singly charged ions, per unit where the current is unknown.

    Parameters
    ----------
    speed : float
        Exhaust speed, [m/s].
    specific_impulse : float
        Speed over standard gravity, [s].
    thrust_per_current : float
        Without divergence, [N/A].
    power_per_thrust : float
        Beam power over thrust, [W/N].
    mass_per_charge : float
        Mass flow over current, [kg/C].
    """

    speed: float
    specific_impulse: float
    thrust_per_current: float
    power_per_thrust: float
    mass_per_charge: float


def ion_exhaust(*, ion_mass: float, voltage: float) -> IonExhaust:
    """Exhaust of singly charged ions after a fall through a voltage.

    v = sqrt(2 e V / m), F / I = m v / e, P / F = e V / (m v); energy and momentum conservation.

    Parameters
    ----------
    ion_mass : float
        Mass of the ion, > 0, [kg].
    voltage : float
        Emitter against ground, > 0, [V].

    Raises
    ------
    ValueError
        Mass or voltage is not positive.
    """
    if not (ion_mass > 0.0 and voltage > 0.0):
        raise ValueError(f"ion mass {ion_mass} kg and voltage {voltage} V must be positive")
    speed = math.sqrt(2.0 * elementary_charge * voltage / ion_mass)
    thrust_per_current = ion_mass * speed / elementary_charge
    return IonExhaust(
        speed=speed,
        specific_impulse=speed / g,
        thrust_per_current=thrust_per_current,
        power_per_thrust=voltage / thrust_per_current,
        mass_per_charge=ion_mass / elementary_charge,
    )
