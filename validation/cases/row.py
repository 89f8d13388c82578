"""One line of the validation table."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

__all__ = ["Case", "Kind", "Row", "not_run"]

Kind = Literal["relative", "absolute", "at least", "at most"]


@dataclass(frozen=True)
class Row:
    """An exact value beside a computed one.

    ``error`` and ``passed`` follow from the numbers, so that a row cannot claim what its numbers
    do not show.

    Parameters
    ----------
    name : str
        The case.
    source : str
        Author, journal or book, year, and what was read of it; or "derived".  Never from memory.
    quantity : str
        What is compared, with its unit in brackets.
    exact : float
        Exact or published value; for "at least" and "at most" the limit.
    computed : float
        Value computed in this run.
    tolerance : float
        Largest error that passes.
    kind : str
        "relative": abs(computed/exact - 1); "absolute": abs(computed - exact); "at least" and
        "at most": the amount by which the limit is missed.
    seconds : float
        Time of the whole case, [s].
    slow : bool
        Left out on request.
    note : str
        Reason for the tolerance, remarks.
    ran : bool
        False where something needed is not installed; such a row neither passes nor fails.
    """

    name: str
    source: str
    quantity: str
    exact: float
    computed: float
    tolerance: float
    kind: Kind = "relative"
    seconds: float = 0.0
    slow: bool = False
    note: str = ""
    ran: bool = True

    @property
    def error(self) -> float:
        """Error by the measure of ``kind``; nan where a number is missing."""
        if self.kind == "relative":
            return abs(self.computed / self.exact - 1.0) if self.exact else math.nan
        if self.kind == "absolute":
            return abs(self.computed - self.exact)
        short = self.exact - self.computed
        # nan must not become zero
        return max(short if self.kind == "at least" else -short, 0.0) if short == short else short

    @property
    def passed(self) -> bool:
        """Whether the row ran and its error is a number within the tolerance."""
        return self.ran and bool(self.error <= self.tolerance)

    @property
    def failed(self) -> bool:
        """Whether the row ran and did not pass."""
        return self.ran and not self.passed


@dataclass(frozen=True)
class Case:
    """Something to compute that yields rows.

    Parameters
    ----------
    name : str
    compute : callable () -> list of Row
        Runs live; times and the slow mark are filled in by `conegap.validation.cases.table`.
    slow : bool
        Takes more than a few seconds.
    """

    name: str
    compute: Callable[[], list[Row]]
    slow: bool = False


def not_run(name: str, source: str, quantity: str, reason: str) -> Row:
    """A row for a quantity that could not be run here: its name, its source and the reason."""
    return Row(name, source, quantity, math.nan, math.nan, 0.0, note=reason, ran=False)
