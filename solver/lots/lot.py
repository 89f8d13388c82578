"""The onset of every article of a lot, each by its own solves, with the band that is left.

An article is the design with its measured dimensions in place of the drawn ones.  Its onset is that
of the drawn design times a ratio that is solved like for like, as for `vary`; the ends of a slit
and the first of a crown's tips come before the section where they do as drawn.  Its band holds the
design's budget without the lines of what was measured, and the stated uncertainties of the
measurements in their place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError
from conegap.geometries.quantities.notebook import data_frame, html_table, optional_library
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.free_surface import OnsetCriterion
from conegap.solver.lots.lot_file import Article, LotTable
from conegap.solver.studies.budget import Budget, Contribution, error_budget
from conegap.solver.studies.earliest import (
    budget_of_ends,
    budget_of_first_tip,
    earliest_near,
)
from conegap.solver.studies.end_shift import Ends
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.solve_cache import SolveCache
from conegap.solver.studies.variants import Changes

__all__ = ["ArticleOnset", "Lot", "first_budget", "solve_lot"]

# Coverage factor of the stated uncertainties, JCGM 100:2008.
_COVERAGE = 2.0


@dataclass(frozen=True)
class ArticleOnset:
    """What an article does.

    Parameters
    ----------
    article : Article
    voltage, low, high : float
        Onset, emitter minus accelerator, and its band (k = 2, about 95 %); nan where there is
        none, [V].
    refusal : str
        Why there is none, "" where there is one.
    remark : str
        What a reader of the number must know, "" where it is that of the criterion.
    """

    article: Article
    voltage: float
    low: float
    high: float
    refusal: str = ""
    remark: str = ""


@dataclass(frozen=True)
class Lot:
    """A lot that was solved; build with `solve_lot`.

    Parameters
    ----------
    design : Design
        As drawn.
    table : LotTable
    drawn : float
        Onset of the design as drawn, [V].
    mode : str
        How its surface gives way.
    results : tuple of ArticleOnset
        In the order of the table.
    warnings : tuple of str
    """

    design: Design
    table: LotTable
    drawn: float
    mode: str
    results: tuple[ArticleOnset, ...]
    warnings: tuple[str, ...]
    onset: Onset = field(repr=False, compare=False)

    @property
    def voltages(self) -> FloatArray:
        """Onset of every article, nan where it has none, (n,) array, [V]."""
        return np.array([one.voltage for one in self.results])

    def column(self, key: str) -> FloatArray:
        """Every article's value of a dimension, nan where it was not measured, (n,) array, SI.

        Parameters
        ----------
        key : str
        """
        found = [article.value(key) for article in self.table.articles]
        return np.array([np.nan if value is None else value for value in found])

    @property
    def measured(self) -> FloatArray:
        """Measured onsets, nan where there is none, (n,) array, [V]."""
        found = [article.measured for article in self.table.articles]
        return np.array([np.nan if value is None else value for value in found])

    def __repr__(self) -> str:
        low, high = np.nanmin(self.voltages), np.nanmax(self.voltages)
        lost = int(np.isnan(self.voltages).sum())
        return (
            f"Lot({len(self.results)} articles, onset {low:.6g} V to {high:.6g} V, {self.mode}, "
            f"{lost} without one)"
        )

    def _repr_html_(self) -> str:
        rows = [
            (one.article.name, one.refusal)
            if one.refusal
            else (one.article.name, f"{one.voltage:.6g}", f"{one.low:.6g} to {one.high:.6g}")
            for one in self.results
        ]
        return html_table(f"Lot, {self.mode}", rows, ("article", "onset [V]", "band [V]"))

    def columns(self) -> dict[str, list[Any]]:
        """The table by columns, SI, one unit suffix per key; the dimensions by their keys."""
        found: dict[str, list[Any]] = {"article": [one.article.name for one in self.results]}
        for dimension in self.table.dimensions:
            found[dimension.key] = self.column(dimension.key).tolist()
        found["onset_voltage_V"] = [one.voltage for one in self.results]
        found["onset_low_V"] = [one.low for one in self.results]
        found["onset_high_V"] = [one.high for one in self.results]
        found["measured_onset_V"] = self.measured.tolist()
        found["refusal"] = [one.refusal for one in self.results]
        return found

    def to_dataframe(self) -> Any:
        """The table as a pandas data frame, one row an article, columns as `columns`.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        units = {one.key: one.kind.si for one in self.table.dimensions}
        return data_frame(self.columns(), mode=self.mode, drawn_V=self.drawn, si_units=units)

    def to_arrow(self) -> Any:
        """The same as a pyarrow table; what is nan here is null there.

        Raises
        ------
        ImportError
            pyarrow is not installed.
        """
        arrow = optional_library("pyarrow", "to_arrow()")
        return arrow.table(
            {
                name: [None if isinstance(v, float) and np.isnan(v) else v for v in values]
                for name, values in self.columns().items()
            }
        )


