"""Laplace's equation on Voronoi control volumes, assembled by FiPy.

The mesh class hands FiPy the faces, areas and distances of the dual mesh; points on electrodes
are eliminated, so that every face to an electrode is an exterior face held at the electrode's
potential.  The linear system is solved directly and the residual is checked here.
"""

from __future__ import annotations

import logging
import os
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import SuperLU, splu

from conegap.geometries.curves import FloatArray
from conegap.geometries.errors import ConvergenceError
from conegap.solver.coarse_mesh import IntArray
from conegap.solver.control_volumes import ControlVolumes
from conegap.solver.dissection import PermutedFactor, dissection_order

# FiPy reads the choice of solver library once, at import.
os.environ.setdefault("FIPY_SOLVERS", "scipy")
logging.getLogger("fipy").setLevel(logging.ERROR)

from fipy import (  # noqa: E402
    CellVariable,
    DiffusionTermNoCorrection,
    FaceVariable,
    ImplicitSourceTerm,
)
from fipy.meshes.mesh import Mesh  # noqa: E402
from fipy.meshes.mesh2D import Mesh2D  # noqa: E402
from fipy.solvers.scipy.scipySolver import ScipySolver  # noqa: E402

__all__ = [
    "BoolArray",
    "LaplaceOperator",
    "TetraDualMesh",
    "VoronoiMesh",
    "dual_matrix",
    "symmetric_factor",
]

BoolArray = NDArray[np.bool_]

_RESIDUAL_TOLERANCE = 1e-9
_DISSECTED = 10_000


class _GivenFaces:
    """A FiPy mesh described by the faces of its control volumes.

    Parameters
    ----------
    centres : (dimensions, n) array
        Generating points of the cells.
    cell_low, cell_high : (m,) arrays of int
        Cells on both sides of each face; ``cell_high`` is -1 on exterior faces.
    beyond : (dimensions, m) array
        Generating point on the far side of each face (the electrode point on exterior faces).
    area, distance : (m,) arrays
        Face area and distance between the two generating points.
    """

    faceNormals: FloatArray

    def __init__(
        self,
        centres: FloatArray,
        cell_low: IntArray,
        cell_high: IntArray,
        beyond: FloatArray,
        area: FloatArray,
        distance: FloatArray,
    ) -> None:
        self._given_centres = centres
        self._given_low, self._given_high = cell_low, cell_high
        self._given_beyond = beyond
        self._given_area, self._given_distance = area, distance
        cell_faces = _faces_of_cells(cell_low, cell_high, centres.shape[1])
        # As many formal vertices per face as dimensions; FiPy's geometry from vertices is
        # overridden below.
        face_vertices = np.stack([np.arange(len(area))] * len(centres))
        super().__init__(  # type: ignore[call-arg]
            vertexCoords=beyond, faceVertexIDs=face_vertices, cellFaceIDs=cell_faces
        )

    def _calcFaceCellIDs(self) -> Any:
        """Cells on both sides of each face, the missing one masked."""
        return np.ma.masked_values(np.stack([self._given_low, self._given_high]), -1)

    def _calcFaceCenters(self) -> FloatArray:
        """Middle between two generating points; the electrode point on exterior faces."""
        low = self._given_centres[:, self._given_low]
        middle = 0.5 * (low + self._given_beyond)
        return np.where(self._given_high < 0, self._given_beyond, middle)

    def _calcFaceAreas(self) -> FloatArray:
        """Areas as given."""
        return self._given_area

    def _calcCellCenters(self) -> FloatArray:
        """Generating points as given."""
        return self._given_centres

    def _calcFaceNormals(self) -> FloatArray:
        """Unit vectors from the low cell outward."""
        along = self._given_beyond - self._given_centres[:, self._given_low]
        return np.asarray(along / self._given_distance)

    def _calcCellVolumes(self) -> FloatArray:
        """Ones: Laplace's equation has no volume terms; FiPy multiplies divergences by this."""
        return np.ones(self._given_centres.shape[1])


class VoronoiMesh(_GivenFaces, Mesh2D):  # type: ignore[misc]
    """Control volumes of a plane or axisymmetric section."""

    def _calcFaceTangents(self) -> tuple[FloatArray, FloatArray]:
        """Normals turned by a right angle; there is no third direction."""
        normal = self.faceNormals
        return np.stack([-normal[1], normal[0]]), np.zeros_like(normal)


