"""The error budget of an onset voltage.

Contributions are combined as independent standard uncertainties and expanded by k = 2, about
95 %, after JCGM 100:2008 (Guide to the expression of uncertainty in measurement): a tolerance is
a rectangular distribution over its plus-minus range, so its standard uncertainty is the shift at
its end over the square root of three.  The shifts at both ends come from field solves of the
changed design, so that a budget may be lopsided.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from conegap.geometries.design import Design, Dimension
from conegap.geometries.errors import DesignError
from conegap.solver.field import FieldSolution
from conegap.solver.onset import RigidOnset, rigid_onset_of_solution
from conegap.solver.scan import Progress, onset_of_variants
from conegap.solver.sector_onset import SectorOnset

__all__ = ["Budget", "Contribution", "doubled_room", "error_budget"]

_COVERAGE = 2.0
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
    progress: Progress | None = None,
) -> Budget:
    """Budget of a rigid onset.

    Parameters
    ----------
    design : Design
    solution : FieldSolution
        Of the design as drawn.
    onset : RigidOnset
        Its onset.
    mesh_error : float or None
        Relative numerical error of the onset voltage where it is not that of the rigid edge
        field, [-].
    sector : SectorOnset or None
        Of the design as drawn, where it has a third dimension; ``onset`` is still that of its plane
        section.
    progress : callable or None

    Raises
    ------
    DesignError
        The design cannot be built at one end of a tolerance.
    """
    numerical = onset.numerical.error if mesh_error is None else mesh_error
    tension = float(design.metal.surface_tension_uncertainty(design.liquid.temperature))
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
            tension / 2.0,
            tension / 2.0,
            "property table, one standard uncertainty",
        ),
    ]
    dimensions = [d for d in design.dimensions() if d.tolerance]
    solved = [d for d in dimensions if _moves_the_field(d.key)]
    variants = [((d.key, d.value + sign * _tolerance(d)),) for d in solved for sign in (-1, 1)]
    room = doubled_room(design)
    # Shifts compare like with like: two meshes for the changed designs and for the drawn one.
    drawn = rigid_onset_of_solution(design, solution.first_meshes(2)).in_sector(
        None if sector is None else sector.first_meshes(2)
    )
    results = onset_of_variants(
        design,
        [*variants, *([room] if room else [])],
        progress=progress,
        what="tolerances and surroundings",
    )
    for k, dimension in enumerate(solved):
        lines.append(_tolerance_line(dimension, (results[2 * k], results[2 * k + 1]), drawn))
    for dimension in dimensions:
        if dimension not in solved:
            shift = _tolerance(dimension)
            low, high = (
                design.with_value(dimension.key, value)
                for value in (dimension.value - shift, dimension.value + shift)
            )
            ends = (rigid_onset_of_solution(low, solution), rigid_onset_of_solution(high, solution))
            lines.append(_tolerance_line(dimension, ends, onset))
    if room:
        wide = results[-1]
        if isinstance(wide, str):
            raise DesignError(f"chamber: the check with a chamber twice as large failed: {wide}")
        shift = abs(wide.voltage / drawn.voltage - 1.0) / _ROOT_THREE
        lines.append(
            Contribution(
                "surroundings",
                "distance of the chamber walls",
                shift,
                shift,
                "solve with the chamber twice as large",
            )
        )
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


def _tolerance_line(
    dimension: Dimension, ends: tuple[RigidOnset | str, RigidOnset | str], onset: RigidOnset
) -> Contribution:
    """Line of the budget from the onsets at both ends of a tolerance."""
    shifts = []
    for sign, end in zip(("-", "+"), ends, strict=True):
        if isinstance(end, str):
            raise DesignError(
                f"{dimension.key}: at {dimension.text} {sign} {dimension.tolerance_text} the "
                f"design cannot be computed: {end}"
            )
        shifts.append(end.voltage / onset.voltage - 1.0)
    return Contribution(
        dimension.key,
        f"{dimension.label} {dimension.text} ± {dimension.tolerance_text}",
        max(0.0, -min(shifts)) / _ROOT_THREE,
        max(0.0, max(shifts)) / _ROOT_THREE,
        f"{dimension.basis}; rigid balance solved at both ends of the tolerance",
    )
