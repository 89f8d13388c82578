"""Electron emission of the negative electrode and the screens around it."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.constants import e, epsilon_0, hbar, m_e
from scipy.integrate import quad
from scipy.special import ellipe, ellipk

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.solver.field.solution import SurfaceField
from conegap.solver.operation.breakdown import (
    CLUMP_CONSTANT,
    PASCHEN_MINIMUM,
    breakdown_rows,
    paschen_pressure,
)
from conegap.solver.operation.electron_emission import (
    FIRST_CONSTANT,
    IMAGE_CONSTANT,
    SECOND_CONSTANT,
    barrier_correction,
    current_density,
    decay_correction,
    electron_current,
    scaled_field,
)
from conegap.solver.operation.review import AcceleratorField


def exact_barrier(f: float) -> float:
    """v(f) by complete elliptic integrals of the parameter, Murphy and Good (1956)."""
    y = math.sqrt(f)
    m = (1.0 - y) / (1.0 + y)
    return math.sqrt(1.0 + y) * float(ellipe(m) - y * ellipk(m))


def surface(points: np.ndarray, field: np.ndarray) -> SurfaceField:
    """A field along a chain of points."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    arc = np.concatenate([[0.0], np.cumsum(steps)])
    return SurfaceField(points, arc, field, np.zeros(len(points)))


def test_constants() -> None:
    """TABLE (R. G. Forbes, second source of the three constants; digits from CODATA)."""
    assert_allclose(FIRST_CONSTANT / e, 1.5414339e-6, rtol=5e-8)
    assert_allclose(SECOND_CONSTANT * e**1.5, 6.8308896e9, rtol=5e-8)
    assert_allclose(IMAGE_CONSTANT / e**2, 1.4399645e-9, rtol=5e-8)


@pytest.mark.parametrize(
    ("phi", "field", "f", "v", "density"),
    [
        (4.5, 2e9, 0.14222, 0.81155, 4.158),
        (4.5, 3e9, 0.21333, 0.73174, 3.514e5),
        (4.5, 5e9, 0.35555, 0.58317, 3.794e9),
        (4.5, 7e9, 0.49777, 0.44436, 2.316e11),
        (2.14, 1e9, 0.31443, 0.62494, 1.016e6),
    ],
)
def test_printed_values(phi: float, field: float, f: float, v: float, density: float) -> None:
    """TABLE (independent program, v of 5 V/nm at 4.5 eV also by Forbes: 0.58)."""
    scaled = scaled_field(np.array([field]), phi * e)
    assert_allclose(scaled, f, rtol=0, atol=6e-6)
    assert_allclose(barrier_correction(scaled), v, rtol=0, atol=6e-6)
    assert_allclose(current_density(np.array([field]), phi * e), density, rtol=5e-4)


def test_barrier_against_elliptic_integrals_and_the_barrier_itself() -> None:
    """EXACT: elliptic form equals the action integral; the approximation is within 0.0024."""
    for f in (0.1, 0.35, 0.8):
        # Barrier 1 - x - f / (4 x) in units of phi and phi / (e F), between its zeros.
        low, high = (1.0 - math.sqrt(1.0 - f)) / 2.0, (1.0 + math.sqrt(1.0 - f)) / 2.0
        action, _ = quad(lambda x, f=f: math.sqrt(max(1.0 - x - f / (4.0 * x), 0.0)), low, high)
        assert_allclose(1.5 * action, exact_barrier(f), rtol=1e-6)
    f = np.linspace(0.001, 0.999, 999)
    error = np.abs(barrier_correction(f) - np.array([exact_barrier(x) for x in f]))
    assert 0.0023 < error.max() < 0.0024
    assert_allclose(barrier_correction(np.array([0.0, 1.0])), [1.0, 0.0], atol=1e-12)


def test_decay_correction_follows_from_the_barrier() -> None:
    """EXACT: t = v - (4/3) f dv/df, by differences."""
    f, step = np.linspace(0.05, 0.95, 19), 1e-5
    slope = (barrier_correction(f + step) - barrier_correction(f - step)) / (2.0 * step)
    wanted = barrier_correction(f) - 4.0 / 3.0 * f * slope
    assert_allclose(decay_correction(f), wanted, rtol=1e-8)


