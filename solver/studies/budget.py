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
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from conegap.geometries.curves.curve import FloatArray, polyline
from conegap.geometries.curves.section import Section
from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import ConegapError, DesignError
from conegap.geometries.quantities.notebook import data_frame, html_table
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.free_surface import RIGID, TURNING_POINT
from conegap.solver.studies.onset import Onset, doubled_room, tension_ends
from conegap.solver.studies.variant_solver import Shift
from conegap.solver.studies.variants import Changes, tolerance_ends

__all__ = ["Budget", "Contribution", "error_budget", "in_the_onset"]

_TURNING = "turning point solved at both ends of the tolerance"
_RIGID = "rigid balance solved at both ends of the tolerance"
_ASKEW = "field at the tip solved in three dimensions at the end of the tolerance"
_NOT_FOUND = "the turning point was not found at one end"
# Relative change of a dimension without tolerance, to see whether the outline follows: far above
# rounding, far below what a part's rules forbid.
_NUDGE = 1e-6
# What changes the flow alone, and so not the onset.
_IN_NO_SECTION = ("feed.", "liquid.propellant_mass")
# Coverage factor k = 2 for about 95 %, JCGM 100:2008.
_COVERAGE = 2.0
# Half width of a rectangular distribution over its standard deviation, JCGM 100:2008, 4.3.7.
_ROOT_THREE = math.sqrt(3.0)

# Contact angles of one metal on one clean surface scatter by some ten degrees from specimen to
# specimen (common practice, no source). Under an oxide skin a static angle says nothing of the
# next specimen (I. D. Joshipura and others, Langmuir 37 (2021) 10914, abstract read); thirty
# degrees are a choice, no source.
_ANGLE = math.radians(10.0)
_ANGLE_UNDER_SKIN = math.radians(30.0)

