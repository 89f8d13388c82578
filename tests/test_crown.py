"""Crowns and arrays: their drawing, their refusals, and in which order tips fire."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.quantities.errors import ConegapError
from conegap.geometries.solids.sector import Wedge
from conegap.solver.onset.rigid import rigid_onset
from conegap.solver.studies.firing_order import FiringLaws, influence_matrix, sampled_firing


def design_with(name: str, **changes: str) -> Design:
    """A starter with some lines changed."""
    text = starter(name)
    for key, value in changes.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
        assert count == 1, key
    return Design.from_text(text)


def laws(**changes: object) -> FiringLaws:
    """Laws of a crown whose tips do not feel each other."""
    plain = FiringLaws(
        voltage=5000.0,
        radii=np.array([3e-6, 3.5e-6, 4e-6, 4.5e-6, 5e-6]),
        ratios=np.sqrt(np.array([3.0, 3.5, 4.0, 4.5, 5.0]) / 4.0),
        together=0.0,
        influence=np.zeros(0),
        sideways=(0.0, 0.0),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


# --- drawing -------------------------------------------------------------------------------------


def test_a_crowns_sector_is_half_a_pitch() -> None:
    """EXACT: angle, copies and the tip's place follow from the number of tips."""
    sector = Design.read("crown").sector()
    assert sector is not None
    assert isinstance(sector.region, Wedge)
    assert_allclose(sector.region.angle, math.pi / 24)
    assert sector.copies == 48
    assert sector.tips[0].place == (0.004, 0.0)
    assert sector.tips[0].share == 0.5
    assert sector.electrodes == ("emitter", "accelerator", "chamber")


def test_the_sphere_about_a_tip_holds_no_other_metal() -> None:
    """INVARIANT: it stays off the crest, the accelerator and the plane between two tips."""
    for name in ("crown", "array"):
        design = Design.read(name)
        sector = design.sector()
        assert sector is not None
        for tip in sector.tips:
            assert tip.reach < tip.height
            assert tip.reach < design.gap
            assert isinstance(design.emitter, Crown | TipArray)
            assert tip.reach < design.emitter.pitch_length / 2.0


@pytest.mark.parametrize(
    ("layout", "per_row", "rows", "names", "members"),
    [
        ("linear", 5, 1, ["middle", "tip 2 from the end", "end"], [1, 2, 2]),
        ("linear", 4, 1, ["middle", "end"], [2, 2]),
        ("square", 3, 3, ["middle", "edge (1, 0)", "edge (0, 1)", "corner"], [1, 2, 2, 4]),
        ("square", 2, 2, ["corner"], [4]),
    ],
)
def test_the_quarter_of_an_array_stands_for_all_its_tips(
    layout: str, per_row: int, rows: int, names: list[str], members: list[int]
) -> None:
    """EXACT: names and numbers of the classes of tips; the numbers add up to the array."""
    kind = "slotted_plate" if layout == "linear" else "plane"
    text = starter("array")
    if kind == "plane":
        text = re.sub(
            r"(?s)\[accelerator\].*?\[liquid\]",
            '[accelerator]\nkind = "plane"\ngap = "1 mm"\n[liquid]',
            text,
        )
    for key, value in (("layout", f'"{layout}"'), ("tips_per_row", per_row), ("rows", rows)):
        text = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
    emitter = Design.from_text(text).emitter
    assert isinstance(emitter, TipArray)
    spots = emitter.spots()
    assert [spot.name for spot in spots] == names
    assert [spot.members for spot in spots] == members
    assert sum(members) == emitter.count


def test_a_large_array_is_solved_as_an_endless_one() -> None:
    """EXACT: a quarter of more than nine tips gives way to the unit cell, and a note says so."""
    design = design_with("array", tips_per_row="41")
    sector = design.sector()
    assert sector is not None
    assert [tip.name for tip in sector.tips] == ["inside"]
    assert "endless linear array" in sector.notes[0]


@pytest.mark.parametrize(
    ("name", "changes", "key", "quotes"),
    [
        ("crown", {"tips": "60"}, "emitter.tips", ["60", "feet"]),
        ("crown", {"tip_radius": '"0.2 mm"'}, "emitter.tip_radius", ['"0.2 mm"']),
        ("crown", {"tip_radius": '"0 um"'}, "emitter.tip_radius", ["sharp"]),
        ("crown", {"runout": '"1 mm"'}, "emitter.runout", ['"1 um"']),
        ("crown", {"half_angle": '"80 deg"'}, "emitter.half_angle", ["0.5 and 75 deg"]),
        ("crown", {"lateral_offset": '"1.2 mm"'}, "accelerator.lateral_offset", ["half"]),
        ("crown", {"slot_width": '"9 mm"'}, "accelerator.slot_width", ['"9 mm"']),
        ("crown", {"chamber": '"100 V"'}, "voltages.chamber", ["grounded"]),
        ("crown", {"tips": "24.5"}, "emitter.tips", ["24.5"]),
        ("array", {"rows": "3"}, "emitter.rows", ["3", "one row"]),
        ("array", {"layout": '"square"'}, "accelerator.kind", ["single row"]),
        ("array", {"pitch": '"0.4 mm"'}, "emitter.pitch", ['"0.4 mm"', "feet"]),
        (
            "array",
            {"lateral_offset": '"0.1 mm"', "edge_radius": '"0.1 mm"'},
            "accelerator.lateral_offset",
            ["symmetry"],
        ),
    ],
)
def test_a_wrong_crown_or_array_is_refused(
    name: str, changes: dict[str, str], key: str, quotes: list[str]
) -> None:
    """EXACT: the message names the key, the value and the remedy."""
    text = starter(name)
    for entry, value in changes.items():
        new, count = re.subn(rf"(?m)^{entry} = .*$", f"{entry} = {value}", text)
        text = new if count else text.replace("[liquid]", f"{entry} = {value}\n[liquid]", 1)
    with refused(key, *quotes):
        Design.from_text(text)


