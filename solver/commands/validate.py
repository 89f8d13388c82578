"""``conegap validate``: exact and published cases, computed live."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from conegap.geometries.quantities.errors import DesignError
from conegap.solver.commands.validate_measured import DEFAULT_FOLDER, run_measured

if TYPE_CHECKING:
    from rich.table import Table

    from conegap.validation.cases.row import Row

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "compute the validation table live and compare it with exact and published values"
EXAMPLES = """\
examples:
  conegap validate            every case
  conegap validate --quick    without the slow ones
  conegap validate --json     the rows for a script
  conegap validate --measured --to measured   beside published measurements, with a figure
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--quick", action="store_true", help="leave out the slow cases")
    parser.add_argument(
        "--json", action="store_true", help="print the rows as JSON in place of the table"
    )
    parser.add_argument(
        "--measured",
        action="store_true",
        help="set predictions beside published measurements instead",
    )
    parser.add_argument(
        "--to",
        metavar="FOLDER",
        help=f"with --measured: folder to write (default: {DEFAULT_FOLDER})",
    )
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    if arguments.measured:
        return run_measured(arguments)
    if arguments.to:
        raise DesignError("--to goes with --measured: the table of exact values writes no files")
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text
    from conegap.validation.cases.table import run_validation

    talk = Messages.of(arguments)
    with talk.progress() as progress:
        rows = run_validation(include_slow=not arguments.quick, progress=progress)
    failed = [row for row in rows if row.failed]
    passed = sum(row.passed for row in rows)
    if arguments.json:
        sys.stdout.write(json_text(_results(rows)))
    elif not arguments.quiet:
        _print(rows)
    return 1 if failed or not passed else 0


def _results(rows: Sequence[Row]) -> dict[str, Any]:
    """The table for a script; a number that could not be had is null."""

    def number(value: float) -> float | None:
        return float(value) if math.isfinite(value) else None

    return {
        "conegap_version": version("conegap"),
        "rows": [
            {
                "name": row.name,
                "source": row.source,
                "quantity": row.quantity,
                "kind": row.kind,
                "exact": number(row.exact),
                "computed": number(row.computed),
                "error": number(row.error),
                "tolerance": number(row.tolerance),
                "ran": row.ran,
                "passed": row.passed,
                "note": row.note,
            }
            for row in rows
        ],
    }


def _print(rows: Sequence[Row]) -> None:
    from conegap.solver.commands.terminal import console

    out = console()
    out.print(_line(_HEADS, "bold", out.width))
    heading = ""
    for row in rows:
        above = f"{row.name}  ({row.source})" if row.source else row.name
        if above != heading:
            out.print(f"\n{above}", style="bold", soft_wrap=True)
            heading = above
        out.print(_line(_cells(row), "" if row.passed else "bold red", out.width))
    out.print()
    failed = [row for row in rows if row.failed]
    for row in rows:
        if row.failed or not row.ran:
            out.print(
                f"{row.name}, {row.quantity}: {row.note or 'outside its tolerance'}", soft_wrap=True
            )
    missed = sum(not row.ran for row in rows)
    passed = sum(row.passed for row in rows)
    words = f"{passed} of {len(rows)} rows pass, {len(failed)} fail"
    out.print(f"\n{words}{f', {missed} could not be run here' if missed else ''}.")


_HEADS = ("quantity", "exact", "computed", "error", "allowed", "result")
# Columns for exact, computed, error, tolerance and result.
_WIDTHS = (15, 15, 9, 9, 7)


def _line(cells: tuple[str, ...], style: str, width: int) -> Table:
    """One line of the table; the columns stand below each other on every line."""
    from rich.table import Table

    line = Table.grid(padding=(0, 1))
    for column in (max(24, min(48, width - sum(_WIDTHS) - 6)), *_WIDTHS):
        line.add_column(width=column, overflow="fold")
    line.add_row(*cells, style=style)
    return line


def _cells(row: Row) -> tuple[str, ...]:
    """Texts of one row under the heads."""
    sign = {"at least": "≥ ", "at most": "≤ "}.get(row.kind, "")
    result = "pass" if row.passed else ("FAIL" if row.ran else "not run")
    return (
        "  " + row.quantity,
        sign + _number(row.exact),
        _number(row.computed),
        _number(row.error, 2),
        _number(row.tolerance, 2),
        result,
    )


def _number(value: float, digits: int = 7) -> str:
    return "" if value != value else f"{value:.{digits}g}"
