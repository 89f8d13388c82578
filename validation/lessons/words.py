"""Texts about a run that the terminal, the page and the notebook share."""

from __future__ import annotations

from conegap.validation.lessons.course import CHAPTERS, Run
from conegap.validation.lessons.lesson import Comparison, Exercise, Lesson, Table

__all__ = [
    "comparison_sources",
    "comparison_table",
    "difference_text",
    "number_of",
    "numbered_title",
    "unit_words",
]


def number_of(lesson: Lesson) -> int:
    """Place of a chapter in the course, from 1."""
    return list(CHAPTERS).index(lesson.name) + 1


def numbered_title(lesson: Lesson) -> str:
    """The heading of a chapter: "Lesson 3 of 8: The drop in a field ..."."""
    return f"Lesson {number_of(lesson)} of {len(CHAPTERS)}: {lesson.title}"


def unit_words(exercise: Exercise) -> str:
    """What to write: "in kV", or "a number without a unit"."""
    return f"in {exercise.unit.name}" if exercise.unit.name else "a number without a unit"


def difference_text(row: Comparison) -> str:
    """Computed less reference, in percent of the reference: "+1.4 %"."""
    percent = 100.0 * row.difference
    if abs(percent) < 5e-4:
        return "below 0.0005 %"
    return f"{percent:+.2g} %".replace("-", "−") if abs(percent) < 100 else f"{percent:+.0f} %"


def comparison_table(run: Run) -> Table:
    """Guess, computed and reference value of every row, with numbers that point at the sources."""
    guessed = run.guess is not None
    rows = []
    for number, row in enumerate(run.findings.comparisons, start=1):
        guess = row.unit.text(run.guess, 3) if row.asked and run.guess is not None else ""
        stated = f" ± {100.0 * row.error:.1g} %" if row.error == row.error else ""
        rows.append(
            (
                row.quantity,
                *([guess] if guessed else []),
                row.unit.text(row.computed, row.digits) + stated,
                row.unit.text(row.reference, row.digits),
                row.kind,
                difference_text(row),
                f"[{number}]",
            )
        )
    heads = ("computed here", "reference", "which is", "differs by", "source")
    caption = "Computed here and elsewhere; ± is the numerical error that the solver states"
    return Table(caption, ("quantity", *(["your guess"] if guessed else []), *heads), tuple(rows))


def comparison_sources(run: Run) -> tuple[str, ...]:
    """Sources in the order of the rows of `comparison_table`."""
    return tuple(row.source for row in run.findings.comparisons)