def test_a_disc_too_small_for_its_own_edge_is_refused() -> None:
    """EXACT: 8 mm less 7.9 mm leave a disc of 50 um, which no edge of 0.1 mm fits on."""
    with refused("accelerator.edge_radius", "50 um"):
        design_with("crown", slot_width='"7.9 mm"')


def test_an_annular_slot_faces_only_a_crown() -> None:
    """EXACT: before a needle it is refused, and a crown before a ring too."""
    slot = re.search(r"(?s)\[accelerator\].*?\[liquid\]", starter("crown"))
    plate = re.search(r"(?s)\[accelerator\].*?\[liquid\]", starter("needle"))
    assert slot is not None
    assert plate is not None
    with refused("accelerator.kind", "needle", "annular slot"):
        Design.from_text(starter("needle").replace(plate[0], slot[0]))
    with refused("accelerator.kind", "crown", "plane, annular"):
        Design.from_text(starter("crown").replace(slot[0], plate[0]))


def test_the_section_of_a_crown_is_one_tip_alone() -> None:
    """EXACT: the same tip as a needle's, and a note that says what is left out."""
    section = Design.read("crown").section()
    assert section.symmetry == "axisymmetric"
    assert_allclose(section.edges[0].radius, 4.5e-6)
    assert any("one of the crown's 24 tips alone" in note for note in section.notes)


# --- firing order --------------------------------------------------------------------------------


def test_equal_tips_fire_together() -> None:
    """EXACT: without scatter every tip fires at the crown's onset."""
    design = design_with("crown", tip_radius='"4 um"', runout='"0 um"')
    firing = sampled_firing(design, laws(radii=np.array([4e-6]), ratios=np.ones(1)))
    assert_allclose([*firing.first, *firing.last], 5000.0)
    assert (firing.lit_share(4974.0), firing.lit_share(5026.0)) == (0.0, 1.0)
    assert_allclose(firing.typical, 5000.0)


def test_radii_alone_spread_the_onsets_as_order_statistics_say() -> None:
    """EXACT: the medians of the smallest and largest of 24 uniform radii, by their distribution.

    The largest of n uniform numbers has the median 2^(-1/n) of its range (textbook).
    """
    design = design_with("crown", runout='"0 um"')
    firing = sampled_firing(design, laws(), samples=4000)
    share = 0.5 ** (1.0 / 24.0)
    largest, smallest = 3e-6 + 2e-6 * share, 3e-6 + 2e-6 * (1.0 - share)
    assert_allclose(firing.last[1], 5000.0 * math.sqrt(largest / 4e-6), rtol=2e-3)
    assert_allclose(firing.first[1], 5000.0 * math.sqrt(smallest / 4e-6), rtol=2e-3)
    middle = np.interp(5000.0, firing.voltages, firing.fraction[1])
    assert_allclose(middle, 0.5, atol=0.02)


def test_a_raised_tip_fires_earlier_and_holds_its_neighbours_back() -> None:
    """EXACT: rows of the influence matrix add up to the change when all tips rise together."""
    law = laws(together=330.0, influence=np.array([-129.0, -20.0, -4.0]))
    matrix = influence_matrix(law, 24)
    assert_allclose(matrix.sum(axis=1), 330.0)
    assert_allclose(matrix, matrix.T)
    assert matrix[0, 0] == pytest.approx(330.0 + 2.0 * 153.0)
    assert matrix[0, 1] == matrix[0, 23] == -129.0
    assert_allclose(influence_matrix(law, 4)[0], [330.0 + 129.0 * 2 + 20.0 - 0.0, -129, -20, -129])


def test_an_offset_slot_fires_the_far_side_first() -> None:
    """EXACT: with a field that grows towards the slot's edges both sides of the offset lead."""
    design = design_with("crown", tip_radius='"4 um"', runout='"0 um"', lateral_offset='"0.1 mm"')
    law = laws(radii=np.array([4e-6]), ratios=np.ones(1), sideways=(100.0, 4e6))
    firing = sampled_firing(design, law, samples=3)
    assert firing.order[0] == 13
    expected = 5000.0 * math.exp(-(100.0 * 1e-4 + 0.5 * 4e6 * 1e-8))
    assert_allclose(firing.example[12], expected)


@pytest.mark.slow
def test_more_tips_on_the_ring_fire_later() -> None:
    """INVARIANT: neighbours take field away, so 24 tips need more voltage than 12, and a crown
    more than one of its tips alone before the same slot."""
    few = rigid_onset(design_with("crown", tips="12"), meshes=2)
    many = rigid_onset(Design.read("crown"), meshes=2)
    assert many.voltage > 1.02 * few.voltage
    assert many.factor < few.factor < 1.0


def test_every_refusal_of_a_sector_is_one_of_ours() -> None:
    """INVARIANT: a sector too large for the memory is refused before it is solved."""
    from conegap.solver.field3d import sector_solution as sector_field

    with refused("", "5,000,000", "GiB", kind=ConegapError, cause="too large"):
        sector_field._refuse_too_large(5_000_000)
