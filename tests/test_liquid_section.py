"""Onset of whole designs as the turning point of their liquid surface."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import polyline
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.files import examples_folder
from conegap.solver.assessment import assess
from conegap.solver.field.extrapolation import estimate
from conegap.solver.field.solution import solve_field
from conegap.solver.liquid.branch import MeniscusBranch, SurfaceInSolid, problem_at, turning_point
from conegap.solver.liquid.followed_onset import meniscus_onset, voltage_in_proportion
from conegap.solver.liquid.free_surface import RIGID, free_surface
from conegap.solver.liquid.liquid_section import liquid_section, moves
from conegap.solver.liquid.meniscus_onset import MeniscusOnset, voltage_of_bond_number
from conegap.solver.liquid.shape import cap
from conegap.solver.liquid.sliding_edge import lower_edge, turning_with
from conegap.solver.liquid.stability import Wave, smallest_eigenvalue, stability
from conegap.solver.onset.rigid import rigid_onset
from conegap.solver.studies.calibration import calibrate
from conegap.solver.studies.pinned_turning import drawn_liquid_mesh, settled_start
from conegap.solver.studies.skew import Skew, skew_of
from conegap.solver.studies.turning_start import TurningStart
from conegap.solver.studies.turning_variants import (
    TENSION,
    turning_voltage,
    turning_voltages,
)
from conegap.solver.studies.vary import csv_text, range_of, vary

MODES = 10


def changed(name: str, *changes: tuple[str, str]) -> Design:
    """A shipped example with texts of its file replaced; each must be there once."""
    text = examples_folder().joinpath(f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    assert tomllib.loads(text)
    return Design.from_text(text)


def pressed(pascal: float) -> Design:
    """The capillary with another feed pressure."""
    text = examples_folder().joinpath("capillary.toml").read_text(encoding="utf-8")
    text, count = re.subn(r"feed_pressure = .*", f'feed_pressure = "{pascal!r} Pa"', text)
    assert count == 1
    return Design.from_text(text)


def fed_branch(design: Design, levels: tuple[int, ...] = (2, 4)) -> MeniscusBranch:
    """Turning point of a fed meniscus on meshes of one's choice."""
    liquid = liquid_section(design)
    most = 2.0 if design.section().symmetry == "axisymmetric" else 1.0
    pressure = design.liquid.feed_pressure * liquid.radius / design.surface_tension
    start = cap(math.asin(pressure / most), MODES, design.section().symmetry)
    return turning_point(
        liquid, start, pressure=pressure, held="pressure", amount=pressure, levels=levels
    )


@pytest.mark.slow
def test_capillary_lies_between_its_bounds(capillary: MeniscusOnset) -> None:
    """INVARIANT: the line gives way at its advancing angle, before the pinned dome would turn."""
    rigid = rigid_onset(Design.read("capillary")).voltage
    assert capillary.held == "pressure"
    assert capillary.error < 1e-3
    assert 0.5 < capillary.voltage / rigid < 2.0
    shape = capillary.branch.turning.shape
    # On a plane: height 0.403 at no pressure, 0.887 at 1.5 gamma / a; angle below 90 deg.
    assert 0.3 < shape.height < 0.9
    assert capillary.mode == "contact line gives way"
    assert capillary.place == "bore's edge"
    assert_allclose(shape.contact_angle, math.radians(40.0), rtol=1e-9, atol=0)
    pinned = fed_branch(Design.read("capillary"), (2, 4)).electric_bond_number.value
    assert capillary.branch.electric_bond_number.value < 0.97 * pinned
    assert capillary.extinction is not None
    assert capillary.extinction.low < capillary.extinction.voltage < capillary.extinction.high


