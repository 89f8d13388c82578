"""Pictures, tables and files of the third dimension, checked on their numbers."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import refused
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from reporting import assessed_needle

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.quantities.errors import OutputError
from conegap.geometries.solids.sector import Sector
from conegap.solver.arrays.screening import Screening, ScreeningPoint
from conegap.solver.arrays.sector_assessment import SectorAssessment, sector_rows
from conegap.solver.assessment import Assessment
from conegap.solver.common.style import pretty, style
from conegap.solver.field.extrapolation import Estimate, estimate
from conegap.solver.field3d.lip_field import LipField
from conegap.solver.field3d.sector_factor import SectorOnset, TipField
from conegap.solver.field3d.sector_solution import SectorLevel, SectorSolution
from conegap.solver.field3d.slit_end import EndPoint, SlitEnd
from conegap.solver.field3d.tetrahedra import TetraMesh
from conegap.solver.figures.depth_image import Camera, Faces, depth_image
from conegap.solver.figures.drawing import Drawing, draw_drawing
from conegap.solver.figures.report_figures import drawing_pictures, svg_of
from conegap.solver.figures.section_view import section_size
from conegap.solver.figures.sector_charts import (
    chart_end_factor,
    chart_firing,
    chart_firing_order,
    chart_lip,
    chart_screening,
    chart_tip_classes,
)
from conegap.solver.figures.sector_pictures import sector_charts
from conegap.solver.figures.solids import plan_drawing, solid_view, true_section_drawing
from conegap.solver.operation.beam_current import CurrentLaw
from conegap.solver.report.sector import (
    end_table,
    firing_table,
    screening_table,
    sector_lines,
    sector_words,
    tips_table,
)
from conegap.solver.report.sector_field_file import (
    exported_level,
    field_in_tetrahedra,
    write_sector_field,
)
from conegap.solver.studies.budget import Budget, Contribution
from conegap.solver.studies.firing_order import Firing


def design_of(name: str) -> Design:
    """Shipped examples, and arrays before a plate with a hole over each tip made from them."""
    if name in ("crown", "array", "slit_end"):
        return Design.read(name)
    layout, rows = {"square": ("square", 3), "hexagonal": ("hexagonal", 6)}[name]
    changed = (
        starter("array")
        .replace('layout = "linear"', f'layout = "{layout}"')
        .replace("rows = 1 ", f"rows = {rows} ")
        .replace('kind = "slotted_plate"', 'kind = "aperture_plate"')
        .replace('slot_width = { value = "2 mm"', 'diameter = { value = "0.9 mm"')
        .replace('edge_radius = "0.1 mm"', 'edge_radius = "0.05 mm"')
    )
    return Design.from_text(changed)


NAMES = ("crown", "array", "square", "hexagonal", "slit_end")


def drawn(drawing: Drawing):  # type: ignore[no-untyped-def]
    with style():
        figure = Figure(figsize=section_size(drawing.window, 4.6))
        FigureCanvasAgg(figure)
        return draw_drawing(figure.add_axes((0.01, 0.01, 0.98, 0.98)), drawing)


def clashes(axes) -> list[tuple[str, str]]:  # type: ignore[no-untyped-def]
    axes.figure.draw_without_rendering()
    renderer = axes.figure.canvas.get_renderer()
    found = [(t.get_text(), t.get_window_extent(renderer)) for t in axes.texts if t.get_text()]
    pairs = []
    for k, (one, box) in enumerate(found):
        for other, there in found[k + 1 :]:
            wide = min(box.x1, there.x1) - max(box.x0, there.x0)
            tall = min(box.y1, there.y1) - max(box.y0, there.y0)
            if wide > 0.5 and tall > 0.5:
                pairs.append((one, other))
    frame = axes.figure.bbox
    for text, box in found:
        outside = max(frame.x0 - box.x0, box.x1 - frame.x1, frame.y0 - box.y0, box.y1 - frame.y1)
        if outside > 1.0:
            pairs.append((text, "the page's edge"))
    return pairs


@pytest.mark.parametrize("which", [plan_drawing, true_section_drawing])
@pytest.mark.parametrize("name", NAMES)
def test_drawing_is_true_to_scale_and_its_texts_keep_apart(name: str, which) -> None:  # type: ignore[no-untyped-def]
    """INVARIANT: one metre is as long across as up, every dimension is written, none overlap."""
    drawing = which(design_of(name))
    axes = drawn(drawing)
    per_x, per_y = np.diff(axes.transData.transform([[0, 0], [1, 1]]), axis=0)[0]
    assert_allclose(per_x, per_y, rtol=1e-9)
    written = [text.get_text() for text in axes.texts]
    for mark in drawing.marks:
        assert pretty(mark.label) in written
    assert clashes(axes) == []


def test_pitch_dimension_has_the_length_of_the_pitch() -> None:
    """EXACT: ends of the dimension lines against the design's numbers."""
    design = design_of("hexagonal")
    assert isinstance(design.emitter, TipArray)
    for drawing in (plan_drawing(design), true_section_drawing(design)):
        mark = next(m for m in drawing.marks if m.key == "emitter.pitch")
        assert_allclose(mark.last[0] - mark.first[0], 1.2e-3, rtol=1e-12)
    mark = next(m for m in plan_drawing(design).marks if m.key == "rows")
    assert_allclose(abs(mark.last[1] - mark.first[1]), 1.2e-3 * math.sqrt(0.75), rtol=1e-12)


