"""Demands on a solved design, as excesses: what is wanted of it, and the criteria of its review.

An excess is the logarithm of value over limit where both are positive, so that 0.05 is about 5 %
too much and -0.05 a margin of 5 %; else their difference over the larger of the two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from conegap.geometries.design.design import Design
from conegap.solver.assessment import Assessment, assess
from conegap.solver.liquid.free_surface import OnsetCriterion
from conegap.solver.operation.review import ReviewRow
from conegap.solver.sizing.request import Wanted
from conegap.solver.studies.variants import Changes, changed_design

__all__ = [
    "EXACT",
    "Demand",
    "Sample",
    "criteria_of",
    "margin_of",
    "sample_of",
    "solved_sample",
    "wishes_of",
]

EXACT = 5e-4
"""Within what a wanted value is sought: half of the numerical error that a solve may have."""

# Excesses of more than a factor 20 either way are as good as that: they decide nothing.
_FARTHEST = 3.0


@dataclass(frozen=True)
class Sample:
    """What the search needs of a solved design.

    Parameters
    ----------
    voltages : mapping of str to float
        By the keys of `conegap.solver.sizing.request.WANTED`, [V].
    rows : tuple of ReviewRow
    thrust : float or None
        At the operating point, None where it is not known, [N].
    place : str
        Where it emits first, and how the surface gives way.
    """

    voltages: Mapping[str, float]
    rows: tuple[ReviewRow, ...]
    thrust: float | None = None
    place: str = ""


@dataclass(frozen=True)
class Demand:
    """Something that must hold; build with `wishes_of` or `criteria_of`.

    Parameters
    ----------
    name : str
        Of the criterion, or what is wanted in words.
    key : str
        Of `Sample.voltages`, "" for a criterion.
    limit : float
        Of a wish, [V].
    at_least : bool
        Whether a wish is one for more.
    proved : bool
        Whether the whole span of a criterion's value must pass; else it must not fail.
    slack : float
        Excess that is allowed, negative for a margin, [-].
    """

    name: str
    key: str = ""
    limit: float = 0.0
    at_least: bool = False
    proved: bool = True
    slack: float = 0.0

    def excess(self, sample: Sample) -> float | None:
        """How far it is from holding, > 0 where it does not; None where the review has no such row.

        Parameters
        ----------
        sample : Sample
        """
        if self.key:
            found = sample.voltages[self.key]
            ends = (self.limit, found) if self.at_least else (found, self.limit)
            return _excess(*ends) - self.slack
        row, value = self.row(sample), self.deciding(sample)
        return None if row is None or value is None else _excess(value, row.limit) - self.slack

    def row(self, sample: Sample) -> ReviewRow | None:
        """The row of a criterion; None for a wish or where the review has no such row.

        Parameters
        ----------
        sample : Sample
        """
        return next((one for one in sample.rows if one.name == self.name), None)

    def deciding(self, sample: Sample) -> float | None:
        """The end of a criterion's span that is held against its limit, in the row's unit.

        Parameters
        ----------
        sample : Sample
        """
        row = self.row(sample)
        if row is None:
            return None
        low, high = row.span or (row.value, row.value)
        return high if self.proved else low


def _excess(value: float, limit: float) -> float:
    if value > 0.0 and limit > 0.0:
        found = math.inf if math.isinf(value) else math.log(value / limit)
    else:
        found = (value - limit) / max(abs(value), abs(limit), 1e-300)
    return min(max(found, -_FARTHEST), _FARTHEST)


def margin_of(row: ReviewRow) -> float | None:
    """How far the worse end of a row's value stays below its limit, as a share of it, [-].

    Negative where it does not; None where that end has no bound or the limit is not positive.

    Parameters
    ----------
    row : ReviewRow
    """
    high = row.value if row.span is None else row.span[1]
    return 1.0 - high / row.limit if row.limit > 0.0 and math.isfinite(high) else None


def wishes_of(wanted: Sequence[Wanted]) -> tuple[Demand, ...]:
    """Demands of what is wanted; a value is wanted within `EXACT` to either side.

    Parameters
    ----------
    wanted : sequence of Wanted
    """
    found = []
    for one in wanted:
        slack = EXACT if one.low == one.high else 0.0
        if one.low > 0.0:
            found.append(Demand(one.words, one.key, one.low, at_least=True, slack=slack))
        if math.isfinite(one.high):
            found.append(Demand(one.words, one.key, one.high, slack=slack))
    return tuple(found)


def criteria_of(drawn: Sample, *, proved: bool = False) -> tuple[Demand, ...]:
    """Demands of the review, without margins.

    A criterion that the drawn design passes shall be passed still; one that it fails or leaves
    open must not fail.

    Parameters
    ----------
    drawn : Sample
        Of the design as drawn.
    proved : bool
        Every criterion shall pass.
    """
    return tuple(Demand(row.name, proved=proved or row.passed is True) for row in drawn.rows)


def sample_of(assessment: Assessment) -> Sample:
    """What the search needs of an assessment."""
    first = assessment.emission.first
    voltages = {
        "first_emission": first.voltage,
        "first_emission_low": first.low,
        "first_emission_high": first.high,
    }
    place = f"{first.place}, {first.mode}"
    return Sample(voltages, assessment.review, assessment.thrust, place)


def solved_sample(design: Design, changes: Changes, *, criterion: OnsetCriterion) -> Sample:
    """The whole answer to a changed design, in brief.

    Parameters
    ----------
    design : Design
    changes : ((key, SI value), ...)
    criterion : "automatic", "rigid" or "meniscus"

    Raises
    ------
    DesignError
        The changed design is refused.
    ComputationError
        It could not be solved.
    """
    return sample_of(assess(changed_design(design, changes), scans=False, criterion=criterion))
