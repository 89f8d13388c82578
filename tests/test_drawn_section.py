"""Sections drawn in DXF: read, joined, framed, solved, and refused with the place that is wrong."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.curves.curve import Arc, Line
from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter, starter_tables
from conegap.geometries.imported.drawn_piece import ArcPiece
from conegap.geometries.imported.redrawn import nearest_parameters, redrawn
from conegap.geometries.quantities.errors import DesignError, GeometryError, SharpEdgeError
from conegap.solver.commands.main import main
from conegap.solver.field.solution import solve_field
from conegap.solver.onset.rigid import rigid_onset, rigid_onset_of_solution
from conegap.validation.exact import fields as exact

DESIGN = """
[emitter]
kind = "drawn"
file = "gap.dxf"
revolved = {revolved}
{more}
[liquid]
metal = "gallium"
temperature = "313 K"
[voltages]
emitter = "5 kV"
"""
UP = math.pi / 2.0


def drawing(unit: int = 4) -> tuple[Any, Any]:
    """An empty drawing and its model space; 4 stands for millimetres, 0 for no unit."""
    document = ezdxf.new("R2010")
    document.units = unit
    return document, document.modelspace()


def design_of(document: Any, folder: Path, *, revolved: bool = True, more: str = "") -> Design:
    document.saveas(folder / "gap.dxf")
    text = DESIGN.format(revolved="true" if revolved else "false", more=more)
    return Design.from_text(text, "gap.toml", folder)


def hyperbola_drawing(
    radius: float, gap: float, *, place: tuple[float, float] = (0.0, 50.0), unit: int = 4
) -> Any:
    """A hyperbola before a plane, cut at a confocal ellipse, [mm]: an exact rational spline."""
    document, space = drawing(unit)
    focal, wide, last = math.sqrt(gap * (gap + radius)), math.sqrt(gap * radius), math.acosh(2.0)

    def at(x: float, z: float) -> tuple[float, float]:
        return place[0] + x, place[1] + z

    def needle(u: float, shrink: float = 1.0) -> tuple[float, float]:
        return at(wide * math.sinh(u) / shrink, gap - gap * math.cosh(u) / shrink)

    weight = math.cosh(last / 2.0)
    corners = [needle(0.0), needle(last / 2.0, weight), needle(last)]
    space.add_rational_spline(corners, [1.0, weight, 1.0], 2, dxfattribs={"layer": "EMITTER"})
    tall, half = 2.0 * focal, focal * math.sinh(last)
    space.add_ellipse(
        at(0.0, gap),
        (0.0, tall, 0.0),
        half / tall,
        -math.asin(gap / focal) - UP,
        -UP,
        dxfattribs={"layer": "outer"},
    )
    space.add_line(at(half, gap), at(0.0, gap), dxfattribs={"layer": "Accelerator"})
    return document, space, at


@pytest.mark.parametrize("ratio", [10.0, 1000.0])
def test_a_drawn_hyperboloid_has_its_exact_edge_field(ratio: float, tmp_path: Path) -> None:
    """EXACT: prolate spheroidal coordinates; spline and ellipse from the drawing, axis left out."""
    document, *_ = hyperbola_drawing(0.5 / ratio, 0.5)
    design = design_of(document, tmp_path)
    section = design.section()
    assert [b.name for b in section.loops[0]].count("axis") == 1
    assert_allclose(section.gap, 0.5e-3, rtol=1e-9)
    assert_allclose(section.edges[0].radius, 0.5e-3 / ratio, rtol=2e-5)
    solution = solve_field(section)
    edge = solution.edge("edge", {"emitter": 1.0})
    wanted = exact.hyperboloid_field(voltage=1.0, radius=0.5e-3 / ratio, gap=0.5e-3)
    assert abs(edge.value / wanted - 1.0) < max(2e-4, edge.error)
    assert edge.error < 1e-3
    onset = rigid_onset_of_solution(design, solution)
    gamma = float(design.metal.surface_tension(313.0))
    electric_bond_number = math.sqrt(2.0 * gamma * 2.0 / (0.5e-3 / ratio) / 8.8541878128e-12)
    assert_allclose(onset.voltage, electric_bond_number / wanted, rtol=2e-4)


def test_a_drawn_hyperbolic_blade_is_its_own_mirror_image(tmp_path: Path) -> None:
    """EXACT: confocal hyperbola before a plane, planar, half drawn beside a line of symmetry."""
    document, space, at = hyperbola_drawing(0.05, 0.5)
    space.add_line(at(0.0, 0.0), at(0.0, 0.5), dxfattribs={"layer": "symmetry"})
    design = design_of(document, tmp_path, revolved=False)
    assert design.section().mirrored
    value = solve_field(design.section()).edge("edge", {"emitter": 1.0}).value
    assert_allclose(
        value, exact.planar_hyperbola_field(voltage=1.0, radius=5e-5, gap=5e-4), rtol=2e-4
    )


def test_coaxial_circles_drawn_anywhere_on_the_sheet(tmp_path: Path) -> None:
    """EXACT: V / (R ln(R2 / R1)) between circles; polyline bulges, a marked edge, unit inch."""
    document, space = drawing(1)
    for radius, layer in ((1.0, "emitter"), (3.0, "accelerator")):
        space.add_lwpolyline(
            [(7.0 - radius, 9.0, 1.0), (7.0 + radius, 9.0, 1.0)],
            format="xyb",
            close=True,
            dxfattribs={"layer": layer},
        )
    design = design_of(document, tmp_path, revolved=False)
    section = design.section()
    assert len(section.loops) == 2
    assert_allclose(section.gap, 2.0 * 0.0254, rtol=1e-9)
    value = solve_field(section).edge("edge", {"emitter": 1.0}).value
    assert_allclose(value, 1.0 / (0.0254 * math.log(3.0)), rtol=1e-3)


@pytest.mark.parametrize("way", ["y", "-y", "x", "-x"])
def test_concentric_spheres_in_every_direction_of_the_sheet(way: str, tmp_path: Path) -> None:
    """EXACT: V R2 / (R1 (R2 - R1)); arcs on either side of an axis that lies anywhere."""
    document, space = drawing()
    angle = {"y": 90.0, "-y": -90.0, "x": 0.0, "-x": 180.0}[way]
    for radius, layer in ((1.0, "emitter"), (3.0, "accelerator")):
        start = angle if way != "-x" else angle - 180.0
        space.add_arc((20.0, 30.0), radius, start, start + 180.0, dxfattribs={"layer": layer})
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    for sign in (1.0, -1.0):
        ends = [(20.0 + sign * r * c, 30.0 + sign * r * s) for r in (1.0, 3.0)]
        space.add_line(*ends, dxfattribs={"layer": "axis"})
    design = design_of(document, tmp_path, more=f'axis = "{way}"')
    section = design.section()
    assert_allclose(section.edges[0].radius, 1e-3, rtol=1e-9)
    assert_allclose(section.gap, 2e-3, rtol=1e-6)
    if way == "-x":
        value = solve_field(section).edge("edge", {"emitter": 1.0}).value
        assert_allclose(value, 3.0 / (1e-3 * 2.0), rtol=1e-3)


def test_the_example_equals_the_needle_of_its_dimensions() -> None:
    """INVARIANT: the same gap by dimensions: same cone and plate, so the same onset within 2 %."""
    text = """
        [emitter]
        kind = "needle"
        tip_radius = "5 um"
        half_angle = "12 deg"
        shank_diameter = "0.25 mm"
        shoulder_radius = "0.1 mm"
        protrusion = "3 mm"
        holder_diameter = "4 mm"
        holder_thickness = "1 mm"
        holder_edge_radius = "0.2 mm"
        [accelerator]
        kind = "aperture_plate"
        gap = "1 mm"
        diameter = "2 mm"
        thickness = "0.5 mm"
        edge_radius = "0.1 mm"
        outer_diameter = "12 mm"
        [liquid]
        metal = "indium"
        temperature = "450 K"
        [voltages]
        emitter = "5 kV"
        accelerator = "-0.5 kV"
        [chamber]
        radius = "12 mm"
        length = "6.5 mm"
    """
    given = rigid_onset(Design.from_text(text), meshes=2)
    drawn = rigid_onset(Design.read("drawn"), meshes=2)
    assert_allclose(drawn.voltage, given.voltage, rtol=5e-4)


def test_the_drawing_decides_nothing_by_chance(tmp_path: Path) -> None:
    """INVARIANT: other layers, text, blocks, the order and sense of the lines change nothing."""
    document, space, _ = hyperbola_drawing(0.05, 0.5)
    space.add_line((0.0, 0.0), (500.0, 0.0), dxfattribs={"layer": "frame"})
    space.add_text("R 0.05", dxfattribs={"layer": "emitter notes"})
    block = document.blocks.new("PLATE")
    line = next(e for e in space if e.dxf.layer == "Accelerator")
    block.add_line(line.dxf.end, line.dxf.start, dxfattribs={"layer": "Accelerator"})
    space.delete_entity(line)
    space.add_blockref("PLATE", (0.0, 0.0))
    design = design_of(document, tmp_path)
    plain = design_of(hyperbola_drawing(0.05, 0.5)[0], tmp_path)
    one, other = design.section(), plain.section()
    assert [b.name for b in one.loops[0]].count("emitter") == 1
    assert_allclose(np.sort(one.outline(), axis=0), np.sort(other.outline(), axis=0), atol=1e-12)
    assert "frame" in " ".join(one.notes)


def test_a_drawing_without_unit_asks_for_it(tmp_path: Path) -> None:
    """INVARIANT: no unit, no number: the message gives the size and the remedy; the unit works."""
    document, *_ = hyperbola_drawing(0.05, 0.5, unit=0)
    with refused("emitter.unit", "gap.dxf", "0.9083 x 1", 'unit = "mm"'):
        design_of(document, tmp_path)
    design = design_of(document, tmp_path, more='unit = "um"')
    assert_allclose(design.gap, 0.5e-6, rtol=1e-9)
    with refused("emitter.unit"):
        design_of(document, tmp_path, more='unit = "volt"')


def test_a_unit_against_the_drawings_own_is_used_and_said(tmp_path: Path) -> None:
    """INVARIANT: the design has the last word, with a warning."""
    design = design_of(hyperbola_drawing(0.05, 0.5)[0], tmp_path, more='unit = "um"')
    assert_allclose(design.gap, 0.5e-6, rtol=1e-9)
    assert any("says that it is drawn in mm" in w for w in design.warnings)


def test_a_gap_in_the_outline_is_reported_with_its_place(tmp_path: Path) -> None:
    """INVARIANT: the message names both open ends, their distance and the layers left out."""
    document, space, _ = hyperbola_drawing(0.05, 0.5, place=(0.0, 0.0))
    line = next(e for e in space if e.dxf.layer == "Accelerator")
    line.dxf.start = line.dxf.start - ezdxf.math.Vec3(0.01, 0.0)
    space.add_line((0.0, 0.0), (1.0, 1.0), dxfattribs={"layer": "hatch"})
    with refused(
        "",
        "'accelerator' ends at (0.8983 mm, 0.5 mm), 10 um from",
        "'outer' at (0.9083 mm, 0.5 mm)",
        "hatch",
        kind=GeometryError,
    ):
        design_of(document, tmp_path)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("twice", ("3 lines", "(0.9083 mm, 0.5 mm)")),
        ("slip", ("'emiter'", "'emitter'")),
        ("no accelerator", ("named accelerator", "chamber")),
        ("both halves", ("'axis'", "(-0.15 mm, 0.2 mm)")),
        ("text", ("TEXT", "layer emitter")),
        ("short", ("emitter and accelerator", "(0.2739 mm, -0.5 mm)")),
        ("crossed", ("itself", "(0.9083 mm, 0.5 mm)")),
    ],
)
def test_a_drawing_that_is_wrong_is_refused(
    change: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    """INVARIANT: each slip of a drawing has its own words."""
    document, space, _ = hyperbola_drawing(0.05, 0.5, place=(0.0, 0.0))
    line = next(e for e in space if e.dxf.layer == "Accelerator")
    if change == "twice":
        space.add_line(line.dxf.start, line.dxf.end, dxfattribs={"layer": "accelerator"})
    elif change == "slip":
        space.add_line((5.0, 5.0), (6.0, 6.0), dxfattribs={"layer": "emiter"})
    elif change == "no accelerator":
        line.dxf.layer = "chamber"
    elif change == "both halves":
        space.add_line((0.0, 0.0), (-0.3, 0.2), dxfattribs={"layer": "axis"})
        space.add_line((-0.3, 0.2), (0.0, 0.5), dxfattribs={"layer": "axis"})
    elif change == "short":
        next(e for e in space if e.dxf.layer == "outer").dxf.layer = "accelerator"
    elif change == "crossed":
        inner = line.dxf.start * 0.4 + line.dxf.end * 0.6
        for a, b in ((line.dxf.start, (0.1, 50.3)), ((0.1, 50.3), (0.4, 50.7))):
            space.add_line(a, b, dxfattribs={"layer": "accelerator"})
        space.add_line((0.4, 50.7), (0.4, 50.2), dxfattribs={"layer": "accelerator"})
        space.add_line((0.4, 50.2), inner, dxfattribs={"layer": "accelerator"})
        line.dxf.start = inner
    else:
        space.add_text("R", dxfattribs={"layer": "emitter"})
    with refused("", *words):
        design_of(document, tmp_path)


def test_names_give_layers_their_meaning(tmp_path: Path) -> None:
    """INVARIANT: a layer of another name counts as the boundary it is given."""
    document, space, _ = hyperbola_drawing(0.05, 0.5)
    next(e for e in space if e.dxf.layer == "Accelerator").dxf.layer = "ANODE 2"
    design = design_of(document, tmp_path, more='names = { "anode 2" = "accelerator" }')
    assert "accelerator" in design.section().boundary_names
    with refused("emitter.names", "'anode'"):
        design_of(document, tmp_path, more='names = { "anode 2" = "anode" }')


def test_a_sharp_corner_has_no_field(tmp_path: Path) -> None:
    """INVARIANT: an apex between straight lines is refused where the field is asked for."""
    document, space = drawing()
    corners = [(0.0, 0.0), (0.2, -1.0), (3.0, -1.0), (3.0, 1.0), (0.0, 1.0)]
    layers = ["emitter", "outer", "outer", "accelerator"]
    for a, b, layer in zip(corners[:-1], corners[1:], layers, strict=True):
        space.add_line(a, b, dxfattribs={"layer": layer})
    design = design_of(document, tmp_path)
    assert design.section().edges[0].radius == 0.0
    with pytest.raises(SharpEdgeError):
        solve_field(design.section(), meshes=2).edge("edge", {"emitter": 1.0})


def test_a_point_marks_the_emitting_edge(tmp_path: Path) -> None:
    """INVARIANT: of two rounded lips the marked one is taken."""
    document, space, at = hyperbola_drawing(0.05, 0.5)
    space.add_point(at(0.02, -0.004), dxfattribs={"layer": "edge"})
    edge = design_of(document, tmp_path).section().edges[0]
    assert 0.0 < edge.t < 0.2


def test_accelerator_and_chamber_sections_are_refused(tmp_path: Path) -> None:
    """INVARIANT: what the drawing holds may not be given a second time."""
    document, *_ = hyperbola_drawing(0.05, 0.5)
    more = '[accelerator]\nkind = "plane"\ngap = "1 mm"\n[chamber]\nradius = "3 mm"'
    with pytest.raises(DesignError) as refusal:
        design_of(document, tmp_path, more=more)
    assert refusal.value.keys == ("accelerator", "chamber")


@pytest.mark.parametrize("content", [b"", b"no drawing", b"\x00\xff\x00"])
def test_a_file_that_is_no_drawing_is_refused(content: bytes, tmp_path: Path) -> None:
    """INVARIANT: bad input gives exit code 2 and a message, never a number."""
    (tmp_path / "gap.dxf").write_bytes(content)
    text = DESIGN.format(revolved="true", more="")
    with refused("emitter.file", "gap.dxf"):
        Design.from_text(text, "gap.toml", tmp_path)


@pytest.mark.parametrize("damaged", ["100.1P5", "", "nan", "1e999"])
def test_a_damaged_number_is_not_guessed(damaged: str, tmp_path: Path) -> None:
    """INVARIANT: one broken number in the file refuses the file."""
    text = starter_tables("drawn")[0][1]
    lines = text.splitlines()
    k = next(i for i, line in enumerate(lines) if line.startswith("100.") and i > 20)
    lines[k] = damaged
    (tmp_path / "drawn_gap.dxf").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(DesignError):
        Design.from_text(starter("drawn"), "drawn.toml", tmp_path)


def test_an_arc_survives_turns_reflections_and_new_ends() -> None:
    """EXACT: the image of every point of an arc lies on the image arc."""
    piece = ArcPiece((1.0, 2.0), 3.0, 0.3, 0.3 + 1.4 * math.pi)
    matrix, shift = 2.0 * np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([5.0, -1.0])
    moved = piece.moved(matrix, shift)
    first, last = moved.ends
    curve, off = moved.curve(tuple(first), tuple(last), (False, False))
    t = np.linspace(0.0, 1.0, 9)
    drawn = Arc(piece.centre, piece.radius, piece.first_angle, piece.last_angle).point(t)
    assert_allclose(curve.point(t), drawn @ matrix.T + shift, atol=1e-12)
    assert off == 0.0


def test_a_redrawn_curve_keeps_its_stated_distance() -> None:
    """EXACT: a parabola run through at uneven speed; the spline stays within the tolerance."""

    def position(t: np.ndarray) -> np.ndarray:
        x = np.asarray(t) ** 3
        return np.stack([x, -(x**2)], axis=1)

    curve, off = redrawn(position, first=(0.0, 0.0), last=(1.0, -1.0), on_axis=(True, False))
    points = curve.point(np.linspace(0.0, 1.0, 400))
    assert np.abs(points[:, 1] + points[:, 0] ** 2).max() < 3.0 * off
    assert off < 1e-5 * 0.5
    assert_allclose(curve.curvature([0.0]), -2.0, rtol=1e-4)
    line = Line((0.0, 0.0), (2.0, 0.0))
    assert_allclose(nearest_parameters(line, np.array([[0.5, 0.0], [1.5, 0.0]])), [0.25, 0.75])


def test_the_example_goes_through_the_main_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: onset, report, field files and drawing come from a drawn section as from any."""
    monkeypatch.chdir(tmp_path)
    assert main(["start", "drawn", "--to", "mine.toml"]) == 0
    assert main(["onset", "mine.toml", "--quick", "--xdmf", "--to", "report"]) in (0, 1)
    out = capsys.readouterr().out
    assert "rigid surface" in out
    names = {item.name for item in Path("report").iterdir()}
    assert {"report.html", "field.vtu", "field.xdmf", "section.svg"} <= names
    assert "drawn_gap.dxf" in Path("report/report.html").read_text(encoding="utf-8")
