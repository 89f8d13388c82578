"""The emitting cone: balance under its own charge, current laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge, epsilon_0
from scipy.integrate import simpson, solve_ivp

from conegap.geometries.metals.metal import metal
from conegap.solver.cone.charged_flow import ChargedCone, ChargedFlow, charged_cone, charged_flow
from conegap.solver.cone.current_law import (
    APEX_SHARE,
    NEAR_CONE_SLOPE,
    ConeSlopes,
    apex_cone_current,
    cone_current,
)
from conegap.solver.cone.taylor import TAYLOR_AXIS, TAYLOR_HALF_ANGLE, cone_voltage
from conegap.validation.boundary_elements.cone_in_gap import capillary_gap
from conegap.validation.exact.charged_cone import carried_pull
from conegap.validation.exact.liquid import taylor_half_angle


@pytest.fixture(scope="module")
def cone() -> ChargedCone:
    return charged_cone(math.radians(42.0))


@pytest.fixture(scope="module")
def flow(cone: ChargedCone) -> ChargedFlow:
    return charged_flow(cone)


def test_taylor_cone_at_no_current() -> None:
    """TABLE (G. I. Taylor, 1964): 49.29 degrees, and 1.432e3 sqrt(T R0) V in esu, dyn and cm."""
    assert_allclose(TAYLOR_HALF_ANGLE, taylor_half_angle(), rtol=1e-11)
    none = charged_cone(TAYLOR_HALF_ANGLE)
    assert none.current == 0.0
    assert none.voltage_ratio == 1.0
    # One dyn/cm and one cm; Taylor prints about 1.432e3 (from memory), the exact value is 1430.4.
    assert_allclose(cone_voltage(surface_tension=1e-3, slant_length=1e-2), 1430.37, rtol=1e-5)


def test_the_charged_cone_goes_over_into_taylors() -> None:
    """EXACT: shooting a hair below Taylor's angle finds his amplitude and hardly any current."""
    almost = charged_cone(TAYLOR_HALF_ANGLE - 1e-6)
    assert_allclose(almost.axis, TAYLOR_AXIS, rtol=3e-6)
    assert 0.0 < almost.current < 1e-4


def test_momentum_balances(cone: ChargedCone, flow: ChargedFlow) -> None:
    """INVARIANT: stress on a sphere less the ions' momentum is the pull of the surface's rim."""
    rim = 2.0 * math.pi * math.sin(cone.half_angle) * math.cos(cone.half_angle)
    assert_allclose(carried_pull(flow, cone.half_angle), rim, rtol=1e-6)
    assert_allclose(flow.potential_slope[0] ** 2, 2.0 / math.tan(cone.half_angle), rtol=1e-3)


def test_current_through_a_sphere_is_what_the_cone_gave(
    cone: ChargedCone, flow: ChargedFlow
) -> None:
    """INVARIANT: the current of the flow at unit radius is that of the cone within it."""
    root = np.sqrt(math.pi - cone.half_angle - flow.angle)
    share = flow.charge * flow.radial_velocity * np.sin(flow.angle) * 2.0 * root
    assert_allclose(2.0 * math.pi * simpson(share, x=root), cone.current, rtol=1e-7)


def test_an_ion_follows_the_flow(flow: ChargedFlow) -> None:
    """INVARIANT: Newton's equation in the found potential gives the flow's velocities."""
    angle, f = flow.angle[::-1], flow.potential[::-1]
    slope = flow.potential_slope[::-1]

    # Lengths in r0, times in r0 over the velocity; acceleration is half the gradient of r^1/2 f.
    def along(_: float, state: np.ndarray) -> list[float]:
        r, theta, radial, polar = state
        half = 0.5 * r**-0.5
        return [
            radial,
            polar / r,
            half * 0.5 * np.interp(theta, angle, f) + polar**2 / r,
            half * np.interp(theta, angle, slope) - radial * polar / r,
        ]

    at = 400
    start = [1.0, flow.angle[at], flow.radial_velocity[at], flow.polar_velocity[at]]
    r, theta, radial, polar = solve_ivp(along, (0.0, 3.0), start, rtol=1e-9, atol=1e-12).y[:, -1]
    assert r > 1.5
    assert theta < flow.angle[at] - 0.5
    there = np.array([radial, polar]) * r**-0.25
    expected = [
        np.interp(theta, angle, values[::-1])
        for values in (flow.radial_velocity, flow.polar_velocity)
    ]
    assert_allclose(there, expected, rtol=2e-5)


