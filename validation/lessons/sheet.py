"""The instructor's sheet of a chapter: answers, what is often got wrong, and the time needed."""

from __future__ import annotations

from conegap.validation.lessons.classroom import markdown_table, with_tex
from conegap.validation.lessons.course import Run
from conegap.validation.lessons.lesson import Exercise, Table
from conegap.validation.lessons.words import numbered_title

__all__ = ["instructors_sheet", "minutes_of"]

# Minutes for idea and guess, for a step, an exercise and the task: common practice, no source.
_START = 10
_STEP = 8
_EXERCISE = 6
_TASK = 15


def minutes_of(run: Run) -> int:
    """Time that a class needs for a chapter, [min]."""
    lesson = run.lesson
    return _START + _STEP * len(lesson.steps) + _EXERCISE * len(lesson.exercises) + _TASK


def instructors_sheet(run: Run) -> str:
    """The sheet as Markdown, with equations in TeX.

    Parameters
    ----------
    run : Run
        Every answer is from its findings.
    """
    lesson, found = run.lesson, run.findings
    asked = next(row for row in found.comparisons if row.asked)
    parts = [
        f"# Instructor's sheet. {numbered_title(lesson)}",
        f"About {minutes_of(run)} minutes: {_START} for idea and guess, {_STEP} for a step, "
        f"{_EXERCISE} for an exercise, {_TASK} for the task (common practice, no source).",
        f"## The question\n\n{lesson.question.text}",
        f"The solver finds {asked.unit.text(asked.computed)}. Collect the guesses before anybody "
        "computes, and ask for reasons.",
    ]
    for number, exercise in enumerate(lesson.exercises, start=1):
        parts.append(f"## Exercise {number}\n\n{exercise.text}")
        parts.append(_answer(run, exercise))
    parts.append(f"## Change the design\n\n{lesson.task}")
    return with_tex("\n\n".join(parts)) + "\n"


def _answer(run: Run, exercise: Exercise) -> str:
    found, unit = run.findings, exercise.unit
    answer = exercise.answer(found)
    spread = exercise.tolerance * abs(answer)
    told = (
        f"Answer: {unit.text(answer)}; from {unit.text(answer - spread)} to "
        f"{unit.text(answer + spread)} is right. {exercise.solution(found)}"
    )
    rows = tuple((unit.text(slip.answer(found), 3), slip.hint) for slip in exercise.slips)
    wrong = Table("What is often got wrong", ("answer", "what to say"), rows)
    return f"{told}\n\nHint: {exercise.hint}" + (f"\n\n{markdown_table(wrong)}" if rows else "")
