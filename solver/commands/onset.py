"""``conegap onset``: the main job, from a design to its report folder."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from conegap.solver.assessment import Assessment

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "compute the onset with its band, review the gap and write a report folder"
EXAMPLES = """\
examples:
  conegap onset needle                      writes conegap-report-needle
  conegap onset my.toml --to review_3       another folder
  conegap onset my.toml --accuracy 1e-4     smaller numerical error
  conegap onset my.toml --quick --json      no scans; the results as JSON on the terminal
  conegap onset my.toml --compare-metals    also the other metals in the same gap
  conegap onset my.toml --criterion rigid   quickest: hold the liquid surface as drawn
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument(
        "--to", metavar="FOLDER", help="folder to write (default: conegap-report-NAME)"
    )
    parser.add_argument(
        "--accuracy",
        metavar="NUMBER",
        default="1e-3",
        help="relative numerical error wanted in the edge field (default: 1e-3)",
    )
    parser.add_argument(
        "--quick", action="store_true", help="leave out the scans over gap and edge radius"
    )
    add_criterion(
        parser,
        "automatic: follow the free liquid surface where there is one; rigid: hold it as "
        "drawn; meniscus: follow it or refuse",
    )
    parser.add_argument(
        "--compare-metals",
        action="store_true",
        help="also print every metal of the library in this gap, from the same field solve",
    )
    parser.add_argument(
        "--xdmf", action="store_true", help="write the field as field.xdmf too, beside field.vtu"
    )
    parser.add_argument(
        "--revolved",
        action="store_true",
        help="write the field turned about the axis too, as field_revolved.vtu",
    )
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the table"
    )
    parser.set_defaults(run=_run)


def accuracy_of(text: str) -> float:
    """The accuracy of a command line.

    Parameters
    ----------
    text : str

    Raises
    ------
    DesignError
        It is no number between 1e-6 and 0.1.
    """
    from conegap.geometries.quantities.errors import DesignError

    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 1e-6 <= value <= 0.1:
        raise DesignError(
            f"--accuracy {text}: the accuracy is a relative error between 1e-6 and 0.1, such as "
            "1e-3; give such a number"
        )
    return value


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.geometries.quantities.errors import DesignError
    from conegap.solver.commands.draw import design_name
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text, new_folder

    talk = Messages.of(arguments)
    accuracy = accuracy_of(arguments.accuracy)
    target = Path(arguments.to or f"conegap-report-{design_name(arguments.design)}")
    design = Design.read(arguments.design)
    if arguments.revolved and design.emitter.symmetry != "axisymmetric":
        raise DesignError(
            "--revolved: the section of this design is extruded and has no axis to be turned "
            "about; leave the option out"
        )
    for warning in design.warnings:
        talk.remark(f"warning: {warning}")
    with new_folder(target) as folder:
        from conegap.solver.assessment import assess

        with talk.progress() as progress:
            assessment = assess(
                design,
                accuracy=accuracy,
                scans=not arguments.quick,
                criterion=arguments.criterion,
                progress=progress,
            )
            if progress is not None:
                progress("report", 0, 1)
            _write(assessment, folder, target, xdmf=arguments.xdmf, revolved=arguments.revolved)
    for warning in assessment.warnings:
        if warning not in design.warnings:
            talk.remark(f"warning: {warning}")
    if arguments.json:
        sys.stdout.write(json_text(assessment.as_dict()))
    elif not arguments.quiet:
        _print(assessment)
        if arguments.compare_metals:
            _print_metals(assessment)
    talk.detail(
        f"{assessment.solution.cells} control volumes, {assessment.solution.seconds:.1f} s for the "
        f"field; inputs {design.sha256}"
    )
    talk.remark(f"report: {target / 'report.html'}, as pages {target / 'report.pdf'}")
    return 1 if assessment.failed else 0


def _write(
    assessment: Assessment, folder: Path, target: Path, *, xdmf: bool, revolved: bool
) -> None:
    """Everything that belongs in the report folder."""
    from conegap.solver.common.writing import MARKER, file_system_refusals, json_text
    from conegap.solver.field.electrodes import electrode_voltages
    from conegap.solver.figures.report_figures import report_pictures
    from conegap.solver.report.field_file import write_field
    from conegap.solver.report.page import html_report
    from conegap.solver.report.pdf import pdf_report
    from conegap.solver.report.revolved_field_file import write_revolved_field

    pictures = report_pictures(assessment)
    page = html_report(assessment, pictures)
    printed = pdf_report(assessment, pictures)
    voltages = electrode_voltages(assessment.design, assessment.solution.electrodes)
    with file_system_refusals(target):
        (folder / MARKER).write_text(json_text(assessment.as_dict()), encoding="utf-8")
        (folder / "report.html").write_text(page, encoding="utf-8")
        (folder / "report.pdf").write_bytes(printed)
        for name in ("field.vtu", "field.xdmf") if xdmf else ("field.vtu",):
            write_field(folder / name, assessment.solution, voltages)
        if revolved:
            write_revolved_field(folder / "field_revolved.vtu", assessment.solution, voltages)
        _write_sector(assessment, folder)
        for name, picture in pictures.items():
            (folder / f"{name}.svg").write_text(picture.svg, encoding="utf-8")
            (folder / f"{name}.png").write_bytes(picture.png)


def _write_sector(assessment: Assessment, folder: Path) -> None:
    """The field in three dimensions, where it was solved."""
    from conegap.solver.field.electrodes import electrode_voltages
    from conegap.solver.report.sector_field_file import write_sector_field

    sector, end = assessment.sector, assessment.slit_end
    solution = (
        sector.onset.solution if sector is not None else None if end is None else end.solution
    )
    if solution is not None:
        voltages = electrode_voltages(assessment.design, solution.electrodes)
        write_sector_field(folder / "field_sector.vtu", solution, voltages)


def _print(assessment: Assessment) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.report.summary import summary

    found = summary(assessment)
    out = console()
    out.print(found.verdict[0], soft_wrap=True)
    out.print()
    out.print(plain_table((), found.facts, found.heading))
    out.print()
    out.print(plain_table(found.emission.heads, found.emission.rows))
    out.print()
    review = [(*row[:3], "FAIL" if row[3] == "fail" else row[3]) for row in found.review.rows]
    out.print(plain_table(("gap review", "value", "limit", "result"), review))
    for line in found.advice:
        out.print(line, soft_wrap=True)
    if assessment.onset.meniscus is None:
        out.print()
        out.print(
            "The surface is held rigid as drawn: a free surface gives way at another voltage, for "
            "a drawn dome at a lower one.",
            soft_wrap=True,
        )


def _print_metals(assessment: Assessment) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.report.operation import metals_table

    table = metals_table(assessment)
    out = console()
    out.print()
    out.print(plain_table(table.heads, table.rows, "other metals in this gap, no further solves"))
    out.print(
        "A scaled turning point is the rigid onset times this design's own ratio of turning point "
        "to rigid onset.",
        soft_wrap=True,
    )
