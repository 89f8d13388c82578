"""Fields of sections with known answers, and the laws every electrostatic field obeys."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from conftest import refused, wedge_section
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0
from scipy.sparse import diags, identity, kron
from scipy.sparse.linalg import splu

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import GeometryError, SharpEdgeError
from conegap.solver.field.control_volumes import control_volumes
from conegap.solver.field.edge_field import EdgeField
from conegap.solver.field.finite_volume import dual_matrix
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.mesh.coarse_mesh import coarse_mesh
from conegap.solver.mesh.dissection import dissection_order
from conegap.solver.mesh.elimination import PermutedFactor, symmetric_factor
from conegap.solver.mesh.spacing import SpacingRule
from conegap.solver.mesh.subdivision import subdivide
from conegap.solver.mesh.surface_chain import arc_position, path_length
from conegap.validation.sections.catalogue import (
    annular_cylinder,
    coaxial_cylinders,
    concentric_spheres,
    confocal_ellipses,
    confocal_spheroids,
    hyperboloid_needle,
    planar_hyperbola,
)
from conegap.validation.sections.exact_case import ExactCase

Solved = Callable[[str], tuple[Design, FieldSolution]]
UNIT = {"emitter": 1.0, "accelerator": 0.0}
CASES = {
    "needle": lambda: hyperboloid_needle(radius=5e-6, gap=1e-4, prescribed=False),
    "edge": lambda: planar_hyperbola(radius=5e-6, gap=1e-4, prescribed=False),
    "spheres": lambda: concentric_spheres(inner=1.0, outer=4.0),
    "cylinders": lambda: coaxial_cylinders(inner=1.0, outer=4.0),
    "spheroids": lambda: confocal_spheroids(focal=0.9, inner=1.0, outer=2.0),
    "ellipses": lambda: confocal_ellipses(focal=0.9, inner=1.0, outer=2.0),
}


@pytest.fixture(scope="module")
def four_meshes() -> dict[str, tuple[ExactCase, FieldSolution]]:
    cases = {name: make() for name, make in CASES.items()}
    return {
        name: (case, solve_field(case.section, meshes=4, accuracy=1.0))
        for name, case in cases.items()
    }


@pytest.mark.parametrize("name", CASES)
def test_edge_field_converges_with_second_order(
    four_meshes: dict[str, tuple[ExactCase, FieldSolution]], name: str
) -> None:
    """RATE: the edge field's error falls as the square of the spacing over four meshes."""
    case, solution = four_meshes[name]
    edge, exact = next(iter(case.edge_fields.items()))
    values = np.array(solution.edge(edge, UNIT).level_values)
    errors = np.abs(values / exact - 1.0)
    slope = np.polyfit(np.log(solution.level_sizes), np.log(errors), 1)[0]
    assert -2.4 < slope < -1.8, f"slope {slope:.3f}, errors {errors}"
    assert errors[-1] < 1e-3, f"errors {errors}"


@pytest.mark.parametrize("name", CASES)
def test_edge_field_is_exact_within_its_error(
    four_meshes: dict[str, tuple[ExactCase, FieldSolution]], name: str
) -> None:
    """EXACT: the extrapolated edge field meets the closed form to 1e-5 and to its own error."""
    case, solution = four_meshes[name]
    edge, exact = next(iter(case.edge_fields.items()))
    found = solution.edge(edge, UNIT)
    assert found.extrapolated
    assert_allclose(found.value, exact, rtol=1e-5, atol=0)
    assert abs(found.value / exact - 1.0) <= found.error


@pytest.mark.parametrize("name", CASES)
def test_potential_converges_with_second_order(
    four_meshes: dict[str, tuple[ExactCase, FieldSolution]], name: str
) -> None:
    """RATE: the greatest error of the potential falls as the square of the spacing."""
    case, solution = four_meshes[name]
    errors = []
    for level, _ in enumerate(solution.levels):
        points = solution.levels[level].mesh.points * solution.scale
        # On the rim of the cut the closed form loses digits: leave out the boundary itself.
        found, exact = solution.potential(UNIT, level), case.potential(points)
        inside = (found > 1e-6) & (found < 1.0 - 1e-6)
        errors.append(float(np.abs(found - exact)[inside].max()))
    slope = np.polyfit(np.log(solution.level_sizes), np.log(errors), 1)[0]
    assert -2.4 < slope < -1.6, f"slope {slope:.3f}, errors {errors}"
    assert errors[-1] < 1e-3, f"errors {errors}"