@pytest.mark.slow
def test_shift_by_a_tolerance_is_that_of_an_independent_turning_point(
    capillary: MeniscusOnset,
) -> None:
    """INVARIANT: the quick turning point shifts as the branch followed anew; rigid ones do not."""
    drawn = Design.read("capillary")
    wide = drawn.with_value("emitter.outer_diameter", 105e-6)
    full = voltage_in_proportion(wide) / capillary.voltage - 1.0
    start = TurningStart.of(capillary)
    near, far = (turning_voltage(design, (), start=start) for design in (drawn, wide))
    assert_allclose(near, capillary.voltage, rtol=2e-3)
    assert_allclose(far / near - 1.0, full, rtol=0, atol=1e-3)
    rigid = rigid_onset(wide, meshes=2).voltage / rigid_onset(drawn, meshes=2).voltage - 1.0
    assert full > 1.2 * rigid > 0.0
    # Nothing but gamma a and gamma / a: with both in step, the voltage goes with the root.
    more = (("liquid.feed_pressure", 1.1 * drawn.liquid.feed_pressure), (TENSION, 1.1))
    scaled = turning_voltage(drawn, more, start=start)
    assert_allclose(scaled / near, math.sqrt(1.1), rtol=1e-5)


@pytest.mark.slow
def test_turning_points_shift_smoothly(capillary: MeniscusOnset) -> None:
    """INVARIANT: small steps of the gap shift the turning point as large ones do, in proportion."""
    design = Design.read("capillary")
    steps = (0.0, -1e-3, 1e-3, -1e-2, 1e-2)
    variants = [(("accelerator.gap", design.gap * (1.0 + step)),) for step in steps]
    found = turning_voltages(design, variants, TurningStart.of(capillary))
    drawn, low, high, far_low, far_high = (math.log(v) for v in found if not isinstance(v, str))
    slope = (far_high - far_low) / 2e-2
    assert 0.02 < slope < 0.2
    # On new meshes the small steps drown: they scatter by some 5e-4, ten times the shift.
    assert_allclose([drawn - low, high - drawn], 1e-3 * slope, rtol=0.02, atol=0)


