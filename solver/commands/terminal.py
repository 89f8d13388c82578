"""What conegap says on a terminal: results on standard output, all else on standard error."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING

from conegap.solver.commands.stage_clock import StageClock

if TYPE_CHECKING:
    import argparse

    from rich.console import Console
    from rich.table import Table

    from conegap.solver.common.progress import Progress

__all__ = ["Messages", "console", "plain_table", "progress_lines"]

# Columns of a table that goes to a file or a pipe.
_WIDTH_OF_A_FILE = 120
# Between two lines where there is no terminal, [s]: long enough for a short command to say nothing.
_NOW_AND_THEN = 20.0


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
        """A progress display while the block runs: a bar on a terminal, else a line now and then.

        Every step is a line when verbose.

        Yields
        ------
        callable or None
            Takes (what, steps done, steps in all, 0 where the end is open).
        """
        if self.quiet:
            yield None
        elif self.verbose:
            yield progress_lines(0.0)
        elif not sys.stderr.isatty():
            yield progress_lines(_NOW_AND_THEN)
        else:
            with _bar() as show:
                yield show


def progress_lines(pause: float, now: Callable[[], float] = monotonic) -> Progress:
    """Progress as lines on standard error.

    Parameters
    ----------
    pause : float
        At least so long between two lines and before the first one, [s].
    now : callable
        Gives the time, [s].
    """
    clock, start = StageClock(now), now()
    last = start

    def show(what: str, done: int, total: int) -> None:
        nonlocal last
        step, time = clock.step(what, done, total), now()
        if time - last >= pause:
            last = time
            print(f"{time - start:7.1f} s  {step.words}", file=sys.stderr)

    return show


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.fields[count]}"),
        TimeElapsedColumn(),
        TextColumn("{task.fields[rest]}"),
        console=Console(file=sys.stderr, color_system="auto" if _in_colour(True) else None),
        transient=True,
    )
    clock, tasks = StageClock(monotonic), dict[str, TaskID]()
    with bar:

        def show(what: str, done: int, total: int) -> None:
            step = clock.step(what, done, total)
            if step.stage not in tasks:
                tasks[step.stage] = bar.add_task(step.stage, total=None, count="", rest="")
            detail = f": {step.detail}" if step.detail else ""
            bar.update(
                tasks[step.stage],
                description=step.stage + detail,
                completed=step.done,
                total=step.total,
                count=step.count,
                rest=step.rest,
            )

        yield show


def _in_colour(terminal: bool) -> bool:
    """Only on a terminal, and not where NO_COLOR is set (no-color.org)."""
    return terminal and not os.environ.get("NO_COLOR")
