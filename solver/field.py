"""The electrostatic field of a section, one unit solution per electrode.

Every voltage split, metal and feed pressure on a rigid surface is a superposition of the unit
solutions.  E = -grad(phi); surface fields are positive where the field points out of the
conductor into the vacuum.  Planar charges and energies are per metre of slit.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves import FloatArray
from conegap.geometries.errors import GeometryError, SharpEdgeError
from conegap.geometries.section import EmittingEdge, Section, electrode_of
from conegap.solver.coarse_mesh import CoarseMesh, IntArray, coarse_mesh
from conegap.solver.control_volumes import control_volumes, surface_measure
from conegap.solver.extrapolation import Estimate, estimate
from conegap.solver.spacing import SpacingRule
from conegap.solver.subdivision import FineMesh, subdivide

__all__ = ["EdgeField", "FieldSolution", "Level", "SurfaceField", "solve_field"]

Prescribed = Mapping[str, Callable[[FloatArray], FloatArray]]
Voltages = Mapping[str, float]

_LEVELS = (2, 4, 8)
_FINEST_LEVEL = 16
_MOST_POINTS = 250_000


@dataclass(frozen=True)
class Level:
    """One mesh of the sequence with its unit solutions.

    Parameters
    ----------
    mesh : FineMesh
    potentials : (electrodes, n) array
        Potential at every point per volt, [-].
    charges : (electrodes, n) array
        Outgoing flux of every electrode point per volt, scaled (without eps0 and 2 pi).
    measure : dict of boundary name to (n,) array
        Surface that belongs to each point, scaled (without 2 pi).
    """

    mesh: FineMesh
    potentials: FloatArray
    charges: FloatArray
    measure: Mapping[str, FloatArray]

    @cached_property
    def total_measure(self) -> FloatArray:
        """Surface of every point over all electrode boundaries, (n,) array, scaled."""
        return np.asarray(np.sum(list(self.measure.values()), axis=0))


@dataclass(frozen=True)
class EdgeField:
    """Field at the crest of an emitting edge.

    Parameters
    ----------
    name : str
    estimate : Estimate
        Magnitude of the field, [V/m].
    position : tuple of float
        Where the field is greatest, (x, z), [m].
    curvature : float
        Mean of the principal curvatures times two at that place, positive for a convex
        conductor, [1/m].
    at_border : bool
        The field still rises at the end of the edge: another place is stronger.
    """

    name: str
    estimate: Estimate
    position: tuple[float, float]
    curvature: float
    at_border: bool

    @property
    def value(self) -> float:
        """Field, [V/m]."""
        return self.estimate.value

    @property
    def error(self) -> float:
        """Estimated relative numerical error, [-]."""
        return self.estimate.error

    @property
    def order(self) -> float:
        """Observed order of convergence, [-]."""
        return self.estimate.order

    @property
    def extrapolated(self) -> bool:
        """Whether the leading error was removed."""
        return self.estimate.extrapolated

    @property
    def level_values(self) -> tuple[float, ...]:
        """Value on every mesh, [V/m]."""
        return self.estimate.level_values

    @property
    def level_sizes(self) -> tuple[int, ...]:
        """Subdivisions of every mesh."""
        return self.estimate.level_sizes


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
        weights = self.weights(voltages)
        chain = self._edge_chains(edge)
        values, places = [], []
        at_border = False
        for level, nodes in zip(self.levels, chain, strict=True):
            field = self._node_field(level, nodes, weights)
            sign = 1.0 if abs(field.max()) >= abs(field.min()) else -1.0
            value, place, at_border = self._crest(level, nodes, sign * field, edge)
            values.append(sign * value)
            places.append(place)
        if edge.radius <= 0.0:
            self._refuse_sharp(edge, values)
        best = estimate(self.level_sizes, tuple(values))
        position = places[-1]
        return EdgeField(
            name=name,
            estimate=best,
            position=(float(position[0]), float(position[1])),
            curvature=self._curvature_at(edge, position),
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
        values = []
        for level, nodes in zip(self.levels, self._edge_chains(self.section.edge(name)), strict=True):
            points = level.mesh.points[nodes] * self.scale
            s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
            nearest = int(np.argmin(np.hypot(*(points - np.array(place.position)).T)))
            field = self._node_field(level, nodes, weights)
            low = max(0, min(nearest - 1, len(nodes) - 3))
            values.append(float(np.interp(s[nearest], s[low : low + 3], field[low : low + 3])))
        return estimate(self.level_sizes, tuple(values)).value

    def charge(self, boundary_name: str, voltages: Voltages) -> Estimate:
        """Charge on all boundaries of one name, [C] (axisymmetric) or [C/m] (planar).

        Mirrored halves are counted twice.

        Raises
        ------
        GeometryError
            The section has no such boundary.
        """
        if boundary_name not in self.levels[0].measure:
            raise GeometryError(
                f"no conducting boundary '{boundary_name}'; here are "
                f"{', '.join(self.levels[0].measure)}"
            )
        weights = self.weights(voltages)
        values = []
        for level in self.levels:
            share = level.measure[boundary_name] / np.maximum(level.total_measure, 1e-300)
            values.append(float(weights @ level.charges @ share) * self._charge_unit)
        return estimate(self.level_sizes, tuple(values))

    def energy(self, voltages: Voltages) -> Estimate:
        """Electrostatic energy, [J] (axisymmetric) or [J/m] (planar)."""
        weights = self.weights(voltages)
        values = []
        for level in self.levels:
            per_point = weights @ level.charges
            values.append(
                0.5 * float(per_point @ (weights @ level.potentials)) * self._charge_unit
            )
        return estimate(self.level_sizes, tuple(values))

    def surface(self, boundary_name: str, voltages: Voltages) -> SurfaceField:
        """Field along all boundaries of one name, at the points of the middle mesh.

        Raises
        ------
        GeometryError
            The section has no such boundary.
        """
        if boundary_name not in self.levels[0].measure:
            raise GeometryError(
                f"no conducting boundary '{boundary_name}'; here are "
                f"{', '.join(self.levels[0].measure)}"
            )
        weights = self.weights(voltages)
        coarse_nodes = self._boundary_nodes(self.levels[-2], boundary_name, 1)
        fine_nodes = self._boundary_nodes(self.levels[-1], boundary_name, 2)
        middle = self._node_field(self.levels[-2], coarse_nodes, weights)
        fine = self._node_field(self.levels[-1], fine_nodes, weights)
        value = fine + (fine - middle) / 3.0
        size = np.maximum(np.abs(value), 1e-3 * np.abs(value).max() + 1e-300)
        error = np.abs(fine - middle) / 3.0 / size
        points = self.levels[-2].mesh.points[coarse_nodes] * self.scale
        step = np.hypot(*np.diff(points, axis=0).T)
        return SurfaceField(points, np.concatenate([[0.0], np.cumsum(step)]), value, error)

    @property
    def _charge_unit(self) -> float:
        if self.section.symmetry == "axisymmetric":
            return float(2.0 * math.pi * epsilon_0 * self.scale)
        return float(epsilon_0 * (2.0 if self.section.mirrored else 1.0))

    def _node_field(self, level: Level, nodes: IntArray, weights: FloatArray) -> FloatArray:
        """Outward normal field at electrode points, (n,) array, [V/m]."""
        flux = weights @ level.charges[:, nodes]
        return np.asarray(flux / level.total_measure[nodes] / self.scale)

    def _boundary_nodes(self, level: Level, name: str, every: int) -> IntArray:
        """Points of all boundaries of a name in order, each joint once, every n-th of a curve."""
        parts: list[IntArray] = []
        for loop, row in enumerate(self.section.loops):
            for index, boundary in enumerate(row):
                if boundary.name != name:
                    continue
                nodes = _boundary_chain(level.mesh, (loop, index))[::every]
                joined = bool(parts) and parts[-1][-1] == nodes[0]
                parts.append(nodes[1:] if joined else nodes)
        return np.concatenate(parts)

    def _edge_chains(self, edge: EmittingEdge) -> list[IntArray]:
        """Points of the edge's patch (or of its whole boundary curve) on every mesh."""
        patch = next((p for p in self.coarse.patches if p.edge.name == edge.name), None)
        result = []
        for level in self.levels:
            if patch is None:
                result.append(_boundary_chain(level.mesh, (edge.loop, edge.index)))
                continue
            parts = []
            for block in patch.blocks:
                low, high = sorted(
                    float(block.parameter(x)) for x in (0.0, float(block.cells))
                )
                nodes, t = _boundary_chain_with_parameter(level.mesh, block.boundary)
                parts.append(nodes[(t >= low - 1e-9) & (t <= high + 1e-9)])
            chain = parts[0]
            for part in parts[1:]:
                chain = np.concatenate([chain, part[part != chain[-1]]])
            result.append(chain)
        return result

    def _crest(self, level, nodes, field, edge):  # type: ignore[no-untyped-def]
        """Greatest value along a chain by a local parabola, its place, and whether at its end."""
        points = level.mesh.points[nodes] * self.scale
        if edge.radius <= 0.0:
            corner = 0 if edge.t < 0.5 else len(nodes) - 1
            return float(field[corner]), points[corner], False
        k = int(np.argmax(field))
        if k in (0, len(nodes) - 1):
            on_axis = abs(points[k, 0]) <= 1e-9 * self.scale * max(1.0, edge.radius / self.scale)
            return float(field[k]), points[k], not on_axis
        s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        low = max(0, min(k - 2, len(nodes) - 5))
        some = slice(low, low + 5) if len(nodes) >= 5 else slice(0, len(nodes))
        local = (s[some] - s[k]) / (s[some][-1] - s[some][0])
        polynomial = np.polynomial.Polynomial.fit(local, field[some], len(local) - 1)
        roots = polynomial.deriv().roots()
        real = roots[np.abs(roots.imag) < 1e-9].real
        inside = real[(real >= local[0]) & (real <= local[-1])]
        candidates = np.append(inside, 0.0)
        best = candidates[int(np.argmax(polynomial(candidates)))]
        where = s[k] + best * (s[some][-1] - s[some][0])
        place = np.array([np.interp(where, s, points[:, i]) for i in range(2)])
        return float(polynomial(best)), place, False

    def _curvature_at(self, edge: EmittingEdge, position: FloatArray) -> float:
        """Sum of the principal curvatures of the boundary at the place nearest ``position``."""
        patch = next((p for p in self.coarse.patches if p.edge.name == edge.name), None)
        boundaries = [(edge.loop, edge.index)]
        if patch is not None:
            boundaries = [block.boundary for block in patch.blocks]
        best, result = math.inf, math.nan
        for loop, index in boundaries:
            curve = self.section.loops[loop][index].curve
            t = np.linspace(0.0, 1.0, 4001)
            distance = np.hypot(*(curve.point(t) - position).T)
            k = int(np.argmin(distance))
            # The edge's own curve wins ties at the joints.
            bias = 0.0 if index == edge.index else 1e-6 * edge.radius
            if distance[k] + bias < best:
                best = float(distance[k]) + bias
                at = np.array([t[k]])
                plane = -float(curve.curvature(at)[0])
                result = plane
                if self.section.symmetry == "axisymmetric":
                    r = float(curve.point(at)[0, 0])
                    normal_r = float(curve.normal(at)[0, 0])
                    on_axis = r <= 1e-4 * edge.radius
                    result = plane + (plane if on_axis else normal_r / r)
        return result

    def _refuse_sharp(self, edge: EmittingEdge, values: list[float]) -> None:
        growth = math.log2(abs(values[-1] / values[-2]))
        raise SharpEdgeError(
            f"edge '{edge.name}' has no radius: its field grows by the factor "
            f"{2.0**growth:.3f} at every halving of the mesh (as spacing to the power "
            f"{-growth:.3f}) and has no limit; give it a real radius, such as 1 um"
        )


