"""Closed forms against differencing, quadrature, literature and limits, without the solver."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0
from scipy.integrate import quad
from scipy.special import lpmv

from conegap.geometries.curves.section import electrode_of
from conegap.validation.exact import fields as exact
from conegap.validation.exact import liquid as exact_liquid
from conegap.validation.sections import catalogue as sections
from conegap.validation.sections.exact_case import ExactCase, Potential

GALLIUM = 0.718

CASES = [
    sections.hyperboloid_needle(radius=5e-6, gap=5e-5),
    sections.hyperboloid_needle(radius=1e-6, gap=5e-3, prescribed=False),
    sections.planar_hyperbola(radius=5e-6, gap=5e-5, prescribed=False),
    sections.confocal_spheroids(focal=0.9e-3, inner=1e-3, outer=1.5e-3),
    sections.confocal_ellipses(focal=0.9e-3, inner=1e-3, outer=1.5e-3),
    sections.concentric_spheres(inner=1e-3, outer=2e-3),
    sections.coaxial_cylinders(inner=1e-3, outer=2e-3),
    sections.annular_cylinder(inner=1e-3, outer=2e-3, length=1e-3),
    sections.hemisphere_boss(radius=1e-4),
    sections.half_cylinder_boss(radius=1e-4),
    sections.blade_before_slit(half_width=1e-3),
    sections.cone_with_arcs(half_angle=exact_liquid.taylor_half_angle(), inner=1e-5, outer=1e-3),
    sections.wedge_with_arcs(metal_angle=math.radians(90.0), inner=1e-5, outer=1e-3),
]
every_case = pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)


def inner_points(case: ExactCase) -> np.ndarray:
    """A few points inside the vacuum: offsets into it from the middle of each boundary."""
    found = []
    for loop in case.section.loops:
        for boundary in loop:
            t = np.array([0.31, 0.47, 0.66])
            reach = 0.03 * min(boundary.curve.length, case.section.gap)
            found.append(boundary.curve.point(t) + reach * boundary.curve.normal(t))
    return np.vstack(found)


def laplacian_excess(case: ExactCase, potential: Potential) -> float:
    """Largest Laplacian over what rounding and truncation of its differences explain, [-]."""
    points = inner_points(case)
    h = 2e-4 * case.section.gap
    weights = np.array([-1.0, 16.0, -30.0, 16.0, -1.0]) / (12.0 * h * h)
    slopes = np.array([1.0, -8.0, 0.0, 8.0, -1.0]) / (12.0 * h)
    steps = np.arange(-2, 3) * h
    total, size = np.zeros(len(points)), np.zeros(len(points))
    for axis in (0, 1):
        offset = np.zeros(2)
        offset[axis] = 1.0
        values = np.array([potential(points + s * offset) for s in steps])
        total += weights @ values
        size += np.abs(weights @ values)
        if axis == 0 and case.section.symmetry == "axisymmetric":
            total += slopes @ values / points[:, 0]
            size += np.abs(slopes @ values / points[:, 0])
    noise = 1e-15 * np.abs(potential(points)).max() / h**2
    return float(np.max(np.abs(total) / (2e-3 * size + 30.0 * noise)))


@every_case
def test_potential_satisfies_laplace(case: ExactCase) -> None:
    """INVARIANT: the Laplacian of every exact potential vanishes, by fourth-order differences."""
    assert laplacian_excess(case, case.potential) < 1.0


@every_case
def test_laplace_check_can_fail(case: ExactCase) -> None:
    """INVARIANT: the check above notices a space charge that bends the potential by a percent."""

    def bent(points: np.ndarray) -> np.ndarray:
        share = 0.01 * np.ptp(case.potential(inner_points(case)))
        return case.potential(points) + share * (points[:, 1] / case.section.gap) ** 2

    assert laplacian_excess(case, bent) > 1.0


@every_case
def test_boundaries_are_equipotentials(case: ExactCase) -> None:
    """EXACT: the drawn curves are the equipotentials of the closed form."""
    worst = max(abs(v) for v in case.voltages.values())
    t = np.linspace(0.0, 1.0, 201)
    for loop in case.section.loops:
        for boundary in loop:
            electrode = electrode_of(boundary.name)
            if electrode is not None:
                found = case.potential(boundary.curve.point(t))
                wanted = case.voltages.get(electrode, 0.0)
                assert_allclose(found, wanted, rtol=0, atol=1e-11 * worst)


@every_case
def test_edge_field_by_differencing(case: ExactCase) -> None:
    """EXACT: closed-form edge fields equal the one-sided difference of the potential."""
    for edge in case.section.edges:
        curve = case.section.loops[edge.loop][edge.index].curve
        t = np.array([edge.t])
        place, outward = curve.point(t)[0], curve.normal(t)[0]
        h = 2e-3 * edge.radius
        values = case.potential(place + np.arange(5)[:, None] * h * outward)
        slope = np.array([-25.0, 48.0, -36.0, 16.0, -3.0]) @ values / (12.0 * h)
        assert_allclose(-slope, case.edge_fields[edge.name], rtol=1e-8, atol=0)


@every_case
def test_edge_radius_is_that_of_the_curve(case: ExactCase) -> None:
    """INVARIANT: the stated edge radius is the curvature radius found by differencing points."""
    for edge in case.section.edges:
        curve = case.section.loops[edge.loop][edge.index].curve
        # Stay inside the curve, then compare with the analytic curvature at the same place.
        t = np.array([min(max(edge.t, 1e-3), 1.0 - 1e-3)])
        h = 1e-4
        before, here, after = (curve.point(t + k * h)[0] for k in (-1, 0, 1))
        first, second = (after - before) / (2 * h), (after - 2 * here + before) / h**2
        bend = (first[0] * second[1] - first[1] * second[0]) / np.hypot(*first) ** 3
        assert_allclose(curve.curvature(t)[0], bend, rtol=2e-3, atol=0)
        at_crest = curve.curvature(np.array([edge.t]))[0]
        assert_allclose(-1.0 / at_crest, edge.radius, rtol=1e-9, atol=0)


@every_case
def test_charge_by_quadrature(case: ExactCase) -> None:
    """EXACT: closed-form charge equals the integral of the differenced surface field."""
    if "emitter" not in case.charges:
        return
    axisymmetric = case.section.symmetry == "axisymmetric"
    nodes, weights = np.polynomial.legendre.leggauss(40)
    total = 0.0
    for loop in case.section.loops:
        for boundary in loop:
            if electrode_of(boundary.name) != "emitter":
                continue
            edges = np.linspace(0.0, 1.0, 21) ** 2
            for low, high in pairwise(edges):
                t = low + (high - low) * (1.0 + nodes) / 2.0
                place, out = boundary.curve.point(t), boundary.curve.normal(t)
                speed = np.hypot(*boundary.curve.derivative(t).T)
                bend = np.abs(boundary.curve.curvature(t))
                if axisymmetric:
                    bend = np.maximum(bend, np.abs(out[:, 0]) / place[:, 0])
                h = 2e-3 / np.maximum(bend, 1.0 / case.section.gap)
                values = np.array(
                    [case.potential(place + (k * h)[:, None] * out) for k in range(5)]
                )
                slope = np.array([-25.0, 48.0, -36.0, 16.0, -3.0]) @ values / (12.0 * h)
                around = 2.0 * math.pi * place[:, 0] if axisymmetric else 1.0
                total += float(-slope * speed * around @ weights) * (high - low) / 2.0
    total *= epsilon_0 * (2.0 if case.section.mirrored else 1.0)
    assert_allclose(total, case.charges["emitter"], rtol=1e-6, atol=0)


@pytest.mark.parametrize(
    ("ratio", "needle", "edge"),
    [(10, 0.561295, 0.790815), (100, 0.335194, 0.679751), (1000, 0.241243, 0.649695)],
)
def test_hyperbolas_at_printed_precision(ratio: float, needle: float, edge: float) -> None:
    """TABLE: hyperboloid E R/V and planar E sqrt(dR)/V, evaluated by an independent program."""
    field = exact.hyperboloid_field(voltage=1.0, radius=1.0, gap=ratio)
    assert_allclose(field, needle, rtol=0, atol=5e-7)
    planar = exact.planar_hyperbola_field(voltage=1.0, radius=1.0, gap=ratio)
    assert_allclose(planar * math.sqrt(ratio), edge, rtol=0, atol=5e-7)


@pytest.mark.parametrize(("ratio", "low"), [(10, 0.0341), (100, 0.00414), (1000, 0.000439)])
def test_logarithmic_form_is_low(ratio: float, low: float) -> None:
    """TABLE: shortfall of the logarithmic needle formula at three gaps."""
    shape = {"voltage": 1.0, "radius": 1.0, "gap": ratio}
    short = 1.0 - exact.hyperboloid_logarithmic_field(**shape) / exact.hyperboloid_field(**shape)
    assert_allclose(short, low, rtol=2e-3, atol=0)


def test_paraboloids_by_quadrature() -> None:
    """EXACT: on the axis 1/s integrated from focus R/2 gives the voltage."""
    radius, gap = 1.0, 100.0
    field = exact.paraboloid_field(voltage=1.0, radius=radius, gap=gap)
    drop, _ = quad(lambda s: field * (radius / 2.0) / s, radius / 2.0, radius / 2.0 + gap)
    assert_allclose(drop, 1.0, rtol=1e-9, atol=0)
    assert_allclose(field, 0.377123, rtol=0, atol=5e-7)


def test_rounded_blade_at_printed_precision() -> None:
    """TABLE: blade before a slit, a = 1 mm, H = 2, Rt = 0.05, by an independent program."""
    blade = exact.blade_before_slit(half_width=1e-3, height=2.0, mapped_radius=0.05)
    assert_allclose(blade.gap, 0.75e-3, rtol=1e-12, atol=0)
    assert_allclose(blade.radius / blade.gap, 0.0412541, rtol=0, atol=5e-8)
    assert_allclose(blade.field_per_volt * blade.gap, 2.68372, rtol=0, atol=5e-6)
    plane = exact.planar_hyperbola_field(voltage=1.0, radius=blade.radius, gap=blade.gap)
    assert_allclose(blade.field_per_volt / plane, 0.747, rtol=0, atol=5e-4)


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [(0.25, 0.4925), (0.5, 0.6687), (1.0, 0.8409), (2.0, 0.9457), (4.0, 0.9850)],
)
def test_sharp_blade_ratio_is_the_limit_of_the_rounded(ratio: float, printed: float) -> None:
    """TABLE and EXACT: slit to plane ratio, and the rounded blade tends to it as R goes to 0."""
    # Ratio of the two inverse square root singularities at the same gap and voltage.
    height = ratio + math.hypot(1.0, ratio)
    value = math.sqrt(2.0 * ratio / (height * (1.0 + height**-2)))
    assert_allclose(value, printed, rtol=0, atol=5e-5)
    blade = exact.blade_before_slit(half_width=1.0, height=height, mapped_radius=1e-10)
    plane = exact.planar_hyperbola_field(voltage=1.0, radius=blade.radius, gap=blade.gap)
    assert_allclose(blade.field_per_volt / plane, value, rtol=1e-4, atol=0)


@pytest.mark.parametrize(
    ("degrees", "printed"), [(0, -0.5), (30, -0.4545), (60, -0.4), (90, -1 / 3), (120, -0.25)]
)
def test_wedge_exponents(degrees: float, printed: float) -> None:
    """TABLE: exponents of the field at metal wedges."""
    value = exact.wedge_exponent(metal_angle=math.radians(degrees))
    assert_allclose(value, printed, rtol=0, atol=5e-5)


def test_capacitors_tend_to_round_ones() -> None:
    """INVARIANT: confocal shapes with a vanishing focal distance are spheres and cylinders."""
    shape = {"focal": 1e-5, "inner": 1.0, "outer": 2.0}
    round_shape = {"inner": 1.0, "outer": 2.0}
    assert_allclose(
        exact.confocal_spheroids_capacitance(**shape),
        exact.concentric_spheres_capacitance(**round_shape),
        rtol=1e-9,
    )
    assert_allclose(
        exact.confocal_ellipses_field(voltage=1.0, **shape),
        exact.coaxial_cylinders_field(voltage=1.0, **round_shape),
        rtol=1e-9,
    )


def test_fields_scale_as_inverse_length() -> None:
    """INVARIANT: twice the size at the same voltage halves every field."""
    one = exact.hyperboloid_field(voltage=1.0, radius=1e-6, gap=1e-3)
    two = exact.hyperboloid_field(voltage=1.0, radius=2e-6, gap=2e-3)
    assert_allclose(one, 2.0 * two, rtol=1e-12, atol=0)
    one = exact.planar_hyperbola_field(voltage=1.0, radius=1e-6, gap=1e-3)
    two = exact.planar_hyperbola_field(voltage=1.0, radius=2e-6, gap=2e-3)
    assert_allclose(one, 2.0 * two, rtol=1e-12, atol=0)


def test_taylor_angle_two_ways() -> None:
    """EXACT and TABLE: Legendre root, elliptic root and Taylor's printed 49.3 degrees."""
    angle = math.degrees(exact_liquid.taylor_half_angle())
    assert_allclose(angle, math.degrees(exact_liquid.taylor_half_angle_elliptic()), atol=1e-9)
    assert_allclose(angle, 49.2900893, rtol=0, atol=5e-8)
    assert_allclose(angle, 49.3, rtol=0, atol=0.05)


