"""Predicted bands beside measured values, and what they come to together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from statistics import median
from typing import Any

from conegap.solver.common.progress import Progress
from conegap.validation.measured.predictions import Prediction, predict
from conegap.validation.measured.record import Measured, measured_cases

__all__ = ["Compared", "Comparison", "compare"]


@dataclass(frozen=True)
class Compared:
    """A measurement beside its prediction."""

    measured: Measured
    predicted: Prediction

    @property
    def ratio(self) -> float:
        """Measured over predicted; of a limit, the limit over predicted, [-]."""
        return self.measured.value / self.predicted.value

    @property
    def inside(self) -> bool:
        """Whether the predicted band and the measured interval meet, or the limit is kept."""
        return self.measured.holds(self.predicted.low, self.predicted.high)


@dataclass(frozen=True)
class Comparison:
    """All cases and their statistics, which follow from the cases alone."""

    rows: tuple[Compared, ...]

    @property
    def values(self) -> tuple[Compared, ...]:
        """Cases whose value was measured."""
        return tuple(row for row in self.rows if not row.measured.bounded)

    @property
    def limits(self) -> tuple[Compared, ...]:
        """Cases of which only a limit was measured; they take no part in share and ratio."""
        return tuple(row for row in self.rows if row.measured.bounded)

    @property
    def share_inside(self) -> float:
        """Share of the measured values that lie inside the predicted band, [-]; nan of none."""
        values = self.values
        return sum(row.inside for row in values) / len(values) if values else math.nan

    @property
    def median_ratio(self) -> float:
        """Median of measured over predicted, [-]; nan of none."""
        return median(row.ratio for row in self.values) if self.values else math.nan

    def as_dict(self) -> dict[str, Any]:
        """Numbers for a script."""
        return {
            "conegap_version": version("conegap"),
            "measured_values": len(self.values),
            "inside": sum(row.inside for row in self.values),
            "median_ratio": self.median_ratio,
            "limits": len(self.limits),
            "limits_kept": sum(row.inside for row in self.limits),
            "cases": [
                {
                    "name": row.measured.name,
                    "kind": row.measured.kind,
                    "source": row.measured.source,
                    "read": row.measured.read,
                    "measured": None if row.measured.bounded else row.measured.value,
                    "measured_low": None if row.measured.bounded else row.measured.low,
                    "measured_high": None if row.measured.bounded else row.measured.high,
                    "measured_at_most": row.measured.at_most if row.measured.bounded else None,
                    "predicted": row.predicted.value,
                    "predicted_low": row.predicted.low,
                    "predicted_high": row.predicted.high,
                    "ratio": row.ratio,
                    "inside": row.inside,
                }
                for row in self.rows
            ],
        }


def compare(
    cases: Sequence[Measured] | None = None, progress: Progress | None = None
) -> Comparison:
    """Compute the predictions and set them beside the measurements.

    Parameters
    ----------
    cases : sequence of Measured or None
        All of the room where left out.
    progress : callable or None
        Called with (case, cases done, cases in all).

    Raises
    ------
    DesignError, ContinuationError, MeshError, ConvergenceError
        A case could not be computed.
    """
    cases = measured_cases() if cases is None else cases
    rows = []
    for done, case in enumerate(cases):
        if progress is not None:
            progress(f"cases: {case.name}", done, len(cases))
        rows.append(Compared(case, predict(case)))
    if progress is not None:
        progress("cases", len(cases), len(cases))
    return Comparison(tuple(rows))
