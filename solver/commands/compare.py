"""``conegap compare``: designs or report folders side by side."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from rich.console import Console

    from conegap.solver.common.progress import Progress
    from conegap.solver.comparison.comparison import Comparison
    from conegap.solver.comparison.revision import Revision
    from conegap.solver.comparison.shares import Shares

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

# Bytes free on the disk that the results may need.
_ROOM = 4_000_000
# Of a number of the operating point; less is not worth a line.
_LEAST_CHANGE = 1e-3

SUMMARY = "compare revisions: what changed in the drawing, what it did, and which change did it"
EXAMPLES = """\
examples:
  conegap compare rev_b.toml rev_c.toml             writes conegap-compare-rev_b-rev_c
  conegap compare conegap-report-rev_b rev_c.toml   a report folder is read, not solved
  conegap compare reports/b reports/c --quick       two reports, no solve at all
  conegap compare b.toml c.toml d.toml --json       up to six; all compared with the first

Every changed entry is set alone into the first revision and solved, then all together, so that the
interaction and the rest show; --quick leaves that out.  The folder holds results.json, sections and
voltages as SVG and PNG.  Exit code 1: a criterion that the first passes fails in another; one that
another no longer proves is named, with exit code 0.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "designs",
        metavar="DESIGN",
        nargs="+",
        help="two or more design files, shipped examples or report folders",
    )
    parser.add_argument(
        "--quick", action="store_true", help="leave out the solves for the share of each change"
    )
    add_criterion(parser, "of the designs that are solved: as for conegap onset")
    parser.add_argument(
        "--to", metavar="FOLDER", help="folder to write (default: conegap-compare-A-B)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the tables"
    )
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.quantities.errors import DesignError
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text, new_folder
    from conegap.solver.comparison.comparison import MOST_REVISIONS, compare

    talk = Messages.of(arguments)
    given = arguments.designs
    if not 2 <= len(given) <= MOST_REVISIONS:
        raise DesignError(
            f"compare is given {len(given)} design{'s' if len(given) > 1 else ''}; give two to "
            f"{MOST_REVISIONS} designs or report folders"
        )
    names = distinct_names(given)
    target = Path(arguments.to or f"conegap-compare-{'-'.join(names).replace('/', '_')}")
    read = [_read(one, name) for one, name in zip(given, names, strict=True)]
    with new_folder(target, room=_ROOM) as folder:
        with talk.progress() as progress:
            revisions = _solved(given, names, read, arguments.criterion, progress)
            comparison = compare(revisions, shares=not arguments.quick, progress=progress)
        _write(comparison, folder, target)
    for warning in comparison.warnings:
        talk.remark(f"warning: {warning}")
    if arguments.json:
        sys.stdout.write(json_text(comparison.as_dict()))
    elif not arguments.quiet:
        _print(comparison)
    talk.remark(f"written: {target}")
    return 1 if comparison.broken else 0


def distinct_names(given: Sequence[str]) -> list[str]:
    """Short names of designs and folders, no two alike.

    Parameters
    ----------
    given : sequence of str
        What stands on the command line.
    """
    short = [_short(Path(one)) for one in given]
    counts = Counter(short)
    longer = [
        f"{Path(one).resolve().parent.name}/{name}" if counts[name] > 1 else name
        for one, name in zip(given, short, strict=True)
    ]
    turns: Counter[str] = Counter()
    found = []
    for name in longer:
        turns[name] += 1
        found.append(f"{name} ({turns[name]})" if turns[name] > 1 else name)
    return found


def _short(place: Path) -> str:
    name = place.name if place.is_dir() else place.stem
    return name.removeprefix("conegap-report-") or "design"


def _read(given: str, name: str) -> Revision | None:
    """A report folder; a design is only checked here, before anything is solved."""
    from conegap.geometries.design.design import Design
    from conegap.solver.comparison.revision import read_revision

    if Path(given).is_dir():
        return read_revision(Path(given), name)
    Design.read(given)
    return None


def _solved(
    given: Sequence[str],
    names: Sequence[str],
    read: Sequence[Revision | None],
    criterion: str,
    progress: Progress | None,
) -> list[Revision]:
    from conegap.geometries.design.design import Design
    from conegap.solver.comparison.revision import solved_revision

    found = []
    for one, name, revision in zip(given, names, read, strict=True):
        if revision is None:
            revision = solved_revision(
                Design.read(one),
                name,
                criterion=criterion,  # type: ignore[arg-type]
                progress=progress,
            )
        found.append(revision)
    return found


def _write(comparison: Comparison, folder: Path, target: Path) -> None:
    from conegap.solver.common.writing import MARKER, file_system_refusals, json_text
    from conegap.solver.figures.picture import WIDTH, charted, png_of, svg_of
    from conegap.solver.figures.revisions import (
        chart_first_emissions,
        first_emissions_height,
        sections_figure,
    )

    revisions = comparison.revisions
    figures = {
        "voltages": charted(
            lambda axes: chart_first_emissions(axes, revisions),
            (WIDTH, first_emissions_height(revisions)),
        ),
        "sections": sections_figure(revisions),
    }
    with file_system_refusals(target):
        (folder / MARKER).write_text(json_text(comparison.as_dict()), encoding="utf-8")
        for name, figure in figures.items():
            if figure is not None:
                title = f"{name} of {', '.join(one.name for one in revisions)}"
                (folder / f"{name}.svg").write_text(svg_of(figure, title=title), encoding="utf-8")
                (folder / f"{name}.png").write_bytes(png_of(figure))


