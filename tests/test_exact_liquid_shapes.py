"""Thresholds of flat surfaces and shapes without field, checked without the solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.special import jv

from conegap.validation.exact.flat_waves import (
    disc_threshold,
    strip_threshold,
    weber_schafheitlin,
)


@pytest.mark.parametrize(("mu", "nu"), [(2.0, 2.0), (2.0, 6.0), (1.5, 3.5), (3.0, 5.0)])
@pytest.mark.parametrize("power", [1.0, 2.0])
def test_weber_and_schafheitlin_against_quadrature(mu: float, nu: float, power: float) -> None:
    """EXACT: the closed form is the integral of two Bessel functions over a power."""
    ends = np.linspace(0.0, 2000.0, 1001)
    point, weight = np.polynomial.legendre.leggauss(12)
    t = (0.5 * (ends[:-1] + ends[1:])[:, None] + point).ravel()
    total = float(np.tile(weight, 1000) @ (jv(mu, t) * jv(nu, t) / t**power))
    # Beyond, the product is cos((mu - nu) pi / 2) / (pi t) in the mean.
    rest = math.cos(0.5 * math.pi * (mu - nu)) / math.pi / power * 2000.0**-power
    assert_allclose(weber_schafheitlin(mu, nu, power), total + rest, atol=2e-7, rtol=0)


def test_flat_thresholds_converge_from_above() -> None:
    """INVARIANT: more functions lower the threshold, by 1e-8 at last."""
    for at in (
        lambda n: disc_threshold(functions=n),
        lambda n: disc_threshold(1, functions=n),
        lambda n: strip_threshold(functions=n),
        lambda n: strip_threshold(odd=True, functions=n),
    ):
        few, some, many = at(3), at(24), at(48)
        assert few > some > many
        assert_allclose(some, many, rtol=1e-8)


def test_strip_of_one_trial_function_bounds_the_threshold() -> None:
    """EXACT: 1 - x^2 has integrals 8/3 and 4/pi, and a ratio of 2 pi / 3 above the threshold."""
    assert_allclose(strip_threshold(functions=1), 2.0 * math.pi / 3.0, rtol=1e-12)
    slope, _ = quad(lambda x: 4.0 * x**2, -1.0, 1.0)
    # Transform of 1 - x^2 is 4 (sin k - k cos k) / k^3.
    pull, _ = quad(lambda k: k * (4.0 * (math.sin(k) - k * math.cos(k)) / k**3) ** 2, 1e-6, 400.0,
                   limit=500)  # fmt: skip
    assert_allclose(slope / (pull / math.pi), 2.0 * math.pi / 3.0, rtol=1e-4)


def test_wave_of_two_lobes_is_as_strong_as_the_volume_held() -> None:
    """INVARIANT: m = 2 and m = 0 without volume share their integrals; the tilt comes first."""
    assert_allclose(disc_threshold(2), disc_threshold(volume_held=True), rtol=1e-12)
    assert disc_threshold() < disc_threshold(1) < disc_threshold(2)
