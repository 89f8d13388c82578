"""The first sheet on paper: everything a review reads first, on one page that is full."""

from __future__ import annotations

from collections.abc import Mapping

from conegap.solver.common.style import INK, LIMIT, SOFT
from conegap.solver.figures.picture import Picture
from conegap.solver.report.first_sheet import Sheet
from conegap.solver.report.pdf_boxes import Box, Paragraph, Stack, shown
from conegap.solver.report.pdf_paper import FOOT, GOOD, HEIGHT, MARGIN, TOP, WIDTH, Paper
from conegap.solver.report.pdf_table import Rows
from conegap.solver.report.tables import Table

__all__ = ["draw_sheet"]

_PASSING, _FAILING = "#f1f5f2", "#fbf0ec"
# Widths of the left column to try, and room between columns, [mm].
_LEFT, _GUTTER = (96.0, 88.0, 80.0, 72.0), 6.0
# Letters of the tables, [pt]: the largest that fit are taken. Those of the criteria need not be
# larger than easy, and those of the contributions have room below the figure for the least.
_SIZES = (9.0, 8.7, 8.4, 8.1, 7.8, 7.5, 7.2, 6.9, 6.6, 6.3, 6.0, 5.6, 5.2, 4.8, 4.4, 4.0)
_EASY, _LEAST = 8.7, 7.2
# Facts in a row, and height of the voltage axis, [mm].
_FACTS, _AXIS = 4, 34.0


def draw_sheet(paper: Paper, sheet: Sheet, pictures: Mapping[str, Picture]) -> None:
    """Verdict, numbers, voltage axis, section, contributions and criteria on a page of their own.

    Parameters
    ----------
    pictures : mapping of str to Picture
        With "onset_band" and "section".
    """
    paper.add_page()
    paper.start_section("Verdict")
    y = TOP
    for box in (
        Paragraph("Onset of a liquid-metal emitter: report for a design review", 8.0, SOFT),
        _title(paper, sheet.title),
    ):
        y = _draw(paper, box, y)
    y = _facts(paper, sheet.identity, y, 8.0)
    digest = Paragraph(f"SHA-256 of the inputs {sheet.sha256}", 7.0, SOFT, below=2.0)
    y = _answer(paper, sheet, _draw(paper, digest, y))
    y = _facts(paper, sheet.numbers, y + 1.5, 9.4)
    for axis in shown(pictures, ("onset_band",), _AXIS, 0.0):
        y = _draw(paper, axis, y + 1.0)
    _halves(paper, sheet, pictures, y)


def _halves(paper: Paper, sheet: Sheet, pictures: Mapping[str, Picture], top: float) -> None:
    """The section above the contributions at the left, the criteria at the right: these as wide as
    makes them easy to read."""
    low = HEIGHT - FOOT
    tried = [
        (left, _largest(paper, sheet.criteria, sheet.criteria_words, _rest(left), low - top))
        for left in _LEFT
    ]
    left, criteria = max(tried, key=lambda pair: (min(pair[1].size, _EASY), pair[0]))
    criteria.draw(paper, MARGIN + left + _GUTTER, top, _rest(left))
    words = "What makes the onset uncertain"
    least = Rows(sheet.contributions, _LEAST, words).height(paper, left)
    for figure in shown(pictures, ("section",), low - top - least, 0.0):
        top = _draw(paper, figure, top, left)
    _largest(paper, sheet.contributions, words, left, low - top).draw(paper, MARGIN, top, left)


def _rest(left: float) -> float:
    """Width of the right column, [mm]."""
    return WIDTH - left - _GUTTER


def _largest(paper: Paper, table: Table, caption: str, wide: float, room: float) -> Rows:
    """A table in the largest letters at which it fits, the smallest where none does."""
    tried = (Rows(table, size, caption) for size in _SIZES)
    least = Rows(table, _SIZES[-1], caption)
    return next((r for r in tried if r.fitted(paper, wide) == r and r.height(paper, wide) <= room),
                least)  # fmt: skip


def _draw(paper: Paper, box: Box, y: float, wide: float = WIDTH) -> float:
    """Draw a box at the left margin; the place below it."""
    box.draw(paper, MARGIN, y, wide)
    return y + box.height(paper, wide)


def _title(paper: Paper, title: str) -> Paragraph:
    """On one line where it fits, smaller on at most two where it does not."""
    if len(paper.wrap(title, 14.0, WIDTH, bold=True)) == 1:
        return Paragraph(title, 14.0, bold=True)
    while len(title) > 2 and len(paper.wrap(title, 9.0, WIDTH, bold=True)) > 2:
        title = title[:-2] + "…"
    return Paragraph(title, 9.0, bold=True)


def _facts(paper: Paper, pairs: tuple[tuple[str, str], ...], y: float, size: float) -> float:
    """Names over values, several in a row; the place below them."""
    each = WIDTH / _FACTS
    for first in range(0, len(pairs), _FACTS):
        low = y
        for k, (name, value) in enumerate(pairs[first : first + _FACTS]):
            box = Stack((Paragraph(name, 6.5, SOFT, below=0.0),
                         Paragraph(value, size, bold=size > 8.0, below=1.4)))  # fmt: skip
            box.draw(paper, MARGIN + k * each, y, each - 3.0)
            low = max(low, y + box.height(paper, each - 3.0))
        y = low
    return y


def _answer(paper: Paper, sheet: Sheet, y: float) -> float:
    """The verdict in its coloured field; the place below it."""
    colour = GOOD if sheet.passed else LIMIT
    words = Stack(
        (
            Paragraph(sheet.stamp, 8.0, colour, bold=True),
            Paragraph(sheet.verdict[0], 10.0, INK, bold=True),
            *(Paragraph(line, 8.0) for line in sheet.verdict[1:]),
            *(Paragraph(line, 7.4, bold=True) for line in sheet.remarks),
        )
    )
    tall = words.height(paper, WIDTH - 8.0) + 4.0
    paper.set_fill_color(_PASSING if sheet.passed else _FAILING)
    paper.rect(MARGIN, y, WIDTH, tall, style="F")
    paper.set_fill_color(colour)
    paper.rect(MARGIN, y, 2.0, tall, style="F")
    paper.set_fill_color(255)
    words.draw(paper, MARGIN + 5.0, y + 2.0, WIDTH - 8.0)
    return y + tall