def _print(comparison: Comparison) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import voltage_text

    out = console()
    revisions = comparison.revisions
    heads = ("", *(one.name for one in revisions))
    for line in _headlines(comparison):
        out.print(line, soft_wrap=True)
    out.print()
    firsts = [one.first_emission for one in revisions]
    bands = [
        f"{voltage_text(one['voltage_low_V'])} to {voltage_text(one['voltage_high_V'])}"
        for one in firsts
    ]
    rows = [
        ("first emission", *(voltage_text(one.voltage) for one in revisions)),
        ("band (k = 2, about 95 %)", *bands),
        ("where", *(str(one["place"]) for one in firsts)),
        ("how the surface gives way", *(str(one["mode"]) for one in firsts)),
    ]
    out.print(plain_table(heads, rows))
    out.print()
    changed = [
        (
            change.key + (" (follows)" if change.follows else ""),
            *("not given" if one is None else one.words for one in change.entries),
        )
        for change in comparison.changes
    ]
    if changed:
        out.print(plain_table(("changed in the drawing", *heads[1:]), changed))
    else:
        out.print("Nothing changed in the drawing.")
    for one, shares in zip(revisions[1:], comparison.shares, strict=False):
        out.print()
        _print_shares(out, revisions[0].name, one.name, shares)
    out.print()
    _print_effects(out, comparison, heads)


def _headlines(comparison: Comparison) -> list[str]:
    from conegap.solver.common.display_units import percent, voltage_text

    first = comparison.revisions[0]
    lines = []
    for one in comparison.revisions[1:]:
        change = one.voltage - first.voltage
        side = "above" if change > 0.0 else "below"
        lines.append(
            f"{one.name} first emits at {voltage_text(one.voltage)}, {voltage_text(abs(change))} "
            f"({percent(abs(change) / first.voltage)}) {side} {first.name}."
            if change
            else f"{one.name} first emits at {voltage_text(one.voltage)}, as {first.name} does."
        )
    for criterion, name in comparison.broken:
        lines.append(f"{name} fails a criterion that {first.name} passes: {criterion}.")
    for criterion, name in comparison.left_open:
        lines.append(f"{name} does not prove a criterion that {first.name} passes: {criterion}.")
    return lines


def _print_shares(out: Console, first: str, other: str, shares: Shares) -> None:
    from conegap.solver.commands.terminal import plain_table
    from conegap.solver.comparison.words import signed_voltage

    title = f"from {first} to {other}: which change did it"
    if shares.refusal:
        out.print(f"{title}: not told apart. {shares.refusal}", soft_wrap=True)
        return

    def line(name: str, value: float | None, how: str = "") -> tuple[str, str, str, str]:
        if value is None:
            return name, how, "not solved", ""
        return name, how, signed_voltage(value), f"{100.0 * value / shares.before:+.2f} %"

    rows = [line(one.key, one.shift, f"{one.before} to {one.after}") for one in shares.single]
    if len(shares.single) > 1 and shares.interaction is not None:
        rows.append(line("interaction of the changes", shares.interaction))
    rows.append(line("rest", shares.rest))
    rows.append(line("difference of the first emissions", shares.total))
    out.print(plain_table(("change, each alone", "", "moves it by", ""), rows, title))
    for one in shares.single:
        if one.remark:
            out.print(f"{one.key}: {one.remark}", soft_wrap=True)
    out.print(
        "The rest is another place or mode, what was not solved, and the numerical error of "
        f"both, {signed_voltage(shares.error).removeprefix('+')}.",
        soft_wrap=True,
    )


def _print_effects(out: Console, comparison: Comparison, heads: Sequence[str]) -> None:
    from conegap.solver.commands.terminal import plain_table
    from conegap.solver.comparison.words import number_words, value_text

    rows, same = [], 0
    for criterion in comparison.criteria:
        states = [criterion.state(k) for k in range(len(criterion.rows))]
        if len(set(states)) == 1 and criterion.state(0) == "pass":
            same += 1
            continue
        cells = [
            "none"
            if row is None
            else f"{value_text(row['value'], criterion.unit)}, limit "
            f"{value_text(row['limit'], criterion.unit)}: {str(row['state']).upper()}"
            if row["state"] == "fail"
            else f"{value_text(row['value'], criterion.unit)}: {row['state']}"
            for row in criterion.rows
        ]
        rows.append((criterion.name, *cells))
    if rows:
        out.print(plain_table(("criterion", *heads[1:]), rows))
    out.print(f"{same} criteria pass in all.")
    numbers = []
    for one in comparison.operation:
        known = [value for value in one.values if value is not None]
        # Parts of a number, such as its errors and ends, stand in the file alone.
        if (
            "." in one.key
            or one.key.endswith(("_low_A", "_high_A"))
            or (
                len(known) == len(one.values)
                and max(known) - min(known) <= _LEAST_CHANGE * max(map(abs, known))
            )
        ):
            continue
        label, unit = number_words(one.key)
        numbers.append((label, *(value_text(value, unit) for value in one.values)))
    if numbers:
        out.print()
        out.print(plain_table(("operation", *heads[1:]), numbers))