def test_tips_of_the_plan_are_those_of_the_sector() -> None:
    """INVARIANT: the sector's tips stand in the plan; neighbours are a pitch apart."""
    for name in ("crown", "array", "square"):
        design = design_of(name)
        sector = design.sector()
        assert sector is not None
        places = np.array(design.emitter.tip_places())
        for tip in sector.tips:
            assert np.hypot(*(places - tip.place).T).min() < 1e-12
    places = np.array(design_of("hexagonal").emitter.tip_places())
    near = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    np.fill_diagonal(near, np.inf)
    assert_allclose(near.min(axis=1), 1.2e-3, rtol=1e-9)


def test_crown_section_cuts_ring_and_slot_where_they_are() -> None:
    """EXACT: outlines of the section against the design's numbers."""
    design = design_of("crown")
    crown = design.emitter
    assert isinstance(crown, Crown)
    shapes = true_section_drawing(design).shapes
    ring = next(s.outline for s in shapes if s.look == "cut")
    assert_allclose(ring[:, 1].max(), 0.0, atol=1e-12)
    assert_allclose(ring[np.argmax(ring[:, 1]), 0], 4e-3, rtol=1e-9)
    assert_allclose(np.ptp(ring[:, 0]), crown.body_width, rtol=1e-9)
    disc, plate = (s.outline for s in shapes if s.look == "cut_other")
    assert_allclose((disc[:, 0].max(), plate[:, 0].min()), (3e-3, 5e-3), rtol=1e-9)
    assert_allclose(disc[:, 1].min(), design.gap, rtol=1e-12)


def test_nearer_face_hides_the_farther_one() -> None:
    """EXACT: a half plane above another takes its half of the picture; area of a triangle."""
    square = np.array([[[-1, -1], [1, -1], [1, 1]], [[-1, -1], [1, 1], [-1, 1]]], dtype=float)
    low = np.concatenate([square, np.zeros((2, 3, 1))], axis=2)
    high = low * [0.5, 1.0, 1.0] + [0.5, 0.0, 1.0]
    up = np.broadcast_to([0.0, 0.0, 1.0], (4, 3, 3))
    tints = np.array([[1.0, 0.0, 0.0]] * 2 + [[0.0, 0.0, 1.0]] * 2)
    faces = Faces(np.concatenate([high, low]), up, tints)
    camera = Camera(-math.pi / 2.0, math.pi / 2.0)
    picture = depth_image(faces, camera, (-2.0, 2.0, -2.0, 2.0), 200)
    seen = picture[:, :, 3] > 0.0
    assert_allclose(seen.mean(), 0.25, atol=0.01)
    red = (picture[:, :, 0] > 0.4) & seen
    blue = (picture[:, :, 2] > 0.4) & seen
    assert_allclose(red.mean(), 0.125, atol=0.01)
    assert_allclose(blue.mean(), 0.125, atol=0.01)
    assert red[:, :95].sum() == 0