@pytest.mark.parametrize("name", CASES)
def test_charges_meet_the_closed_forms(
    four_meshes: dict[str, tuple[ExactCase, FieldSolution]], name: str
) -> None:
    """EXACT: capacitance of each pair of electrodes, and the half of a mirrored one twice."""
    case, solution = four_meshes[name]
    for electrode, exact in case.charges.items():
        assert_allclose(solution.charge(electrode, UNIT).value, exact, rtol=1e-4, atol=0)


def test_field_on_a_straight_wall() -> None:
    """EXACT: coaxial walls have V / (r ln(b/a)) with the sign of the outward normal."""
    case = annular_cylinder(inner=1.0, outer=3.0, length=2.0)
    rule = SpacingRule(per_radius=0.4, per_axis_distance=0.6, per_clearance=0.4, growth=0.4)
    solution = solve_field(case.section, rule=rule)
    for name, radius, sign in (("emitter", 1.0, 1.0), ("accelerator", 3.0, -1.0)):
        along = solution.surface(name, UNIT)
        exact = sign / (radius * np.log(3.0))
        assert_allclose(np.median(along.field), exact, rtol=2e-5, atol=0)
        # Where the coarse spacing jumps a single point is of first order.
        assert_allclose(along.field, exact, rtol=2e-4, atol=0)
        assert_allclose(along.arc_length[-1], 2.0, rtol=1e-12, atol=0)
        assert_allclose(along.points[:, 0], radius, rtol=1e-12, atol=0)


def named_charge(solution: FieldSolution, electrode: str, voltages: dict[str, float]) -> float:
    """Charge on an electrode of the finest mesh, the liquid counted with the emitter."""
    names = ("emitter", "liquid") if electrode == "emitter" else (electrode,)
    here = solution.levels[0].measure
    return sum(solution.charge(name, voltages).level_values[-1] for name in names if name in here)


@pytest.mark.parametrize("name", ["needle", "slit"])
def test_charges_are_reciprocal(solved: Solved, name: str) -> None:
    """INVARIANT: charge on A from one volt on B is the charge on B from one volt on A (Green)."""
    _, solution = solved(name)
    assert len(solution.electrodes) == 3
    for a, b in itertools.combinations(solution.electrodes, 2):
        one, two = named_charge(solution, a, {b: 1.0}), named_charge(solution, b, {a: 1.0})
        assert one < 0.0
        assert_allclose(one, two, rtol=1e-9, atol=0)


@pytest.mark.parametrize("name", ["needle", "slit"])
def test_total_charge_is_zero(solved: Solved, name: str) -> None:
    """INVARIANT: all field lines that start on one electrode end on the others (Gauss)."""
    _, solution = solved(name)
    voltages = {"emitter": 700.0, "accelerator": -200.0, "chamber": 30.0}
    charges = [named_charge(solution, electrode, voltages) for electrode in solution.electrodes]
    assert abs(sum(charges)) < 1e-10 * max(np.abs(charges))


@pytest.mark.parametrize("name", ["needle", "slit"])
def test_energy_is_half_the_sum_of_voltage_times_charge(solved: Solved, name: str) -> None:
    """INVARIANT: W = 1/2 sum V Q."""
    _, solution = solved(name)
    voltages = {"emitter": 700.0, "accelerator": -200.0, "chamber": 30.0}
    charges = {e: named_charge(solution, e, voltages) for e in solution.electrodes}
    half = 0.5 * sum(voltages[e] * charges[e] for e in solution.electrodes)
    assert_allclose(solution.energy(voltages).level_values[-1], half, rtol=1e-10, atol=0)


