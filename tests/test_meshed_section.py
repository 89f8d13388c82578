"""Sections meshed elsewhere: names, Delaunay, curves through points, fields, export and back."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import meshio
import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose, assert_array_equal

from conegap.geometries.design.design import Design
from conegap.geometries.imported.edge_flips import delaunay_flipped, opposite_angles
from conegap.geometries.imported.imported_mesh import meshed_outline
from conegap.geometries.imported.mesh_file import read_mesh
from conegap.geometries.quantities.errors import DesignError, GeometryError, OutputError
from conegap.solver.field.solution import solve_field
from conegap.solver.report.field_file import write_field
from conegap.validation.exact import fields as exact

DESIGN = """
[emitter]
kind = "meshed"
file = "{name}"
revolved = {revolved}
{more}
[liquid]
metal = "gallium"
temperature = "313 K"
[voltages]
emitter = "5 kV"
"""
Grid = tuple[np.ndarray, np.ndarray]


def design_of(
    folder: Path, name: str, *, revolved: bool = True, more: str = 'unit = "mm"'
) -> Design:
    text = DESIGN.format(name=name, revolved="true" if revolved else "false", more=more)
    return Design.from_text(text, "gap.toml", folder)


def grid_mesh(x: np.ndarray, z: np.ndarray, names: tuple[str, str, str, str]) -> meshio.Mesh:
    """A grid of triangles; names of its sides at first i, last i, first j and last j ("" none)."""
    rows, columns = x.shape
    number = np.arange(rows * columns).reshape(x.shape)
    a, b = number[:-1, :-1].ravel(), number[1:, :-1].ravel()
    c, d = number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    triangles = np.vstack([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    known = [name for name in dict.fromkeys(names) if name]
    lines, tags = [], []
    for name, side in zip(names, (number[0], number[-1], number[:, 0], number[:, -1]), strict=True):
        if name:
            lines.append(np.stack([side[:-1], side[1:]], 1))
            tags += [known.index(name) + 1] * (len(side) - 1)
    inside = np.full(len(triangles), 9)
    return meshio.Mesh(
        np.column_stack([x.ravel(), z.ravel(), 0.0 * x.ravel()]),
        [("line", np.vstack(lines)), ("triangle", triangles)],
        cell_data={
            "gmsh:physical": [np.array(tags), inside],
            "gmsh:geometrical": [np.array(tags), inside],
        },
        field_data={name: np.array([k + 1, 1]) for k, name in enumerate(known)},
    )


def confocal_grid(radius: float, gap: float, along: int, across: int) -> Grid:
    """Elliptic coordinates between a hyperbola and a plane, [unit of the lengths]."""
    focal = math.sqrt(gap * (gap + radius))
    angle, last, fine = math.acos(gap / focal), math.acosh(2.0), math.sqrt(radius / gap)
    u = fine * np.sinh(np.linspace(0.0, math.asinh(last / fine), along + 1))
    v = angle * (0.5 * math.pi / angle) ** np.linspace(0.0, 1.0, across + 1)
    u, v = np.meshgrid(u, v, indexing="ij")
    x = focal * np.sin(v) * np.sinh(u)
    z = gap - focal * np.cos(v) * np.cosh(u)
    x[0] = 0.0
    z[:, -1] = gap
    return x, z


def polar_grid(inner: float, outer: float, last: float, along: int, across: int) -> Grid:
    radius = inner * (outer / inner) ** np.linspace(0.0, 1.0, across + 1)
    angle, radius = np.meshgrid(np.linspace(0.0, last, along + 1), radius, indexing="ij")
    x, z = radius * np.sin(angle), radius * np.cos(angle)
    x[0] = 0.0
    if last == math.pi:
        x[-1] = 0.0
    return x, z


def write_msh(mesh: meshio.Mesh, place: Path) -> None:
    meshio.gmsh.write(place, mesh, "2.2", binary=False)


@pytest.mark.parametrize("more", ["", "anew = true"])
@pytest.mark.parametrize("revolved", [True, False])
def test_a_meshed_hyperbola_has_its_exact_edge_field(
    revolved: bool, more: str, tmp_path: Path
) -> None:
    """EXACT: confocal hyperboloid and hyperbolic blade; on its own triangles, and meshed anew."""
    axis = "" if revolved else "symmetry"
    mesh = grid_mesh(*confocal_grid(0.05, 0.5, 20, 14), (axis, "outer", "emitter", "accelerator"))
    write_msh(mesh, tmp_path / "gap.msh")
    design = design_of(tmp_path, "gap.msh", revolved=revolved, more=f'unit = "mm"\n{more}')
    solution = solve_field(design.section())
    edge = solution.edge("edge", {"emitter": 1.0})
    field = exact.hyperboloid_field if revolved else exact.planar_hyperbola_field
    off = abs(edge.value / field(voltage=1.0, radius=5e-5, gap=5e-4) - 1.0)
    assert off < 3e-4
    assert off < edge.error < 2e-3
    own = len(solution.coarse.points) == len(mesh.points)
    assert own == (more == "")


def test_meshed_concentric_spheres(tmp_path: Path) -> None:
    """EXACT: V R2 / (R1 (R2 - R1)), capacitance 4 pi eps0 R1 R2 / (R2 - R1); pole to pole."""
    mesh = grid_mesh(*polar_grid(1.0, 3.0, math.pi, 24, 8), ("", "", "emitter", "accelerator"))
    write_msh(mesh, tmp_path / "gap.msh")
    section = design_of(tmp_path, "gap.msh").section()
    solution = solve_field(section)
    assert_allclose(solution.edge("edge", {"emitter": 1.0}).value, 1500.0, rtol=1e-3)
    charge = solution.charge("emitter", {"emitter": 1.0}).value
    assert_allclose(charge, 4.0 * math.pi * 8.8541878128e-12 * 1.5e-3, rtol=1e-3)
    assert_allclose(section.edges[0].radius, 1e-3, rtol=1e-4)


@pytest.mark.parametrize("ending", ["msh", "vtu", "inp", "med", "xdmf"])
def test_every_format_gives_the_same_section(ending: str, tmp_path: Path) -> None:
    """INVARIANT: names as physical names, cell data, sets or families lead to one outline."""
    x, z = polar_grid(1.0, 3.0, math.pi / 2.0, 12, 6)
    names = ("symmetry", "outer", "emitter", "accelerator")
    mesh = grid_mesh(x, z, names)
    place = tmp_path / f"gap.{ending}"
    tags = mesh.cell_data["gmsh:physical"]
    order = list(mesh.field_data)
    if ending == "msh":
        write_msh(mesh, place)
    elif ending == "xdmf":
        # The arrays go into gap.h5.
        mesh.write(place)
        assert place.with_suffix(".h5").exists()
    elif ending == "vtu":
        legend = ", ".join(f"{k} {n}" for k, n in enumerate(order, start=1))
        data = {f"boundary ({legend})": [tags[0], 0 * tags[1]]}
        meshio.Mesh(mesh.points, mesh.cells, cell_data=data).write(place)
    elif ending == "inp":
        sets = {n: [np.flatnonzero(tags[0] == k + 1), []] for k, n in enumerate(order)}
        meshio.Mesh(mesh.points, mesh.cells, cell_sets=sets).write(place)
    else:
        families = {-k - 1: [n] for k, n in enumerate(order)}
        data = {"cell_tags": [-tags[0], 0 * tags[1]]}
        med = meshio.Mesh(mesh.points[:, :2], mesh.cells, cell_data=data)
        med.cell_tags = families
        med.write(place)
    # XDMF keeps numbers only.
    pairs = ", ".join(f'"{k}" = "{n}"' for k, n in enumerate(order, start=1))
    more = f'unit = "mm"\nnames = {{ {pairs} }}' if ending == "xdmf" else 'unit = "mm"'
    section = design_of(tmp_path, place.name, revolved=False, more=more).section()
    assert section.mirrored
    assert set(section.boundary_names) == set(names)
    assert_allclose(section.edges[0].radius, 1e-3, rtol=1e-4)


def test_numbered_groups_take_the_names_of_the_design(tmp_path: Path) -> None:
    """INVARIANT: a group with a number only is called by it."""
    mesh = grid_mesh(*polar_grid(1.0, 3.0, math.pi, 12, 6), ("", "", "emitter", "accelerator"))
    mesh.field_data = {}
    write_msh(mesh, tmp_path / "gap.msh")
    more = 'unit = "mm"\nnames = { "1" = "emitter", "2" = "accelerator" }'
    section = design_of(tmp_path, "gap.msh", more=more).section()
    assert set(section.boundary_names) == {"emitter", "accelerator", "axis"}
    with refused(
        "",
        "24 boundary lines",
        "(0 um, 1 mm)",
        "1 (12 lines)",
        "2 (12 lines)",
        'names = { "1" = "emitter" }',
        kind=GeometryError,
    ):
        design_of(tmp_path, "gap.msh")


def test_arrays_beside_xdmf_are_asked_for(tmp_path: Path) -> None:
    """INVARIANT: without its file of arrays, or with one elsewhere, the mesh is refused; another
    content beside it is another design."""
    mesh = grid_mesh(*polar_grid(1.0, 3.0, math.pi, 12, 6), ("", "", "emitter", "accelerator"))
    mesh.write(tmp_path / "gap.xdmf")
    more = 'unit = "mm"\nnames = { "1" = "emitter", "2" = "accelerator" }'
    first = design_of(tmp_path, "gap.xdmf", more=more)
    assert set(first.section().boundary_names) == {"emitter", "accelerator", "axis"}
    mesh.points *= 1.5
    mesh.write(tmp_path / "gap.xdmf")
    assert design_of(tmp_path, "gap.xdmf", more=more).sha256 != first.sha256
    text = (tmp_path / "gap.xdmf").read_text(encoding="utf-8")
    (tmp_path / "gap.h5").unlink()
    with pytest.raises(DesignError) as missing:
        design_of(tmp_path, "gap.xdmf", more=more)
    assert "gap.h5" in str(missing.value)
    (tmp_path / "gap.xdmf").write_text(text.replace("gap.h5", "../gap.h5"), encoding="utf-8")
    with pytest.raises(DesignError) as elsewhere:
        design_of(tmp_path, "gap.xdmf", more=more)
    assert "'../gap.h5'" in str(elsewhere.value)


def test_flips_reach_delaunay_and_keep_the_area() -> None:
    """INVARIANT: no inner edge faces more than half a turn; area and boundary stay."""
    random = np.random.default_rng(3)
    x, z = np.meshgrid(np.linspace(0.0, 3.0, 9), np.linspace(0.0, 1.0, 9), indexing="ij")
    z = z + 0.9 * x
    points = np.column_stack([x.ravel(), z.ravel()])
    points[:, 0] += 0.02 * random.standard_normal(len(points))
    triangles = grid_mesh(x, z, ("a", "b", "c", "d")).cells_dict["triangle"].astype(np.int64)
    corners = points[triangles]
    ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    areas = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    assert np.all(areas > 0.0)
    before = triangles.copy()
    flipped, count = delaunay_flipped(points, triangles)
    assert_array_equal(triangles, before)
    assert count > 10
    corners = points[flipped]
    ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    after = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    assert np.all(after > 0.0)
    assert_allclose(after.sum(), areas.sum(), rtol=1e-12)
    angles = opposite_angles(points, flipped)
    opposite: dict[tuple[int, int], float] = {}
    shared = 0
    for triangle, three in zip(flipped, angles, strict=True):
        for k in range(3):
            side = tuple(sorted((int(triangle[k - 2]), int(triangle[k - 1]))))
            if side in opposite:
                shared += 1
                assert opposite[side] + three[k] <= math.pi + 1e-8
            opposite[side] = float(three[k])
    assert shared > 100


@pytest.mark.parametrize(
    ("fault", "key", "words"),
    [
        ("obtuse", "", ("111 deg", "(2.453 mm, 0.4163 mm)", "anew = true")),
        ("quads", "emitter.file", ("quad;",)),
        ("no groups", "emitter.file", ('names = { "1" = "emitter" }',)),
        ("no triangles", "emitter.file", ("no triangles",)),
        ("solid", "emitter.file", ("3 x 6 x 3",)),
        ("no unit", "emitter.unit", ("3 x 6:", 'unit = "mm"')),
        ("garbage", "emitter.file", ("gap.msh", ".vtu")),
        ("slip", "", ("'emiter'", "'emitter'")),
    ],
)
def test_a_mesh_that_is_wrong_is_refused(
    fault: str, key: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    """INVARIANT: each fault has its own words, and no number comes out."""
    along = 3 if fault == "obtuse" else 12
    names: Any = ("", "", "emiter" if fault == "slip" else "emitter", "accelerator")
    mesh = grid_mesh(*polar_grid(1.0, 3.0, math.pi, along, 6), names)
    if fault == "quads":
        mesh.cells.append(meshio.CellBlock("quad", np.array([[0, 1, 8, 7]])))
        mesh.cell_data = {}
    elif fault == "no groups":
        mesh.cell_data, mesh.field_data = {}, {}
    elif fault == "no triangles":
        mesh = meshio.Mesh(mesh.points, mesh.cells[:1])
    elif fault == "solid":
        mesh.points[:, 2] = mesh.points[:, 0]
    if fault in ("no triangles", "quads", "no groups"):
        mesh.write(tmp_path / "gap.vtu")
    else:
        write_msh(mesh, tmp_path / "gap.msh")
    name = "gap.vtu" if (tmp_path / "gap.vtu").exists() else "gap.msh"
    if fault == "garbage":
        (tmp_path / name).write_bytes(b"\x00 no mesh")
    with refused(key, *words):
        design_of(tmp_path, name, more="" if fault == "no unit" else 'unit = "mm"')


def test_reading_changes_nothing_that_was_read(tmp_path: Path) -> None:
    """INVARIANT: the arrays of the file stay as they are, triangles of any sense."""
    mesh = grid_mesh(*polar_grid(1.0, 3.0, math.pi, 12, 6), ("", "", "emitter", "accelerator"))
    mesh.cells_dict["triangle"][::2] = mesh.cells_dict["triangle"][::2, [0, 2, 1]]
    write_msh(mesh, tmp_path / "gap.msh")
    file = read_mesh((tmp_path / "gap.msh").read_bytes(), "gap.msh")
    points, triangles = file.points.copy(), file.triangles.copy()
    names = {name: name for name in file.groups}
    outline = meshed_outline(file, names, symmetry="axisymmetric", where="gap.msh")
    assert_array_equal(file.points, points)
    assert_array_equal(file.triangles, triangles)
    assert outline.mesh.triangles.dtype == np.int64
    assert len(outline.mesh.lines) == 2 * (12 + 6)


@pytest.mark.parametrize("ending", ["vtu", "xdmf"])
def test_a_field_file_goes_out_and_comes_back(ending: str, tmp_path: Path) -> None:
    """INVARIANT: values, shapes, types and names survive, and the file is a mesh to start from."""
    design = Design.read("drawn")
    solution = solve_field(design.section(), meshes=2)
    voltages = {"emitter": 6e3, "accelerator": -1e3, "chamber": 0.0}
    before = solution.levels[-1].mesh.points.copy()
    place = tmp_path / f"field.{ending}"
    write_field(place, solution, voltages)
    assert_array_equal(solution.levels[-1].mesh.points, before)
    mesh = meshio.read(place)
    assert [block.type for block in mesh.cells] == ["triangle", "line"]
    assert mesh.points.dtype == np.float64
    assert mesh.points.shape == (solution.cells, 3)
    assert mesh.point_data["field [V/m]"].shape == (solution.cells, 3)
    assert mesh.cells[0].data.dtype == np.int64
    assert_allclose(mesh.point_data["potential [V]"], solution.potential(voltages), rtol=1e-12)
    assert_allclose(mesh.points[:, :2], before * solution.scale, rtol=1e-12)
    assert_array_equal(mesh.cells[0].data, solution.levels[-1].mesh.triangles)
    (tags,) = mesh.cell_data.values()
    assert {data.dtype for data in tags} == {np.dtype(np.int32)}
    assert not tags[0].any()
    assert set(tags[1]) == set(range(1, len(design.section().boundary_names) + 1))
    file = read_mesh(place.read_bytes(), place.name)
    assert set(file.groups) == set(design.section().boundary_names)
    assert len(file.lines) == sum(len(c.nodes) - 1 for c in solution.levels[-1].mesh.chains)
    with refused("", "field.txt", ".vtu", ".xdmf", kind=OutputError):
        write_field(tmp_path / "field.txt", solution, voltages)


def test_the_meshed_example_agrees_with_the_drawn_one() -> None:
    """INVARIANT: one gap, from the drawing and from a mesh of it, within the stated errors."""
    values = []
    for name in ("drawn", "meshed"):
        solution = solve_field(Design.read(name).section(), accuracy=0.1)
        edge = solution.edge("edge", {"emitter": 1.0})
        values.append((edge.value, edge.error))
    (one, first), (other, second) = values
    assert abs(one / other - 1.0) < first + second
    assert second < 0.05
    assert abs(one / other - 1.0) < 0.01


def test_a_fine_mesh_is_divided_less_often(tmp_path: Path) -> None:
    """INVARIANT: the first mesh of the sequence is a fine given mesh itself."""
    mesh = grid_mesh(*polar_grid(1.0, 3.0, math.pi, 80, 49), ("", "", "emitter", "accelerator"))
    write_msh(mesh, tmp_path / "gap.msh")
    solution = solve_field(design_of(tmp_path, "gap.msh").section())
    assert solution.level_sizes == (1, 2, 4)
    assert_allclose(solution.edge("edge", {"emitter": 1.0}).value, 1500.0, rtol=2e-4)
