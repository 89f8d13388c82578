"""What one goal costs of another: designs that meet every demand, on the surfaces of an answer.

The ends, the best design for each goal alone, are solved anew and added to the surfaces; between
them one goal is lowered while the other is held at a level, level by level (the epsilon-constraint
method; Y. Y. Haimes and others, IEEE Trans. Syst. Man Cybern. 1, 296 (1971), from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.solver.sizing.demands import EXACT, Sample
from conegap.solver.sizing.request import WANTED
from conegap.solver.sizing.search import Sizing, Solve, holds
from conegap.solver.sizing.surfaces import Surfaces, apart, excesses

__all__ = ["GOALS", "Goal", "Trade", "TradePoint", "goals_of", "trade_off"]

GOALS = (*WANTED, "thrust", "beam_half_width")
"""What can be a goal: as wanted; thrust at the operating point, [N]; the beam's half-width over the
half-width that the accelerator's opening leaves, at worst, [-]."""

# The criterion of the review that holds it.
_BEAM_ROW = "beam half-width / available aperture half-width"
# Points of the curve, ends included; assumed, a line through them looks smooth.
_POINTS = 17
_GOAL = re.compile(r"(?P<key>[^=]+?)\s*=\s*(?P<end>least|most)\s*\Z")


@dataclass(frozen=True)
class Goal:
    """What is best at its least or its most; build with `goals_of`.

    Parameters
    ----------
    key : str
        One of `GOALS`.
    end : "least" or "most"
    """

    key: str
    end: Literal["least", "most"]

    @property
    def words(self) -> str:
        """For a table."""
        return f"{self.key.replace('_', ' ')}, {self.end}"

    @property
    def unit(self) -> str:
        """SI unit, "" for a ratio."""
        return {"thrust": "N", "beam_half_width": ""}.get(self.key, "V")

    def value(self, sample: Sample) -> float | None:
        """Of a solved design; None where it is not known or not positive.

        Parameters
        ----------
        sample : Sample
        """
        if self.key == "thrust":
            found = sample.thrust
        elif self.key == "beam_half_width":
            row = next((one for one in sample.rows if one.name == _BEAM_ROW), None)
            found = None if row is None else (row.span or (row.value, row.value))[1]
        else:
            found = sample.voltages[self.key]
        return found if found is not None and 0.0 < found < math.inf else None

    def cost(self, sample: Sample) -> float:
        """Logarithm of the value, negative where most is best; nan where it is not known."""
        value = self.value(sample)
        if value is None:
            return math.nan
        return math.log(value) if self.end == "least" else -math.log(value)

    def of_cost(self, cost: float) -> float:
        """The value of a cost."""
        return math.exp(cost if self.end == "least" else -cost)


@dataclass(frozen=True)
class TradePoint:
    """A design of the curve, or one that was solved.

    Parameters
    ----------
    values : tuple of float
        Free quantities, SI.
    goals : tuple of float
        Values of both goals, in their units.
    met : bool
        Whether it meets every demand; on the curve, by the surfaces.
    """

    values: tuple[float, ...]
    goals: tuple[float, float]
    met: bool


@dataclass(frozen=True)
class Trade:
    """The trade-off of two goals; build with `trade_off`.

    Parameters
    ----------
    goals : tuple of Goal
        Two.
    curve : tuple of TradePoint
        From the best for the first goal to the best for the second; one where the same design is
        best for both.
    solved : tuple of TradePoint
        Every design that was solved and whose goals are known, the ends of the curve first.
    off : float
        The most by which the surfaces were off at the ends before these were solved, [-].
    """

    goals: tuple[Goal, Goal]
    curve: tuple[TradePoint, ...]
    solved: tuple[TradePoint, ...]
    off: float


def goals_of(texts: Sequence[str]) -> tuple[Goal, Goal] | None:
    """Read goals such as ``thrust=most``; None for none.

    Parameters
    ----------
    texts : sequence of str
        None or two.

    Raises
    ------
    DesignError
        A text is no goal, or they are not two different ones.
    """
    found = []
    for text in texts:
        match = _GOAL.match(text.strip())
        if match is None or match["key"].strip() not in GOALS:
            raise DesignError(
                f"--goal {text}: write KEY=least or KEY=most, such as thrust=most; known are "
                f"{', '.join(GOALS)}",
                keys=("--goal",),
            )
        found.append(Goal(match["key"].strip(), "least" if match["end"] == "least" else "most"))
    if not found:
        return None
    if len(found) != 2 or found[0].key == found[1].key:
        raise DesignError(
            f"--goal {', '.join(texts)}: a trade-off is between two goals; give --goal twice, with "
            "different keys",
            keys=("--goal",),
        )
    return found[0], found[1]


