"""The beam of a design: angles, steering, interception and the spread by its own charge."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from conftest import needle_design
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge

from conegap.geometries.curves.section import Boundary, Section
from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import GeometryError
from conegap.solver.assessment import assess
from conegap.solver.beam.beam_band import BeamBand, BeamErrors, BeamPoint, beam_band
from conegap.solver.beam.beam_review import beam_rows
from conegap.solver.beam.clearance import narrowest_clearance, weighted_quantile
from conegap.solver.beam.ion_beam import Beam, beam_of, compute_beam
from conegap.solver.beam.launch import LaunchModel
from conegap.solver.beam.lockstep import followed
from conegap.solver.beam.trajectories import trace
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.interpolation import field_at_points
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.report.beam import beam_words, landing_table
from conegap.validation.sections.catalogue import concentric_spheres, confocal_spheroids

Solved = Callable[[str], tuple[Design, FieldSolution]]
MASS = 2.2e-25


@cache
def slit_beam(key: str = "", value: float = 0.0) -> tuple[Design, FieldSolution, Beam]:
    """The shipped slit before a thicker, narrower plate, with one dimension changed."""
    design = Design.read("slit")
    plate = {"gap": 1e-3, "slot_width": 2e-3, "thickness": 0.5e-3, "edge_radius": 0.1e-3}
    for name, size in plate.items():
        design = design.with_value(f"accelerator.{name}", size)
    if key:
        design = design.with_value(key, value)
    solution = solve_field(design.section())
    return design, solution, followed(compute_beam(design, solution))


def alone(beam: Beam) -> BeamBand:
    """A band of one beam whose current is not known."""
    return BeamBand(beam, (), (BeamPoint(1e-6, 4e3),), None)


def open_spheres() -> Section:
    """Concentric spheres whose outer one lets the beam pass."""
    section = concentric_spheres(inner=1e-3, outer=4e-3).section
    loops = tuple(
        tuple(Boundary("chamber" if b.name == "accelerator" else b.name, b.curve) for b in loop)
        for loop in section.loops
    )
    return replace(section, loops=loops, gap=0.0)


def test_radial_beam_keeps_its_cone() -> None:
    """EXACT: a sphere emits into the cone it is given; angles and thrust factor in closed form."""
    alpha = math.radians(30.0)
    beam = followed(
        beam_of(
            solve_field(open_spheres()),
            {"emitter": 5e3},
            mass=MASS,
            emission=LaunchModel(half_angle=alpha),
        )
    )
    assert_allclose(beam.left, 1.0, rtol=1e-12)
    # Current in the cone of half angle a grows as sin^2 a; the ends are seen from the z axis.
    assert_allclose(beam.half_angle_95, math.asin(math.sqrt(0.95) * math.sin(alpha)), rtol=2e-3)
    cosine = 2.0 / 3.0 * (1.0 - math.cos(alpha) ** 3) / math.sin(alpha) ** 2
    assert_allclose(beam.thrust_factor, cosine, rtol=3e-4)
    assert beam.steering_angle == 0.0
    assert beam.filling is None
    assert beam_rows(needle_design(), alone(beam)) == ()


def test_scaled_design_has_the_same_angles() -> None:
    """INVARIANT: twice every length lands twice as far out at the same angle."""
    beams = []
    for factor in (1.0, 2.0):
        design = needle_design(factor)
        beams.append(followed(compute_beam(design, solve_field(design.section()))))
    one, two = beams
    assert one.intercepted == pytest.approx(1.0)
    assert_allclose(2.0 * np.array(one.spots[0].last), two.spots[0].last, rtol=1e-6)
    assert_allclose(one.spots[0].angle, two.spots[0].angle, rtol=1e-6)
    assert_allclose(one.trajectories.end_angle, two.trajectories.end_angle, atol=1e-7)


def test_more_paths_change_little(solved: Solved) -> None:
    """RATE: angles from 100 and 400 paths agree far below the model's own uncertainty."""
    design, solution = solved("needle")
    few, many = (followed(compute_beam(design, solution, ions=n)) for n in (100, 400))
    assert_allclose(few.half_angle_95, many.half_angle_95, rtol=2e-3)
    assert_allclose(few.rms_half_angle, many.rms_half_angle, rtol=1e-3)
    assert_allclose(few.thrust_factor, many.thrust_factor, rtol=1e-4)


