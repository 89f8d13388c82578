"""Sections: closed, smooth, rightly oriented and true to the drawing.

Oracle: EXACT areas, radii and distances of plane figures; INVARIANT rules that every section obeys.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.curves.clearance import closest_places, inside, ray_distance
from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line, Spline
from conegap.geometries.curves.outline import mirror_image, moved, reversed_chain, rounded_polygon
from conegap.geometries.curves.section import Section
from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.files import examples_folder
from conegap.solver.figures.window import electrodes_window

NAMES = ("capillary", "needle", "profile", "slit")

RING = 'kind = "ring"\nmean_diameter = "3 mm"\nwire_diameter = "0.5 mm"'
PLANE = 'kind = "plane"'

# Every shape that a drawing can ask for: example, accelerator, keys to change.
SHAPES: dict[str, tuple[str, str, dict[str, str]]] = {
    "needle": ("needle", "", {}),
    "bare needle": ("needle", "", {"film_thickness": '"0 um"'}),
    "straight wire": ("needle", "", {"half_angle": '"0 deg"', "tip_radius": '"125 um"'}),
    "needle without shank": ("needle", "", {"half_angle": '"2 deg"'}),
    "needle before a plane": ("needle", PLANE, {}),
    "needle before a ring": ("needle", RING, {}),
    "needle inside its plate": ("needle", "", {"gap": '"-1 mm"\ntip_inside = true'}),
    "capillary": ("capillary", "", {}),
    "capillary pinned at the rim": ("capillary", "", {"contact_line": '"rim"'}),
    "capillary with a round face": ("capillary", PLANE, {"rim_radius": '"25 um"'}),
    "slit": ("slit", "", {}),
    "slit before a plane": ("slit", PLANE, {}),
    "slit with land": ("slit", "", {"land": '"4 um"'}),
    "slit with land and recess": ("slit", "", {"land": '"4 um"', "recess": '"1 um"'}),
    "deep recess": ("slit", "", {"recess": '"9 um"'}),
    "recess of one lip radius": ("slit", "", {"recess": '"3 um"'}),
    "misaligned slit": ("slit", "", {"misalignment_half": '"1 um"'}),
    "misaligned the other way": ("slit", PLANE, {"misalignment_half": '"-4 um"', "land": '"2 um"'}),
    "offset slot": ("slit", "", {"lateral_offset": '"0.2 mm"', "bevel_angle": '"30 deg"'}),
    "profile": ("profile", "", {}),
    "profile before a plane": ("profile", PLANE, {}),
    "extruded profile": ("profile", PLANE, {"revolved": "false"}),
}


def _examples() -> Path:
    """Folder of the shipped examples, which are plain files in a checkout and in a wheel."""
    return Path(str(examples_folder()))


def design_of(example: str, accelerator: str = "", **changes: str) -> Design:
    text = starter(example)
    for key, value in changes.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
        assert count == 1, key
    if changes.get("revolved") == "false":
        text = re.sub(r"(?m)^radius = ", "half_width = ", text)
    if accelerator:
        gap = re.search(r"(?m)^gap = .*$", text)
        assert gap is not None
        body = f"[accelerator]\n{accelerator}\n{gap.group(0)}\n\n[liquid]"
        text = re.sub(r"(?ms)^\[accelerator\].*?^\[liquid\]", lambda _: body, text)
    return Design.from_text(text, name=example, folder=_examples())


def shape(name: str) -> Section:
    example, accelerator, changes = SHAPES[name]
    return design_of(example, accelerator, **changes).section()


def area_of(curves: Sequence[Curve]) -> float:
    """Area inside a closed chain, positive when counterclockwise, by Gauss points on each curve."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    total = 0.0
    for curve in curves:
        for low, high in itertools.pairwise(np.linspace(0.0, 1.0, 17)):
            t = low + (high - low) * (nodes + 1.0) / 2.0
            p, d = curve.point(t), curve.derivative(t)
            flux = p[:, 0] * d[:, 1] - p[:, 1] * d[:, 0]
            total += 0.25 * (high - low) * float(flux @ weights)
    return total


