"""What a chapter's notebook calls to show tables, pictures and judgements."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from conegap.validation.lessons.course import Run, picture
from conegap.validation.lessons.equations import tex, with_equations
from conegap.validation.lessons.judging import judge, words_on_guess
from conegap.validation.lessons.lesson import Exercise, Findings, Lesson, Step, Table
from conegap.validation.lessons.words import comparison_sources, comparison_table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["check", "compare", "in_si", "markdown_table", "show", "tell", "with_tex"]

# Of a picture in a notebook, [px].
_SHOWN_WIDTH = 640


def in_si(lesson: Lesson, guess: float | None) -> float | None:
    """A guess in the question's unit as the solver takes it; None stays None.

    Parameters
    ----------
    guess : float or None
        In the question's unit.
    """
    return None if guess is None else guess * lesson.question.unit.size


def with_tex(text: str) -> str:
    """A text with its equations in TeX, between dollars as a notebook takes them."""
    return with_equations(text, str, lambda equation: f"${tex(equation)}$")


def compare(lesson: Lesson, guess: float | None, found: Findings) -> Any:
    """Guess, computed and reference values with their sources, as Markdown.

    Parameters
    ----------
    guess : float or None
        In the question's unit.
    """
    from IPython.display import Markdown

    run = Run(lesson, in_si(lesson, guess), found, 0.0)
    lines = [
        words_on_guess(lesson, run.guess, found),
        "",
        markdown_table(comparison_table(run)),
        "",
    ]
    lines += [f"[{k}] {source}  " for k, source in enumerate(comparison_sources(run), start=1)]
    return Markdown(with_tex("\n".join(lines).strip()))


def tell(step: Step, found: Findings) -> Any:
    """What a step says about the findings, and its table, as Markdown."""
    from IPython.display import Markdown

    parts = list(step.words(found))
    if step.table is not None:
        parts.append(markdown_table(step.table(found)))
    return Markdown(with_tex("\n\n".join(parts)))


def show(step: Step, draw: Callable[[Axes, Findings], object], found: Findings) -> Any:
    """The picture of a step, drawn by the function given, with a text for the blind.

    Parameters
    ----------
    step : Step
        With a sketch.
    draw : callable (Axes, Findings)

    Raises
    ------
    ValueError
        The step has no picture.
    """
    from dataclasses import replace

    from IPython.display import Image

    from conegap.solver.figures.report_figures import png_of

    if step.sketch is None:
        raise ValueError(f"the step '{step.heading}' has no picture")
    drawn = picture(replace(step.sketch, draw=draw), found)
    return Image(data=png_of(drawn.figure), alt=drawn.alt, width=_SHOWN_WIDTH)


def check(exercise: Exercise, answer: float | None, found: Findings) -> Any:
    """Whether an answer is right, or a hint and the solution to unfold, as Markdown.

    Parameters
    ----------
    answer : float or None
        In the unit asked for, [-]; None while there is none.
    """
    from IPython.display import Markdown

    if answer is None:
        return Markdown("*No answer yet.*")
    judgement = judge(exercise, answer * exercise.unit.size, found)
    mark = "✓" if judgement.right else "✗"
    solution = (
        ""
        if judgement.right
        else f"\n\n<details><summary>Solution</summary>\n\n{exercise.solution(found)}\n\n</details>"
    )
    return Markdown(with_tex(f"**{mark}** {judgement.words}{solution}"))


def markdown_table(table: Table) -> str:
    """A table in Markdown, with its caption above."""

    def line(cells: tuple[str, ...]) -> str:
        return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"

    rule = "|" + " --- |" * len(table.heads)
    return "\n".join([f"*{table.caption}*", "", line(table.heads), rule, *map(line, table.rows)])