def _boundary_chain_with_parameter(
    mesh: FineMesh, boundary: tuple[int, int]
) -> tuple[IntArray, FloatArray]:
    """Points of one boundary curve in the order of its parameter."""
    chains = [chain for chain in mesh.chains if chain.boundary == boundary]
    chains.sort(key=lambda chain: float(chain.parameter[0]))
    nodes = np.concatenate(
        [chains[0].nodes[:1], *(chain.nodes[1:] for chain in chains)]
    )
    t = np.concatenate([chains[0].parameter[:1], *(chain.parameter[1:] for chain in chains)])
    return nodes, t


def _boundary_chain(mesh: FineMesh, boundary: tuple[int, int]) -> IntArray:
    return _boundary_chain_with_parameter(mesh, boundary)[0]


def _fixed_points(
    section: Section, mesh: FineMesh, electrodes: tuple[str, ...], prescribed: Prescribed,
    scale: float,
) -> list[tuple[IntArray, FloatArray]]:
    """Point numbers and unit potentials of every electrode; shared points go to the first."""
    taken = np.zeros(len(mesh.points), dtype=bool)
    fixed = []
    for electrode in electrodes:
        nodes = [
            chain.nodes
            for chain in mesh.chains
            if _electrode(section, chain.boundary, prescribed) == electrode
        ]
        unique = np.unique(np.concatenate(nodes))
        unique = unique[~taken[unique]]
        taken[unique] = True
        if electrode in prescribed:
            values = np.asarray(prescribed[electrode](mesh.points[unique] * scale), dtype=float)
        else:
            values = np.ones(len(unique))
        fixed.append((unique, values))
    return fixed


