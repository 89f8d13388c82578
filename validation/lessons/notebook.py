"""A chapter as a Jupyter notebook whose cells are the chapter's own source, executed.

The computation in the notebook is the text of the chapter's module, so that a class sees, and can
change, what the command runs.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import os
from collections.abc import Callable, Sequence
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

from conegap.geometries.quantities.errors import ComputationError, OutputError
from conegap.validation.lessons.classroom import with_tex
from conegap.validation.lessons.course import CHAPTERS
from conegap.validation.lessons.lesson import Lesson
from conegap.validation.lessons.words import numbered_title, unit_words

__all__ = ["executed_notebook", "needs_for_notebooks", "notebook_of"]

# For a cell, [s]; the slowest takes about ten on an idle machine.
_TIME_LIMIT = 600
_FOLDED = (
    "What the solver found is folded below: write your guess and run the cells, then click the bar "
    "beside a folded cell."
)


def needs_for_notebooks() -> None:
    """Refuse where a library for notebooks is missing.

    Raises
    ------
    OutputError
        Says what is missing and how to install it.
    """
    from importlib.util import find_spec

    missing = [name for name in ("nbformat", "nbclient", "ipykernel") if find_spec(name) is None]
    if missing:
        raise OutputError(
            f"--notebook needs {', '.join(missing)}, which is not installed here; install "
            "conegap[notebook], or use --page for a page that needs nothing else"
        )


def notebook_of(
    lesson: Lesson, guess: float | None = None, answers: Sequence[float | None] = ()
) -> Any:
    """The notebook of a chapter, not yet executed.

    Parameters
    ----------
    guess : float or None
        SI.
    answers : sequence of float or None
        SI, in the order of the exercises.

    Returns
    -------
    NotebookNode
        Of nbformat 4.

    Raises
    ------
    OutputError
        A library for notebooks is missing.
    """
    needs_for_notebooks()
    from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

    module = importlib.import_module(f"conegap.validation.lessons.{CHAPTERS[lesson.name]}")
    sketches = [step.sketch for step in lesson.steps]
    draws = [None if sketch is None else sketch.draw.__name__ for sketch in sketches]
    computing = _reached(module, ["compute"])
    question = lesson.question
    unit = question.unit.name or "a number"
    code: Callable[[str], Any] = new_code_cell

    def text(words: str) -> Any:
        return new_markdown_cell(with_tex(words))

    # Folded as notebooks fold source and output until their bars are clicked.
    hidden = {"source_hidden": True, "outputs_hidden": True}
    folded = {"collapsed": True, "jupyter": hidden} if guess is None else {}

    def found(source: str) -> Any:
        return new_code_cell(source, metadata=folded)

    cells = [
        text("\n\n".join([f"# {numbered_title(lesson)}", *lesson.idea])),
        code(
            f"{_imports(module)}\n\nfrom conegap.validation.lessons.classroom import (\n"
            "    check, compare, in_si, show, tell,\n)\n"
            "from conegap.validation.lessons.course import lesson\n\n"
            f'chapter = lesson("{lesson.name}")'
        ),
        text(f"## Guess first\n\n{question.text}\n\n{_FOLDED if folded else ''}".strip()),
        code(f"guess = {_literal(guess, question.unit.size)}  # your guess: {unit}"),
        text(
            "## The computation\n\nThis is the source that the command runs. Change a length or "
            "a metal and run it again."
        ),
        code(_source(module, computing)),
        found("found = compute(in_si(chapter, guess))\ncompare(chapter, guess, found)"),
    ]
    known = set(computing)
    for k, (step, draw) in enumerate(zip(lesson.steps, draws, strict=True)):
        cells.append(text(f"## {step.heading}"))
        cells.append(found(f"tell(chapter.steps[{k}], found)"))
        if draw is not None:
            names = [name for name in _reached(module, [draw]) if name not in known]
            known.update(names)
            shown = f"show(chapter.steps[{k}], {draw}, found)"
            cells.append(found(f"{_source(module, names)}\n\n\n{shown}"))
    for k, exercise in enumerate(lesson.exercises):
        given = answers[k] if k < len(answers) else None
        cells.append(text(f"## Exercise {k + 1}\n\n{exercise.text}"))
        cells.append(
            code(
                f"answer = {_literal(given, exercise.unit.size)}  # {unit_words(exercise)}\n"
                f"check(chapter.exercises[{k}], answer, found)"
            )
        )
    cells.append(text(f"## Change the design\n\n{lesson.task}"))
    lines = "\n".join(f"* {line}" for line in lesson.reading)
    cells.append(text(f"## Sources\n\n{lines}"))
    for number, cell in enumerate(cells):
        cell["id"] = f"{lesson.name}-{number}"
    return new_notebook(
        cells=cells,
        metadata={
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
            "language_info": {"name": "python"},
        },
    )


def executed_notebook(
    lesson: Lesson, guess: float | None = None, answers: Sequence[float | None] = ()
) -> str:
    """The notebook of a chapter with all its outputs, as the text of a file.

    Parameters
    ----------
    guess : float or None
        SI.
    answers : sequence of float or None
        SI.

    Raises
    ------
    OutputError
        A library for notebooks is missing.
    ComputationError
        A cell failed.
    """
    book = notebook_of(lesson, guess, answers)
    import nbformat
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    client = NotebookClient(book, timeout=_TIME_LIMIT, kernel_name="python3")
    manager = client.create_kernel_manager()
    try:
        with TemporaryDirectory(prefix="conegap-") as folder:
            manager.connection_file = os.path.join(folder, "kernel.json")
            if os.name == "posix":
                # Sockets in that folder: nothing listens on the network.
                manager.transport = "ipc"
            client.execute(env={**os.environ, "IPYTHONDIR": folder})
    except CellExecutionError as failure:
        raise ComputationError(
            f"the notebook of lesson '{lesson.name}' did not run through: {failure.ename}: "
            f"{failure.evalue}"
        ) from failure
    except (CellTimeoutError, DeadKernelError) as failure:
        raise ComputationError(
            f"the notebook of lesson '{lesson.name}' did not run through: {failure}"
        ) from failure
    for cell in book.cells:
        # Times of day would make two runs differ.
        cell.metadata.pop("execution", None)
    nbformat.validate(book)
    return str(nbformat.writes(book)) + "\n"


def _literal(value: float | None, size: float) -> str:
    return "None" if value is None else f"{value / size:.6g}"


def _statements(module: ModuleType) -> list[ast.stmt]:
    return ast.parse(inspect.getsource(module)).body


def _name_of(statement: ast.stmt) -> str:
    """Name that a statement at the top of a module gives, "" for others."""
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        return statement.name
    if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
        return statement.targets[0].id
    return ""


def _reached(module: ModuleType, starts: list[str]) -> list[str]:
    """Names of the module that the starts need, in the order of the module, starts included."""
    given = {_name_of(s): s for s in _statements(module) if _name_of(s)}
    found: set[str] = set()
    waiting = list(starts)
    while waiting:
        name = waiting.pop()
        if name in found or name not in given:
            continue
        found.add(name)
        waiting += [node.id for node in ast.walk(given[name]) if isinstance(node, ast.Name)]
    return [name for name in given if name in found]


def _source(module: ModuleType, names: Sequence[str]) -> str:
    """Text of the named statements, constants together and functions apart."""
    whole = inspect.getsource(module)
    parts: list[str] = []
    before: type[ast.stmt] | None = None
    for statement in _statements(module):
        if _name_of(statement) in names:
            text = ast.get_source_segment(whole, statement) or ""
            together = isinstance(statement, ast.Assign) and before is ast.Assign
            parts.append(text if not parts else ("\n" if together else "\n\n\n") + text)
            before = type(statement)
    return "".join(parts)


def _imports(module: ModuleType) -> str:
    """Import statements at the top of a module."""
    whole = inspect.getsource(module)
    return "\n".join(
        ast.get_source_segment(whole, statement) or ""
        for statement in _statements(module)
        if isinstance(statement, ast.Import | ast.ImportFrom)
    )