def test_legendre_half_by_its_integral() -> None:
    """EXACT: P_1/2 vanishes at Taylor's angle by the Laplace integral, not the library's series."""
    theta = math.pi - exact_liquid.taylor_half_angle()
    # Mehler-Dirichlet: P_1/2(cos t) = (sqrt 2/pi) int_0^t cos(s) / sqrt(cos s - cos t) ds
    value, _ = quad(
        lambda u: (
            math.cos(theta * (1 - u * u))
            * 2.0
            * theta
            * u
            / math.sqrt(max(math.cos(theta * (1 - u * u)) - math.cos(theta), 1e-300))
        ),
        1e-9,
        1.0,
    )
    assert abs(value) < 1e-6


def test_cone_slope_and_amplitude() -> None:
    """TABLE: slope of P_1/2 at the cone by differencing; amplitude and cone field coefficient."""
    angle = exact_liquid.taylor_half_angle()
    slope = exact_liquid.cone_polar_slope(half_angle=angle)
    h = 1e-5
    theta = math.pi - angle
    difference = (lpmv(0, 0.5, math.cos(theta + h)) - lpmv(0, 0.5, math.cos(theta - h))) / (2 * h)
    assert_allclose(slope, abs(difference), rtol=1e-8, atol=0)
    assert_allclose(slope, 0.97465975, rtol=0, atol=5e-9)
    assert_allclose(exact_liquid.taylor_amplitude(), 1.3459267, rtol=0, atol=5e-8)
    field = exact_liquid.taylor_cone_field(surface_tension=GALLIUM, distance=1e-8)
    assert_allclose(field * math.sqrt(epsilon_0 * 1e-8 / GALLIUM), 1.3118206, rtol=0, atol=5e-8)
    assert_allclose(field, 3.736e9, rtol=0, atol=5e5)


