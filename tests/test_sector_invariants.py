"""What every solve of a sector must keep: superposition, charge, reciprocity, scale, memory."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import islice

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import GeometryError, MeshError
from conegap.geometries.solids.sector import Conductor, Sector, Tip, Wedge
from conegap.geometries.solids.shapes import Block
from conegap.solver.field3d import sector_solution as sector_field
from conegap.solver.field3d.operator import SectorOperator
from conegap.solver.field3d.sector_solution import SectorSolution, memory_needed, solve_sector
from conegap.solver.field3d.tetrahedra import tetra_meshes
from conegap.solver.field3d.tip_field import sphere_means, tip_response
from conegap.solver.field3d.volumes import tetra_volumes
from conegap.validation.sections.sector_shapes import boss_cell


def closed_room(scale: float = 1.0) -> Sector:
    """A wedge with one tip, an accelerator block above it and a chamber all round."""
    mm = 1e-3 * scale
    tip = Tip(
        "tip", (1.0 * mm, 0.0), 0.0, 25e-6 * scale, math.radians(15.0), 0.6 * mm, 0.2 * mm, (0.0,)
    )
    walls = {"bottom": "emitter", "top": "chamber", "side": "chamber"}
    block = Block((-4.0 * mm, -4.0 * mm, 0.8 * mm), (1.6 * mm, 4.0 * mm, 1.1 * mm))
    return Sector(
        region=Wedge(math.pi / 6.0, 2.5 * mm, -0.6 * mm, 2.0 * mm, walls),
        conductors=(Conductor("accelerator", block),),
        tips=(tip,),
        gap=0.8 * mm,
        copies=12,
    )


@pytest.fixture(scope="module")
def solution() -> SectorSolution:
    return solve_sector(closed_room(), meshes=2)


def test_unit_solutions_add_up_to_one(solution: SectorSolution) -> None:
    """INVARIANT: the last electrode, which is not solved, has the potential of its own solve."""
    level = solution.levels[-1]
    dirichlet = level.measure > 0.0
    operator = SectorOperator(
        level.mesh.points, tetra_volumes(level.mesh.points, level.mesh.tetrahedra), dirichlet
    )
    assert solution.electrodes == ("emitter", "accelerator", "chamber")
    own = operator.potential(np.where(dirichlet, level.potentials[-1], 0.0))
    assert_allclose(own, level.potentials[-1], atol=1e-7)
    assert_allclose(level.potentials.sum(axis=0), 1.0, atol=1e-12)
    assert level.potentials.min() > -0.02
    assert set(np.unique(level.potentials[:, dirichlet])) <= {0.0, 1.0}


def test_charges_of_a_closed_region_cancel(solution: SectorSolution) -> None:
    """INVARIANT: no charge is left over, and capacitances between two electrodes are mutual."""
    capacitance = np.array(
        [
            [solution.charge(one, {other: 1.0}).value for other in solution.electrodes]
            for one in solution.electrodes
        ]
    )
    size = np.abs(capacitance).max()
    assert_allclose(capacitance.sum(axis=0), 0.0, atol=1e-7 * size)
    assert_allclose(capacitance, capacitance.T, atol=1e-7 * size)
    assert np.all(np.diag(capacitance) > 0.0)
    assert np.all(capacitance[~np.eye(3, dtype=bool)] < 0.0)


def test_charge_is_twice_the_energy(solution: SectorSolution) -> None:
    """INVARIANT: flux into the emitter at 1 V against the integral of the field squared."""
    from conegap.solver.field3d.volumes import corner_gradients

    for k, level in enumerate(solution.levels):
        gradients, volume = corner_gradients(level.mesh.points, level.mesh.tetrahedra)
        corners = level.potentials[0][level.mesh.tetrahedra]
        field = np.einsum("mc,mcx->mx", corners, gradients)
        energy = float(np.sum(volume * np.sum(field**2, axis=1)))
        charge = solution.charge("emitter", {"emitter": 1.0}).level_values[k]
        assert_allclose(charge / sector_field.epsilon_0 / level.mesh.scale, energy, rtol=1e-7)


def apex_fields(found: SectorSolution) -> list[float]:
    """Field at the apex on every mesh, emitter at 1 V."""
    tip = found.sector.tips[0]
    response = tip_response(tip)
    values = []
    for level in found.levels:
        means, _ = sphere_means(level.mesh, tip, level.potentials[:1] - 1.0)
        values.append(response.field(means[0]).value)
    return values


def test_fields_scale_with_the_lengths(solution: SectorSolution) -> None:
    """INVARIANT: all lengths doubled halve the field and double the charge at the same voltage."""
    double = solve_sector(closed_room(2.0), meshes=2)
    assert double.cells == solution.cells
    assert_allclose(2.0 * np.array(apex_fields(double)), apex_fields(solution), rtol=1e-6)
    one, two = (s.charge("emitter", {"emitter": 1.0}).value for s in (solution, double))
    assert_allclose(two, 2.0 * one, rtol=1e-6)


def test_field_is_that_of_the_voltages(solution: SectorSolution) -> None:
    """INVARIANT: without voltage differences no electrode of a closed region holds charge."""
    same = dict.fromkeys(solution.electrodes, 1000.0)
    lone = abs(solution.charge("emitter", {"emitter": 1000.0}).value)
    for name in solution.electrodes:
        assert abs(solution.charge(name, same).value) < 1e-9 * lone
        _, field = solution.surface_field(name, same)
        assert np.abs(field).max() < 1e-3  # V/m, at 1 kV


def test_too_large_a_sector_is_refused_before_it_is_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: memory is asked for first; the refusal names points, need and room."""
    cell = boss_cell(1e-3, 4e-3, 3e-3)
    points = len(next(tetra_meshes(cell)).points)

    def never(*_: object) -> None:
        raise InterruptedError

    monkeypatch.setattr(sector_field, "solve_level", never)
    need = memory_needed(8 * points)
    monkeypatch.setattr(sector_field, "_memory_free", lambda: need - 1)
    with refused("", f"{8 * points:,}", "GiB", kind=MeshError, cause="too large"):
        solve_sector(cell, meshes=2)
    monkeypatch.setattr(sector_field, "_memory_free", lambda: need)
    with pytest.raises(InterruptedError):
        solve_sector(cell, meshes=2)


