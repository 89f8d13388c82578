"""Where the contact line sits as the voltage rises: Gibbs's condition on bores, rims and lips."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.constants import g

from conegap.geometries.curves.wall import ContactStart
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.files import examples_folder
from conegap.solver.liquid.contact_line import ContactSolve, slope_on_meshes
from conegap.solver.liquid.contact_section import Wetting, stations
from conegap.solver.liquid.followed_onset import meniscus_onset
from conegap.solver.liquid.meniscus_onset import MeniscusOnset, OtherState
from conegap.solver.liquid.shape import cap
from conegap.solver.liquid.slow_ramp import Ramp, ramp
from conegap.solver.liquid.wetting_states import settled, wetting_of, wetting_states
from conegap.solver.onset.closed_forms import classic_estimate
from conegap.solver.report.words import must_know
from conegap.solver.studies.budget import _angle_ends, _assumed_angle
from conegap.solver.studies.turning_start import TurningStart
from conegap.solver.studies.turning_variants import turning_voltage
from conegap.solver.studies.variants import changed_design


def design_of(name: str, **changes: str) -> Design:
    """A shipped example with other values; a key of the liquid that it lacks is added."""
    text = examples_folder().joinpath(f"{name}.toml").read_text(encoding="utf-8")
    for key, value in changes.items():
        text, count = re.subn(rf"^{key} = .*$", f'{key} = "{value}"', text, flags=re.M)
        if not count:
            text = text.replace("[liquid]", f'[liquid]\n{key} = "{value}"')
    return Design.from_text(text)


def wetting(design: Design) -> Wetting:
    found = wetting_of(design, design.surface_tension)
    assert found is not None
    return found


def test_wall_of_a_capillary_turns_from_the_bore_to_its_outside() -> None:
    """EXACT: up the bore, out over the face, round the rim and down the tube."""
    wall = Design.read("capillary").emitter.wall()
    assert wall is not None
    turned = [math.degrees(wall.at(k, 0.5).tangent) for k in range(len(wall.pieces))]
    assert_allclose(turned, [-90.0, 0.0, 45.0, 90.0], rtol=0, atol=1e-9)
    assert [wall.corner(k) for k in range(4)] == [False, True, False, False]
    edge = wall.at(0, 1.0)
    assert edge.place == "bore's edge"
    assert_allclose(edge.position, (25e-6, 0.0), rtol=0, atol=1e-18)
    assert edge.tangent == 0.0
    half = wall.at(2, 0.5)
    spot = 5e-6 * math.sqrt(0.5)
    assert_allclose(half.position, (45e-6 + spot, -5e-6 + spot), rtol=1e-12, atol=0)
    assert_allclose(half.ahead[0].start, half.position, rtol=1e-12, atol=0)


@pytest.mark.parametrize("pascal", [0.0, 4e3, -6e3])
def test_line_on_a_round_lip_without_field(pascal: float) -> None:
    """EXACT: the arc of a circle meets the round lip at the contact angle.

    With the lip's direction alpha below the horizontal and half width a = h / 2 + r (1 + sin
    alpha), p = gamma sin(theta + alpha) / a: the circle through both lips, elementary geometry
    and the law of Young and Laplace.
    """
    design = design_of("slit", feed_pressure=f"{pascal} Pa", contact_angle="25 deg")
    place = wetting(design)
    piece, t = settled(place, design.emitter.contact_starts()[0], math.radians(25.0))
    contact = place.wall.at(piece, t)
    half = 0.75e-6 + 3e-6 * (1.0 + math.sin(contact.tangent))
    assert_allclose(contact.position[0], half, rtol=1e-9, atol=0)
    bend = math.sin(math.radians(25.0) + contact.tangent) / half
    assert_allclose(bend * design.surface_tension, pascal, rtol=1e-9, atol=1e-6)


def test_solve_with_given_slope_finds_the_surface_without_field() -> None:
    """EXACT: at the slope of the circular arc itself no voltage is needed."""
    design = design_of("slit", feed_pressure="4 kPa")
    place = wetting(design)
    contact = place.wall.at(1, 0.45)
    still = place.still_slope(contact.position[0])
    assert still is not None
    shape = cap(still, place.modes, "planar")
    above = slope_on_meshes(place, contact, shape, None, still + 0.05, (2,))
    at = slope_on_meshes(place, contact, shape, None, still, (2,))
    # The scheme's arc differs from the exact one by the truncation of its quadrature alone.
    assert abs(at.value) < 1e-6 * above.value
    assert above.rises
    assert_allclose(at.shape.coefficients, shape.coefficients, rtol=0, atol=1e-7)


def test_places_of_sharp_lips_begin_at_their_corner() -> None:
    """INVARIANT: the line starts pinned at the channel's edge and passes no place twice."""
    design = design_of("slit", lip_radius="0 um", land="3 um")
    (start,) = design.emitter.contact_starts()
    found = stations(wetting(design).wall, (start.piece, start.t))
    places = [s.contact.position for s in found]
    assert len(set(places)) == len(places)
    assert [s.contact.place for s in found if s.pinned] == ["channel's edge", "outer edge"]


