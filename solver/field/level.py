"""The unit solutions of a section on one mesh of the sequence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import Section, electrode_of
from conegap.geometries.quantities.notebook import brief
from conegap.solver.field.control_volumes import control_volumes, surface_measure
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.mesh.subdivision import FineMesh, subdivide

__all__ = ["Level", "Prescribed", "solve_level"]

Prescribed = Mapping[str, Callable[[FloatArray], FloatArray]]
"""Boundary name to the potential [V] at points, (n, 2) array in metres."""


@dataclass(frozen=True)
class Level:
    """One mesh of the sequence with its unit solutions.

    Parameters
    ----------
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

    __repr__ = brief

    @cached_property
    def total_measure(self) -> FloatArray:
        """Surface of every point over all electrode boundaries, (n,) array, scaled."""
        return np.asarray(np.sum(list(self.measure.values()), axis=0))


def _fixed_points(
    mesh: FineMesh,
    boundaries: Mapping[tuple[int, int], tuple[str, IntArray]],
    electrodes: tuple[str, ...],
    prescribed: Prescribed,
    scale: float,
) -> list[tuple[IntArray, FloatArray]]:
    """Point numbers and unit potentials of every electrode; shared points go to the first."""
    taken = np.zeros(len(mesh.points), dtype=bool)
    fixed = []
    for electrode in electrodes:
        mine = np.zeros(len(mesh.points), dtype=bool)
        for name, nodes in boundaries.values():
            if name == electrode:
                mine[nodes] = True
        unique = np.flatnonzero(mine & ~taken)
        taken |= mine
        if electrode in prescribed:
            values = np.asarray(prescribed[electrode](mesh.points[unique] * scale), dtype=float)
        else:
            values = np.ones(len(unique))
        fixed.append((unique, values))
    return fixed


def _conducting(
    section: Section, mesh: FineMesh, prescribed: Prescribed
) -> dict[tuple[int, int], tuple[str, IntArray]]:
    """Every boundary that counts for an electrode: whose, and (coarse edges, n) point numbers.

    Boundaries with prescribed potential are electrodes of their own name.
    """
    chains: dict[tuple[int, int], list[IntArray]] = {}
    for chain in mesh.chains:
        chains.setdefault(chain.boundary, []).append(chain.nodes)
    found = {}
    for (loop, index), nodes in chains.items():
        name = section.loops[loop][index].name
        electrode = name if name in prescribed else electrode_of(name)
        if electrode is not None:
            found[loop, index] = (electrode, np.stack(nodes))
    return found


def solve_level(
    coarse: CoarseMesh, subdivisions: int, electrodes: tuple[str, ...], prescribed: Prescribed
) -> Level:
    """Unit solutions on one mesh of the sequence.

    Parameters
    ----------
    subdivisions : int
        Parts per coarse edge, >= 1, [-].
    electrodes : tuple of str
        One unit solution each, in this order.
    prescribed : mapping
        Boundary name to the potential on it, see `conegap.solver.field.solution.solve_field`.

    Raises
    ------
    ConvergenceError
        The linear solve failed.
    """
    from conegap.solver.field.finite_volume import LaplaceOperator

    section = coarse.section
    mesh = subdivide(coarse, subdivisions)
    volumes = control_volumes(mesh, section.symmetry)
    boundaries = _conducting(section, mesh, prescribed)
    fixed = _fixed_points(mesh, boundaries, electrodes, prescribed, coarse.scale)
    count = len(mesh.points)
    values = np.zeros((len(fixed), count))
    dirichlet = np.zeros(count, dtype=bool)
    for row, (nodes, given) in zip(values, fixed, strict=True):
        row[nodes] = given
        dirichlet[nodes] = True
    operator = LaplaceOperator(mesh, volumes, dirichlet)
    potentials = operator.potentials(values)
    charges = operator.charges(potentials)
    measure: dict[str, FloatArray] = {}
    for (loop, index), (_, nodes) in boundaries.items():
        row = measure.setdefault(section.loops[loop][index].name, np.zeros(count))
        np.add.at(row, nodes, surface_measure(mesh.points, nodes, section.symmetry))
    return Level(mesh, potentials, charges, measure)
