"""The report of a design as one HTML file that needs nothing else."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping
from importlib.metadata import version
from typing import TYPE_CHECKING

from conegap.solver.assessment import Assessment
from conegap.solver.common.style import COLOURS
from conegap.solver.figures.picture import Picture
from conegap.solver.report.first_sheet import first_sheet
from conegap.solver.report.parts import report_parts

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["html_report", "inlined", "templates"]


def templates(*packages: str) -> Environment:
    """The templates of pages, with those of other packages that extend their base.

    Parameters
    ----------
    packages : str
        Names of packages with a folder ``templates``.
    """
    import jinja2

    found = [jinja2.PackageLoader(name) for name in (*packages, "conegap.solver.report")]
    return jinja2.Environment(
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        loader=jinja2.ChoiceLoader(found),
    )


def html_report(assessment: Assessment, pictures: Mapping[str, Picture]) -> str:
    """The report as HTML with its figures inside.

    Parameters
    ----------
    pictures : mapping of str to Picture
        From `conegap.solver.figures.report_figures.report_pictures`.
    """
    from markupsafe import Markup

    figures = {name: Markup(inlined(picture)) for name, picture in pictures.items()}
    title = assessment.design.title or assessment.design.source
    return (
        templates()
        .get_template("report.html")
        .render(
            title=title,
            sheet=first_sheet(assessment),
            parts=report_parts(assessment),
            figures=figures,
            captions={name: picture.caption for name, picture in pictures.items()},
            footer=Markup(_in_style(f"{title[:60]}, inputs {assessment.design.sha256[:16]}")),
            version=version("conegap"),
            colours=COLOURS,
        )
    )


def inlined(picture: Picture) -> str:
    """The SVG of a figure for a page: its words, own identifiers and the page's colours."""
    text = picture.part.replace("xlink:href=", "href=")
    for name, colour in COLOURS.items():
        text = re.sub(re.escape(colour), f"var(--{name})", text, flags=re.IGNORECASE)
    box = re.search(r'viewBox="([^"]+)"', text)
    assert box is not None
    width = float(box.group(1).split()[2]) / 72.0
    words = html.escape(picture.alt, quote=True)
    head = (
        f'<svg viewBox="{box.group(1)}" role="img" aria-label="{words}" '
        f'style="--natural: {width:.2f}in"><title>{words}</title>'
    )
    return re.sub(r"<svg\b[^>]*>", lambda _: head, text, count=1)


def _in_style(text: str) -> str:
    """A text as it may stand between quotes in a style sheet."""
    return "".join(c if c.isalnum() or c in " ,.-" else f"\\{ord(c):x} " for c in text)