@pytest.mark.slow
def test_offset_slot_steers_towards_the_nearer_blade() -> None:
    """INVARIANT: the sign is that of the transverse field, and mirrored slots steer mirrored."""
    results = {offset: slit_beam("accelerator.lateral_offset", offset) for offset in (1e-4, -1e-4)}
    for offset, (design, solution, beam) in results.items():
        field = field_at_points(solution, electrode_voltages(design, solution.electrodes))
        sideways = field.field(np.array([[0.0, z] for z in (5e-4, 1e-3)]))[:, 0]
        assert np.all(np.sign(sideways) == -np.sign(offset)), "towards the nearer blade"
        assert np.sign(beam.steering_angle) == -np.sign(offset)
        assert abs(beam.steering_angle) > math.radians(0.5)
    right, left = results[1e-4][2], results[-1e-4][2]
    assert_allclose(right.steering_angle, -left.steering_angle, rtol=2e-2)
    assert_allclose(right.half_angle_95, left.half_angle_95, rtol=5e-3)


@pytest.mark.slow
def test_centred_whole_slit_agrees_with_its_half() -> None:
    """INVARIANT: an offset too small to matter gives the beam of the mirrored half."""
    whole, half = slit_beam("accelerator.lateral_offset", 1e-8)[2], slit_beam()[2]
    assert abs(whole.steering_angle) < math.radians(0.02)
    assert_allclose(whole.rms_half_angle, half.rms_half_angle, rtol=5e-3)
    assert_allclose(whole.thrust_factor, half.thrust_factor, rtol=2e-3)
    assert_allclose(list(whole.edge_shares.values()), 0.5, atol=2e-3)


def test_raised_lip_takes_the_current() -> None:
    """INVARIANT: the lip that stands out has the greater field and steers to its own side."""
    beam = slit_beam("emitter.misalignment_half", 1e-6)[2]
    assert beam.edge_shares["left lip"] > 0.6
    assert beam.steering_angle < 0.0


def test_narrow_slot_catches_the_beam() -> None:
    """INVARIANT: what a slot narrower than the beam catches lies on its metal and fails."""
    design, solution, beam = slit_beam("accelerator.slot_width", 0.3e-3)
    assert beam.intercepted > 0.5
    assert_allclose(beam.left + beam.intercepted + beam.returned + beam.unfinished, 1.0, rtol=1e-12)
    assert_allclose(sum(spot.share for spot in beam.spots), beam.intercepted, rtol=1e-12)
    rows = beam_rows(design, alone(beam))
    assert [row.passed for row in rows] == [False, False]
    assert all(row.advice and row.basis for row in rows)
    assert_allclose(beam.spots[0].energy, elementary_charge * design.voltage, rtol=1e-4)
    metal = solution.surface("accelerator", {})
    for spot in beam.trajectories.landing:
        assert spot is not None
        place = np.array([abs(spot.position[0]), spot.position[1]])
        away = np.hypot(*(metal.points - place).T).min()
        assert away < 2.0 * np.hypot(*np.diff(metal.points, axis=0).T).max()
        assert spot.position[1] < design.gap + 0.2e-3


def test_row_passes_at_every_current_or_fails_at_the_expected_one(solved: Solved) -> None:
    """INVARIANT: the needle's aperture holds at 1 uA; where it holds at the expected current alone
    nothing is proved, where it does not, or ions are lost, it fails."""
    design, solution = solved("needle")
    point = BeamPoint(1e-6, 4000.0)
    beam = followed(compute_beam(design, solution, current=1e-6, ions=50, level=0))
    none = BeamErrors(0.0, 0.0, 0.0)
    points = (point, point, point)

    def states(*beams: Beam | None, errors: BeamErrors = none) -> list[str]:
        assert beams[0] is not None
        rows = beam_rows(design, BeamBand(beams[0], beams[1:], points, errors))
        return [row.state for row in rows]

    assert states(beam, beam, beam) == ["pass", "pass"]
    wide = replace(beam, filling=0.51, intercepted=0.011)
    assert states(beam, beam, wide) == ["not proved", "not proved"]
    assert states(wide, beam, wide) == ["fail", "fail"]
    assert states(beam, beam, None) == ["not proved", "not proved"]
    assert states(beam, beam, beam, errors=BeamErrors(0.0, 0.1, 0.011)) == ["not proved"] * 2
    lost = replace(beam, left=0.5, unfinished=0.5)
    assert states(beam, beam, lost) == ["not proved", "not proved", "fail"]
    single = beam_rows(design, alone(replace(beam, charge=None)))
    assert [row.state for row in single] == ["not proved", "not proved"]
    assert all(row.span is not None and row.span[1] == math.inf for row in single)