def test_cone_balance_at_the_curvature_of_a_cone() -> None:
    """EXACT: stress equals tension at 1/(r tan(alpha)), from the cone's normal to the axis."""
    angle, distance = exact_liquid.taylor_half_angle(), 1e-6
    surface = distance * np.array([math.sin(angle), -math.cos(angle)])
    normal = np.array([math.cos(angle), math.sin(angle)])
    to_axis = surface[0] / normal[0]  # the only finite principal radius
    field = exact_liquid.taylor_cone_field(surface_tension=GALLIUM, distance=distance)
    assert_allclose(0.5 * epsilon_0 * field**2, GALLIUM / to_axis, rtol=1e-12, atol=0)


def test_cone_exponent_of_a_half_space() -> None:
    """EXACT: nu(49.29 deg) = 1/2, and nu tends to 1 as the cone opens to a plane."""
    angle = exact_liquid.taylor_half_angle()
    assert_allclose(exact_liquid.cone_exponent(half_angle=angle), 0.5, rtol=1e-10, atol=0)
    assert 0.9 < exact_liquid.cone_exponent(half_angle=1.5) < 1.0


def test_rayleigh_limit() -> None:
    """TABLE: gallium drop of 10 um at the Rayleigh limit; stress equals 2 gamma / R."""
    shape = {"surface_tension": GALLIUM, "radius": 1e-5}
    field = exact_liquid.rayleigh_field(**shape)
    charge = exact_liquid.rayleigh_charge(**shape)
    assert_allclose(charge, 2.004e-12, rtol=0, atol=5e-16)
    assert_allclose(field, 1.801e8, rtol=0, atol=5e4)
    assert_allclose(0.5 * epsilon_0 * field**2, 2.0 * GALLIUM / 1e-5, rtol=1e-12, atol=0)
    assert_allclose(charge / (4.0 * math.pi * epsilon_0 * 1e-10), field, rtol=1e-12, atol=0)
    assert_allclose(exact_liquid.rayleigh_voltage(**shape), field * 1e-5, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("tension", "density", "field", "length", "site", "rate"),
    [
        (0.069, 1843.0, 2.824e6, 12.28e-3, 7.345e-6, 3.423e6),
        (0.556, 7022.0, 6.648e6, 17.85e-3, 59.18e-6, 2.177e5),
        (0.718, 6077.0, 6.836e6, 21.81e-3, 76.43e-6, 1.812e5),
        (0.485, 13546.0, 7.572e6, 12.01e-3, 51.63e-6, 1.796e5),
    ],
)
def test_surface_waves(
    tension: float, density: float, field: float, length: float, site: float, rate: float
) -> None:
    """TABLE and EXACT: critical field, wavelength, site spacing and growth of four metals."""
    wave = exact_liquid.critical_wave(surface_tension=tension, density=density, gravity=9.80665)
    assert_allclose(wave.field, field, rtol=3e-4, atol=0)
    assert_allclose(wave.wavelength, length, rtol=5e-4, atol=0)
    spacing = exact_liquid.site_spacing(surface_tension=tension, field=1e8)
    assert_allclose(spacing, site, rtol=2e-4, atol=0)
    growth = math.sqrt(4.0 * (epsilon_0 * 1e16) ** 3 / (27.0 * density * tension**2))
    assert_allclose(growth, rate, rtol=3e-4, atol=0)

    def squared(k: np.ndarray, electric_bond_number: float, gravity: float) -> np.ndarray:
        return np.array(
            [
                exact_liquid.growth_rate_squared(
                    surface_tension=tension,
                    density=density,
                    field=electric_bond_number,
                    wave_number=float(x),
                    gravity=gravity,
                )
                for x in k
            ]
        )

    waves = 2.0 * math.pi / spacing * np.linspace(0.8, 1.2, 4001)
    rates = squared(waves, 1e8, 0.0)
    assert_allclose(waves[np.argmax(rates)], 2.0 * math.pi / spacing, rtol=2e-4, atol=0)
    assert_allclose(math.sqrt(rates.max()), growth, rtol=1e-6, atol=0)
    waves = 2.0 * math.pi / wave.wavelength * np.linspace(0.5, 2.0, 3001)
    assert squared(waves, 0.9999 * wave.field, 9.80665).max() < 0.0
    assert squared(waves, 1.0001 * wave.field, 9.80665).max() > 0.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: exact.hyperboloid_field(voltage=1.0, radius=0.0, gap=1.0), "radius = 0"),
        (lambda: exact.concentric_spheres_field(voltage=1.0, inner=2.0, outer=2.0), "outer = 2"),
        (lambda: exact.wedge_exponent(metal_angle=7.0), "metal_angle = 7"),
        (lambda: exact_liquid.rayleigh_field(surface_tension=math.nan, radius=1.0), "surface"),
        (
            lambda: exact.blade_before_slit(half_width=1.0, height=1.0, mapped_radius=0.1),
            "height = 1",
        ),
    ],
)
def test_bad_arguments_are_refused(call: object, message: str) -> None:
    """INVARIANT: arguments outside their range raise, limits included, and are named."""
    with pytest.raises(ValueError, match=message):
        call()  # type: ignore[operator]