def turns_of(section: Section) -> list[tuple[str, str, float, FloatArray]]:
    """Names on both sides, angle turned to the left and place of each junction."""
    found = []
    for loop in section.loops:
        for one, two in zip(loop, loop[1:] + loop[:1], strict=True):
            u, v = one.curve.tangent([1.0])[0], two.curve.tangent([0.0])[0]
            turn = math.atan2(u[0] * v[1] - u[1] * v[0], float(u @ v))
            found.append((one.name, two.name, turn, one.curve.end))
    return found


# --- rules that every section obeys ------------------------------------------------------------


@pytest.mark.parametrize("name", SHAPES)
def test_the_vacuum_is_on_the_left(name: str) -> None:
    section = shape(name)
    assert area_of([b.curve for b in section.loops[0]]) > 0.0
    for island in section.loops[1:]:
        assert area_of([b.curve for b in island]) < 0.0
    frame = section.outline(samples=129)
    for island in section.loops[1:]:
        assert np.all(inside(island[0].curve.point([0.3]), frame))


@pytest.mark.parametrize("name", SHAPES)
def test_no_electrode_has_a_sharp_convex_edge(name: str) -> None:
    for one, two, turn, where in turns_of(shape(name)):
        assert turn > -1e-6, f"{one} to {two} turns {math.degrees(turn)} deg at {where}"


@pytest.mark.parametrize("name", SHAPES)
def test_conductors_meet_lines_without_flux_at_right_angles(name: str) -> None:
    still = ("axis", "symmetry", "outer")
    for one, two, turn, where in turns_of(shape(name)):
        if (one in still) != (two in still):
            assert_allclose(turn, math.pi / 2.0, atol=2e-5, err_msg=f"{one} to {two} at {where}")


@pytest.mark.parametrize("name", SHAPES)
def test_the_section_stays_at_positive_x_unless_it_is_whole(name: str) -> None:
    section = shape(name)
    left = min(section.outline(i)[:, 0].min() for i in range(len(section.loops)))
    whole = section.symmetry == "planar" and not section.mirrored
    assert (left < -1e-3) if whole else (left > -1e-12)
    assert ("symmetry" in section.boundary_names) == section.mirrored
    assert ("axis" in section.boundary_names) == (section.symmetry == "axisymmetric")


@pytest.mark.parametrize("name", SHAPES)
def test_a_plane_needs_no_chamber(name: str) -> None:
    section = shape(name)
    assert ("chamber" in section.electrodes) == (len(section.loops) > 1)
    assert section.electrodes[:2] == ("emitter", "accelerator")


@pytest.mark.parametrize("name", SHAPES)
def test_the_near_face_lies_at_the_gap(name: str) -> None:
    section = shape(name)
    heights = [
        b.curve.point(np.linspace(0.0, 1.0, 201))[:, 1].min()
        for loop in section.loops
        for b in loop
        if b.name == "accelerator"
    ]
    assert_allclose(min(heights), section.gap, rtol=1e-9)


@pytest.mark.parametrize("name", SHAPES)
def test_an_emitting_edge_lies_on_the_emitter_with_its_radius(name: str) -> None:
    section = shape(name)
    assert section.edges
    for edge in section.edges:
        boundary = section.loops[edge.loop][edge.index]
        assert boundary.name in ("emitter", "liquid")
        assert_allclose(-1.0 / boundary.curve.curvature([edge.t])[0], edge.radius, rtol=1e-9)
        assert abs(boundary.curve.point([edge.t])[0, 1]) < 60e-6


