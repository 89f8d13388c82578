"""A turning point from which those of changed designs are found."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Symmetry
from conegap.solver.liquid.meniscus import Equilibrium
from conegap.solver.liquid.meniscus_onset import MeniscusOnset

__all__ = ["TurningStart"]


@dataclass(frozen=True)
class TurningStart:
    """A turning point to start from; its own electric Bond number is the unit of all others.

    Parameters
    ----------
    coefficients : (n,) array
        Of the shape, see `MeniscusShape`, [rad].
    symmetry : "axisymmetric" or "planar"
    pressure : float
        In gamma / a, [-].
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a), [-].
    chord : (n + 1,) or (n + 2,) array
        From the shape before to the shape after the turning point, in the unknowns of
        `MeniscusProblem`; empty where a contact line gives way or moves, [-].
    wall_place : (piece, t) or None
        Of the contact line on the emitter's wall; None where it is the drawn one.
    other : float
        The highest onset of any other state of wetting, [V].
    left : float
        Highest voltage at which the line jumped on from a place, over the onset, [-].
    voltage : float
        Of the drawn design, [V].
    """

    coefficients: FloatArray
    symmetry: Symmetry
    pressure: float
    electric_bond_number: float
    chord: FloatArray
    wall_place: tuple[int, float] | None = None
    other: float = 0.0
    left: float = 0.0
    voltage: float = 0.0

    @classmethod
    def of(cls, meniscus: MeniscusOnset) -> TurningStart:
        """From a computed turning point."""
        branch, turning = meniscus.branch, meniscus.branch.turning
        start = cls(
            turning.shape.coefficients,
            turning.shape.symmetry,
            turning.pressure,
            turning.electric_bond_number,
            np.empty(0),
            meniscus.wall_place,
            max((o.voltage or 0.0 for o in meniscus.others), default=0.0),
            max(
                (t.voltage / meniscus.voltage for t in meniscus.transitions if t.jumps), default=0.0
            ),
            meniscus.voltage,
        )
        if not branch.equilibria:
            return start
        beside = [
            np.concatenate(
                [
                    e.shape.coefficients,
                    [] if branch.held == "pressure" else [e.pressure],
                    [e.electric_bond_number / turning.electric_bond_number],
                ]
            )
            for e in branch.equilibria[branch.turning_index - 2 : branch.turning_index + 1 : 2]
        ]
        return replace(start, chord=beside[1] - beside[0])

    def at(self, found: Equilibrium) -> TurningStart:
        """The same start at a neighbouring surface that was found."""
        return replace(
            self,
            coefficients=found.shape.coefficients,
            pressure=found.pressure,
            electric_bond_number=found.electric_bond_number,
        )

    def beyond(self, before: TurningStart, ahead: float) -> TurningStart:
        """Where this start and one before it point to.

        Parameters
        ----------
        ahead : float
            How far beyond this one, in distances of the two, [-].
        """
        growth = self.electric_bond_number / before.electric_bond_number
        return replace(
            self,
            coefficients=self.coefficients + ahead * (self.coefficients - before.coefficients),
            pressure=self.pressure + ahead * (self.pressure - before.pressure),
            electric_bond_number=self.electric_bond_number * growth**ahead,
        )