@pytest.mark.parametrize("name", NAMES)
def test_view_shows_the_electrodes_as_dimensioned(name: str) -> None:
    """EXACT: extent of the faces against the design; normals are of length one."""
    design = design_of(name)
    faces = solid_view(design).faces
    z = faces.corners[:, :, 2]
    top = design.gap + design.accelerator.depth
    assert_allclose(z.max(), top, rtol=1e-9)
    assert_allclose(np.linalg.norm(faces.normals, axis=2), 1.0, rtol=1e-9)
    below = design.emitter.height + design.emitter.holder_thickness
    assert_allclose(z.min(), -below, rtol=1e-9)


def test_drawings_are_small_files_with_words() -> None:
    """INVARIANT: plan, true section and view come first; below 600 kB each; alt texts say it."""
    pictures = drawing_pictures(design_of("crown"))
    assert [p.name for p in pictures] == ["plan", "true_section", "view", "section", "edge"]
    for picture in pictures:
        assert len(svg_of(picture.figure)) < 600_000
        assert len(picture.alt) > 30
    assert "one tip alone" in pictures[3].caption
    assert "24 tips" in pictures[0].alt
    assert [p.name for p in drawing_pictures(Design.read("needle"))] == ["section", "edge"]


def cube() -> TetraMesh:
    """A unit cube of six tetrahedra with named lower and upper faces."""
    points = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float)
    order = [(0, 1, 3, 7), (0, 1, 5, 7), (0, 2, 3, 7), (0, 2, 6, 7), (0, 4, 5, 7), (0, 4, 6, 7)]
    low, high = [[0, 1, 3], [0, 2, 3]], [[4, 5, 7], [4, 6, 7]]
    return TetraMesh(
        points=points,
        tetrahedra=np.array(order),
        triangles=np.array([*low, *high, [0, 1, 7]]),
        names=np.array(["emitter:tip", "emitter", "accelerator", "accelerator", "inside:tip"]),
        scale=1e-3,
        refinements=0,
    )


def cube_solution() -> SectorSolution:
    mesh = cube()
    rise = mesh.points[:, 2]
    level = SectorLevel(mesh, np.stack([1.0 - rise, rise]), np.zeros((2, 8)), np.zeros(8))
    sector = Design.read("crown").sector()
    assert isinstance(sector, Sector)
    return SectorSolution(sector, ("emitter", "accelerator"), (level,), 0.1)


def test_field_of_a_linear_potential_is_uniform() -> None:
    """MANUFACTURED: phi = 3 x - 2 y + 5 z on six tetrahedra; E = (-3, 2, -5) everywhere."""
    mesh = cube()
    cells, points = field_in_tetrahedra(
        mesh.points, mesh.tetrahedra, mesh.points @ np.array([3.0, -2.0, 5.0])
    )
    assert_allclose(cells, np.broadcast_to([-3.0, 2.0, -5.0], cells.shape), atol=1e-12)
    assert_allclose(points, np.broadcast_to([-3.0, 2.0, -5.0], points.shape), atol=1e-12)


def test_sector_file_comes_back_as_written(tmp_path: Path) -> None:
    """INVARIANT: points, cells, potential, field and boundary flags survive the file."""
    import meshio

    solution = cube_solution()
    target = tmp_path / "field_sector.vtu"
    write_sector_field(target, solution, {"emitter": 5000.0, "accelerator": -1000.0})
    found = meshio.read(target)
    assert_allclose(found.points, cube().points * 1e-3, rtol=1e-12)
    assert_allclose(found.point_data["potential [V]"], 5000.0 - 6000.0 * cube().points[:, 2])
    assert_allclose(found.point_data["field [V/m]"][:, 2], 6000.0 / 1e-3, rtol=1e-9)
    assert_allclose(found.point_data["field [V/m]"][:, :2], 0.0, atol=1e-3)
    kinds = [block.type for block in found.cells]
    assert kinds == ["tetra", "triangle"]
    assert len(found.cells[1].data) == 4
    tags = found.cell_data["boundary (1 accelerator, 2 emitter)"]
    assert tags[1].tolist() == [2, 2, 1, 1]
    assert not tags[0].any()
    with refused("", "field.xdmf", ".vtu", kind=OutputError):
        write_sector_field(tmp_path / "field.xdmf", solution, {})
    assert exported_level(solution) == 0


