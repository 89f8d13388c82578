"""The onset of a design as drawn, and what makes it uncertain besides its tolerances."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.free_surface import RIGID, TURNING_POINT, OnsetCriterion, free_surface
from conegap.solver.onset.rigid import RigidOnset, rigid_onset
from conegap.solver.studies.budget import doubled_room, rigid_tension_gain
from conegap.solver.studies.scan import Changes
from conegap.solver.studies.solve_cache import (
    OnsetOf,
    SolveCache,
    key_of,
    solved_onset,
    solved_turning,
)
from conegap.solver.studies.turning_variants import TENSION, TurningStart

__all__ = ["DrawnOnset", "Nominal", "nominal_onset"]


@dataclass(frozen=True)
class Nominal:
    """The onset of the design as drawn and what makes it uncertain besides the tolerances.

    Parameters
    ----------
    voltage : float
        Onset by the criterion in use, [V].
    criterion : str
        "rigid surface" or "meniscus turning point".
    ratio_to_rigid : float
        Onset over that of the rigid surface, [-].
    numerical_error : float
        Relative, rectangular, [-].
    surroundings : float
        Relative shift with a chamber twice as large, rectangular, [-].
    tension : float
        Relative standard uncertainty of the surface tension, normal, [-].
    tension_gain : float
        The onset goes with sqrt(1 + gain u) for a relative change u of the surface tension: of a
        rigid surface gamma kappa / (gamma kappa - p), of a turning point solved; 1 without feed
        pressure, [-].
    """

    voltage: float
    criterion: str = RIGID
    ratio_to_rigid: float = 1.0
    numerical_error: float = 0.0
    surroundings: float = 0.0
    tension: float = 0.0
    tension_gain: float = 1.0


@dataclass(frozen=True)
class DrawnOnset:
    """The drawn design's onset and how those of its variants are solved.

    Parameters
    ----------
    nominal : Nominal
    onset_of : callable
        Solves variants, by the turning point where that is the onset.
    warnings : tuple of str
    notes : list of str
        Gets what a solve had to fall back to.
    """

    nominal: Nominal
    onset_of: OnsetOf
    warnings: tuple[str, ...]
    notes: list[str]


def nominal_onset(
    design: Design, criterion: OnsetCriterion, kept: SolveCache, progress: Progress | None
) -> DrawnOnset:
    """Onset of the drawn design on three meshes, its turning point where there is one.

    Parameters
    ----------
    design : Design
    criterion : "automatic", "rigid" or "meniscus"
    kept : SolveCache
        Solves already done.
    progress : callable or None

    Raises
    ------
    DesignError
        The design has no onset.
    ComputationError
        It could not be computed.
    """
    if progress is not None:
        progress("field as drawn", 0, 1)
    rigid = rigid_onset(design)
    if progress is not None:
        progress("field as drawn", 1, 1)
    row = _free_surface_row(design, criterion, kept, progress)
    free = row["voltage_V"]
    deep = design.sector() is not None
    voltage = rigid.voltage if free is None else float(free) / rigid.factor
    tension = float(design.metal.surface_tension_uncertainty(design.liquid.temperature))
    gain, notes = rigid_tension_gain(rigid), list[str]()
    onset_of = solved_onset(design, kept, progress=progress)
    if free is not None and deep:
        notes.append(
            "in three dimensions the shifts are those of the rigid surface, not of the turning "
            "point"
        )
    elif free is not None:
        try:
            start = TurningStart.from_dict(row["start"])
            turning = solved_turning(design, kept, start, notes, progress=progress)
            ends: list[Changes] = [((TENSION, 1.0 - tension),), ((TENSION, 1.0 + tension),)]
            if tension > 0.0:
                low, high = turning(ends, "surface tension")
                gain = math.log(high / low) / tension
            onset_of = turning
        except (ComputationError, DesignError) as error:
            notes.append(
                f"the turning point was not found again on two meshes ({error}); the shifts are "
                "those of the rigid surface"
            )
    surroundings = 0.0
    room = doubled_room(design)
    if room:
        near, far = onset_of([(), room], "wider chamber")
        surroundings = abs(far / near - 1.0)
    nominal = Nominal(
        voltage=voltage,
        criterion=RIGID if free is None else TURNING_POINT,
        ratio_to_rigid=voltage / rigid.voltage,
        numerical_error=_numerical(rigid, row, deep),
        surroundings=surroundings,
        tension=tension,
        tension_gain=gain,
    )
    warnings = (*design.warnings, *(str(text) for text in row["remarks"]))
    return DrawnOnset(nominal, onset_of, warnings, notes)


def _numerical(rigid: RigidOnset, row: dict[str, Any], deep: bool) -> float:
    """Relative numerical error of the onset by the criterion in use."""
    if row["voltage_V"] is None:
        return rigid.numerical.error
    return math.hypot(float(row["error"]), rigid.numerical.error if deep else 0.0)


def _free_surface_row(
    design: Design, criterion: OnsetCriterion, kept: SolveCache, progress: Progress | None
) -> dict[str, Any]:
    """The turning point of the drawn design, solved only once."""
    key = key_of(design, (), f"turning point, {criterion}")
    if "start" not in kept.rows.get(key, {}):
        meniscus, remarks = free_surface(design, criterion, progress)
        kept.keep(
            key,
            voltage_V=None if meniscus is None else meniscus.voltage,
            error=None if meniscus is None else meniscus.error,
            remarks=list(remarks),
            start=None if meniscus is None else TurningStart.of(meniscus).as_dict(),
        )
    return kept.rows[key]
