"""Exhaust of singly charged ions."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge, g

from conegap.geometries.metals.metal import metal
from conegap.solver.operation.exhaust import ion_exhaust

# Speed m/s, specific impulse s, thrust uN/mA, power W/mN, mass kg/C at 10 kV.
TABLE = {
    "Cs": (120496.0, 12287.0, 165.98, 60.25, 1.37747e-6),
    "In": (129640.0, 13220.0, 154.27, 64.82, 1.19000e-6),
    "Ga": (166363.0, 16964.0, 120.22, 83.18, 7.2263e-7),
    "Rb": (150260.0, 15322.0, 133.10, 75.13, 8.8581e-7),
    "Hg": (98082.0, 10002.0, 203.91, 49.04, 2.07899e-6),
}


@pytest.mark.parametrize("symbol", TABLE)
def test_ten_kilovolts(symbol: str) -> None:
    """EXACT: energy and momentum of the ion, evaluated independently to the printed digits."""
    speed, impulse, thrust, power, mass = TABLE[symbol]
    found = ion_exhaust(ion_mass=metal(symbol).ion_mass, voltage=10e3)
    # Atom or ion mass: the electron is 2e-6 of the speed of gallium and less for the others.
    assert_allclose(found.speed, speed, rtol=8e-6, atol=0)
    assert_allclose(found.specific_impulse, impulse, rtol=5e-5, atol=0)
    assert_allclose(found.thrust_per_current, thrust * 1e-3, rtol=5e-5, atol=0)
    assert_allclose(found.power_per_thrust, power * 1e3, rtol=1.2e-4, atol=0)
    assert_allclose(found.mass_per_charge, mass, rtol=3e-5, atol=0)


def test_energy_is_conserved() -> None:
    """INVARIANT: m v^2 / 2 = e V, and thrust times half the speed is the beam power."""
    mass, voltage = 2e-25, 7e3
    found = ion_exhaust(ion_mass=mass, voltage=voltage)
    assert_allclose(0.5 * mass * found.speed**2, elementary_charge * voltage, rtol=1e-13, atol=0)
    assert_allclose(0.5 * found.thrust_per_current * found.speed, voltage, rtol=1e-13, atol=0)
    assert_allclose(found.power_per_thrust, 0.5 * found.speed, rtol=1e-13, atol=0)
    assert_allclose(found.specific_impulse * g, found.speed, rtol=1e-15, atol=0)


def test_scaling_with_voltage_and_mass() -> None:
    """INVARIANT: speed goes with sqrt(V / m), thrust per current with sqrt(V m)."""
    one = ion_exhaust(ion_mass=1e-25, voltage=5e3)
    high = ion_exhaust(ion_mass=1e-25, voltage=20e3)
    heavy = ion_exhaust(ion_mass=9e-25, voltage=5e3)
    assert_allclose([high.speed, heavy.speed], [2.0 * one.speed, one.speed / 3.0], rtol=1e-14)
    thrusts = [high.thrust_per_current, heavy.thrust_per_current]
    assert_allclose(thrusts, [2.0 * one.thrust_per_current, 3.0 * one.thrust_per_current])


@pytest.mark.parametrize(("mass", "voltage"), [(0.0, 1e3), (-1e-25, 1e3), (1e-25, 0.0)])
def test_no_exhaust_without_mass_and_voltage(mass: float, voltage: float) -> None:
    """EXACT: zero or negative mass or voltage is refused."""
    with pytest.raises(ValueError, match="mass"):
        ion_exhaust(ion_mass=mass, voltage=voltage)