@pytest.mark.parametrize("name", SHAPES)
def test_the_drawing_has_bodies_marks_and_notes(name: str) -> None:
    example, accelerator, changes = SHAPES[name]
    design = design_of(example, accelerator, **changes)
    section = design.section()
    assert {body.material for body in section.bodies} >= {"electrode", "insulator"}
    keys = {d.key for d in design.dimensions()} | {"emitter.points"}
    assert {mark.key for mark in section.marks} <= keys
    assert "accelerator.gap" in {mark.key for mark in section.marks}
    assert any(mark.inset for mark in section.marks)
    text = " ".join(section.notes)
    assert "holder" in text
    assert "insulating floor" in text
    assert ("chamber wall" in text) == ("chamber" in section.electrodes)


@pytest.mark.parametrize("name", SHAPES)
def test_metal_and_vacuum_share_no_area(name: str) -> None:
    section = shape(name)
    frame = section.outline(samples=257)
    for body in section.bodies:
        if body.material != "electrode" or body.label != "emitter":
            continue
        middle = body.outline.mean(axis=0)
        middle[0] = 1e-9 if middle[0] >= 0.0 else middle[0]
        middle[1] = -1.2e-3
        assert not np.any(inside(middle[None, :], frame))


# --- true shape --------------------------------------------------------------------------------


def test_a_wetted_needle_is_offset_by_its_film() -> None:
    """EXACT: offset circle and cone keep their centre and their angle."""
    section = shape("needle")
    cap, cone = section.loops[0][0], section.loops[0][1]
    assert (cap.name, cone.name) == ("liquid", "liquid")
    assert_allclose(cap.curve.start, [0.0, 0.5e-6], atol=1e-18)
    assert_allclose(section.edges[0].radius, 4.5e-6, rtol=1e-12)
    slope = cone.curve.tangent([0.5])[0]
    assert_allclose(math.degrees(math.atan2(slope[0], -slope[1])), 15.0, rtol=1e-12)
    bare = shape("bare needle")
    assert "liquid" not in bare.boundary_names
    normal = cone.curve.normal([0.0])[0]
    away = cone.curve.point([0.0])[0] - bare.loops[0][1].curve.point([0.0])[0]
    assert_allclose(away @ normal, 0.5e-6, rtol=1e-9)


def test_a_straight_wire_before_a_plane_leaves_the_right_area() -> None:
    """EXACT: rectangle less wire, hemisphere, holder and its rounded rim."""
    design = design_of(
        "needle",
        PLANE,
        half_angle='"0 deg"',
        tip_radius='"125 um"',
        film_thickness='"0 um"',
        radius='"10 mm"',
    )
    section = design.section()
    a, tall, rim = 125e-6, 3e-3, 0.2e-3
    holder = design.emitter.holder_half_width
    vacuum = 10e-3 * 5e-3 - a * (tall - a) - math.pi * a**2 / 4.0
    vacuum -= holder * 1e-3 - rim**2 * (1.0 - math.pi / 4.0)
    assert_allclose(area_of([b.curve for b in section.loops[0]]), vacuum, rtol=1e-12)


def test_a_meniscus_stands_on_the_bore_or_covers_the_rim() -> None:
    """EXACT: hemispheres of half the bore and half the outer diameter."""
    bore = shape("capillary").loops[0]
    assert bore[0].name == "liquid"
    assert_allclose(bore[0].curve.start, [0.0, 25e-6], atol=1e-18)
    assert_allclose(bore[0].curve.end, [25e-6, 0.0], atol=1e-18)
    rim = shape("capillary pinned at the rim").loops[0]
    assert_allclose(rim[0].curve.end, [50e-6, -5e-6], atol=1e-18)
    assert_allclose(rim[0].curve.length, 50e-6 * math.pi / 2.0, rtol=1e-12)


def test_the_channel_is_filled_up_to_the_recess() -> None:
    """EXACT: the liquid meets the lip's circle at the recess below its apex."""
    section = shape("slit with land and recess")
    level, lip = section.loops[0][0], section.loops[0][1]
    assert (level.name, lip.name) == ("liquid", "emitter")
    assert_allclose(level.curve.point([0.0, 1.0])[:, 1], -1e-6)
    reach = 0.75e-6 + 3e-6 - math.sqrt(3.0**2 - 2.0**2) * 1e-6
    assert_allclose(level.curve.end[0], reach, rtol=1e-9)
    deep = shape("deep recess").loops[0]
    assert_allclose(deep[0].curve.end, [0.75e-6, -9e-6], rtol=1e-12)
    assert_allclose(deep[1].curve.length, 6e-6, rtol=1e-9)


