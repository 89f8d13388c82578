"""Balance of field stress and surface tension, classic onset formulas and surface waves."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.solver.onset.closed_forms import (
    capillary_onset,
    classic_estimate,
    needle_onset,
    planar_edge_onset,
)
from conegap.solver.onset.surface_balance import (
    balance_field,
    field_stress,
    surface_wave_field,
    surface_wave_spacing,
)
from conegap.validation.exact.fields import hyperboloid_field, planar_hyperbola_field

GALLIUM, INDIUM, CAESIUM, MERCURY = 0.718, 0.556, 0.069, 0.485


def test_stress_balances_tension_and_pressure() -> None:
    """EXACT: eps0 E^2 / 2 + p = gamma kappa at the balance field."""
    for pressure in (-3e4, 0.0, 2e4):
        field = balance_field(surface_tension=0.5, curvature=1e5, pressure=pressure)
        assert_allclose(field_stress(field) + pressure, 0.5 * 1e5, rtol=1e-14, atol=0)


def test_stress_of_a_round_field() -> None:
    """EXACT: 1e8 V/m pulls with 44.27 kPa, and an inward field as hard as an outward one."""
    assert_allclose(field_stress(1e8), 44270.94, rtol=1e-6, atol=0)
    assert field_stress(-1e8) == field_stress(1e8)


def test_gallium_drop_of_ten_micrometres() -> None:
    """TABLE (Rayleigh, Phil Mag 14, 184, 1882): E = 2 sqrt(gamma / (eps0 R)) = 1.801e8 V/m."""
    field = balance_field(surface_tension=GALLIUM, curvature=2.0 / 10e-6)
    assert_allclose(field, 1.801e8, rtol=3e-4, atol=0)


def test_undeformed_hemisphere() -> None:
    """EXACT: eps0 (3 E0)^2 / 2 = 2 gamma / a gives sqrt(W) = 2/3."""
    radius, gamma = 7e-6, 0.4
    uniform = balance_field(surface_tension=gamma, curvature=2.0 / radius) / 3.0
    assert_allclose(math.sqrt(epsilon_0 * uniform**2 * radius / gamma), 2.0 / 3.0, rtol=1e-12)


def test_undeformed_ridge() -> None:
    """EXACT: a half cylinder doubles the field and balances at W = 1/2."""
    radius, gamma = 7e-6, 0.4
    uniform = balance_field(surface_tension=gamma, curvature=1.0 / radius) / 2.0
    assert_allclose(epsilon_0 * uniform**2 * radius / gamma, 0.5, rtol=1e-12, atol=0)


def test_field_on_a_cone() -> None:
    """TABLE (Taylor, Proc R Soc A 280, 383, 1964): 1.3118206 sqrt(gamma/(eps0 r)) at 49.29 deg."""
    slant = 10e-9
    curvature = 1.0 / (math.tan(math.radians(49.2900893)) * slant)
    field = balance_field(surface_tension=GALLIUM, curvature=curvature)
    assert_allclose(field / math.sqrt(GALLIUM / (epsilon_0 * slant)), 1.3118206, rtol=1e-7, atol=0)
    assert_allclose(field, 3.736e9, rtol=2e-4, atol=0)


def test_balance_scales_with_tension_and_curvature() -> None:
    """INVARIANT: E goes with the square root of tension and of curvature."""
    one = balance_field(surface_tension=0.1, curvature=1e5)
    assert_allclose(balance_field(surface_tension=0.4, curvature=1e5), 2.0 * one, rtol=1e-14)
    assert_allclose(balance_field(surface_tension=0.1, curvature=9e5), 3.0 * one, rtol=1e-14)


def test_pressure_lowers_the_field() -> None:
    """EXACT: at 3/4 of the pressure that surface tension holds the field is half."""
    bare = balance_field(surface_tension=0.5, curvature=1e5)
    fed = balance_field(surface_tension=0.5, curvature=1e5, pressure=0.75 * 5e4)
    assert_allclose(fed, 0.5 * bare, rtol=1e-14, atol=0)


@pytest.mark.parametrize("pressure", [5e4, 6e4])
def test_flooding_is_refused(pressure: float) -> None:
    """EXACT: a feed pressure equal to gamma kappa or above floods without voltage."""
    with refused("liquid.feed_pressure"):
        balance_field(surface_tension=0.5, curvature=1e5, pressure=pressure)


@pytest.mark.parametrize("curvature", [0.0, -1e5])
def test_flat_or_hollow_edge_is_refused(curvature: float) -> None:
    """EXACT: a surface that is not convex has no rigid balance, whatever the pressure."""
    with refused("", f"{curvature:.3g} 1/m"):
        balance_field(surface_tension=0.5, curvature=curvature, pressure=-1e6)


@pytest.mark.parametrize(
    ("radius", "exact", "logarithmic"),
    [(1e-6, 2361.0, 2362.0), (5e-6, 4247.0, 4256.0), (25e-6, 7155.0, 7226.0)],
)
def test_gallium_needle_at_one_millimetre(radius: float, exact: float, logarithmic: float) -> None:
    """EXACT: rigid onset of a hyperboloid, evaluated independently: 2361, 4247, 7155 V."""
    field = balance_field(surface_tension=GALLIUM, curvature=2.0 / radius)
    per_volt = hyperboloid_field(voltage=1.0, radius=radius, gap=1e-3)
    assert_allclose(field / per_volt, exact, rtol=0, atol=0.5)
    found = needle_onset(surface_tension=GALLIUM, radius=radius, gap=1e-3)
    assert_allclose(found, logarithmic, rtol=0, atol=0.5)


@pytest.mark.parametrize(("ratio", "short"), [(10.0, 0.0341), (100.0, 0.00414), (1000.0, 0.000439)])
def test_logarithm_is_low_by_the_known_shares(ratio: float, short: float) -> None:
    """EXACT: the logarithmic field is 3.41, 0.414 and 0.0439 % low, so the onset is high."""
    radius = 5e-6
    field = balance_field(surface_tension=1.0, curvature=2.0 / radius)
    exact = field / hyperboloid_field(voltage=1.0, radius=radius, gap=ratio * radius)
    found = needle_onset(surface_tension=1.0, radius=radius, gap=ratio * radius)
    assert_allclose(1.0 - exact / found, short, rtol=3e-3, atol=0)


@pytest.mark.parametrize(
    ("gamma", "sharp", "blunt"),
    [(CAESIUM, 6.20e3, 5.65e3), (INDIUM, 17.60e3, 16.03e3), (GALLIUM, 20.00e3, 18.22e3)],
)
def test_planar_edge_at_one_millimetre(gamma: float, sharp: float, blunt: float) -> None:
    """EXACT: the hyperbolic edge's onset stays finite as R goes to zero; kilovolts as tabled."""
    found = [planar_edge_onset(surface_tension=gamma, radius=r, gap=1e-3) for r in (1e-15, 20e-6)]
    assert_allclose(found, [sharp, blunt], rtol=0, atol=6.0)
    limit = 0.5 * math.pi * math.sqrt(2.0 * gamma * 1e-3 / epsilon_0)
    assert_allclose(found[0], limit, rtol=1e-6, atol=0)


