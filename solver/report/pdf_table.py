"""Tables on printed pages: widths of columns, where they may be parted, rows with hairlines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from conegap.solver.common.style import ACCENT, HAIR, INK, LIMIT, SOFT
from conegap.solver.report.pdf_boxes import Paragraph
from conegap.solver.report.pdf_paper import GOOD, Paper
from conegap.solver.report.tables import Table

__all__ = ["Rows", "column_widths"]

# Height of a line of a table over that of its letters, room above and below a row, and between
# columns, [mm].
_TABLE_LINE, _TABLE_ROOM, _BETWEEN = 1.3, 0.9, 2.2
# Between columns, and what rounding may take, [mm].
_SPARE = _BETWEEN + 0.1
# Steps in which the width that is left is dealt out to the columns of a table.
_STEPS = 24
# Letters of a table whose longest words do not fit beside each other become smaller by such steps.
_SMALLER = 0.96
# A line holds so much less than its width, because words do not break.
_RAGGED = 1.08
_RESULTS = {"fail": LIMIT, "unproved": INK, "pass": GOOD}


@dataclass(frozen=True)
class _Cell:
    """A cell of a table as it is drawn."""

    lines: tuple[str, ...]
    colour: str
    bold: bool


@dataclass(frozen=True)
class Rows:
    """A table or a part of one; heads that are all empty are left out.

    Parameters
    ----------
    table : Table
    size : float
        Of the letters, [pt].
    caption : str
        "" for none.
    whole : Table or None
        That of which it is a part: both have the same columns.
    """

    table: Table
    size: float
    caption: str = ""
    whole: Table | None = None

    def part(self, first: int, last: int) -> Rows:
        """Some of the rows; the caption stays with the first one."""
        table = replace(
            self.table, rows=self.table.rows[first:last], state=self.table.state[first:last]
        )
        caption = self.caption if first == 0 else ""
        return replace(self, table=table, caption=caption, whole=self.whole or self.table)

    def fitted(self, paper: Paper, wide: float) -> Rows:
        """The same in letters so small that no word has to be cut."""
        rows = self
        while _longest_words(rows.table, paper, rows.size).sum() > wide:
            rows = replace(rows, size=_SMALLER * rows.size)
        return rows

    def top(self, paper: Paper, wide: float) -> float:
        """Height of caption and head, [mm]."""
        words = _caption(self).height(paper, wide) if self.caption else 0.0
        if not any(self.table.heads):
            return words
        return words + self._tall(
            self._cells(paper, self.table.heads, "head", self._widths(paper, wide)), paper
        )

    def heights(self, paper: Paper, wide: float) -> list[float]:
        """Of every row, [mm]."""
        widths = self._widths(paper, wide)
        return [
            self._tall(self._cells(paper, row, self.table.mark(k), widths), paper)
            for k, row in enumerate(self.table.rows)
        ]

    def height(self, paper: Paper, wide: float) -> float:
        """Of everything and the room below, [mm]."""
        return self.top(paper, wide) + sum(self.heights(paper, wide)) + 2.0

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """Caption, head and rows with a hairline below each."""
        if self.caption:
            _caption(self).draw(paper, x, y, wide)
            y += _caption(self).height(paper, wide)
        paper.set_draw_color(HAIR)
        paper.set_line_width(0.15)
        widths = self._widths(paper, wide)
        rows = [(row, self.table.mark(k)) for k, row in enumerate(self.table.rows)]
        if any(self.table.heads):
            rows.insert(0, (self.table.heads, "head"))
        for row, state in rows:
            cells = self._cells(paper, row, state, widths)
            left = x
            for cell, width in zip(cells, widths, strict=True):
                place = (left, y + 0.5 * _TABLE_ROOM)
                paper.lines(cell.lines, place, self.size, colour=cell.colour, bold=cell.bold,
                            line=_TABLE_LINE)  # fmt: skip
                left += width
            y += self._tall(cells, paper)
            paper.line(x, y, x + wide, y)

    def _widths(self, paper: Paper, wide: float) -> tuple[float, ...]:
        table = self.whole or self.table
        key = (table, self.size, wide)
        if key not in paper.columns:
            paper.columns[key] = column_widths(table, paper, self.size, wide)
        return paper.columns[key]

    def _tall(self, cells: Sequence[_Cell], paper: Paper) -> float:
        """Height of a row, [mm]."""
        most = max(len(cell.lines) for cell in cells)
        return _TABLE_ROOM + paper.tall(most, self.size, _TABLE_LINE)

    def _cells(
        self, paper: Paper, texts: Sequence[str], state: str, widths: Sequence[float]
    ) -> list[_Cell]:
        """Lines and looks of a row."""
        found = []
        for head, text, width in zip(self.table.heads, texts, widths, strict=True):
            colour, bold = INK, state in ("head", "total")
            if head == "result" and state in _RESULTS:
                colour, bold = _RESULTS[state], state != "pass"
            lines = paper.wrap(text, self.size, width - _BETWEEN, bold=bold)
            found.append(_Cell(lines, colour, bold))
        if state in ("assumed", "memory"):
            found[-1] = replace(found[-1], colour=ACCENT)
        return found


def _caption(rows: Rows) -> Paragraph:
    return Paragraph(rows.caption, rows.size, SOFT)


def column_widths(table: Table, paper: Paper, size: float, wide: float) -> tuple[float, ...]:
    """Widths of the columns of a table, [mm]: all text on one line where it fits; otherwise every
    column is as wide as its longest word, and what is left goes where it saves most lines.

    Parameters
    ----------
    size : float
        Of the letters, [pt].
    wide : float
        Of the table, [mm].
    """
    whole = _widths(table, lambda cell, bold: paper.width_of(cell, size, bold=bold))
    natural = whole.max(axis=0) + _SPARE
    if natural.sum() <= wide:
        natural[-1] += wide - natural.sum()
        return tuple(natural.tolist())
    found = _longest_words(table, paper, size)
    if found.sum() > wide:
        return tuple((found * wide / found.sum()).tolist())
    step = (wide - found.sum()) / _STEPS
    for _ in range(_STEPS):
        tried = [found + step * (np.arange(len(found)) == j) for j in range(len(found))]
        costs = [
            np.maximum(np.where(whole + _SPARE < w, 1.0, _RAGGED * whole / (w - _BETWEEN)), 1.0)
            .max(axis=1)
            .sum()
            for w in tried
        ]
        found = tried[int(np.argmin(costs))]
    return tuple(found.tolist())


def _widths(table: Table, of: Callable[[str, bool], float]) -> npt.NDArray[np.float64]:
    """Of every cell, [mm], the head first."""
    bold = [table.mark(k) in ("total", "fail", "unproved") for k in range(len(table.rows))]
    rows = zip((table.heads, *table.rows), (True, *bold), strict=True)
    return np.array([[of(cell, strong) for cell in cells] for cells, strong in rows])


def _longest_words(table: Table, paper: Paper, size: float) -> npt.NDArray[np.float64]:
    """Widths of the columns in which no word has to be cut, [mm]."""
    words = _widths(
        table,
        lambda cell, bold: max(paper.width_of(w, size, bold=bold) for w in paper.words(cell)),
    )
    found: npt.NDArray[np.float64] = words.max(axis=0) + _SPARE
    return found