def test_misalignment_raises_one_lip_and_lowers_the_other() -> None:
    section = shape("misaligned slit")
    apexes = []
    for name in ("left lip", "right lip"):
        edge = section.edge(name)
        curve = section.loops[0][edge.index].curve
        apexes.append(curve.point(np.linspace(0.0, 1.0, 2001))[:, 1].max())
        x = curve.point([edge.t])[0, 0]
        assert (x < 0.0) == (name == "left lip")
    assert_allclose(apexes, [1e-6, -1e-6], atol=1e-11)


def test_a_whole_slit_is_twice_the_half() -> None:
    """EXACT: a slot moved by nothing that can be seen."""
    half = shape("slit")
    whole = Design.read("slit").with_value("accelerator.lateral_offset", 1e-15).section()
    assert half.mirrored
    assert not whole.mirrored
    for part in (half, whole):
        assert part.symmetry == "planar"
    one = area_of([b.curve for b in half.loops[0]])
    assert_allclose(area_of([b.curve for b in whole.loops[0]]), 2.0 * one, rtol=1e-12)
    assert len(whole.loops) == 3


def test_a_bevel_opens_the_slot_away_from_the_emitter() -> None:
    """EXACT: plate area is a trapezium less its rounded corners."""
    section = (
        Design.read("slit").with_value("accelerator.bevel_angle", math.radians(30.0)).section()
    )
    rim, edge, thick = 0.2e-3, 0.15e-3, 0.4e-3
    width = Design.read("slit").accelerator.half_width - 1.3e-3
    lean = thick * math.tan(math.radians(30.0))

    def cut(radius: float, turn: float) -> float:
        return radius**2 * (math.tan(turn / 2.0) - turn / 2.0)

    plate = thick * (width - lean / 2.0) - 2.0 * cut(rim, math.pi / 2.0)
    plate -= cut(edge, math.radians(120.0)) + cut(edge, math.radians(60.0))
    assert_allclose(-area_of([b.curve for b in section.loops[1]]), plate, rtol=1e-12)
    near, far = section.outline(1)[:, 1].min(), section.outline(1)[:, 1].max()
    assert_allclose([near, far], [0.8e-3, 1.2e-3], rtol=1e-12)


def test_a_zero_radius_gives_a_true_corner() -> None:
    for name, key in (("needle", "tip_radius"), ("slit", "lip_radius")):
        changes = {key: '"0 um"'}
        if name == "needle":
            changes["film_thickness"] = '"0 um"'
        section = design_of(name, "", **changes).section()
        edge = section.edges[0]
        assert (edge.radius, edge.t) == (0.0, 0.0)
        assert abs(section.loops[0][edge.index].curve.start[1]) < 1e-18


def test_the_chamber_doubles() -> None:
    design = Design.read("needle")
    wide = design.with_value("chamber.radius", 2.0 * (design.chamber.radius or 0.0)).section()
    assert_allclose(wide.outline()[:, 0].max(), 60e-3, rtol=1e-12)
    tall = design.with_value("chamber.length", 60e-3).section()
    assert_allclose(tall.outline()[:, 1].max(), 61.5e-3, rtol=1e-12)


# --- measured profiles -------------------------------------------------------------------------

CLOSED = """
title = "two closed outlines"
[emitter]
kind = "profile"
points = "emitter.csv"
revolved = {revolved}
[accelerator]
kind = "profile"
points = "accelerator.csv"
[liquid]
metal = "indium"
temperature = "450 K"
[voltages]
emitter = "5 kV"
"""


