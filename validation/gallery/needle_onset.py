"""The main job from Python: `assess` a needle before a plane.

Expected: at the tip the field stress balances the surface tension, eps0 E^2 / 2 = 2 gamma / R
(G. I. Taylor, Proc R Soc A 280, 383 (1964)); the voltage is below that of a hyperboloid before a
plane, sqrt(gamma R / eps0) ln(4 d / R) (textbook), by a quarter or so, because the shank of this
needle is slimmer and the chamber's wall pulls too.
"""

from __future__ import annotations

import math

from scipy.constants import epsilon_0

from conegap.solver.assessment import assess
from conegap.validation.gallery.compared import compared
from conegap.validation.gallery.plain_needle import plain_needle


def main() -> bool:
    """Assess without the scans over gap and radius."""
    found = assess(plain_needle(), scans=False)
    radius, gap, gamma = 10e-6, 1e-3, found.onset.rigid.surface_tension
    field = math.sqrt(4.0 * gamma / (epsilon_0 * radius))
    voltage = math.sqrt(gamma * radius / epsilon_0) * math.log(4.0 * gap / radius)
    print(f"band {found.emission.first.low:.0f} to {found.emission.first.high:.0f} V, k = 2")
    for row in found.review:
        print(f"  {row.state}  {row.name}")
    return all(
        [
            compared(
                "field at the tip at onset [V/m]", found.onset.rigid.balance_field, field, 1e-3
            ),
            compared("onset voltage [V]", found.emission.first.voltage, voltage, 0.3),
        ]
    )


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
