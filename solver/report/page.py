"""The report of a design as one HTML file that needs nothing else."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping
from importlib.metadata import version
from importlib.resources import files

from conegap.solver.assessment import Assessment
from conegap.solver.common.style import COLOURS
from conegap.solver.figures.picture import Picture
from conegap.solver.report.first_sheet import first_sheet
from conegap.solver.report.parts import report_parts

__all__ = ["html_report", "inlined"]


def html_report(assessment: Assessment, pictures: Mapping[str, Picture]) -> str:
    """The report as HTML with its figures inside.

    Parameters
    ----------
    pictures : mapping of str to Picture
        From `conegap.solver.figures.report_figures.report_pictures`.
    """
    import jinja2

    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    folder = files("conegap.solver.report").joinpath("templates")
    template = environment.from_string(folder.joinpath("report.html").read_text(encoding="utf-8"))
    figures = {name: _Safe(inlined(picture)) for name, picture in pictures.items()}
    title = assessment.design.title or assessment.design.source
    return template.render(
        title=title,
        sheet=first_sheet(assessment),
        parts=report_parts(assessment),
        figures=figures,
        captions={name: picture.caption for name, picture in pictures.items()},
        footer=_Safe(_in_style(f"{title[:60]}, inputs {assessment.design.sha256[:16]}")),
        version=version("conegap"),
        colours=COLOURS,
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


class _Safe(str):
    """Markup that the template must not escape."""

    def __html__(self) -> str:
        return str(self)
