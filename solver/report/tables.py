"""The tables of a report as plain texts."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from conegap.geometries.metals.metal import Metal
from conegap.geometries.metals.records import PropertyRecord
from conegap.geometries.quantities.quantity import (
    CURRENT,
    ENERGY,
    FIELD,
    PRESSURE,
    VOLTAGE,
    as_text,
)
from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import (
    current_text,
    field_text,
    mass_flow_text,
    percent,
    pressure_text,
    scientific,
    span_text,
    thrust_text,
    voltage_text,
)
from conegap.solver.common.style import pretty
from conegap.solver.operation.review import ReviewRow
from conegap.solver.studies.budget import in_the_onset

__all__ = [
    "PRACTICE",
    "Table",
    "budget_table",
    "common_basis",
    "inputs_table",
    "levels_table",
    "metal_table",
    "property_text",
    "review_basis",
    "review_span",
    "review_table",
    "review_value",
    "short_metal_table",
    "unit_value",
]


# What follows names the library or table in which a source was read.
_SECOND_HAND = re.compile(r"[,;] (?:coefficients )?as (?:tabulated|given|quoted) in")
PRACTICE = "common practice, no source"
"""How a basis without a source is called."""
# Marks of footnotes, and words from which a clause that repeats gets one.
_MARKS, _LONG = "‡§¶", 8
_DAGGER = re.compile(f"[,;]? ?{PRACTICE}")
# Letters in a row of 390 px, and of a name that may take two lines; common practice, no source.
_TELEPHONE, _NAMES = 46, 26
_DRAWN = ("emitter.", "accelerator.", "liquid.")


@dataclass(frozen=True)
class Table:
    """A table.

    Parameters
    ----------
    heads : tuple of str
    rows : tuple of tuples of str
    state : tuple of str
        Per row: "" or a mark such as "fail" for its look.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    state: tuple[str, ...] = ()

    @property
    def narrow(self) -> bool:
        """Whether its rows stay rows on a telephone: so few letters that no cell gets long."""
        columns = zip(self.heads, *self.rows, strict=True)
        first, *others = (max(len(cell) for cell in column) for column in columns)
        return min(first, _NAMES) + sum(others) <= _TELEPHONE

    def mark(self, row: int) -> str:
        """Look of a row."""
        return self.state[row] if row < len(self.state) else ""


_LOOKS = {"pass": "pass", "fail": "fail", "not proved": "unproved"}


def review_span(row: ReviewRow) -> str:
    """Value of a criterion, or between what it lies where it is known only so far.

    Parameters
    ----------
    row : ReviewRow
    """
    if row.span is None:
        return review_value(row, row.value)
    low, high = row.span
    if math.isinf(high):
        return f"at least {review_value(row, low)}"
    return span_text(lambda value: review_value(row, value), low, high)


def review_value(row: ReviewRow, value: float) -> str:
    """Value or limit of a criterion in a readable unit.

    Parameters
    ----------
    row : ReviewRow
    value : float
        In the unit of the row.
    """
    return unit_value(row.unit, value)


def unit_value(unit: str, value: float) -> str:
    """A value in a readable multiple of its unit.

    Parameters
    ----------
    unit : str
        SI unit, "" for a ratio.
    value : float
        In that unit.
    """
    texts = {
        VOLTAGE.si: voltage_text,
        FIELD.si: field_text,
        CURRENT.si: current_text,
        PRESSURE.si: pressure_text,
        "kg/s": mass_flow_text,
        "N": thrust_text,
    }
    if unit in texts:
        return texts[unit](value)
    return pretty(f"{value:.3g} {unit}".strip())


def review_table(assessment: Assessment) -> Table:
    """Criteria with value, limit, result and basis.

    Parameters
    ----------
    assessment : Assessment
    """
    rows = tuple(
        (
            row.name,
            review_span(row),
            f"at most {review_value(row, row.limit)}",
            row.state,
            row.basis,
        )
        for row in assessment.review
    )
    state = tuple(_LOOKS[row.state] for row in assessment.review)
    return Table(("criterion", "value", "limit", "result", "basis"), rows, state)


