"""What conegap says on a terminal: tables on standard output, progress on standard error."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from conegap.solver.scan import Progress

__all__ = ["console", "plain_table", "progress_shown", "remark"]

_WIDTH_OF_A_FILE = 120


def console() -> Console:
    """Standard output, in colour only on a terminal."""
    from rich.console import Console

    class Output(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    terminal = sys.stdout.isatty()
    return Output(
        file=sys.stdout,
        force_terminal=terminal,
        no_color=None if terminal else True,
        width=None if terminal else _WIDTH_OF_A_FILE,
        highlight=False,
        markup=False,
        emoji=False,
    )


def plain_table(heads: Sequence[str], rows: Sequence[Sequence[str]], title: str = "") -> Table:
    """A table with thin lines that also reads well in a file.

    Parameters
    ----------
    heads : sequence of str
        Empty for a table without a head.
    rows : sequence of sequences of str
    title : str
    """
    from rich import box
    from rich.table import Table

    table = Table(
        box=box.SIMPLE_HEAD,
        title=title or None,
        title_justify="left",
        title_style="bold",
        show_header=bool(heads),
        pad_edge=False,
        show_edge=False,
    )
    count = len(heads) or max((len(row) for row in rows), default=0)
    for k in range(count):
        table.add_column(heads[k] if heads else "", overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table


def remark(text: str) -> None:
    """One line on standard error.

    Parameters
    ----------
    text : str
    """
    print(text, file=sys.stderr)


@contextmanager
def progress_shown() -> Iterator[Progress | None]:
    """A progress display on standard error while the block runs; None when it is no terminal.

    Yields
    ------
    callable or None
        Takes (what, steps done, steps in all).
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=Console(file=sys.stderr),
        transient=True,
    )
    tasks: dict[str, object] = {}
    with bar:

        def show(what: str, done: int, total: int) -> None:
            name = what or "done"
            if name not in tasks:
                tasks[name] = bar.add_task(name, total=total)
            bar.update(tasks[name], completed=done, total=total)  # type: ignore[arg-type]

        yield show
