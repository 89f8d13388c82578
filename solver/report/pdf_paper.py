"""Letters, paragraphs, facts and tables on A4 pages.

Tables are fpdf2's own; where they break is decided here, so that neither their first nor their last
rows stand alone on a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, TableBordersLayout, TableCellFillMode
from fpdf.fonts import FontFace

from conegap.solver.common.style import ACCENT, HAIR, INK, LIMIT, SOFT
from conegap.solver.report.tables import Table

__all__ = ["FOOT", "GOOD", "HEIGHT", "LINE", "MARGIN", "WIDTH", "Paper"]

MARGIN, FOOT = 14.0, 16.0
"""Margins of a page, [mm]."""
WIDTH, HEIGHT = 210.0 - 2.0 * MARGIN, 297.0
"""Width inside the margins and height of an A4 page, [mm]."""
LINE = 1.35
"""Height of a line over that of its letters."""
GOOD = "#1e6a43"
# Width up to which a column keeps its text on one line, the first that leaves room for all, [mm].
_SHORT = (32.0, 20.0, 10.0, 0.0)
# Rows of a table that stay together at its beginning and at its end.
_TOGETHER = 3
# Rows from which a narrow table is set in two columns, and the room between them, [mm].
_LONG, _GUTTER = 12, 6.0
# Its letters, [pt], and how much its cells may be squeezed: the longest take a second line.
_NARROW, _SQUEEZE = 6.3, 1.12
# Height of a line of a table over that of its letters, and room above and below a row, [mm].
_TABLE_LINE, _TABLE_ROOM = 1.3, 0.7


class Paper(FPDF):
    """A4 pages in conegap's typefaces."""

    def __init__(self) -> None:
        super().__init__(format="A4")
        self.set_margins(MARGIN, 13.0, MARGIN)
        self.set_auto_page_break(True, FOOT)
        import matplotlib

        folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        self.add_font("conegap", "", folder / "DejaVuSans.ttf")
        self.add_font("conegap", "B", folder / "DejaVuSans-Bold.ttf")
        self.set_lang("en")

    @property
    def room(self) -> float:
        """Height left on the page, [mm]."""
        return float(HEIGHT - FOOT - self.get_y())

    @property
    def begun(self) -> bool:
        """Whether something stands on the page already."""
        return bool(self.get_y() > 20.0)

    def letters(self, size: float, *, bold: bool = False, colour: str = INK) -> None:
        """Choose size [pt], weight and colour of the letters."""
        self.set_font("conegap", "B" if bold else "", size)
        self.set_text_color(colour)

    def paragraph(
        self, text: str, size: float, colour: str = INK, *, bold: bool = False, wide: float = 0.0
    ) -> None:
        """A paragraph; 0 is all of the width."""
        self.letters(size, bold=bold, colour=colour)
        left = self.get_x()
        self.multi_cell(wide, LINE * self.font_size, text, align="L", new_x="LEFT", new_y="NEXT")
        self.set_xy(left, self.get_y() + 0.5)

    def count(self, text: str, wide: float) -> int:
        """Lines that a text takes in the current font."""
        height = MethodReturnValue.HEIGHT
        found = self.multi_cell(wide, 1.0, text, align="L", dry_run=True, output=height)
        assert isinstance(found, float | int)
        return round(found)

    def height_of(self, text: str, size: float, *, bold: bool = False, wide: float = 0.0) -> float:
        """Height of a paragraph, [mm]."""
        self.letters(size, bold=bold)
        return LINE * self.font_size * self.count(text, wide) + 0.5

    def facts(
        self,
        pairs: Sequence[tuple[str, str]],
        columns: int,
        *,
        wide: float = WIDTH,
        size: float = 8.0,
    ) -> None:
        """Names over values, several in a row.

        Parameters
        ----------
        wide : float
            Width of all columns, [mm].
        size : float
            Of the values, [pt].
        """
        left, each = self.get_x(), wide / columns - 3.0
        for first in range(0, len(pairs), columns):
            if self.room < 12.0:
                self.add_page()
            top, lowest = self.get_y() + 0.8, 0.0
            for k, (name, value) in enumerate(pairs[first : first + columns]):
                x = left + k * (each + 3.0)
                for words, points, colour in ((name, 6.5, SOFT), (value, size, INK)):
                    self.letters(points, colour=colour, bold=words is value and size > 8.0)
                    self.set_xy(x, top if words is name else self.get_y())
                    self.multi_cell(
                        each, 1.3 * self.font_size, words, align="L", new_x="LEFT", new_y="NEXT"
                    )
                lowest = max(lowest, self.get_y())
            self.set_xy(left, lowest + 0.8)

    # Tables

    def natural_width(self, table: Table, size: float) -> float:
        """Width in which every cell of a table stands on one line, [mm]."""
        self.letters(size, bold=True)
        return sum(_natural(table, self))

    def row_heights(self, table: Table, size: float, width: float) -> list[float]:
        """Heights of the head and of every row, [mm]."""
        self.letters(size, bold=True)
        wide = _shares(table, self, width)
        return [
            _TABLE_ROOM
            + _TABLE_LINE
            * self.font_size
            * max(
                1 if self.get_string_width(cell) < w - 2.2 else self.count(cell, w - 1.2)
                for cell, w in zip(cells, wide, strict=True)
            )
            for cells in (table.heads, *table.rows)
        ]

    def table_with_caption(
        self, table: Table, caption: str, size: float, *, width: float = WIDTH, whole: bool = False
    ) -> None:
        """A table below its caption.

        Parameters
        ----------
        size : float
            Of the letters, [pt].
        width : float
            [mm].
        whole : bool
            It has its place already: do not look for page breaks.
        """
        if not table.rows:
            return
        if not whole and len(table.rows) >= _LONG:
            half = (width - _GUTTER) / 2.0
            if self.natural_width(table, _NARROW) <= _SQUEEZE * half:
                self._in_two(table, caption, _NARROW, half)
                return
        above = self.height_of(caption, size, wide=width) + 0.5
        heights = self.row_heights(table, size, width)
        fit = len(table.rows) if whole else self._rows_that_fit(heights, self.room - above)
        if fit < min(_TOGETHER, len(table.rows)) and self.begun:
            self.add_page()
            fit = self._rows_that_fit(heights, self.room - above)
        self.paragraph(caption, size, SOFT, wide=width)
        widths = self._widths(table, size, width)
        while True:
            self._rows(_part_of(table, 0, fit), size, widths)
            if fit == len(table.rows):
                break
            table, heights = (
                _part_of(table, fit, len(table.rows)),
                [heights[0], *heights[1 + fit :]],
            )
            self.add_page()
            fit = self._rows_that_fit(heights, self.room)
        self.ln(1.5)

    def _in_two(self, table: Table, caption: str, size: float, half: float) -> None:
        """A long, narrow table in two columns, on this page or the next."""
        middle = -(-len(table.rows) // 2)
        left, right = _part_of(table, 0, middle), _part_of(table, middle, len(table.rows))
        widths = self._widths(table, size, half)
        if sum(self.row_heights(left, size, half)) + 8.0 > self.room and self.begun:
            self.add_page()
        self.paragraph(caption, size, SOFT)
        x, top = self.get_x(), self.get_y()
        self._rows(left, size, widths)
        lowest = self.get_y()
        self.set_xy(x + half + _GUTTER, top)
        self._rows(right, size, widths)
        self.set_xy(x, max(lowest, self.get_y()) + 1.5)

    def _widths(self, table: Table, size: float, width: float) -> tuple[float, ...]:
        self.letters(size, bold=True)
        return _shares(table, self, width)

    def _rows_that_fit(self, heights: Sequence[float], room: float) -> int:
        """How many rows to set on this page: all, or so many that some stay for the next."""
        left, count = room - heights[0] - 1.0, 0
        for height in heights[1:]:
            left -= height
            if left < 0.0:
                break
            count += 1
        rows = len(heights) - 1
        if count == rows:
            return rows
        return max(min(count, rows - _TOGETHER), 1 if not self.begun else 0)

    def _rows(self, table: Table, size: float, widths: tuple[float, ...]) -> None:
        """The head and the rows, all on this page."""
        self.letters(size)
        self.set_draw_color(HAIR)
        self.set_line_width(0.15)
        bold = FontFace(emphasis="BOLD", color=INK)
        looks = {
            "fail": FontFace(emphasis="BOLD", color=LIMIT),
            "unproved": FontFace(emphasis="BOLD", color=INK),
            "pass": FontFace(color=GOOD),
        }
        left = self.l_margin
        # The library sets tables at the left margin, whatever the place of the pen.
        self.set_left_margin(self.get_x())
        with self.table(
            width=sum(widths),
            align="LEFT",
            col_widths=widths,
            line_height=_TABLE_LINE * self.font_size,
            text_align="LEFT",
            v_align="TOP",
            padding=(_TABLE_ROOM / 2.0, 1.2, _TABLE_ROOM / 2.0, 0.0),
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
                    if table.heads[j] == "result" and state in looks:
                        look = looks[state]
                    if j == len(cells) - 1 and state in ("assumed", "memory"):
                        look = FontFace(color=ACCENT)
                    row.cell(text, style=look)
        self.set_left_margin(left)


def _part_of(table: Table, first: int, last: int) -> Table:
    return replace(table, rows=table.rows[first:last], state=table.state[first:last])


def _natural(table: Table, paper: FPDF) -> list[float]:
    """Width of each column with all its texts on one line, [mm]."""
    widths = []
    for j, head in enumerate(table.heads):
        texts = [head, *(row[j] for row in table.rows)]
        widths.append(1.08 * max(paper.get_string_width(text) for text in texts) + 2.8)
    return widths


def _shares(table: Table, paper: FPDF, width: float) -> tuple[float, ...]:
    """Widths of the columns, [mm]: short ones keep their text on one line, long ones share."""
    natural = _natural(table, paper)
    if sum(natural) <= width:
        return tuple(natural)
    base = next(base for short in _SHORT if sum(base := [min(n, short) for n in natural]) <= width)
    rest = (width - sum(base)) / (sum(natural) - sum(base))
    return tuple(b + rest * (n - b) for n, b in zip(natural, base, strict=True))
