"""The report of a design as a PDF: the same first sheet, then every part, table and figure.

Tables are fpdf2's own: it measures every cell several times, which costs half a second of a report;
own ones would be 300 lines.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, TableBordersLayout, TableCellFillMode
from fpdf.fonts import FontFace

from conegap.solver.assessment import Assessment
from conegap.solver.common.style import ACCENT, HAIR, INK, LIMIT, SOFT
from conegap.solver.figures.report_figures import Picture
from conegap.solver.report.first_sheet import Sheet, first_sheet
from conegap.solver.report.parts import (
    Block,
    Bullets,
    Facts,
    Figures,
    Grid,
    Part,
    Words,
    report_parts,
)
from conegap.solver.report.tables import Table

__all__ = ["pdf_report"]

# An A4 page and its margins, [mm].
_MARGIN, _FOOT = 14.0, 16.0
_WIDTH, _HEIGHT = 210.0 - 2.0 * _MARGIN, 297.0
_GOOD = "#1e6a43"
_PASSING, _FAILING = "#f1f5f2", "#fbf0ec"
# Width of the sheet's left column, [mm].
_LEFT = 76.0
# Height of a line over that of its letters.
_LINE = 1.35
# Width up to which a column keeps its text on one line, [mm].
_SHORT = 20.0
# Letters of the criteria's table, tried until the table fits on the sheet, [pt].
_SIZES = (7.0, 6.6, 6.2, 5.8, 5.4, 5.0, 4.6)
# Largest figure of two in a row, [mm].
_HALF, _TALL = (_WIDTH - 8.0) / 2.0, 105.0
# Left edge of the criteria, [mm].
_CRITERIA_X = _MARGIN + _LEFT + 6.0


def pdf_report(assessment: Assessment, pictures: Mapping[str, Picture]) -> bytes:
    """The report as PDF on A4, with page numbers and the digest of the inputs on every page.

    Parameters
    ----------
    pictures : mapping of str to Picture
        From `conegap.solver.figures.report_figures.report_pictures`; they are printed smaller
        than drawn, so that 200 dots per inch become more.
    """
    sheet = first_sheet(assessment)
    paper = _Pages(sheet, pictures)
    paper.opening(sheet)
    parts = report_parts(assessment)
    paper.add_page()
    for part in parts:
        paper.part(part)
    return bytes(paper.output())


class _Pages(FPDF):
    """A4 pages in conegap's typefaces."""

    def __init__(self, sheet: Sheet, pictures: Mapping[str, Picture]) -> None:
        super().__init__(format="A4")
        self.sheet, self.pictures = sheet, pictures
        self.set_margins(_MARGIN, 13.0, _MARGIN)
        self.set_auto_page_break(True, _FOOT)
        import matplotlib

        folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        self.add_font("conegap", "", folder / "DejaVuSans.ttf")
        self.add_font("conegap", "B", folder / "DejaVuSans-Bold.ttf")
        self.set_lang("en")
        self.set_title(f"Onset of {sheet.title}")
        self.set_creator("conegap")
        self.set_subject(f"inputs SHA-256 {sheet.sha256}")

    def footer(self) -> None:
        """Title, digest and page number; called by the library for every page."""
        self.set_y(-11.0)
        self._letters(6.5, colour=SOFT)
        title = self.sheet.title
        while title and self.get_string_width(title) > 40.0:
            title = title[:-2] + "…" if len(title) > 2 else ""
        self.cell(0.0, 4.0, f"{title}  SHA-256 {self.sheet.sha256}")
        self.set_x(_MARGIN)
        self.cell(0.0, 4.0, f"page {self.page_no()} of {{nb}}", align="R")

    # The first sheet

    def opening(self, sheet: Sheet) -> None:
        """Everything a review reads first, on one page."""
        self.add_page()
        self.set_auto_page_break(False)
        self.start_section("Verdict")
        self._paragraph("Onset of a liquid-metal emitter: report for a design review", 8.0, SOFT)
        self._letters(14.0, bold=True)
        self._fitted_title(sheet.title)
        self._facts(sheet.identity, columns=4)
        self._paragraph(f"SHA-256 of the inputs {sheet.sha256}", 7.0, SOFT)
        self.ln(1.0)
        self._answer(sheet)
        self._image("onset_band", _MARGIN, self.get_y() + 2.0, 116.0, 48.0)
        top = self.get_y() + 2.0
        self.set_y(top)
        self._image("section", _MARGIN, top, _LEFT, 80.0)
        self.set_y(self.get_y() + 2.0)
        self._table(sheet.contributions, "What makes the onset uncertain, one standard "
                    "uncertainty each", 6.8, width=_LEFT)  # fmt: skip
        self.set_left_margin(_CRITERIA_X)
        self.set_y(top)
        words = "Criteria of the gap review; basis and advice behind this sheet"
        wide = _WIDTH - _LEFT - 6.0
        room = _HEIGHT - _FOOT - top - 10.0
        size = next((s for s in _SIZES if self._table_height(sheet.criteria, s, wide) < room), 4.2)
        self._table(sheet.criteria, words, size, width=wide)
        self.set_left_margin(_MARGIN)
        self.set_auto_page_break(True, _FOOT)

    def _fitted_title(self, title: str) -> None:
        """On one line where it fits, smaller on at most two where it does not."""
        if self.get_string_width(title) > _WIDTH:
            self._letters(9.0, bold=True)
        while len(title) > 2 and self.get_string_width(title) > 1.9 * _WIDTH:
            title = title[:-2] + "…"
        self.multi_cell(0.0, 1.3 * self.font_size, title, align="L", new_x="LMARGIN", new_y="NEXT")

    def _answer(self, sheet: Sheet) -> None:
        start = self.get_y()
        colour = _GOOD if sheet.passed else LIMIT
        lines = [
            (sheet.stamp, 8.0, colour, True),
            (sheet.verdict[0], 10.0, INK, True),
            *((line, 7.6, INK, False) for line in sheet.verdict[1:]),
        ]
        if sheet.remark:
            lines.append((sheet.remark, 7.6, INK, True))
        self.set_left_margin(_MARGIN + 5.0)
        self.set_right_margin(_MARGIN + 3.0)
        tall = sum(self._height(text, size, bold) for text, size, _, bold in lines)
        self.set_fill_color(_PASSING if sheet.passed else _FAILING)
        self.rect(_MARGIN, start, _WIDTH, tall + 4.0, style="F")
        self.set_fill_color(colour)
        self.rect(_MARGIN, start, 2.0, tall + 4.0, style="F")
        self.set_y(start + 2.0)
        for text, size, ink, bold in lines:
            self._paragraph(text, size, ink, bold=bold)
        self.set_fill_color(255)
        self.set_left_margin(_MARGIN)
        self.set_right_margin(_MARGIN)
        self.set_y(start + tall + 4.0)

    def _height(self, text: str, size: float, bold: bool = False) -> float:
        """Height of a paragraph, [mm]."""
        self._letters(size, bold=bold)
        return _LINE * self.font_size * self._count(text, 0.0) + 0.5

    def _count(self, text: str, wide: float) -> int:
        """Lines that a text takes in the current font."""
        height = MethodReturnValue.HEIGHT
        found = self.multi_cell(wide, 1.0, text, align="L", dry_run=True, output=height)
        assert isinstance(found, float | int)
        return round(found)

    def _table_height(self, table: Table, size: float, width: float) -> float:
        """Height of a table by its first column, where its long texts stand, [mm]."""
        self._letters(size, bold=True)
        shares = _shares(table, self, width)
        wide = shares[0] * width / sum(shares) - 1.2
        lines = 1 + sum(self._count(row[0], wide) for row in table.rows)
        return lines * 1.3 * self.font_size + 0.7 * (len(table.rows) + 1)

    # What stands behind it

    def part(self, part: Part) -> None:
        """A part with its blocks; a supply card begins a page."""
        if part.look == "card" and self.get_y() > 20.0:
            self.add_page()
        self._heading(part.heading, 11.0, level=0, room=self._room(part.blocks[0]))
        for block in part.blocks:
            if isinstance(block, Words):
                for line in block.lines:
                    self._paragraph(line, 8.0, SOFT if block.soft else INK)
            elif isinstance(block, Bullets):
                if block.heading:
                    self._heading(block.heading, 9.0, level=1)
                for item in block.items:
                    self._paragraph(f"•  {item}", 8.0, LIMIT if part.look == "caution" else INK)
            elif isinstance(block, Facts):
                self._facts(block.pairs, columns=3)
            elif isinstance(block, Figures):
                self._pairs([name for name in block.names if name in self.pictures])
            elif isinstance(block, Grid):
                self._table(block.table, block.caption, 7.0 if len(block.table.heads) < 6 else 6.3)

    def _room(self, block: Block) -> float:
        """Height that a heading needs below it for what it belongs to, [mm]."""
        names = [n for n in block.names if n in self.pictures] if isinstance(block, Figures) else []
        return 30.0 + max((self._size(n, _HALF, _TALL)[1] for n in names[:2]), default=0.0)

    def _heading(self, text: str, size: float, *, level: int, room: float = 30.0) -> None:
        if self.get_y() > _HEIGHT - _FOOT - room:
            self.add_page()
        self.ln(4.0 if level == 0 and self.get_y() > 20.0 else 1.5)
        if level == 0:
            self.set_draw_color(HAIR)
            self.set_line_width(0.2)
            self.line(_MARGIN, self.get_y(), _MARGIN + _WIDTH, self.get_y())
            self.ln(1.5)
            self.start_section(text)
        self._paragraph(text, size, INK, bold=True)

    def _letters(self, size: float, *, bold: bool = False, colour: str = INK) -> None:
        self.set_font("conegap", "B" if bold else "", size)
        self.set_text_color(colour)

    def _paragraph(self, text: str, size: float, colour: str, *, bold: bool = False) -> None:
        self._letters(size, bold=bold, colour=colour)
        self.multi_cell(0.0, _LINE * self.font_size, text, align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(0.5)

    def _facts(self, pairs: Sequence[tuple[str, str]], *, columns: int) -> None:
        """Names over values, several in a row."""
        wide = _WIDTH / columns - 3.0
        for first in range(0, len(pairs), columns):
            if self.get_y() > _HEIGHT - _FOOT - 12.0:
                self.add_page()
            top, lowest = self.get_y() + 0.8, 0.0
            for k, (name, value) in enumerate(pairs[first : first + columns]):
                x = _MARGIN + k * (wide + 3.0)
                for words, size, colour in ((name, 6.5, SOFT), (value, 8.0, INK)):
                    self._letters(size, colour=colour)
                    self.set_xy(x, top if words is name else self.get_y())
                    self.multi_cell(
                        wide, 1.3 * self.font_size, words, align="L", new_x="LEFT", new_y="NEXT"
                    )
                lowest = max(lowest, self.get_y())
            self.set_y(lowest + 0.8)

    def _pairs(self, names: Sequence[str]) -> None:
        """Figures with their captions, two in a row."""
        for first in range(0, len(names), 2):
            row = names[first : first + 2]
            tall = max(self._size(name, _HALF, _TALL)[1] for name in row)
            if self.get_y() + tall + 16.0 > _HEIGHT - _FOOT:
                self.add_page()
            top, lowest = self.get_y() + 1.0, 0.0
            for k, name in enumerate(row):
                x = _MARGIN + k * (_HALF + 8.0)
                self._image(name, x, top, _HALF, _TALL)
                self.set_xy(x, self.get_y() + 1.0)
                self._letters(6.8, colour=SOFT)
                self.multi_cell(
                    _HALF,
                    1.3 * self.font_size,
                    self.pictures[name].caption,
                    align="L",
                    new_x="LEFT",
                    new_y="NEXT",
                )
                lowest = max(lowest, self.get_y())
            self.set_y(lowest + 1.5)

    def _size(self, name: str, wide: float, tall: float) -> tuple[float, float]:
        """Width and height of a figure that fits into a box, [mm]."""
        across, up = (float(v) for v in self.pictures[name].figure.get_size_inches())
        scale = min(wide / across, tall / up)
        return across * scale, up * scale

    def _image(self, name: str, x: float, y: float, wide: float, tall: float) -> None:
        """A figure in a box; the place for what follows is below it."""
        if name not in self.pictures:
            self.set_y(y)
            return
        width, height = self._size(name, wide, tall)
        self.image(
            self.pictures[name].raster,
            x=x,
            y=y,
            w=width,
            h=height,
            alt_text=self.pictures[name].alt,
        )
        self.set_y(y + height)

    def _table(self, table: Table, caption: str, size: float, width: float = _WIDTH) -> None:
        """A table whose head is repeated on every page; its caption stays with it."""
        if self.auto_page_break and self.get_y() > _HEIGHT - _FOOT - 22.0:
            self.add_page()
        self._letters(size, colour=SOFT)
        self.multi_cell(
            width, _LINE * self.font_size, caption, align="L", new_x="LMARGIN", new_y="NEXT"
        )
        self.ln(0.5)
        self._letters(size)
        self.set_draw_color(HAIR)
        self.set_line_width(0.15)
        bold = FontFace(emphasis="BOLD", color=INK)
        looks = {
            "fail": FontFace(emphasis="BOLD", color=LIMIT),
            "unproved": FontFace(emphasis="BOLD", color=INK),
            "pass": FontFace(color=_GOOD),
        }
        with self.table(
            width=width,
            align="LEFT",
            col_widths=_shares(table, self, width),
            line_height=1.3 * self.font_size,
            text_align="LEFT",
            v_align="TOP",
            padding=(0.35, 1.2, 0.35, 0.0),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD", color=INK, fill_color=None),
            cell_fill_mode=TableCellFillMode.NONE,
        ) as grid:
            head = grid.row()
            for text in table.heads:
                head.cell(text)
            for k, cells in enumerate(table.rows):
                row, state = grid.row(), table.mark(k)
                for j, text in enumerate(cells):
                    look = bold if state == "total" else None
                    if j == 3 and state in looks:
                        look = looks[state]
                    if j == len(cells) - 1 and state in ("assumed", "memory"):
                        look = FontFace(color=ACCENT)
                    row.cell(text, style=look)
        self.ln(1.5)


def _shares(table: Table, paper: FPDF, width: float) -> tuple[float, ...]:
    """Widths of the columns, [mm]: short ones keep their text on one line, long ones share."""
    natural = []
    for j, head in enumerate(table.heads):
        texts = [head, *(row[j] for row in table.rows)]
        natural.append(1.08 * max(paper.get_string_width(text) for text in texts) + 2.8)
    if sum(natural) <= width:
        return tuple(natural)
    base = [min(n, _SHORT) for n in natural]
    rest = max(width - sum(base), 0.0) / (sum(natural) - sum(base))
    return tuple(b + rest * (n - b) for n, b in zip(natural, base, strict=True))
