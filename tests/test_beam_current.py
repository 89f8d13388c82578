"""Current against voltage, operating point, thrust factors, other metals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reporting import assessed_needle
from scipy.constants import e, epsilon_0, m_u
from scipy.integrate import quad

from conegap.geometries.metals.metal import metal
from conegap.solver.onset.rigid import RigidOnset, rigid_onset_of_solution
from conegap.solver.operation.beam_current import (
    CurrentLaw,
    CurrentPoint,
    site_current,
    thrust_factor,
)
from conegap.solver.operation.operating_point import operating_point
from conegap.solver.operation.other_metals import compare_metals
from conegap.solver.report.cone import cone_table, cone_words

_TENSION = {"Ga": 0.718, "In": 0.556, "Cs": 0.069}


@pytest.mark.parametrize(
    ("symbol", "onset", "slope"), [("Ga", 6e3, 79.0e-9), ("In", 6e3, 47.7e-9), ("Cs", 5e3, 7.2e-9)]
)
def test_slope(symbol: str, onset: float, slope: float) -> None:
    """TABLE (G. L. R. Mair, 1984, evaluated independently): nA/V at R = 5 um."""
    arguments = {
        "extinction_voltage": onset,
        "base_radius": 5e-6,
        "surface_tension": _TENSION[symbol],
        "ion_mass": metal(symbol).ion_mass,
    }
    found = site_current(onset + 1.0, **arguments)
    assert_allclose(found, slope, rtol=8e-3)
    if symbol == "Ga":
        assert_allclose(site_current(1.05 * onset, **arguments), 23.7e-6, rtol=2e-3)
    assert site_current(0.99 * onset, **arguments) == 0.0


def test_factor_three_pi_from_planar_space_charge() -> None:
    """EXACT: weak space charge integrated across a plane gap lowers the emitter's field."""
    volts, gap, density, mass = 5e3, 1e-3, 1.0, 133 * m_u
    eps = 8.8541878188e-12

    # rho = J / v with v = sqrt(2 e V x / (m d)); the drop at the emitter is the mean of
    # rho (1 - x / d) / eps0 over the gap.
    def share(x: float) -> float:
        return density / math.sqrt(2 * e * volts * x / (mass * gap)) / eps * (1 - x / gap)

    drop, _ = quad(share, 0.0, gap)
    wanted = 4.0 / 3.0 * density * math.sqrt(mass / (2 * e)) * gap / (eps * math.sqrt(volts))
    assert_allclose(drop, wanted, rtol=1e-6)
    # Pull lost, (4/3) I sqrt(m V / 2 e), against 4 pi R gamma cos(alpha) (V / V0 - 1).
    radius, tension = 5e-6, 0.069
    current = site_current(
        volts * 1.001,
        extinction_voltage=volts,
        base_radius=radius,
        surface_tension=tension,
        ion_mass=mass,
    )
    excess = 4 * math.pi * radius * tension * 0.65222953 * 0.001
    assert_allclose(4 / 3 * current * math.sqrt(mass * volts / (2 * e)), excess, rtol=1e-6)


def _needle(**changes: object) -> CurrentLaw:
    one = CurrentLaw(4e3, 5e-6, 0.556, metal("In").ion_mass)
    return replace(one, **changes)  # type: ignore[arg-type]


def test_operating_point_lies_on_both_lines() -> None:
    """EXACT: straight law and straight ballast meet in closed form; drop leaves the emitter."""
    emission = _needle()
    slope = emission.at(4001.0).current
    found = operating_point(emission, voltage=5e3, emitter_voltage=4e3, ballast=20e6)
    assert_allclose(found.point.current, slope * 1e3 / (1 + slope * 20e6), rtol=1e-9)
    assert_allclose(found.ballast_drop, 20e6 * found.point.current, rtol=1e-9)
    assert_allclose(found.emitter_voltage, 4e3 - found.ballast_drop, rtol=1e-12)
    assert found.exhaust is not None
    assert found.thrust is not None
    assert_allclose(0.5 * found.thrust * found.exhaust.speed, found.beam_power, rtol=1e-12)
    assert_allclose(found.mass_flow * found.exhaust.speed, found.thrust, rtol=1e-12)
    free = operating_point(emission, voltage=5e3, emitter_voltage=4e3, ballast=0.0)
    assert free.ballast_drop == 0.0
    assert_allclose(free.point.current, 1e3 * slope, rtol=1e-9)


