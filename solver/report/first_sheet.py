"""The first sheet of a report: what a review reads before anything else, on one printed page."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from importlib.metadata import version

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import voltage_text
from conegap.solver.common.style import pretty
from conegap.solver.operation.review import ReviewRow
from conegap.solver.report.beam import degrees
from conegap.solver.report.operating import operating_facts
from conegap.solver.report.summary import summary
from conegap.solver.report.tables import Table, budget_table, review_basis
from conegap.solver.report.words import must_know

__all__ = ["Sheet", "first_sheet", "versions"]

# Lines of the budget that the sheet has room for.
_CONTRIBUTIONS = 5
# Criteria that it shows where fewer do not pass: with them the sheet is one page that is full.
_CRITERIA = 10


@dataclass(frozen=True)
class Sheet:
    """Everything on the first sheet but its two figures.

    Parameters
    ----------
    title : str
    identity : tuple of (str, str)
        Drawing number, revision, design file and versions.
    sha256 : str
        Digest of the inputs.
    passed : bool
        No criterion fails, and none is left unproved.
    stamp : str
        The review's result in words.
    verdict : tuple of str
        Two sentences, the first for a headline.
    remarks : tuple of str
        What must be known with it.
    numbers : tuple of (str, str)
        Names and values.
    criteria : Table
        Criterion, value, limit, result: all that do not pass, and those that pass by least.
    criteria_words : str
        Caption of it.
    contributions : Table
        The largest ones and all together.
    """

    title: str
    identity: tuple[tuple[str, str], ...]
    sha256: str
    passed: bool
    stamp: str
    verdict: tuple[str, ...]
    remarks: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    criteria: Table
    criteria_words: str
    contributions: Table


def first_sheet(assessment: Assessment) -> Sheet:
    """The first sheet of a report."""
    design = assessment.design
    answer, budget = summary(assessment), budget_table(assessment)
    (review, _), shown = review_basis(assessment), _deciding(assessment.review)
    lines = budget.rows[:-1][:_CONTRIBUTIONS]
    rows = (*lines, (f"all {len(budget.rows) - 1} together, k = 2", *budget.rows[-1][1:]))
    count = len(assessment.warnings)
    return Sheet(
        title=pretty(design.title or design.source),
        identity=(
            ("drawing", design.drawing.number or "not given"),
            ("revision", design.drawing.revision or "not given"),
            ("design file", design.source),
            ("computed by", f"conegap {version('conegap')}"),
        ),
        sha256=design.sha256,
        passed=assessment.passed,
        stamp=answer.stamp,
        verdict=tuple(pretty(line) for line in answer.verdict),
        remarks=tuple(pretty(line) for line in (*must_know(assessment), *_warned(count))),
        numbers=tuple((name, pretty(value)) for name, value in _numbers(assessment)),
        criteria=Table(
            review.heads[:4],
            tuple(tuple(pretty(cell) for cell in review.rows[k][:4]) for k in shown),
            tuple(review.state[k] for k in shown),
        ),
        criteria_words=(
            "Criteria of the gap review; their basis overleaf"
            if len(shown) == len(review.rows)
            else "Criteria that do not pass or pass by least; all of them overleaf"
        ),
        contributions=Table(
            ("largest contributions, k = 1", *budget.heads[1:3]),
            tuple(row[:3] for row in rows),
            ("",) * len(lines) + ("total",),
        ),
    )


def _deciding(rows: tuple[ReviewRow, ...]) -> list[int]:
    """Criteria that fail, that are not proved, and that come closest to their limits, in this
    order; all of the first two."""

    def used(row: ReviewRow) -> float:
        highest = row.value if row.span is None else row.span[1]
        # Two absolute temperatures are always near each other.
        if row.unit == "K":
            return 0.0
        return highest / row.limit if row.limit > 0.0 else 0.0

    groups = {"fail": 0, "not proved": 1, "pass": 2}
    order = sorted(range(len(rows)), key=lambda k: (groups[rows[k].state], -used(rows[k])))
    return order[: max(_CRITERIA, sum(row.state != "pass" for row in rows))]


def _warned(count: int) -> tuple[str, ...]:
    """How many warnings stand behind the sheet."""
    if not count:
        return ()
    return (f"{count} warning{'s' if count > 1 else ''} behind this sheet must be read with it.",)


def _numbers(assessment: Assessment) -> tuple[tuple[str, str], ...]:
    """The figures that a review asks for first; the operating point with its ends."""
    design, emission = assessment.design, assessment.emission
    limit = design.supply.voltage_limit
    supply = "not given"
    if limit is not None:
        supply = f"{voltage_text(limit)}, {limit / emission.first.high:.2g} ×"
    rows = [
        ("voltage of the design", voltage_text(design.voltage)),
        ("limit of the supply, over the band", supply),
        ("onset of the surface held rigid", voltage_text(assessment.onset.rigid.voltage)),
    ]
    if emission.all_burning != emission.first.voltage:
        rows.append(("everything emits from", voltage_text(emission.all_burning)))
    rows += operating_facts(assessment)
    beam = assessment.beam
    if beam is not None and beam.left > 0.0:
        rows.append(("95 % of the beam leaves within", f"±{degrees(beam.half_angle_95)}"))
    return tuple(rows)


def versions() -> tuple[tuple[str, str], ...]:
    """Names and versions of what computed the report."""
    names = ("conegap", "fipy", "numpy", "scipy", "netgen-mesher", "matplotlib")
    return (*((name, version(name)) for name in names), ("Python", platform.python_version()))