@pytest.mark.slow
def test_band_of_the_needle_fills_more_with_the_current(solved: Solved) -> None:
    """INVARIANT: more current widens the beam, and the stated error bounds the change to a quarter
    of the spacing."""
    design, solution = solved("needle")
    points = [BeamPoint(current, 2600.0) for current in (4e-5, 2e-5, 6e-5)]
    band = beam_band(design, solution, points, quick=True)
    low, high = band.ends
    assert low is not None
    assert high is not None
    assert low.half_angle_95 < band.nominal.half_angle_95 < high.half_angle_95
    assert low.thrust_factor > band.nominal.thrust_factor > high.thrust_factor
    fine = followed(
        compute_beam(design, solution, current=4e-5, emitter_voltage=2600.0, ions=100, level=2)
    )
    assert band.errors is not None
    assert abs(fine.half_angle_95 - band.nominal.half_angle_95) < band.errors.half_angle
    assert fine.filling is not None
    assert band.nominal.filling is not None
    assert abs(fine.filling - band.nominal.filling) < band.errors.filling


def test_clearance_of_straight_rays() -> None:
    """EXACT: rays from a point fill a straight bore as its far rim is seen from there."""
    section = Design.read("needle").section()
    angles = np.linspace(0.0, 0.2, 2001)
    rays = tuple(np.array([[0.0, 0.0], [5e-3 * math.tan(a), 5e-3]]) for a in angles)
    found = narrowest_clearance(section, rays, np.full(len(rays), 1.0 / len(rays)))
    assert found is not None
    # The bore of 1 mm radius ends at 1.4 mm in a rounding of 0.1 mm, which the rays graze.
    z = np.linspace(1.4, 1.499, 10_001)
    room = 1.1 - np.sqrt(0.1**2 - (z - 1.4) ** 2)
    assert_allclose(found, np.max(z / room) * math.tan(0.95 * 0.2), rtol=1e-3)


def test_weighted_quantile_of_an_even_spread() -> None:
    """EXACT: 95 % of evenly spread values lie below 0.95, whatever their order."""
    values = np.random.default_rng(3).permutation((np.arange(1000) + 0.5) / 1000.0)
    assert_allclose(weighted_quantile(values, np.ones(1000), 0.95), 0.95, atol=1e-6)
    # Weights in proportion to the value: the share below q is q^2.
    assert_allclose(weighted_quantile(values, values, 0.95), math.sqrt(0.95), atol=1e-3)


