"""A table on the pages of a PDF: every cell is broken into lines once, then rows are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from conegap.solver.figure_style import ACCENT, HAIR, INK, LIMIT
from conegap.solver.pdf_letters import Paper, broken
from conegap.solver.report_tables import Table

__all__ = ["GOOD", "table_height", "write_table"]

GOOD = "#1e6a43"
"""Colour of what passes."""
_SHORT = 20.0
_ABOVE, _RIGHT = 0.35, 1.2
_LEADING = 1.3


@dataclass(frozen=True)
class _Look:
    """How a cell is written."""

    bold: bool = False
    colour: str = INK


@dataclass(frozen=True)
class _Row:
    """The lines of every cell of a row, and their looks."""

    cells: tuple[tuple[list[str], _Look], ...]

    def height(self, line: float) -> float:
        """Height of the row for that of a line, [mm]."""
        return max(len(lines) for lines, _ in self.cells) * line + 2.0 * _ABOVE


def table_height(paper: Paper, table: Table, size: float, width: float) -> float:
    """Height of a table by its first column, where its long texts stand, [mm].

    Parameters
    ----------
    paper : Paper
    table : Table
    size : float
        Of the letters, [pt].
    width : float
        [mm].
    """
    paper.letters(size, bold=True)
    wide = _columns(paper, table, width)[0] - _RIGHT
    lines = 1 + sum(len(paper.lines_of(row[0], wide)) for row in table.rows)
    return lines * _LEADING * paper.font_size + 2.0 * _ABOVE * (len(table.rows) + 1)


def write_table(paper: Paper, table: Table, size: float, width: float) -> None:
    """Write a table from the left margin; its head is repeated on every page.

    Parameters
    ----------
    paper : Paper
    table : Table
    size : float
        Of the letters, [pt].
    width : float
        [mm].
    """
    paper.letters(size)
    columns = _columns(paper, table, width)
    head = _row(paper, size, table.heads, [_Look(bold=True)] * len(columns), columns)
    rows = [
        _row(paper, size, cells, [_look(table, k, j) for j in range(len(cells))], columns)
        for k, cells in enumerate(table.rows)
    ]
    paper.set_draw_color(HAIR)
    paper.set_line_width(0.15)
    line = _LEADING * paper.font_size
    first = rows[0].height(line) if rows else 0.0
    if paper.will_page_break(head.height(line) + first):
        paper.add_page()
    _write_row(paper, size, head, columns)
    for row in rows:
        if paper.will_page_break(row.height(line)):
            _rule(paper, width)
            paper.add_page()
            _write_row(paper, size, head, columns)
        _rule(paper, width)
        _write_row(paper, size, row, columns)


def _rule(paper: Paper, width: float) -> None:
    """A line between two rows."""
    paper.line(paper.l_margin, paper.y, paper.l_margin + width, paper.y)


def _row(
    paper: Paper,
    size: float,
    texts: Sequence[str],
    looks: Sequence[_Look],
    columns: Sequence[float],
) -> _Row:
    cells = []
    for text, look, column in zip(texts, looks, columns, strict=True):
        paper.letters(size, bold=look.bold)
        room = column - _RIGHT - paper.c_margin
        cells.append((broken(text, room, paper.width_of), look))
    return _Row(tuple(cells))


def _write_row(paper: Paper, size: float, row: _Row, columns: Sequence[float]) -> None:
    top, x = paper.y, paper.l_margin
    height = _LEADING * paper.font_size
    for (lines, look), column in zip(row.cells, columns, strict=True):
        paper.letters(size, bold=look.bold, colour=look.colour)
        for k, line in enumerate(lines):
            middle = top + _ABOVE + (k + 0.5) * height
            paper.text(x + paper.c_margin, middle + 0.3 * paper.font_size, line)
        x += column
    paper.set_xy(paper.l_margin, top + row.height(height))


def _look(table: Table, row: int, column: int) -> _Look:
    """Look of a cell, from the mark of its row."""
    state = table.mark(row)
    if column == len(table.heads) - 1 and state in ("assumed", "memory"):
        return _Look(colour=ACCENT)
    if column == 3 and state in ("fail", "pass"):
        return _Look(bold=True, colour=LIMIT) if state == "fail" else _Look(colour=GOOD)
    return _Look(bold=state == "total")


def _columns(paper: Paper, table: Table, width: float) -> list[float]:
    """Widths of the columns, [mm]: short ones keep their text on one line, long ones share."""
    natural = []
    for j, head in enumerate(table.heads):
        texts = [head, *(row[j] for row in table.rows)]
        natural.append(1.08 * max(paper.width_of(text) for text in texts) + 2.8)
    shares = natural
    if sum(natural) > width:
        base = [min(n, _SHORT) for n in natural]
        rest = max(width - sum(base), 0.0) / (sum(natural) - sum(base))
        shares = [b + rest * (n - b) for n, b in zip(natural, base, strict=True)]
    return [share * width / sum(shares) for share in shares]