def write_points(path: Path, points: FloatArray) -> None:
    rows = "\n".join(f"{x:.12f},{z:.12f}" for x, z in points * 1e3)
    path.write_text(f"radius,height\nmm,mm\n{rows}\n", encoding="utf-8")


def spheroid(mu: float, angle: FloatArray) -> FloatArray:
    """Confocal ellipse with half axes sinh(mu) and cosh(mu), in mm."""
    return 1e-3 * np.stack([np.sinh(mu) * np.sin(angle), np.cosh(mu) * np.cos(angle)], axis=1)


@pytest.mark.parametrize("reversed_order", [False, True])
def test_confocal_spheroids_have_their_exact_edge_and_gap(
    tmp_path: Path, reversed_order: bool
) -> None:
    """EXACT: pole radius b^2/a; gap a2 - a1."""
    angle = np.linspace(0.0, math.pi, 81)
    step = -1 if reversed_order else 1
    write_points(tmp_path / "emitter.csv", spheroid(0.3, angle)[::step])
    write_points(tmp_path / "accelerator.csv", spheroid(1.0, angle)[::step])
    design = Design.from_text(CLOSED.format(revolved="true"), folder=tmp_path)
    section = design.section()
    assert section.electrodes == ("emitter", "accelerator")
    assert section.boundary_names == ("emitter", "accelerator", "axis")
    edge = section.edges[0]
    pole = section.loops[0][edge.index].curve.point([edge.t])[0]
    assert_allclose(pole, [0.0, 1e-3 * math.cosh(0.3)], rtol=1e-9, atol=1e-15)
    assert_allclose(edge.radius, 1e-3 * math.sinh(0.3) ** 2 / math.cosh(0.3), rtol=1e-4)
    assert_allclose(section.gap, 1e-3 * (math.cosh(1.0) - math.cosh(0.3)), rtol=1e-9)
    exact = math.pi / 2.0 * 1e-6 * (np.sinh(2.0) - np.sinh(0.6)) / 2.0
    assert_allclose(area_of([b.curve for b in section.loops[0]]), exact, rtol=1e-6)


def test_the_emitter_may_be_the_outer_one(tmp_path: Path) -> None:
    angle = np.linspace(0.0, math.pi, 81)
    write_points(tmp_path / "emitter.csv", spheroid(1.0, angle))
    write_points(tmp_path / "accelerator.csv", spheroid(0.3, angle))
    section = Design.from_text(CLOSED.format(revolved="true"), folder=tmp_path).section()
    assert section.loops[0][0].name == "emitter"
    assert_allclose(section.gap, 1e-3 * (math.cosh(1.0) - math.cosh(0.3)), rtol=1e-9)


def test_confocal_ellipses_are_an_island_in_a_loop(tmp_path: Path) -> None:
    """EXACT: areas of both ellipses, vertex radius b^2/a."""
    angle = np.linspace(0.0, 2.0 * math.pi, 161)
    write_points(tmp_path / "emitter.csv", spheroid(0.3, angle))
    write_points(tmp_path / "accelerator.csv", spheroid(1.0, angle))
    section = Design.from_text(CLOSED.format(revolved="false"), folder=tmp_path).section()
    assert [loop[0].name for loop in section.loops] == ["accelerator", "emitter"]
    areas = [area_of([b.curve for b in loop]) for loop in section.loops]
    half = math.pi / 2.0 * 1e-6
    assert_allclose(areas, [half * math.sinh(2.0), -half * math.sinh(0.6)], rtol=1e-6)
    assert_allclose(section.edges[0].radius, 1e-3 * math.sinh(0.3) ** 2 / math.cosh(0.3), rtol=1e-4)


