"""The electrostatic field of a section, one unit solution per electrode.

Every voltage split, metal and feed pressure on a rigid surface is a superposition of the unit
solutions.  E = -grad(phi); surface fields are positive where the field points out of the
conductor into the vacuum.  Planar charges and energies are per metre of slit.

Measured on exact cases: 2, 4 and 8 subdivisions leave at most 1.1e-5, stated as 8e-6 to 1e-4.
Processor time of one solve, coarse mesh included, in ms (medians, one thread), and error:

| subdivisions | needle | planar edge | with aperture plate | slit |
|---|---|---|---|---|
| 2, 4 | 34, 1e-5 | 31, 7e-5 | 82, 9e-5 | 78, 1.0e-4 |
| 2, 4, 8 | 61, 9e-6 | 54, 5e-7 | 180, 3e-6 | 164, 5e-6 |

Of the 82 ms: netgen 20, division of the spans 7, the rest of the coarse mesh 18, order of
elimination 4, FiPy 3 to 5 per mesh whatever its size, factors 12; faces, subdivision and right-hand
sides the rest.  From 8 subdivisions on the factor is half of the whole.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.constants import epsilon_0
from scipy.interpolate import CubicSpline

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import EmittingEdge, Section
from conegap.geometries.quantities.errors import GeometryError
from conegap.solver.field.edge_field import EdgeField, apex_of, curvature_at, refuse_sharp
from conegap.solver.field.extrapolation import Estimate, combined, estimate
from conegap.solver.field.level import Level, Prescribed, solve_level
from conegap.solver.mesh.boundary_grid import BoundaryGrid
from conegap.solver.mesh.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.mesh.morph import followed
from conegap.solver.mesh.spacing import SpacingRule
from conegap.solver.mesh.surface_chain import (
    arc_position,
    bridged,
    edge_nodes,
    named_nodes,
    path_length,
)

__all__ = [
    "EdgeField",
    "FieldSolution",
    "Level",
    "Prescribed",
    "SurfaceField",
    "Voltages",
    "solve_field",
]

Voltages = Mapping[str, float]

# Subdivisions of the first of three meshes: 2, 4 and 8 leave at most 1.1e-5 of the field of
# exact edges, 1, 2 and 4 up to 1.1e-4 at half the time.
_FIRST_LEVEL = 2
# Up to which meshes are added where the error is larger than wanted.
_FINEST_LEVEL = 16
# Of one mesh; its factor takes about a second.
_MOST_POINTS = 250_000
# Times the error that the sequence shows: without boundary-layer grids its order is lost on
# irregular triangles, and the sequence then flatters. A choice, no source.
_GIVEN_MESH = 4.0


@dataclass(frozen=True)
class SurfaceField:
    """Field along a boundary, in the order of its curves.

    Parameters
    ----------
    points : (n, 2) array, [m]
    arc_length : (n,) array, from the first point, [m]
    field : (n,) array, outward normal field, [V/m]
    error : (n,) array, estimated relative error, [-]
    """

    points: FloatArray
    arc_length: FloatArray
    field: FloatArray
    error: FloatArray


@dataclass(frozen=True)
class FieldSolution:
    """Unit solutions of a section on a nested sequence of meshes; build with `solve_field`."""

    section: Section
    coarse: CoarseMesh
    electrodes: tuple[str, ...]
    levels: tuple[Level, ...]
    seconds: float

    def __repr__(self) -> str:
        return (
            f"FieldSolution({', '.join(self.electrodes)}; {len(self.levels)} meshes, "
            f"{self.cells} control volumes, {self.seconds:.1f} s)"
        )

    @property
    def scale(self) -> float:
        """Length unit of the meshes, [m]."""
        return self.coarse.scale

    @property
    def cells(self) -> int:
        """Control volumes of the finest mesh."""
        return len(self.levels[-1].mesh.points)

    @property
    def level_sizes(self) -> tuple[int, ...]:
        """Subdivisions of every mesh."""
        return tuple(level.mesh.subdivisions for level in self.levels)

    def first_meshes(self, count: int) -> FieldSolution:
        """The same solution with only its coarsest meshes, to compare like with like."""
        return replace(self, levels=self.levels[:count])

    def weights(self, voltages: Voltages) -> FloatArray:
        """Voltages in the order of the electrodes, (electrodes,) array, [V].

        Raises
        ------
        GeometryError
            An electrode is named that the section does not have.
        """
        unknown = set(voltages) - set(self.electrodes)
        if unknown:
            raise GeometryError(
                f"no electrode '{sorted(unknown)[0]}' here; the electrodes are "
                f"{', '.join(self.electrodes)}"
            )
        return np.array([float(voltages.get(name, 0.0)) for name in self.electrodes])

    def potential(self, voltages: Voltages, level: int = -1) -> FloatArray:
        """Potential at the points of one mesh, (n,) array, [V]."""
        return np.asarray(self.weights(voltages) @ self.levels[level].potentials)

    def edge(self, name: str, voltages: Voltages) -> EdgeField:
        """Greatest field on an emitting edge.

        Parameters
        ----------
        name : str
            Name of the edge.
        voltages : mapping
            Potential of each electrode, missing ones at 0, [V].

        Raises
        ------
        GeometryError
            No such edge or electrode.
        SharpEdgeError
            The field grows without limit as the mesh is refined.
        """
        edge = self.section.edge(name)
        grid = self.edge_grid(edge)
        weights = self.weights(voltages)
        values, places = [], []
        at_border = False
        for level in self.levels:
            nodes = edge_nodes(level.mesh, edge, grid)
            points = level.mesh.points[nodes] * self.scale
            field = self._node_field(level, nodes, weights)
            sign = 1.0 if abs(field.max()) >= abs(field.min()) else -1.0
            value, place, at_border = apex_of(points, sign * field, edge, self.scale)
            values.append(sign * value)
            places.append(place)
        if edge.radius <= 0.0:
            refuse_sharp(edge, values)
        best = estimate(self.level_sizes, tuple(values))
        # Without boundary-layer grids the sequence is less regular; and refinement knows the curve
        # through # given points, not the outline behind them.
        wider = _GIVEN_MESH if self.section.mesh is not None else 1.0
        more = self.section.radius_errors.get(name, 0.0)
        best = replace(best, error=wider * best.error + more)
        position = places[-1]
        return EdgeField(
            **vars(best),
            name=name,
            position=(float(position[0]), float(position[1])),
            curvature=curvature_at(self.section, edge, grid, position),
            at_border=at_border,
        )

    def edge_field_at(self, name: str, voltages: Voltages, place: EdgeField) -> float:
        """Normal field at other voltages at the very place of an edge field, [V/m].

        Parameters
        ----------
        name : str
            Name of the edge.
        voltages : mapping
            [V].
        place : EdgeField
            From `edge`, at the voltages that chose the place.
        """
        weights = self.weights(voltages)
        edge = self.section.edge(name)
        values = []
        for level in self.levels:
            nodes = edge_nodes(level.mesh, edge, self.edge_grid(edge))
            points = level.mesh.points[nodes] * self.scale
            along = CubicSpline(path_length(points), self._node_field(level, nodes, weights))
            values.append(float(along(arc_position(points, np.array(place.position)))))
        # The same combination of meshes as at the place itself, so that voltages superpose.
        return combined(self.level_sizes, tuple(values), place.extrapolated)

    def charge(self, boundary_name: str, voltages: Voltages) -> Estimate:
        """Charge on all boundaries of one name, [C] (axisymmetric) or [C/m] (planar).

        Mirrored halves are counted twice.

        Raises
        ------
        GeometryError
            The section has no such boundary.
        """
        self._check_conductor(boundary_name)
        weights = self.weights(voltages)
        values = []
        for level in self.levels:
            share = level.measure[boundary_name] / np.maximum(level.total_measure, 1e-300)
            values.append(float(weights @ level.charges @ share) * self.charge_unit)
        return estimate(self.level_sizes, tuple(values))

    def energy(self, voltages: Voltages) -> Estimate:
        """Electrostatic energy, [J] (axisymmetric) or [J/m] (planar)."""
        weights = self.weights(voltages)
        values = []
        for level in self.levels:
            per_point = weights @ level.charges
            values.append(0.5 * float(per_point @ (weights @ level.potentials)) * self.charge_unit)
        return estimate(self.level_sizes, tuple(values))

    def surface(self, boundary_name: str, voltages: Voltages) -> SurfaceField:
        """Field along all boundaries of one name, at the points of the middle mesh.

        Its error is the whole difference of the two finest meshes, wider than that of an edge.

        Raises
        ------
        GeometryError
            The section has no such boundary.
        """
        self._check_conductor(boundary_name)
        weights = self.weights(voltages)
        coarse_nodes = named_nodes(self.section, self.levels[-2].mesh, boundary_name, 1)
        fine_nodes = named_nodes(self.section, self.levels[-1].mesh, boundary_name, 2)
        middle = self._node_field(self.levels[-2], coarse_nodes, weights)
        fine = self._node_field(self.levels[-1], fine_nodes, weights)
        points = self.levels[-2].mesh.points[coarse_nodes] * self.scale
        # Coarse points of the fill are first-order places: the spacing jumps there.
        uneven = (coarse_nodes < len(self.coarse.points)) & ~np.isin(
            coarse_nodes, self._grid_points()
        )
        middle, fine = bridged(points, middle, uneven), bridged(points, fine, uneven)
        value = fine + (fine - middle) / 3.0
        size = np.maximum(np.abs(value), 1e-3 * np.abs(value).max() + 1e-300)
        error = np.abs(fine - middle) / size
        return SurfaceField(points, path_length(points), value, error)

    def _check_conductor(self, boundary_name: str) -> None:
        if boundary_name not in self.levels[0].measure:
            raise GeometryError(
                f"no conducting boundary '{boundary_name}'; here are "
                f"{', '.join(self.levels[0].measure)}"
            )

    def _grid_points(self) -> IntArray:
        """Coarse points within the boundary-layer grids, of smooth spacing, (n,) array."""
        inside = np.unique(self.coarse.triangles[self.coarse.region_count :])
        return np.setdiff1d(inside, np.unique(self.coarse.triangles[: self.coarse.region_count]))

    @property
    def charge_unit(self) -> float:
        """Charge of one unit of scaled flux, [C] or [C/m] per volt."""
        if self.section.symmetry == "axisymmetric":
            return float(2.0 * math.pi * epsilon_0 * self.scale)
        return float(epsilon_0 * (2.0 if self.section.mirrored else 1.0))

    def _node_field(self, level: Level, nodes: IntArray, weights: FloatArray) -> FloatArray:
        """Outward normal field at electrode points, (n,) array, [V/m]."""
        flux = weights @ level.charges[:, nodes]
        return np.asarray(flux / level.total_measure[nodes] / self.scale)

    def edge_grid(self, edge: EmittingEdge) -> BoundaryGrid | None:
        """The boundary-layer grid of an edge, None where there was no room for one."""
        return next((p for p in self.coarse.grids if p.edge.name == edge.name), None)


def solve_field(
    section: Section,
    *,
    accuracy: float = 1e-3,
    prescribed: Prescribed | None = None,
    rule: SpacingRule | None = None,
    meshes: int = 3,
    near: CoarseMesh | None = None,
) -> FieldSolution:
    """Solve Laplace's equation in a section on a nested sequence of meshes.

    Parameters
    ----------
    accuracy : float
        Relative error wanted at the emitting edges, > 0; a further mesh is added where the
        estimate is larger, [-].
    prescribed : mapping or None
        Boundary name to a function of points, (n, 2) array in metres, that gives the potential
        there, (n,) array in volts.  It then counts as one more electrode of that name.
    rule : SpacingRule or None
        Coarse spacing limits.
    meshes : int
        Meshes to begin with; 2 is four times cheaper, cannot observe an order, never adds a
        mesh, and is meant for shifts between neighbouring designs, [-].
    near : CoarseMesh or None
        Of a neighbouring section: it is moved to this one where it can follow, so that a shift
        between the two has no noise of meshing.

    Raises
    ------
    MeshError
        The section could not be meshed.
    ConvergenceError
        A linear solve failed.
    """
    started = time.perf_counter()
    prescribed = dict(prescribed or {})
    electrodes = section.electrodes + tuple(prescribed)
    coarse = followed(near, section) or coarse_mesh(section, rule)
    first = _FIRST_LEVEL if section.mesh is None else _first_of_given(coarse)
    sizes = [first * 2**k for k in range(meshes)]
    if section.mesh is not None:
        # A fine mesh that was given is divided less often; two meshes leave a wider error.
        sizes = [n for n in sizes if n <= 2 or len(coarse.points) * n**2 <= _MOST_POINTS]
    levels = tuple(solve_level(coarse, n, electrodes, prescribed) for n in sizes)
    solution = FieldSolution(section, coarse, electrodes, levels, time.perf_counter() - started)
    while (
        len(sizes) > 2
        and levels[-1].mesh.subdivisions < _FINEST_LEVEL
        and 4 * len(levels[-1].mesh.points) < _MOST_POINTS
        and _worst_edge_error(solution) > accuracy
    ):
        levels = (
            *levels,
            solve_level(coarse, 2 * levels[-1].mesh.subdivisions, electrodes, prescribed),
        )
        solution = FieldSolution(section, coarse, electrodes, levels, time.perf_counter() - started)
    return solution


def _first_of_given(coarse: CoarseMesh) -> int:
    """Subdivisions of the first mesh: a fine one that was given is itself the first."""
    return 1 if len(coarse.points) * 64 > _MOST_POINTS else _FIRST_LEVEL


def _worst_edge_error(solution: FieldSolution) -> float:
    """Largest estimated relative error over the edges, emitter at 1 V and the rest at 0."""
    worst = 0.0
    voltages = {solution.electrodes[0]: 1.0}
    if any(name in solution.electrodes for name in ("outer",)):
        voltages["outer"] = 1.0
    for edge in solution.section.edges:
        if edge.radius > 0.0:
            worst = max(worst, solution.edge(edge.name, voltages).error)
    return worst