@pytest.mark.parametrize("name", ["needle", "slit"])
def test_energy_is_that_of_the_field_between_the_points(solved: Solved, name: str) -> None:
    """INVARIANT: W = eps0/2 sum of (area / distance) (potential difference)^2 over all faces."""
    _, solution = solved(name)
    section = solution.section
    voltages = {"emitter": 700.0, "accelerator": -200.0, "chamber": 30.0}
    for k, level in enumerate(solution.levels):
        volumes = control_volumes(level.mesh, section.symmetry)
        phi = solution.potential(voltages, k)
        squares = volumes.area / volumes.distance * (phi[volumes.last] - phi[volumes.first]) ** 2
        unit = epsilon_0 * (
            2.0 * np.pi * solution.scale
            if section.symmetry == "axisymmetric"
            else 2.0
            if section.mirrored
            else 1.0
        )
        found = solution.energy(voltages).level_values[k]
        assert_allclose(found, 0.5 * unit * squares.sum(), rtol=1e-9, atol=0)


def test_energy_of_the_needle_meets_its_capacitance() -> None:
    """EXACT: W = C V^2 / 2 of concentric spheres, C = 4 pi eps0 a b / (b - a)."""
    solution = solve_field(concentric_spheres(inner=1.0, outer=4.0).section)
    exact = 0.5 * 4.0 * np.pi * epsilon_0 * 4.0 / 3.0 * 9.0
    assert_allclose(solution.energy({"emitter": 3.0}).value, exact, rtol=1e-5, atol=0)


def test_all_lengths_times_k_leave_the_scaled_field() -> None:
    """INVARIANT: E times length over voltage does not change when every length is multiplied."""
    one = solve_field(hyperboloid_needle(radius=5e-6, gap=5e-5, prescribed=False).section)
    wanted = one.edge("tip", UNIT).value
    for k in (0.125, 8.0):
        section = hyperboloid_needle(radius=5e-6 * k, gap=5e-5 * k, prescribed=False).section
        found = solve_field(section).edge("tip", UNIT).value * k
        assert_allclose(found, wanted, rtol=1e-9, atol=0)


@pytest.mark.parametrize("name", ["needle", "slit"])
def test_constant_potential_gives_no_edge_field(solved: Solved, name: str) -> None:
    """EXACT: the unit fields of all electrodes at one place add to nothing."""
    _, solution = solved(name)
    edge = solution.section.edges[0].name
    place = solution.edge(edge, {"emitter": 1.0})
    fields = [solution.edge_field_at(edge, {e: 1.0}, place) for e in solution.electrodes]
    assert abs(sum(fields)) < 1e-6 * place.value
    assert abs(solution.edge_field_at(edge, dict.fromkeys(solution.electrodes, 1.0), place)) < (
        1e-8 * place.value
    )


def test_surface_field_superposes(solved: Solved) -> None:
    """INVARIANT: fields along a surface add with the voltages."""
    _, solution = solved("slit")
    parts = {e: solution.surface("accelerator", {e: 1.0}).field for e in solution.electrodes}
    voltages = {"emitter": 700.0, "accelerator": -200.0, "chamber": 30.0}
    added = sum(voltages[e] * parts[e] for e in solution.electrodes)
    found = solution.surface("accelerator", voltages).field
    assert_allclose(found, added, rtol=0, atol=1e-9 * np.abs(found).max())


def test_superposition_equals_a_solve_with_the_voltages_in_place() -> None:
    """INVARIANT: unit solutions added are the solution with the potentials prescribed at once."""
    section = confocal_spheroids(focal=0.9, inner=1.0, outer=2.0).section
    units = solve_field(section)
    at_once = solve_field(
        section,
        prescribed={
            "emitter": lambda points: np.full(len(points), 1.0),
            "accelerator": lambda points: np.full(len(points), -0.3),
        },
    )
    everything = dict.fromkeys(at_once.electrodes, 1.0)
    mixed = {"emitter": 1.0, "accelerator": -0.3}
    assert_allclose(at_once.potential(everything), units.potential(mixed), rtol=0, atol=1e-11)
    assert_allclose(
        at_once.edge("tip", everything).value, units.edge("tip", mixed).value, rtol=1e-9, atol=0
    )


def test_edge_field_is_proportional_to_the_voltage(solved: Solved) -> None:
    """INVARIANT: twice the voltages give twice the field at the same place; a sign turns it."""
    _, solution = solved("needle")
    one = solution.edge("tip", {"emitter": 5.0, "accelerator": -1.0})
    two = solution.edge("tip", {"emitter": 10.0, "accelerator": -2.0})
    minus = solution.edge("tip", {"emitter": -5.0, "accelerator": 1.0})
    assert_allclose(two.value, 2.0 * one.value, rtol=1e-12, atol=0)
    assert_allclose(minus.value, -one.value, rtol=1e-12, atol=0)
    assert two.position == one.position


