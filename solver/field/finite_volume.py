"""Laplace's and Poisson's equation on Voronoi control volumes, assembled by FiPy.

The mesh class hands FiPy the faces, areas and distances of the dual mesh; points on electrodes
are eliminated, so that every face to an electrode is an exterior Dirichlet face.
FiPy assembles the matrix once per mesh.  The linear system is solved directly, and its residual is
checked against the fluxes through all faces, which shows an entry that FiPy had placed wrongly.

FiPy's own meshes derive a dozen masked tables that a diffusion term never reads, and its
constraints take the divergence of a gradient over every face of every cell: four fifths of the
assembly.  So the mesh class here holds neighbours, areas and distances alone, and the diffusion
term adds Dirichlet faces to the diagonal.
"""

from __future__ import annotations

import logging
import os
from typing import Any

import numpy as np
from scipy.sparse import csc_array

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.quantities.errors import ConvergenceError
from conegap.solver.field.control_volumes import ControlVolumes
from conegap.solver.mesh.elimination import symmetric_factor
from conegap.solver.mesh.subdivision import FineMesh

# FiPy reads the choice of solver library once, at import.
os.environ.setdefault("FIPY_SOLVERS", "scipy")
logging.getLogger("fipy").setLevel(logging.ERROR)

from fipy import (  # noqa: E402
    CellVariable,
    DiffusionTermNoCorrection,
    ImplicitSourceTerm,
)
from fipy.meshes.abstractMesh import AbstractMesh  # noqa: E402
from fipy.meshes.topologies.meshTopology import _MeshTopology  # noqa: E402
from fipy.solvers.scipy.scipySolver import ScipySolver  # noqa: E402
from fipy.tools import serialComm  # noqa: E402

__all__ = [
    "LaplaceOperator",
    "dual_matrix",
]


# Of the right-hand side: a sound factor leaves some 1e-15, an entry in a wrong place far more.
_RESIDUAL_TOLERANCE = 1e-9


class _DualMesh(AbstractMesh):  # type: ignore[misc]
    """The faces of the control volumes, with the attributes that FiPy's diffusion term reads.

    FiPy's own mesh classes derive more than ten tables from vertices, which a dual mesh does not
    need; a diffusion term between cells reads neighbours, face areas and distances only.

    Parameters
    ----------
    cells : int
        Number of cells.
    cell_low, cell_high : (m,) arrays of int
        Cells on both sides of each face; ``cell_high`` is -1 on exterior faces.
    area, distance : (m,) arrays
        Face area and distance between the two generating points.
    """

    def __init__(
        self,
        cells: int,
        cell_low: IntArray,
        cell_high: IntArray,
        area: FloatArray,
        distance: FloatArray,
    ) -> None:
        super().__init__(communicator=serialComm, _TopologyClass=_MeshTopology)
        self.numberOfCells = self.globalNumberOfCells = cells
        self.numberOfFaces = self.globalNumberOfFaces = len(area)
        self._interiorFaces = cell_high >= 0
        self._adjacentCellIDs = (cell_low, np.where(self._interiorFaces, cell_high, cell_low))
        self._faceAreas, self._cellDistances = area, distance
        self._scaledCellVolumes = np.ones(cells)

    @property
    def _neighborsPerCell(self) -> IntArray:
        """Entries to reserve in every row: FiPy passes this on, SciPy's matrices ignore it."""
        return np.zeros(self.numberOfCells, dtype=np.int64)

    @property
    def _maxFacesPerCell(self) -> int:
        """Only asked for by boundary conditions of higher order."""
        return 0


class _DiffusionToDirichletFaces(DiffusionTermNoCorrection):  # type: ignore[misc]
    """Diffusion between cells and to exterior faces, all of them Dirichlet faces at 0.

    FiPy finds the same entries of the matrix from the divergence of a gradient on every face of
    every cell; a Dirichlet face only adds its area over its distance to the diagonal.
    """

    def _calcConstraints(self, var: Any) -> None:
        """Entries of the diagonal and of the right-hand side that come from the Dirichlet faces."""
        mesh = var.mesh
        dirichlet = ~mesh.interiorFaces
        through = mesh._faceAreas[dirichlet] / mesh._cellDistances[dirichlet]
        cells = mesh._adjacentCellIDs[0][dirichlet]
        self.constraintL[var] = -np.bincount(cells, through, mesh.numberOfCells)
        self.constraintB[var] = np.zeros(mesh.numberOfCells)