def test_planar_edge_onset_is_balance_over_field() -> None:
    """EXACT: the closed form equals 1/R balanced against the confocal hyperbola's field."""
    field = balance_field(surface_tension=0.3, curvature=1.0 / 4e-6)
    per_volt = planar_hyperbola_field(voltage=1.0, radius=4e-6, gap=2e-4)
    found = planar_edge_onset(surface_tension=0.3, radius=4e-6, gap=2e-4)
    assert_allclose(found, field / per_volt, rtol=1e-13, atol=0)


def test_capillary_prefactor() -> None:
    """TABLE (Smith, IEEE Trans Ind Appl IA-22, 527, 1986): A = 0.667 is 0.7618 of the needle's."""
    sizes = {"surface_tension": 0.3, "radius": 25e-6, "gap": 1e-3}
    assert_allclose(capillary_onset(**sizes) / needle_onset(**sizes), 0.7618, rtol=1e-4, atol=0)


@pytest.mark.parametrize("formula", [needle_onset, capillary_onset, planar_edge_onset])
def test_classic_onsets_scale(formula: Callable[..., float]) -> None:
    """INVARIANT: V goes with the square root of tension, and of length with all lengths."""
    one = formula(surface_tension=0.2, radius=5e-6, gap=1e-3)
    tension = formula(surface_tension=0.8, radius=5e-6, gap=1e-3)
    length = formula(surface_tension=0.2, radius=45e-6, gap=9e-3)
    assert_allclose([tension, length], [2.0 * one, 3.0 * one], rtol=1e-13, atol=0)


@pytest.mark.parametrize(
    ("gamma", "micrometres"),
    [(CAESIUM, 7.345), (INDIUM, 59.18), (GALLIUM, 76.43), (MERCURY, 51.63)],
)
def test_wave_spacing_at_a_round_field(gamma: float, micrometres: float) -> None:
    """TABLE (Tonks, Phys Rev 48, 562, 1935): fastest wave at 1e8 V/m for four metals."""
    found = surface_wave_spacing(surface_tension=gamma, field=1e8)
    assert_allclose(found, micrometres * 1e-6, rtol=2e-4, atol=0)