def test_half_of_a_symmetric_slit_equals_the_whole(solved: Solved) -> None:
    """INVARIANT: both lips of a slit moved by a nanometre average to the lip of the half one."""
    design, half = solved("slit")
    moved = design.with_value("accelerator.lateral_offset", 1e-9)
    assert design.section().mirrored
    assert not moved.section().mirrored
    whole = solve_field(moved.section())
    voltages = {"emitter": 1.0, "accelerator": -1.0}
    lip = half.edge(half.section.edges[0].name, voltages)
    lips = [whole.edge(edge.name, voltages) for edge in whole.section.edges]
    assert len(lips) == 2
    error = lip.error + max(each.error for each in lips)
    assert error < 1e-3
    mean = 0.5 * (lips[0].value + lips[1].value)
    assert_allclose(mean, lip.value, rtol=error, atol=0)
    assert_allclose(lips[0].value, lips[1].value, rtol=2.0 * error, atol=0)
    charge = named_charge(half, "accelerator", voltages)
    assert_allclose(named_charge(whole, "accelerator", voltages), charge, rtol=1e-3, atol=0)


def test_curvature_of_the_crest_is_that_of_the_drawing() -> None:
    """EXACT: 2/R on an axisymmetric apex, 1/R on a planar apex."""
    needle = hyperboloid_needle(radius=5e-6, gap=5e-5, prescribed=False).section
    edge = planar_hyperbola(radius=5e-6, gap=5e-5, prescribed=False).section
    found = [
        solve_field(section, meshes=2).edge(section.edges[0].name, UNIT).curvature
        for section in (needle, edge)
    ]
    assert_allclose(found, [2.0 / 5e-6, 1.0 / 5e-6], rtol=1e-9, atol=0)


def test_edge_field_at_its_own_place_is_the_edge_field(solved: Solved) -> None:
    """INVARIANT: interpolation at the apex returns the apex value, off the axis too."""
    for name in ("needle", "slit"):
        _, solution = solved(name)
        voltages = {"emitter": 5.0, "accelerator": -1.0}
        edge = solution.section.edges[0].name
        apex = solution.edge(edge, voltages)
        here = solution.edge_field_at(edge, voltages, apex)
        assert_allclose(here, apex.value, rtol=2e-4, atol=0)


def test_arc_position_finds_the_nearest_spot() -> None:
    """EXACT: lengths along a bent path of 3 and 4 metres."""
    points = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]])
    assert_allclose(path_length(points), [0.0, 3.0, 7.0], rtol=1e-15, atol=0)
    for place, wanted in (((1.0, 0.5), 1.0), ((4.0, 1.0), 4.0), ((3.0, 9.0), 7.0)):
        assert_allclose(arc_position(points, np.array(place)), wanted, rtol=1e-15, atol=0)


def test_further_meshes_are_added_until_the_error_is_met() -> None:
    """INVARIANT: a smaller accuracy adds a mesh, two meshes never grow."""
    section = hyperboloid_needle(radius=5e-6, gap=1e-4, prescribed=False).section
    assert solve_field(section, accuracy=0.1).level_sizes == (2, 4, 8)
    assert solve_field(section, accuracy=1e-12).level_sizes == (2, 4, 8, 16)
    assert solve_field(section, accuracy=1e-12, meshes=2).level_sizes == (2, 4)


def test_first_meshes_are_those_of_a_shorter_sequence() -> None:
    """INVARIANT: cutting a sequence to two meshes equals solving with two."""
    section = hyperboloid_needle(radius=5e-6, gap=1e-4, prescribed=False).section
    two = solve_field(section, meshes=2).edge("tip", UNIT)
    cut = solve_field(section).first_meshes(2).edge("tip", UNIT)
    assert isinstance(two, EdgeField)
    assert_allclose(cut.value, two.value, rtol=1e-13, atol=0)
    assert cut.level_sizes == (2, 4)


