"""Paper for a PDF on which texts are measured once, broken into lines and written.

fpdf2 can break texts itself, but measures every letter of every cell several times over; that
took longer than all the rest of a report's pages.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from fpdf import FPDF

from conegap.solver.figure_style import INK

__all__ = ["Paper", "broken"]

_LINE = 1.35
_ROUNDING = 1e-9


def broken(text: str, room: float, width: Callable[[str], float]) -> list[str]:
    """Lines of a text, broken at spaces, and inside a word only where it fits on no line.

    Parameters
    ----------
    text : str
        A line end in it ends a line.
    room : float
        Greatest width of a line, in the unit of ``width``.
    width : callable
        Width of a text, the sum of that of its letters.
    """
    space, room = width(" "), room + _ROUNDING
    lines = []
    for paragraph in text.split("\n"):
        line, used = "", 0.0
        for number, word in enumerate(paragraph.split(" ")):
            wide = width(word)
            if number and used + space + wide <= room:
                line, used = f"{line} {word}", used + space + wide
                continue
            if number:
                lines.append(line)
            while wide > room and len(word) > 1:
                fits = next(k for k in range(len(word), 0, -1) if k == 1 or width(word[:k]) <= room)
                lines.append(word[:fits])
                word = word[fits:]
                wide = width(word)
            line, used = word, wide
        lines.append(line)
    return lines


class _Widths(dict[str, float]):
    """Width of every letter of a face for a size of one point, measured when it is first met."""

    def __init__(self, measure: Callable[[str], float]) -> None:
        super().__init__()
        self._measure = measure

    def __missing__(self, letter: str) -> float:
        self[letter] = self._measure(letter)
        return self[letter]


class Paper(FPDF):
    """A4 pages in the house's letters, regular and bold; lengths in mm, letters in points."""

    def __init__(self) -> None:
        super().__init__(format="A4")
        import matplotlib

        folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        self.add_font("conegap", "", folder / "DejaVuSans.ttf")
        self.add_font("conegap", "B", folder / "DejaVuSans-Bold.ttf")
        self._widths = {style: _Widths(self._width_per_point) for style in ("", "B")}

    def _width_per_point(self, letter: str) -> float:
        return self.get_string_width(letter) / self.font_size_pt

    def letters(self, size: float, *, bold: bool = False, colour: str = INK) -> None:
        """Write in a size, weight and colour from here on."""
        self.set_font("conegap", "B" if bold else "", size)
        self.set_text_color(colour)

    def width_of(self, text: str) -> float:
        """Width of a text in the letters set, [mm]."""
        return self.font_size_pt * sum(map(self._widths[self.font_style].__getitem__, text))

    def lines_of(self, text: str, wide: float = 0.0) -> list[str]:
        """Lines of a text in the letters set.

        Parameters
        ----------
        text : str
        wide : float
            Width of the block with its sides; 0 reaches from here to the right margin, [mm].
        """
        wide = wide or self.w - self.r_margin - self.x
        return broken(text, wide - 2.0 * self.c_margin, self.width_of)

    def write_lines(self, lines: Sequence[str], height: float) -> None:
        """Write lines below each other from here on, with a new page where one is full.

        Parameters
        ----------
        lines : sequence of str
        height : float
            Of one line, [mm].
        """
        x = self.x
        for line in lines:
            if self.will_page_break(height):
                self.add_page()
            self.text(x + self.c_margin, self.y + 0.5 * height + 0.3 * self.font_size, line)
            self.set_xy(x, self.y + height)

    def block(self, text: str, wide: float = 0.0, *, leading: float = _LINE) -> None:
        """A text in the letters set, broken into lines; the place is then below it.

        Parameters
        ----------
        text : str
        wide : float
            As for `lines_of`, [mm].
        leading : float
            Height of a line over the size of the letters, [-].
        """
        self.write_lines(self.lines_of(text, wide), leading * self.font_size)

    def height_of(self, text: str, wide: float = 0.0, *, leading: float = _LINE) -> float:
        """Height of such a `block`, [mm]."""
        return len(self.lines_of(text, wide)) * leading * self.font_size