def review_basis(assessment: Assessment) -> tuple[Table, str]:
    """The same for a report, and its footnotes: what repeats is said once, `PRACTICE` is a dagger
    and so is every long clause of more than one basis.

    Parameters
    ----------
    assessment : Assessment
    """
    table = review_table(assessment)
    bases = [row[-1].split("; ") for row in table.rows]
    told = [_news(bases, k) for k in range(len(bases))]
    count = Counter(clause for basis in told for clause in basis)
    # Marks for what repeats and is long, the first of it first; what finds none stays.
    long = [one for one in count if count[one] > 1 and len(one.split()) >= _LONG]
    marks = dict(zip(long, _MARKS, strict=False))

    def said(k: int) -> str:
        words = "; ".join(clause for clause in told[k] if clause not in marks)
        return _DAGGER.sub("†", words) + "".join(marks[one] for one in told[k] if one in marks)

    rows = tuple(
        (*row[:2], row[2].removeprefix("at most "), row[3], said(k))
        for k, row in enumerate(table.rows)
    )
    heads = ("criterion", "value", "at most", "result", "basis")
    notes = ". ".join((f"† {PRACTICE}", *(f"{mark} {one}" for one, mark in marks.items())))
    return replace(table, heads=heads, rows=rows), notes


def _news(bases: Sequence[list[str]], k: int) -> list[str]:
    """The clauses of a basis, in words where the first ones repeat those above."""
    mine, above = bases[k], bases[k - 1] if k > 0 else []
    same = 0
    while same < min(len(mine), len(above)) and mine[same] == above[same]:
        same += 1
    return [*(["as above"] if same else []), *mine[same:]]


def _once(texts: Sequence[str], k: int) -> str:
    """A text of a column, in words where it repeats the one above it."""
    return "as above" if k > 0 and texts[k] == texts[k - 1] else texts[k]


def inputs_table(assessment: Assessment) -> Table:
    """Every dimension with tolerance and basis, "" where it is as drawn.

    Parameters
    ----------
    assessment : Assessment
    """
    rows = tuple(
        (
            d.key,
            pretty(d.text),
            f"± {pretty(d.tolerance_text)}" if d.tolerance else "",
            "" if d.basis == "drawn" else d.basis,
        )
        for d in assessment.design.dimensions()
    )
    state = tuple("assumed" if row[3] == "assumed" else "" for row in rows)
    heads = ("key of the design file", "value", "tolerance", "basis")
    return Table(heads, rows, state)


def common_basis(assessment: Assessment) -> str:
    """What the basis of most lines of the budget ends with, "" where nothing repeats."""
    ends = Counter(
        line.basis.rpartition("; ")[2]
        for line in assessment.emission.first.budget.contributions
        if "; " in line.basis
    )
    return next((end for end, count in ends.most_common(1) if count > 1), "")


def budget_table(assessment: Assessment) -> Table:
    """Every line of the error budget of the first emission; of its basis only what `common_basis`
    does not say already.

    Parameters
    ----------
    assessment : Assessment
    """
    budget, known = assessment.emission.first.budget, common_basis(assessment)
    rows = [
        (
            pretty(line.label),
            _side("−", line.down),
            _side("+", line.up),
            line.basis.removesuffix(f"; {known}").removeprefix("drawn"),
        )
        for line in budget.contributions
    ]
    assumed = sum(
        d.basis == "assumed"
        and not d.tolerance
        and d.key.startswith(_DRAWN)
        and bool(d.value)
        and in_the_onset(assessment.design, d)
        for d in assessment.design.dimensions()
    )
    if assumed:
        rows.append(
            (f"{assumed} assumed without tolerance", "0", "0", "not in the band, see inputs")
        )
    rows.append(
        (
            "all together, k = 2, about 95 %",
            _side("−", budget.down),
            _side("+", budget.up),
            "root sum of squares, JCGM 100:2008",
        )
    )
    state = (
        *("" for _ in budget.contributions),
        *("assumed" for _ in rows[len(budget.contributions) : -1]),
        "total",
    )
    return Table(
        ("contribution (one standard uncertainty)", "down", "up", "basis"), tuple(rows), state
    )


