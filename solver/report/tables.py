"""The tables of a report as plain texts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from conegap.geometries.metals.metal import Metal
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
    span_text,
    voltage_text,
)
from conegap.solver.common.style import pretty
from conegap.solver.operation.exhaust import IonExhaust
from conegap.solver.operation.review import ReviewRow
from conegap.solver.studies.budget import in_the_onset

__all__ = [
    "Table",
    "budget_table",
    "inputs_table",
    "levels_table",
    "metal_table",
    "operation_table",
    "property_text",
    "review_span",
    "review_table",
    "review_value",
]


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

    def mark(self, row: int) -> str:
        """Look of a row."""
        return self.state[row] if row < len(self.state) else ""


_RESULTS = {"pass": "✓ pass", "fail": "✗ fail", "not proved": "? not proved"}
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
    texts = {
        VOLTAGE.si: voltage_text,
        FIELD.si: field_text,
        CURRENT.si: current_text,
        PRESSURE.si: pressure_text,
        "kg/s": mass_flow_text,
    }
    if row.unit in texts:
        return texts[row.unit](value)
    return f"{_typeset(value)} {row.unit}".strip()


def _typeset(value: float) -> str:
    """Three digits, with a raised power of ten where it has one."""
    digits, mark, power = f"{value:.3g}".partition("e")
    raised = str(int(power)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")) if mark else ""
    return f"{digits} × 10{raised}" if mark else digits


def review_table(assessment: Assessment) -> Table:
    """Criteria with value, limit, result, basis and advice.

    Parameters
    ----------
    assessment : Assessment
    """
    rows = tuple(
        (
            row.name,
            review_span(row),
            f"at most {review_value(row, row.limit)}",
            _RESULTS[row.state],
            row.basis,
            row.advice or "none needed",
        )
        for row in assessment.review
    )
    state = tuple(_LOOKS[row.state] for row in assessment.review)
    return Table(("criterion", "value", "limit", "result", "basis", "advice"), rows, state)


def inputs_table(assessment: Assessment) -> Table:
    """Every dimension with tolerance and basis.

    Parameters
    ----------
    assessment : Assessment
    """
    rows = tuple(
        (
            d.label,
            d.key,
            pretty(d.text),
            f"± {pretty(d.tolerance_text)}" if d.tolerance else "none",
            d.basis,
        )
        for d in assessment.design.dimensions()
    )
    state = tuple("assumed" if row[4] == "assumed" else "" for row in rows)
    heads = ("dimension", "key of the design file", "value", "tolerance", "basis")
    return Table(heads, rows, state)


def budget_table(assessment: Assessment) -> Table:
    """Every line of the error budget of the first emission.

    Parameters
    ----------
    assessment : Assessment
    """
    budget = assessment.emission.first.budget
    rows = [
        (pretty(line.label), _side("−", line.down), _side("+", line.up), line.basis)
        for line in budget.contributions
    ]
    assumed = [
        d.label
        for d in assessment.design.dimensions()
        if d.basis == "assumed"
        and not d.tolerance
        and d.key.startswith(_DRAWN)
        and d.value
        and in_the_onset(assessment.design, d)
    ]
    if assumed:
        rows.append((f"assumed, no tolerance: {', '.join(assumed)}", "0", "0", "not in the band"))
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
            record.key.replace("_", " "),
            property_text(record.value, record.unit),
            f"± {percent(record.relative_standard_uncertainty)}"
            if record.relative_standard_uncertainty >= 5e-5
            else "negligible",
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


def operation_table(assessment: Assessment) -> Table | None:
    """Figures of the beam per ampere, or None where the emitter is not above ground.

    Parameters
    ----------
    assessment : Assessment
    """
    exhaust = assessment.exhaust
    if exhaust is None:
        return None
    at = assessment.operation.operating
    pairs = [_exhaust_texts(exhaust), [("", "none")] * 5]
    if at.exhaust is not None and at.point.current > 0.0:
        pairs[1] = _exhaust_texts(at.exhaust)
    rows = [(name, text, other[1]) for (name, text), other in zip(*pairs, strict=True)]
    rows += [
        ("voltage across the gap", voltage_text(assessment.design.voltage),
         voltage_text(at.point.voltage)),
        ("emitter against ground", voltage_text(assessment.design.voltages.emitter),
         voltage_text(at.emitter_voltage)),
    ]  # fmt: skip
    return Table(("figure", "at the design's voltages", "at the operating point"), tuple(rows))


def _exhaust_texts(exhaust: IonExhaust) -> list[tuple[str, str]]:
    return [
        ("exhaust speed", f"{exhaust.speed / 1e3:.3g} km/s"),
        ("specific impulse", f"{exhaust.specific_impulse:.0f} s"),
        ("thrust per current", f"{exhaust.thrust_per_current * 1e3:.3g} µN/mA"),
        ("beam power per thrust", f"{exhaust.power_per_thrust * 1e-3:.3g} W/mN"),
        ("mass flow per current", f"{exhaust.mass_per_charge * 1e6:.3g} µg/s per mA"),
    ]


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
                "" if k == 0 else f"{change:+.1e}".replace("-", "−"),
            )
        )
    rows.append(("value used", "", f"{numerical.value / 1e6:.5g} MV/m", f"± {numerical.error:.1e}"))
    return Table(
        (
            "subdivision",
            "control volumes",
            "edge field at the design's voltages",
            "change, last row: error",
        ),
        tuple(rows),
        ("",) * (len(rows) - 1) + ("total",),
    )
