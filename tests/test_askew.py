"""An accelerator beside the axis of a round emitter, or askew to it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from conftest import BLUNT
from numpy.testing import assert_allclose

from conegap.geometries.curves.askew import askew
from conegap.geometries.curves.curve import Arc, Line
from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import DesignError, MeshError
from conegap.geometries.solids.half_space import half_space
from conegap.geometries.solids.sector import Conductor, Sector, Tip, Wedge
from conegap.geometries.solids.shapes import Block, Difference, Revolved
from conegap.solver.assessment import Assessment, assess
from conegap.solver.common.display_units import length_words
from conegap.solver.field.solution import solve_field
from conegap.solver.field3d.askew_field import AskewField
from conegap.solver.figures.sector_pictures import sector_charts
from conegap.solver.onset.rigid import rigid_onset_of_solution
from conegap.solver.report.callouts import callouts_table
from conegap.solver.report.sector import sector_words
from conegap.solver.studies.budget import error_budget
from conegap.solver.studies.onset import Onset, solve_onset

INNER, OUTER = 1e-3, 3e-3


def ball(radius: float) -> Revolved:
    """A ball whose centre is the inner ball's, with the inner ball's top at the origin."""
    centre = (0.0, -INNER)
    half = Arc(centre, radius, -math.pi / 2.0, math.pi / 2.0)
    return Revolved((half, Line((0.0, radius - INNER), (0.0, -radius - INNER))))


@pytest.fixture(scope="module")
def balls() -> AskewField:
    """A ball inside a shell, which is what is moved."""
    body = (
        Arc((0.0, -INNER), INNER, math.pi / 2.0, -math.pi / 2.0),
        Line((0.0, -2.0 * INNER), (0.0, 0.0)),
    )
    # The sphere about the top must end on the ball; only charges are asked for here.
    tip = Tip("tip", (0.0, 0.0), 0.0, INNER, 0.0, INNER, 0.5 * INNER, (0.0,), body)
    wide = 1.1 * OUTER
    corner = (2.0 * wide, 2.0 * wide, 2.0 * wide)
    shell = Difference(Block(tuple(-c for c in corner), corner), (ball(OUTER),))  # type: ignore[arg-type]
    walls = dict.fromkeys(("bottom", "top", "side"), "outer")
    region = Wedge(math.pi, wide, -wide - INNER, wide, walls)
    sector = Sector(region, (Conductor("accelerator", shell),), (tip,), OUTER, copies=2)
    weights = {"emitter": 1.0, "accelerator": 0.0}
    return AskewField(replace(sector, parts_per_radius=8.0), weights, face=0.0)


def capacitance(distance: float) -> float:
    """Of a ball in a shell with their centres apart, over 4 pi eps0, [m]: by image charges."""
    a, b = INNER, OUTER
    charge, place, total = a, 0.0, 0.0
    for _ in range(60):
        total += charge
        # Image of a charge on the line of centres in the shell, which is grounded, and of that
        # image in the ball, which is held; both measured from the ball's centre.
        if charge == 0.0:
            break
        from_shell = place + distance
        if from_shell == 0.0:
            return a * b / (b - a)
        outer_charge, outer_place = -charge * b / from_shell, b**2 / from_shell - distance
        charge, place = -outer_charge * a / outer_place, a**2 / outer_place
    return total


@pytest.mark.parametrize(
    ("offset", "degrees"), [(0.5e-3, 0.0), (0.0, 20.0), (0.4e-3, 12.0), (-0.4e-3, 12.0)]
)
def test_charge_of_a_ball_in_a_shell_that_is_moved(
    balls: AskewField, offset: float, degrees: float
) -> None:
    """EXACT: image charges, summed here; a tilt about the ball's top moves the shell's centre, a
    radius below it.  5 % of the second order is what the law of the field states as its error."""
    tilt = math.radians(degrees)
    centre = askew(np.array([[0.0, -INNER]]), offset, tilt, 0.0)[0]
    distance = math.hypot(centre[0], centre[1] + INNER)
    found = []
    for k in range(2):
        charges = []
        for level in (balls.moved(k, offset, tilt), balls.levels[k]):
            own = level.mesh.points_on("emitter")
            charges.append(float(level.charges[0][own].sum()))
        found.append(charges[0] / charges[1])
    exact = capacitance(distance) / capacitance(0.0)
    best = found[1] + (found[1] - found[0]) / 3.0
    assert_allclose(best - 1.0, exact - 1.0, rtol=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["needle", "capillary"])
def test_aligned_half_space_is_the_section(name: str) -> None:
    """EXACT: the axisymmetric solve of the same gap, which needles with an exact field check."""
    design = Design.read(name)
    solution = solve_field(design.section())
    exact = rigid_onset_of_solution(design, solution).edge_per_volt
    weights = {"emitter": 0.8, "accelerator": -0.2, "chamber": 0.0}
    if name == "capillary":
        weights = {
            "emitter": design.voltages.emitter / design.voltage,
            "accelerator": design.voltages.accelerator / design.voltage,
            "chamber": 0.0,
        }
    found = AskewField(half_space(design.section()), weights, design.gap)
    assert_allclose(found.at_tip(), exact, rtol=2e-3)
    # A share of the gap's width or a few degrees change it in second order: four times as much
    # with twice the offset, within what the law leaves to the fourth.
    once, twice = (found.ratio(share * design.gap, 0.0)[0] - 1.0 for share in (0.1, 0.2))
    assert once > 1e-4
    assert_allclose(twice, 4.0 * once, rtol=0.1)


# Its hole beside its axis.
BESIDE = BLUNT.replace(
    'diameter = "1.2 mm"',
    'diameter = { value = "1.2 mm", tolerance = "20 um" }\n'
    'lateral_offset = { value = "0.1 mm", tolerance = "50 um" }',
)


@pytest.fixture(scope="module")
def beside() -> Onset:
    """A blunt needle whose hole lies beside its axis."""
    return solve_onset(Design.from_text(BESIDE), criterion="rigid")


def test_aligned_variant_is_the_aligned_design(beside: Onset) -> None:
    """INVARIANT: an offset taken back to zero gives the onset of a design drawn without it."""
    straight = Design.from_text(BESIDE.replace('value = "0.1 mm", ', 'value = "0 mm", '))
    aligned = solve_onset(straight, criterion="rigid")
    key = "accelerator.lateral_offset"
    back, there, again = beside.variants.rigid(
        [((key, 0.0),), ((key, 1e-4),), ((key, -1e-4),)], "offset"
    )
    assert not isinstance(back, str)
    assert not isinstance(there, str)
    assert not isinstance(again, str)
    assert aligned.misalignment is not None
    assert aligned.misalignment.factor == 1.0
    assert_allclose(back.voltage, aligned.voltage, rtol=1e-9)
    assert_allclose(there.voltage, beside.voltage, rtol=1e-9)
    assert_allclose(again.voltage, beside.voltage, rtol=1e-9)
    assert 5e-4 < aligned.voltage / beside.voltage - 1.0 < 3e-3


def test_band_holds_the_tolerance_of_the_offset(beside: Onset) -> None:
    """EXACT: the second order, a ((o + t)^2 - o^2), over the root of three."""
    budget = error_budget(beside)
    (line,) = (c for c in budget.contributions if c.name == "accelerator.lateral_offset")
    assert beside.misalignment is not None
    law = beside.misalignment.law
    ends = [law.factor(1e-4, 0.0) / law.factor(o, 0.0) - 1.0 for o in (0.5e-4, 1.5e-4)]
    assert_allclose([line.up, line.down], [ends[0] / 3**0.5, -ends[1] / 3**0.5], rtol=1e-3)
    assert_allclose(-ends[1] / ends[0], 1.25 / 0.75, rtol=0.01)


def test_refused_offset_is_no_number(beside: Onset) -> None:
    """INVARIANT: a variant that cannot be built says why, and leaves its neighbours alone."""
    key = "accelerator.lateral_offset"
    good, bad = beside.variants.rigid([((key, 0.5e-4),), ((key, 0.7e-3),)], "offset")
    assert isinstance(bad, str)
    assert "more than half its width" in bad
    assert not isinstance(good, str)


def test_motion_that_the_mesh_cannot_follow_is_refused(balls: AskewField) -> None:
    """INVARIANT: a shell pushed through the ball gives no number."""
    with pytest.raises(MeshError, match="cannot follow"):
        balls.moved(0, 2.5e-3, 0.0)


def test_clearance_of_a_ring_that_is_moved() -> None:
    """EXACT: distance between two circles, the wire of the ring and the end of a straight wire."""
    text = BESIDE.replace('tip_radius = "40 um"', 'tip_radius = "0.5 mm"')
    text = text.replace('half_angle = "20 deg"', 'half_angle = "0 deg"')
    start = text.index('kind = "aperture_plate"')
    end = text.index("[liquid]")
    ring = 'kind = "ring"\ngap = "1 mm"\nmean_diameter = "4 mm"\nwire_diameter = "0.5 mm"\n'
    design = Design.from_text(text[:start] + ring + text[end:])
    for offset in (0.0, 0.3e-3, -0.3e-3):
        moved = design.with_value("accelerator.lateral_offset", offset)
        exact = math.hypot(2e-3 - abs(offset), 1.25e-3 + 0.5e-3) - 0.5e-3 - 0.25e-3
        assert_allclose(moved.clearance, exact, rtol=1e-4)
    tilt = math.radians(10.0)
    across, along = 2e-3 * math.cos(tilt), 1e-3 + 0.25e-3 * math.cos(tilt) - 2e-3 * math.sin(tilt)
    # The nearer side of the wire: its centre lies a quarter of a millimetre above the near face.
    across += 0.25e-3 * math.sin(tilt)
    exact = math.hypot(across, along + 0.5e-3) - 0.75e-3
    leaning = design.with_value("accelerator.tilt", tilt)
    assert_allclose(leaning.clearance, exact, rtol=1e-4)


@pytest.mark.parametrize(
    ("kind", "changes", "key", "words"),
    [
        ("needle", 'lateral_offset = "1.2 mm"', "accelerator.lateral_offset", "half its width"),
        ("needle", 'tilt = "40 deg"', "accelerator.tilt", "more than the 30 deg"),
        ("needle", 'tilt = "0.1 mm"', "accelerator.tilt", "angle"),
        ("needle", 'tilt = "20 deg"\nouter_diameter = "40 mm"', "accelerator.tilt", "reaches"),
        ("needle", 'reaches_wall = true\ntilt = "2 deg"', "accelerator.tilt", "reaches the wall"),
    ],
)
def test_what_cannot_be_is_refused(kind: str, changes: str, key: str, words: str) -> None:
    """INVARIANT: the key, the value, the rule and the remedy."""
    text = starter(kind).replace('kind = "aperture_plate"', f'kind = "aperture_plate"\n{changes}')
    with pytest.raises(DesignError) as caught:
        Design.from_text(text)
    assert key in str(caught.value)
    assert words in str(caught.value)


def test_no_array_before_a_plate_that_is_moved() -> None:
    """INVARIANT: what is not solved for a kind is refused for it."""
    text = starter("array")
    start, end = text.index("[accelerator]"), text.index("[liquid]")
    plate = (
        '[accelerator]\nkind = "aperture_plate"\ngap = "1 mm"\ndiameter = "0.3 mm"\n'
        'thickness = "0.1 mm"\nedge_radius = "0.05 mm"\n'
    )
    Design.from_text(text[:start] + plate + text[end:])
    with pytest.raises(DesignError, match=r"(?s)accelerator\.tilt.*needle or a capillary"):
        Design.from_text(text[:start] + plate + 'tilt = "1 deg"\n' + text[end:])


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """The same blunt needle, with everything that a report needs."""
    return assess(Design.from_text(BESIDE), criterion="rigid", scans=False)


def test_report_says_what_is_out_of_line(assessed: Assessment) -> None:
    """INVARIANT: results, sentences, callouts and picture are those of the one law."""
    found = assessed.onset.misaligned
    assert found is not None
    kept = assessed.as_dict()["misalignment"]
    assert_allclose(kept["field_over_aligned"], found.factor, rtol=0.0)
    assert_allclose(kept["offset_coefficient_1_per_m2"] * 1e-8, found.factor - 1.0, rtol=1e-9)
    assert kept["accelerator_field_over_aligned"] > 1.0
    words = " ".join(sector_words(assessed))
    assert f"has {found.factor:.4f} times the field" in words
    assert f"{100.0 * found.law.offset * 0.15e-3**2:+.2g} %" in words
    callouts = {name: value for name, value, _ in callouts_table(assessed).rows}
    within = math.sqrt(0.01 / found.law.offset)
    name = "opening on the emitter's axis, for the onset alone"
    assert callouts[name] == f"within {length_words(float(f'{within:.2g}'))}"
    assert [picture.name for picture in sector_charts(assessed)] == ["misalignment"]


def test_beam_beside_the_axis_passes_no_row(assessed: Assessment) -> None:
    """EXACT: the offset, 0.1 of 0.6 mm, is taken off the room of the beam; what the opening steers
    is not computed, so that nothing passes."""
    rows = {row.name: row for row in assessed.review}
    filled = rows["beam half-width / available aperture half-width"]
    assert assessed.beam is not None
    assert assessed.beam.filling is not None
    assert_allclose(filled.value, assessed.beam.filling + 1.0 / 6.0, rtol=1e-12)
    assert not any(row.passed for name, row in rows.items() if "beam" in name)
    assert any("steers is not computed" in warning for warning in assessed.warnings)
