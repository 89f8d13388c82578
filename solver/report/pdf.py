"""The report of a design as a PDF: the first sheet, two pages for the reviewer, the appendix in two
columns, and the supply card.

Every part is laid out before it is drawn, at the size of letters that fills its pages best.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from conegap.solver.assessment import Assessment
from conegap.solver.common.style import INK, SOFT
from conegap.solver.figures.picture import Picture
from conegap.solver.report.blocks import Bullets, Facts, Figures, Grid, Part, Words
from conegap.solver.report.first_sheet import first_sheet
from conegap.solver.report.parts import report_parts
from conegap.solver.report.pdf_boxes import (
    Abreast,
    Beside,
    Box,
    Heading,
    Paragraph,
    Stack,
    shown,
)
from conegap.solver.report.pdf_flow import Laid, fitted
from conegap.solver.report.pdf_paper import Paper
from conegap.solver.report.pdf_sheet import draw_sheet
from conegap.solver.report.pdf_table import Rows
from conegap.solver.report.tables import Table

__all__ = ["pdf_report"]

# Sizes of letters over the usual ones. A page of its own may be read at arm's length, a card from
# further; 0.84 of 7 pt is 5.9 pt and can be read.
_OF_A_PAGE = tuple(1.52 - 0.04 * k for k in range(18))
_OF_A_CARD = tuple(1.72 - 0.04 * k for k in range(22))
_OF_THE_APPENDIX = tuple(1.12 - 0.02 * k for k in range(14))
# Letters of paragraphs, tables and captions, [pt].
_TEXT, _TABLE, _CAPTION = 8.0, 7.0, 6.8
# Highest figure of a page and of a column, [mm].
_TALLEST, _TALLEST_IN_COLUMN = 92.0, 84.0
# Share of the width for a figure beside a list.
_SHARE = 0.5


def pdf_report(assessment: Assessment, pictures: Mapping[str, Picture]) -> bytes:
    """The report as PDF on A4, with page numbers and the digest of the inputs on every page.

    Parameters
    ----------
    pictures : mapping of str to Picture
        From `conegap.solver.figures.report_figures.report_pictures`; they are printed smaller
        than drawn, so that 200 dots per inch become more.
    """
    sheet = first_sheet(assessment)
    paper = Paper(sheet.sha256)
    paper.set_title(f"Onset of {sheet.title}")
    paper.set_creator("conegap")
    paper.set_subject(f"inputs SHA-256 {sheet.sha256}")
    draw_sheet(paper, sheet, pictures)
    for parts in _grouped(report_parts(assessment)):
        _draw(paper, _laid_out(paper, parts, pictures))
    return bytes(paper.output())


def _grouped(parts: Sequence[Part]) -> Iterator[list[Part]]:
    """Parts that share pages: one that begins a page has it alone, all others follow on."""
    group: list[Part] = []
    for part in parts:
        if part.look and group:
            yield group
            group = []
        group.append(part)
    yield group


def _laid_out(paper: Paper, parts: Sequence[Part], pictures: Mapping[str, Picture]) -> Laid:
    look = parts[0].look
    if look != "appendix":
        return fitted(
            paper,
            lambda scale: list(_boxes(parts[0], pictures, scale, columns=1)),
            _OF_A_CARD if look == "card" else _OF_A_PAGE,
        )

    def boxes(scale: float) -> list[Box]:
        found: list[Box] = [Paragraph("Appendix", _TEXT, SOFT)]
        for part in parts:
            found += _boxes(part, pictures, scale, columns=2)
        return found

    return fitted(paper, boxes, _OF_THE_APPENDIX, columns=2)


def _boxes(
    part: Part, pictures: Mapping[str, Picture], scale: float, *, columns: int
) -> Iterator[Box]:
    """A part in one column of a page, figures side by side or beside a list, or in two."""
    yield Heading(part.heading, 11.0 * scale)
    tallest = scale * (_TALLEST if columns == 1 else _TALLEST_IN_COLUMN)
    blocks = list(part.blocks)
    while blocks:
        block = blocks.pop(0)
        if not isinstance(block, Figures):
            yield from _block(block, scale)
            continue
        figures = shown(pictures, block.names, tallest, _CAPTION * scale)
        if columns > 1:
            yield from figures
        elif len(figures) == 1 and blocks and not isinstance(blocks[0], Figures):
            right = list(_block(blocks[0], scale))
            blocks.pop(0)
            if blocks and isinstance(blocks[0], Figures) and len(blocks[0].names) == 1:
                right += shown(pictures, blocks[0].names, tallest, _CAPTION * scale)
                blocks.pop(0)
            yield Beside(figures[0], Stack(tuple(right)), _SHARE)
        else:
            while len(figures) > 1:
                yield Abreast(figures.pop(0), figures.pop(0))
            yield from figures


def _block(block: Words | Bullets | Facts | Grid, scale: float) -> Iterator[Box]:
    if isinstance(block, Words):
        for line in block.lines:
            yield Paragraph(line, _TEXT * scale, SOFT if block.soft else INK)
    elif isinstance(block, Bullets):
        if block.heading:
            yield Heading(block.heading, 9.0 * scale, part=False)
        for item in block.items:
            yield Paragraph(f"•  {item}", _TEXT * scale)
    elif isinstance(block, Facts):
        yield Rows(Table(("", ""), block.pairs), _TABLE * scale)
    else:
        yield Rows(block.table, _TABLE * scale, block.caption)


def _draw(paper: Paper, laid: Laid) -> None:
    for page in range(laid.pages):
        paper.add_page()
        for one in laid.placed:
            if one.page == page:
                one.box.draw(paper, one.x, one.y, one.wide)