# Onset over edge radius where only the edge is uncertain: V goes as sqrt(kappa) over the field per
# volt, and that field grows with kappa between not at all and in proportion, so that
# d ln V / d ln R lies between -1/2 and 1/2.
_OF_RADIUS = 0.5


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

    def __repr__(self) -> str:
        first = self.contributions[0].name if self.contributions else "nothing"
        return (
            f"Budget(-{self.down:.2%} +{self.up:.2%} at k = 2, {len(self.contributions)} lines, "
            f"most from {first})"
        )

    def _repr_html_(self) -> str:
        rows = [(c.label, f"{c.down:.2%}", f"{c.up:.2%}", c.basis) for c in self.contributions]
        rows.append(("all, k = 2", f"{self.down:.2%}", f"{self.up:.2%}", ""))
        heads = ("contribution", "downward", "upward", "basis")
        return html_table("Error budget of the onset", rows, heads)

    def to_dataframe(self) -> Any:
        """The lines as a pandas data frame: name, label, down and up [-], basis.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        names = ("name", "label", "down", "up", "basis")
        lines = self.contributions
        columns = {name: [getattr(line, name) for line in lines] for name in names}
        return data_frame(columns, down_k2=self.down, up_k2=self.up)

    @property
    def down(self) -> float:
        """Expanded relative uncertainty downward, k = 2, [-]."""
        return _COVERAGE * math.hypot(*(c.down for c in self.contributions))

    @property
    def up(self) -> float:
        """Expanded relative uncertainty upward, k = 2, [-]."""
        return _COVERAGE * math.hypot(*(c.up for c in self.contributions))

    def band(self, voltage: float) -> tuple[float, float]:
        """Lower and upper end of the band about a voltage, [V]."""
        return voltage * (1.0 - min(self.down, 1.0)), voltage * (1.0 + self.up)

    def with_(self, lines: Iterable[Contribution]) -> Budget:
        """The same with more contributions."""
        every = (*self.contributions, *lines)
        return Budget(tuple(sorted(every, key=lambda line: line.size, reverse=True)))

    def as_dict(self) -> dict[str, dict[str, float]]:
        """For the results contract, relative, one standard uncertainty."""
        return {line.name: {"down": line.down, "up": line.up} for line in self.contributions}

    def without(self, name: str) -> Budget:
        """The same without one contribution."""
        return Budget(tuple(c for c in self.contributions if c.name != name))


def in_the_onset(design: Design, dimension: Dimension) -> bool:
    """Whether a dimension can move the onset: what is drawn must be in the section that is solved.

    The length of a slit, its ends and those of its slot are not in a section across it, so that
    neither a shift nor a line of the budget belongs to them.

    Parameters
    ----------
    design : Design
    dimension : Dimension
    """
    if dimension.key.startswith(_IN_NO_SECTION):
        return False
    if dimension.key in design.askew_keys:
        return True
    drawn = ("emitter.", "accelerator.", "chamber.")
    if not dimension.key.startswith(drawn) or design.sector() is not None:
        return True
    change = dimension.tolerance or _NUDGE * abs(dimension.value)
    try:
        changed = design.with_value(dimension.key, dimension.value - change).section()
    except ConegapError:
        return True  # at the edge of what may be built, and so in it
    before, after = _outline(design.section()), _outline(changed)
    return len(before) != len(after) or not all(
        a.shape == b.shape and bool((a == b).all()) for a, b in zip(before, after, strict=True)
    )


def _outline(section: Section) -> list[FloatArray]:
    return [polyline([boundary.curve]) for loop in section.loops for boundary in loop]


def error_budget(onset: Onset) -> Budget:
    """Budget of an onset.

    Parameters
    ----------
    onset : Onset
        Of the design as drawn.

    Raises
    ------
    DesignError
        The design cannot be built at one end of a tolerance.
    """
    design, variants = onset.design, onset.variants
    dimensions = [d for d in design.dimensions() if d.tolerance and in_the_onset(design, d)]
    ends = tolerance_ends(dimensions)
    for angle in _assumed_angle(onset, dimensions):
        dimensions.append(angle)
        ends += _angle_ends(design, angle)
    room, tension = doubled_room(design), onset.tension_uncertainty
    if variants.solved == TURNING_POINT:
        # Solved together, two at a time; below they are looked up.
        every = [*ends, room, *(tension_ends(tension) if tension else ())]
        with suppress(ContinuationError):
            variants.turning(every, "turning points at the tolerances")
    mesh = onset.error / _ROOT_THREE
    lower, higher = onset.tension_shifts if tension else (0.0, 0.0)
    lines = [
        Contribution("mesh", "numerical error of the field", mesh, mesh, "mesh sequence"),
        Contribution(
            "surface_tension",
            f"surface tension of {design.metal.name}",
            abs(lower),
            abs(higher),
            _tension_basis(design),
        ),
    ]
    if onset.skew is not None and onset.meniscus is not None:
        lines.append(
            Contribution(
                "alignment",
                "liquid in the field of the greater lip instead of the mean",
                onset.skew.lopsided / _ROOT_THREE,
                0.0,
                "difference of two models, downward",
            )
        )
    _, scatter = design.outline_uncertainty
    if scatter:
        lines.append(
            Contribution(
                "emitter.points",
                "scatter of the outline's points",
                _OF_RADIUS * scatter,
                _OF_RADIUS * scatter,
                "measured; smooth outline through the points",
            )
        )
    lines += _supply_line(onset)
    lines += _edge_line(onset)
    shifts = variants.shifts(ends, "tolerances")
    for k, dimension in enumerate(dimensions):
        lines.append(_line(onset, dimension, shifts[2 * k : 2 * k + 2]))
    if room:
        shift = onset.room_shift / _ROOT_THREE
        lines.append(
            Contribution(
                "surroundings",
                "distance of the chamber walls",
                shift,
                shift,
                "solve with the chamber twice as large",
            )
        )
    return Budget(()).with_(lines)


def _supply_line(onset: Onset) -> list[Contribution]:
    """A cap that its film feeds, beside one that keeps its volume: the difference of both models,
    downward only."""
    meniscus = onset.meniscus
    if meniscus is None or meniscus.held != "volume":
        return []
    share = meniscus.fed_from(onset.design.edge_pressure) / meniscus.voltage
    if share >= 1.0:
        return []
    return [
        Contribution(
            "supply",
            "cap fed through its film instead of cut off",
            (1.0 - share) / _ROOT_THREE,
            0.0,
            "difference of two models, downward: pressure of the cap against that of the feed",
        )
    ]


def _edge_line(onset: Onset) -> list[Contribution]:
    """A cap whose edge slides on its film, beside one pinned where it meets the film as drawn: the
    difference of both models, downward only."""
    meniscus = onset.meniscus
    if meniscus is None or meniscus.held != "volume":
        return []
    share = meniscus.sliding
    basis = "difference of two models, downward: edge anywhere on the film against pinned"
    if share is None:
        basis = "not found: with a lower edge no surface turned free of the metal"
    return [
        Contribution(
            "film_edge",
            "edge of the film's cap free to slide",
            0.0 if share is None else (1.0 - share) / _ROOT_THREE,
            0.0,
            basis,
        )
    ]


def _tension_basis(design: Design) -> str:
    """Where the uncertainty of the surface tension comes from."""
    known = design.metal.surface_tension_law.provenance
    basis = "property table, one standard uncertainty"
    if known.status != "unavailable":
        return basis
    return f"{basis}; no open source: the values found lie {100.0 * known.spread:.2g} % apart"


def _assumed_angle(onset: Onset, toleranced: Sequence[Dimension]) -> list[Dimension]:
    """The advancing angle with an assumed range where the design states none, or nothing."""
    liquid, meniscus = onset.design.liquid, onset.meniscus
    if meniscus is None or meniscus.wall_place is None:
        return []
    name = "contact_angle" if liquid.advancing_angle is None else "advancing_angle"
    if any(d.key == f"liquid.{name}" for d in toleranced):
        return []
    clean = liquid.surface == "clean"
    wide = _ANGLE if clean else _ANGLE_UNDER_SKIN
    return [replace(onset.design.dimension(f"liquid.{name}"), tolerance=wide, basis="assumed")]


def _angle_ends(design: Design, angle: Dimension) -> list[Changes]:
    """Both ends of an assumed angle within what is physical: a smaller one takes the angles that
    may not exceed it along, so that the design stays one that may be read."""
    liquid = design.liquid
    # The limits of what a design file may state; an angle of zero has no mesh beside it.
    most = math.pi / 2.0 if liquid.advancing_angle is None else math.pi
    wide = angle.tolerance or 0.0
    low = max(angle.value - wide, 1e-3 * angle.value)
    high = min(angle.value + wide, most)
    below = (("receding_angle", liquid.receding_angle), ("contact_angle", liquid.contact_angle))
    along = [
        (f"liquid.{name}", low)
        for name, value in below
        if value is not None and value > low and f"liquid.{name}" != angle.key
    ]
    return [(*along, (angle.key, low)), ((angle.key, high),)]


def _line(onset: Onset, dimension: Dimension, ends: Sequence[Shift | str]) -> Contribution:
    """Line of the budget from the shifts at both ends of a tolerance."""
    shifts, lost = [], False
    for sign, end in zip(("-", "+"), ends, strict=True):
        if isinstance(end, str):
            raise DesignError(
                f"{dimension.key}: at {dimension.text} {sign} {dimension.tolerance_text} the "
                f"design cannot be computed: {end}",
                keys=(dimension.key,),
            )
        shifts.append(end.ratio - 1.0)
        lost = lost or bool(end.lost)
    basis = _TURNING
    if dimension.key in onset.design.askew_keys:
        basis = _ASKEW
    elif onset.variants.solved == RIGID:
        basis = _RIGID if onset.meniscus is None else f"{_RIGID}, not the turning point"
    elif lost:
        basis = f"{_RIGID}: {_NOT_FOUND}"
    return Contribution(
        dimension.key,
        f"{dimension.label} {dimension.text} ± {dimension.tolerance_text}",
        max(0.0, -min(shifts)) / _ROOT_THREE,
        max(0.0, max(shifts)) / _ROOT_THREE,
        f"{dimension.basis}; {basis}",
    )