def test_below_onset_nothing_flows_and_negative_emitter_has_no_exhaust() -> None:
    """INVARIANT: no current, no drop, no thrust below onset; no exhaust below ground."""
    quiet = operating_point(_needle(), voltage=3e3, emitter_voltage=2e3, ballast=1e7)
    assert quiet.point.current == 0.0
    assert quiet.point.sites == 0.0
    assert quiet.ballast_drop == 0.0
    assert quiet.thrust == 0.0
    sunk = operating_point(_needle(), voltage=5e3, emitter_voltage=-1e3, ballast=0.0)
    assert sunk.exhaust is None
    assert sunk.thrust is None
    assert sunk.beam_power is None
    assert sunk.mass_flow > 0.0
    with pytest.raises(ValueError, match="ballast"):
        operating_point(_needle(), voltage=5e3, emitter_voltage=4e3, ballast=-1.0)


def test_sites_on_a_slit_rise_as_the_square() -> None:
    """EXACT: twice the voltage, four times the sites; the current is theirs together."""
    slit = _needle(sites_at_onset=100.0, spreads=True)
    assert_allclose(slit.at(8e3).sites, 400.0)
    assert_allclose(slit.at(8e3).current, 400.0 * _needle().at(8e3).current)
    curve = slit.curve()
    assert curve[0].current == 0.0
    assert np.all(np.diff([p.current for p in curve]) > 0.0)


@pytest.mark.parametrize(
    ("degrees", "uniform", "cosine", "fan"),
    [
        (10, 0.99240, 0.99242, 0.99493),
        (20, 0.96985, 0.97016, 0.97982),
        (30, 0.93301, 0.93462, 0.95493),
        (45, 0.85355, 0.86193, 0.90032),
    ],
)
def test_thrust_factors(degrees: float, uniform: float, cosine: float, fan: float) -> None:
    """TABLE (closed forms, five digits) and EXACT: the mean cosine by quadrature."""
    t = math.radians(degrees)
    found = thrust_factor(t)
    assert_allclose([found.uniform, found.cosine, found.fan], [uniform, cosine, fan], atol=6e-6)

    def mean(weight: object) -> float:
        above, _ = quad(lambda x: weight(x) * math.cos(x), 0, t)  # type: ignore[operator]
        below, _ = quad(weight, 0, t)
        return float(above / below)

    assert_allclose(found.uniform, mean(math.sin), rtol=1e-12)
    assert_allclose(found.cosine, mean(lambda x: math.sin(x) * math.cos(x)), rtol=1e-12)
    assert_allclose(found.fan, mean(lambda x: 1.0), rtol=1e-12)


def test_a_parallel_beam_loses_nothing() -> None:
    """EXACT: factors are 1 at zero and near it; angles beyond a half space are refused."""
    for angle in (0.0, 1e-7):
        found = thrust_factor(angle)
        assert_allclose([found.uniform, found.cosine, found.fan], 1.0, rtol=1e-13)
    with pytest.raises(ValueError, match="half angle"):
        thrust_factor(1.6)


def test_other_metals_come_from_the_same_field() -> None:
    """EXACT: each row equals the rigid balance solved again with that metal's own tension."""
    assessment = assessed_needle()
    rows = {
        row.symbol: row for row in compare_metals(assessment.design, assessment.onset.rigid, None)
    }
    own = rows[assessment.design.metal.symbol]
    assert own.of_design
    assert own.rigid_onset is not None
    assert_allclose(own.rigid_onset, assessment.onset.rigid.voltage, rtol=1e-12)
    assert own.scaled_onset is None
    for row in rows.values():
        assert row.rigid_onset is not None
        law = math.sqrt(row.surface_tension / own.surface_tension)
        assert_allclose(row.rigid_onset, own.rigid_onset * law, rtol=1e-12)
        assert row.temperature >= row.melting_point
    melting = [row.melting_point for row in rows.values()]
    assert melting == sorted(melting)
    # The whole path again with bismuth, which is liquid only above the design's temperature.
    text = assessment.design.with_value("liquid.temperature", rows["Sn"].temperature)
    again: RigidOnset = rigid_onset_of_solution(text, assessment.solution)
    assert_allclose(again.edge_per_volt, assessment.onset.rigid.edge_per_volt, rtol=1e-12)