def test_refined_meshes_are_no_larger_than_was_asked_for() -> None:
    """INVARIANT: uniform refinement has at most eight times the points, all on the same faces."""
    sector = replace(closed_room(), parts_per_radius=1.0)
    first, second = islice(tetra_meshes(sector), 2)
    assert len(second.tetrahedra) == 8 * len(first.tetrahedra)
    assert len(second.points) <= 8 * len(first.points)
    for name in ("emitter", "accelerator", "chamber", "inside:tip"):
        assert np.count_nonzero(second.faces_of(name)) == 4 * np.count_nonzero(first.faces_of(name))
    assert np.all(np.isin(first.points_on("accelerator"), second.points_on("accelerator")))
    offset = second.points[second.points_on("inside:tip")] * second.scale - [1e-3, 0.0, 0.0]
    assert_allclose(np.linalg.norm(offset, axis=1), 0.2e-3, rtol=1e-6)


def test_a_gap_of_few_tip_radii_is_refused() -> None:
    """REGRESSION: no room about the tip was once a mesh that never ended."""
    design = Design.read("crown").with_value("emitter.tip_radius", 40e-6)
    near = design.with_value("accelerator.gap", 0.3e-3)
    with refused("accelerator.gap", "0.3 mm", "at least 10 ", "0.405 mm", kind=GeometryError):
        near.sector()
    sector = design.with_value("accelerator.gap", 0.41e-3).sector()
    assert sector is not None
    assert sector.tips[0].reach >= 5.0 * sector.tips[0].radius
    with refused("", "'tip'", "4 tip radii", kind=MeshError, cause="no room"):
        tip_response(replace(sector.tips[0], reach=4.0 * sector.tips[0].radius))
