"""``conegap validate --measured``: predictions beside published measurements."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conegap.validation.measured.comparison import Compared, Comparison

__all__ = ["DEFAULT_FOLDER", "run_measured"]

DEFAULT_FOLDER = "conegap-measured"
"""Where figure and numbers go when no other place is named."""
# Bytes free on the disk that the results may need.
_ROOM = 1_000_000


def run_measured(arguments: argparse.Namespace) -> int:
    """Compute every case, print the table, write figure and numbers; 0 when all were computed.

    A prediction that misses is a result and no failure.

    Parameters
    ----------
    arguments : Namespace
        Of ``conegap validate``.
    """
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text, new_folder
    from conegap.validation.measured.comparison import compare

    talk = Messages.of(arguments)
    target = Path(arguments.to or DEFAULT_FOLDER)
    with new_folder(target, room=_ROOM) as folder:
        with talk.progress() as progress:
            comparison = compare(progress=progress)
        _write(comparison, folder, target)
    if arguments.json:
        sys.stdout.write(json_text(comparison.as_dict()))
    elif not arguments.quiet:
        _print(comparison)
    talk.remark(f"written: {target}")
    return 0


def _write(comparison: Comparison, folder: Path, target: Path) -> None:
    from conegap.solver.common.writing import MARKER, file_system_refusals, json_text
    from conegap.solver.figures.picture import charted, png_of, svg_of
    from conegap.validation.measured.chart import chart_comparison, chart_size

    figure = charted(lambda axes: chart_comparison(axes, comparison), chart_size(comparison))
    with file_system_refusals(target):
        (folder / MARKER).write_text(json_text(comparison.as_dict()), encoding="utf-8")
        (folder / "measured.svg").write_text(svg_of(figure, title="measured"), encoding="utf-8")
        (folder / "measured.png").write_bytes(png_of(figure))


def _print(comparison: Comparison) -> None:
    from conegap.solver.commands.terminal import console, plain_table

    out = console()
    heads = ("measured by", "measured", "predicted band, k = 2", "over predicted", "")
    out.print(plain_table(heads, [_cells(row) for row in comparison.rows]))
    out.print()
    for row in comparison.rows:
        one = row.measured
        out.print(f"{one.name}: {one.source}, {one.read} read. {one.passage} {one.note}".rstrip(),
                  soft_wrap=True)  # fmt: skip
    inside = sum(row.inside for row in comparison.values)
    kept = sum(row.inside for row in comparison.limits)
    out.print(
        f"\n{inside} of {len(comparison.values)} measured values lie inside the predicted band; "
        f"median of measured over predicted {comparison.median_ratio:.2f}; "
        f"{kept} of {len(comparison.limits)} limits are kept.",
        soft_wrap=True,
    )


def _cells(row: Compared) -> tuple[str, ...]:
    one, found = row.measured, row.predicted
    volts = bool(one.design)
    unit = " V" if volts else ""
    digits = "{:.0f}" if volts else "{:.3f}"

    def words(value: float) -> str:
        return digits.format(value)

    if one.bounded:
        measured, result = f"at most {words(one.at_most)}{unit}", "kept" if row.inside else "BROKEN"
    else:
        measured = f"{words(one.low)} to {words(one.high)}{unit}"
        result = "inside" if row.inside else "outside"
    band = f"{words(found.low)} to {words(found.high)}{unit}"
    return one.name, measured, band, f"{row.ratio:.2f}", result
