"""The onset of a design as drawn, and what makes it uncertain besides its tolerances."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.geometries.design import Design
from conegap.solver.budget import doubled_room
from conegap.solver.free_surface import RIGID, TURNING_POINT, Criterion, free_surface
from conegap.solver.kept_solves import KeptSolves, key_of, solved_onset
from conegap.solver.onset import rigid_onset
from conegap.solver.scan import Progress
from conegap.solver.surface_balance import field_stress

__all__ = ["Nominal", "nominal_onset"]


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
        gamma kappa / (gamma kappa - p): the onset goes with sqrt(1 + gain u) for a relative
        change u of the surface tension, 1 without feed pressure, [-].
    """

    voltage: float
    criterion: str = RIGID
    ratio_to_rigid: float = 1.0
    numerical_error: float = 0.0
    surroundings: float = 0.0
    tension: float = 0.0
    tension_gain: float = 1.0


def nominal_onset(
    design: Design, criterion: Criterion, kept: KeptSolves, progress: Progress | None
) -> tuple[Nominal, tuple[str, ...]]:
    """Onset of the drawn design on three meshes, its turning point where there is one.

    Parameters
    ----------
    design : Design
    criterion : "automatic", "rigid" or "meniscus"
    kept : KeptSolves
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
    key = key_of(design, (), f"turning point, {criterion}")
    if key not in kept.rows:
        meniscus, remarks = free_surface(design, criterion, progress)
        kept.keep(
            key,
            voltage_V=None if meniscus is None else meniscus.voltage,
            error=None if meniscus is None else meniscus.error,
            remarks=list(remarks),
        )
    row = kept.rows[key]
    free = row["voltage_V"]
    voltage = rigid.voltage if free is None else float(free)
    surroundings = 0.0
    room = doubled_room(design)
    if room:
        near, far = solved_onset(design, kept, progress=progress)([(), room], "wider chamber")
        surroundings = abs(far / near - 1.0)
    held = rigid.surface_tension * rigid.curvature
    nominal = Nominal(
        voltage=voltage,
        criterion=RIGID if free is None else TURNING_POINT,
        ratio_to_rigid=voltage / rigid.voltage,
        numerical_error=rigid.numerical.error if free is None else float(row["error"]),
        surroundings=surroundings,
        tension=float(design.metal.surface_tension_uncertainty(design.liquid.temperature)),
        tension_gain=held / field_stress(rigid.edge_field),
    )
    return nominal, (*design.warnings, *(str(text) for text in row["remarks"]))