@pytest.mark.parametrize("revolved", [True, False])
def test_both_closed_outlines_are_drawn_with_their_sizes(tmp_path: Path, revolved: bool) -> None:
    """EXACT: gap, widths 2 sinh and heights 2 cosh; the wall lies outside the outer outline."""
    angle = np.linspace(0.0, math.pi if revolved else 2.0 * math.pi, 161)
    write_points(tmp_path / "emitter.csv", spheroid(0.3, angle))
    write_points(tmp_path / "accelerator.csv", spheroid(1.0, angle))
    text = CLOSED.format(revolved=str(revolved).lower())
    section = Design.from_text(text, folder=tmp_path).section()
    assert [body.label for body in section.bodies] == ["emitter", "accelerator"]
    reach = np.sqrt(section.bodies[1].outline ** 2 @ [np.sinh(1.0) ** -2, np.cosh(1.0) ** -2])
    assert reach.min() >= 1e-3 * (1.0 - 1e-3)
    assert reach.max() > 1.1e-3
    sizes = [math.dist(m.first, m.last) * 1e3 for m in section.marks if m.kind == "linear"]
    wide, tall = 2.0 * np.sinh([0.3, 1.0]), 2.0 * np.cosh([0.3, 1.0])
    exact = [np.cosh(1.0) - np.cosh(0.3), wide[0], tall[0], wide[1], tall[1]]
    assert_allclose(sizes, exact, rtol=1e-4)
    window = electrodes_window(section)
    assert window.right > np.sinh(1.0) * 1e-3
    assert window.low < -np.cosh(1.0) * 1e-3


def test_closed_outlines_that_do_not_enclose_each_other_are_refused(tmp_path: Path) -> None:
    angle = np.linspace(0.0, math.pi, 41)
    write_points(tmp_path / "emitter.csv", spheroid(0.3, angle))
    write_points(tmp_path / "accelerator.csv", spheroid(1.0, angle) * 0.6)
    with refused("", "emitter.csv", "accelerator.csv", kind=GeometryError):
        Design.from_text(CLOSED.format(revolved="true"), folder=tmp_path)


OPEN = """
title = "measured edge"
[emitter]
kind = "profile"
points = "emitter.csv"
revolved = {revolved}
protrusion = "2 mm"
[accelerator]
{accelerator}
[liquid]
metal = "indium"
temperature = "450 K"
[voltages]
emitter = "5 kV"
"""


def hyperbola(x: FloatArray) -> FloatArray:
    """Flank at 17 deg from the axis, vertex radius 6 um, vertex far from z = 0."""
    slope = 1.0 / math.tan(math.radians(17.0))
    b = 6e-6 * slope**2
    return np.stack([x, -np.sqrt(b**2 + (slope * x) ** 2) + 1e-3], axis=1)


@pytest.mark.parametrize("form", ["half", "half reversed", "across", "revolved"])
def test_an_open_outline_goes_on_down_to_the_holder(tmp_path: Path, form: str) -> None:
    """EXACT: vertex radius 6 um; the apex moves to z = 0 in every form."""
    right = np.linspace(0.0, 60e-6, 121)
    x = np.concatenate([-right[:0:-1], right]) if form == "across" else right
    points = hyperbola(x)
    write_points(tmp_path / "emitter.csv", points[::-1] if "reversed" in form else points)
    text = OPEN.format(
        revolved="true" if form == "revolved" else "false",
        accelerator='kind = "plane"\ngap = "1 mm"',
    )
    section = Design.from_text(text, folder=tmp_path).section()
    edge = section.edges[0]
    boundary = section.loops[0][edge.index]
    assert_allclose(edge.radius, 6e-6, rtol=1e-4)
    assert_allclose(boundary.curve.point([edge.t])[0], [0.0, 0.0], atol=1e-9)
    assert section.mirrored == (form.startswith("half"))
    smooth = [turn for one, two, turn, _ in turns_of(section) if (one, two) == ("emitter",) * 2]
    assert sum(abs(turn) > 1e-6 for turn in smooth) == (2 if form == "across" else 1)