def solve_lot(
    design: Design,
    table: LotTable,
    *,
    criterion: OnsetCriterion = "automatic",
    kept: SolveCache | None = None,
    progress: Progress | None = None,
) -> Lot:
    """Solve the onset of every article.

    Parameters
    ----------
    design : Design
        As drawn.
    table : LotTable
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`.
    kept : SolveCache or None
        Articles already solved, and where new ones are kept.
    progress : callable or None

    Raises
    ------
    DesignError
        The drawn design has no onset, or cannot be built at one end of a tolerance.
    ComputationError
        The drawn design's onset was not found, or no article has one.
    """
    onset = solve_onset(design, criterion=criterion, kept=kept, progress=progress)
    first, budget = onset.earliest, first_budget(onset)
    slopes, widest = _slopes(onset, table), _widest(table)
    changes = [one.changes for one in table.articles]
    shifts = onset.variants.shifts(changes, "articles")
    sections = [s if isinstance(s, str) else onset.voltage * s.ratio for s in shifts]
    results = []
    for article, shift, voltage in zip(
        table.articles, shifts, earliest_near(onset, changes, sections), strict=True
    ):
        if isinstance(shift, str) or isinstance(voltage, str):
            results.append(ArticleOnset(article, np.nan, np.nan, np.nan, str(voltage)))
            continue
        low, high = _budget_of(budget, article, slopes, widest).band(voltage)
        remark = f"shifted as the rigid surface: {shift.lost}" if shift.lost else ""
        results.append(ArticleOnset(article, voltage, low, high, remark=remark))
    if all(one.refusal for one in results):
        raise ComputationError(f"no article has an onset; the first one: {results[0].refusal}")
    return Lot(
        design,
        table,
        first.voltage,
        first.mode,
        tuple(results),
        (
            *design.warnings,
            *onset.remarks,
            *((onset.remark,) if onset.remark else ()),
            *onset.earliest_notes,
            *_exact(table),
            *_unstated(table, widest),
        ),
        onset,
    )


def first_budget(onset: Onset) -> Budget:
    """Budget of the place that emits first; raises what `error_budget` raises."""
    budget = error_budget(onset)
    if onset.firing is not None:
        return budget_of_first_tip(budget, onset.firing.first)
    ends = _ends_first(onset)
    return budget if ends is None else budget_of_ends(budget, ends.drawn)


def _ends_first(onset: Onset) -> Ends | None:
    """The ends of a slit where they emit first."""
    return onset.ends[0] if onset.first.voltage < onset.voltage else None


def _slopes(onset: Onset, table: LotTable) -> dict[str, float]:
    """d ln(onset) / d(dimension) at the drawn value for what has a stated uncertainty, [1/SI]."""
    widest = _widest(table)
    keys = [key for key, half in widest.items() if half > 0.0]
    both: list[Changes] = []
    for key in keys:
        value = onset.design.dimension(key).value
        both += [((key, value - widest[key]),), ((key, value + widest[key]),)]
    shifts = onset.variants.shifts(both, "uncertainties") if both else []
    found = {}
    for k, key in enumerate(keys):
        low, high = shifts[2 * k], shifts[2 * k + 1]
        if isinstance(low, str) or isinstance(high, str):
            reason = low if isinstance(low, str) else high
            raise ComputationError(
                f"{key}: within the uncertainty of its measurement the drawn design cannot be "
                f"computed: {reason}"
            )
        found[key] = float(np.log(high.ratio / low.ratio)) / (2.0 * widest[key])
    if found and (ends := _ends_first(onset)) is not None:
        for key, power in ends.powers(list(found)).items():
            found[key] += power / onset.design.dimension(key).value if power else 0.0
    return found


def _widest(table: LotTable) -> dict[str, float]:
    """Greatest stated uncertainty of every dimension that has one, SI."""
    widest: dict[str, float] = {}
    for article in table.articles:
        for key, half in article.uncertainties:
            widest[key] = max(half, widest.get(key, 0.0))
    return widest


def _budget_of(
    budget: Budget, article: Article, slopes: Mapping[str, float], widest: Mapping[str, float]
) -> Budget:
    """The design's budget with an article's measurements in place of its tolerances; a measurement
    without an uncertainty has the widest of the lot."""
    measured = {key for key, _ in article.changes}
    stated = {**widest, **dict(article.uncertainties)}
    lines = [line for line in budget.contributions if line.name not in measured]
    for key, half in stated.items():
        if key in measured and key in slopes:
            size = abs(slopes[key]) * half / _COVERAGE
            lines.append(Contribution(key, f"measured {key}", size, size, "measured"))
    return Budget(tuple(lines))


def _unstated(table: LotTable, widest: Mapping[str, float]) -> Sequence[str]:
    """Warnings on measurements without an uncertainty where others of the lot have one."""
    found = []
    for key in widest:
        names = [
            one.name
            for one in table.articles
            if one.value(key) is not None and key not in dict(one.uncertainties)
        ]
        if names:
            found.append(
                f"{key}: no uncertainty is stated for {', '.join(names)}, which take the widest of "
                "the lot"
            )
    return found


def _exact(table: LotTable) -> Sequence[str]:
    """Warnings on measured dimensions whose uncertainty is not given."""
    stated = {key for article in table.articles for key, _ in article.uncertainties}
    bare = [one.key for one in table.dimensions if one.key not in stated]
    if not bare:
        return ()
    return (
        f"{', '.join(bare)}: measured without a stated uncertainty, so taken as exact in every "
        f"band; a column '{bare[0]}.uncertainty' holds it",
    )
