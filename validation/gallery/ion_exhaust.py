"""Exhaust of the singly charged ions of every metal after a fall through 5 kV.

Expected: v = sqrt(2 e V / m) (energy conservation), and thrust per current m v / e, so that the
product of thrust per current and power per thrust is the voltage.
"""

from __future__ import annotations

import math

from scipy.constants import elementary_charge

from conegap.geometries.metals.metal import metal, metal_names
from conegap.solver.operation.exhaust import ion_exhaust
from conegap.validation.gallery.compared import compared


def main() -> bool:
    """One line per metal of the library."""
    volts, passed = 5e3, []
    for symbol in metal_names():
        ion = metal(symbol)
        exhaust = ion_exhaust(ion_mass=ion.ion_mass, voltage=volts)
        print(f"  {ion.name}: {exhaust.speed / 1e3:.1f} km/s, {exhaust.specific_impulse:.0f} s")
        speed = math.sqrt(2.0 * elementary_charge * volts / ion.ion_mass)
        passed.append(math.isclose(exhaust.speed, speed, rel_tol=1e-12))
    product = exhaust.thrust_per_current * exhaust.power_per_thrust
    return all(passed) and compared("thrust/current x power/thrust [V]", product, volts, 1e-12)


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
