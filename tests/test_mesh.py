"""Coarse mesh, boundary-layer grids, nested subdivision and control volumes."""

from __future__ import annotations

import math
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import needle_design, polygon, quarter_annulus, refused, wedge_section
from netgen.geom2d import SplineGeometry
from numpy.testing import assert_allclose
from scipy.spatial import cKDTree

from conegap.geometries.curves import outline_quality
from conegap.geometries.curves.curve import FloatArray, Line
from conegap.geometries.curves.section import Boundary, Section, Symmetry
from conegap.geometries.design.design import Design
from conegap.geometries.imported.edge_flips import delaunay_flipped
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.quantities.files import examples_folder
from conegap.solver.field.control_volumes import control_volumes, surface_measure
from conegap.solver.field.solution import solve_field
from conegap.solver.mesh.boundary_grid import edge_grid
from conegap.solver.mesh.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.mesh.curved_triangles import inverted_element
from conegap.solver.mesh.spacing import SpacingRule, divide_spans
from conegap.solver.mesh.span import section_spans
from conegap.solver.mesh.subdivision import FineMesh, subdivide
from conegap.solver.mesh.triangle_quality import bare_share, keeps_outline
from conegap.validation.sections.catalogue import (
    coaxial_cylinders,
    concentric_spheres,
    confocal_ellipses,
    hyperboloid_needle,
)
from conegap.validation.sections.exact_case import ExactCase


def needle() -> Section:
    return hyperboloid_needle(radius=5e-6, gap=5e-5, prescribed=False).section


def triangle_areas(mesh: FineMesh) -> FloatArray:
    a, b, c = np.moveaxis(mesh.points[mesh.triangles], 1, 0)
    one, two = b - a, c - a
    return np.asarray(0.5 * (one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]))


@pytest.fixture(scope="module")
def coarse_meshes() -> dict[str, CoarseMesh]:
    return {
        "needle": coarse_mesh(needle()),
        "slit": coarse_mesh(Design.read("slit").section()),
        "annulus": coarse_mesh(quarter_annulus()),
    }


