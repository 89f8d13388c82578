"""Tetrahedra that follow a sector to a changed one."""

from __future__ import annotations

import math
from itertools import islice

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import Arc, Line
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.solids.faces import Ball, faces_of
from conegap.geometries.solids.sector import Sector
from conegap.geometries.solids.shapes import Block, ExtrudedX, Revolved
from conegap.solver.field3d.moved_tetrahedra import SectorMeshes, moved_meshes
from conegap.solver.field3d.sector_factor import sector_onset
from conegap.solver.field3d.sector_solution import solve_sector
from conegap.solver.field3d.tetrahedra import tetra_meshes
from conegap.solver.field3d.volumes import tetra_volumes
from conegap.validation.sections.sector_shapes import spheres_octant


def meshes_of(sector: Sector) -> SectorMeshes:
    return SectorMeshes(sector, tuple(islice(tetra_meshes(sector), 2)))


def sector_of(name: str, **changes: float) -> Sector:
    design = Design.read(name)
    found = design.with_values(tuple(changes.items())).sector()
    assert found is not None
    return found


@pytest.fixture(scope="module")
def crown() -> SectorMeshes:
    return meshes_of(sector_of("crown"))


@pytest.mark.parametrize("name", ["crown", "array"])
def test_nothing_moves_when_nothing_changes(name: str) -> None:
    """EXACT: the drawn sector's own meshes."""
    drawn = meshes_of(sector_of(name))
    for before, after in zip(drawn.meshes, drawn.followed(drawn.sector), strict=True):
        assert_allclose(after.points, before.points, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    "change", [{"accelerator.gap": 1.3e-3}, {"emitter.half_angle": math.radians(18.0)}]
)
def test_moved_points_stay_on_the_surfaces_of_the_changed_sector(
    crown: SectorMeshes, change: dict[str, float]
) -> None:
    """EXACT: every point on metal or on a dividing sphere lies on a surface of the new solids."""
    changed = sector_of("crown", **change)
    bodies = [conductor.solid for conductor in changed.conductors]
    bodies += [tip.solid(below=0.05 * tip.height) for tip in changed.tips]
    faces = [face for body in bodies for face in faces_of(body)]
    faces += [Ball((*tip.place, tip.apex), tip.reach) for tip in changed.tips]
    moved = crown.followed(changed)
    assert len(moved) == 2
    for before, mesh in zip(crown.meshes, moved, strict=True):
        nodes = mesh.points_on("emitter", "accelerator", "inside")
        points = mesh.points[nodes] * mesh.scale
        away = np.min(
            [np.where(f.bounds(points), np.abs(f.distance(points)[0]), np.inf) for f in faces],
            axis=0,
        )
        assert away.max() < 1e-9 * changed.gap
        assert np.abs(points - before.points[nodes] * before.scale).max() > 1e-5
        # Refuses where more than a few tetrahedra have lost their volume.
        tetra_volumes(mesh.points, mesh.tetrahedra)


def test_charge_on_moved_spheres_is_that_of_concentric_ones() -> None:
    """EXACT: 4 pi eps0 / (1/a - 1/b), an eighth of it, textbook."""
    drawn, outer, inner = spheres_octant(1e-3, 2e-3), 2e-3, 1.15e-3
    changed = spheres_octant(inner, outer)
    near = meshes_of(drawn)
    assert near.followed(changed)
    charge = solve_sector(changed, meshes=2, near=near).charge("emitter", {"emitter": 1.0})
    exact = 4.0 * math.pi * epsilon_0 / (1.0 / inner - 1.0 / outer) / 8.0
    assert_allclose(charge.value, exact, rtol=2e-3)
    unmoved = solve_sector(drawn, meshes=2, near=near).charge("emitter", {"emitter": 1.0}).value
    assert unmoved < 0.95 * exact


@pytest.mark.slow
def test_small_steps_shift_the_field_as_large_ones_do(crown: SectorMeshes) -> None:
    """INVARIANT: in proportion, ten times below the scatter of new meshes."""
    design = Design.read("crown")
    found = []
    for step in (0.0, -2e-3, 2e-3, -2e-2, 2e-2):
        other = design.with_value("accelerator.gap", design.gap * (1.0 + step))
        solved = sector_onset(other, 1.0, near=crown)
        assert solved is not None
        found.append(math.log(solved.tips[0].per_volt.value))
    drawn, low, high, far_low, far_high = found
    slope = (far_high - far_low) / 4e-2
    assert -0.4 < slope < -0.1
    assert_allclose([drawn - low, high - drawn], 2e-3 * slope, rtol=0.03)


def test_a_mesh_that_cannot_follow_is_refused_and_made_anew(crown: SectorMeshes) -> None:
    """INVARIANT: another kind of sector, or one that would turn tetrahedra over."""
    for changed in (sector_of("array"), sector_of("crown", **{"accelerator.gap": 4e-3})):
        with pytest.raises(MeshError):
            moved_meshes(crown.meshes, crown.sector, changed)
        assert crown.followed(changed) == []
    far = sector_of("crown", **{"accelerator.gap": 4e-3})
    anew = solve_sector(far, meshes=2, near=crown).levels[0].mesh
    assert len(anew.points) != len(crown.meshes[0].points)


def test_faces_are_carried_in_proportion() -> None:
    """EXACT: worked out by hand, a cap, a bar and a box."""
    cap, wide = (
        next(faces_of(Revolved((Arc((0.0, 0.0), r, 0.0, math.pi / 2.0),), (1.0, 0.0))))
        for r in (1.0, 2.0)
    )
    side = math.sqrt(0.5)
    point = np.array([[1.0, side, side]])
    assert_allclose(cap.distance(point)[0], 0.0, atol=1e-15)
    assert_allclose(cap.distance(point)[1], [[0.0, side, side]], atol=1e-15)
    assert_allclose(cap.carried(point, wide), [[1.0, 2.0 * side, 2.0 * side]])
    below = np.array([[1.0, side, -side]])
    assert not cap.bounds(below)[0]
    line = (Line((0.0, 0.0), (1.0, 0.0)),)
    short, long = (next(faces_of(ExtrudedX(line, 0.0, end))) for end in (1.0, 3.0))
    assert_allclose(short.carried(np.array([[0.5, 0.25, 0.0]]), long), [[1.5, 0.25, 0.0]])
    one, two = (list(faces_of(Block((0.0, 0.0, 0.0), (1.0, 1.0, h)))) for h in (1.0, 2.0))
    assert_allclose(
        one[5].carried(np.array([[0.5, 0.5, 1.0]]), two[5]), [[0.5, 0.5, 2.0]], atol=1e-15
    )