def estimate_of(value: float) -> Estimate:
    return estimate((1, 2), (value, value))


def sectored(*, firing: bool) -> Assessment:
    """The needle's assessment with made-up results in three dimensions beside it."""
    tips = (
        TipField("end", 2, estimate_of(5.0e4), 1e-3),
        TipField("middle", 3, estimate_of(4.0e4), 1e-3),
    )
    onset = SectorOnset(cube_solution(), tips[: 1 if firing else 2], 6.0e4)
    shares = ((0.5e-3, 40, 0.7), (1.0e-3, 20, 0.85), (2.0e-3, 10, 0.97))
    points = tuple(ScreeningPoint(*values) for values in shares)
    example = np.array([4.4e3, 4.1e3, 4.9e3, 4.3e3])
    volts = np.linspace(4.0e3, 5.0e3, 11)
    lit = np.stack([np.clip((volts - start) / 800.0, 0.0, 1.0) for start in (4.2e3, 4.1e3, 4e3)])
    fired = Firing(
        first=(4.05e3, 4.1e3, 4.2e3),
        median=(4.3e3, 4.4e3, 4.5e3),
        last=(4.7e3, 4.8e3, 4.9e3),
        voltages=volts,
        fraction=lit,
        example=example,
        typical=np.sort(example),
        radius_scatter=1e-6,
        height_scatter=5e-6,
        offset=0.0,
        samples=500,
    )
    sector = SectorAssessment(
        onset=onset,
        voltage=4.0e3,
        screening=Screening(0.95, 0.9, 1e-3, points),
        firing=fired if firing else None,
        accelerator_factor=1.1,
    )
    design = design_of("crown" if firing else "array")
    return replace(assessed_needle(), design=design, sector=sector)


def slit_ended() -> Assessment:
    along = np.linspace(-4e-3, 8e-3, 61)
    share = 1.0 + 0.12 * np.exp(-((along - 2e-3) ** 2) / 2e-6)
    models = tuple(
        LipField(along, 1.0 + f * (share - 1.0), 1e7, 1e-3, r)
        for f, r in ((0.8, 5e-5), (0.9, 3e-5))
    )
    end = SlitEnd(
        along=along,
        share=share,
        factor=1.12,
        error=0.01,
        place=2e-3,
        end_radius=8e-3,
        models=models,
        over_radius=(EndPoint(4e-3, 1.2), EndPoint(8e-3, 1.12), EndPoint(16e-3, 1.0)),
        over_overhang=(EndPoint(0.0, 1.02), EndPoint(3e-3, 1.12)),
        seconds=1.0,
        cells=100,
        solution=cube_solution(),
    )
    return replace(assessed_needle(), design=design_of("slit_end"), slit_end=end)


def charted_axes(draw):  # type: ignore[no-untyped-def]
    with style():
        figure = Figure(figsize=(4.6, 3.4), layout="constrained")
        FigureCanvasAgg(figure)
        return draw(figure.add_subplot())


UNIT = re.compile(r"\[(-|%|V|kV|mm|µm)\]")


def test_charts_name_their_axes_and_show_the_numbers() -> None:
    """INVARIANT: axes carry units, and the lines hold the values that were given."""
    crown, row, slit = sectored(firing=True), sectored(firing=False), slit_ended()
    assert crown.sector is not None
    assert crown.sector.firing is not None
    assert row.sector is not None
    assert slit.slit_end is not None
    firing, end = crown.sector.firing, slit.slit_end
    screening = charted_axes(lambda axes: chart_screening(axes, crown.sector, 1.0e-3))
    assert_allclose(screening.lines[1].get_ydata(), [0.7, 0.85, 0.97])
    assert_allclose(screening.lines[1].get_xdata(), [0.5, 1.0, 2.0])
    classes = charted_axes(lambda axes: chart_tip_classes(axes, row.sector, row.design))
    assert_allclose(classes.lines[0].get_xdata(), [4.0, 5.0])
    lit = charted_axes(lambda axes: chart_firing(axes, firing, crown.design))
    order = charted_axes(lambda axes: chart_firing_order(axes, firing))
    ranks = [t.get_text() for t in order.texts]
    assert ranks == ["3", "1", "4", "2"]
    lip = charted_axes(lambda axes: chart_lip(axes, end))
    assert_allclose(max(lip.lines[1].get_ydata()), 1.12, rtol=1e-6)
    over = charted_axes(lambda axes: chart_end_factor(axes, end.over_radius, 8e-3, "end radius"))
    assert_allclose(over.lines[0].get_xdata(), [4.0, 8.0, 16.0])
    for axes in (screening, classes, lit, lip, over):
        assert UNIT.search(axes.get_xlabel())
    for axes in (screening, lit, order, lip, over):
        assert UNIT.search(axes.get_ylabel())


