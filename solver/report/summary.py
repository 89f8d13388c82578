"""The answer in values and words, made once: the terminal and the first sheet both show this."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import (
    field_text,
    length_words,
    percent,
    scientific,
    voltage_text,
)
from conegap.solver.common.style import pretty
from conegap.solver.report.beam import degrees
from conegap.solver.report.operating import operating_facts
from conegap.solver.report.sector import sector_lines
from conegap.solver.report.tables import Table, review_table
from conegap.solver.report.words import verdict

__all__ = ["Summary", "emission_table", "summary"]


@dataclass(frozen=True)
class Summary:
    """The answer to a design.

    Parameters
    ----------
    heading : str
        Title and number of the drawing.
    stamp : str
        The review's result in words.
    verdict : tuple of str
        Two sentences, the first for a headline.
    facts : tuple of (str, str)
        Names and values.
    emission : Table
        Every instability that was solved, the lowest first.
    review : Table
        Criteria of the gap review.
    advice : tuple of str
        What to do about each criterion that fails.
    """

    heading: str
    stamp: str
    verdict: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    emission: Table
    review: Table
    advice: tuple[str, ...]


def summary(assessment: Assessment) -> Summary:
    """The answer of an assessment."""
    design = assessment.design
    return Summary(
        heading=" ".join(p for p in (design.title, design.drawing.number) if p) or design.source,
        stamp=_stamp(assessment),
        verdict=verdict(assessment),
        facts=_facts(assessment),
        emission=emission_table(assessment),
        review=review_table(assessment),
        advice=tuple(f"{row.name}: {row.advice}" for row in assessment.review if row.advice),
    )


def _stamp(assessment: Assessment) -> str:
    if assessment.failed:
        return "✗ does not pass the gap review"
    return "✓ passes the gap review" if assessment.passed else "? gap review not proved"


def _facts(assessment: Assessment) -> tuple[tuple[str, str], ...]:
    design, rigid, first = assessment.design, assessment.onset.rigid, assessment.emission.first
    supply, beam, classic = design.supply.voltage_limit, assessment.beam, assessment.classic
    rows = [
        ("first emission, emitter minus accelerator", voltage_text(first.voltage)),
        ("where", first.place),
        ("how the surface gives way", first.mode),
        ("band (k = 2, about 95 %)", f"{voltage_text(first.low)} to {voltage_text(first.high)}"),
        ("everything emits from", voltage_text(assessment.emission.all_burning)),
        ("voltage of the design", voltage_text(design.voltage)),
        *operating_facts(assessment),
        ("limit of the supply", voltage_text(supply) if supply else "not given"),
        ("numerical error of the onset", scientific(assessment.onset.error)),
        ("largest contribution to the band", pretty(first.budget.contributions[0].label)),
        ("rigid surface alone", voltage_text(rigid.voltage)),
        (f"field at the {rigid.edge_name} at rigid onset", field_text(rigid.balance_field)),
        ("edge field × gap / voltage", f"{assessment.enhancement:.3g}"),
        (
            "narrowest clearance",
            length_words(design.clearance) if design.clearance > 0.0 else "not given",
        ),
        ("surface tension used", f"{rigid.surface_tension * 1e3:.4g} mN/m"),
        *sector_lines(assessment),
    ]
    if beam is None:
        rows.append(("ion beam", f"none computed: {assessment.why_no_beam}"))
    else:
        rows.append(("lands on the accelerator", percent(beam.intercepted)))
        if beam.left > 0.0:
            rows.append(("95 % of the beam leaves within", f"±{degrees(beam.half_angle_95)}"))
    if classic is not None:
        outside = "" if classic.within else " (outside its range)"
        rows.append(("classic closed form", voltage_text(classic.voltage) + outside))
    return tuple(rows)


def emission_table(assessment: Assessment) -> Table:
    """Every instability that was solved, the lowest first."""
    rows = tuple(
        (
            one.place,
            one.mode,
            voltage_text(one.voltage),
            f"{voltage_text(one.low)} to {voltage_text(one.high)}",
        )
        for one in assessment.emission.instabilities
    )
    return Table(("where", "how", "emits from", "band, k = 2"), rows)
