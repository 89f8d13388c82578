"""The onset of a design as drawn: its voltage, criterion, error, and how it shifts.

Assessment, budget, scans, `vary`, tolerances and calibration all begin with this one object, so
that none of them has an onset of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.common.progress import Progress
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.field3d.sector_factor import SectorOnset, sector_onset
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.free_surface import RIGID, TURNING_POINT, OnsetCriterion, free_surface
from conegap.solver.liquid.meniscus_onset import MeniscusOnset
from conegap.solver.onset.rigid import RigidOnset, rigid_onset_of_solution
from conegap.solver.onset.surface_balance import field_stress
from conegap.solver.studies.end_shift import ENDS, Ends, ends_of
from conegap.solver.studies.firing_order import Firing, firing_laws, sampled_firing
from conegap.solver.studies.misalignment import Misalignment, misalignment_of
from conegap.solver.studies.nominal import FIRST_TIP, First, Nominal
from conegap.solver.studies.skew import Skew, skew_of
from conegap.solver.studies.solve_cache import SolveCache
from conegap.solver.studies.turning_variants import TENSION
from conegap.solver.studies.variant_solver import VariantSolver
from conegap.solver.studies.variants import Changes

__all__ = [
    "TILT",
    "WAVES",
    "Onset",
    "doubled_room",
    "solve_onset",
    "tension_ends",
]

TILT = "tilt to one side"
WAVES = "waves along the crest"
"""Modes that come before the turning point."""

# Relative step of the surface tension where its table states no uncertainty: well above the scatter
# of the solves, and its square is negligible.
_SMALL = 0.02


@dataclass(frozen=True)
class Onset:
    """The onset of a design as drawn; build with `solve_onset`.

    Parameters
    ----------
    solution : FieldSolution
        Of its plane section.
    rigid : RigidOnset
        Balance of the rigid surface, the third dimension included.
    meniscus : MeniscusOnset or None
        Turning point of the free surface, the third dimension included, where it was followed.
    sector : SectorOnset or None
        The third dimension, on three meshes.
    skew : Skew or None
        Where the turning point is that of the aligned slit, scaled.
    misalignment : Misalignment or None
        Where the accelerator may stand beside the axis of a round emitter, or askew.
    remarks : tuple of str
        Why the free surface was not followed, or which other state of wetting gives way at less.
    accuracy : float
        Relative numerical error wanted in the edge field, [-].
    kept : SolveCache
        Where finished variants are looked up and kept.
    progress : callable or None
    """

    design: Design
    solution: FieldSolution
    rigid: RigidOnset
    meniscus: MeniscusOnset | None
    sector: SectorOnset | None
    remarks: tuple[str, ...] = ()
    skew: Skew | None = None
    misalignment: Misalignment | None = None
    accuracy: float = 1e-3
    kept: SolveCache = field(default_factory=SolveCache, compare=False)
    progress: Progress | None = field(default=None, compare=False)

    def __repr__(self) -> str:
        return f"Onset({self.voltage:.6g} V, {self.mode}, relative error {self.error:.1e})"

    @cached_property
    def variants(self) -> VariantSolver:
        """How a changed design is solved."""
        return VariantSolver(
            self.design,
            self.solution,
            self.sector,
            self.meniscus,
            self.accuracy,
            self.kept,
            self.progress,
            self.skew is not None,
            self.misalignment,
        )

    @property
    def misaligned(self) -> Misalignment | None:
        """Offset and tilt of the accelerator, None where the drawing states neither."""
        found = self.misalignment
        return found if found is not None and found.stated else None

    @property
    def followed(self) -> Design:
        """The design whose free surface was followed: the aligned one of a slit out of line."""
        return self.design if self.skew is None else self.skew.aligned

    @property
    def criterion(self) -> str:
        """ "rigid surface" or "meniscus turning point"."""
        return RIGID if self.meniscus is None else TURNING_POINT

    @property
    def modes(self) -> tuple[tuple[str, float], ...]:
        """How the surface of the section gives way, and at what voltage, [V]: the criterion first.

        A tilt and waves are found on the coarsest of the free surface's meshes; they stand only
        where they come before the turning point.
        """
        found = [(self.criterion, self.rigid.voltage)]
        if self.meniscus is not None:
            found = [(self.meniscus.mode, self.meniscus.voltage)]
            others = {TILT: self.meniscus.tilt_voltage, WAVES: self.meniscus.wave_voltage}
            found += [(m, v) for m, v in others.items() if v is not None and v < found[0][1]]
        return tuple(found)

    @property
    def mode(self) -> str:
        """The first of the modes to come."""
        return min(self.modes, key=lambda one: one[1])[0]

    @property
    def voltage(self) -> float:
        """Of the first mode to come, emitter minus accelerator, [V]."""
        return min(voltage for _, voltage in self.modes)

    @cached_property
    def ends(self) -> tuple[Ends | None, tuple[str, ...]]:
        """The ends of a slit where they emit before its middle, solved when first asked for, and
        what must be said of them.

        Raises
        ------
        MeshError, ConvergenceError, ComputationError
            The ends could not be solved.
        """
        return ends_of(self.design, self.progress)

    @cached_property
    def firing(self) -> Firing | None:
        """When the tips of a crown fire, sampled over the scatter from tip to tip; None elsewhere.

        Raises
        ------
        DesignError, MeshError, ConvergenceError
            A changed design could not be solved.
        """
        if self.sector is None or self.design.emitter.arrangement != "ring":
            return None
        laws = firing_laws(self.design, self.sector, self.voltage, self.progress)
        return sampled_firing(self.design, laws)

    @property
    def first(self) -> First:
        """Where the gap emits first: the ends of a slit, given the turning point (or the rigid
        balance) of the middle, or the section itself.

        Raises
        ------
        MeshError, ConvergenceError, ComputationError
            The ends could not be solved.
        """
        ends, _ = self.ends
        mode, solved = self.modes[0]
        if ends is None or solved / ends.factor >= self.voltage:
            return First(self.voltage, self.mode, self.error)
        error = math.hypot(self.error, ends.error)
        return First(solved / ends.factor, f"{ENDS}, {mode}", error)

    @property
    def earliest(self) -> First:
        """`first`, or the first of a crown's tips as they scatter: what a measurement sees.

        Raises
        ------
        DesignError, MeshError, ConvergenceError, ComputationError
            Ends or changed crowns could not be solved.
        """
        if self.firing is None:
            return self.first
        return First(self.firing.first[1], f"{FIRST_TIP}, {self.mode}", self.error)

    @property
    def earliest_notes(self) -> tuple[str, ...]:
        """What must be said of the earliest emission."""
        if self.firing is None:
            return self.ends[1]
        return (
            f"of the crown's tips as they scatter the first emits at "
            f"{self.firing.first[1] / self.voltage:.3g} times the onset of a tip as drawn",
        )

    @property
    def remark(self) -> str:
        """Which mode is solved for a changed design where it is not the first, else ""."""
        solved = self.modes[0][0]
        if self.mode == solved or self.variants.remark:
            return self.variants.remark
        return (
            f"the onset is that of the {self.mode}; what is solved for a changed design is the "
            f"{solved}, to which it keeps its ratio of "
            f"{self.voltage / self.modes[0][1]:.4f}"
        )

    @property
    def error(self) -> float:
        """Relative numerical error of the voltage, rectangular, [-].

        With what measured points leave open between them: the onset changes by no more than the
        edge's radius does.
        """
        if self.meniscus is None:
            return math.hypot(self.rigid.error, self.design.outline_uncertainty[0])
        deep = 0.0 if self.sector is None else self.sector.error
        beside = 0.0 if self.misalignment is None else self.misalignment.error
        return math.hypot(self.meniscus.error, deep, beside)

    @property
    def ratio_to_rigid(self) -> float:
        """Voltage over that of the rigid surface, [-]."""
        return self.voltage / self.rigid.voltage

    @property
    def tension_uncertainty(self) -> float:
        """Relative standard uncertainty of the surface tension, [-]."""
        return float(self.design.metal.surface_tension_uncertainty(self.design.liquid.temperature))

    @cached_property
    def tension_shifts(self) -> tuple[float, float]:
        """Relative shifts with a surface tension that is one standard uncertainty lower and higher.

        Where the table states no uncertainty the step is 2 %.  Of a turning point solved; of a
        rigid surface half of gamma kappa / (gamma kappa - p) times the step.  [-].
        """
        rigid = self.rigid
        held = rigid.surface_tension * rigid.curvature / field_stress(rigid.balance_field)
        step = 0.5 * held * self._tension_step
        if self.variants.solved == RIGID:
            return -step, step
        try:
            shifts = self.variants.turning(tension_ends(self._tension_step), "surface tension")
        except ContinuationError:
            return -step, step
        low, high = (
            sign * step if isinstance(found, str) else found - 1.0
            for sign, found in zip((-1.0, 1.0), shifts, strict=True)
        )
        return low, high

    @property
    def tension_gain(self) -> float:
        """g: the onset goes with sqrt(1 + g u) for a relative change u of the surface tension.

        1 for a surface without feed pressure, [-].
        """
        low, high = self.tension_shifts
        if self.variants.solved == RIGID:
            return 2.0 * high / self._tension_step
        return math.log((1.0 + high) / (1.0 + low)) / self._tension_step

    @cached_property
    def room_shift(self) -> float:
        """Relative shift with a chamber twice as large, 0 for a closed pair of electrodes, [-].

        Raises
        ------
        DesignError
            The larger chamber cannot be computed.
        """
        room = doubled_room(self.design)
        if not room:
            return 0.0
        # Three meshes: twice the chamber stretches the mesh where it is coarse anyway.
        (wide,) = self.variants.shifts([room], "surroundings", meshes=3)
        if isinstance(wide, str):
            raise DesignError(f"chamber: the check with a chamber twice as large failed: {wide}")
        return abs(wide.ratio - 1.0)

    def nominal(self) -> Nominal:
        """In numbers, with what is uncertain besides the tolerances; of the ends of a slit where
        they come first.

        Raises
        ------
        DesignError
            A larger chamber cannot be computed.
        MeshError, ConvergenceError, ComputationError
            The ends could not be solved.
        """
        first = self.first
        return Nominal(
            first.voltage,
            first.mode,
            # The ends have the field of the rigid surface there, greater by the same factor.
            (self.voltage if first.voltage == self.voltage else self.modes[0][1])
            / self.rigid.voltage,
            first.error,
            self.room_shift,
            self.tension_uncertainty,
            self.tension_gain,
        )

    @property
    def _tension_step(self) -> float:
        return self.tension_uncertainty or _SMALL


def solve_onset(
    design: Design,
    *,
    criterion: OnsetCriterion = "automatic",
    accuracy: float = 1e-3,
    kept: SolveCache | None = None,
    progress: Progress | None = None,
) -> Onset:
    """Solve the onset of a design as drawn.

    The plane section is solved on at least three nested meshes, a third dimension on three, the
    turning point of a free surface on the meshes made for its shape.  An accelerator beside the
    axis or askew divides them by the factor of its field in three dimensions.

    Parameters
    ----------
    criterion : "automatic", "rigid" or "meniscus"
        Automatic follows the free surface where the design has one and says in a remark why where
        it cannot.
    accuracy : float
        Relative numerical error wanted in the edge field, > 0, [-].
    kept : SolveCache or None
        Variants already solved, and where new ones are kept.
    progress : callable or None
        Called with (what, steps done, steps in all).

    Raises
    ------
    DesignError
        The design has no onset.
    MeshError, ConvergenceError, ContinuationError
        The field or the liquid's shapes could not be computed.
    """
    if progress is not None:
        progress("field", 0, 1)
    solution = solve_field(design.section(), accuracy=accuracy)
    section = rigid_onset_of_solution(design, solution)
    if progress is not None:
        progress("field", 1, 1)
    sector = sector_onset(design, section.edge_per_volt, meshes=3, progress=progress)
    skew = None if criterion == "rigid" else skew_of(design, solution, accuracy)
    meniscus, remarks = free_surface(skew.aligned if skew else design, criterion, progress)
    if meniscus is not None and sector is not None:
        meniscus = meniscus.in_field(sector.factor)
    if meniscus is not None and skew is not None:
        meniscus = meniscus.in_field(skew.factor)
        remarks = (*remarks, skew.remark)
    rigid = section.in_sector(sector)
    beside = misalignment_of(design, section.edge_per_volt, progress)
    if beside is not None:
        rigid = replace(rigid.times(beside.factor), error=math.hypot(rigid.error, beside.error))
        meniscus = None if meniscus is None else meniscus.in_field(beside.factor)
    return Onset(
        design,
        solution,
        rigid,
        meniscus,
        sector,
        remarks,
        skew,
        beside,
        accuracy,
        kept or SolveCache(),
        progress,
    )


def tension_ends(step: float) -> list[Changes]:
    """Variants with a lower and a higher surface tension.

    Parameters
    ----------
    step : float
        Relative change, [-].
    """
    return [((TENSION, 1.0 - step),), ((TENSION, 1.0 + step),)]


def doubled_room(design: Design) -> Changes:
    """Changes that make the chamber twice as large, () for a closed pair of electrodes."""
    # A side without flux is stated, half way to a neighbour: its distance is no one's guess.
    wide = () if design.chamber.side == "flux_free" else ("radius", "half_width")
    changes = []
    for name in (*wide, "length"):
        value = getattr(design.chamber, name)
        if value is not None:
            changes.append((f"chamber.{name}", 2.0 * value))
    return tuple(changes)
