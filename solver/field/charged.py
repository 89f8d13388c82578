"""Poisson's equation on one mesh of a solved section: the field of given charge in the vacuum.

The potential is that of the unit solutions plus that of the charge between grounded electrodes,
for which the matrix of the section is factored once.  The charge of a control volume is what the
discrete flux through its faces adds up to (Gauss's law for every volume, to rounding).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.field.control_volumes import control_volumes
from conegap.solver.field.edge_field import apex_of
from conegap.solver.field.finite_volume import LaplaceOperator
from conegap.solver.field.interpolation import FieldAtPoints, field_of_potential
from conegap.solver.field.solution import FieldSolution, Voltages
from conegap.solver.mesh.surface_chain import edge_nodes

__all__ = ["ChargedLevel"]


@dataclass(frozen=True)
class ChargedLevel:
    """One mesh of a solved section, ready for charge; build with `ChargedLevel.of`.

    Parameters
    ----------
    solution : FieldSolution
    level : int
        Which mesh of the sequence, [-].
    operator : LaplaceOperator
        Of that mesh, all electrodes with given potential.
    """

    solution: FieldSolution
    level: int
    operator: LaplaceOperator

    @classmethod
    def of(cls, solution: FieldSolution, level: int = -1) -> ChargedLevel:
        """Factor the matrix of one mesh.

        Parameters
        ----------
        level : int
            Which mesh of the sequence, the finest when left out, [-].
        """
        one = solution.levels[level]
        volumes = control_volumes(one.mesh, solution.section.symmetry)
        return cls(solution, level, LaplaceOperator(one.mesh, volumes, one.total_measure > 0.0))

    @property
    def count(self) -> int:
        """Points of the mesh, [-]."""
        return len(self.solution.levels[self.level].mesh.points)

    def potential_of(self, charge: FloatArray) -> FloatArray:
        """Potential of charge between grounded electrodes, (n,) array, [V].

        Parameters
        ----------
        charge : (n,) array
            Of every control volume, [C] (axisymmetric) or [C/m] (planar; of a mirrored half,
            both halves together).

        Raises
        ------
        ConvergenceError
            The linear solve failed.
        """
        scaled = charge[None] / self.solution.charge_unit
        return np.asarray(self.operator.potentials(np.zeros((1, self.count)), scaled)[0])

    def field(self, voltages: Voltages, potential: FloatArray) -> FieldAtPoints:
        """Smooth potential with a potential of charge added to that of the electrodes.

        Parameters
        ----------
        voltages : mapping
            [V].
        potential : (n,) array
            From `potential_of`, [V].
        """
        whole = self.solution.potential(voltages, self.level) + potential
        return field_of_potential(self.solution, whole, self.level)

    def surface_charge(
        self, voltages: Voltages, potential: FloatArray, charge: FloatArray
    ) -> FloatArray:
        """Charge on the electrodes at every point, 0 in the vacuum, (n,) array, [C] or [C/m].

        Parameters
        ----------
        voltages : mapping
            [V].
        potential : (n,) array
            Of the charge, [V].
        charge : (n,) array
            As in `potential_of`.
        """
        unit = self.solution.charge_unit
        one = self.solution.levels[self.level]
        vacuum = self.solution.weights(voltages) @ one.charges
        drawn = self.operator.charges(potential[None], charge[None] / unit)[0]
        return np.asarray((vacuum + drawn) * unit)

    def edge_field(
        self, name: str, voltages: Voltages, potential: FloatArray, charge: FloatArray
    ) -> float:
        """Greatest field on an emitting edge with the charge before it, [V/m].

        Parameters
        ----------
        name : str
            Name of the edge.
        voltages, potential, charge
            As in `surface_charge`.
        """
        solution, one = self.solution, self.solution.levels[self.level]
        edge = solution.section.edge(name)
        nodes = edge_nodes(one.mesh, edge, solution.edge_grid(edge))
        flux = self.surface_charge(voltages, potential, charge)[nodes] / solution.charge_unit
        values = flux / one.total_measure[nodes] / solution.scale
        points = one.mesh.points[nodes] * solution.scale
        return float(apex_of(points, values, edge, solution.scale)[0])
