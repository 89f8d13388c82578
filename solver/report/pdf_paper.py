"""Letters on A4 pages: their widths, where lines break, and lines drawn at a place.

Lines are broken here and not by the library, so that a layout can be tried many times before one is
drawn: the width of a word is measured once, and a number is never parted from its unit.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from fpdf import FPDF

from conegap.solver.common.style import INK, SOFT

__all__ = ["FOOT", "GOOD", "HEIGHT", "LINE", "MARGIN", "TOP", "WIDTH", "Paper"]

MARGIN, TOP, FOOT = 14.0, 13.0, 16.0
"""Margins of a page at its sides, its top and its foot, [mm]."""
WIDTH, HEIGHT = 210.0 - 2.0 * MARGIN, 297.0
"""Width inside the margins and height of an A4 page, [mm]."""
LINE = 1.35
"""Height of a line over that of its letters."""
GOOD = "#1e6a43"
# Of a letter above its base line, over the size of the letters (DejaVu Sans: 0.93), and [mm] of a
# point.
_RISE, _POINT = 0.93, 25.4 / 72.0
# Size at which words are measured, [pt]; widths are proportional.
_MEASURED = 10.0
# A number and its unit, a range and "k = 2" stay on one line.
_GLUED = re.compile(
    r"(?<=\d) (?=(?:%|°|[kMGmµnp]?(?:eV|Pa|Hz|V|A|m|W|J|N|Ω|s|K|g)(?![A-Za-z])))|(?<=\bk) (?== )"
    r"|(?<=[=±≤×]) (?=\d)|(?<=\d) (?=×)"
    r"|(?<=[\dA-Za-zΩ%°²³]) (?=to \d)|(?<=\bto) (?=\d)"
)


class Paper(FPDF):
    """A4 pages in conegap's typefaces, with the digest of the inputs on every page.

    Parameters
    ----------
    digest : str
        SHA-256 of the inputs.
    """

    def __init__(self, digest: str = "") -> None:
        super().__init__(format="A4")
        self.digest = digest
        self.set_margins(MARGIN, TOP, MARGIN)
        self.c_margin = 0.0
        # Everything is drawn at a place that was chosen before.
        self.set_auto_page_break(False)
        import matplotlib

        folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        self.add_font("conegap", "", folder / "DejaVuSans.ttf")
        self.add_font("conegap", "B", folder / "DejaVuSans-Bold.ttf")
        self.set_lang("en")
        # A layout is tried many times with the same texts.
        self._known: dict[tuple[str, bool], float] = {}
        self._words: dict[str, list[str]] = {}
        self._wrapped: dict[tuple[str, float, float, bool], tuple[str, ...]] = {}
        self.columns: dict[tuple[object, float, float], tuple[float, ...]] = {}
        """Widths of columns that were found before, by table, size of letters and width."""

    def footer(self) -> None:
        """Digest and page number; called by the library for every page."""
        self.letters(6.5, colour=SOFT)
        self.set_xy(MARGIN, -11.0)
        self.cell(0.0, 4.0, f"SHA-256 {self.digest}")
        self.set_x(MARGIN)
        self.cell(0.0, 4.0, f"page {self.page_no()} of {{nb}}", align="R")

    def letters(self, size: float, *, bold: bool = False, colour: str = INK) -> None:
        """Choose size [pt], weight and colour of the letters."""
        self.set_font("conegap", "B" if bold else "", size)
        self.set_text_color(colour)

    def width_of(self, text: str, size: float, *, bold: bool = False) -> float:
        """Width of a word or text on one line, [mm].

        Parameters
        ----------
        size : float
            Of the letters, [pt].
        """
        if (text, bold) not in self._known:
            self.set_font("conegap", "B" if bold else "", _MEASURED)
            self._known[text, bold] = self.get_string_width(text)
        return self._known[text, bold] * size / _MEASURED

    def words(self, text: str) -> list[str]:
        """What a line may not part; a number and its unit are joined by a no-break space."""
        if text not in self._words:
            self._words[text] = _GLUED.sub("\N{NO-BREAK SPACE}", text).split(" ")
        return self._words[text]

    def wrap(self, text: str, size: float, wide: float, *, bold: bool = False) -> tuple[str, ...]:
        """The lines of a paragraph; a word that is wider than the column is cut.

        Parameters
        ----------
        size : float
            Of the letters, [pt].
        wide : float
            Of the column, [mm].
        """
        key = (text, size, wide, bold)
        if key not in self._wrapped:
            self._wrapped[key] = self._broken(text, size, wide, bold=bold)
        return self._wrapped[key]

    def _broken(self, text: str, size: float, wide: float, *, bold: bool) -> tuple[str, ...]:
        lines: list[str] = []
        line, used = "", 0.0
        space = self.width_of(" ", size, bold=bold)
        for word in self.words(text):
            width = self.width_of(word, size, bold=bold)
            if line and used + space + width > wide:
                lines.append(line)
                line, used = "", 0.0
            while width > wide and len(word) > 1:
                fit = self._letters_that_fit(word, size, wide, bold=bold)
                lines.append(word[:fit])
                word = word[fit:]
                width = self.width_of(word, size, bold=bold)
            line, used = (f"{line} {word}", used + space + width) if line else (word, width)
        return tuple(one.replace("\N{NO-BREAK SPACE}", " ") for one in (*lines, line))

    def _letters_that_fit(self, word: str, size: float, wide: float, *, bold: bool) -> int:
        """How many letters of a word that is too wide to set on a line, 1 or more."""
        room = wide
        for k, letter in enumerate(word):
            room -= self.width_of(letter, size, bold=bold)
            if room < 0.0:
                return max(k, 1)
        return len(word)

    def lines(
        self,
        lines: Sequence[str],
        place: tuple[float, float],
        size: float,
        *,
        colour: str = INK,
        bold: bool = False,
        line: float = LINE,
    ) -> None:
        """Lines of text, one below the other.

        Parameters
        ----------
        place : tuple of float
            Upper left corner, [mm].
        size : float
            Of the letters, [pt].
        line : float
            Height of a line over that of its letters.
        """
        self.letters(size, bold=bold, colour=colour)
        x, y = place
        base = y + (0.5 * (line - 1.17) + _RISE) * size * _POINT
        for k, text in enumerate(lines):
            self.text(x, base + k * line * size * _POINT, text)

    @staticmethod
    def tall(count: int, size: float, line: float = LINE) -> float:
        """Height of so many lines of letters of a size [pt], [mm]."""
        return count * line * size * _POINT