def test_wave_is_the_fastest_of_its_dispersion() -> None:
    """EXACT: eps0 E^2 k^2 - gamma k^3 is greatest at the wave number of the spacing."""
    gamma, field = 0.5, 8e7
    k = 2.0 * math.pi / surface_wave_spacing(surface_tension=gamma, field=field)

    def growth(wave_number: float) -> float:
        return epsilon_0 * field**2 * wave_number**2 - gamma * wave_number**3

    assert growth(k) > max(growth(0.999 * k), growth(1.001 * k))


def test_sites_on_a_bare_edge_at_onset() -> None:
    """EXACT: at the planar rigid onset the flat-surface wave is 3 pi / 2 radii long."""
    radius = 3e-6
    field = balance_field(surface_tension=0.07, curvature=1.0 / radius)
    spacing = surface_wave_spacing(surface_tension=0.07, field=field)
    assert_allclose(spacing / radius, 1.5 * math.pi, rtol=1e-13, atol=0)


def test_wave_field_inverts_the_spacing() -> None:
    """INVARIANT: the field for a wavelength gives that wavelength; it falls as 1 / E^2."""
    field = surface_wave_field(surface_tension=0.5, wavelength=20e-6)
    assert_allclose(surface_wave_spacing(surface_tension=0.5, field=field), 20e-6, rtol=1e-14)
    shorter = surface_wave_spacing(surface_tension=0.5, field=2.0 * field)
    assert_allclose(shorter, 5e-6, rtol=1e-14, atol=0)


@pytest.mark.parametrize(
    ("name", "formula"),
    [("needle", "needle"), ("profile", "needle"), ("capillary", "capillary"), ("slit", "edge")],
)
def test_each_emitter_has_its_classic_formula(name: str, formula: str) -> None:
    """EXACT: the estimate is the emitter's own closed form at its own tension, radius and gap."""
    design = Design.read(name)
    found = classic_estimate(design, radius=5e-6)
    assert found is not None
    assert formula in found.name
    gamma = design.surface_tension
    form = {"needle": needle_onset, "capillary": capillary_onset, "edge": planar_edge_onset}
    wanted = form[formula](surface_tension=gamma, radius=5e-6, gap=design.gap)
    assert found.voltage == wanted
    # Every shipped gap has an opening in its accelerator.
    assert not found.within
    assert any("opening" in words for words in found.departures)


def _before_a_plane(name: str, **changes: str) -> Design:
    """A starter before an unbroken plane, with some lines changed."""
    text = starter(name)
    first, rest = text.split("[accelerator]\n")
    text = f'{first}[accelerator]\nkind = "plane"\ngap = "1 mm"\n\n{rest[rest.index("[liquid]") :]}'
    for key, value in changes.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
        assert count == 1, key
    return Design.from_text(text)


def test_each_departure_names_its_side() -> None:
    """EXACT: each departure stands alone with its side.  More metal beside the edge and less in
    front of it take field (maximum principle, textbook); a pressure outward lowers the onset."""
    quiet = {"feed_pressure": '"0 Pa"'}
    thin = _before_a_plane("capillary", outer_diameter='"55 um"', rim_radius='"1 um"', **quiet)
    cases = (
        (thin, 25e-6, []),
        (
            _before_a_plane("capillary", rim_radius='"1 um"', **quiet),
            25e-6,
            ["the true onset is higher"],
        ),
        (thin.with_value("liquid.feed_pressure", 1e4), 25e-6, ["the true onset is lower"]),
        (thin.with_value("liquid.feed_pressure", -1e4), 25e-6, ["the true onset is higher"]),
        (_before_a_plane("needle"), 4.5e-6, []),
        (_before_a_plane("needle", half_angle='"25 deg"'), 4.5e-6, ["the true onset is higher"]),
        (_before_a_plane("needle"), 1e-3 / 9.9, ["the true onset higher"]),
        (_before_a_plane("slit"), 3e-6, ["the true onset is higher", "may be lower"]),
    )
    for design, radius, sides in cases:
        found = classic_estimate(design, radius=radius)
        assert found is not None
        assert len(found.departures) == len(sides), found.departures
        assert all(w.endswith(s) for w, s in zip(found.departures, sides, strict=True))


def test_classic_estimate_knows_its_range() -> None:
    """EXACT: no estimate for a sharp edge; outside its range the needle formula says so."""
    needle = _before_a_plane("needle")
    assert classic_estimate(needle, radius=0.0) is None
    for ratio, within in ((10.01, True), (9.99, False)):
        found = classic_estimate(needle, radius=needle.gap / ratio)
        assert found is not None
        assert found.within is within
    blunt = classic_estimate(
        needle.with_value("emitter.half_angle", math.radians(25.0)), radius=5e-6
    )
    assert blunt is not None
    assert not blunt.within
