"""Dimensions for a wanted first emission: solves over the box, optimum, a solve there, again.

The box is solved at the points of a small design by whole assessments; on the surfaces through them
the optimum is found, solved anew and added to the surfaces, until a solve itself meets every
demand, or the surfaces have just been right by more than what is missing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, ConegapError, DesignError
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.free_surface import OnsetCriterion
from conegap.solver.sizing.conflicts import CONTRADICTION, Conflict, conflicts_of
from conegap.solver.sizing.demands import (
    EXACT,
    Demand,
    Sample,
    criteria_of,
    solved_sample,
    wishes_of,
)
from conegap.solver.sizing.request import Free, Wanted, check_free
from conegap.solver.sizing.surfaces import Surfaces, design_points, excesses
from conegap.solver.studies.variants import Changes, solve_variants

__all__ = ["MARGIN", "Sizing", "Solve", "find_size", "holds", "size", "solver_of"]

MARGIN = 0.02
"""Margin that every criterion shall keep which the free quantities move, so that rounding on the
drawing does not break it; common practice, no source."""

# Solves at an optimum until one meets every demand; an assumed bound, the shipped needle took one.
_ROUNDS = 5
# Halvings of the way back from a point that cannot be built: 2^-5 of the box is near a solve.
_BACK = 5
# What is missing is beyond help where it is this many times what the surfaces were last off by:
# assumed, the next solve lies near the last one and is predicted better.
_BEYOND = 2.0

Solve = Callable[[Sequence[Changes], str], Sequence[Sample | str]]
"""Takes variants of a design and what they are for, gives what was solved, or why not."""


@dataclass(frozen=True)
class Sizing:
    """The result; build with `size`.

    Parameters
    ----------
    free : tuple of Free
    values : tuple of float
        Found quantities, SI; where the demands contradict each other, of the last optimum that was
        solved, empty for none.
    predicted : float
        First emission at that point by the surfaces before it was solved, 0 for none, [V].
    sample : Sample
        Solve at that point, or the design as drawn.
    drawn : Sample
        The design as drawn.
    demands : tuple of Demand
    active : tuple of str
        Demands and ends of ranges that hold the answer where it is.
    conflicts : tuple of Conflict
        Empty where every demand is met.
    solves : int
        Whole assessments.
    solved : tuple of ((d,) array, Sample)
        Every solve of the search, by shares of the ranges.
    """

    free: tuple[Free, ...]
    values: tuple[float, ...]
    predicted: float
    sample: Sample
    drawn: Sample
    demands: tuple[Demand, ...]
    active: tuple[str, ...]
    conflicts: tuple[Conflict, ...]
    solves: int
    solved: tuple[tuple[FloatArray, Sample], ...]

    @property
    def met(self) -> bool:
        """Whether a solve meets every demand."""
        return not self.conflicts


def size(
    design: Design,
    free: tuple[Free, ...],
    wanted: tuple[Wanted, ...],
    *,
    criterion: OnsetCriterion = "automatic",
    margin: float = MARGIN,
    proved: bool = False,
    progress: Progress | None = None,
) -> Sizing:
    """Find free quantities that meet what is wanted, by whole assessments of changed designs.

    Of all points that meet every demand the one is sought whose smallest margin is greatest.

    Parameters
    ----------
    design : Design
    free : tuple of Free
        One to three.
    wanted : tuple of Wanted
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`.
    margin : float
        That every criterion shall keep which the free quantities move, >= 0; less where the drawn
        design passes it with less, [-].
    proved : bool
        Every criterion shall be passed, not only those that the drawn design passes.
    progress : callable or None
        Called with (what, steps done, steps in all).

    Raises
    ------
    DesignError
        The ranges cannot be sought, or too little of the box can be built.
    ComputationError
        The drawn design could not be solved, or solves at the optimum go on missing a demand.
    """

    solve = solver_of(design, criterion=criterion, progress=progress)
    return find_size(design, free, wanted, solve, margin=margin, proved=proved)


def solver_of(
    design: Design,
    *,
    criterion: OnsetCriterion = "automatic",
    progress: Progress | None = None,
) -> Solve:
    """Whole assessments of variants of a design, in processes of their own.

    Parameters
    ----------
    design : Design
    criterion : "automatic", "rigid" or "meniscus"
    progress : callable or None
    """

    def solve(variants: Sequence[Changes], what: str) -> list[Sample | str]:
        return solve_variants(
            partial(solved_sample, criterion=criterion),
            design,
            variants,
            progress=progress,
            what=what,
        )

    return solve


def find_size(
    design: Design,
    free: tuple[Free, ...],
    wanted: tuple[Wanted, ...],
    solve: Solve,
    *,
    margin: float = MARGIN,
    proved: bool = False,
) -> Sizing:
    """As `size`, with any solver.

    Parameters
    ----------
    design : Design
    free : tuple of Free
    wanted : tuple of Wanted
    solve : callable
        See `Solve`.
    margin : float
        [-].
    proved : bool

    Raises
    ------
    DesignError, ComputationError
        As for `size`.
    """
    check_free(free)
    shares = list(design_points(len(free)))
    variants = [_changes(free, point) for point in shares]
    drawn, *results = solve([(), *variants], "designs in the box")
    if isinstance(drawn, str):
        raise ComputationError(f"the design as drawn has no answer to begin from: {drawn}")
    solved = [(p, r) for p, r in zip(shares, results, strict=True) if not isinstance(r, str)]
    if len(solved) < len(free) + 2:
        why = next(r for r in results if isinstance(r, str))
        raise DesignError(
            f"of {len(results)} designs in the ranges given only {len(solved)} can be solved; give "
            f"narrower ranges. The first that cannot: {why}",
            keys=tuple(one.key for one in free),
        )
    wishes, criteria = wishes_of(wanted), criteria_of(drawn, proved=proved)
    demands = (*wishes, *criteria)
    moving = set(excesses(solved, demands).moving)
    demands = tuple(
        replace(d, slack=-_margin(d, drawn, margin)) if not d.key and k in moving else d
        for k, d in enumerate(demands)
    )
    begun = Sizing(free, (), 0.0, drawn, drawn, demands, (), (), len(results) + 1, ())
    return _sought(design, begun, solved, solve)


def _sought(
    design: Design,
    begun: Sizing,
    solved: list[tuple[FloatArray, Sample]],
    solve: Solve,
) -> Sizing:
    """The answer, or what contradicts, by solves at the optimum of the surfaces, again and again.

    Every solve is added to those that were ``solved``, by shares of the ranges.
    """
    demands, free = begun.demands, begun.free
    surfaces, off, found = excesses(solved, demands), math.inf, begun
    for _ in range(_ROUNDS):
        point, least = _optimum(surfaces, demands)
        # No optimum helps against what the free quantities do not move.
        if least > max(CONTRADICTION, _BEYOND * off) or surfaces.stuck(CONTRADICTION):
            break
        point = _buildable(design, free, point, [p for p, _ in solved])
        changes = _changes(free, point)
        point = np.array([f.share(v) for f, (_, v) in zip(free, changes, strict=True)])
        predicted = _predicted(point, solved)
        expected = float(surfaces(point[None, :], surfaces.moving).max(initial=-math.inf))
        now = next((s for p, s in solved if np.allclose(p, point, atol=1e-9)), None)
        again = now is not None
        if now is None:
            (fresh,) = solve([changes], "optimum, solved anew")
            if isinstance(fresh, str):
                raise ComputationError(f"the design found could not be solved: {fresh}")
            now = fresh
            solved.append((point, now))
            surfaces = excesses(solved, demands)
        found = replace(
            found,
            values=tuple(value for _, value in changes),
            predicted=predicted,
            sample=now,
            solves=found.solves + (0 if again else 1),
        )
        if holds(now, demands):
            return replace(found, active=_active(found, point), solved=tuple(solved))
        if again:
            break
        off = abs(_worst(now, [demands[k] for k in surfaces.moving]) - expected)
    bare = tuple(d if d.key else replace(d, slack=0.0) for d in demands)
    # Margins contradict each other only where the limits themselves do not.
    conflicts = conflicts_of(excesses(solved, bare), bare, begun.drawn) or conflicts_of(
        surfaces, demands, begun.drawn
    )
    if not conflicts:
        raise ComputationError(
            f"after {found.solves} solves the design found still misses a demand by "
            f"{_worst(found.sample, demands):.2g} although the surfaces through them do not; give "
            "narrower ranges around the point that you expect"
        )
    return replace(found, conflicts=conflicts, solved=tuple(solved))


def _margin(demand: Demand, drawn: Sample, margin: float) -> float:
    """Margin to keep, no greater than that with which the drawn design passes, [-]."""
    excess = demand.excess(drawn)
    return margin if excess is None or excess > 0.0 else min(margin, -excess)


def _changes(free: Sequence[Free], point: FloatArray) -> Changes:
    return tuple((one.key, one.value(float(u))) for one, u in zip(free, point, strict=True))


def _predicted(point: FloatArray, solved: Sequence[tuple[FloatArray, Sample]]) -> float:
    """First emission by the surface, [V]."""
    logs = [[math.log(sample.voltages["first_emission"])] for _, sample in solved]
    surface = Surfaces(np.array([at for at, _ in solved]), np.array(logs))
    return math.exp(float(surface(point[None, :], [0])[0, 0]))


def _optimum(surfaces: Surfaces, demands: Sequence[Demand]) -> tuple[FloatArray, float]:
    """The point of the greatest smallest margin, or, where none holds, of the least excess."""
    wishes = [k for k in range(len(demands)) if demands[k].key]
    criteria = [k for k in surfaces.moving if not demands[k].key]
    if criteria:
        point, worst = surfaces.least(criteria, wishes)
        if worst <= CONTRADICTION:
            return point, worst
    return surfaces.least([*wishes, *criteria])


def _buildable(
    design: Design, free: Sequence[Free], point: FloatArray, solved: Sequence[FloatArray]
) -> FloatArray:
    """The point, or one on the way to the nearest solved one, that can be drawn."""
    near = min(solved, key=lambda one: float(np.abs(one - point).max()))
    for _ in range(_BACK):
        try:
            design.with_values(_changes(free, point))
        except ConegapError:
            point = 0.5 * (point + near)
        else:
            return point
    return near


def _worst(sample: Sample, demands: Sequence[Demand]) -> float:
    found = [demand.excess(sample) for demand in demands]
    return max((e for e in found if e is not None), default=-math.inf)


def holds(sample: Sample, demands: Sequence[Demand]) -> bool:
    """Whether a solve meets every demand, a wanted value within its slack once more.

    Parameters
    ----------
    sample : Sample
    demands : sequence of Demand
    """
    for demand in demands:
        excess = demand.excess(sample)
        if excess is not None and excess > (EXACT if demand.key else 0.0):
            return False
    return True


def _active(found: Sizing, point: FloatArray) -> tuple[str, ...]:
    """What holds the answer: demands without room, the smallest margin, and ends of ranges."""
    names = []
    for demand in found.demands:
        excess = demand.excess(found.sample)
        # Within a wanted value's own slack of its limit.
        if excess is not None and excess > -4.0 * EXACT and (demand.key or demand.slack < 0.0):
            names.append(demand.name)
    for one, share in zip(found.free, point, strict=True):
        for end, word in ((0.0, "low"), (1.0, "high")):
            if abs(share - end) < 1e-3:
                names.append(f"{word} end of {one.key}")
    return tuple(dict.fromkeys(names))
