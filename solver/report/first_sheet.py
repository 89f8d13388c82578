"""The first sheet of a report: what a review reads before anything else, on one printed page."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from importlib.metadata import version

from conegap.solver.assessment import Assessment
from conegap.solver.common.style import pretty
from conegap.solver.report.summary import summary
from conegap.solver.report.tables import Table, budget_table

__all__ = ["Sheet", "first_sheet", "versions"]

# Lines of the budget that the sheet has room for.
_CONTRIBUTIONS = 5


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
        Sentences, the first for a headline.
    remark : str
        How many warnings stand behind the sheet, "" for none.
    criteria : Table
        Criterion, value, limit, result.
    contributions : Table
        The largest ones and all together.
    """

    title: str
    identity: tuple[tuple[str, str], ...]
    sha256: str
    passed: bool
    stamp: str
    verdict: tuple[str, ...]
    remark: str
    criteria: Table
    contributions: Table


def first_sheet(assessment: Assessment) -> Sheet:
    """The first sheet of a report."""
    design = assessment.design
    answer, budget = summary(assessment), budget_table(assessment)
    review = answer.review
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
        verdict=answer.verdict,
        remark=(
            f"{count} warning{'s' if count > 1 else ''} must be read with this; see the answer in "
            "numbers behind this sheet."
            if count
            else ""
        ),
        criteria=Table(
            ("criterion", "value", "at most", "result"),
            tuple((*row[:2], row[2].removeprefix("at most "), row[3]) for row in review.rows),
            review.state,
        ),
        contributions=Table(
            ("largest contributions, k = 1", *budget.heads[1:3]),
            tuple(row[:3] for row in rows),
            ("",) * len(lines) + ("total",),
        ),
    )


def versions() -> tuple[tuple[str, str], ...]:
    """Names and versions of what computed the report."""
    names = ("conegap", "fipy", "numpy", "scipy", "netgen-mesher", "matplotlib")
    return (*((name, version(name)) for name in names), ("Python", platform.python_version()))
