"""What stands on a printed page: paragraphs, headings, figures, and boxes side by side.

A box knows its height in a column of some width and draws itself at a place; where it goes is the
business of `pdf_flow`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from conegap.solver.common.style import HAIR, INK, SOFT
from conegap.solver.figures.picture import Picture
from conegap.solver.report.pdf_paper import Paper

__all__ = [
    "Abreast",
    "Beside",
    "Box",
    "Heading",
    "Paragraph",
    "Shown",
    "Stack",
    "shown",
]

# Between figures or boxes that stand side by side, above and below a figure, [mm].
_GUTTER, _ABOVE, _BELOW = 6.0, 1.2, 2.4
_INCH = 25.4


class Box(Protocol):
    """Something with a height that can be drawn."""

    def height(self, paper: Paper, wide: float) -> float:
        """In a column of some width, [mm]."""

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """At its upper left corner, [mm]."""


@dataclass(frozen=True)
class Paragraph:
    """A paragraph, with its room below, [mm]."""

    text: str
    size: float
    colour: str = INK
    bold: bool = False
    below: float = 0.6

    def height(self, paper: Paper, wide: float) -> float:
        """Of its lines and the room below them, [mm]."""
        lines = paper.wrap(self.text, self.size, wide, bold=self.bold)
        return paper.tall(len(lines), self.size) + self.below

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """Line by line."""
        lines = paper.wrap(self.text, self.size, wide, bold=self.bold)
        paper.lines(lines, (x, y), self.size, colour=self.colour, bold=self.bold)


@dataclass(frozen=True)
class Heading:
    """A heading: with a rule above it and an entry in the outline, or a lesser one."""

    text: str
    size: float
    part: bool = True

    @property
    def above(self) -> float:
        """Room above it, [mm]."""
        return 3.2 if self.part else 1.4

    def height(self, paper: Paper, wide: float) -> float:
        """With the room above it, [mm]."""
        lines = paper.wrap(self.text, self.size, wide, bold=True)
        return self.above + paper.tall(len(lines), self.size) + 0.8

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """The rule, the words, and the entry of a part."""
        if self.part:
            paper.set_draw_color(HAIR)
            paper.set_line_width(0.2)
            paper.line(x, y + 1.6, x + wide, y + 1.6)
            paper.set_y(y)
            paper.start_section(self.text)
        lines = paper.wrap(self.text, self.size, wide, bold=True)
        paper.lines(lines, (x, y + self.above), self.size, bold=True)


@dataclass(frozen=True)
class Shown:
    """A figure above its caption.

    Parameters
    ----------
    picture : Picture
    tallest : float
        Its greatest height, [mm].
    size : float
        Of the caption's letters, [pt], 0 for none.
    """

    picture: Picture
    tallest: float
    size: float

    @property
    def aspect(self) -> float:
        """Width over height."""
        across, up = (float(v) for v in self.picture.figure.get_size_inches())
        return across / up

    def width(self, wide: float) -> float:
        """Of the figure in a column of some width, [mm]: none is larger than it was drawn, so that
        it keeps its 200 dots per inch."""
        own = _INCH * float(self.picture.figure.get_size_inches()[0])
        return min(wide, own, self.tallest * self.aspect)

    def height(self, paper: Paper, wide: float) -> float:
        """With its caption, [mm]."""
        tall = _ABOVE + self.width(wide) / self.aspect + _BELOW
        if not self.size:
            return tall
        return tall + paper.tall(len(paper.wrap(self.picture.caption, self.size, wide)), self.size)

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """The figure as pixels, its words for those who cannot see it, and its caption."""
        across = self.width(wide)
        up = across / self.aspect
        y += _ABOVE
        paper.image(self.picture.raster, x=x, y=y, w=across, h=up, alt_text=self.picture.alt)
        if self.size:
            lines = paper.wrap(self.picture.caption, self.size, wide)
            paper.lines(lines, (x, y + up + 0.8), self.size, colour=SOFT)


@dataclass(frozen=True)
class Stack:
    """Boxes one below the other that stay together."""

    boxes: tuple[Box, ...]

    def height(self, paper: Paper, wide: float) -> float:
        """Of all, [mm]."""
        return sum(box.height(paper, wide) for box in self.boxes)

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """From above."""
        for box in self.boxes:
            box.draw(paper, x, y, wide)
            y += box.height(paper, wide)


@dataclass(frozen=True)
class Beside:
    """Two boxes side by side, the left one with its share of the width."""

    left: Box
    right: Box
    share: float

    def _widths(self, wide: float) -> tuple[float, float]:
        left = self.share * (wide - _GUTTER)
        return left, wide - _GUTTER - left

    def height(self, paper: Paper, wide: float) -> float:
        """Of the higher one, [mm]."""
        left, right = self._widths(wide)
        return max(self.left.height(paper, left), self.right.height(paper, right))

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """Both from the same height."""
        left, right = self._widths(wide)
        self.left.draw(paper, x, y, left)
        self.right.draw(paper, x + left + _GUTTER, y, right)


@dataclass(frozen=True)
class Abreast:
    """Two figures as high as each other."""

    first: Shown
    second: Shown

    def _share(self) -> float:
        return self.first.aspect / (self.first.aspect + self.second.aspect)

    def height(self, paper: Paper, wide: float) -> float:
        """With the longer caption, [mm]."""
        return Beside(self.first, self.second, self._share()).height(paper, wide)

    def draw(self, paper: Paper, x: float, y: float, wide: float) -> None:
        """Both from the same height."""
        Beside(self.first, self.second, self._share()).draw(paper, x, y, wide)


def shown(
    pictures: Mapping[str, Picture], names: Sequence[str], tallest: float, size: float
) -> list[Shown]:
    """The figures of some names that there are.

    Parameters
    ----------
    pictures : mapping of str to Picture
    tallest : float
        Greatest height, [mm].
    size : float
        Of the captions' letters, [pt], 0 for none.
    """
    return [Shown(pictures[name], tallest, size) for name in names if name in pictures]