def test_feed_pressure_and_turning_point_in_the_comparison() -> None:
    """EXACT: the pressure lowers each balance by itself; a flooded metal has no onset."""
    assessment = assessed_needle()
    held = assessment.onset.rigid.surface_tension * assessment.onset.rigid.curvature
    pressed = assessment.design.with_value("liquid.feed_pressure", 0.5 * held)
    onset = rigid_onset_of_solution(pressed, assessment.solution)
    rows = {r.symbol: r for r in compare_metals(pressed, onset, 0.8 * onset.voltage)}
    own, caesium = rows["In"], rows["Cs"]
    assert own.rigid_onset is not None
    assert own.scaled_onset is not None
    assert_allclose(own.rigid_onset, assessment.onset.rigid.voltage * math.sqrt(0.5), rtol=1e-9)
    assert_allclose(own.scaled_onset, 0.8 * own.rigid_onset, rtol=1e-12)
    assert caesium.rigid_onset is None
    assert caesium.scaled_onset is None


def test_tips_below_their_own_onset_carry_no_current() -> None:
    """EXACT: the sum of single tips, each with its own onset, and the lit ones counted."""
    relative = (0.95, 1.0, 1.1, 1.3)
    crown = _needle(relative_onsets=relative)
    for volts, lit in ((3.7e3, 0), (3.9e3, 1), (4.2e3, 2), (5.0e3, 3), (5.3e3, 4)):
        found = crown.at(volts)
        alone = [replace(_needle(), onset_voltage=4e3 * own).at(volts) for own in relative]
        assert found.sites == lit
        assert_allclose(found.current, sum(one.current for one in alone), rtol=1e-12)
    # The ballast counts from the first tip's onset on.
    left = operating_point(crown, voltage=4e3, emitter_voltage=4e3, ballast=20e6)
    assert_allclose(left.point.voltage + 20e6 * left.point.current, 4e3, rtol=1e-9)
    assert 3.8e3 < left.point.voltage < 4e3


def test_a_lit_cone_counts_from_its_extinction() -> None:
    """EXACT: the law with V0 = extinction; a tip lights at its onset and goes on below it
    behind a ballast, and the next one waits until its own onset stands across the gap again."""
    law = _needle(extinction_over_onset=0.8)
    alone = replace(_needle(), onset_voltage=3.2e3)
    assert law.at(3.9e3).current == 0.0
    assert_allclose(law.at(4.5e3).current, alone.at(4.5e3).current, rtol=1e-12)

    def behind(which: CurrentLaw, volts: float) -> CurrentPoint:
        return operating_point(which, voltage=volts, emitter_voltage=volts, ballast=20e6).point

    left = behind(law, 4.1e3)
    assert 3.2e3 < left.voltage < 4.0e3
    assert_allclose(left.voltage + 20e6 * left.current, 4.1e3, rtol=1e-9)
    pair = replace(law, relative_onsets=(1.0, 1.0))
    one = behind(pair, 4.1e3)
    assert (one.sites, one.current) == (1.0, left.current)
    # The second lights at the supply voltage that leaves the onset behind the first one's drop.
    second = 4e3 + 20e6 * law.at(4e3).current
    assert behind(pair, second - 1.0).sites == 1.0
    assert behind(pair, second + 1.0).sites == 2.0
    weak, strong = law.band()
    assert_allclose(strong.at(4.5e3).current, 10.0 * weak.at(4.5e3).current, rtol=1e-12)


def test_cone_of_an_assessed_needle() -> None:
    """INVARIANT: results and report hold the cone's figures at the operating point, in SI."""
    assessment = assessed_needle()
    operation, design = assessment.operation, assessment.design
    cone, kelvin = operation.cone, design.liquid.temperature
    found = operation.operation_dict()["cone"]
    tension = design.metal.surface_tension(kelvin)
    radius, field = found["apex_radius_m"], found["evaporation_field_warm_V_per_m"]
    assert_allclose(0.5 * epsilon_0 * field**2, 2.0 * tension / radius, rtol=1e-12)
    density = found["apex_current_density_A_per_m2"]
    assert_allclose(density * 2 * math.pi * radius**2, operation.operating.point.per_site)
    base, rho = operation.emission.base_radius, design.metal.density(kelvin)
    assert_allclose(found["inertial_time_s"] ** 2, rho * base**3 / tension, rtol=1e-12)
    rise = operation.emission.onset_voltage / found["slow_ramp_V_per_s"]
    assert cone.times is not None
    assert cone.times.overshoot(rise) <= 0.01
    assert len(cone_table(assessment).rows) == 8
    # A metal of the user's own: no energies, no density, so only the slopes are left.
    bare = replace(operation, cone=replace(cone, cusp=None, times=None))
    assert len(cone_table(replace(assessment, operation=bare)).rows) == 2
    assert set(bare.operation_dict()["cone"]) == {
        "slope_A_per_V",
        "slope_charge_across_gap_A_per_V",
        "slope_charge_near_cone_A_per_V",
    }
    assert all(cone_words(replace(assessment, operation=bare)))