@pytest.mark.parametrize("metal_angle", [np.pi / 6.0, np.pi / 3.0, np.pi / 2.0, 2.0 * np.pi / 3.0])
def test_sharp_wedge_grows_with_its_exponent(metal_angle: float) -> None:
    """EXACT: E of a sharp edge grows as spacing^(pi/(2 pi - a) - 1), and is refused."""
    solution = solve_field(wedge_section(metal_angle), accuracy=1.0)
    with pytest.raises(SharpEdgeError) as refusal:
        solution.edge("blade", UNIT)
    measured = float(str(refusal.value).split("to the power ")[1].split(")")[0])
    exponent = np.pi / (2.0 * np.pi - metal_angle) - 1.0
    assert_allclose(measured, exponent, rtol=0.01, atol=0)  # two digits in the message


def test_unknown_names_are_refused_with_those_that_exist(solved: Solved) -> None:
    """EXACT: a wrong edge, electrode or boundary name lists the right ones."""
    _, solution = solved("needle")
    with refused("", "'nose'", "tip", kind=GeometryError):
        solution.edge("nose", UNIT)
    with refused("", "emitter, accelerator, chamber", kind=GeometryError):
        solution.edge("tip", {"extractor": 1.0})
    with refused("", "'axis'", "accelerator", kind=GeometryError):
        solution.charge("axis", UNIT)
    with refused("", "'axis'", "accelerator", kind=GeometryError):
        solution.surface("axis", UNIT)


def test_all_elimination_orders_give_one_solution() -> None:
    """INVARIANT: the order carried from the coarse mesh and nested dissection, against the library.

    The carried order keeps the factor as sparse as the library's own order of least degree.
    """
    coarse = coarse_mesh(hyperboloid_needle(radius=5e-6, gap=5e-4, prescribed=False).section)
    mesh = subdivide(coarse, 4)
    dirichlet = np.zeros(len(mesh.points), dtype=bool)
    for chain in mesh.chains:
        dirichlet[chain.nodes] = True
    matrix = dual_matrix(control_volumes(mesh, "axisymmetric"), dirichlet)
    order = dissection_order(matrix, mesh.points[~dirichlet])
    assert sorted(order) == list(range(matrix.shape[0]))
    right = np.random.default_rng(1).random((matrix.shape[0], 2))
    library = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                   options={"SymmetricMode": True})  # fmt: skip
    turned = PermutedFactor(splu(matrix[order][:, order].tocsc(), permc_spec="NATURAL"), order)
    carried = symmetric_factor(matrix, mesh.ranks[~dirichlet])
    for factor in (turned, carried):
        assert_allclose(factor.solve(right), library.solve(right), rtol=1e-9)
    assert carried.entries < 1.2 * library.L.nnz


@pytest.mark.parametrize("parts", [2, 3, 5])
def test_every_point_has_a_rank(parts: int) -> None:
    """INVARIANT: points inside a coarse triangle go before all others, those of an edge at once."""
    coarse = coarse_mesh(hyperboloid_needle(radius=5e-6, gap=5e-5, prescribed=False).section)
    mesh = subdivide(coarse, parts)
    corners, edges = len(coarse.points), len(coarse.sides[0])
    inside = mesh.ranks[corners + edges * (parts - 1) :]
    assert len(mesh.ranks) == len(mesh.points)
    assert len(inside) == 0 or inside.max() < mesh.ranks[: len(mesh.ranks) - len(inside)].min()
    assert sorted(coarse.elimination_ranks(1)) == list(range(corners))
    along = mesh.ranks[corners : corners + edges * (parts - 1)].reshape(edges, -1)
    assert np.all(along == along[:, :1])


def test_dissection_keeps_the_factor_sparse() -> None:
    """RATE (George 1973, from memory): the factor of a square grid grows like n log n."""
    entries = []
    for side in (32, 64, 128):
        line = diags([-1.0, 2.0, -1.0], [-1, 0, 1], shape=(side, side))
        grid = (kron(line, identity(side)) + kron(identity(side), line)).tocsr()
        places = np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1).reshape(-1, 2)
        order = dissection_order(grid, places.astype(float))
        factor = splu(grid[order][:, order].tocsc(), permc_spec="NATURAL",
                      diag_pivot_thresh=0.0, options={"SymmetricMode": True})  # fmt: skip
        entries.append(factor.L.nnz / side**2 / math.log2(side**2))
    assert max(entries) < 1.3 * min(entries)
