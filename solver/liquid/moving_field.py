"""The finite-volume field on a mesh that follows a moving liquid surface.

The coarse mesh is made once, for a reference shape.  When the surface moves, every point of the
fine mesh moves with it by a harmonic extension of the surface's displacement, so the topology
stays and the response has no noise from remeshing.

Points on the axis keep their place by their coordinates, because the sides of a grid on the axis
are no boundary edges; surface points where the coarse spacing jumps are left out of the field's
spline.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.curves.section import Section, electrode_of
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.field.control_volumes import ControlVolumes, control_volumes, surface_measure
from conegap.solver.field.finite_volume import LaplaceOperator
from conegap.solver.mesh.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.mesh.curved_triangles import twice_areas
from conegap.solver.mesh.elimination import symmetric_factor
from conegap.solver.mesh.subdivision import FineMesh, subdivide
from conegap.solver.mesh.surface_chain import curve_nodes

__all__ = ["MovingField", "SurfaceState"]


@dataclass(frozen=True)
class SurfaceState:
    """The field on one position of the liquid surface.

    Parameters
    ----------
    fraction : (n,) array
        Arc-length fraction s of the surface points, from axis to contact line.
    field : (n,) array
        Outward normal field per volt, in inverse scaled lengths.
    total : (n,) array
        Surface of each point, with what the contact point shares with the solid, scaled
        (without 2 pi).
    mesh : FineMesh
        The mesh moved along with the surface.
    """

    fraction: FloatArray
    field: FloatArray
    total: FloatArray
    mesh: FineMesh
    _operator: LaplaceOperator
    _nodes: IntArray

    def response(self, surface_potential: FloatArray) -> FloatArray:
        """Normal field for given potentials on the surface and zero on every electrode.

        Parameters
        ----------
        surface_potential : (k, n) array

        Returns
        -------
        (k, n) array
        """
        return self._operator.response(self._nodes, surface_potential) / self.total


class MovingField:
    """Field of a section whose liquid surface moves.

    Parameters
    ----------
    section : Section
        In the reference shape.
    surface : (loop, index)
        The moving boundary; it starts on the axis or line of symmetry.
    level : int
        Subdivisions per coarse edge, [-].
    potentials : dict of electrode to potential per volt
        Voltage split; the liquid is at the emitter's.
    """

    def __init__(
        self,
        section: Section,
        surface: tuple[int, int],
        level: int,
        potentials: dict[str, float],
        *,
        coarse: CoarseMesh | None = None,
    ) -> None:
        self.section = section
        self.surface = surface
        self.coarse = coarse_mesh(section) if coarse is None else coarse
        self.mesh = subdivide(self.coarse, level)
        self.scale = self.coarse.scale
        self.nodes, self.fraction = curve_nodes(self.mesh, surface)
        self.even = self._evenly_spaced()
        self._dirichlet, self._values = self._boundary_values(potentials)
        # The solid's chains that end on the liquid.
        self._neighbours = [
            c.nodes
            for c in self.mesh.chains
            if c.boundary != surface
            and electrode_of(self._name(c.boundary)) is not None
            and np.isin(c.nodes, self.nodes).any()
        ]
        # By place, not by boundary: the side of a boundary-layer grid on the axis is no boundary
        # edge.
        across = np.abs(self.mesh.points[:, 0])
        self._middle: BoolArray = across <= 1e-9 * across.max()
        self._extensions = self._extension_factors()

    def _name(self, boundary: tuple[int, int]) -> str:
        return self.section.loops[boundary[0]][boundary[1]].name

    def _evenly_spaced(self) -> BoolArray:
        """Surface points whose field is of second order.

        Where the spacing jumps, at the coarse points outside the boundary-layer grids, a single
        point's field is off at first order; the ends of the surface count as even.
        """
        region = self.coarse.triangles[: self.coarse.region_count]
        even = ~np.isin(self.nodes, np.unique(region))
        even[[0, -1]] = True
        return np.asarray(even)

    def _boundary_values(self, potentials: dict[str, float]) -> tuple[BoolArray, FloatArray]:
        """Dirichlet points and their potentials per volt."""
        dirichlet = np.zeros(len(self.mesh.points), dtype=bool)
        values = np.zeros(len(self.mesh.points))
        for chain in self.mesh.chains:
            electrode = electrode_of(self._name(chain.boundary))
            if electrode is not None:
                dirichlet[chain.nodes] = True
                values[chain.nodes] = potentials.get(electrode, 0.0)
        return dirichlet, values

    def _extension_factors(self) -> list[_Extension]:
        """Factorised harmonic extensions of x and z displacements on the reference mesh."""
        count = len(self.mesh.points)
        fixed = np.zeros((2, count), dtype=bool)
        # Points on the axis or line of symmetry move along it alone; its far end stays with the
        # boundary it meets.
        fixed[0, self._middle] = True
        for chain in self.mesh.chains:
            if self._name(chain.boundary) not in ("axis", "symmetry"):
                fixed[:, chain.nodes] = True
        matrix = _stiffness(control_volumes(self.mesh, "planar"), count)
        return [_Extension(matrix, self.mesh.ranks, fixed[i], self.nodes) for i in range(2)]

    def state(self, positions: FloatArray) -> SurfaceState:
        """Field with the surface's points at given places.

        Parameters
        ----------
        positions : (n, 2) array
            Places of the surface points in the order of ``fraction``, [m].

        Raises
        ------
        MeshError
            The displaced mesh folds over.
        """
        mesh = self._displaced(positions)
        volumes = control_volumes(mesh, self.section.symmetry)
        operator = LaplaceOperator(mesh, volumes, self._dirichlet)
        total = self._surface_total(mesh.points)
        charge = operator.charges(operator.potentials(self._values[None, :]))[0]
        return SurfaceState(
            self.fraction, charge[self.nodes] / total, total, mesh, operator, self.nodes
        )

    def wave_state(
        self, state: SurfaceState, around: int, along: float, vanishes_in_the_middle: bool
    ) -> SurfaceState:
        """The same surface and field with the response of a wave across the section.

        Parameters
        ----------
        state : SurfaceState
            From `state`.
        around : int
            Waves m around the axis, [-].
        along : float
            Wave number k in the direction normal to a planar section, [1/m].
        vanishes_in_the_middle : bool
            The wave's potential is zero on the axis or line of symmetry.
        """
        mesh = state.mesh
        dirichlet = self._dirichlet | self._middle if vanishes_in_the_middle else self._dirichlet
        volumes = control_volumes(mesh, self.section.symmetry)
        reaction = self._reaction(mesh, around, along * self.scale)
        return replace(state, _operator=LaplaceOperator(mesh, volumes, dirichlet, reaction))

    def _reaction(self, mesh: FineMesh, around: int, along: float) -> FloatArray:
        """Integrals of k^2, or of m^2 / r^2 times r, over the control volumes."""
        area = 0.5 * twice_areas(mesh.points, mesh.triangles)
        if around:
            density = around**2 / mesh.points[mesh.triangles, 0].mean(axis=1)
        else:
            density = np.full(len(area), along**2)
        share = np.repeat((area * density / 3.0)[:, None], 3, axis=1)
        return np.bincount(mesh.triangles.ravel(), share.ravel(), len(mesh.points)).astype(float)

    def _displaced(self, positions: FloatArray) -> FineMesh:
        """The mesh moved along with the surface."""
        shift = positions / self.scale - self.mesh.points[self.nodes]
        points = self.mesh.points + np.stack(
            [self._extensions[i](shift[:, i]) for i in range(2)], axis=1
        )
        mesh = replace(self.mesh, points=points)
        if np.any(twice_areas(points, mesh.triangles) <= 0.0):
            raise MeshError(
                "the mesh folded over while following the liquid surface", cause="folded"
            )
        return mesh

    def _surface_total(self, points: FloatArray) -> FloatArray:
        """Surface of the liquid's points; the contact point shares its with the solid."""
        total = np.zeros(len(points))
        for nodes in (self.nodes, *self._neighbours):
            np.add.at(total, nodes, surface_measure(points, nodes, self.section.symmetry))
        return np.asarray(total[self.nodes])


def _stiffness(volumes: ControlVolumes, count: int) -> csc_matrix:
    weight = volumes.area / volumes.distance
    rows = np.concatenate([volumes.first, volumes.last, volumes.first, volumes.last])
    columns = np.concatenate([volumes.last, volumes.first, volumes.first, volumes.last])
    entries = np.concatenate([-weight, -weight, weight, weight])
    return coo_matrix((entries, (rows, columns)), shape=(count, count)).tocsc()


class _Extension:
    """Harmonic extension of displacements given on the surface, zero on other fixed points."""

    def __init__(
        self, matrix: csc_matrix, ranks: IntArray, fixed: BoolArray, nodes: IntArray
    ) -> None:
        free = np.nonzero(~fixed)[0]
        self._free, self._count, self._nodes = free, matrix.shape[0], nodes
        self._coupling = matrix[free][:, nodes]
        self._factor = symmetric_factor(matrix[free][:, free], ranks[free])

    def __call__(self, shift: FloatArray) -> FloatArray:
        result = np.zeros(self._count)
        result[self._nodes] = shift
        result[self._free] = self._factor.solve(-(self._coupling @ shift))
        return result
