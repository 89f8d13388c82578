"""Control volumes of sections in which the permittivity changes from layer to layer."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.sparse.linalg import spsolve

from conegap.geometries.curves.section import Symmetry
from conegap.solver.field.control_volumes import control_volumes
from conegap.solver.field.finite_volume import dual_matrix


@pytest.mark.parametrize("symmetry", ["planar", "axisymmetric"])
def test_layered_plates(symmetry: Symmetry) -> None:
    """EXACT: two layers between plates share the voltage as thickness over permittivity."""
    r, z = np.meshgrid(np.linspace(0.0, 1.0, 5), np.linspace(0.0, 1.0, 11), indexing="ij")
    points = np.stack([r.ravel(), z.ravel()], axis=1)
    number = np.arange(55).reshape(5, 11)
    low, right = number[:-1, :-1].ravel(), number[1:, :-1].ravel()
    over, far = number[:-1, 1:].ravel(), number[1:, 1:].ravel()
    triangles = np.vstack([np.stack([low, right, far], 1), np.stack([low, far, over], 1)])
    mesh: Any = SimpleNamespace(points=points, triangles=triangles)
    # 0.4 of the gap is filled, with the permittivity of a common oxide ceramic (from memory).
    filled = points[triangles, 1].mean(axis=1) < 0.4
    volumes = control_volumes(mesh, symmetry, np.where(filled, 9.4, 1.0))
    plates = (number[:, [0, -1]]).ravel()
    dirichlet = np.zeros(55, dtype=bool)
    dirichlet[plates] = True
    potential = np.where(points[:, 1] > 0.5, 1.0, 0.0) * dirichlet
    through = volumes.area / volumes.distance
    source = np.zeros(55)
    np.add.at(source, volumes.first, through * potential[volumes.last])
    np.add.at(source, volumes.last, through * potential[volumes.first])
    potential[~dirichlet] = spsolve(-dual_matrix(volumes, dirichlet).tocsc(), source[~dirichlet])
    reach = np.minimum(points[:, 1], 0.4) / 9.4 + np.maximum(points[:, 1] - 0.4, 0.0)
    assert_allclose(potential, reach / (0.4 / 9.4 + 0.6), atol=1e-12)
