"""Thresholds of flat surfaces and shapes without field, checked without the solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.special import jv

from conegap.validation.boundary_elements.balance import Branch, Resolution
from conegap.validation.exact.capillarity import (
    RoundLip,
    SessileDrop,
    cap_volume_at_angle,
    rise_in_tube,
    sessile_drop,
)
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


@pytest.mark.parametrize("degrees", [20.0, 90.0, 140.0])
def test_drop_without_gravity_is_a_cap(degrees: float) -> None:
    """EXACT: contact radius, height and pressure of the spherical cap of a volume."""
    angle = math.radians(degrees)
    found = sessile_drop(angle, 1.0, 0.0)
    radius = math.pow(1.0 / cap_volume_at_angle(angle), 1.0 / 3.0)
    assert_allclose(found.radius, radius, rtol=1e-9)
    assert_allclose(found.height, radius * math.tan(0.5 * angle), rtol=1e-9)
    assert_allclose(found.pressure, 2.0 * math.sin(angle) / radius, rtol=1e-9)


def free_energy(drop: SessileDrop, contact_angle: float, bond_number: float) -> float:
    """Of surface, wetted plane and weight, in gamma l^2."""
    wet = math.cos(contact_angle) * math.pi * drop.radius**2
    return drop.area - wet + bond_number * drop.moment


@pytest.mark.parametrize("bond_number", [0.02, 1.0])
def test_energy_of_a_heavy_drop(bond_number: float) -> None:
    """EXACT: it grows by the height of the liquid with B, and by the pressure with the volume.

    The energy is least at the contact angle, so that the first power of a small B is that of
    the cap's own moment.
    """
    angle, step = math.radians(70.0), 1e-3

    def energy(volume: float, bond: float) -> float:
        return free_energy(sessile_drop(angle, volume, bond), angle, bond)

    here = sessile_drop(angle, 1.0, bond_number)
    by_weight = energy(1.0, bond_number + step) - energy(1.0, bond_number - step)
    by_volume = energy(1.0 + step, bond_number) - energy(1.0 - step, bond_number)
    assert_allclose(by_weight / (2.0 * step), here.moment, rtol=1e-6)
    assert_allclose(by_volume / (2.0 * step), here.pressure, rtol=1e-6)
    lifted = math.pi * here.radius**2 * here.pressure - bond_number * here.volume
    assert_allclose(lifted, 2.0 * math.pi * here.radius * math.sin(angle), rtol=1e-8)


def test_large_drop_is_a_puddle() -> None:
    """RATE: a puddle is 2 sin(angle / 2) / sqrt(B) high, and its rim adds as 1 over its radius."""
    angle = math.radians(70.0)
    small, large = (sessile_drop(angle, volume, 1.0) for volume in (3e2, 3e3))
    puddle = 2.0 * math.sin(0.5 * angle)
    ratio = (large.height / puddle - 1.0) / (small.height / puddle - 1.0)
    assert_allclose(ratio, small.radius / large.radius, rtol=0.05)


def test_heavy_drop_by_boundary_elements() -> None:
    """EXACT: a heavy drop of the height without field needs no field there either."""
    angle = math.radians(110.0)
    drop = sessile_drop(angle, 1.0, 0.7)
    slopes = Resolution(modes=14).slopes()
    branch = Branch("round", "moving", angle, "volume", 1.0, 0.7, slopes)
    found = branch.at(drop.height)
    assert abs(found.electric_bond_number) < 1e-7
    assert_allclose(found.pressure, drop.pressure, rtol=1e-6)
    assert_allclose(found.drop.radius, drop.radius, rtol=1e-6)


@pytest.mark.parametrize("bond_number", [0.01, 0.1])
def test_rise_in_a_tube(bond_number: float) -> None:
    """TABLE (Rayleigh, 1915, from memory): a^2 = r (h + r/3 - 0.1288 r^2/h + 0.1312 r^3/h^2)."""
    height = rise_in_tube(0.0, bond_number)
    series = height + 1.0 / 3.0 - 0.1288 / height + 0.1312 / height**2
    assert_allclose(series, 2.0 / bond_number, rtol=3e-6 if bond_number > 0.05 else 3e-9)


def test_rise_is_that_of_jurin() -> None:
    """EXACT: 2 cos(angle) / B in thin tubes, less a part of the meniscus."""
    for angle in (0.0, 0.6, 1.2):
        jurin = 2.0 * math.cos(angle) / 1e-4
        assert_allclose(rise_in_tube(angle, 1e-4), jurin, rtol=1e-4)
        assert rise_in_tube(angle, 1e-4) < jurin


@pytest.mark.parametrize("round_about_axis", [False, True])
def test_liquid_on_a_round_lip(round_about_axis: bool) -> None:
    """EXACT: the circle about a point of the axis that meets the lip at the contact angle."""
    lip = RoundLip(1.0, 0.3, 1.1, round_about_axis)
    curvatures = 2.0 if round_about_axis else 1.0
    for turn in (-1.2, -0.3, 0.15):
        contact = np.array([1.0 + 0.3 * math.sin(turn), 0.3 * (math.cos(turn) - 1.0)])
        along_lip = np.array([math.cos(turn), -math.sin(turn)])
        radius = curvatures / lip.pressure(turn)
        centre = np.array([0.0, contact[1] - math.copysign(
            math.sqrt(radius**2 - contact[0] ** 2), math.cos(1.1 + turn) * radius)])  # fmt: skip
        outward = (contact - centre) / radius
        along_liquid = np.array([outward[1], -outward[0]])
        assert_allclose(along_liquid @ along_lip, math.cos(1.1), rtol=1e-12)
        assert_allclose(centre[1] + radius, lip.height(turn), rtol=1e-12)
        assert_allclose(lip.turn(lip.pressure(turn)), turn, rtol=1e-10)
    most = minimize_scalar(lambda t: -lip.pressure(t), bounds=(-1.0, 2.0), method="bounded",
                           options={"xatol": 1e-9})  # fmt: skip
    assert_allclose(lip.last_turn, most.x, atol=1e-6)
    with pytest.raises(ValueError, match="pressure"):
        lip.turn(1.001 * lip.pressure(lip.last_turn))


def test_lip_at_its_ends() -> None:
    """EXACT: at the wall the channel's pressure of Jurin, on a sharp edge Gibbs's full range."""
    lip = RoundLip(1.0, 0.3, 0.5)
    assert_allclose(lip.pressure(-0.5 * math.pi), -math.cos(0.5) / 0.7, rtol=1e-12)
    sharp = RoundLip(1.0, 0.0, 0.5)
    assert_allclose(sharp.last_turn, 0.5 * math.pi - 0.5, rtol=1e-12)
    assert_allclose(sharp.pressure(sharp.last_turn), 1.0, rtol=1e-12)