def trade_off(found: Sizing, goals: tuple[Goal, Goal], solve: Solve) -> Trade:
    """The best designs for two goals, among those that meet every demand.

    Parameters
    ----------
    found : Sizing
        That is met.
    goals : tuple of Goal
        Two.
    solve : callable
        See `conegap.solver.sizing.search.Solve`; called once, for the ends.

    Raises
    ------
    ValueError
        The demands contradict each other.
    ComputationError
        A goal is known at too few solves, or an end could not be solved.
    """
    if not found.met:
        raise ValueError("demands that contradict each other leave nothing to trade")
    solved = list(found.solved)
    for goal in goals:
        if sum(goal.value(one) is not None for _, one in solved) < len(found.free) + 2:
            raise ComputationError(
                f"--goal {goal.key}: it is not known at enough of the {len(solved)} solves for a "
                "trade-off; give another goal, or other ranges"
            )
    before = _surfaces(found, solved, goals)
    ends = [_best(found, solved, goals, k)[0] for k in (0, 1)]
    changes = [
        tuple((f.key, f.value(float(u))) for f, u in zip(found.free, end, strict=True))
        for end in ends
    ]
    # Where they lie once they are rounded to what can be drawn.
    ends = [
        np.array([f.share(v) for f, (_, v) in zip(found.free, one, strict=True)]) for one in changes
    ]
    off, anew = 0.0, []
    for end, sample in zip(ends, solve(changes, "ends of the trade-off"), strict=True):
        if isinstance(sample, str):
            raise ComputationError(f"an end of the trade-off could not be solved: {sample}")
        predicted = before(end[None, :], _columns(found))[0]
        costs = np.array([goal.cost(sample) for goal in goals])
        if not np.isfinite(costs).all():
            raise ComputationError(
                "an end of the trade-off has no known value of a goal; give narrower ranges"
            )
        off = max(off, float(np.abs(predicted - costs).max()))
        anew.append((end, sample))
    # First, so that they are kept.
    solved = [*anew, *solved]
    return Trade(
        goals,
        _curve(found, solved, goals),
        tuple(
            TradePoint(_values(found, point), (first, second), holds(sample, found.demands))
            for point, sample in solved
            if (first := goals[0].value(sample)) is not None
            and (second := goals[1].value(sample)) is not None
        ),
        off,
    )


def _curve(
    found: Sizing, solved: Sequence[tuple[FloatArray, Sample]], goals: tuple[Goal, Goal]
) -> tuple[TradePoint, ...]:
    """From the best for the first goal to the best for the second, on surfaces."""
    ends = [_best(found, solved, goals, k) for k in (0, 1)]
    highest, lowest = ends[0][1][1], ends[1][1][1]
    points = [ends[0]]
    # A difference below the numerical error of a solve is no trade-off.
    if highest - lowest > 2.0 * EXACT:
        levels = np.linspace(highest, lowest, _POINTS)[1:-1]
        points += [_best(found, solved, goals, 0, float(level)) for level in levels]
        points.append(ends[1])
    return tuple(
        TradePoint(
            _values(found, point),
            (goals[0].of_cost(float(costs[0])), goals[1].of_cost(float(costs[1]))),
            met=True,
        )
        for point, costs in points
    )


def _columns(found: Sizing) -> tuple[int, int]:
    return len(found.demands), len(found.demands) + 1


def _surfaces(
    found: Sizing, solved: Sequence[tuple[FloatArray, Sample]], goals: tuple[Goal, Goal]
) -> Surfaces:
    """Excesses of the demands, then the costs of both goals; without solves side by side, between
    which the scatter of a beam's width of about 1 % would bend the curve."""
    kept = [solved[k] for k in apart([point for point, _ in solved])]
    surfaces = excesses(kept, found.demands)
    costs = np.array([[goal.cost(sample) for goal in goals] for _, sample in kept])
    return replace(surfaces, values=np.hstack([surfaces.values, costs]))


def _best(
    found: Sizing,
    solved: Sequence[tuple[FloatArray, Sample]],
    goals: tuple[Goal, Goal],
    lowered: int,
    level: float = math.inf,
) -> tuple[FloatArray, FloatArray]:
    """The point of least cost of one goal, the second held at a level, and both costs there."""
    surfaces = _surfaces(found, solved, goals)
    columns = _columns(found)
    held = [k for k in surfaces.moving if k < columns[0]]
    values = surfaces.values.copy()
    if level < math.inf:
        values[:, columns[1]] -= level
        held.append(columns[1])
    point, _ = replace(surfaces, values=values).least([columns[lowered]], held)
    return point, surfaces(point[None, :], columns)[0]


def _values(found: Sizing, point: FloatArray) -> tuple[float, ...]:
    return tuple(one.value(float(u)) for one, u in zip(found.free, point, strict=True))
