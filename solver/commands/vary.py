"""``conegap vary``: onset over one or two quantities, as a table, a chart and a CSV file."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from conegap.solver.studies.vary import Variation

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

# Bytes free on the disk that the results may need.
_ROOM = 2_000_000

SUMMARY = "compute the onset over a range of one or two quantities"
EXAMPLES = """\
examples:
  conegap vary needle --over accelerator.gap="0.5 mm".."2 mm":7
  conegap vary my.toml --over emitter.tip_radius="2 um".."8 um":5 \\
                       --over accelerator.gap="0.5 mm".."2 mm":5 --to gap_and_radius
  conegap vary needle --over accelerator.gap="0.5 mm".."2 mm":7 --json > gap.json

Where the onset is the turning point of a free surface, it is followed to every point, about a
second each; --criterion rigid holds the surface as drawn, which is quicker.
A range is KEY=FROM..TO:N with a key of the design file; the N points lie at equal distances.
The folder holds vary.csv (with a row of units), vary.svg, vary.png and results.json.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument(
        "--over",
        metavar="KEY=FROM..TO:N",
        action="append",
        required=True,
        help="quantity and range; give it twice for a grid",
    )
    add_criterion(parser)
    parser.add_argument(
        "--to", metavar="FOLDER", help="folder to write (default: conegap-vary-NAME)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the table"
    )
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.solver.commands.draw import design_name
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text, new_folder
    from conegap.solver.studies.vary import check_ranges, range_of, vary

    talk = Messages.of(arguments)
    target = Path(arguments.to or f"conegap-vary-{design_name(arguments.design)}")
    design = Design.read(arguments.design)
    ranges = tuple(range_of(design, text) for text in arguments.over)
    check_ranges(ranges)
    with new_folder(target, room=_ROOM) as folder:
        with talk.progress() as progress:
            variation = vary(design, ranges, criterion=arguments.criterion, progress=progress)
        _write(variation, folder, target)
    for warning in (*design.warnings, *variation.remarks):
        talk.remark(f"warning: {warning}")
    if arguments.json:
        sys.stdout.write(json_text(variation.as_dict()))
    elif not arguments.quiet:
        _print(variation)
    talk.remark(f"written: {target}")
    return 0


def _write(variation: Variation, folder: Path, target: Path) -> None:
    from conegap.solver.common.writing import MARKER, file_system_refusals, json_text
    from conegap.solver.figures.report_figures import charted, png_of, svg_of
    from conegap.solver.figures.vary import chart_variation
    from conegap.solver.studies.vary import csv_text

    size = (4.6, 3.6) if len(variation.ranges) == 1 else (4.8, 4.0)
    figure = charted(lambda axes: chart_variation(axes, variation), size)
    with file_system_refusals(target):
        (folder / MARKER).write_text(json_text(variation.as_dict()), encoding="utf-8")
        (folder / "vary.csv").write_text(csv_text(variation), encoding="utf-8")
        (folder / "vary.svg").write_text(svg_of(figure, title="vary"), encoding="utf-8")
        (folder / "vary.png").write_bytes(png_of(figure))


def _print(variation: Variation) -> None:
    import numpy as np

    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import axis_unit, voltage_text

    def words(k: int, value: float) -> str:
        dimension = variation.ranges[k].dimension
        unit = axis_unit(dimension.kind, 0.0, dimension.unit)
        return f"{(value - unit.offset) / unit.size:.4g} {dimension.unit}"

    voltages = variation.voltages
    out = console()
    first = variation.ranges[0]
    if len(variation.ranges) == 1:
        rows = [
            (words(0, value), "none" if np.isnan(voltage) else voltage_text(voltage))
            for value, voltage in zip(first.values.tolist(), voltages.tolist(), strict=True)
        ]
        out.print(plain_table((first.key, f"onset, {variation.mode}"), rows))
    else:
        second = variation.ranges[1]
        heads = (first.key, *(words(1, value) for value in second.values.tolist()))
        rows_of_grid = [
            (words(0, value), *("none" if np.isnan(v) else voltage_text(v) for v in line))
            for value, line in zip(first.values.tolist(), voltages.tolist(), strict=True)
        ]
        title = f"onset, {variation.mode}; across: {second.key}"
        out.print(plain_table(heads, rows_of_grid, title))
    for values, onset in zip(variation.points, variation.onsets, strict=True):
        if isinstance(onset, str):
            where = ", ".join(words(k, value) for k, value in enumerate(values))
            out.print(f"no onset at {where}: {onset}", soft_wrap=True)
