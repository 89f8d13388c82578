"""``conegap lesson``: a course of short chapters that predict, compute and compare."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from conegap.validation.lessons.course import Run
    from conegap.validation.lessons.lesson import Exercise, Lesson

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "lessons that ask for a guess, compute with the solver and compare"
EXAMPLES = """\
examples:
  conegap lesson                           list the chapters
  conegap lesson sphere                    run one; asks for a guess and for answers
  conegap lesson sphere --guess 200 --answers 6 100 28
  conegap lesson drop --no-questions --solutions
  conegap lesson blade --notebook blade.ipynb --page blade.html
  conegap lesson blade --sheet blade.md    answers, usual mistakes and time, for the instructor

A guess or an answer is a number in the unit asked for; "-" leaves an answer out.  Nothing is asked
where the input is no terminal.  The notebook needs conegap[notebook].
"""
# At an answer, the second after a hint.
_TRIES = 2
# Columns of running text, comfortable to read.
_WIDTH = 92


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "name", metavar="NAME", nargs="?", help="name or number of a chapter; none lists them"
    )
    parser.add_argument("--guess", metavar="NUMBER", help="the guess, in the unit asked for")
    parser.add_argument(
        "--answers", metavar="NUMBER", nargs="+", help="answers to the exercises, in their units"
    )
    parser.add_argument("--no-questions", action="store_true", help="do not ask for anything")
    parser.add_argument("--solutions", action="store_true", help="print the solutions as well")
    parser.add_argument(
        "--to", metavar="FOLDER", help="folder for pictures and numbers (conegap-lesson-NAME)"
    )
    parser.add_argument("--notebook", metavar="FILE", help="write an executed notebook (.ipynb)")
    parser.add_argument("--page", metavar="FILE", help="write a page that stands alone (.html)")
    parser.add_argument("--sheet", metavar="FILE", help="write the instructor's sheet (.md)")
    parser.add_argument("--force", action="store_true", help="replace a file that exists")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.solver.commands.terminal import Messages, console
    from conegap.solver.common.writing import new_files, new_folder
    from conegap.validation.lessons.course import lesson, run_lesson
    from conegap.validation.lessons.judging import guess_from

    talk = Messages.of(arguments)
    if arguments.name is None:
        return _list(arguments)
    chapter = lesson(arguments.name)
    given = _answers(arguments, chapter)
    guess = None if arguments.guess is None else guess_from(arguments.guess, chapter)
    files = _files(arguments)
    in_text = not files
    asks = in_text and not (arguments.no_questions or talk.quiet) and sys.stdin.isatty()
    folder = arguments.to or (f"conegap-lesson-{chapter.name}" if in_text else None)
    out = console(quiet=talk.quiet)
    with ExitStack() as stack:
        content = stack.enter_context(
            new_files(list(files.values()), may_replace=lambda place: bool(arguments.force))
        )
        place = None if folder is None else stack.enter_context(new_folder(folder))
        if in_text:
            _introduce(out, chapter)
            if guess is None and asks:
                guess = _asked_guess(chapter)
        if "notebook" in files:
            from conegap.validation.lessons.notebook import executed_notebook, needs_for_notebooks

            needs_for_notebooks()
        run = None
        with talk.progress() as progress:
            if progress is not None:
                progress("computing", 0, 1)
            if in_text or folder is not None or files.keys() - {"notebook"}:
                run = run_lesson(chapter, guess)
            for kind in files:
                if kind == "notebook":
                    # Its cells compute for themselves.
                    content.append(executed_notebook(chapter, guess, given))
                elif kind == "sheet" and run is not None:
                    from conegap.validation.lessons.sheet import instructors_sheet

                    content.append(instructors_sheet(run))
                elif run is not None:
                    from conegap.validation.lessons.page import lesson_page

                    content.append(lesson_page(run))
        if place is not None and run is not None:
            _write(place, run)
    for written in (*files.values(), *([] if folder is None else [folder])):
        talk.remark(f"written: {written}")
    if in_text and run is not None:
        _show(out, run)
        _exercises(out, run, given, asks=asks and not given, solutions=arguments.solutions)
    return 0


def _list(arguments: argparse.Namespace) -> int:
    from conegap.geometries.quantities.errors import DesignError
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.validation.lessons.course import chapters

    of_a_lesson = ("notebook", "page", "sheet", "guess", "answers")
    if any(getattr(arguments, one) for one in of_a_lesson):
        raise DesignError("name a lesson as well: conegap lesson NAME; `conegap lesson` lists them")
    rows = [
        (str(number), one.name, f"{one.title}: {one.summary}")
        for number, one in enumerate(chapters(), start=1)
    ]
    console(quiet=arguments.quiet).print(plain_table(("", "name", "what it is about"), rows))
    return 0


def _files(arguments: argparse.Namespace) -> dict[str, Path]:
    """Kind and place of every file asked for.

    Raises
    ------
    OutputError
        A name has another ending, or both are the same.
    """
    from conegap.geometries.quantities.errors import OutputError

    found = {}
    for kind, ending in (("notebook", ".ipynb"), ("page", ".html"), ("sheet", ".md")):
        given = getattr(arguments, kind)
        if given is not None:
            if Path(given).suffix.lower() != ending:
                raise OutputError(f"--{kind} {given}: give a name that ends in {ending}")
            found[kind] = Path(given)
    return found


def _answers(arguments: argparse.Namespace, chapter: Lesson) -> tuple[float | None, ...]:
    """Answers given on the command line, in SI, None where one is left out."""
    from conegap.geometries.quantities.errors import DesignError
    from conegap.validation.lessons.judging import number_from

    given = arguments.answers or ()
    if len(given) > len(chapter.exercises):
        raise DesignError(
            f"--answers has {len(given)} numbers, and lesson '{chapter.name}' has "
            f"{len(chapter.exercises)} exercises; give at most as many"
        )
    return tuple(
        None if text == "-" else number_from(text, exercise.unit, f"answer {k}")
        for k, (text, exercise) in enumerate(zip(given, chapter.exercises, strict=False), start=1)
    )


def _say(out: Console, text: str) -> None:
    from conegap.validation.lessons.equations import plain

    out.print(plain(text), width=min(out.width, _WIDTH))


def _plain_rows(rows: tuple[tuple[str, ...], ...]) -> list[list[str]]:
    from conegap.validation.lessons.equations import plain

    return [[plain(cell) for cell in row] for row in rows]


def _heading(out: Console, text: str) -> None:
    out.print()
    out.print(text, style="bold", soft_wrap=True)


def _introduce(out: Console, chapter: Lesson) -> None:
    from conegap.validation.lessons.words import numbered_title

    out.print(numbered_title(chapter), style="bold", soft_wrap=True)
    for paragraph in chapter.idea:
        out.print()
        _say(out, paragraph)
    _heading(out, "Guess first")
    _say(out, chapter.question.text)


def _typed(prompt: str) -> str:
    """A line that a person types, "" at the end of the input."""
    try:
        return input(prompt).strip()
    except EOFError:
        print()
        return ""


def _asked_guess(chapter: Lesson) -> float | None:
    from conegap.geometries.quantities.errors import DesignError
    from conegap.validation.lessons.judging import guess_from

    unit = f" in {chapter.question.unit.name}" if chapter.question.unit.name else ""
    while text := _typed(f"Your guess{unit} (Enter to go on without): "):
        try:
            return guess_from(text, chapter)
        except DesignError as problem:
            print(problem)
    return None


def _show(out: Console, run: Run) -> None:
    """What was found: guess beside computed and reference, and what there is to see in it."""
    from conegap.solver.commands.terminal import plain_table
    from conegap.validation.lessons.judging import words_on_guess
    from conegap.validation.lessons.words import comparison_sources, comparison_table

    table = comparison_table(run)
    _heading(out, "What the solver found")
    words = words_on_guess(run.lesson, run.guess, run.findings)
    if words:
        _say(out, words)
        out.print()
    out.print(plain_table(table.heads, _plain_rows(table.rows)))
    out.print()
    for number, source in enumerate(comparison_sources(run), start=1):
        _say(out, f"[{number}] {source}")
    for step in run.lesson.steps:
        _heading(out, step.heading)
        for paragraph in step.words(run.findings):
            _say(out, paragraph)
        if step.sketch is not None:
            _say(out, f"Picture {step.sketch.name}.png: {step.sketch.caption(run.findings)}")
        if step.table is not None:
            more = step.table(run.findings)
            out.print()
            out.print(plain_table(more.heads, _plain_rows(more.rows), more.caption))


def _exercises(
    out: Console, run: Run, given: tuple[float | None, ...], *, asks: bool, solutions: bool
) -> None:
    from conegap.validation.lessons.judging import judge
    from conegap.validation.lessons.words import unit_words

    right = tried = 0
    for k, exercise in enumerate(run.lesson.exercises):
        _heading(out, f"Exercise {k + 1} ({unit_words(exercise)})")
        _say(out, exercise.text)
        value = given[k] if k < len(given) else None
        if value is not None:
            judgement = judge(exercise, value, run.findings)
            _say(out, f"Your answer {exercise.unit.text(value, 3)}: {judgement.words}")
            tried, right = tried + 1, right + judgement.right
        elif asks:
            answered, won = _asked_answer(out, run, exercise)
            tried, right = tried + answered, right + won
        if solutions:
            _say(out, f"Solution: {exercise.solution(run.findings)}")
    _heading(out, "Change the design")
    _say(out, run.lesson.task)
    if tried:
        out.print(f"\n{right} of {tried} answers right.")


def _asked_answer(out: Console, run: Run, exercise: Exercise) -> tuple[bool, bool]:
    """Ask for an answer, with a second try; whether one was given and whether it was right."""
    from conegap.geometries.quantities.errors import DesignError
    from conegap.validation.lessons.judging import as_judged

    tries = 0
    while tries < _TRIES and (text := _typed("Your answer (Enter to skip): ")):
        try:
            judgement = as_judged(exercise, text, run.findings)
        except DesignError as problem:
            print(problem)
            continue
        _say(out, judgement.words)
        tries += 1
        if judgement.right:
            return True, True
    if tries == _TRIES:
        _say(out, f"Solution: {exercise.solution(run.findings)}")
    return tries > 0, False


def _write(place: Path, run: Run) -> None:
    """Pictures and numbers of a run into a folder."""
    from importlib.metadata import version

    from conegap.solver.common.writing import json_text
    from conegap.solver.figures.report_figures import png_of
    from conegap.validation.lessons.course import pictures
    from conegap.validation.lessons.equations import plain

    for picture in pictures(run):
        (place / f"{picture.name}.png").write_bytes(png_of(picture.figure))
    results = {
        "conegap_version": version("conegap"),
        "lesson": run.lesson.name,
        "guess_SI": run.guess,
        "numbers_SI": dict(run.findings.numbers),
        "comparisons": [
            {
                "quantity": plain(row.quantity),
                "computed_SI": row.computed,
                "reference_SI": row.reference,
                "reference_is": row.kind,
                "printed_in": row.unit.name,
                "source": plain(row.source),
            }
            for row in run.findings.comparisons
        ],
    }
    (place / "results.json").write_text(json_text(results), encoding="utf-8")