def _side(sign: str, value: float) -> str:
    return "0" if value < 5e-6 else f"{sign}{percent(value)}"


def metal_table(metal: Metal, temperature: float) -> Table:
    """Properties of a metal with law, range, source and status.

    Parameters
    ----------
    metal : Metal
    temperature : float
        [K].

    Raises
    ------
    DesignError
        The metal is solid at that temperature.
    """
    rows = tuple(
        (
            *_property(record),
            record.validity,
            record.provenance.words,
            record.status,
        )
        for record in metal.records(temperature)
    )
    state = tuple("memory" if row[5] == "unavailable" else "" for row in rows)
    return Table(
        ("property", "value", "standard uncertainty", "holds", "source", "status"), rows, state
    )


def short_metal_table(metal: Metal, temperature: float) -> Table:
    """The same for a report: the source of each value, without its range (a warning says where a
    law is continued beyond it) and the library in which it was read.

    Parameters
    ----------
    metal : Metal
    temperature : float
        [K].

    Raises
    ------
    DesignError
        The metal is solid at that temperature.
    """
    records = metal.records(temperature)
    sources = [_SECOND_HAND.split(record.source)[0] for record in records]
    rows = tuple((*_property(record), _once(sources, k)) for k, record in enumerate(records))
    state = tuple("memory" if record.status == "unavailable" else "" for record in records)
    return Table(("property", "value", "standard uncertainty", "source"), rows, state)


def _property(record: PropertyRecord) -> tuple[str, str, str]:
    """Name, value and standard uncertainty."""
    spread = record.relative_standard_uncertainty
    return (
        record.key.replace("_", " "),
        property_text(record.value, record.unit),
        f"± {percent(spread)}" if spread >= 5e-5 else "negligible",
    )


def property_text(value: float, unit: str) -> str:
    """A property of a metal in a readable unit.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        SI unit of the property table.
    """
    if unit == ENERGY.si:
        return as_text(value, ENERGY)
    handy = {
        "kg/mol": (1e3, "g/mol"),
        "N/m": (1e3, "mN/m"),
        "Pa s": (1e3, "mPa s"),
        "kg/m^3": (1.0, "kg/m³"),
    }
    factor, name = handy.get(unit, (1.0, unit))
    digits = 5 if unit in ("K", "kg/mol", "kg/m^3") else 4
    return f"{value * factor:.{digits}g} {name}"


def levels_table(assessment: Assessment) -> Table:
    """Edge field on every mesh of the sequence.

    Parameters
    ----------
    assessment : Assessment
    """
    numerical, levels = assessment.onset.rigid.edge_at_design, assessment.solution.levels
    rows = []
    for k, (level, value) in enumerate(zip(levels, numerical.level_values, strict=True)):
        change = value / numerical.level_values[k - 1] - 1.0 if k else math.nan
        rows.append(
            (
                str(level.mesh.subdivisions),
                f"{len(level.mesh.points):,}".replace(",", "\u202f"),
                f"{value / 1e6:.5g} MV/m",
                "" if k == 0 else pretty(f"{change:+.1e}"),
            )
        )
    rows.append(
        ("value used", "", f"{numerical.value / 1e6:.5g} MV/m", f"± {scientific(numerical.error)}")
    )
    return Table(
        (
            "subdivision",
            "control volumes",
            "edge field as designed",
            "change; error",
        ),
        tuple(rows),
        ("",) * (len(rows) - 1) + ("total",),
    )
