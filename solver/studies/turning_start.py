"""A turning point from which those of changed designs are found."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

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
    bend : float
        Second derivative of the strength along the unit chord over the strength; 0 where it is not
        known, [-].
    slope : float
        Relative growth of the strength along the unit chord that the tangent on the first mesh
        shows at the turning point itself, which is the error of the tangent, [-].
    finer : (n + 1,) or (n + 2,) array
        By how much the unknowns on the second mesh differ from those on the first; empty before
        the start was found on the meshes on which its neighbours are, [-].
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
    bend: float = 0.0
    slope: float = 0.0
    finer: FloatArray = field(default_factory=lambda: np.empty(0))

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
            for e in branch.equilibria[branch.turning_index - 2 : branch.turning_index + 1]
        ]
        chord = beside[-1] - beside[0]
        along = (np.array(beside) - beside[0]) @ chord / np.linalg.norm(chord)
        bend = 0.0
        if len(beside) == 3 and np.all(np.diff(along) > 0.0):
            bend = 2.0 * float(np.polyfit(along, [x[-1] for x in beside], 2)[0])
        return replace(start, chord=chord, bend=bend)

    @property
    def settled(self) -> bool:
        """Whether the start was found on the meshes on which its neighbours are."""
        return len(self.finer) > 0

    @property
    def unknowns(self) -> FloatArray:
        """Of `MeniscusProblem` with the start's strength as the unit, (n + 1,) or (n + 2,) array;
        n + 2 where the pressure is unknown too, [-]."""
        modes = len(self.coefficients)
        middle = [self.pressure] if len(self.chord) == modes + 2 else []
        return np.concatenate([self.coefficients, middle, [1.0]])

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
