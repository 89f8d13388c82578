"""Charge and energy of a field.

Expected: C = 4 pi eps0 a b / (b - a) for concentric spheres, energy C V^2 / 2 (textbook).
"""

from __future__ import annotations

import math

from scipy.constants import epsilon_0

from conegap.solver.field.solution import solve_field
from conegap.validation.gallery.compared import compared
from conegap.validation.sections.axisymmetric import concentric_spheres


def main() -> bool:
    """One solve serves every set of voltages."""
    inner, outer = 10e-6, 40e-6
    solution = solve_field(concentric_spheres(inner=inner, outer=outer).section, meshes=3)
    capacitance = 4.0 * math.pi * epsilon_0 * inner * outer / (outer - inner)
    passed = []
    for volts in (100.0, 3e3):
        voltages = {"emitter": volts, "accelerator": 0.0}
        charge = solution.charge("emitter", voltages)
        energy = solution.energy(voltages)
        passed += [
            compared(f"charge at {volts:g} V [C]", charge.value, capacitance * volts, 1e-4),
            compared(f"energy at {volts:g} V [J]", energy.value, capacitance * volts**2 / 2, 1e-4),
        ]
    return all(passed)


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
