"""Control volumes of tetrahedra: exact for linear potentials, of second order for others."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.sparse import csr_array

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.solids.sector import Room3D, Sector
from conegap.geometries.solids.shapes import Block
from conegap.solver.field.control_volumes import ControlVolumes
from conegap.solver.field3d.operator import SectorOperator, multigrid
from conegap.solver.field3d.tetrahedra import TetraMesh, tetra_meshes
from conegap.solver.field3d.volumes import corner_gradients, tetra_volumes

SIDES = ("x_low", "x_high", "y_low", "y_high", "z_low", "z_high")
SLOPE = np.array([0.3, -1.1, 0.7])


@pytest.fixture(scope="module")
def meshes() -> list[TetraMesh]:
    """Three nested meshes of a box, with Dirichlet values on all walls."""
    room = Room3D(Block((0.0, 0.0, 0.0), (1.0, 0.8, 0.6)), dict.fromkeys(SIDES, "emitter"))
    return list(islice(tetra_meshes(Sector(room, (), (), 1.0), fineness=1.0), 3))


def skewed(mesh: TetraMesh) -> FloatArray:
    """Points of a mesh squeezed along a diagonal, and moved inside at random."""
    rng = np.random.default_rng(7)
    inside = np.ones(len(mesh.points), dtype=bool)
    inside[np.unique(mesh.triangles)] = False
    _, volume = corner_gradients(mesh.points, mesh.tetrahedra)
    step = np.full(len(mesh.points), np.inf)
    np.minimum.at(step, mesh.tetrahedra, np.cbrt(volume)[:, None])
    move = rng.uniform(-0.25, 0.25, mesh.points.shape) * step[:, None]
    points = mesh.points + np.where(inside[:, None], move, 0.0)
    return np.asarray(points @ np.array([[1.0, 0.0, 0.0], [0.6, 1.0, 0.0], [-0.9, 0.4, 0.3]]).T)


def plain_volumes(points: FloatArray, tetrahedra: np.ndarray) -> ControlVolumes:
    """Area of the faces between barycentric cells over the distance, however they lean."""
    volumes = tetra_volumes(points, tetrahedra)
    count = len(points)
    number = {
        int(a) * count + int(b): k
        for k, (a, b) in enumerate(zip(volumes.first, volumes.last, strict=True))
    }
    corners = points[tetrahedra]
    middle = corners.mean(axis=1)
    area = np.zeros(len(volumes.area))
    for i, j, k, m in (
        (0, 1, 2, 3),
        (0, 2, 1, 3),
        (0, 3, 1, 2),
        (1, 2, 0, 3),
        (1, 3, 0, 2),
        (2, 3, 0, 1),
    ):
        edge = 0.5 * (corners[:, i] + corners[:, j])
        one, two = (corners[:, [i, j, c]].mean(axis=1) for c in (k, m))
        lean = 0.5 * np.cross(middle - edge, two - one)
        ends = np.sort(tetrahedra[:, [i, j]], axis=1)
        rows = [number[int(a) * count + int(b)] for a, b in ends]
        np.add.at(area, rows, np.linalg.norm(lean, axis=1))
    return ControlVolumes(volumes.first, volumes.last, area, volumes.distance)


def linear_error(mesh: TetraMesh, points: FloatArray, volumes: ControlVolumes) -> float:
    """Largest error of a linear potential given on the boundary, over its range."""
    dirichlet = np.zeros(len(points), dtype=bool)
    dirichlet[np.unique(mesh.triangles)] = True
    law = points @ SLOPE
    found = SectorOperator(points, volumes, dirichlet).potential(law)
    return float(np.abs(found - law).max() / np.ptp(law))


def test_linear_potentials_are_exact_on_skewed_tetrahedra(meshes: list[TetraMesh]) -> None:
    """EXACT: a uniform field is reproduced to the tolerance of the linear solver."""
    for mesh in meshes[:2]:
        points = skewed(mesh)
        volumes = tetra_volumes(points, mesh.tetrahedra)
        assert np.any(volumes.area < 0.0)
        assert linear_error(mesh, points, volumes) < 3e-9


def test_plain_two_point_flux_does_not_converge(meshes: list[TetraMesh]) -> None:
    """EXACT: the same meshes with leaning faces taken at their plain area miss a uniform field."""
    errors = [
        linear_error(mesh, mesh.points, plain_volumes(mesh.points, mesh.tetrahedra))
        for mesh in meshes
    ]
    assert errors[-1] > 3e-3
    assert errors[-1] > 0.4 * errors[-2]


def test_one_tetrahedron_has_the_fluxes_of_its_gradient() -> None:
    """EXACT: fluxes out of the four corners are those of the gradient through the dual faces."""
    points = np.array([[0.0, 0.0, 0.0], [1.0, 0.2, 0.1], [0.3, 0.9, -0.2], [0.1, 0.4, 1.3]])
    tetrahedra = np.array([[0, 1, 2, 3]])
    volumes = tetra_volumes(points, tetrahedra)
    law = points @ SLOPE
    flow = volumes.area / volumes.distance * (law[volumes.first] - law[volumes.last])
    net = np.bincount(volumes.first, flow, 4) - np.bincount(volumes.last, flow, 4)
    for corner in range(4):
        # the closed dual cell has as much area to the other cells as on the tetrahedron's faces
        others = [k for k in range(4) if k != corner]
        opposite = np.cross(
            points[others[1]] - points[others[0]], points[others[2]] - points[others[0]]
        )
        outward = opposite / 2.0 * np.sign(opposite @ (points[others[0]] - points[corner]))
        assert_allclose(net[corner], -SLOPE @ outward / 3.0, atol=1e-14)


def test_harmonic_polynomial_converges(meshes: list[TetraMesh]) -> None:
    """MANUFACTURED: the potential of a harmonic polynomial is of second order."""
    errors = []
    for mesh in meshes:
        x, y, z = mesh.points.T
        law = x**3 - 3.0 * x * y**2 + 2.0 * z**2 - x**2 - y**2 + x * y * z
        dirichlet = np.zeros(len(law), dtype=bool)
        dirichlet[np.unique(mesh.triangles)] = True
        operator = SectorOperator(
            mesh.points, tetra_volumes(mesh.points, mesh.tetrahedra), dirichlet
        )
        errors.append(np.sqrt(np.mean((operator.potential(law) - law) ** 2)))
    assert np.log2(errors[-2] / errors[-1]) > 1.75


def test_a_row_of_both_signs_has_a_multigrid(capfd: pytest.CaptureFixture[str]) -> None:
    """REGRESSION: where the strong couplings of a row cancel, the classical interpolation divides
    by zero, says so on the terminal and has no finite levels.  EXACT: elimination."""
    arms, weak = 6, 10
    matrix = np.diag([0.0, 3.0, 3.0] + [0.0] * 2 * arms + [0.1] * weak)

    def tie(first: int, last: int, strength: float) -> None:
        matrix[[first, last], [last, first]] -= strength
        matrix[[first, last], [first, last]] += strength

    tie(0, 1, 1.0)
    tie(0, 2, -1.0)
    for k in range(arms):
        tie(1, 3 + k, 1.0)
        tie(2, 3 + arms + k, 1.0)
    for k in range(3 + 2 * arms, len(matrix)):
        tie(0, k, 0.2)
        tie(1, k, 1.0)
    assert np.linalg.eigvalsh(matrix)[0] > 0.0
    solver = multigrid(csr_array(matrix))
    source = np.arange(1.0, len(matrix) + 1.0)
    found = solver.solve(source, tol=1e-12, maxiter=100, accel="cg")
    assert_allclose(found, np.linalg.solve(matrix, source), rtol=1e-8)
    assert all(np.isfinite(level.A.data).all() for level in solver.levels)
    assert capfd.readouterr() == ("", "")