def _electrode(section: Section, boundary: tuple[int, int], prescribed: Prescribed) -> str | None:
    name = section.loops[boundary[0]][boundary[1]].name
    return name if name in prescribed else electrode_of(name)


def _solve_level(
    coarse: CoarseMesh, subdivisions: int, electrodes: tuple[str, ...], prescribed: Prescribed
) -> Level:
    """Unit solutions on one mesh of the sequence."""
    from conegap.solver.finite_volume import solve_laplace

    section = coarse.section
    mesh = subdivide(coarse, subdivisions)
    volumes = control_volumes(mesh, section.symmetry)
    fixed = _fixed_points(section, mesh, electrodes, prescribed, coarse.scale)
    potentials = solve_laplace(mesh.points, volumes, fixed)
    conductance = volumes.area / volumes.distance
    flux = conductance * (potentials[:, volumes.first] - potentials[:, volumes.last])
    count = len(mesh.points)
    charges = np.stack(
        [
            np.bincount(volumes.first, row, count) - np.bincount(volumes.last, row, count)
            for row in flux
        ]
    )
    held = np.zeros(count, dtype=bool)
    for nodes, _ in fixed:
        held[nodes] = True
    charges[:, ~held] = 0.0
    measure: dict[str, FloatArray] = {}
    for chain in mesh.chains:
        boundary = section.loops[chain.boundary[0]][chain.boundary[1]]
        if _electrode(section, chain.boundary, prescribed) is None:
            continue
        row = measure.setdefault(boundary.name, np.zeros(count))
        np.add.at(row, chain.nodes, surface_measure(mesh.points, chain.nodes, section.symmetry))
    return Level(mesh, potentials, charges, measure)


