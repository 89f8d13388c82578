"""How raising one tip of a crown changes the others, against crowns that are drawn that way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.solids.sector import Sector, Tip, Wedge
from conegap.solver.field.extrapolation import estimate
from conegap.solver.field3d.influence import half_ring, height_influence
from conegap.solver.field3d.operator import SectorOperator
from conegap.solver.field3d.sector_solution import SectorSolution, solve_sector
from conegap.solver.field3d.tip_field import sphere_means, tip_response

TIPS = 8
RING, GAP, HEIGHT, ROOM = 1.0e-3, 0.8e-3, 0.6e-3, 3.0e-3
WALLS = {"bottom": "emitter", "top": "accelerator", "side": "outer"}
PITCH = 2.0 * math.pi / TIPS


def tip_at(name: str, azimuth: float, raised: float) -> Tip:
    """Half a tip on the plane of that azimuth."""
    place = (RING * math.cos(azimuth), RING * math.sin(azimuth))
    return Tip(name, place, raised, 20e-6, math.radians(15.0), HEIGHT + raised, 0.2e-3, (azimuth,))


def half_pitch() -> Sector:
    """A crown of equal tips."""
    wedge = Wedge(PITCH / 2.0, ROOM, -HEIGHT, GAP, WALLS)
    return Sector(wedge, (), (tip_at("even", 0.0, 0.0),), GAP, copies=2 * TIPS)


def whole_pitch(raised: float) -> Sector:
    """A crown of which every second tip is raised."""
    wedge = Wedge(PITCH, ROOM, -HEIGHT, GAP, WALLS)
    tips = (tip_at("even", 0.0, raised), tip_at("odd", PITCH, 0.0))
    return Sector(wedge, (), tips, GAP, copies=TIPS)


@pytest.fixture(scope="module")
def crown() -> SectorSolution:
    return solve_sector(half_pitch(), meshes=2)


def odd_field(solution: SectorSolution, name: str) -> float:
    """Field at the apex of one tip, emitter at 1 V."""
    tip = solution.sector.tip(name)
    response, values = tip_response(tip), []
    for level in solution.levels:
        means, _ = sphere_means(level.mesh, tip, level.potentials[:1] - 1.0)
        values.append(response.field(means[0]).value)
    return estimate(solution.level_sizes, tuple(values)).value


def weights(solution: SectorSolution) -> FloatArray:
    """The emitter at 1 V."""
    return solution.weights({"emitter": 1.0})


def test_mirror_images_make_the_ring_of_the_sector(crown: SectorSolution) -> None:
    """INVARIANT: half the ring, with joined points, repeats its sector's potential."""
    level = crown.levels[0]
    ring = half_ring(level.mesh, PITCH / 2.0, TIPS)
    fixed = level.measure > 0.0
    dirichlet = np.zeros(len(ring.points), dtype=bool)
    values = np.zeros(len(ring.points))
    for numbers in ring.numbers:
        dirichlet[numbers[fixed]] = True
        values[numbers[fixed]] = level.potentials[0, fixed]
    found = SectorOperator(ring.points, ring.volumes, dirichlet).potential(values)
    for numbers in ring.numbers:
        assert_allclose(found[numbers], level.potentials[0], atol=1e-7)
    # every point is one point: none lies twice in the ring
    assert len(np.unique(np.round(ring.points, 7), axis=0)) == len(ring.points)


def test_influences_and_the_tips_own_make_the_whole_crown(crown: SectorSolution) -> None:
    """INVARIANT: raising all tips at once, solved in one sector, is the sum over single tips."""
    level, tip = crown.levels[0], crown.sector.tips[0]
    mesh = level.mesh
    fixed = level.measure > 0.0
    on_tip = mesh.points_on(f"emitter:{tip.name}")
    # any distribution that the mirror planes keep will do, here one with the height
    raise_by = np.zeros(len(mesh.points))
    raise_by[on_tip] = 1.0 + mesh.points[on_tip, 2]
    from conegap.solver.field3d.volumes import tetra_volumes

    together = SectorOperator(
        mesh.points, tetra_volumes(mesh.points, mesh.tetrahedra), fixed
    ).potential(raise_by)
    ring = half_ring(mesh, PITCH / 2.0, TIPS)
    dirichlet = np.zeros(len(ring.points), dtype=bool)
    dirichlet[ring.numbers[:, fixed].ravel()] = True
    operator = SectorOperator(ring.points, ring.volumes, dirichlet)
    single = np.zeros(len(ring.points))
    single[ring.numbers[0, on_tip]] = raise_by[on_tip]
    alone = operator.potential(single)[ring.numbers]
    response = tip_response(tip)

    def apex(potential: FloatArray) -> float:
        means, _ = sphere_means(mesh, tip, potential[None])
        return response.field(means[0]).value

    others = [apex(0.5 * (alone[2 * j - 1] + alone[2 * j])) for j in range(1, TIPS // 2)]
    last = apex(alone[TIPS - 1])
    total = apex(alone[0]) + 2.0 * sum(others) + last
    assert_allclose(total, apex(together), rtol=1e-5)


def test_influence_against_a_crown_with_every_second_tip_raised(crown: SectorSolution) -> None:
    """EXACT: boundary perturbation against two crowns drawn with uneven tips, within 5 %.

    The first mesh with the pull of the second one, and both meshes extrapolated.
    """
    rows = [height_influence(half_pitch(), level, weights(crown)) for level in crown.levels]
    assert all(len(row) == TIPS // 2 for row in rows)
    odd = [2.0 * (row[0] + row[2]) for row in rows]
    step = 50e-6
    up, down = (solve_sector(whole_pitch(s), meshes=2) for s in (step, -step))
    change = odd_field(up, "odd") - odd_field(down, "odd")
    drawn = change / (2.0 * step) / odd_field(crown, "even")
    assert drawn < 0.0
    assert_allclose(odd[1] + (odd[1] - odd[0]) / 3.0, drawn, rtol=0.05)
    row = height_influence(half_pitch(), crown.levels[0], weights(crown), crown.levels[1:])
    assert_allclose(2.0 * (row[0] + row[2]), drawn, rtol=0.03)
    assert abs(odd[0] / drawn - 1.0) > 0.1


def test_influence_falls_with_the_distance(crown: SectorSolution) -> None:
    """INVARIANT: a raised tip weakens all others, the nearest most; lengths scale it."""
    row = height_influence(half_pitch(), crown.levels[0], weights(crown))
    assert np.all(row < 0.0)
    assert np.all(np.diff(np.abs(row)) < 0.0)
    assert_allclose(height_influence(half_pitch(), crown.levels[0], 7.0 * weights(crown)), row)