@pytest.mark.slow
@pytest.mark.xdist_group("turning points of variants")
def test_bore_is_recovered_from_its_turning_point(
    capillary: MeniscusOnset, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: the turning point of a 52 um bore, followed for itself, gives 52 um back."""
    measured = voltage_in_proportion(Design.read("capillary").with_value("emitter.bore", 52e-6))
    monkeypatch.setattr("conegap.solver.studies.onset.free_surface", lambda *_: (capillary, ()))
    found = calibrate(Design.read("capillary"), measured)
    # The numerical errors of both turning points over the slope.
    assert_allclose(found.root.value, 52e-6, rtol=2e-3)
    assert found.root.low < 52e-6 < found.root.high
    assert "every radius" in found.way
    # Shifts of the turning point, not of the rigid surface, which would ask for 4.8 / 3.5 as much.
    outer = next(one for one in found.alternatives if one.key == "emitter.outer_diameter")
    variants = [(), (("emitter.outer_diameter", 100e-6 + outer.move),)]
    explained = turning_voltages(Design.read("capillary"), variants, TurningStart.of(capillary))
    drawn, moved = (v for v in explained if not isinstance(v, str))
    # The move is of first order: what it leaves is of second order in the shift.
    ratio = measured / capillary.voltage
    assert_allclose(moved / drawn, ratio, rtol=(ratio - 1.0) ** 2)


@pytest.mark.slow
@pytest.mark.xdist_group("turning points of variants")
def test_a_range_follows_the_turning_point(
    capillary: MeniscusOnset, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: half the bore, too far for one step, has the onset of its own branch."""
    design = Design.read("capillary")
    monkeypatch.setattr("conegap.solver.studies.onset.free_surface", lambda *_: (capillary, ()))
    variation = vary(design, (range_of(design, "emitter.bore=25 um..50 um:2"),))
    assert variation.criterion == "meniscus turning point"
    own = voltage_in_proportion(design.with_value("emitter.bore", 25e-6))
    assert_allclose(variation.voltages, [own, capillary.voltage], rtol=2e-3)
    first, second = csv_text(variation).splitlines()[2:]
    assert [float(line.split(",")[0]) for line in (first, second)] == [25.0, 50.0]
    assert_allclose(float(second.split(",")[1]), capillary.voltage, rtol=1e-5)
    rigid = [r.voltage for r in variation.results if not isinstance(r, str)]
    assert_allclose(float(second.split(",")[2]), rigid[1], rtol=1e-5)
    assert abs(rigid[0] / rigid[1] / (own / capillary.voltage) - 1.0) > 0.1


@pytest.mark.slow
def test_capillary_turning_point_is_balanced(capillary: MeniscusOnset) -> None:
    """EXACT: at the apex p + eps0 E^2 / 2 = 2 gamma / R, with the apex radius of its shape."""
    design = Design.read("capillary")
    shape = capillary.branch.turning.shape
    bend = float(shape.curvature(np.zeros(1))[0]) / capillary.radius
    pushed = design.liquid.feed_pressure + 0.5 * epsilon_0 * capillary.apex_field**2
    assert_allclose(pushed, design.surface_tension * bend, rtol=5e-3, atol=0)


@pytest.mark.slow
def test_voltages_along_the_ramp(capillary: MeniscusOnset) -> None:
    """INVARIANT: the ramp starts without voltage and rises to the onset, where it ends."""
    volts = np.array([state.voltage for state in capillary.states])
    assert volts[0] == 0.0
    assert np.all(np.diff(volts) > 0.0)
    assert_allclose(volts[-1], capillary.voltage, rtol=1e-12, atol=0)
    assert all(state.held for state in capillary.states)


@pytest.mark.slow
@pytest.mark.xdist_group("refinement of a turning point")
def test_reported_error_covers_a_refinement() -> None:
    """RATE: capillary on meshes (2, 4, 8) and (4, 8, 16) agrees within the reported errors."""
    design = Design.read("capillary")
    values = fed_branch(design, (2, 4, 8, 16)).electric_bond_number.level_values
    coarse, fine = estimate((2, 4, 8), values[:3]), estimate((4, 8, 16), values[1:])
    assert abs(coarse.value / fine.value - 1.0) <= coarse.error + fine.error
    assert fine.error < 1e-3


@pytest.mark.slow
def test_four_times_the_tension_takes_twice_the_voltage(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: at no pressure lambda is a number of the geometry, V goes as sqrt(gamma)."""
    design = pressed(0.0)
    once = voltage_in_proportion(design)
    tension = design.surface_tension
    monkeypatch.setattr(
        type(design.metal), "surface_tension", lambda *_: 4.0 * tension, raising=True
    )
    assert_allclose(voltage_in_proportion(design), 2.0 * once, rtol=1e-12, atol=0)


@pytest.mark.slow
def test_feed_pressure_lowers_the_onset_toward_zero() -> None:
    """INVARIANT: lambda falls with the pressure and is small near 2 gamma / a."""
    limit = 2.0 * Design.read("capillary").surface_tension / 25e-6
    found = [
        fed_branch(pressed(share * limit)).electric_bond_number.value for share in (0.0, 0.5, 0.95)
    ]
    assert found[0] > found[1] > found[2] > 0.0
    # On a plane the fold is at W = 1.0474, 0.4466 and (P = 1.9) 0.0442.
    assert_allclose(found[1] / found[0], 0.4466 / 1.0474, rtol=0.1, atol=0)
    assert_allclose(found[2] / found[0], 0.0442 / 1.0474, rtol=0.2, atol=0)


def test_pressure_that_no_place_holds_is_refused() -> None:
    """EXACT: the dry bore holds 2 gamma sin(advancing angle) / a, the message has the limit."""
    limit = 2.0 * Design.read("capillary").surface_tension * math.sin(math.radians(40.0)) / 25e-6
    for share in (1.001, 1.5):
        with refused("liquid.feed_pressure", f"{limit:.4g} Pa"):
            meniscus_onset(pressed(share * limit))


def test_suction_that_the_bore_does_not_hold_is_refused() -> None:
    """EXACT: beyond -2 gamma cos(receding angle) / a the liquid is drawn back (Jurin's law)."""
    limit = 2.0 * Design.read("capillary").surface_tension * math.cos(math.radians(40.0)) / 25e-6
    for share in (1.0 + 1e-9, 1.5):
        with refused("liquid.feed_pressure"):
            meniscus_onset(pressed(-share * limit))


def test_designs_with_a_free_surface() -> None:
    """INVARIANT: capillary, wetted needle and symmetric slit move, a measured profile does not."""
    assert moves(Design.read("capillary"))
    assert moves(Design.read("needle"))
    assert moves(Design.read("slit"))
    assert not moves(skewed())
    with refused("", "rigid"):
        liquid_section(skewed())


def skewed() -> Design:
    """The slit with one lip higher than the other."""
    return changed("slit", ('misalignment_half = "0 um"', 'misalignment_half = "0.2 um"'))


def test_a_chamber_at_a_voltage_of_its_own_shifts_the_onset(capillary: MeniscusOnset) -> None:
    """INVARIANT: only differences of potential matter: with the chamber at U the onset is that of a
    grounded chamber with emitter and accelerator lowered by U, found without iteration."""
    design, start = Design.read("capillary"), TurningStart.of(capillary)
    chamber = turning_voltage(design, (("voltages.chamber", 700.0),), start=start)
    grounded = turning_voltage(design, (), start=start)
    assert 1.003 < chamber / grounded < 1.005
    # At the onset the emitter stands at its part of the voltage; both are lowered there by U.
    top = design.voltages.emitter / design.voltage * chamber - 700.0
    lowered = (("voltages.emitter", top), ("voltages.accelerator", top - chamber))
    assert_allclose(turning_voltage(design, lowered, start=start), chamber, rtol=1e-4)


def test_a_film_too_thin_for_a_free_surface_falls_back() -> None:
    """INVARIANT: a surface that would pass through the metal is no onset; the rigid one stands."""
    thin = changed("needle", ('value = "0.5 um", tolerance = "0.3 um"', 'value = "0.05 um"'))
    with pytest.raises(SurfaceInSolid):
        meniscus_onset(thin)
    found, (remark,) = free_surface(thin, "automatic", None)
    assert found is None
    assert "film is too thin" in remark
    assert "rigid surface" in remark
    with pytest.raises(SurfaceInSolid):
        free_surface(thin, "meniscus", None)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("key", "middle", "others"),
    [
        (
            "emitter.tip_radius",
            3.464e-6,
            {"emitter.half_angle": math.radians(13.0), "liquid.film_thickness": 477e-9},
        ),
        ("chamber.length", 1e-4, {}),
    ],
    ids=["thin film", "end wall before the tip"],
)
def test_branches_that_bend_sharply_where_they_turn(
    key: str, middle: float, others: dict[str, float]
) -> None:
    """INVARIANT: between neighbours 1 % to either side the onset lies on a straight line, within
    the scatter of their meshes; there the planes across the branch held no shape at first."""
    design = Design.read("needle")
    for name, value in others.items():
        design = design.with_value(name, value)
    below, here, above = (
        voltage_in_proportion(design.with_value(key, middle * share)) for share in (0.99, 1.0, 1.01)
    )
    assert_allclose(here, 0.5 * (below + above), rtol=5e-4, atol=0)


def test_a_slot_moved_aside_changes_the_mean_field_in_second_order() -> None:
    """RATE: the mean of both lips goes with the square of the offset, the difference between them
    with the offset; the mirror image is the same, and an aligned slit is no case of it."""
    slit = Design.read("slit")

    def skew(offset: float) -> Skew:
        design = slit.with_value("accelerator.lateral_offset", offset)
        found = skew_of(design, solve_field(design.section(), accuracy=1e-4), 1e-4)
        assert found is not None
        assert found.aligned.section().mirrored
        return found

    half, whole, mirrored = skew(1e-4), skew(2e-4), skew(-2e-4)
    assert_allclose((whole.factor - 1.0) / (half.factor - 1.0), 4.0, rtol=0.02)
    assert_allclose(whole.lopsided / half.lopsided, 2.0, rtol=0.02)
    assert_allclose([mirrored.factor, mirrored.lopsided], [whole.factor, whole.lopsided], rtol=1e-3)
    assert skew_of(slit, solve_field(slit.section(), accuracy=1e-2), 1e-2) is None


@pytest.mark.slow
def test_a_slit_out_of_line_has_the_turning_point_of_the_aligned_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """INVARIANT: over the ratio of the mean field; the band holds the greater lip downward, and
    shifts are those of the rigid surface."""
    # The slit's ends and its beam have tests of their own.
    monkeypatch.setattr("conegap.solver.assessment.slit_end_or_why", lambda *_, **__: (None, ()))
    monkeypatch.setattr("conegap.solver.assessment._beams", lambda *_, **__: (None, ()))
    found = assess(skewed(), accuracy=1e-2, scans=False)
    skew, meniscus = found.onset.skew, found.onset.meniscus
    assert skew is not None
    assert meniscus is not None
    assert 0.01 < skew.lopsided < 0.03
    assert abs(skew.factor - 1.0) < 0.005
    aligned = meniscus_onset(skew.aligned).voltage
    assert_allclose(meniscus.voltage, aligned / skew.factor, rtol=1e-9)
    line = next(c for c in found.budget.contributions if c.name == "alignment")
    assert_allclose([line.down, line.up], [skew.lopsided / math.sqrt(3.0), 0.0])
    assert found.onset.variants.solved == RIGID


def test_drawn_section_keeps_everything_but_the_surface() -> None:
    """INVARIANT: only the liquid, the line above it and the edge differ from the design's own."""
    design = Design.read("capillary")
    liquid = liquid_section(design)
    section, (loop, index) = liquid.draw(cap(0.6, MODES, "axisymmetric"))
    own = design.section()
    assert_allclose(liquid.contact, (25e-6, 0.0), rtol=0, atol=1e-15)
    assert_allclose(section.loops[loop][index].curve.end, liquid.contact, rtol=0, atol=1e-15)
    height = math.tan(0.3) * liquid.radius
    assert_allclose(section.loops[loop][index].curve.start, (0.0, height), rtol=1e-9, atol=1e-15)
    same = [a is b for a, b in zip(section.loops[loop], own.loops[loop], strict=True)]
    assert same.count(False) == 2
    assert section.edges[0].name == "meniscus"
    split = liquid.potentials
    assert_allclose(split["emitter"] - split["accelerator"], 1.0, rtol=1e-14, atol=0)


@pytest.mark.slow
def test_the_cap_of_the_needle_stands_upright_until_it_turns(
    followed: Callable[[str], MeniscusOnset],
) -> None:
    """INVARIANT: just before the turning point the tilt's eigenvalue is positive on eight
    subdivisions, whatever the number of functions; on fewer it scatters about zero."""
    design, found = Design.read("needle"), followed("needle")
    assert found.tilt_voltage is None
    # At the turning point the cap's pressure is nearly gone: a feed at 0 Pa never fills it, one at
    # 100 kPa does from where the branch has that pressure.
    assert found.fed_from(0.0) == found.voltage
    early = found.fed_from(1e5)
    assert 0.8 * found.voltage < early < found.voltage
    scale = found.surface_tension / found.radius
    pressures = [e.pressure * scale for e in found.branch.equilibria]
    before = next(k for k, p in enumerate(pressures) if p < 1e5)
    volts = [
        voltage_of_bond_number(e.electric_bond_number, found.surface_tension, found.radius)
        for e in found.branch.equilibria[before - 1 : before + 1]
    ]
    assert volts[0] < early * (1.0 + 1e-3)
    assert early < volts[1] * (1.0 + 1e-3)
    branch, liquid = found.branch, liquid_section(design)
    last = branch.equilibria[branch.turning_index - 1]
    values = []
    problem = problem_at(liquid, last.shape, 8, branch.held, branch.amount)
    for functions in (10, 12, 16):
        matrices = stability(problem, last.shape, Wave(around=1), functions)
        values.append(smallest_eigenvalue(matrices, last.electric_bond_number))
    assert min(values) > 0.0


def test_one_shape_a_mesh_shifts_a_turning_point_as_planes_across_its_branch_do(
    followed: Callable[[str], MeniscusOnset],
) -> None:
    """INVARIANT: the strength is flat at its vertex; a tip 25 % blunter and half the film."""
    drawn = Design.read("needle")
    start = TurningStart.of(followed("needle"))
    near = drawn_liquid_mesh(drawn, start)
    settled = settled_start(drawn, start, near)
    assert settled.settled
    assert not start.settled
    for changes in ((("emitter.tip_radius", 5e-6),), (("liquid.film_thickness", 2.5e-7),)):
        quick, slow = (
            turning_voltage(drawn, changes, start=one, near=near)
            / turning_voltage(drawn, (), start=one, near=near)
            for one in (settled, start)
        )
        assert abs(quick - 1.0) > 0.01
        assert_allclose(quick, slow, rtol=1e-5)


def test_the_volume_above_a_lower_edge_is_that_of_the_drawn_film() -> None:
    """EXACT: cylindrical shells under the drawn outline, and the height of a spherical cap by its
    volume, pi h (3 a^2 + h^2) / 6."""
    design = Design.read("needle")
    edge = lower_edge(design, 1.0)
    assert edge is not None
    radius, level = edge.liquid.contact
    film = [b.curve for b in design.section().loops[0] if b.name == "liquid"]
    outline = polyline(film, 20001)
    r = np.linspace(0.0, radius, 200001)
    z = np.interp(r, *outline.T)
    shells = math.pi * np.diff(r**2) * (0.5 * (z[1:] + z[:-1]) - level)
    assert_allclose(edge.volume * radius**3, shells.sum(), rtol=1e-6)
    still = turning_with(edge).equilibria[0].shape
    height = still.height
    assert_allclose(math.pi * height * (3.0 + height**2) / 6.0, edge.volume, rtol=1e-9)


@pytest.mark.slow
def test_an_edge_that_slides_meets_the_film_tangentially() -> None:
    """EXACT: of all edges the least turning point is where the slope goes on into the flank's, for
    there the edge's pull does no work when it moves (the free boundary of a wetted flank)."""
    design = Design.read("needle")
    flank = math.pi / 2.0 - design.dimension("emitter.half_angle").value
    downs = (0.5, 1.0, 1.5)
    loads, bends = [], []
    for down in downs:
        edge = lower_edge(design, down)
        assert edge is not None
        branch = turning_with(edge)
        loads.append(branch.electric_bond_number.value * edge.liquid.radius)
        bends.append(branch.turning.shape.contact_angle - flank)
    least = np.polynomial.Polynomial.fit(downs, loads, 2).deriv().roots()[0]
    tangential = np.interp(0.0, bends, downs)
    assert bends[0] < -0.05 < 0.02 < bends[2]
    assert_allclose(least, tangential, rtol=0, atol=0.1)


@pytest.mark.parametrize("name", ["needle", "crown"])
def test_the_band_of_a_film_holds_an_edge_that_slides(
    name: str, followed: Callable[[str], MeniscusOnset]
) -> None:
    """INVARIANT: what may slide holds no more than what is pinned, and one flank of a needle's tip
    is like another's; the line counts downward only."""
    found = followed(name)
    assert found.sliding is not None
    assert 0.8 < found.sliding < 1.0
    needle = followed("needle").sliding
    assert needle is not None
    assert_allclose(found.sliding, needle, rtol=2e-3)


@pytest.mark.slow
def test_the_first_wave_along_a_slit_is_that_of_finer_meshes(
    followed: Callable[[str], MeniscusOnset], monkeypatch: pytest.MonkeyPatch
) -> None:
    """RATE: with twice the subdivisions it moves by less than 1e-3; the loads of the coarse ramp on
    which the shapes are followed would leave 6e-3."""
    coarse = followed("slit").wave_voltage
    monkeypatch.setattr("conegap.solver.liquid.slit_waves._LEVELS", (4, 8))
    fine = meniscus_onset(Design.read("slit")).wave_voltage
    assert coarse is not None
    assert fine is not None
    assert_allclose(coarse, fine, rtol=1e-3)
    assert coarse < followed("slit").voltage
