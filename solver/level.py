"""The unit solutions of a section on one mesh of the sequence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.geometries.section import Section, electrode_of
from conegap.solver.coarse_mesh import CoarseMesh, IntArray
from conegap.solver.control_volumes import control_volumes, surface_measure
from conegap.solver.subdivision import FineMesh, subdivide

__all__ = ["Level", "Prescribed", "solve_level"]

Prescribed = Mapping[str, Callable[[FloatArray], FloatArray]]
"""Boundary name to the potential [V] at points, (n, 2) array in metres."""


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


def _fixed_points(
    section: Section,
    mesh: FineMesh,
    electrodes: tuple[str, ...],
    prescribed: Prescribed,
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
    """The electrode a boundary counts for, prescribed ones by their own name."""
    name = section.loops[boundary[0]][boundary[1]].name
    return name if name in prescribed else electrode_of(name)


def solve_level(
    coarse: CoarseMesh, subdivisions: int, electrodes: tuple[str, ...], prescribed: Prescribed
) -> Level:
    """Unit solutions on one mesh of the sequence.

    Parameters
    ----------
    coarse : CoarseMesh
    subdivisions : int
        Parts per coarse edge, >= 1, [-].
    electrodes : tuple of str
        One unit solution each, in this order.
    prescribed : mapping
        Boundary name to the potential on it, see `conegap.solver.field.solve_field`.

    Raises
    ------
    ConvergenceError
        The linear solve failed.
    """
    from conegap.solver.finite_volume import LaplaceOperator

    section = coarse.section
    mesh = subdivide(coarse, subdivisions)
    volumes = control_volumes(mesh, section.symmetry)
    fixed = _fixed_points(section, mesh, electrodes, prescribed, coarse.scale)
    count = len(mesh.points)
    values = np.zeros((len(fixed), count))
    held = np.zeros(count, dtype=bool)
    for row, (nodes, given) in zip(values, fixed, strict=True):
        row[nodes] = given
        held[nodes] = True
    operator = LaplaceOperator(mesh.points, volumes, held)
    potentials = operator.potentials(values)
    charges = operator.charges(potentials)
    measure: dict[str, FloatArray] = {}
    for chain in mesh.chains:
        boundary = section.loops[chain.boundary[0]][chain.boundary[1]]
        if _electrode(section, chain.boundary, prescribed) is None:
            continue
        row = measure.setdefault(boundary.name, np.zeros(count))
        np.add.at(row, chain.nodes, surface_measure(mesh.points, chain.nodes, section.symmetry))
    return Level(mesh, potentials, charges, measure)