def test_tunnelling_exponent_from_the_schroedinger_equation() -> None:
    """EXACT: b phi^1.5 / F is the WKB action of a triangular barrier, integrated here."""
    phi, field = 4.5 * e, 3e9
    width = phi / (e * field)
    action, _ = quad(lambda x: 2.0 * math.sqrt(2.0 * m_e * (phi - e * field * x)) / hbar, 0, width)
    assert_allclose(SECOND_CONSTANT * phi**1.5 / field, action, rtol=1e-7)
    assert_allclose(IMAGE_CONSTANT, e**3 / (4.0 * math.pi * epsilon_0), rtol=1e-15)


def test_even_field_gives_density_times_area() -> None:
    """EXACT: sphere, cylinder per depth, mirrored half; outward field emits nothing."""
    angle = np.linspace(-math.pi / 2.0, math.pi / 2.0, 401)
    half_circle = 1e-3 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    field = np.full(401, -6e7)
    phi = 4.5 * e
    density = float(current_density(np.array([50.0 * 6e7]), phi)[0])
    ball = electron_current(
        surface(half_circle, field), work_function=phi, protrusion_factor=50.0, depth=None
    )
    assert_allclose(ball.current, density * 4.0 * math.pi * 1e-6, rtol=2e-5)
    assert_allclose(ball.greatest_density, density, rtol=1e-12)
    bar = electron_current(
        surface(half_circle, field),
        work_function=phi,
        protrusion_factor=50.0,
        depth=0.01,
        mirrored=True,
    )
    assert_allclose(bar.current, density * 2.0 * math.pi * 1e-3 * 0.01, rtol=2e-5)
    other_way = electron_current(
        surface(half_circle, -field), work_function=phi, protrusion_factor=50.0, depth=None
    )
    assert other_way.current == 0.0


