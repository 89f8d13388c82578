"""Field at points and ion paths: closed forms, conservation laws and symmetries."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import GeometryError
from conegap.solver.beam.ion_beam import Beam, compute_beam
from conegap.solver.beam.launch import LaunchModel, ion_starts
from conegap.solver.beam.lockstep import followed, side_by_side
from conegap.solver.beam.trajectories import Swarm, trace, trace_together
from conegap.solver.field.interpolation import FieldAtPoints, field_at_points
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.validation.sections.catalogue import (
    coaxial_cylinders,
    concentric_spheres,
    hyperboloid_needle,
    planar_hyperbola,
)
from conegap.validation.sections.polygon import plates

Solved = Callable[[str], tuple[Design, FieldSolution]]
MASS = 2.2e-25
CASES = {
    "needle": lambda: hyperboloid_needle(radius=5e-6, gap=5e-5, prescribed=False),
    "edge": lambda: planar_hyperbola(radius=5e-6, gap=5e-5, prescribed=False),
    "spheres": lambda: concentric_spheres(inner=1e-3, outer=4e-3),
    "cylinders": lambda: coaxial_cylinders(inner=1e-3, outer=4e-3),
}


@pytest.fixture(scope="module")
def annulus() -> FieldAtPoints:
    """Smooth potential between cylinders of 1 and 4 mm, 5 kV inside."""
    case = coaxial_cylinders(inner=1e-3, outer=4e-3)
    return field_at_points(solve_field(case.section), {"emitter": 5e3})


@pytest.fixture(scope="module")
def needle_beam(solved: Solved) -> tuple[Design, FieldSolution, Beam]:
    design, solution = solved("needle")
    return design, solution, followed(compute_beam(design, solution))


def somewhere(field: FieldAtPoints, count: int = 2000) -> np.ndarray:
    """Random places in the vacuum, as dense as the mesh, (count, 2), [m]."""
    rng = np.random.default_rng(7)
    triangles = field.mesh.triangles[rng.integers(0, len(field.mesh.triangles), count)]
    shares = rng.dirichlet((1.0, 1.0, 1.0), count)
    return np.asarray(np.einsum("nk,nkd->nd", shares, field.mesh.points[triangles]) * field.scale)


@pytest.mark.parametrize("name", CASES)
def test_recovered_field_is_second_order(name: str) -> None:
    """RATE: the field at the mesh's points closes in on the exact one as the square of spacing."""
    case = CASES[name]()
    solution = solve_field(case.section, meshes=4, accuracy=1.0)
    places = somewhere(field_at_points(solution, case.voltages, 0), 3000)
    step = 1e-3 * case.section.edges[0].radius
    exact = np.stack(
        [
            (case.potential(places - e) - case.potential(places + e)) / (2.0 * step)
            for e in step * np.eye(2)
        ],
        axis=1,
    )
    worst = []
    for level in range(4):
        field = field_at_points(solution, case.voltages, level)
        kept = field.locate(places / field.scale)[1]
        miss = np.hypot(*(field.field(places[kept]) - exact[kept]).T)
        worst.append(math.sqrt(float(np.mean((miss / np.hypot(*exact[kept].T)) ** 2))))
    order = -np.polyfit(np.log(solution.level_sizes), np.log(worst), 1)[0]
    assert 1.7 < order < 2.5, worst
    assert worst[-1] < 1e-3, worst


def test_field_is_the_gradient_of_the_potential(annulus: FieldAtPoints) -> None:
    """INVARIANT: differences of the potential give the field to rounding, anywhere."""
    places = somewhere(annulus)
    step = 1e-8
    inside = np.all(
        [
            annulus.locate((places + s * e) / annulus.scale)[1]
            for e in step * np.eye(2)
            for s in (1, -1)
        ],
        axis=0,
    )
    places = places[inside]
    slope = [
        (annulus.potential(places - e) - annulus.potential(places + e)) / (2.0 * step)
        for e in step * np.eye(2)
    ]
    found = annulus.field(places)
    assert_allclose(np.stack(slope, axis=1), found, rtol=0, atol=1e-6 * np.abs(found).max())


def test_field_is_continuous_across_every_side(annulus: FieldAtPoints) -> None:
    """INVARIANT: the pieces on both sides of an inner side have one potential and one field."""
    triangle, corner = np.nonzero(annulus.neighbours >= 0)
    beyond = annulus.neighbours[triangle, corner]
    ends = annulus.mesh.triangles[triangle]
    rows = np.arange(len(ends))
    a = annulus.mesh.points[ends[rows, (corner + 1) % 3]]
    b = annulus.mesh.points[ends[rows, (corner + 2) % 3]]
    for share in (0.1, 0.37, 0.5, 0.8):
        place = a + share * (b - a)
        here, there = annulus.evaluate(place, triangle), annulus.evaluate(place, beyond)
        assert_allclose(here[0], there[0], rtol=0, atol=1e-12)
        assert_allclose(here[1], there[1], rtol=0, atol=1e-9 * np.abs(here[1]).max())


def test_points_are_found_in_their_triangle(annulus: FieldAtPoints) -> None:
    """EXACT: a point made from the corners of a triangle is found in it, or on its side."""
    places = somewhere(annulus) / annulus.scale
    for start in (None, np.zeros(len(places), dtype=np.int64)):
        triangle, inside = annulus.locate(places, start)
        assert inside.all()
        assert annulus.barycentric(places, triangle).min() > -1e-8


def test_points_in_metal_are_refused(annulus: FieldAtPoints) -> None:
    """INVARIANT: no potential is given inside a conductor or beyond the region."""
    for place in ((0.0, -1e-3), (0.0, -0.5e-3), (5e-3, 0.0)):
        with refused("", f"({place[0]:g}, {place[1]:g}) m", kind=GeometryError):
            annulus.potential(np.array([place]))