@pytest.mark.slow
def test_narrow_slot_fails_the_review_and_takes_the_thrust(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: of the shipped slit before a narrow slot, interception decides and is reported."""
    text = re.sub(r', tolerance = "[^"]*"', "", starter("slit"))
    text, count = re.subn(
        r'slot_width = \{ value = "2.6 mm"', 'slot_width = { value = "1 mm"', text
    )
    assert count == 1
    # The slit's ends have tests of their own.
    monkeypatch.setattr("conegap.solver.assessment.slit_end_or_why", lambda *_, **__: (None, ()))
    found = assess(Design.from_text(text), scans=False, criterion="rigid")
    beam, results = found.beam, found.as_dict()["operation"]
    assert beam is not None
    assert 0.05 < beam.intercepted < 0.95
    failed = {row.name for row in found.review if not row.passed}
    assert "share of the beam that lands on the accelerator" in failed
    assert "beam half-width / available aperture half-width" in failed
    assert results["intercepted_fraction"] == beam.intercepted
    assert_allclose(
        results["thrust_N"],
        results["parallel_thrust_N"] * (1.0 - beam.intercepted) * beam.thrust_factor,
        rtol=1e-9,
    )
    table = landing_table(found)
    assert table is not None
    assert len(table.rows) == len(beam.spots) == len(results["landing_spots"])
    assert any("sputter" in sentence for sentence in beam_words(found))


def test_fine_tip_of_a_long_outline_is_launched_from_and_landed() -> None:
    """INVARIANT: a tip of a thousandth of its outline's length launches over the whole cone, and
    every ion lands on the closed electrode about it."""
    case = confocal_spheroids(focal=1.5e-3, inner=1.50045e-3, outer=3e-3)
    solution = solve_field(case.section, accuracy=1.0, meshes=2)
    radius = solution.section.edges[0].radius
    assert radius < 1e-6
    beam = followed(beam_of(solution, {"emitter": 5e3}, mass=MASS, current=1e-6, ions=100))
    lean = np.degrees(np.arctan2(beam.starts.directions[:, 0], beam.starts.directions[:, 1]))
    assert_allclose(np.sort(np.abs(lean)), 25.0 * (np.arange(100) + 0.5) / 100.0, atol=0.5)
    assert_allclose(beam.starts.distances, 0.1 * radius, rtol=1e-9)
    assert beam.unfinished == 0.0
    assert_allclose(beam.intercepted, 1.0, rtol=1e-12)


def test_ion_without_a_number_is_not_landed(solved: Solved) -> None:
    """INVARIANT: an ion whose state is no number ends the trace, and is neither left nor landed."""
    _, solution = solved("needle")
    field = field_at_points(solution, {"emitter": 4e3}, 0)
    starts = np.array([[0.0, 1e-4], [0.0, 2e-4]])
    found = trace(field, starts, np.array([[0.0, 1.0], [math.nan, 0.0]]), MASS)
    assert found.landing[0] is not None
    assert found.landing[1] is None


def test_nothing_leaves_a_closed_accelerator() -> None:
    """INVARIANT: before a plane no thrust is left and no angle is made up; JSON takes it all."""
    design = needle_design()
    beam = followed(compute_beam(design, solve_field(design.section())))
    assert beam.left == 0.0
    assert beam.thrust_share == 0.0
    found = beam.as_dict()
    assert found["intercepted_fraction"] == pytest.approx(1.0)
    for key in ("beam_half_angle_95_rad", "thrust_factor", "beam_opening_filled"):
        assert found[key] is None
    json.dumps(found, allow_nan=False)


@pytest.mark.parametrize("wrong", [{"half_angle": 0.0}, {"half_angle": 2.0}, {"start_distance": 0}])
def test_impossible_emission_is_refused(wrong: dict[str, float]) -> None:
    """INVARIANT: an emission cone or a start distance without meaning gives no beam."""
    with pytest.raises(GeometryError):
        LaunchModel(**wrong)


def test_figure_shows_paths_and_landings() -> None:
    """INVARIANT: every path shown that is caught has a cross, on both sides of a half."""
    from conegap.solver.common.style import LIMIT
    from conegap.solver.figures.beam import beam_alt, beam_caption, beam_window, draw_beam
    from conegap.solver.figures.report_figures import charted

    _, solution, beam = slit_beam("accelerator.slot_width", 0.3e-3)
    window = beam_window(solution.section)
    figure = charted(lambda axes: draw_beam(axes, solution.section, beam, window), (4.6, 5.0))
    lines = figure.axes[0].get_lines()
    crosses = [line for line in lines if line.get_marker() == "X"]
    fans = [line for line in lines if line.get_color() == LIMIT and line not in crosses]
    assert len(crosses) == len(fans) >= 20
    assert all(line.get_linestyle() == "--" for line in fans), "readable in grey"
    ends = sorted(float(line.get_xdata()[0]) for line in crosses)  # type: ignore[index, arg-type]
    assert_allclose(ends, -np.array(ends)[::-1], atol=1e-12)
    assert "100 %" in beam_alt(beam)
    assert "assumed" in beam_caption(beam)