class TetraDualMesh(_GivenFaces, Mesh):  # type: ignore[misc]
    """Control volumes of a tetrahedral mesh."""

    def _calcFaceTangents(self) -> tuple[FloatArray, FloatArray]:
        """None: the flux along a face is part of the given areas."""
        normal = self.faceNormals
        return np.zeros_like(normal), np.zeros_like(normal)


def _faces_of_cells(low: IntArray, high: IntArray, cells: int) -> Any:
    """Masked (most faces of a cell, cells) array of face numbers."""
    faces = np.arange(len(low))
    inner = high >= 0
    cell = np.concatenate([low, high[inner]])
    face = np.concatenate([faces, faces[inner]])
    order = np.argsort(cell, kind="stable")
    cell, face = cell[order], face[order]
    count = np.bincount(cell, minlength=cells)
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    table = np.full((int(count.max()), cells), -1, dtype=np.int64)
    table[np.arange(len(cell)) - start[cell], cell] = face
    return np.ma.masked_values(table, -1)


def symmetric_factor(matrix: Any, places: FloatArray) -> SuperLU | PermutedFactor:
    """Sparse factorisation in symmetric mode, the quickest for these meshes.

    Small matrices are eliminated in the library's order of least degree, large ones, where that
    order can take minutes to find, by nested dissection.

    Parameters
    ----------
    matrix : (n, n) sparse matrix
        Symmetric in its pattern.
    places : (n, dimensions) array
        Place of every row's point, in any unit.
    """
    if matrix.shape[0] < _DISSECTED:
        return _factorised(matrix.tocsc(), "MMD_AT_PLUS_A")
    order = dissection_order(matrix, places)
    return PermutedFactor(_factorised(matrix.tocsr()[order][:, order].tocsc(), "NATURAL"), order)


def _factorised(matrix: Any, order: str) -> SuperLU:
    return splu(matrix, permc_spec=order, diag_pivot_thresh=0.0, options={"SymmetricMode": True})


class _DirectSolver(ScipySolver):  # type: ignore[misc]
    """Sparse factorisation in symmetric mode, kept for further right-hand sides."""

    def __init__(self, places: FloatArray) -> None:
        super().__init__(tolerance=_RESIDUAL_TOLERANCE)
        self._places = places
        self.factor: SuperLU | PermutedFactor | None = None

    def _solve_(self, matrix: Any, unknown: FloatArray, right_hand_side: FloatArray) -> FloatArray:
        if self.factor is None:
            self.factor = symmetric_factor(matrix, self._places)
        unknown[:] = self.factor.solve(right_hand_side)
        size = float(np.linalg.norm(right_hand_side))
        residual = float(np.linalg.norm(matrix @ unknown - right_hand_side)) / max(size, 1e-300)
        if not residual <= _RESIDUAL_TOLERANCE:
            raise ConvergenceError(
                "the linear solve of the potential failed",
                residual=residual,
                tolerance=_RESIDUAL_TOLERANCE,
            )
        return unknown