def with_all_boundaries(
    section: Section, potential: Callable[[FloatArray], FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Finest potential when ``potential`` is prescribed on every boundary, and the exact one."""
    names = section.boundary_names
    solution = solve_field(
        section, prescribed=dict.fromkeys(names, potential), meshes=2, accuracy=1.0
    )
    found = solution.potential(dict.fromkeys(solution.electrodes, 1.0))
    points = solution.levels[-1].mesh.points * solution.scale
    return found, potential(points)


@pytest.mark.parametrize("direction", [(1.0, 0.0), (0.0, 1.0), (0.6, -0.8)])
def test_linear_potential_is_reproduced_on_a_planar_dual(direction: tuple[float, float]) -> None:
    """MANUFACTURED: a linear potential is exact on Voronoi cells, grids and curved sides too."""
    section = confocal_ellipses(focal=0.8, inner=1.0, outer=2.0).section
    found, exact = with_all_boundaries(section, lambda p: p @ np.array(direction) + 2.0)
    assert_allclose(found, exact, rtol=0, atol=1e-12 * np.abs(exact).max())


def test_axial_potential_is_reproduced_on_an_axisymmetric_dual() -> None:
    """MANUFACTURED: phi = z is exact when every face carries its own integral of r."""
    found, exact = with_all_boundaries(needle(), lambda p: p[:, 1] / 5e-5 + 2.0)
    assert_allclose(found, exact, rtol=0, atol=1e-12 * np.abs(exact).max())


@pytest.mark.parametrize("case", [concentric_spheres, coaxial_cylinders])
def test_constant_potential_carries_no_flux(case: Callable[..., ExactCase]) -> None:
    """EXACT: both electrodes at one volt leave the space at one volt and bear no charge."""
    solution = solve_field(case(inner=1.0, outer=4.0).section, meshes=2, accuracy=1.0)
    equal = {"emitter": 1.0, "accelerator": 1.0}
    assert_allclose(solution.potential(equal), 1.0, rtol=1e-12, atol=0)
    one = solution.charge("emitter", {"emitter": 1.0}).value
    assert abs(solution.charge("emitter", equal).value) < 1e-11 * one


@pytest.mark.parametrize("name", ["needle", "slit"])
def test_patch_lines_are_perpendicular(name: str) -> None:
    """EXACT: the lines of a boundary-layer grid cross at right angles, except where blocks meet."""
    section = needle() if name == "needle" else Design.read(name).section()
    edge = section.edges[0]
    grid = edge_grid(section, edge, edge.radius, 0.4)
    assert grid is not None
    for number, block in enumerate(grid.blocks):
        sigma, tau = np.meshgrid(
            np.linspace(0.1, block.cells - 0.1, 15), np.linspace(0.1, grid.layers - 0.1, 9)
        )
        step = 1e-4
        along = grid.points(number, sigma + step, tau) - grid.points(number, sigma - step, tau)
        out = grid.points(number, sigma, tau + step) - grid.points(number, sigma, tau - step)
        lengths = np.linalg.norm(along, axis=-1) * np.linalg.norm(out, axis=-1)
        cosine = (along * out).sum(axis=-1) / lengths
        assert np.abs(cosine).max() < 1e-7
        # The surface runs with the vacuum on its left.
        assert np.all(along[..., 0] * out[..., 1] - along[..., 1] * out[..., 0] > 0.0)


def test_patch_layers_grow_geometrically() -> None:
    """EXACT: heights are R (exp(angle tau) - 1), as in polar coordinates about the arc."""
    section = needle()
    grid = edge_grid(section, section.edges[0], section.edges[0].radius, 0.4)
    assert grid is not None
    heights = grid.height(np.arange(grid.layers + 1.0)) + grid.radius
    assert_allclose(heights[1:] / heights[:-1], math.exp(grid.angle), rtol=1e-13, atol=0)


def test_sharp_edge_gets_no_patch() -> None:
    """EXACT: an edge without radius has no orthogonal boundary-layer grid."""
    section = wedge_section(math.pi / 3.0)
    assert edge_grid(section, section.edges[0], 1e-5, 0.4) is None


@pytest.mark.parametrize("name", ["needle", "slit", "annulus"])
@pytest.mark.parametrize("subdivisions", [1, 2, 3])
def test_subdivision_is_nested(
    coarse_meshes: dict[str, CoarseMesh], name: str, subdivisions: int
) -> None:
    """INVARIANT: every point of a mesh is a point of the mesh with twice the subdivisions."""
    coarse = coarse_meshes[name]
    one, two = subdivide(coarse, subdivisions), subdivide(coarse, 2 * subdivisions)
    distance, _ = cKDTree(two.points).query(one.points)
    a, b, c = np.moveaxis(two.points[two.triangles], 1, 0)
    sides = np.concatenate([np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (c, a))])
    assert distance.max() < 1e-6 * sides.min()


@pytest.mark.parametrize("name", ["needle", "slit", "annulus"])
def test_subdivision_has_the_counts_of_euler(
    coarse_meshes: dict[str, CoarseMesh], name: str
) -> None:
    """EXACT: n^2 triangles each, no point twice, and Euler's count of one hole less than loops."""
    coarse = coarse_meshes[name]
    mesh = subdivide(coarse, 3)
    assert len(mesh.triangles) == 9 * len(coarse.triangles)
    sides = np.sort(np.vstack([mesh.triangles[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    edges, times = np.unique(sides, axis=0, return_counts=True)
    assert times.max() == 2
    assert len(np.unique(mesh.triangles)) == len(mesh.points)
    holes = len(coarse.section.loops) - 1
    assert len(mesh.points) - len(edges) + len(mesh.triangles) == 1 - holes


@pytest.mark.parametrize("name", ["needle", "slit", "annulus"])
def test_surface_points_lie_on_their_curves(
    coarse_meshes: dict[str, CoarseMesh], name: str
) -> None:
    """EXACT: points on a boundary are the curve's points at their parameters."""
    coarse = coarse_meshes[name]
    mesh = subdivide(coarse, 4)
    for chain in mesh.chains:
        curve = coarse.section.loops[chain.boundary[0]][chain.boundary[1]].curve
        wanted = curve.point(chain.parameter) / coarse.scale
        size = np.abs(mesh.points[chain.nodes]).max()
        assert_allclose(mesh.points[chain.nodes], wanted, rtol=0, atol=1e-8 * size)


def test_areas_of_a_straight_region_add_up() -> None:
    """EXACT: triangles fill a five-cornered region without overlap."""
    corners = ((0.0, 0.0), (2.0, -0.5), (3.0, 1.0), (1.2, 0.8), (0.0, 2.0))
    coarse = coarse_mesh(polygon(*corners))
    x, z = np.array(corners).T
    shoelace = 0.5 * float(np.sum(x * np.roll(z, -1) - z * np.roll(x, -1)))
    for subdivisions in (1, 2, 5):
        areas = triangle_areas(subdivide(coarse, subdivisions)) * coarse.scale**2
        assert areas.min() > 0.0
        assert_allclose(areas.sum(), shoelace, rtol=1e-12, atol=0)


def test_area_of_a_round_region_converges() -> None:
    """RATE: the area of a quarter annulus approaches 2 pi with the square of the spacing."""
    coarse = coarse_mesh(quarter_annulus(1.0, 3.0))
    sizes = np.array([1, 2, 4, 8])
    errors = np.array(
        [
            abs(triangle_areas(subdivide(coarse, int(n))).sum() * coarse.scale**2 / math.tau - 1.0)
            for n in sizes
        ]
    )
    slope = np.polyfit(np.log(sizes), np.log(errors), 1)[0]
    assert -2.1 < slope < -1.9, f"slope {slope:.3f}, errors {errors}"
    assert errors[-1] < 1e-3


@pytest.mark.parametrize("symmetry", ["planar", "axisymmetric"])
def test_faces_close_every_inner_cell(symmetry: Symmetry) -> None:
    """EXACT: the area vectors of a cell add to zero (planar), along z (axisymmetric)."""
    mesh = subdivide(coarse_mesh(needle()), 2)
    volumes = control_volumes(mesh, symmetry)
    separation = mesh.points[volumes.last] - mesh.points[volumes.first]
    vector = volumes.area[:, None] * separation / volumes.distance[:, None]
    total = np.zeros_like(mesh.points)
    np.add.at(total, volumes.first, vector)
    np.subtract.at(total, volumes.last, vector)
    size = np.zeros(len(mesh.points))
    np.add.at(size, volumes.first, np.abs(volumes.area))
    np.add.at(size, volumes.last, np.abs(volumes.area))
    inner = np.ones(len(mesh.points), dtype=bool)
    sides = np.sort(np.vstack([mesh.triangles[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    edges, times = np.unique(sides, axis=0, return_counts=True)
    inner[edges[times == 1].ravel()] = False
    relative = np.abs(total[inner]) / size[inner, None]
    # In r-z the radial part of a closed cell is its own area, not zero.
    assert relative[:, 1].max() < 1e-12
    assert (relative[:, 0].max() < 1e-12) == (symmetry == "planar")


def test_surface_measure_adds_up_to_length_and_cone_area() -> None:
    """EXACT: measures of a straight slanted line add to its length, and to that of a cone."""
    points = np.array([[0.0, 3.0], [1.0, 2.5], [1.5, 2.25], [4.0, 1.0]])
    nodes = np.arange(4)
    length = math.hypot(4.0, 2.0)
    assert_allclose(surface_measure(points, nodes, "planar").sum(), length, rtol=1e-14, atol=0)
    cone = surface_measure(points, nodes, "axisymmetric").sum()
    assert_allclose(cone, 0.5 * 4.0 * length, rtol=1e-14, atol=0)


def test_scaled_design_has_the_same_mesh() -> None:
    """INVARIANT: all lengths times four give the same mesh in units of the edge radius."""
    one, four = coarse_mesh(needle_design().section()), coarse_mesh(needle_design(4.0).section())
    assert_allclose(four.scale, 4.0 * one.scale, rtol=1e-12, atol=0)
    assert np.array_equal(one.triangles, four.triangles)
    assert_allclose(four.points, one.points, rtol=0, atol=1e-9 * np.abs(one.points).max())


CROSSING = """
from conftest import polygon
from conegap.solver.mesh.curved_triangles import inverted_element
from conegap.solver.mesh.coarse_mesh import coarse_mesh
coarse_mesh(polygon((0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)))
"""


def test_self_crossing_outline_is_refused_and_never_hangs() -> None:
    """EXACT: a bow tie is refused as one that itself, within a minute."""
    done = subprocess.run(
        [sys.executable, "-c", CROSSING],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        cwd=__file__.rpartition("/")[0] or ".",
    )
    assert done.returncode == 1
    assert "MeshError" in done.stderr
    assert "itself" in done.stderr


def test_a_mesher_without_end_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: an attempt that does not end gives way to the next, as one that is refused does;
    where none ends the section is refused."""
    true, given_up = SplineGeometry.GenerateMesh, threading.Event()
    asked: list[bool] = []

    def endless(geometry: SplineGeometry, *, delaunay2d: bool, **settings: float) -> object:
        asked.append(delaunay2d)
        if not delaunay2d:
            return true(geometry, delaunay2d=False, **settings)
        while not given_up.is_set():
            math.sqrt(2.0)
        raise RuntimeError

    monkeypatch.setattr(SplineGeometry, "GenerateMesh", endless)
    monkeypatch.setattr("conegap.solver.mesh.coarse_mesh._MOST_SECONDS", 0.1)
    try:
        mesh = coarse_mesh(Design.read("needle").section())
    finally:
        given_up.set()
    assert asked == [True, False]
    assert len(mesh.region.triangles) > 100
    monkeypatch.setattr("conegap.solver.mesh.coarse_mesh.within", _no_end)
    with pytest.raises(MeshError):
        coarse_mesh(Design.read("needle").section())


def _no_end(*_: object) -> None:
    raise TimeoutError("no end")


def test_island_over_the_outline_is_refused() -> None:
    """EXACT: an island that reaches through the outer outline is refused."""
    square = polygon((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)).loops[0]
    corners = ((1.0, 1.0), (1.0, 1.5), (3.0, 1.5), (3.0, 1.0))
    island = tuple(
        Boundary("accelerator", Line(a, b))
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    )
    with refused("", kind=MeshError, cause="crossing"):
        coarse_mesh(Section("planar", (square, island), (), 1.0))


def test_too_many_coarse_points_are_refused() -> None:
    """EXACT: a rule that asks for more coarse points than the limit is refused."""
    with refused("", kind=MeshError, cause="too large"):
        coarse_mesh(quarter_annulus(), SpacingRule(per_radius=1e-4))


def rough_profile(folder: Path, *, scatter: float, seed: int) -> Design:
    """The shipped measured profile with scatter on its points, [um]."""
    lines = examples_folder().joinpath("profile_edge.csv").read_text(encoding="utf-8").splitlines()
    points = np.array([[float(c) for c in line.split(",")] for line in lines if line[:1].isdigit()])
    points[1:] += np.random.default_rng(seed).normal(0.0, scatter, (len(points) - 1, 2))
    rows = "".join(f"{x:.4f},{z:.4f}\n" for x, z in points)
    (folder / "profile_edge.csv").write_text("radius,height\num,um\n" + rows, encoding="utf-8")
    text = examples_folder().joinpath("profile.toml").read_text(encoding="utf-8")
    return Design.from_text(text, folder=folder)


def test_very_rough_profile_is_refused_not_folded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: an outline whose bent triangles would overlap gives a reason and no number."""
    # The points as they are; by themselves they would give way to a smooth outline.
    monkeypatch.setattr(outline_quality, "_NEGLIGIBLE", math.inf)
    design = rough_profile(tmp_path, scatter=0.2, seed=2)
    section = design.section()
    with refused("", "smooth the outline", kind=MeshError, cause="folded") as caught:
        solve_field(section)
    # Which of the folding triangles the mesher meets first depends on the processor's rounding,
    # so the place, a triangle's middle, is held to the outline: within two of its points' spacings.
    named = re.search(r"near \((\S+), (\S+)\) m", str(caught.value))
    assert named is not None
    place = np.array([float(c) for c in named.groups()])
    sides = [b for loop in section.loops for b in loop if b.name == "emitter"]
    outline = np.concatenate([b.curve.point(np.linspace(0.0, 1.0, 400)) for b in sides])
    rough = outline[outline[:, 0] < 12e-6]
    assert np.hypot(*(rough - place).T).min() < 2e-6


@pytest.mark.parametrize("seed", [1])
def test_rough_profile_has_no_folded_triangle(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: every triangle of every mesh of a rough outline has a positive area."""
    monkeypatch.setattr(outline_quality, "_NEGLIGIBLE", math.inf)
    design = rough_profile(tmp_path, scatter=0.2, seed=seed)
    coarse = coarse_mesh(design.section())
    assert inverted_element(coarse) is None
    for parts in (2, 8):
        assert triangle_areas(subdivide(coarse, parts)).min() > 0.0


def test_fold_of_a_bent_triangle_is_found(coarse_meshes: dict[str, CoarseMesh]) -> None:
    """EXACT: the third corner pushed through its curved side folds that triangle."""
    coarse = coarse_meshes["annulus"]
    assert inverted_element(coarse) is None
    pushed = replace(coarse, points=coarse.points * np.array([1.0, -1.0]))
    assert inverted_element(pushed) is not None


def test_fill_is_delaunay(coarse_meshes: dict[str, CoarseMesh]) -> None:
    """INVARIANT: no inner edge of the fill could be flipped, whichever way it was meshed."""
    for coarse in coarse_meshes.values():
        fill = coarse.triangles[: coarse.region_count]
        _, flips = delaunay_flipped(coarse.points, fill)
        assert flips == 0


def test_bare_gaps_and_lost_points_are_seen() -> None:
    """EXACT: two halves of a square of side 1: circumradius sqrt(1/2), wanted 1 and then 0.5."""
    points = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.5, 0.0]])
    halves = np.array([[0, 1, 2], [0, 2, 3]])
    outline = np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
    assert bare_share(points, halves, outline) == 0.0
    halved = np.array([[0, 4], [4, 1], [1, 2], [2, 3], [3, 0]])
    assert bare_share(5.0 * points, np.array([[0, 1, 2]]), halved[:2]) == 1.0
    assert keeps_outline(halves, outline)
    assert not keeps_outline(halves, halved)
    assert not keeps_outline(halves[:1], outline)


def test_no_piece_is_longer_than_every_place_allows() -> None:
    """INVARIANT: no piece is longer than all places allow, and there are more near a fine place.

    What the places want is worked out here anew, pair by pair, from the final division.
    """
    outer = ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))
    island = ((1.0, 1.0), (1.0, 1.2), (1.5, 1.2), (1.5, 1.0))
    loops = tuple(
        tuple(Boundary("emitter", Line(a, b)) for a, b in zip(row, row[1:] + row[:1], strict=True))
        for row in (outer, island)
    )
    rule = SpacingRule()
    place, spacing = np.array([3.0, 0.0]), 0.05
    spans = section_spans(Section("planar", loops, (), 1.0), 1.0)
    divisions = divide_spans(spans, "planar", rule, [(place, spacing)])
    flat = [(span, u) for row, us in zip(spans, divisions, strict=True)
            for span, u in zip(row, us, strict=True)]  # fmt: skip
    sampled = [span.point(np.sort(np.append(u, (u[1:] + u[:-1]) / 2.0))) for span, u in flat]
    ends = [span.point(np.array([0.0, 1.0])) for span, _ in flat]
    wanted = []
    for one, own in zip(sampled, ends, strict=True):
        others = [two for two, other in zip(sampled, ends, strict=True)
                  if np.abs(own[:, None] - other[None]).max(axis=2).min() > 1e-9]  # fmt: skip
        wanted.append(rule.per_clearance * cKDTree(np.vstack(others)).query(one)[0])
    requests, sizes = np.vstack([*sampled, place]), np.append(np.concatenate(wanted), spacing)

    def allowed(at: FloatArray) -> float:
        return float(np.min(sizes + rule.growth * np.hypot(*(requests - at).T)))

    for span, u in flat:
        points = span.point(u)
        for k in range(len(u) - 1):
            assert np.hypot(*(points[k + 1] - points[k])) <= allowed(points[k : k + 2].mean(axis=0))
    assert min(len(u) for _, u in flat) >= 3
    assert len(flat[0][1]) > len(flat[2][1])