def test_path_through_the_axis_goes_straight_on() -> None:
    """EXACT: in a uniform axial field an ion crosses the axis as in the plane."""
    gap = 1e-3
    section = plates(width=gap, gap=gap, symmetry="axisymmetric")
    field = field_at_points(solve_field(section, accuracy=1.0), {"emitter": 5e3})
    start, velocity = np.array([[0.2e-3, 0.05e-3]]), np.array([[-3e4, 0.0]])
    found = trace(field, start, velocity, MASS)
    pull = elementary_charge / MASS * 5e3 / gap
    time = math.sqrt(2.0 * 0.95 * gap / pull)
    assert_allclose(found.times[0][-1], time, rtol=1e-8)
    assert_allclose(found.paths[0][-1], [0.2e-3 - 3e4 * time, gap], rtol=1e-8)
    assert found.paths[0][-1, 0] < -0.2e-3
    landing = found.landing[0]
    assert landing is not None
    assert landing.name == "accelerator"
    assert_allclose(landing.angle, math.atan(3e4 / (pull * time)), rtol=1e-7)
    # The plate runs from its rim inwards, vacuum on the left.
    assert_allclose(landing.arc_length, gap - abs(found.paths[0][-1, 0]), rtol=1e-7)


def test_energy_is_conserved_along_every_path(
    needle_beam: tuple[Design, FieldSolution, Beam],
) -> None:
    """INVARIANT: kinetic and potential energy add up to 1e-6 of the voltage, at the end too."""
    design, _, beam = needle_beam
    assert beam.energy_error < 1e-6
    assert beam.unfinished == 0.0
    energy = beam.trajectories.end_energy / elementary_charge
    # All started at rest on the emitter and end on the grounded chamber.
    assert_allclose(energy, design.voltages.emitter, rtol=1.5e-6)


def test_mass_changes_times_and_not_paths(needle_beam: tuple[Design, FieldSolution, Beam]) -> None:
    """INVARIANT: four times the mass takes twice the time along the same path."""
    design, solution, beam = needle_beam
    starts = beam.starts
    voltages = {"emitter": design.voltages.emitter, "accelerator": design.voltages.accelerator}
    field = field_at_points(solution, voltages)
    light, heavy = (
        trace(field, starts.positions[::40], starts.velocities(m)[::40], m)
        for m in (MASS, 4.0 * MASS)
    )
    for one, other in zip(light.paths, heavy.paths, strict=True):
        assert_allclose(one[-1], other[-1], rtol=1e-9, atol=1e-15)
    for one, other in zip(light.times, heavy.times, strict=True):
        assert_allclose(2.0 * one[-1], other[-1], rtol=1e-9)


def test_mirrored_start_gives_the_mirrored_path(
    needle_beam: tuple[Design, FieldSolution, Beam],
) -> None:
    """INVARIANT: the image of a start follows the image of the path, and the axis stays one."""
    design, solution, beam = needle_beam
    field = field_at_points(solution, {"emitter": design.voltages.emitter})
    start = np.vstack([beam.starts.positions[[60, 150]], [[0.0, 2e-6]]])
    flip = np.array([-1.0, 1.0])
    velocity = np.array([[2e4, 1e4], [-3e4, 1e4], [0.0, 1e4]])
    one = trace(field, start, velocity, MASS)
    other = trace(field, start * flip, velocity * flip, MASS)
    for path, image in zip(one.paths, other.paths, strict=True):
        assert_allclose(path, image * flip, rtol=0, atol=1e-14)
    assert np.abs(one.paths[2][:, 0]).max() < 1e-12
    assert one.paths[1][-1, 0] < 0.0, "the second ion crosses the axis"


def test_bad_starts_are_refused(annulus: FieldAtPoints) -> None:
    """INVARIANT: a start in the metal or a mass of zero gives no path."""
    still = np.zeros((1, 2))
    with refused("", "(0, -0.001) m", kind=GeometryError):
        trace(annulus, np.array([[0.0, -1e-3]]), still, MASS)
    with pytest.raises(ValueError, match="mass"):
        trace(annulus, np.array([[0.0, 1e-3]]), still, 0.0)


def test_swarms_side_by_side_fly_as_alone(solved: Solved) -> None:
    """INVARIANT: ions of two meshes and masses that are followed together take the same paths as
    ions that are followed on their own, and so do both where one job needs fewer rounds."""
    design, solution = solved("needle")
    swarms = []
    for level, mass in ((0, MASS), (1, 2.0 * MASS)):
        field = field_at_points(solution, {"emitter": 5e3}, level)
        emission = LaunchModel()
        starts = ion_starts(solution, field, {"emitter": 5e3}, {"tip": 1.0}, emission, 7 + level)
        swarms.append(Swarm(field, starts.positions, starts.velocities(mass), mass))
    for one, swarm in zip(trace_together(swarms), swarms, strict=True):
        alone = trace(swarm.field, swarm.starts, swarm.velocities, swarm.mass)
        assert_allclose(one.end_velocity, alone.end_velocity, rtol=1e-12)
        assert one.landing == alone.landing
        for mine, other in zip(one.triangles, alone.triangles, strict=True):
            assert (mine == other).all()
    jobs = [compute_beam(design, solution, ions=8, level=0, current=c) for c in (None, 1e-5)]
    for beam, current in zip(side_by_side(jobs), (None, 1e-5), strict=True):
        single = followed(compute_beam(design, solution, ions=8, level=0, current=current))
        assert_allclose(beam.half_angle_95, single.half_angle_95, rtol=1e-12)
