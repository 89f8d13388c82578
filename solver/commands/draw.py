"""``conegap draw``: the dimensioned section with the magnified edge, and the mesh on request."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conegap.geometries.design.design import Design
    from conegap.solver.figures.report_figures import Picture

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments", "design_name"]

SUMMARY = "draw the dimensioned section with the emitting edge magnified"
EXAMPLES = """\
examples:
  conegap draw needle                       writes needle-section.svg
  conegap draw my.toml --mesh --to my.png   with the coarsest mesh
  conegap draw crown                        with plan, true section and view, as for arrays
                                            and slits with drawn ends
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument("--mesh", action="store_true", help="also draw the coarsest mesh")
    parser.add_argument(
        "--to",
        metavar="FILE",
        help="file to write, .svg or .png (default: NAME-section.svg, or NAME-drawing.svg where "
        "plan and view belong to it)",
    )
    parser.add_argument("--force", action="store_true", help="replace any file that exists")
    parser.set_defaults(run=_run)


def design_name(given: str) -> str:
    """A short name of a design for files and folders.

    Parameters
    ----------
    given : str
        What stands on the command line.
    """
    return Path(given).stem or "design"


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.geometries.quantities.errors import OutputError
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import file_text, new_files
    from conegap.solver.figures.sector_pictures import section_title
    from conegap.solver.figures.sheet import drawn_here

    target = Path(arguments.to or f"{design_name(arguments.design)}-section.svg")
    ending = target.suffix.lower()
    if ending not in (".svg", ".png"):
        raise OutputError(f"--to {target}: a drawing is written as .svg or .png; give such a name")
    design = Design.read(arguments.design)
    if arguments.to is None and section_title(design):
        target = Path(f"{design_name(arguments.design)}-drawing.svg")

    def ours(place: Path) -> bool:
        return bool(arguments.force) or drawn_here(file_text(place))

    with new_files([target], may_replace=ours) as content:
        content.append(_drawing(design, mesh=arguments.mesh, ending=ending))
    talk = Messages.of(arguments)
    for warning in design.warnings:
        talk.remark(f"warning: {warning}")
    talk.remark(f"written: {target}")
    return 0


def _drawing(design: Design, *, mesh: bool, ending: str) -> str | bytes:
    """The drawing as one picture."""
    from conegap.solver.figures.report_figures import drawing_pictures, mesh_pictures
    from conegap.solver.figures.sheet import png_sheet, svg_sheet

    pictures: list[Picture] = list(drawing_pictures(design))
    if mesh:
        from conegap.solver.field.solution import solve_field

        pictures += mesh_pictures(solve_field(design.section()))
    title = " ".join(
        part for part in (design.title, design.drawing.number, design.drawing.revision) if part
    )
    if ending == ".svg":
        return svg_sheet(pictures, title)
    return png_sheet(pictures)