def test_outlines_that_follow_each_other_are_not_joined() -> None:
    """EXACT: two closed squares far apart carry twice the current of one, no bridge between."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]) * 1e-4
    both = np.vstack([square, square + np.array([0.05, 0.0])])
    arguments = {"work_function": 2.14 * e, "protrusion_factor": 20.0, "depth": 1.0}
    one = electron_current(surface(square, np.full(5, -5e7)), **arguments)  # type: ignore[arg-type]
    two = electron_current(surface(both, np.full(10, -5e7)), **arguments)  # type: ignore[arg-type]
    assert one.current > 0.0
    assert_allclose(two.current, 2.0 * one.current, rtol=1e-12)


def test_varying_field_against_quadrature() -> None:
    """RATE: a Gaussian field along a strip against adaptive quadrature; second order, 0.1 %."""

    def law(s: float) -> float:
        field = 50.0 * 1.5e7 * math.exp(-((s / 4e-4) ** 2))
        return float(current_density(np.array([field]), 2.14 * e)[0])

    wanted, _ = quad(law, -1e-3, 1e-3, epsrel=1e-9)
    errors = []
    for count in (201, 401):
        x = np.linspace(-1e-3, 1e-3, count)
        strength = 1.5e7 * np.exp(-((x / 4e-4) ** 2))
        found = electron_current(
            surface(np.stack([x, 0.0 * x], axis=1), -strength),
            work_function=2.14 * e,
            protrusion_factor=50.0,
            depth=1.0,
        )
        errors.append(abs(found.current / wanted - 1.0))
    assert errors[1] < 1e-3
    assert 3.5 < errors[0] / errors[1] < 4.5


def test_a_barrier_that_is_gone_is_told() -> None:
    """INVARIANT: f above 1 is marked, and the density goes on rising."""
    points = np.array([[0.0, 0.0], [1e-3, 0.0]])
    found = electron_current(
        surface(points, np.full(2, -2e8)), work_function=2.14 * e, protrusion_factor=50.0, depth=1.0
    )
    assert not found.barrier_stands
    values = current_density(np.array([2e9, 4e9, 1e10]), 2.14 * e)
    assert np.all(np.diff(values) > 0.0)


@pytest.mark.parametrize(("factor", "depth"), [(0.5, 1.0), (50.0, 0.0)])
def test_refusals(factor: float, depth: float) -> None:
    """EXACT: a factor below one and a depth of zero are refused."""
    points = np.array([[0.0, 0.0], [1e-3, 0.0]])
    with pytest.raises(ValueError, match="factor" if factor < 1.0 else "depth"):
        electron_current(
            surface(points, np.zeros(2)), work_function=e, protrusion_factor=factor, depth=depth
        )
    with pytest.raises(ValueError, match="work function"):
        current_density(np.zeros(2), 0.0)


def test_clump_limit_is_the_lower_end_of_the_published_range() -> None:
    """TABLE (L. Cranberg, 1952): 20 kV at 0.2 mm and 7 MV at 6 m; 45 kV at 1 mm."""
    ends = [20e3**2 / 0.2e-3, 7e6**2 / 6.0]
    assert_allclose(ends, [2.0e12, 8.2e12], rtol=5e-3)
    assert min(ends) == pytest.approx(CLUMP_CONSTANT)
    assert_allclose(math.sqrt(CLUMP_CONSTANT * 1e-3), 45e3, rtol=8e-3)


_ACCELERATOR = AcceleratorField(at_onset=2e6, at_design=2.5e6, position=(1e-3, 1e-3))


def _rows(extra: str, highest: float = 4e3) -> dict[str, bool | None]:
    design = Design.from_text(starter("needle") + extra)
    return {row.name: row.passed for row in breakdown_rows(design, highest, _ACCELERATOR)}


def test_clumps_are_judged_by_voltage_times_local_field() -> None:
    """EXACT: in an even gap V E is V^2 / d; where the accelerator's field is uneven its greatest
    value counts, whatever the mean (Cranberg, 1952: charge per area eps0 E times V)."""
    design = Design.from_text(starter("needle"))
    even = replace(_ACCELERATOR, at_design=design.voltage / 1e-3)
    row = breakdown_rows(design, 45e3, even)[0]
    assert_allclose(row.value, 45e3**2 / 1e-3, rtol=1e-12)
    sharp = replace(_ACCELERATOR, at_design=1.01 * CLUMP_CONSTANT / design.voltage)
    assert breakdown_rows(design, 0.0, sharp)[0].passed is False


def test_insulator_screens() -> None:
    """EXACT: 5 kV along 10 mm is 0.5 kV/mm and passes, along 9.9 mm not; shield as stated."""
    mean = "mean field along the insulator's surface"
    shield = "triple junctions left unshielded"
    assert mean not in _rows("")
    assert shield not in _rows("")
    long = _rows('[insulator]\nsurface_length = "10 mm"\ntriple_junction_shielded = true\n')
    assert long[mean]
    assert long[shield]
    short = _rows('[insulator]\nsurface_length = "9.9 mm"\ntriple_junction_shielded = false\n')
    assert not short[mean]
    assert not short[shield]
    own = _rows('[insulator]\nsurface_length = "5 mm"\nvoltage = "2 kV"\n')
    assert own[mean]
    with refused("insulator.surface_length"):
        Design.from_text(starter("needle") + '[insulator]\nvoltage = "2 kV"\n')


@pytest.mark.parametrize(
    ("volts", "word", "passed"),
    [
        (5e3, "assessed above 5 kV", True),
        (9e3, "to be assessed at this voltage", True),
        (15e3, "to be assessed and surveyed", True),
        (25e3, "surveyed and shielded at this", False),
    ],
)
def test_xray_steps(volts: float, word: str, passed: bool) -> None:
    """TABLE (common practice): 5, 10 to 15 and 20 to 30 kV."""
    design = Design.from_text(starter("needle"))
    rows = breakdown_rows(design, volts, _ACCELERATOR)
    row = next(r for r in rows if "X-ray" in r.name)
    assert word in row.basis
    assert row.passed == passed


def test_xrays_come_from_any_pair_of_electrodes() -> None:
    """EXACT: a chamber at 21 kV stands 22 kV above the accelerator, whatever the gap has; emitter
    and accelerator both far below earth count against it."""
    for changes, greatest in (
        ({"chamber": 21e3}, 22e3),
        ({"emitter": -20e3, "accelerator": -25e3}, 25e3),
    ):
        design = Design.from_text(starter("needle"))
        for key, volts in sorted(changes.items()):
            design = design.with_value(f"voltages.{key}", volts)
        row = next(r for r in breakdown_rows(design, 4e3, _ACCELERATOR) if "X-ray" in r.name)
        assert row.value == greatest
        assert row.passed is False


@pytest.mark.slow
def test_bad_design_fails_for_the_right_reasons(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: knife-edged accelerator, small slot, weak supply: these rows, no others."""
    from conegap.solver.assessment import assess

    text = re.sub(r', tolerance = "[^"]*"', "", starter("slit"))
    changes = {
        r'edge_radius = \{ value = "0.15 mm"': 'edge_radius = { value = "5 um"',
        r'slot_width = \{ value = "2.6 mm"': 'slot_width = { value = "0.15 mm"',
        r'thickness = "0.4 mm"': 'thickness = "50 um"',
        r'voltage_limit = "15 kV"': 'voltage_limit = "6.5 kV"',
        r'current_limit = "2 mA"': 'current_limit = "20 uA"',
    }
    for old, new in changes.items():
        text, count = re.subn(old, new, text)
        assert count == 1, old
    # The slit's ends have tests of their own.
    monkeypatch.setattr("conegap.solver.assessment.slit_end_or_why", lambda *_, **__: (None, ()))
    bad = assess(Design.from_text(text), scans=False, criterion="rigid")
    failed = {row.name for row in bad.review if row.passed is False}
    assert {
        "highest onset against the supply",
        "voltage of the design against the supply",
        "highest onset against the ramp limit",
        "field on the accelerator's edge",
        "electron current, accelerator coated with caesium",
        "share of the beam that lands on the accelerator",
        "beam half-width / available aperture half-width",
    } == failed
    # The upper end of the onset's band lies above the supply: the gap may draw nothing.
    rows = {row.name: row for row in bad.review}
    assert rows["current that the gap would draw against the supply"].passed is None
    assert bad.beam is not None
    assert bad.beam.intercepted > 0.5
    assert bad.as_dict()["operation"]["intercepted_fraction"] == bad.beam.intercepted
    parallel = bad.operation.operating.thrust
    assert parallel is not None
    assert bad.thrust == pytest.approx(parallel * bad.beam.thrust_share)
    assert any("narrow against the gap" in warning for warning in bad.warnings)
    assert bad.operation.electrode.contaminated is not None
    assert bad.operation.electrode.heat > 0.0