class LaplaceOperator:
    """Laplace's equation for given potentials on a fixed set of points.

    FiPy assembles the equation once; the factorised matrix serves every further set of
    potentials, whose right-hand side is the same sum over faces.

    Parameters
    ----------
    volumes : ControlVolumes
        Of that mesh.
    dirichlet : (n,) array of bool
        Points with given potential.
    reaction : (n,) array or None
        Integral over each control volume of the factor c in  div grad u - c u = 0, which the
        amplitude of a wave across the section obeys (c = k^2 along a slit, m^2 / r^2 around an
        axis), scaled; none for the potential itself.
    """

    def __init__(
        self,
        mesh: FineMesh,
        volumes: ControlVolumes,
        dirichlet: BoolArray,
        reaction: FloatArray | None = None,
    ) -> None:
        self.count = len(mesh.points)
        self._dirichlet = dirichlet
        self._free = np.nonzero(~dirichlet)[0]
        self._volumes = volumes
        self._conductance = volumes.area / volumes.distance
        self._reaction = np.zeros(self.count) if reaction is None else reaction
        self._factor = symmetric_factor(
            dual_matrix(volumes, dirichlet, reaction), mesh.ranks[~dirichlet]
        )

    def potentials(self, values: FloatArray, charge: FloatArray | None = None) -> FloatArray:
        """Potentials at every point, of Poisson's equation where there is charge.

        Parameters
        ----------
        values : (k, n) array
            Potentials of the Dirichlet points; other entries are ignored, [V].
        charge : (k, n) array or None
            Charge of every control volume over eps0, scaled as the outflow (planar: over the
            length of the slit; axisymmetric: over 2 pi and the unit of length); none when left
            out, [V].

        Returns
        -------
        (k, n) array
            [V].

        Raises
        ------
        ConvergenceError
            The residual of the linear system is too large.
        """
        result = np.where(self._dirichlet, values, 0.0)
        # FiPy's matrix is that of the divergence of the gradient: minus the outflow.
        given = 0.0 if charge is None else charge[:, self._free]
        source = self._outflow(result)[:, self._free] - given
        result[:, self._free] = self._factor.solve(np.ascontiguousarray(source.T)).T
        self._check(result, source, given)
        return np.asarray(result)

    def response(self, nodes: IntArray, values: FloatArray) -> FloatArray:
        """Outgoing flux of some Dirichlet points while all others are at zero.

        Only faces at these points carry what is asked for, and one set of potentials stands for
        all in the check of the residual: the factor is the same.

        Parameters
        ----------
        nodes : (m,) array of int
            Dirichlet points.
        values : (k, m) array
            Their potentials, [V].

        Returns
        -------
        (k, m) array

        Raises
        ------
        ConvergenceError
            The residual of the linear system is too large.
        """
        near = np.zeros(self.count, dtype=bool)
        near[nodes] = True
        faces = np.nonzero(near[self._volumes.first] | near[self._volumes.last])[0]
        first, last = self._volumes.first[faces], self._volumes.last[faces]
        conductance = self._conductance[faces, None]
        pairs = np.stack([first, last], axis=1).ravel()
        ways = np.tile([1.0, -1.0], len(faces))
        into = csc_array((ways, pairs, np.arange(0, len(pairs) + 1, 2)), (self.count, len(faces)))
        given = np.zeros((self.count, len(values)))
        given[nodes] = values.T
        source = (into @ (conductance * (given[first] - given[last])))[self._free]
        given[self._free] = self._factor.solve(source)
        self._check(given[:, :1].T, source[:, :1].T)
        flux = into @ (conductance * (given[first] - given[last]))
        return np.asarray(flux[nodes].T + self._reaction[nodes] * values)

    def _check(
        self, potentials: FloatArray, source: FloatArray, charge: FloatArray | float = 0.0
    ) -> None:
        """Refuse potentials that leave a residual."""
        left = np.linalg.norm(self._outflow(potentials)[:, self._free] - charge, axis=1)
        size = np.maximum(np.linalg.norm(source, axis=1), 1e-300)
        worst = float(np.max(left / size)) if len(potentials) else 0.0
        if not worst <= _RESIDUAL_TOLERANCE:
            raise ConvergenceError(
                "the linear solve of the potential failed",
                residual=worst,
                tolerance=_RESIDUAL_TOLERANCE,
            )

    def charges(self, potentials: FloatArray, charge: FloatArray | None = None) -> FloatArray:
        """Outgoing flux of the Dirichlet points for potentials at every point, (k, n) array.

        It is the charge on the surface: charge in the vacuum part of the point's own volume is
        taken off.
        """
        flux = self._outflow(potentials)
        if charge is not None:
            flux -= charge
        flux[:, self._free] = 0.0
        return flux

    def _outflow(self, potentials: FloatArray) -> FloatArray:
        """Net flux out of every control volume, (k, n) array."""
        first, last = self._volumes.first, self._volumes.last
        flux = self._conductance * (potentials[:, first] - potentials[:, last])
        net = np.stack(
            [
                np.bincount(first, row, self.count) - np.bincount(last, row, self.count)
                for row in flux
            ]
        )
        return np.asarray(net + self._reaction * potentials)


class _KeptMatrix(ScipySolver):  # type: ignore[misc]
    """Keeps the assembled matrix in place of solving."""

    matrix: Any = None

    def _solve_(self, matrix: Any, unknown: FloatArray, right_hand_side: FloatArray) -> FloatArray:
        self.matrix = matrix.tocsr()
        return unknown


def dual_matrix(
    volumes: ControlVolumes, dirichlet: BoolArray, reaction: FloatArray | None = None
) -> Any:
    """The matrix that FiPy assembles for the free points of a mesh, in their order.

    It is that of the divergence of the gradient, so its negative is positive definite.

    Parameters
    ----------
    dirichlet : (n,) array of bool
        Points with given potential.
    reaction : (n,) array or None
        As in `LaplaceOperator`.

    Returns
    -------
    (free, free) sparse matrix
    """
    free = ~dirichlet
    number = np.full(len(dirichlet), -1, dtype=np.int64)
    number[free] = np.arange(np.count_nonzero(free))
    wanted = free[volumes.first] | free[volumes.last]
    one, two = number[volumes.first[wanted]], number[volumes.last[wanted]]
    cells = np.count_nonzero(free)
    mesh = _DualMesh(
        cells=int(cells),
        cell_low=np.where(one < 0, two, one),
        cell_high=np.where(one < 0, one, two),
        area=volumes.area[wanted],
        distance=volumes.distance[wanted],
    )
    equation = _DiffusionToDirichletFaces(coeff=1.0)
    if reaction is not None:
        # Cell volumes are one, so the coefficient is already the integral over the cell.
        equation -= ImplicitSourceTerm(coeff=CellVariable(mesh=mesh, value=reaction[free]))
    kept = _KeptMatrix()
    equation.solve(var=CellVariable(mesh=mesh, value=0.0), solver=kept)
    return kept.matrix
