"""Coarse meshes moved from one section to a neighbouring one."""

from __future__ import annotations

import numpy as np
import pytest
from conftest import needle_design
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.field.solution import solve_field
from conegap.solver.mesh.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.mesh.morph import MovedTooFar, followed, morphed
from conegap.solver.studies.variants import onset_of_variants
from conegap.validation.sections.axisymmetric import hyperboloid_needle
from conegap.validation.sections.planar import planar_hyperbola

EXAMPLES = ("needle", "capillary", "slit", "profile")


@pytest.fixture(scope="module")
def meshes() -> dict[str, CoarseMesh]:
    return {name: coarse_mesh(Design.read(name).section()) for name in EXAMPLES}


@pytest.mark.parametrize("name", EXAMPLES)
def test_nothing_moves_when_nothing_changes(name: str, meshes: dict[str, CoarseMesh]) -> None:
    """EXACT: a mesh moved to its own section is that mesh."""
    drawn = meshes[name]
    moved = morphed(drawn, drawn.section)
    assert np.array_equal(moved.triangles, drawn.triangles)
    assert moved.sides is drawn.sides
    size = np.ptp(drawn.points, axis=0).max()
    assert_allclose(moved.points, drawn.points, rtol=0, atol=1e-12 * size)


def test_everything_is_scaled_with_the_design() -> None:
    """EXACT: mean value weights reproduce straight maps: twice the lengths, twice the places."""
    drawn = coarse_mesh(needle_design().section())
    moved = morphed(drawn, needle_design(2.0).section())
    size = np.ptp(drawn.points, axis=0).max()
    assert_allclose(moved.points, 2.0 * drawn.points, rtol=0, atol=1e-11 * size)
    assert moved.scale == drawn.scale


def test_exact_field_on_a_moved_mesh() -> None:
    """EXACT: apex field of the hyperboloid of revolution, radius and gap changed by a third."""
    near = coarse_mesh(hyperboloid_needle(radius=5e-6, gap=1e-4, prescribed=False).section)
    for radius, gap in ((3.5e-6, 1e-4), (5e-6, 1.3e-4), (6e-6, 9e-5)):
        case = hyperboloid_needle(radius=radius, gap=gap, prescribed=False)
        solution = solve_field(case.section, near=near)
        assert np.array_equal(solution.coarse.triangles, near.triangles)
        found = solution.edge("tip", case.voltages)
        assert_allclose(found.value, case.edge_fields["tip"], rtol=2e-5, atol=0)
        assert abs(found.value / case.edge_fields["tip"] - 1.0) <= found.error


def test_shifts_are_smooth() -> None:
    """INVARIANT: onsets lie on a smooth curve to 1e-8; on new meshes they scatter more."""
    design = Design.read("needle")
    place = np.linspace(-1.0, 1.0, 9)
    values = 1e-3 * (1.0 + 0.02 * place)

    def scatter(voltages: list[float]) -> float:
        logs = np.log(voltages)
        return float(np.abs(np.polynomial.Polynomial.fit(place, logs, 4)(place) - logs).max())

    moved = onset_of_variants(design, [(("accelerator.gap", float(v)),) for v in values])
    assert scatter([onset.voltage for onset in moved if not isinstance(onset, str)]) < 1e-8
    anew = [design.with_value("accelerator.gap", float(v)).section() for v in values]
    fields = [
        solve_field(section, meshes=2).edge("tip", {"emitter": 1.0}).value for section in anew
    ]
    assert scatter(fields) > 1e-6


def test_other_boundaries_are_refused() -> None:
    """EXACT: a mesh does not follow to another kind of section."""
    needle = hyperboloid_needle(radius=5e-6, gap=1e-4)
    blade = planar_hyperbola(radius=5e-6, gap=1e-4)
    near = coarse_mesh(needle.section)
    with pytest.raises(MovedTooFar):
        morphed(near, blade.section)
    assert followed(near, blade.section) is None


def test_a_mesh_that_cannot_follow_is_made_anew() -> None:
    """INVARIANT: at four times the gap triangles would fold; the mesh is a new one."""
    design = Design.read("needle")
    near = coarse_mesh(design.section())
    far = design.with_value("accelerator.gap", 4.0 * design.gap).section()
    with pytest.raises(MeshError):
        morphed(near, far)
    with_near = solve_field(far, meshes=2, near=near)
    assert_allclose(with_near.coarse.points, coarse_mesh(far).points, rtol=1e-12)