def test_line_that_nothing_holds_runs_on_in_one_step() -> None:
    """EXACT: from a wall that the liquid climbs by itself to the first place that holds it, once,
    however much worse the places between hold it."""
    place = wetting(design_of("slit", recess="10 um"))
    found = stations(place.wall, (0, 0.5))[:5]
    shape = cap(0.1, place.modes, "planar")
    bonds = (-3.0, -1.0, -2.0, 1.0, 0.5)
    solves = [ContactSolve(s, shape, 0.0, b) for s, b in zip(found, bonds, strict=True)]
    followed = ramp((), solves)
    (step,) = followed.steps
    assert (step.load, step.leaves, step.jumps) == (0.0, "channel's wall", True)
    assert followed.last is solves[3]


def test_line_stands_still_between_both_angles() -> None:
    """EXACT: with hysteresis the drawn level stays; without, it draws back to the contact angle."""
    drawn = design_of("slit", contact_angle="20 deg", receding_angle="0 deg")
    place = wetting(drawn)
    start = drawn.emitter.contact_starts()[0]
    assert settled(place, start, drawn.liquid.receding) == (start.piece, start.t)
    piece, t = settled(place, start, math.radians(20.0))
    assert_allclose(place.wall.at(piece, t).tangent, math.radians(-20.0), rtol=1e-9, atol=0)
    # A film that keeps the metal wetted does not recede.
    film = ContactStart("", start.piece, start.t, stays=True)
    assert settled(place, film, math.radians(20.0)) == (start.piece, start.t)


def test_places_of_a_capillary_reach_from_the_bore_to_the_outside() -> None:
    """INVARIANT: in the order of the wall, never two at one place, corners marked."""
    place = wetting(Design.read("capillary"))
    found = stations(place.wall, (1, 0.0))
    assert [s.contact.place for s in found][:2] == ["bore's edge", "end face"]
    along = [(s.piece, s.t) for s in found]
    assert along == sorted(set(along))
    radii = np.array([s.contact.position[0] for s in found])
    assert np.all(np.diff(radii) > -1e-15)
    assert [s.pinned for s in found] == [True] + [False] * (len(found) - 1)


def test_angles_in_the_wrong_order_are_refused() -> None:
    """INVARIANT: a line advances at the largest angle and recedes at the smallest."""
    with refused("liquid.advancing_angle"):
        design_of("capillary", advancing_angle="30 deg")
    with refused("liquid.receding_angle"):
        design_of("capillary", receding_angle="50 deg")


def ramps(design: Design) -> dict[str, Ramp | None]:
    """A slow ramp in every state of wetting, on coarse meshes."""
    return {s.state: s.ramp for s in wetting_states(wetting(design), design)}


def indium(angle: float, **more: str) -> Ramp:
    """The stated state of a tube of its own: 40 um bore with indium, invented."""
    changes = {"bore": "40 um", "metal": "indium", "temperature": "440 K", **more}
    design = design_of("capillary", contact_angle=f"{angle} deg", **changes)
    found = ramps(design)[design.emitter.wetting_state]
    assert found is not None
    return found


@pytest.mark.slow
def test_contact_angle_moves_the_onset_of_a_capillary() -> None:
    """INVARIANT (Gibbs): below the slope without field the face floods; between that and the
    slope at the turning point the line gives way, the later the larger the angle; above it the
    angle has no say."""
    flooded, early, pinned = (indium(a) for a in (10.0, 30.0, 60.0))
    assert flooded.last.station.contact.place == "outer rim"
    assert [step.jumps for step in flooded.steps] == [True]
    assert flooded.steps[0].load == 0.0
    assert early.mode == "contact line gives way"
    assert_allclose(early.last.shape.contact_angle, math.radians(30.0), rtol=1e-9, atol=0)
    assert pinned.mode == "turning point"
    assert flooded.last.load < early.last.load < max(s.load for s in pinned.states)


@pytest.mark.slow
def test_contact_angle_moves_the_onset_of_a_slit() -> None:
    """INVARIANT (Gibbs): the better the liquid wets, the further out the line runs on the lip and
    the lower the voltage that it stands; the ramp's states rise to its end."""
    loads, out = [], []
    for angle in (10.0, 30.0, 50.0):
        design = design_of("slit", contact_angle=f"{angle} deg", channel_height="3 um")
        (found,) = ramps(design).values()
        assert found is not None
        assert found.mode == "turning point, moving line"
        rising = [state.load for state in found.states]
        assert rising == sorted(rising)
        lip = found.last.station.contact.tangent
        assert_allclose(
            found.last.shape.contact_angle - lip, math.radians(angle), rtol=1e-9, atol=0
        )
        loads.append(found.last.load)
        out.append(found.last.radius)
    assert loads == sorted(loads)
    assert out == sorted(out, reverse=True)