def test_pictures_follow_from_what_was_solved() -> None:
    """INVARIANT: a crown has firing charts, a row its classes, a slit its ends, a needle none."""
    names = [picture.name for picture in sector_charts(sectored(firing=True))]
    assert names == ["screening", "firing", "firing_order"]
    names = [picture.name for picture in sector_charts(sectored(firing=False))]
    assert names == ["screening", "tip_classes"]
    names = [picture.name for picture in sector_charts(slit_ended())]
    assert names == ["lip_field", "end_over_radius", "end_over_overhang"]
    assert sector_charts(assessed_needle()) == []


def test_tables_and_words_hold_the_numbers() -> None:
    """EXACT: texts worked out by hand from the numbers given."""
    crown, row, slit = sectored(firing=True), sectored(firing=False), slit_ended()
    table = tips_table(row)
    assert table is not None
    assert table.rows[1][0:2] == ("middle", "3")
    assert table.rows[1][3:] == ("0.8000", "5.00 kV")
    fired = firing_table(crown)
    assert fired is not None
    assert fired.rows[2] == ("all tips fire", "4.70 kV", "4.80 kV", "4.90 kV")
    assert firing_table(row) is None
    curve = screening_table(crown)
    assert curve is not None
    assert curve.rows[0] == ("0.5 mm", "0.5", "40", "0.7000")
    ends = end_table(slit)
    assert ends is not None
    assert ends.rows[0][1] == "1.120 ± 0.010"
    # 1.12 at 8 mm falls to 1.00 at 16 mm: 1.05 lies at 8 + 8 * 0.07 / 0.12 mm.
    assert dict(ends.rows)["end radius that keeps 1.05"] == "about 12.7 mm"
    assert "1.120 ± 0.010" in " ".join(sector_words(slit))
    assert "0.8333 times" in sector_words(row)[0]
    assert ("all tips fire by, in 95 % of the crowns", "4.90 kV") in sector_lines(crown)
    assert ("weakest tips (middle) fire at", "5.00 kV") in sector_lines(row)
    assert sector_words(assessed_needle()) == ()
    assert sector_lines(assessed_needle()) == []


def test_the_last_tip_is_judged_behind_the_ballast() -> None:
    """EXACT: the last tip's onset plus the drop of the current of those lit before it, against the
    voltage of the design; only tips that are lit draw current."""
    assessment = sectored(firing=True)
    sector = assessment.sector
    assert sector is not None
    assert sector.firing is not None
    last, tips = sector.firing.last[2], sector.tip_onsets()
    law = CurrentLaw(
        sector.voltage,
        5e-6,
        0.556,
        1.9e-25,
        relative_onsets=tuple(v / sector.voltage for v in tips),
    )
    assert law.at(4.35e3).sites == 2.0
    assert law.at(last + 1.0).sites == len(tips)
    drop = 1e6 * law.at(last).current
    for more, state in ((0.3, "fail"), (1.0, "not proved"), (3.2, "pass")):
        design = assessment.design.with_value("supply.ballast_resistance", 1e6)
        grounded = design.voltages.accelerator
        design = design.with_value("voltages.emitter", grounded + last + more * drop)
        (row,) = sector_rows(design, sector, law, Budget(()))
        assert row.state == state
        assert_allclose(row.value, last + drop, rtol=1e-12)
        # What moves one tip by 5 % moves all: the row knows the onset's band, k = 2.
        wide = Budget((Contribution("mesh", "", 0.05, 0.05, ""),))
        (wider,) = sector_rows(design, sector, law, wide)
        assert row.span is not None
        assert wider.span is not None
        shift = np.subtract(wider.span, row.span)
        assert_allclose(shift, [-0.1 * last, 0.1 * last], rtol=1e-9)
