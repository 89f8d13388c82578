"""What conegap says on a terminal: results on standard output, all else on standard error."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

    from rich.console import Console
    from rich.table import Table

    from conegap.solver.common.progress import Progress

__all__ = ["Messages", "console", "plain_table"]

# Columns of a table that goes to a file or a pipe.
_WIDTH_OF_A_FILE = 120


def console(*, quiet: bool = False) -> Console:
    """Standard output, with colour and bold type only on a terminal without NO_COLOR.

    Parameters
    ----------
    quiet : bool
        Print nothing.
    """
    from rich.console import Console

    class Output(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    terminal = sys.stdout.isatty()
    return Output(
        file=sys.stdout,
        force_terminal=terminal,
        color_system="auto" if _in_colour(terminal) else None,
        width=None if terminal else _WIDTH_OF_A_FILE,
        quiet=quiet,
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


@dataclass(frozen=True)
class Messages:
    """What a command says beside its result, on standard error.

    Parameters
    ----------
    quiet : bool
        Nothing but refusals.
    verbose : bool
        Also details, and every step of a computation as a line.
    """

    quiet: bool = False
    verbose: bool = False

    @classmethod
    def of(cls, arguments: argparse.Namespace) -> Messages:
        """As a command line asks for it."""
        return cls(bool(arguments.quiet), bool(arguments.verbose))

    def remark(self, text: str) -> None:
        """One line, unless quiet."""
        if not self.quiet:
            print(text, file=sys.stderr)

    def detail(self, text: str) -> None:
        """One line, when verbose."""
        if self.verbose:
            print(text, file=sys.stderr)

    @contextmanager
    def progress(self) -> Iterator[Progress | None]:
        """A progress display while the block runs: lines when verbose, a bar on a terminal.

        Yields
        ------
        callable or None
            Takes (what, steps done, steps in all).
        """
        if self.verbose:
            yield self._lines()
        elif self.quiet or not sys.stderr.isatty():
            yield None
        else:
            with _bar() as show:
                yield show

    def _lines(self) -> Progress:
        from time import monotonic

        start = monotonic()

        def show(what: str, done: int, total: int) -> None:
            self.detail(f"{monotonic() - start:7.1f} s  {what or 'done'}: {done} of {total}")

        return show


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=Console(file=sys.stderr, color_system="auto" if _in_colour(True) else None),
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


def _in_colour(terminal: bool) -> bool:
    """Only on a terminal, and not where NO_COLOR is set (no-color.org)."""
    return terminal and not os.environ.get("NO_COLOR")