class LaplaceOperator:
    """Laplace's equation for given potentials on a fixed set of points.

    FiPy assembles the equation once; the factorised matrix serves every further set of
    potentials, whose right-hand side is the same sum over faces.

    Parameters
    ----------
    points : (n, 2) array
        Scaled lengths.
    volumes : ControlVolumes
    held : (n,) array of bool
        Points with given potential.
    reaction : (n,) array or None
        Integral over each control volume of the factor c in  div grad u - c u = 0, which the
        amplitude of a wave across the section obeys (c = k^2 along a slit, m^2 / r^2 around an
        axis), scaled; none for the potential itself.

    Raises
    ------
    ConvergenceError
        The factorisation does not solve the assembled system.
    """

    def __init__(
        self,
        points: FloatArray,
        volumes: ControlVolumes,
        held: BoolArray,
        reaction: FloatArray | None = None,
    ) -> None:
        self.count = len(points)
        self._held = held
        self._free = np.nonzero(~held)[0]
        self._volumes = volumes
        self._conductance = volumes.area / volumes.distance
        self._reaction = np.zeros(len(points)) if reaction is None else reaction
        self._factor = _assembled_factor(points, volumes, held, self._reaction)

    def potentials(self, values: FloatArray) -> FloatArray:
        """Potentials at every point.

        Parameters
        ----------
        values : (k, n) array
            Potentials of the held points; other entries are ignored, [V].

        Returns
        -------
        (k, n) array
            [V].

        Raises
        ------
        ConvergenceError
            The residual of the linear system is too large.
        """
        result = np.where(self._held, values, 0.0)
        # FiPy's matrix is that of the divergence of the gradient: minus the outflow.
        source = self._outflow(result)[:, self._free]
        result[:, self._free] = self._factor.solve(np.ascontiguousarray(source.T)).T
        left = np.linalg.norm(self._outflow(result)[:, self._free], axis=1)
        size = np.maximum(np.linalg.norm(source, axis=1), 1e-300)
        worst = float(np.max(left / size)) if len(values) else 0.0
        if not worst <= _RESIDUAL_TOLERANCE:
            raise ConvergenceError(
                "the linear solve of the potential failed",
                residual=worst,
                tolerance=_RESIDUAL_TOLERANCE,
            )
        return np.asarray(result)

    def charges(self, potentials: FloatArray) -> FloatArray:
        """Outgoing flux of the held points for potentials at every point, (k, n) array."""
        flux = self._outflow(potentials)
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


def _assembled_factor(
    points: FloatArray, volumes: ControlVolumes, held: BoolArray, reaction: FloatArray
) -> SuperLU | PermutedFactor:
    """Factor of the matrix that FiPy assembles, checked by solving with held points at 1 V."""
    solver = _DirectSolver(points[~held])
    _assemble(points, volumes, held, reaction, solver)
    assert solver.factor is not None
    return solver.factor


class _KeptMatrix(ScipySolver):  # type: ignore[misc]
    """Keeps the assembled matrix in place of solving."""

    matrix: Any = None

    def _solve_(self, matrix: Any, unknown: FloatArray, right_hand_side: FloatArray) -> FloatArray:
        self.matrix = matrix.tocsr()
        return unknown


def dual_matrix(points: FloatArray, volumes: ControlVolumes, held: BoolArray) -> Any:
    """The matrix that FiPy assembles for the free points of a mesh, in their order.

    It is that of the divergence of the gradient, so its negative is positive definite.

    Parameters
    ----------
    points : (n, 2) or (n, 3) array
        Scaled lengths.
    volumes : ControlVolumes
    held : (n,) array of bool
        Points with given potential.

    Returns
    -------
    (free, free) sparse matrix
    """
    solver = _KeptMatrix()
    _assemble(points, volumes, held, np.zeros(len(points)), solver)
    return solver.matrix


def _assemble(
    points: FloatArray,
    volumes: ControlVolumes,
    held: BoolArray,
    reaction: FloatArray,
    solver: ScipySolver,
) -> None:
    """Let FiPy assemble the equation of the free points and hand it to a solver."""
    free = ~held
    number = np.full(len(points), -1, dtype=np.int64)
    number[free] = np.arange(np.count_nonzero(free))
    wanted = free[volumes.first] | free[volumes.last]
    one, two = volumes.first[wanted], volumes.last[wanted]
    swap = ~free[one]
    one, two = np.where(swap, two, one), np.where(swap, one, two)
    kind = VoronoiMesh if points.shape[1] == 2 else TetraDualMesh
    mesh = kind(
        centres=points[free].T,
        cell_low=number[one],
        cell_high=number[two],
        beyond=points[two].T,
        area=volumes.area[wanted],
        distance=volumes.distance[wanted],
    )
    exterior = number[two] < 0
    potential = CellVariable(mesh=mesh, value=0.0)
    # A potential that varies from point to point, so that a wrong face would show.
    potential.constrain(
        FaceVariable(mesh=mesh, value=np.where(exterior, 1.0 + two / len(points), 0.0)),
        where=exterior,
    )
    # Cell volumes are one, so the coefficient is already the integral over the cell.
    sink = CellVariable(mesh=mesh, value=reaction[free])
    equation = DiffusionTermNoCorrection(coeff=1.0) - ImplicitSourceTerm(coeff=sink)
    equation.solve(var=potential, solver=solver)
