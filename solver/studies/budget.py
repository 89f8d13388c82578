"""The error budget of an onset voltage.

Contributions are combined as independent standard uncertainties and expanded by k = 2, about
95 %, after JCGM 100:2008 (Guide to the expression of uncertainty in measurement): a tolerance is
a rectangular distribution over its plus-minus range, so its standard uncertainty is the shift at
its end over the square root of three.  The shifts at both ends come from field solves of the
changed design, so that a budget may be lopsided.  Where the onset is a turning point, the shifts
are those of the turning point; where it is not found for a changed design, the line falls back to
the rigid balance and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.common.progress import Progress
from conegap.solver.field.solution import FieldSolution
from conegap.solver.field3d.sector_factor import SectorOnset
from conegap.solver.liquid.liquid_section import MeniscusOnset
from conegap.solver.onset.rigid import RigidOnset, rigid_onset_of_solution
from conegap.solver.onset.surface_balance import field_stress
from conegap.solver.studies.scan import Changes, onset_of_variants, tolerance_ends
from conegap.solver.studies.turning_variants import TENSION, TurningStart, turning_voltages

__all__ = ["Budget", "Contribution", "doubled_room", "error_budget", "rigid_tension_gain"]

ROOM = "room"
"""Name of the check with a larger chamber among the shifts."""

_TURNING = "turning point solved at both ends of the tolerance"
_RIGID = "rigid balance solved at both ends of the tolerance"
_NOT_FOUND = "the turning point was not found at one end"
# Coverage factor k = 2 for about 95 %, JCGM 100:2008.
_COVERAGE = 2.0
# Half width of a rectangular distribution over its standard deviation, JCGM 100:2008, 4.3.7.
_ROOT_THREE = math.sqrt(3.0)


@dataclass(frozen=True)
class Contribution:
    """One line of the budget.

    Parameters
    ----------
    name : str
        "mesh", "surroundings", "surface_tension" or a design file key.
    label : str
        Words for a table.
    down, up : float
        Relative standard uncertainty of the onset downward and upward, >= 0, [-].
    basis : str
        Where it comes from.
    """

    name: str
    label: str
    down: float
    up: float
    basis: str

    @property
    def size(self) -> float:
        """The larger of both sides, [-]."""
        return max(self.down, self.up)


@dataclass(frozen=True)
class Budget:
    """Contributions and their combination.

    Parameters
    ----------
    contributions : tuple of Contribution
        Largest first.
    """

    contributions: tuple[Contribution, ...]

    @property
    def down(self) -> float:
        """Expanded relative uncertainty downward, k = 2, [-]."""
        return _COVERAGE * math.hypot(*(c.down for c in self.contributions))

    @property
    def up(self) -> float:
        """Expanded relative uncertainty upward, k = 2, [-]."""
        return _COVERAGE * math.hypot(*(c.up for c in self.contributions))


def error_budget(
    design: Design,
    solution: FieldSolution,
    onset: RigidOnset,
    *,
    mesh_error: float | None = None,
    sector: SectorOnset | None = None,
    meniscus: MeniscusOnset | None = None,
    progress: Progress | None = None,
) -> Budget:
    """Budget of an onset.

    Parameters
    ----------
    design : Design
    solution : FieldSolution
        Of the design as drawn.
    onset : RigidOnset
        Its rigid onset.
    mesh_error : float or None
        Relative numerical error of the onset voltage; that of the turning point or of the rigid
        edge field when left out, [-].
    sector : SectorOnset or None
        Of the design as drawn, where it has a third dimension; ``onset`` is still that of its plane
        section.
    meniscus : MeniscusOnset or None
        Turning point of its free surface, where that is the onset.  In three dimensions the
        shifts are still those of the rigid surface.
    progress : callable or None

    Raises
    ------
    DesignError
        The design cannot be built at one end of a tolerance.
    """
    numerical = mesh_error
    if numerical is None:
        numerical = onset.numerical.error if meniscus is None else meniscus.error
    tension = float(design.metal.surface_tension_uncertainty(design.liquid.temperature))
    dimensions = [d for d in design.dimensions() if d.tolerance]
    room = doubled_room(design)
    turning = None
    if meniscus is not None and sector is None:
        turning = _turning_shifts(design, meniscus, dimensions, room, tension, progress)
    gain = rigid_tension_gain(onset)
    down, up = 0.5 * gain * tension, 0.5 * gain * tension
    if turning is not None and TENSION in turning:
        down, up = (abs(shift) for shift in turning[TENSION])
    lines = [
        Contribution(
            "mesh",
            "numerical error of the field",
            numerical / _ROOT_THREE,
            numerical / _ROOT_THREE,
            "mesh sequence",
        ),
        Contribution(
            "surface_tension",
            f"surface tension of {design.metal.name}",
            down,
            up,
            "property table, one standard uncertainty",
        ),
    ]
    found = turning or {}
    for dimension in dimensions:
        if dimension.key in found:
            lines.append(_line(dimension, found[dimension.key], _TURNING))
    left = [d for d in dimensions if d.key not in found]
    solved = [d for d in left if _moves_the_field(d.key)]
    if ROOM in found:
        room = ()
        lines.append(_room_line(abs(found[ROOM][0])))
    basis = _RIGID
    if meniscus is not None:
        basis += f": {_NOT_FOUND}" if sector is None else ", not the turning point"
    # Shifts compare like with like: two meshes for the changed designs and for the drawn one.
    coarse = None if sector is None else sector.first_meshes(2)
    drawn = rigid_onset_of_solution(design, solution.first_meshes(2)).in_sector(coarse)
    factor = None if coarse is None else coarse.factor
    results = onset_of_variants(
        design,
        tolerance_ends(solved),
        factor=factor,
        near=solution.coarse,
        progress=progress,
        what="tolerances",
    )
    for k, dimension in enumerate(solved):
        ends = (results[2 * k], results[2 * k + 1])
        lines.append(_line(dimension, _rigid_shifts(dimension, ends, drawn), basis))
    for dimension in left:
        if dimension not in solved:
            shift = _tolerance(dimension)
            low, high = (
                design.with_value(dimension.key, value)
                for value in (dimension.value - shift, dimension.value + shift)
            )
            ends = (rigid_onset_of_solution(low, solution), rigid_onset_of_solution(high, solution))
            lines.append(_line(dimension, _rigid_shifts(dimension, ends, onset), basis))
    if room:
        # Three meshes: twice the chamber stretches the mesh where it is coarse anyway.
        (wide,) = onset_of_variants(
            design,
            [room],
            meshes=3,
            factor=factor,
            near=solution.coarse,
            progress=progress,
            what="surroundings",
        )
        if isinstance(wide, str):
            raise DesignError(f"chamber: the check with a chamber twice as large failed: {wide}")
        near = rigid_onset_of_solution(design, solution.first_meshes(3)).in_sector(coarse)
        lines.append(_room_line(abs(wide.voltage / near.voltage - 1.0)))
    return Budget(tuple(sorted(lines, key=lambda line: line.size, reverse=True)))


def _tolerance(dimension: Dimension) -> float:
    """Half width of the tolerance, SI."""
    return float(dimension.tolerance or 0.0)


def _moves_the_field(key: str) -> bool:
    """Whether a dimension changes the section; the others only change the balance."""
    return key.startswith(("emitter.", "accelerator.", "chamber.")) or (
        key == "liquid.film_thickness"
    )


def doubled_room(design: Design) -> tuple[tuple[str, float], ...]:
    """Changes that make the chamber twice as large, () for a closed pair of electrodes.

    Parameters
    ----------
    design : Design
    """
    changes = []
    for name in ("radius", "half_width", "length"):
        value = getattr(design.chamber, name)
        if value is not None:
            changes.append((f"chamber.{name}", 2.0 * value))
    return tuple(changes)


def rigid_tension_gain(onset: RigidOnset) -> float:
    """gamma kappa / (gamma kappa - p): twice d ln V / d ln gamma of a rigid onset, [-].

    Parameters
    ----------
    onset : RigidOnset
    """
    return onset.surface_tension * onset.curvature / field_stress(onset.balance_field)


def _turning_shifts(
    design: Design,
    meniscus: MeniscusOnset,
    dimensions: list[Dimension],
    room: Changes,
    tension: float,
    progress: Progress | None,
) -> dict[str, tuple[float, float]]:
    """Relative shifts of the turning point at both ends, for what they were found of.

    With a larger chamber the shift stands twice.
    """
    ends: list[Changes] = [(), *tolerance_ends(dimensions)]
    names = [d.key for d in dimensions]
    if tension > 0.0:
        names.append(TENSION)
        ends += [((TENSION, 1.0 - tension),), ((TENSION, 1.0 + tension),)]
    if room:
        names.append(ROOM)
        ends.append(room)
    start = TurningStart.of(meniscus)
    results = turning_voltages(
        design, ends, start, progress=progress, what="turning points at the tolerances"
    )
    drawn = results[0]
    if isinstance(drawn, str):
        return {}
    found = {}
    for k, name in enumerate(names):
        low, high = results[2 * k + 1], results[min(2 * k + 2, len(results) - 1)]
        if not isinstance(low, str) and not isinstance(high, str):
            found[name] = (low / drawn - 1.0, high / drawn - 1.0)
    return found


def _rigid_shifts(
    dimension: Dimension, ends: tuple[RigidOnset | str, RigidOnset | str], onset: RigidOnset
) -> tuple[float, float]:
    """Relative shifts of the rigid onset at both ends of a tolerance."""
    shifts = []
    for sign, end in zip(("-", "+"), ends, strict=True):
        if isinstance(end, str):
            raise DesignError(
                f"{dimension.key}: at {dimension.text} {sign} {dimension.tolerance_text} the "
                f"design cannot be computed: {end}"
            )
        shifts.append(end.voltage / onset.voltage - 1.0)
    return shifts[0], shifts[1]


def _line(dimension: Dimension, shifts: tuple[float, float], basis: str) -> Contribution:
    """Line of the budget from the shifts at both ends of a tolerance."""
    return Contribution(
        dimension.key,
        f"{dimension.label} {dimension.text} ± {dimension.tolerance_text}",
        max(0.0, -min(shifts)) / _ROOT_THREE,
        max(0.0, max(shifts)) / _ROOT_THREE,
        f"{dimension.basis}; {basis}",
    )


def _room_line(shift: float) -> Contribution:
    return Contribution(
        "surroundings",
        "distance of the chamber walls",
        shift / _ROOT_THREE,
        shift / _ROOT_THREE,
        "solve with the chamber twice as large",
    )