def solve_field(
    section: Section,
    *,
    accuracy: float = 1e-3,
    prescribed: Prescribed | None = None,
    rule: SpacingRule | None = None,
) -> FieldSolution:
    """Solve Laplace's equation in a section on a nested sequence of meshes.

    Parameters
    ----------
    section : Section
    accuracy : float
        Relative error wanted at the emitting edges, > 0; a further mesh is added where the
        estimate is larger, [-].
    prescribed : mapping or None
        Boundary name to a function of points, (n, 2) array in metres, that gives the potential
        there, (n,) array in volts.  It then counts as one more electrode of that name.
    rule : SpacingRule or None
        Coarse spacing limits.

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
    coarse = coarse_mesh(section, rule)
    levels = tuple(_solve_level(coarse, n, electrodes, prescribed) for n in _LEVELS)
    solution = FieldSolution(section, coarse, electrodes, levels, time.perf_counter() - started)
    while (
        levels[-1].mesh.subdivisions < _FINEST_LEVEL
        and 4 * len(levels[-1].mesh.points) < _MOST_POINTS
        and _worst_edge_error(solution) > accuracy
    ):
        levels = (
            *levels,
            _solve_level(coarse, 2 * levels[-1].mesh.subdivisions, electrodes, prescribed),
        )
        solution = FieldSolution(
            section, coarse, electrodes, levels, time.perf_counter() - started
        )
    return solution


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
