"""Emission from its equations, checked without the solver."""

from __future__ import annotations

import math

from numpy.testing import assert_allclose
from scipy.constants import atomic_mass, elementary_charge, epsilon_0
from scipy.special import ellipe, ellipk

from conegap.validation.exact.emission import (
    barrier_top_field,
    pull_limited_current,
    tunnel_exponent,
    tunnelled_current,
)
from conegap.validation.exact.ridge import fastest_wave, growth

PHI = 4.5 * elementary_charge


def test_exponent_is_that_of_elliptic_integrals() -> None:
    """EXACT: the action through the barrier is v = sqrt(1 + y)(E(m) - y K(m)), substituted."""
    top = barrier_top_field(PHI)
    # Without the image the barrier is a triangle: 2/hbar (2/3) sqrt(2 m) phi^(3/2) / (e F).
    triangle = tunnel_exponent(1e-7 * top, PHI) * 1e-7
    for f in (0.1, 0.4, 0.9):
        y = math.sqrt(f)
        m = (1.0 - y) / (1.0 + y)
        v = math.sqrt(1.0 + y) * (ellipe(m) - y * ellipk(m))
        assert_allclose(tunnel_exponent(f * top, PHI) * f / triangle, v, rtol=2e-6)


def test_field_that_ends_the_barrier() -> None:
    """EXACT: 4 pi eps0 phi^2 / e^3, 14.06 V/nm for 4.5 eV."""
    exact = 4.0 * math.pi * epsilon_0 * PHI**2 / elementary_charge**3
    assert_allclose(barrier_top_field(PHI), exact, rtol=1e-12)
    assert_allclose(exact, 14.06e9, rtol=1e-3)


def test_current_grows_by_the_exponent() -> None:
    """INVARIANT: between two fields the current grows as exponent and square of the field."""
    low, high = tunnelled_current(3e9, PHI), tunnelled_current(3.3e9, PHI)
    exponent = tunnel_exponent(3e9, PHI) - tunnel_exponent(3.3e9, PHI)
    assert_allclose(math.log(high / low), exponent + 2.0 * math.log(1.1), rtol=0.02)


def test_weak_space_charge_has_a_factor_of_four_thirds() -> None:
    """EXACT: pull lost is (4/3) I sqrt(m V / 2 e), so the current per excess is 1.5 pull / that."""
    mass, voltage, pull = 70.0 * atomic_mass, 5e3, 1e-5
    found = pull_limited_current(voltage * (1.0 + 1e-5), onset_voltage=voltage, onset_pull=pull,
                                 gap=1e-3, mass=mass)  # fmt: skip
    exact = 1.5 * pull * math.sqrt(2.0 * elementary_charge / (mass * voltage)) * 1e-5
    assert_allclose(found, exact, rtol=1e-4)


def test_rayleigh_jet() -> None:
    """TABLE (Rayleigh, 1879, from memory): a jet's fastest wave is 9.02 radii long or 4.51 wide."""
    assert_allclose(math.pi / fastest_wave(stress=0.0), 4.51, atol=5e-3, rtol=0)
    assert abs(growth(wave_number=1.0, stress=0.0)) < 1e-9
