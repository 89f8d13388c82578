"""``conegap explore``: a page on which dimensions are moved and onset, band and review follow."""

from __future__ import annotations

import argparse
from pathlib import Path

from conegap.solver.commands.criterion_option import add_criterion

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "write a page with sliders on which onset, band, section and review follow"
EXAMPLES = """\
examples:
  conegap explore needle                     writes needle-explorer.html
  conegap explore my.toml --free emitter.tip_radius="2 um".."6 um" \\
                          --free voltages.emitter="3 kV".."6 kV" --to my.html

The page needs no network and no program but a browser.  One to three quantities may be free; by
default the three toleranced ones with the largest lines of the error budget.  The ranges are solved
at up to 29 points: minutes.  What is set on the page can be saved as a design file.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument(
        "--free",
        metavar="KEY=FROM..TO",
        action="append",
        default=[],
        help="quantity with a slider, and its range; up to three times",
    )
    add_criterion(parser)
    parser.add_argument("--to", metavar="FILE", help="page to write (default: NAME-explorer.html)")
    parser.add_argument("--force", action="store_true", help="replace any file that exists")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.geometries.quantities.errors import OutputError
    from conegap.solver.assessment import assess
    from conegap.solver.commands.draw import design_name
    from conegap.solver.commands.terminal import Messages, console, plain_table
    from conegap.solver.common.display_units import percent, voltage_text
    from conegap.solver.common.writing import file_text, new_files
    from conegap.solver.explorer.explored import SAFETY, explore
    from conegap.solver.explorer.offered import TOLERANCES, ranges_of_budget
    from conegap.solver.explorer.page import MARK, explorer_page
    from conegap.solver.sizing.request import check_free, free_of
    from conegap.solver.studies.design_copy import source_files, source_text, with_found_values

    talk = Messages.of(arguments)
    name = design_name(arguments.design)
    target = Path(arguments.to or f"{name}-explorer.html")
    if target.suffix.lower() not in (".html", ".htm"):
        raise OutputError(f"--to {target}: the page is written as .html; give such a name")
    design = Design.read(arguments.design)
    free = tuple(free_of(design, text) for text in arguments.free)
    words = "The ranges are those asked for."
    text = source_text(arguments.design)

    def ours(place: Path) -> bool:
        return bool(arguments.force) or MARK in file_text(place)

    if free:
        check_free(free)
    with new_files([target], may_replace=ours) as content:
        with talk.progress() as progress:
            drawn = assess(design, scans=False, criterion=arguments.criterion, progress=progress)
            if not free:
                free = ranges_of_budget(design, drawn.budget)
                words = (
                    "Offered are those whose tolerances widen the band most, each by up to "
                    f"{TOLERANCES[0]:g} times its tolerance to either side."
                )
            # Refused before the long solves where the file could not be written.
            values = [(one.key, one.text(one.dimension.value)) for one in free]
            beside = source_files(arguments.design)
            with_found_values(text, values, name="the explored design", folder=beside)
            explored = explore(
                design, free, drawn=drawn, criterion=arguments.criterion, progress=progress
            )
        content.append(
            explorer_page(
                explored,
                text,
                file_name=f"{name}-explored.toml",
                words=words,
                criterion=arguments.criterion,
            )
        )
    for warning in design.warnings:
        talk.remark(f"warning: {warning}")
    if not arguments.quiet:
        rows = [
            (one.key, one.text(one.low), one.text(one.dimension.value), one.text(one.high))
            for one in free
        ]
        out = console()
        out.print(plain_table(("slider", "from", "as drawn", "to"), rows))
        out.print(
            f"first emission as drawn {voltage_text(explored.first)}; within the ranges the page "
            f"is right to {percent(explored.error)} of it, {SAFETY:g} times the largest miss on "
            f"{explored.held_out} solves held out",
            soft_wrap=True,
        )
    talk.remark(f"written: {target}")
    return 0
