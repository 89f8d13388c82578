"""Laplace's equation on the control volumes of a tetrahedral mesh: FiPy and multigrid.

FiPy assembles the balance of the free points once; algebraic multigrid (Ruge and Stueben)
preconditions conjugate gradients for every set of potentials.  The residual is checked here.

Measured on 90,000 points of the shipped crown: 25 steps, where the classical interpolation took 49
and twice the time, and smoothed aggregation more.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from conegap.geometries.curves.curve import BoolArray, FloatArray
from conegap.geometries.quantities.errors import ConvergenceError, MeshError
from conegap.solver.field.control_volumes import ControlVolumes
from conegap.solver.field.finite_volume import dual_matrix

__all__ = ["SectorOperator", "multigrid"]

# Of the residual: six orders below the error of the mesh.
_TOLERANCE = 1e-9
# Some 25 are needed.
_MOST_STEPS = 200


class SectorOperator:
    """Potentials of a tetrahedral mesh for given values on its Dirichlet points.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    dirichlet : (n,) array of bool
        Points with given potential.

    Raises
    ------
    MeshError
        A free point belongs to no sound tetrahedron.
    """

    def __init__(self, points: FloatArray, volumes: ControlVolumes, dirichlet: BoolArray) -> None:
        self._volumes = volumes
        self._dirichlet = dirichlet
        self._free = ~dirichlet
        self._conductance = volumes.area / volumes.distance
        self._matrix = -dual_matrix(volumes, dirichlet)
        if not np.all(self._matrix.diagonal() > 0.0):
            raise MeshError("some points of the sector's mesh belong to no tetrahedron")
        self._multigrid = multigrid(self._matrix)

    def potential(self, values: FloatArray, start: FloatArray | None = None) -> FloatArray:
        """Potential at every point.

        Parameters
        ----------
        values : (n,) array
            Of the Dirichlet points; other entries are ignored, [V].
        start : (n,) array or None
            First guess, [V].

        Returns
        -------
        (n,) array, [V]

        Raises
        ------
        ConvergenceError
            The residual stays above its tolerance.
        """
        result = np.where(self._dirichlet, values, 0.0)
        source = -self.flux(result)[self._free]
        guess = None if start is None else start[self._free]
        found = self._multigrid.solve(
            source, x0=guess, tol=_TOLERANCE, maxiter=_MOST_STEPS, accel="cg"
        )
        size = max(float(np.linalg.norm(source)), 1e-300)
        residual = float(np.linalg.norm(source - self._matrix @ found)) / size
        if not residual <= 10.0 * _TOLERANCE:
            raise ConvergenceError(
                "the potential of the sector did not converge",
                residual=residual,
                tolerance=10.0 * _TOLERANCE,
            )
        result[self._free] = found
        return result

    def flux(self, potential: FloatArray) -> FloatArray:
        """Net flux out of every control volume, the charge of a Dirichlet point, (n,) array.

        Parameters
        ----------
        potential : (n,) array
            [V].
        """
        first, last = self._volumes.first, self._volumes.last
        flow = self._conductance * (potential[first] - potential[last])
        count = len(potential)
        return np.asarray(np.bincount(first, flow, count) - np.bincount(last, flow, count))


def multigrid(matrix: Any) -> Any:
    """Ruge and Stueben's multigrid with direct interpolation over the negative couplings.

    Tetrahedra with wide angles give some positive couplings.  Taken for strong ones, as their size
    alone would have it, they let the sums of a row vanish by which the classical interpolation
    divides; over negative ones alone every sum has one sign.

    Parameters
    ----------
    matrix : sparse matrix
        Symmetric and positive definite.
    """
    import pyamg

    return pyamg.ruge_stuben_solver(
        matrix, strength=("classical", {"theta": 0.25, "norm": "min"}), interpolation="direct"
    )