def test_angle_falls_and_voltage_rises_with_the_current() -> None:
    """INVARIANT: sharper cones carry more at a higher voltage; blunter than Taylor's there is none.

    Sign and order of the dependence are those of the abstract of arXiv:1201.3743.
    """
    cones = [charged_cone(math.radians(angle)) for angle in (49.0, 45.0, 40.0, 30.0)]
    for what in ("current", "voltage_ratio", "perveance", "reduced_current"):
        values = [getattr(one, what) for one in cones]
        assert values == sorted(values)
        assert values[0] > 0.0
    for angle in (50.0, 20.0, math.nan):
        with pytest.raises(ValueError, match="half angle"):
            charged_cone(math.radians(angle))


def test_reduced_current_in_si(cone: ChargedCone) -> None:
    """EXACT: perveance and reduced current are the same current in two units."""
    gamma, length, mass = 0.7, 5e-6, metal("Ga").ion_mass
    speed = math.sqrt(2.0 * elementary_charge / mass)
    taylor = cone_voltage(surface_tension=gamma, slant_length=length)
    voltage = taylor * cone.voltage_ratio
    assert_allclose(
        cone.perveance * epsilon_0 * speed * voltage**1.5,
        cone.reduced_current * gamma * length * speed / math.sqrt(taylor),
        rtol=1e-9,
    )


def _law(**changes: float) -> ConeSlopes:
    given = {
        "extinction_voltage": 6e3,
        "base_radius": 5e-6,
        "surface_tension": 0.718,
        "ion_mass": metal("Ga").ion_mass,
    }
    return ConeSlopes(**(given | changes))


def test_slopes_of_both_laws_for_gallium() -> None:
    """TABLE (G. L. R. Mair, 1984, evaluated independently): 79.0 nA/V; the other worked by hand.

    By hand: U = 1.34593 sqrt(0.718 x 6.5961e-6 / 8.85419e-12) = 984.4 V, and
    4.456 x 0.718 x 6.5961e-6 x 1663.6 / sqrt(984.4) / 6000 = 186.5 nA/V.
    """
    law = _law()
    assert_allclose(law.across_gap_slope, 79.0e-9, rtol=2e-3)
    assert_allclose(law.own_voltage, 984.4, rtol=1e-3)
    assert_allclose(law.near_cone_slope, 186.5e-9, rtol=2e-3)
    # 4 pi R gamma cos(alpha) / V0 = 4.904 nN/V over 1.10 sqrt(2 m U / e) = 41.49 mN/A.
    assert_allclose(law.slope, 118.2e-9, rtol=2e-3)
    assert_allclose(law.factor, 186.5 / 118.2, rtol=3e-3)
    given = {"extinction_voltage": 6e3, "base_radius": 5e-6, "surface_tension": 0.718,
             "ion_mass": metal("Ga").ion_mass}  # fmt: skip
    for one, slope in (
        (cone_current, law.across_gap_slope),
        (apex_cone_current, law.slope),
    ):
        assert_allclose(one(6.3e3, **given), 300.0 * slope, rtol=1e-12)
        assert one(5.9e3, **given) == 0.0


def test_a_cone_as_large_as_its_gap_leaves_four_percent_between_the_laws() -> None:
    """EXACT: with one voltage, 4.456 / sin(alpha) against 3 pi cos(alpha); all momentum at most."""
    law = _law(base_radius=1e-3)
    assert law.own_voltage == law.extinction_voltage
    plane = 3.0 * math.pi * math.sin(TAYLOR_HALF_ANGLE) * math.cos(TAYLOR_HALF_ANGLE)
    assert_allclose(law.near_cone_slope / law.across_gap_slope, NEAR_CONE_SLOPE / plane, rtol=1e-12)
    assert 0.95 < NEAR_CONE_SLOPE / plane < 0.96
    assert_allclose(law.slope / law.across_gap_slope, 2.0 / 3.0, rtol=1e-12)
    assert APEX_SHARE > 1.0


@pytest.mark.parametrize(
    "name", ["extinction_voltage", "base_radius", "surface_tension", "ion_mass"]
)
def test_a_law_of_nothing_is_refused(name: str) -> None:
    """INVARIANT: no current from a quantity that is zero or not a number."""
    for bad in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match=name.replace("_", " ")):
            _law(**{name: bad})


def test_neighbours_in_a_row_take_their_share() -> None:
    """INVARIANT: on a plate each further beam takes less, all of them less than is theirs.

    Cones that touch, gap of ten base radii, V0 / U of 7: a third more than one cone alone, and
    still below the two thirds of a plane sheet of charge.
    """
    gap = capillary_gap(cone_angle=TAYLOR_HALF_ANGLE, outer=300.0, gap=10.0)
    alone = gap.solve(20).momentum_share
    shares = [gap.neighbour_share(2.0 * place, 20) for place in range(1, 7)]
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] > 0.0
    row = alone + 2.0 * sum(shares)
    assert 1.3 * alone < row < 1.4 * alone
    assert row < 2.0 / 3.0
    assert gap.neighbour_share(20.0, 20) < 0.05 * shares[0]
