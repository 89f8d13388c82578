"""The chapters in their order, a run of one, and its pictures."""

from __future__ import annotations

import difflib
import importlib
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from conegap.geometries.quantities.errors import DesignError
from conegap.validation.lessons.lesson import Findings, Lesson, Sketch

if TYPE_CHECKING:
    from conegap.solver.figures.report_figures import Picture

__all__ = ["CHAPTERS", "Run", "chapters", "lesson", "picture", "pictures", "run_lesson"]

CHAPTERS = {
    "sphere": "sphere",
    "angle": "angle",
    "drop": "drop",
    "charge": "charge",
    "needle": "needle",
    "blade": "blade",
    "metal": "metals",
    "formulas": "formulas",
    "tolerance": "tolerance",
    "wetting": "wetting",
    "crown": "crown",
    "beam": "beam",
}
"""Name of a chapter and of its module."""

# Of a picture, as in the reports, [in].
_WIDTH = 4.6


@dataclass(frozen=True)
class Run:
    """A chapter that has been computed.

    Parameters
    ----------
    guess : float or None
        SI.
    seconds : float
        Time of the computation, [s].
    """

    lesson: Lesson
    guess: float | None
    findings: Findings
    seconds: float


def lesson(name: str) -> Lesson:
    """A chapter by its name or its number.

    Parameters
    ----------
    name : str
        "sphere", or "1".

    Raises
    ------
    DesignError
        There is no such chapter; the message offers the nearest.
    """
    wanted = name.strip().casefold()
    names = list(CHAPTERS)
    if wanted.isdecimal() and 1 <= int(wanted) <= len(names):
        wanted = names[int(wanted) - 1]
    if wanted not in CHAPTERS:
        near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
        offered = f", did you mean '{near[0]}'?" if near else ""
        raise DesignError(
            f"there is no lesson '{name}'{offered}; the lessons are {', '.join(names)}"
        )
    module = importlib.import_module(f"conegap.validation.lessons.{CHAPTERS[wanted]}")
    found: Lesson = module.LESSON
    return found


def chapters() -> tuple[Lesson, ...]:
    """Every chapter, in order."""
    return tuple(lesson(name) for name in CHAPTERS)


def run_lesson(chapter: Lesson, guess: float | None = None) -> Run:
    """Compute a chapter.

    Parameters
    ----------
    guess : float or None
        SI.

    Raises
    ------
    ComputationError
        The solver did not converge.
    """
    started = time.perf_counter()
    findings = chapter.compute(guess)
    return Run(chapter, guess, findings, time.perf_counter() - started)


def picture(sketch: Sketch, findings: Findings) -> Picture:
    """A sketch drawn, with its words."""
    from conegap.solver.figures.report_figures import Picture, charted

    figure = charted(lambda axes: sketch.draw(axes, findings), (_WIDTH, sketch.height))
    return Picture(sketch.name, sketch.caption(findings), sketch.alt(findings), figure)


def pictures(run: Run) -> tuple[Picture, ...]:
    """Every picture of a chapter, in order."""
    sketches = [step.sketch for step in run.lesson.steps if step.sketch is not None]
    return tuple(picture(sketch, run.findings) for sketch in sketches)
