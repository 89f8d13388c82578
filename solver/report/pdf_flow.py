"""Where the boxes of a report go: down the columns of a page, from page to page.

Text and tables run on; a figure that does not fit where it is named waits for the next column that
has room for it. The columns of the last page end at the same height.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from conegap.solver.report.pdf_boxes import Box, Heading, Shown
from conegap.solver.report.pdf_paper import FOOT, HEIGHT, MARGIN, TOP, WIDTH, Paper
from conegap.solver.report.pdf_table import Rows

__all__ = ["Laid", "Placed", "fitted", "laid"]

# Between two columns, [mm].
_GUTTER = 7.0
# Rows of a table that stay together at its beginning and at its end, and of one that is not parted.
_TOGETHER, _SHORT = 3, 8
# A figure may shrink so far to fit below what stands on its column already.
_SHRINK = 0.8
# Halvings of the height at which the last columns end: to 1 mm.
_HALVINGS = 8


@dataclass(frozen=True)
class Placed:
    """A box at its place: page 0 is the first one, the rest in [mm]."""

    page: int
    x: float
    y: float
    wide: float
    box: Box


@dataclass(frozen=True)
class Laid:
    """Boxes at their places.

    Parameters
    ----------
    placed : tuple of Placed
    ends : tuple of tuple of float
        Where each column of each page ends, [mm] from the upper edge.
    """

    placed: tuple[Placed, ...]
    ends: tuple[tuple[float, ...], ...]

    @property
    def pages(self) -> int:
        """How many."""
        return len(self.ends)

    @property
    def blank(self) -> float:
        """Of the last page, the share of its height that stays empty, over all columns."""
        high = HEIGHT - FOOT - TOP
        return sum(HEIGHT - FOOT - end for end in self.ends[-1]) / (len(self.ends[-1]) * high)


class _Flow:
    """Columns that are being filled."""

    def __init__(self, paper: Paper, columns: int, floor: Callable[[int], float]) -> None:
        self.paper, self.columns, self.floor = paper, columns, floor
        self.wide = (WIDTH - _GUTTER * (columns - 1)) / columns
        self.page, self.column, self.y = 0, 0, TOP
        self.ends = [[TOP] * columns]
        self.placed: list[Placed] = []
        self.waiting: list[Shown] = []

    @property
    def room(self) -> float:
        """Height left in the column, [mm]."""
        return self.floor(self.page) - self.y

    def further(self) -> None:
        """On to the next column, whose first place is for a figure that waits."""
        if self.column + 1 < self.columns:
            self.column += 1
        else:
            self.page, self.column = self.page + 1, 0
            self.ends.append([TOP] * self.columns)
        self.y = TOP
        self.place_waiting()

    def place(self, box: Box, tall: float) -> None:
        """At the pen."""
        x = MARGIN + self.column * (self.wide + _GUTTER)
        self.placed.append(Placed(self.page, x, self.y, self.wide, box))
        self.y += tall
        self.ends[self.page][self.column] = self.y

    def put(self, box: Box, held: float = 0.0) -> None:
        """A box, and below it room for what must not be parted from it, [mm]."""
        if isinstance(box, Shown):
            self.waiting.append(box)
            self.place_waiting()
            return
        if isinstance(box, Rows):
            self._rows(box)
            return
        tall = box.height(self.paper, self.wide)
        if tall + held > self.room and self.y > TOP:
            self.further()
            if tall + held > self.room and self.y > TOP:
                self.further()
        self.place(box, tall)

    def place_waiting(self) -> None:
        """The figures that wait, as long as there is room."""
        while self.waiting:
            figure = self.waiting[0]
            tall = figure.height(self.paper, self.wide)
            if tall > self.room:
                up = figure.width(self.wide) / figure.aspect
                least = _SHRINK if self.y > TOP else 0.0
                if tall - self.room > (1.0 - least) * up:
                    return
                figure = Shown(figure.picture, up - (tall - self.room), figure.size)
                tall = self.room
            self.waiting.pop(0)
            self.place(figure, tall)

    def finish(self) -> None:
        """Set what still waits."""
        while self.waiting:
            self.further()

    def least(self, box: Box) -> float:
        """Height of what of a box must stand below its heading, [mm]."""
        if isinstance(box, Rows):
            box = box.fitted(self.paper, self.wide)
            heights = box.heights(self.paper, self.wide)
            kept = len(heights) if len(heights) <= _SHORT else _TOGETHER
            return box.top(self.paper, self.wide) + sum(heights[:kept])
        return 0.0 if isinstance(box, Shown) else box.height(self.paper, self.wide)

    def _rows(self, box: Rows) -> None:
        """A table, parted where neither its first nor its last rows stand alone."""
        box = box.fitted(self.paper, self.wide)
        while True:
            heights = box.heights(self.paper, self.wide)
            count, fit = len(heights), self._rows_that_fit(box, heights)
            whole = count if count <= _SHORT and box.whole is None else _TOGETHER
            if fit < min(whole, count) and self.y > TOP:
                self.further()
                continue
            fit = max(fit, 1)
            part = box if fit == count else box.part(0, fit)
            self.place(part, min(part.height(self.paper, self.wide), max(self.room, 1.0)))
            if fit == count:
                return
            box = box.part(fit, count)
            self.further()

    def _rows_that_fit(self, box: Rows, heights: Sequence[float]) -> int:
        """How many rows to set here: all, or so many that some stay for the next column."""
        left, fit = self.room - box.top(self.paper, self.wide), 0
        for height in heights:
            left -= height
            if left < 0.0:
                break
            fit += 1
        return fit if fit == len(heights) else min(fit, max(len(heights) - _TOGETHER, 0))


def laid(
    paper: Paper,
    boxes: Sequence[Box],
    *,
    columns: int = 1,
    last: tuple[int, float] | None = None,
) -> Laid:
    """Boxes in columns.

    Parameters
    ----------
    boxes : sequence of Box
        In the order of reading; figures may move on.
    columns : int
        Of a page.
    last : tuple of int and float, or None
        A page whose columns end higher than others, and where, [mm].
    """
    low = HEIGHT - FOOT

    def floor(page: int) -> float:
        return last[1] if last is not None and page == last[0] else low

    flow = _Flow(paper, columns, floor)
    for k, box in enumerate(boxes):
        # A figure may float away from its heading.
        next_ones = (one for one in boxes[k + 1 :] if not isinstance(one, Shown))
        held = flow.least(next(next_ones)) if isinstance(box, Heading) else 0.0
        flow.put(box, held)
    flow.finish()
    return Laid(tuple(flow.placed), tuple(tuple(ends) for ends in flow.ends))


def fitted(
    paper: Paper,
    boxes: Callable[[float], Sequence[Box]],
    scales: Sequence[float],
    *,
    columns: int = 1,
) -> Laid:
    """Boxes at the size at which they need fewest pages and leave least of the last one empty.

    Parameters
    ----------
    boxes : callable
        Gives the boxes for letters so many times as large as usual.
    scales : sequence of float
        Sizes to try, [-].
    columns : int
        Of a page.
    """
    tried = {scale: laid(paper, boxes(scale), columns=columns) for scale in scales}
    scale = min(tried, key=lambda one: (tried[one].pages, tried[one].blank))
    best = tried[scale]
    if columns == 1:
        return best
    page = best.pages - 1
    high, low = HEIGHT - FOOT, TOP
    for _ in range(_HALVINGS):
        middle = 0.5 * (high + low)
        found = laid(paper, boxes(scale), columns=columns, last=(page, middle))
        if found.pages == best.pages:
            high, best = middle, found
        else:
            low = middle
    return best