@pytest.mark.parametrize("revolved", ["true", "false"])
def test_an_accelerator_may_be_an_island_of_points(tmp_path: Path, revolved: str) -> None:
    angle = np.linspace(0.0, 2.0 * math.pi, 49)
    circle = 1e-3 * np.stack([2.0 + 0.4 * np.cos(angle), 7.0 + 0.4 * np.sin(angle)], axis=1)
    write_points(tmp_path / "emitter.csv", hyperbola(np.linspace(0.0, 60e-6, 41)))
    write_points(tmp_path / "accelerator.csv", circle)
    accelerator = 'kind = "profile"\npoints = "accelerator.csv"\ngap = "1 mm"'
    if revolved == "false":
        accelerator += "\nmirrored = true"
    text = OPEN.format(revolved=revolved, accelerator=accelerator)
    section = Design.from_text(text, folder=tmp_path).section()
    assert len(section.loops) == 2
    assert section.mirrored == (revolved == "false")
    area = area_of([b.curve for b in section.loops[1]])
    assert_allclose(area, -math.pi * 0.4e-3**2, rtol=1e-6)
    assert_allclose(section.outline(1, 2001)[:, 1].min(), 1e-3, rtol=1e-6)
    # Without a gap the points are in the coordinates of the emitter's file.
    placed = Design.from_text(text.replace('gap = "1 mm"', ""), folder=tmp_path)
    apex = 1e-3 - 6e-6 / math.tan(math.radians(17.0)) ** 2
    assert_allclose(placed.gap, 6.6e-3 - apex, rtol=1e-6)


def test_an_accelerator_may_be_a_body_on_the_axis(tmp_path: Path) -> None:
    angle = np.linspace(0.0, math.pi, 31)
    write_points(tmp_path / "emitter.csv", hyperbola(np.linspace(0.0, 60e-6, 41)))
    write_points(
        tmp_path / "accelerator.csv", 1e-3 * np.stack([np.sin(angle), np.cos(angle)], axis=1)
    )
    accelerator = 'kind = "profile"\npoints = "accelerator.csv"\ngap = "1 mm"'
    section = Design.from_text(
        OPEN.format(revolved="true", accelerator=accelerator), folder=tmp_path
    ).section()
    assert len(section.loops) == 1
    assert [b.name for b in section.loops[0]].count("axis") == 2
    assert_allclose(section.gap, 1e-3)


def test_corners_stay_sharp_where_asked(tmp_path: Path) -> None:
    points = 1e-3 * np.array([[0.0, 0.0], [0.1, 0.0], [0.2, -0.2], [0.3, -1.0]])
    write_points(tmp_path / "emitter.csv", points)
    text = OPEN.format(revolved="true", accelerator='kind = "plane"\ngap = "1 mm"')
    text = text.replace('points = "emitter.csv"', 'points = "emitter.csv"\ncorners = true')
    edge = Design.from_text(text, folder=tmp_path).section().edges[0]
    assert (edge.index, edge.t, edge.radius) == (1, 0.0, 0.0)


# --- curves and outlines -----------------------------------------------------------------------


@pytest.mark.parametrize("mirror", [False, True])
def test_a_spline_ends_exactly_on_its_end_points(mirror: bool) -> None:
    points = hyperbola(np.linspace(0.0, 60e-6, 9))
    spline = Spline.through(points, mirror_first=mirror)
    assert_allclose(spline.start, points[0], atol=1e-18)
    assert_allclose(spline.end, points[-1], atol=1e-18)


def test_a_rounded_square_loses_its_corners() -> None:
    """EXACT: area less (4 - pi) r^2, length less (8 - 2 pi) r."""
    square = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)]
    curves = rounded_polygon(square, [0.5] * 4, closed=True)
    assert_allclose(area_of(curves), 4.0 - (4.0 - math.pi) * 0.25, rtol=1e-12)
    assert_allclose(sum(c.length for c in curves), 8.0 - (8.0 - 2.0 * math.pi) * 0.5, rtol=1e-12)
    for one, two in zip(curves, curves[1:] + curves[:1], strict=True):
        assert_allclose(one.end, two.start, atol=1e-12)
        assert_allclose(one.tangent([1.0]), two.tangent([0.0]), atol=1e-12)
    whole = rounded_polygon(square, [1.0] * 4, closed=True)
    assert all(isinstance(curve, Arc) for curve in whole)
    assert_allclose(area_of(whole), math.pi, rtol=1e-12)