@pytest.mark.slow
def test_offset_slit_fails_for_the_right_reasons(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: a slot moved by a quarter of its width fails for its near edge and the beam."""
    from conegap.solver.assessment import assess

    text = re.sub(r', tolerance = "[^"]*"', "", starter("slit"))
    text, count = re.subn('lateral_offset = "0 um"', 'lateral_offset = "0.6 mm"', text)
    assert count == 1
    # The slit's ends have tests of their own.
    monkeypatch.setattr("conegap.solver.assessment.slit_end_or_why", lambda *_, **__: (None, ()))
    bad = assess(Design.from_text(text), scans=False, criterion="rigid")
    assert {row.name for row in bad.review if row.passed is False} == {
        "electron current, accelerator coated with caesium",
        "share of the beam that lands on the accelerator",
        "beam half-width / available aperture half-width",
    }


def test_paschen_pressure() -> None:
    """EXACT: Townsend's coefficient A p exp(-B p / E) grows an avalanche of ln(1 + 1 / g) at the
    pressure found; 760 Pa at 1 mm at the least voltage (327 V at 7.5 um and one atmosphere)."""
    least, product = PASCHEN_MINIMUM
    assert_allclose(product, 101325.0 * 7.5e-6, rtol=5e-3)
    assert_allclose(paschen_pressure(least * 1.000001, 1e-3), 760.0, rtol=3e-3)
    growth = math.log(1.0 + 1.0 / 0.01)
    first = math.e * growth / product  # A, from the minimum at p d = e growth / A
    second = least * first / (math.e * growth)  # B, from the voltage there
    for volts in (5e2, 5e3, 2e4):
        pressure = paschen_pressure(volts, 2e-3)
        grown = first * pressure * 2e-3 * math.exp(-second * pressure * 2e-3 / volts)
        assert_allclose(grown, growth, rtol=1e-6)
        assert_allclose(paschen_pressure(volts, 4e-3), pressure / 2.0, rtol=1e-9)
    with pytest.raises(ValueError, match="300"):
        paschen_pressure(300.0, 1e-3)