@pytest.mark.slow
def test_a_tube_without_an_end_face_has_one_state_of_wetting() -> None:
    """INVARIANT: where the rim's radius is the wall, bore's edge and rim are one place: both
    descriptions of it have the same states and lose their equilibrium at the same load."""
    size = {"outer_diameter": "80 um", "bore": "50 um", "rim_radius": "15 um"}
    dry, wet = (design_of("capillary", contact_line=line, **size) for line in ("bore", "rim"))
    assert dry.emitter.contact_starts() == wet.emitter.contact_starts()
    assert [start.state for start in dry.emitter.contact_starts()] == [""]
    (one,), (two,) = (ramps(design).values() for design in (dry, wet))
    assert one is not None
    assert two is not None
    assert one.mode == two.mode
    assert_allclose(one.last.load, two.last.load, rtol=1e-6)
    # A face between them makes two states again.
    faced = design_of("capillary", **{**size, "rim_radius": "14 um"})
    assert len(faced.emitter.contact_starts()) == 2


@pytest.mark.slow
def test_onset_of_a_tube_that_is_wetted_to_its_rim() -> None:
    """INVARIANT: its own turning point, without falling back to the rigid surface, and the dry
    tube's beside it."""
    design = design_of("capillary", contact_line="rim")
    found = meniscus_onset(design)
    assert found.state == "wetted end face"
    assert found.place == "outer rim"
    assert found.error < 1e-3
    (dry,) = found.others
    assert dry.voltage is not None
    assert dry.place == "bore's edge"
    assert dry.voltage > found.voltage
    assert found.wall_place is not None
    wall = design.emitter.wall()
    assert wall is not None
    # At the top of V(u) a neighbouring place stands less.
    place = wetting(design)
    shape, bond = found.branch.turning.shape, found.branch.turning.electric_bond_number
    piece, t = found.wall_place
    loads = []
    for here in (wall.at(piece, t - 0.15), wall.at(piece, t), wall.at(piece, t + 0.15)):
        slope = place.advancing + here.tangent
        at = slope_on_meshes(place, here, shape, bond, slope, (4,))
        loads.append(at.value * here.position[0])
    assert loads[1] > max(loads[0], loads[2])


@pytest.mark.slow
def test_a_narrower_bore_holds_the_line_that_the_drawn_one_lets_go() -> None:
    """INVARIANT: at 25 degrees the line leaves the bore at 3.80 kV and emits from the rim at
    3.83 kV; a bore within its tolerance of 2 um holds it longer than the rim."""
    design = design_of("capillary", contact_angle="25 deg")
    found = meniscus_onset(design)
    narrow = turning_voltage(design, (("emitter.bore", 48e-6),), start=TurningStart.of(found))
    assert narrow > 1.05 * found.voltage


@pytest.mark.slow
def test_a_face_that_floods_by_itself_ends_as_one_that_is_wetted() -> None:
    """INVARIANT: the line jumps from the bore to the rim, where the wetted face's line is, so that
    both states of wetting lose their equilibrium at one voltage; also where the liquid wets so well
    that no place before the rim holds it."""
    found = meniscus_onset(design_of("capillary", contact_angle="2 deg"))
    (wetted,) = found.others
    assert found.transitions[0].jumps
    assert (wetted.place, wetted.mode) == (found.place, found.mode)
    assert wetted.voltage is not None
    assert_allclose(wetted.voltage, found.voltage, rtol=1e-12, atol=0)


@pytest.mark.slow
def test_angles_beyond_the_turn_shift_the_onset_to_the_turning_point(
    capillary: MeniscusOnset,
) -> None:
    """INVARIANT: a larger angle holds the line until the surface turns, and no further."""
    design = Design.read("capillary")
    start = TurningStart.of(capillary)
    drawn = turning_voltage(design, (), start=start)
    assert_allclose(drawn, capillary.voltage, rtol=2e-3)
    own = meniscus_onset(design.with_value("liquid.contact_angle", math.radians(52.0)))
    assert own.mode == "turning point"
    held = turning_voltage(design, (("liquid.contact_angle", math.radians(52.0)),), start=start)
    assert_allclose(held / drawn, own.voltage / capillary.voltage, rtol=1e-3)


