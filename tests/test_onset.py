"""Rigid onset: closed forms, scaling laws, the chamber's voltage and refusals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from conftest import needle_design, refused, wedge_section
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import SharpEdgeError
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.onset.rigid import rigid_onset, rigid_onset_of_solution
from conegap.solver.onset.surface_balance import field_stress
from conegap.validation.exact.fields import hyperboloid_field, planar_hyperbola_field
from conegap.validation.sections.catalogue import hyperboloid_needle, planar_hyperbola

Solved = Callable[[str], tuple[Design, FieldSolution]]


@pytest.mark.parametrize(("radius", "volts"), [(5e-6, 4247.0), (25e-6, 7155.0)])
def test_gallium_hyperboloid_at_one_millimetre(radius: float, volts: float) -> None:
    """EXACT: onset of the hyperboloid, 4247 V at R = 5 um with 0.718 N/m, to 2e-5."""
    design = Design.read("capillary").with_value("liquid.feed_pressure", 0.0)
    assert design.metal.symbol == "Ga"
    section = hyperboloid_needle(radius=radius, gap=1e-3, prescribed=False).section
    found = rigid_onset_of_solution(design, solve_field(section))
    gamma = design.surface_tension
    balance = 2.0 * math.sqrt(gamma / (epsilon_0 * radius))
    exact = balance / hyperboloid_field(voltage=1.0, radius=radius, gap=1e-3)
    assert_allclose(found.voltage, exact, rtol=2e-5, atol=0)
    assert abs(found.voltage / exact - 1.0) <= found.error
    assert_allclose(found.voltage * math.sqrt(0.718 / gamma), volts, rtol=0, atol=0.6)
    assert_allclose(found.balance_field, balance, rtol=1e-9, atol=0)
    assert found.position == (0.0, 0.0)


def test_caesium_edge_of_twenty_micrometres() -> None:
    """EXACT: the hyperbolic edge at d = 1 mm, R = 20 um: 5.65 kV with 0.069 N/m."""
    design = Design.read("slit")
    assert design.metal.symbol == "Cs"
    section = planar_hyperbola(radius=20e-6, gap=1e-3, prescribed=False).section
    found = rigid_onset_of_solution(design, solve_field(section))
    gamma = design.surface_tension
    balance = math.sqrt(2.0 * gamma / (epsilon_0 * 20e-6))
    exact = balance / planar_hyperbola_field(voltage=1.0, radius=20e-6, gap=1e-3)
    assert_allclose(found.voltage, exact, rtol=1e-5, atol=0)
    assert_allclose(found.voltage * math.sqrt(0.069 / gamma), 5.65e3, rtol=0, atol=6.0)


@pytest.mark.parametrize("name", ["needle", "capillary", "slit", "profile"])
def test_onset_is_field_over_field_per_volt(solved: Solved, name: str) -> None:
    """INVARIANT: V = E / (E per volt), and eps0 E^2 / 2 + p = gamma kappa at the edge."""
    design, solution = solved(name)
    found = rigid_onset_of_solution(design, solution)
    assert_allclose(found.voltage, found.balance_field / found.edge_per_volt, rtol=1e-12, atol=0)
    held = found.surface_tension * found.curvature
    stress = field_stress(found.balance_field) + design.liquid.feed_pressure
    assert_allclose(stress, held, rtol=1e-12, atol=0)
    assert found.surface_tension == design.surface_tension


def test_all_lengths_times_k_raise_the_onset_by_root_k(solved: Solved) -> None:
    """INVARIANT: V goes with the square root of the size of the whole drawing."""
    design, solution = solved("needle before a plane")
    one = rigid_onset_of_solution(design, solution).voltage
    for k in (0.25, 4.0):
        found = rigid_onset(needle_design(k)).voltage
        assert_allclose(found, math.sqrt(k) * one, rtol=1e-8, atol=0)


def test_onset_goes_with_the_root_of_surface_tension(solved: Solved) -> None:
    """INVARIANT: surface tension times k gives sqrt(k) times the onset on the same field."""
    design, solution = solved("needle before a plane")
    one = rigid_onset_of_solution(design, solution)
    hot = design.with_value("liquid.temperature", 900.0)
    ratio = hot.surface_tension / design.surface_tension
    assert ratio < 0.95
    found = rigid_onset_of_solution(hot, solution)
    assert_allclose(found.voltage, math.sqrt(ratio) * one.voltage, rtol=1e-13, atol=0)


def test_split_of_the_voltage_does_not_matter_without_a_chamber() -> None:
    """INVARIANT: only emitter minus accelerator counts where nothing else holds a potential."""
    section = hyperboloid_needle(radius=5e-6, gap=1e-4, prescribed=False).section
    solution = solve_field(section)
    design = Design.read("needle")
    onsets = [
        rigid_onset_of_solution(_with_voltages(design, emitter, accelerator), solution).voltage
        for emitter, accelerator in ((5e3, -1e3), (6e3, 0.0), (100.0, -400.0))
    ]
    assert_allclose(onsets, onsets[0], rtol=1e-9, atol=0)


def _with_voltages(
    design: Design, emitter: float, accelerator: float, chamber: float = 0.0
) -> Design:
    voltages = design.voltages.model_copy(
        update={"emitter": emitter, "accelerator": accelerator, "chamber": chamber}
    )
    return replace(design, voltages=voltages)


def test_feed_pressure_lowers_the_onset(solved: Solved) -> None:
    """EXACT: at 3/4 of the pressure that the edge holds the onset is half; suction raises it."""
    design, solution = solved("needle before a plane")
    bare = rigid_onset_of_solution(design, solution)
    held = bare.surface_tension * bare.curvature
    for share, factor in ((0.75, 0.5), (-3.0, 2.0)):
        liquid = design.liquid.model_copy(update={"feed_pressure": share * held})
        fed = rigid_onset_of_solution(replace(design, liquid=liquid), solution)
        assert_allclose(fed.voltage, factor * bare.voltage, rtol=1e-12, atol=0)


def test_flooding_is_refused(solved: Solved) -> None:
    """EXACT: a feed pressure of gamma kappa floods the edge without any voltage."""
    design, solution = solved("needle before a plane")
    bare = rigid_onset_of_solution(design, solution)
    liquid = design.liquid.model_copy(
        update={"feed_pressure": 1.001 * bare.surface_tension * bare.curvature}
    )
    with refused("liquid.feed_pressure"):
        rigid_onset_of_solution(replace(design, liquid=liquid), solution)


def test_chamber_shifts_the_onset_as_superposition_says(solved: Solved) -> None:
    """INVARIANT: at onset the three voltages together make the balance field at the edge."""
    design, solution = solved("needle")
    grounded = rigid_onset_of_solution(_with_voltages(design, 10e3, -2e3), solution)
    onsets = []
    for chamber in (-400.0, 0.0, 400.0):
        held = _with_voltages(design, 5e3, -1e3, chamber)
        found = rigid_onset_of_solution(held, solution)
        at_onset = electrode_voltages(held, solution.electrodes, found.voltage / held.voltage)
        assert at_onset["chamber"] == chamber
        edge = solution.edge(found.edge_name, at_onset)
        assert_allclose(edge.value, found.balance_field, rtol=1e-6, atol=0)
        onsets.append(found.voltage)
    assert_allclose(onsets[1], grounded.voltage, rtol=1e-12, atol=0)
    assert onsets[0] < onsets[1] < onsets[2]
    # A straight line in the chamber's voltage.
    assert_allclose(onsets[1] - onsets[0], onsets[2] - onsets[1], rtol=1e-3, atol=0)


def test_raising_every_electrode_changes_nothing_at_the_edge(solved: Solved) -> None:
    """INVARIANT: emitter, accelerator and chamber at +U more give the same edge field."""
    _, solution = solved("needle")
    low = {"emitter": 5e3, "accelerator": -1e3, "chamber": 0.0}
    high = {name: value + 700.0 for name, value in low.items()}
    one, two = solution.edge("tip", low).value, solution.edge("tip", high).value
    assert_allclose(two, one, rtol=1e-8, atol=0)


def test_chamber_that_fires_the_edge_alone_is_refused(solved: Solved) -> None:
    """EXACT: no onset where the chamber alone exceeds the balance field."""
    design, solution = solved("needle")
    place = solution.edge("tip", {"emitter": 1.0})
    per_volt = solution.edge_field_at("tip", {"chamber": 1.0}, place)
    needed = rigid_onset_of_solution(design, solution).balance_field / per_volt
    assert needed < 0.0
    with refused("voltages.chamber"):
        rigid_onset_of_solution(_with_voltages(design, 5e3, -1e3, 1.05 * needed), solution)


def test_field_that_points_inward_is_refused(solved: Solved) -> None:
    """EXACT: an emitter below its accelerator has no onset."""
    design, solution = solved("needle")
    with refused("voltages", "-5000 V", "1000 V"):
        rigid_onset_of_solution(_with_voltages(design, -5e3, 1e3), solution)


def test_sharp_edge_is_refused_with_its_exponent() -> None:
    """EXACT: a right-angled wedge grows as spacing^(-1/3); the message says so and the remedy."""
    solution = solve_field(wedge_section(math.pi / 2.0), accuracy=1.0)
    with pytest.raises(SharpEdgeError) as refusal:
        rigid_onset_of_solution(Design.read("slit"), solution)
    measured = float(str(refusal.value).split("to the power ")[1].split(")")[0])
    assert_allclose(measured, -1.0 / 3.0, rtol=5e-3, atol=0)


def test_the_first_of_two_edges_fires(solved: Solved) -> None:
    """INVARIANT: moved towards one blade, the lip on that side fires, below the other's onset."""
    design, _ = solved("slit")
    moved = design.with_value("accelerator.lateral_offset", 0.3e-3)
    solution = solve_field(moved.section())
    first = rigid_onset_of_solution(moved, solution)
    voltages = electrode_voltages(moved, solution.electrodes)
    fields = {edge.name: solution.edge(edge.name, voltages).value for edge in moved.section().edges}
    assert len(fields) == 2
    assert first.edge_name == max(fields, key=lambda name: fields[name])
    ordered = sorted(fields.values())
    assert ordered[1] > 1.001 * ordered[0]


def test_electrode_voltages_follow_the_share() -> None:
    """EXACT: emitter and accelerator take the share, the chamber keeps its own voltage."""
    design = _with_voltages(Design.read("needle"), 5e3, -1e3, 50.0)
    names = ("emitter", "accelerator", "chamber")
    found = electrode_voltages(design, names, share=0.5)
    assert found == {"emitter": 2500.0, "accelerator": -500.0, "chamber": 50.0}
    assert electrode_voltages(design, ("emitter",)) == {"emitter": 5e3}


@pytest.mark.parametrize("name", ["needle", "capillary", "slit", "profile"])
def test_numerical_error_of_the_examples(solved: Solved, name: str) -> None:
    """RATE: every shipped example is extrapolated, of second order, and good to a thousandth."""
    design, solution = solved(name)
    found = rigid_onset_of_solution(design, solution).edge_at_design
    assert found.extrapolated
    assert 1.5 < found.order < 2.6
    assert found.error < 1e-3
    assert not found.at_border
    assert np.all(np.diff(found.level_sizes) > 0)