def test_radii_that_do_not_fit_are_refused() -> None:
    with refused("", "2 m long", "2.2 m", kind=GeometryError):
        rounded_polygon([(0, 0), (2, 0), (2, 2), (0, 2)], [1.1] * 4, closed=True)
    with pytest.raises(GeometryError):
        rounded_polygon([(0, 0), (0, 0), (2, 2)], [0.0] * 3)


def test_mirroring_moving_and_reversing_keep_the_area() -> None:
    angle = np.linspace(0.0, 2.0 * math.pi, 41)
    spline = Spline.through(spheroid(0.5, angle), closed=True)
    for curves in (
        rounded_polygon([(1, 0), (3, 0), (2, 2)], [0.2] * 3, closed=True),
        [spline],
    ):
        area = area_of(curves)
        assert_allclose(area_of(mirror_image(curves)), area, rtol=1e-12)
        assert_allclose(area_of(moved(curves, 3.0, -2.0)), area, rtol=1e-6)
        assert_allclose(area_of(reversed_chain(curves)), -area, rtol=1e-12)
        mirrored = np.vstack([c.point([0.0]) for c in mirror_image(curves)])
        assert_allclose(mirrored[0], curves[-1].end * [-1.0, 1.0], atol=1e-12)


def test_distances_between_outlines() -> None:
    """EXACT: a unit square."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    found = closest_places(np.array([[3.0, 0.25], [0.5, 1.5]]), square)
    assert_allclose([found.distance, *found.last], [0.5, 0.5, 1.0])
    points = np.array([[0.5, 0.5], [1.5, 0.5], [-0.1, 0.1], [0.9, 0.999]])
    assert inside(points, square).tolist() == [True, False, False, True]
    assert_allclose(ray_distance(np.array([0.5, -1.0]), np.array([0.0, 1.0]), square), 1.0)
    assert ray_distance(np.array([2.0, -1.0]), np.array([0.0, 1.0]), square) == math.inf


def test_a_line_is_never_divided_by_a_needless_point() -> None:
    curves = rounded_polygon([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)], [0.0, 0.0, 0.0])
    assert [type(curve) for curve in curves] == [Line, Line]


@pytest.mark.parametrize(
    ("name", "widest"), [("needle", 40e-6), ("capillary", 49.9e-6), ("slit", 6.5e-6)]
)
def test_metal_top_is_the_drawn_metal(name: str, widest: float) -> None:
    """EXACT: the height that liquid may rest on is that of the drawn metal, bare of any film."""
    design = Design.read(name)
    bare = design.with_value("liquid.film_thickness", 0.0) if name == "needle" else design
    curves = [b.curve for b in bare.section().loops[0] if b.name == "emitter"]
    points = np.vstack([curve.point(np.linspace(0.0, 1.0, 801)) for curve in curves])
    near = points[(points[:, 0] <= widest) & (points[:, 1] > -0.2e-3)]
    near = near[np.isfinite(design.emitter.metal_top(near[:, 0] + 1e-12))]
    assert len(near) > 100
    assert_allclose(design.emitter.metal_top(near[:, 0]), near[:, 1], rtol=0, atol=1e-9)


def test_metal_under_the_liquid_of_a_slit_is_round_and_the_channel_open() -> None:
    """EXACT: the inner half of a lip is a circle of its radius; no metal lies over the channel."""
    slit = Design.read("slit").emitter
    inner, radius = 0.75e-6, 3e-6
    x = np.linspace(inner, inner + radius, 50)
    on_circle = np.hypot(x - inner - radius, slit.metal_top(x) + radius)
    assert_allclose(on_circle, radius, rtol=1e-12, atol=0)
    assert np.all(np.isneginf(slit.metal_top(np.array([0.0, 0.99 * inner]))))