def test_column_is_drawn_up_to_jurins_height() -> None:
    """EXACT: a tube that points up holds its liquid up to h = 2 gamma cos(theta) / (rho g a),
    J. Jurin, Phil Trans 30 (1718) 739, from memory; pointing down the same column pushes."""
    tube = design_of("capillary", feed_pressure="0 Pa", receding_angle="40 deg")
    density = float(tube.metal.density(tube.liquid.temperature))
    height = 2.0 * tube.surface_tension * math.cos(math.radians(40.0)) / (density * g * 25e-6)
    for share in (0.999, 1.001):
        design = design_of(
            "capillary", feed_pressure="0 Pa", column_height=f"{share * height} m", orientation="up"
        )
        assert_allclose(design.edge_pressure, -share * density * g * height, rtol=1e-12, atol=0)
        place = wetting(design)
        start = design.emitter.contact_starts()[0]
        if share < 1.0:
            assert settled(place, start, design.liquid.receding) == (1, 0.0)
        else:
            with refused("liquid.feed_pressure"):
                settled(place, start, design.liquid.receding)
    down = design_of("capillary", column_height="0.1 m", orientation="down")
    assert_allclose(
        down.edge_pressure, down.liquid.feed_pressure + density * g * 0.1, rtol=1e-12, atol=0
    )
    # A column of 0.1 m beats 1 kPa of suction, also in what is said of the closed form.
    pushed = design_of(
        "capillary", feed_pressure="-1 kPa", column_height="0.1 m", orientation="down"
    )
    said = classic_estimate(pushed, radius=25e-6)
    assert said is not None
    assert any("pushes the liquid outward" in departure for departure in said.departures)
    assert f"{pushed.edge_pressure:.4g} Pa" in pushed.pressure_words
    level = design_of("capillary", column_height="0.1 m", orientation="level")
    assert level.edge_pressure == level.liquid.feed_pressure
    with refused("liquid.orientation"):
        design_of("capillary", orientation="up")


@pytest.mark.parametrize(
    ("angles", "key", "low", "high"),
    [
        ({"receding_angle": "35 deg"}, "contact_angle", 30.0, 50.0),
        ({"advancing_angle": "45 deg"}, "advancing_angle", 35.0, 55.0),
        (
            {"advancing_angle": "120 deg", "receding_angle": "1 deg"},
            "advancing_angle",
            110.0,
            130.0,
        ),
        ({"contact_angle": "90 deg"}, "contact_angle", 80.0, 90.0),
        ({"contact_angle": "5 deg"}, "contact_angle", 5e-3, 15.0),
    ],
)
def test_assumed_range_of_the_angle_is_one_that_a_design_may_state(
    angles: dict[str, str], key: str, low: float, high: float
) -> None:
    """INVARIANT: ten degrees either way within receding <= contact <= advancing and within what
    wets; a stated angle nearby does not stop the band."""
    design = design_of("capillary", **angles)
    ten = replace(design.dimension(f"liquid.{key}"), tolerance=math.radians(10.0))
    ends = _angle_ends(design, ten)
    found = [changed_design(design, end).liquid.advancing for end in ends]
    assert_allclose(found, np.radians([low, high]), rtol=1e-12, atol=0)


def test_under_an_oxide_skin_the_angle_is_hardly_known() -> None:
    """EXACT: a contaminated surface has three times the assumed range, and its line does not recede
    where no receding angle is given."""
    for surface, receding, wide in (("clean", 40.0, 10.0), ("contaminated", 0.0, 30.0)):
        design = design_of("capillary", surface=surface, metal="EGaIn")
        assert_allclose(design.liquid.receding, math.radians(receding), rtol=1e-12)
        onset: Any = SimpleNamespace(design=design, meniscus=SimpleNamespace(wall_place=(1, 0.0)))
        (angle,) = _assumed_angle(onset, [])
        assert_allclose(angle.tolerance, math.radians(wide))
    skin = {"surface": "contaminated", "metal": "EGaIn"}
    stated = design_of("capillary", receding_angle="25 deg", **skin)
    assert_allclose(stated.liquid.receding, math.radians(25.0), rtol=1e-12)


@pytest.mark.parametrize(
    ("voltage", "said"), [(None, "floods"), (3e3, "3.00 kV"), (8e3, None)], ids=str
)
def test_a_worse_state_of_wetting_is_said_aloud(voltage: float | None, said: str | None) -> None:
    """INVARIANT: the reader hears of a state that gives way earlier, the more so of one that floods
    without voltage."""
    other = OtherState("wetted end face", voltage, "outer rim", "turning point", 5e-5)
    meniscus = SimpleNamespace(
        voltage=7e3, mode="turning point", place="bore's edge", state="dry", others=(other,)
    )
    assessment: Any = SimpleNamespace(
        onset=SimpleNamespace(meniscus=meniscus), design=Design.read("capillary")
    )
    found = [words for words in must_know(assessment) if "wetted end face" in words]
    assert len(found) == (said is not None)
    assert all(str(said) in words for words in found)
