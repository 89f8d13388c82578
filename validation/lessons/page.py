"""A chapter as one HTML page that needs nothing else."""

from __future__ import annotations

import base64
import html
import json
import re
from dataclasses import replace
from importlib.metadata import version
from typing import Any

from markupsafe import Markup

from conegap.validation.lessons.course import CHAPTERS, Run, picture
from conegap.validation.lessons.equations import mathml, with_equations
from conegap.validation.lessons.judging import words_on_guess
from conegap.validation.lessons.lesson import Exercise, Findings, Table
from conegap.validation.lessons.words import (
    comparison_sources,
    comparison_table,
    numbered_title,
    unit_words,
)

__all__ = ["lesson_page"]


def _prose(text: str) -> Markup:
    """A paragraph: equations as MathML, commands in backticks set as code."""
    return Markup(with_equations(text, _words, mathml))


def _words(text: str) -> str:
    """Words between equations; a number is not torn from its unit."""
    safe = html.escape(text, quote=False)
    safe = re.sub(r"`([^`]+)`", r"<code>\1</code>", safe)
    return re.sub(r"(?<=\d) (?=[%µkMVNp])", "\u00a0", safe)


def _set(table: Table) -> Table:
    """A table with the equations of its cells set."""
    return replace(table, rows=tuple(tuple(map(_prose, row)) for row in table.rows))


def lesson_page(run: Run) -> str:
    """The page of a chapter: pictures inside, answers checked by a few lines of script.

    What the solver found is folded until there is a guess, a solution until there is an answer.
    Answers stand in the page obscured, which keeps them from a glance and from nobody who wants to
    know.  Without the script everything can be unfolded; on paper a line is left for an answer.
    """
    from conegap.solver.common.style import COLOURS
    from conegap.solver.report.page import inlined, templates

    environment = templates("conegap.validation.lessons")
    environment.filters["prose"] = _prose
    found, lesson = run.findings, run.lesson
    steps = []
    for step in lesson.steps:
        drawn = None if step.sketch is None else picture(step.sketch, found)
        steps.append(
            {
                "heading": step.heading,
                "words": step.words(found),
                "figure": None if drawn is None else Markup(inlined(drawn)),
                "caption": "" if drawn is None else drawn.caption,
                "table": None if step.table is None else _set(step.table(found)),
            }
        )
    asked = next(row for row in found.comparisons if row.asked)
    size = lesson.question.unit.size
    return environment.get_template("lesson.html").render(
        lesson=lesson,
        title=numbered_title(lesson),
        count=len(CHAPTERS),
        version=version("conegap"),
        colours=COLOURS,
        steps=steps,
        comparison=_set(comparison_table(run)),
        sources=comparison_sources(run),
        guess="" if run.guess is None else f"{run.guess / size:g}",
        guess_words=words_on_guess(lesson, run.guess, found),
        question_data=_obscured(
            {
                "value": asked.computed / size,
                "text": asked.unit.text(asked.computed),
                "unit": lesson.question.unit.name,
                "low": float(f"{lesson.question.low / size:.6g}"),
                "high": float(f"{lesson.question.high / size:.6g}"),
            }
        ),
        exercises=[
            {
                "text": exercise.text,
                "unit": exercise.unit.name,
                "unit_words": unit_words(exercise),
                "hint": exercise.hint,
                "solution": exercise.solution(found),
                "data": _obscured(_checks(exercise, found)),
            }
            for exercise in lesson.exercises
        ],
        seconds=f"{run.seconds:.1f}",
    )


def _checks(exercise: Exercise, found: Findings) -> dict[str, Any]:
    """What the page's script needs to judge an answer, in the unit asked for."""
    size = exercise.unit.size
    return {
        "answer": exercise.answer(found) / size,
        "tolerance": exercise.tolerance,
        "hint": _prose(exercise.hint),
        "slips": [
            {"answer": slip.answer(found) / size, "hint": _prose(slip.hint)}
            for slip in exercise.slips
        ],
    }


def _obscured(data: dict[str, Any]) -> str:
    """JSON for an attribute, in base 64 so that it cannot be read at a glance."""
    return base64.b64encode(json.dumps(data, allow_nan=False).encode()).decode()
