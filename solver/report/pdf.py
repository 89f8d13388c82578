"""The report of a design as a PDF: the same first sheet, then every part, table and figure.

Figures stand two in a row as high as each other, or one beside the table that belongs to it; one
that does not fit on its page waits for the next place that is large enough, while the text runs on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from conegap.solver.assessment import Assessment
from conegap.solver.common.style import HAIR, INK, LIMIT, SOFT
from conegap.solver.figures.report_figures import Picture
from conegap.solver.report.blocks import Block, Bullets, Facts, Figures, Grid, Part, Words
from conegap.solver.report.first_sheet import Sheet, first_sheet
from conegap.solver.report.parts import report_parts
from conegap.solver.report.pdf_paper import FOOT, GOOD, HEIGHT, MARGIN, WIDTH, Paper

__all__ = ["pdf_report"]

_PASSING, _FAILING = "#f1f5f2", "#fbf0ec"
# Width of the sheet's left column, and where more criteria stand beside it, [mm].
_LEFT, _LEFT_OF_MANY, _MANY_CRITERIA = 98.0, 76.0, 12
# Letters of the criteria's table, tried until the table fits on the sheet, [pt].
_SIZES = (7.8, 7.4, 7.0, 6.6, 6.2, 5.8, 5.4, 5.0, 4.6, 4.2)
# Widest figure, [mm]: figures of 4.6 in keep their 200 dots per inch.
_WIDEST = 116.0
# Highest figure, [mm]: lower ones are tried where they save a page that would be nearly empty.
_TALLEST = (92.0, 82.0, 74.0, 66.0)
# Room that the last page before one that must begin anew may leave, [mm]: a third of a page.
_EMPTY = 90.0
# Narrowest figure beside a table, [mm]: letters of 8 pt stay above 5 pt.
_NARROWEST = 74.0
# Between figures of a row, [mm].
_GUTTER = 6.0
# Narrowest caption beside a figure that stands alone, [mm].
_CAPTION_WIDE = 45.0
# A figure may shrink so far to fit on its page.
_SHRINK = 0.75
# What is added to letters that have a page alone, the most that fits, [pt]: 5.8 pt can be read.
_LARGER = (1.6, 1.2, 0.8, 0.4, 0.0, -0.3, -0.6, -0.9, -1.2)
# Letters of captions and of tables, by their number of columns, [pt].
_CAPTION, _FEW, _MANY = 6.8, 7.0, 6.3


def pdf_report(assessment: Assessment, pictures: Mapping[str, Picture]) -> bytes:
    """The report as PDF on A4, with page numbers and the digest of the inputs on every page.

    Parameters
    ----------
    pictures : mapping of str to Picture
        From `conegap.solver.figures.report_figures.report_pictures`; they are printed smaller
        than drawn, so that 200 dots per inch become more.
    """
    sheet, parts = first_sheet(assessment), report_parts(assessment)
    tried = []
    for tallest in _TALLEST:
        paper = _Pages(sheet, pictures, tallest)
        paper.opening(sheet)
        paper.add_page()
        for part in parts:
            paper.part(part)
        tried.append(paper)
        if paper.emptiest < _EMPTY:
            break
    best = min(tried, key=lambda paper: (paper.page_no(), paper.emptiest))
    return bytes(best.output())


@dataclass(frozen=True)
class _Pair:
    """A figure of some width beside another block, and the height of both, [mm]."""

    name: str
    wide: float
    block: Words | Bullets | Facts | Grid
    height: float


class _Pages(Paper):
    """The pages of a report."""

    def __init__(self, sheet: Sheet, pictures: Mapping[str, Picture], tallest: float) -> None:
        super().__init__()
        self.tallest, self.emptiest = tallest, 0.0
        self.sheet, self.pictures = sheet, pictures
        self.waiting: list[tuple[str, ...]] = []
        # Added to the size of the letters, [pt].
        self.larger = 0.0
        self.set_title(f"Onset of {sheet.title}")
        self.set_creator("conegap")
        self.set_subject(f"inputs SHA-256 {sheet.sha256}")

    def footer(self) -> None:
        """Digest and page number; called by the library for every page."""
        self.set_y(-11.0)
        self.letters(6.5, colour=SOFT)
        self.cell(0.0, 4.0, f"SHA-256 {self.sheet.sha256}")
        self.set_x(MARGIN)
        self.cell(0.0, 4.0, f"page {self.page_no()} of {{nb}}", align="R")

    # The first sheet

    def opening(self, sheet: Sheet) -> None:
        """Everything a review reads first, on one page."""
        self.add_page()
        self.set_auto_page_break(False)
        self.start_section("Verdict")
        self.paragraph("Onset of a liquid-metal emitter: report for a design review", 8.0, SOFT)
        self.letters(14.0, bold=True)
        self._fitted_title(sheet.title)
        self.facts(sheet.identity, columns=4)
        self.paragraph(f"SHA-256 of the inputs {sheet.sha256}", 7.0, SOFT)
        self.ln(1.0)
        self._answer(sheet)
        self.ln(1.0)
        self.facts(sheet.numbers, columns=4, size=9.4)
        self._image("onset_band", MARGIN, self.get_y() + 1.0, WIDTH, 34.0)
        top = self.get_y() + 2.0
        aside = 6.0
        left = _LEFT if len(sheet.criteria.rows) <= _MANY_CRITERIA else _LEFT_OF_MANY
        self._image("section", MARGIN, top, left, left)
        self.set_xy(MARGIN, self.get_y() + 2.0)
        words = "What makes the onset uncertain"
        self.table_with_caption(sheet.contributions, words, 7.4, width=left, whole=True)
        wide, room = WIDTH - left - aside, HEIGHT - FOOT - top - 8.0
        size = next(
            (s for s in _SIZES if sum(self.row_heights(sheet.criteria, s, wide)) < room), _SIZES[-1]
        )
        self.set_xy(MARGIN + left + aside, top)
        self.table_with_caption(sheet.criteria, sheet.criteria_words, size, width=wide, whole=True)
        self.set_auto_page_break(True, FOOT)

    def _fitted_title(self, title: str) -> None:
        """On one line where it fits, smaller on at most two where it does not."""
        if self.get_string_width(title) > WIDTH:
            self.letters(9.0, bold=True)
        while len(title) > 2 and self.get_string_width(title) > 1.9 * WIDTH:
            title = title[:-2] + "…"
        self.multi_cell(0.0, 1.3 * self.font_size, title, align="L", new_x="LMARGIN", new_y="NEXT")

    def _answer(self, sheet: Sheet) -> None:
        start = self.get_y()
        colour = GOOD if sheet.passed else LIMIT
        lines = [
            (sheet.stamp, 8.0, colour, True),
            (sheet.verdict[0], 10.0, INK, True),
            *((line, 8.0, INK, False) for line in sheet.verdict[1:]),
            *((line, 7.4, INK, True) for line in sheet.remarks),
        ]
        self.set_left_margin(MARGIN + 5.0)
        self.set_right_margin(MARGIN + 3.0)
        tall = sum(self.height_of(text, size, bold=bold) for text, size, _, bold in lines)
        self.set_fill_color(_PASSING if sheet.passed else _FAILING)
        self.rect(MARGIN, start, WIDTH, tall + 4.0, style="F")
        self.set_fill_color(colour)
        self.rect(MARGIN, start, 2.0, tall + 4.0, style="F")
        self.set_xy(MARGIN + 5.0, start + 2.0)
        for text, size, ink, bold in lines:
            self.paragraph(text, size, ink, bold=bold)
        self.set_fill_color(255)
        self.set_left_margin(MARGIN)
        self.set_right_margin(MARGIN)
        self.set_xy(MARGIN, start + tall + 4.0)

    # What stands behind it

    def part(self, part: Part) -> None:
        """A part with its blocks."""
        if part.look:
            self._place_waiting(last=True)
            if self.begun:
                self.emptiest = max(self.emptiest, self.room)
                self.add_page()
        if part.look == "appendix":
            self.paragraph("Appendix", 8.0, SOFT)
        self._heading(part.heading, 11.0, level=0)
        self.larger = self._spare_size(part)
        blocks = list(part.blocks)
        while blocks:
            block = blocks.pop(0)
            if isinstance(block, Figures):
                names = tuple(name for name in block.names if name in self.pictures)
                if len(names) == 1 and blocks and (pair := self._beside(names[0], blocks[0])):
                    if pair.height > self.room:
                        # What follows is set first, to fill the page.
                        while len(blocks) > 1 and self.room > 20.0:
                            self._block(blocks.pop(1))
                        self._place_waiting()
                    if pair.height > self.room:
                        self.add_page()
                        self._place_waiting()
                    if pair.height > self.room:
                        self.add_page()
                    self._set_pair(pair)
                    blocks.pop(0)
                else:
                    self._rows_of_figures(names)
            else:
                self._block(block)
            self._place_waiting()
        self.larger = 0.0

    def _spare_size(self, part: Part) -> float:
        """How much larger letters may be where a part of words and tables has a page alone, or
        smaller where they save a second one."""
        if part.look not in ("page", "card") or any(b.kind == "figures" for b in part.blocks):
            return 0.0
        return next((size for size in _LARGER if self._tall(part, size) < self.room), 0.0)

    def _tall(self, part: Part, larger: float) -> float:
        """Height of a part of words, lists and tables in larger letters, [mm]."""
        tall = 0.0
        for block in part.blocks:
            if isinstance(block, Grid):
                size = _letters_of(block) + larger
                tall += sum(self.row_heights(block.table, size, WIDTH)) + 4.0
                tall += self.height_of(block.caption, size)
            elif isinstance(block, Words | Bullets):
                lines = block.lines if isinstance(block, Words) else block.items
                tall += sum(self.height_of(f"•  {line}", 8.0 + larger) for line in lines) + 10.0
        return tall

    def _block(self, block: Block) -> None:
        if isinstance(block, Words):
            for line in block.lines:
                self.paragraph(line, 8.0 + self.larger, SOFT if block.soft else INK)
        elif isinstance(block, Bullets):
            if block.heading:
                self._heading(block.heading, 9.0, level=1)
            for item in block.items:
                self.paragraph(f"•  {item}", 8.0 + self.larger)
        elif isinstance(block, Facts):
            self.facts(block.pairs, columns=3)
        elif isinstance(block, Grid):
            self.table_with_caption(block.table, block.caption, _letters_of(block) + self.larger)

    def _heading(self, text: str, size: float, *, level: int, room: float = 30.0) -> None:
        if self.room < room:
            self.add_page()
            self._place_waiting()
        self.ln(4.0 if level == 0 and self.begun else 1.5)
        if level == 0:
            self.set_draw_color(HAIR)
            self.set_line_width(0.2)
            self.line(MARGIN, self.get_y(), MARGIN + WIDTH, self.get_y())
            self.ln(1.5)
            self.start_section(text)
        self.paragraph(text, size, INK, bold=True)

    # Figures

    def _aspect(self, name: str) -> float:
        across, up = (float(v) for v in self.pictures[name].figure.get_size_inches())
        return across / up

    def _caption_height(self, name: str, wide: float) -> float:
        self.letters(_CAPTION)
        return 1.0 + 1.3 * self.font_size * self.count(self.pictures[name].caption, wide)

    def _rows_of_figures(self, names: Sequence[str]) -> None:
        """Two in a row; what does not fit here waits."""
        self.waiting += [tuple(names[k : k + 2]) for k in range(0, len(names), 2)]
        self._place_waiting()

    def _widths_of(self, row: tuple[str, ...], tallest: float) -> list[float]:
        """Widths of figures that are as high as each other, [mm]."""
        aspects = [self._aspect(name) for name in row]
        tall = min((WIDTH - _GUTTER * (len(row) - 1)) / sum(aspects), tallest)
        tall = min(tall, _WIDEST / max(aspects))
        return [tall * aspect for aspect in aspects]

    def _figure_height(self, name: str, wide: float) -> float:
        """Of a figure with its caption below it, [mm]."""
        return wide / self._aspect(name) + self._caption_height(name, wide) + 3.0

    def _aside(self, row: tuple[str, ...], widths: Sequence[float]) -> float:
        """Width beside a figure that stands alone, for its caption, 0 where that stands below."""
        rest = WIDTH - widths[0] - _GUTTER
        return rest if len(row) == 1 and rest > _CAPTION_WIDE else 0.0

    def _row_height(self, row: tuple[str, ...], widths: Sequence[float]) -> float:
        tall = widths[0] / self._aspect(row[0])
        if self._aside(row, widths):
            return tall + 3.0
        return (
            tall + max(self._caption_height(n, w) for n, w in zip(row, widths, strict=True)) + 3.0
        )

    def _place_waiting(self, *, last: bool = False) -> None:
        """Set the figures that wait, as long as there is room; on new pages where they must."""
        while self.waiting:
            row = self.waiting[0]
            widths = self._widths_of(row, self.tallest)
            need = self._row_height(row, widths)
            if need > self.room:
                smaller = self._widths_of(row, _SHRINK * widths[0] / self._aspect(row[0]))
                if self._row_height(row, smaller) > self.room:
                    if not last:
                        return
                    self.add_page()
                    continue
                spare = need - self.room
                widths = self._widths_of(row, widths[0] / self._aspect(row[0]) - spare)
                while self._row_height(row, widths) > self.room:
                    widths = self._widths_of(row, 0.97 * widths[0] / self._aspect(row[0]))
            self.waiting.pop(0)
            self._set_row(row, widths)

    def _set_row(self, row: tuple[str, ...], widths: Sequence[float]) -> None:
        top, lowest, x = self.get_y() + 1.0, 0.0, MARGIN
        if aside := self._aside(row, widths):
            self._image(row[0], x, top, widths[0], HEIGHT)
            lowest = self.get_y()
            self.set_xy(x + widths[0] + _GUTTER, top)
            self.paragraph(self.pictures[row[0]].caption, _CAPTION, SOFT, wide=aside)
            self.set_xy(MARGIN, max(lowest, self.get_y()) + 1.5)
            return
        for name, wide in zip(row, widths, strict=True):
            self._figure(name, x, top, wide)
            lowest = max(lowest, self.get_y())
            x += wide + _GUTTER
        self.set_xy(MARGIN, lowest + 1.5)

    def _figure(self, name: str, x: float, y: float, wide: float) -> None:
        """A figure with its caption; the pen stands below it."""
        self._image(name, x, y, wide, HEIGHT)
        self.set_xy(x, self.get_y() + 1.0)
        self.letters(_CAPTION, colour=SOFT)
        caption = self.pictures[name].caption
        self.multi_cell(wide, 1.3 * self.font_size, caption, align="L", new_x="LEFT", new_y="NEXT")

    def _beside(self, name: str, block: Block) -> _Pair | None:
        """A figure with what belongs to it at its right, None where they do not go together."""
        if isinstance(block, Figures):
            return None
        (wide,) = self._widths_of((name,), self.tallest)
        if isinstance(block, Grid):
            size = _letters_of(block)
            # A table keeps its look when its longest cells take two lines.
            wide = min(wide, WIDTH - _GUTTER - 0.85 * self.natural_width(block.table, size))
            if wide < _NARROWEST:
                return None
            rest = WIDTH - wide - _GUTTER
            tall = sum(self.row_heights(block.table, size, rest)) + 3.0
            tall += self.height_of(block.caption, size, wide=rest)
        elif isinstance(block, Facts):
            rest = WIDTH - wide - _GUTTER
            tall = sum(
                self.height_of(words, 8.0, wide=rest) + 0.5
                for pair in block.pairs
                for words in pair
            )
        else:
            wide = min(wide, 0.5 * WIDTH)
            rest = WIDTH - wide - _GUTTER
            lines = block.lines if isinstance(block, Words) else (block.heading, *block.items)
            tall = 3.0 + sum(self.height_of(f"•  {line}", 8.0, wide=rest) for line in lines)
        pair = _Pair(name, wide, block, max(tall, self._figure_height(name, wide)))
        return pair if pair.height < HEIGHT - FOOT - 30.0 else None

    def _set_pair(self, pair: _Pair) -> None:
        top, rest = self.get_y() + 1.0, WIDTH - pair.wide - _GUTTER
        self._figure(pair.name, MARGIN, top, pair.wide)
        lowest = self.get_y()
        self.set_xy(MARGIN + pair.wide + _GUTTER, top)
        if isinstance(pair.block, Grid):
            table, caption = pair.block.table, pair.block.caption
            self.table_with_caption(table, caption, _letters_of(pair.block), width=rest, whole=True)
        elif isinstance(pair.block, Facts):
            self.facts(pair.block.pairs, 1, wide=rest)
        else:
            # Paragraphs begin at the left margin.
            self.set_left_margin(MARGIN + pair.wide + _GUTTER)
            self._block(pair.block)
            self.set_left_margin(MARGIN)
        self.set_xy(MARGIN, max(lowest, self.get_y()) + 1.5)

    def _image(self, name: str, x: float, y: float, wide: float, tall: float) -> None:
        """A figure in a box; the place for what follows is below it."""
        if name not in self.pictures:
            self.set_y(y)
            return
        width = min(wide, tall * self._aspect(name))
        height = width / self._aspect(name)
        picture = self.pictures[name]
        self.image(picture.raster, x=x, y=y, w=width, h=height, alt_text=picture.alt)
        self.set_y(y + height)


def _letters_of(grid: Grid) -> float:
    """Size of a table's letters, [pt]."""
    return _FEW if len(grid.table.heads) < 6 else _MANY
