"""Texts on a drawing that keep out of each other's way.

Every text tries a list of places and takes the first that is free.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.common.style import INK, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox

__all__ = ["LINE", "Across", "Place", "Placer"]

Across = Literal["left", "center", "right"]
Upright = Literal["bottom", "center", "top"]
Place = tuple[float, float, Across, Upright]
"""x, z and how a text is aligned there, in units of the axes."""

# Height of letters and width of lines, [pt], legible in print at the figures' own size.
_SIZE = 7.5
# Width of dimension lines, [pt].
LINE = 0.6
# Arrowheads of dimension lines: slender, closed, as on drawings.
_ARROW = {
    "arrowstyle": "-|>,head_length=0.34,head_width=0.12",
    "lw": LINE,
    "color": INK,
    "shrinkA": 0.0,
    "shrinkB": 0.0,
    "mutation_scale": 11.0,
}


class Placer:
    """Keeps the texts and lines of a drawing apart; lengths in points of the page.

    Parameters
    ----------
    axes : Axes
        With its limits set; nothing may change them afterwards.
    unit : float
        Length of the axes' unit, [m].
    """

    def __init__(self, axes: Axes, unit: float) -> None:
        self.axes = axes
        self.unit = unit
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        figure = axes.get_figure(root=True)
        assert figure is not None
        if not isinstance(figure.canvas, FigureCanvasAgg):
            FigureCanvasAgg(figure)
        engine = figure.get_layout_engine()
        if engine is not None:
            engine.execute(figure)
        axes.apply_aspect()
        self._renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
        self._taken: list[Bbox] = []
        self._lines: FloatArray = np.empty((0, 2))
        self._overlap = 0.0
        start, end = axes.transData.transform([[0.0, 0.0], [1.0, 0.0]])
        dots = float(figure.dpi) / 72.0
        self.points_per_unit = float(end[0] - start[0]) / dots
        self._dots = dots

    def points(self, length: float) -> float:
        """A length of the section on the page, [pt]."""
        return length / self.unit * self.points_per_unit

    def length(self, points: float) -> float:
        """A length on the page in units of the axes."""
        return points / self.points_per_unit

    def text(
        self,
        words: str,
        places: Sequence[Place],
        *,
        size: float = _SIZE,
        colour: str = INK,
        paper: bool = True,
    ) -> tuple[Text, Place]:
        """Write at the first free place.

        Parameters
        ----------
        words : str
        places : sequence of (x, z, horizontal, vertical alignment)
            In units of the axes, best first.
        size : float
            [pt].
        colour : str
        paper : bool
            Put paper behind the words.

        Returns
        -------
        Text, place
            The text and the place taken; the last one when none is free.
        """

        frame = self.axes.get_window_extent(self._renderer)
        behind = {"boxstyle": "square,pad=0.12", "fc": PAPER, "ec": "none"} if paper else None
        text = self.axes.text(
            0.0, 0.0, words, fontsize=size, color=colour, zorder=9, bbox=behind, linespacing=1.15
        )
        best: tuple[float, Place, Bbox] | None = None
        for place in places:
            text.set_position(place[:2])
            text.set_horizontalalignment(place[2])
            text.set_verticalalignment(place[3])
            box = text.get_window_extent(self._renderer).padded(1.5 * self._dots)
            overlap = sum(_common_area(box, other) for other in self._taken)
            overlap += box.width * box.height - _common_area(box, frame)
            overlap += 0.02 * box.width * box.height * self._lines_in(box)
            if best is None or overlap < best[0] - 1e-6:
                best = (overlap, place, box)
            if overlap <= 1e-6:
                break
        assert best is not None
        self._overlap = best[0]
        text.set_position(best[1][:2])
        text.set_horizontalalignment(best[1][2])
        text.set_verticalalignment(best[1][3])
        self._taken.append(best[2])
        return text, best[1]

    def text_if_free(
        self,
        words: str,
        places: Sequence[Place],
        *,
        size: float = _SIZE,
        colour: str = INK,
    ) -> Text | None:
        """Write at the first free place, or not at all; as `text` otherwise."""
        text, _ = self.text(words, places, size=size, colour=colour)
        if self._overlap > 1e-6:
            text.remove()
            self._taken.pop()
            return None
        return text

    def avoid(self, points: FloatArray) -> None:
        """Prefer places off these points of outlines, (n, 2) array, in units of the axes."""
        self._lines = np.vstack([self._lines, self.axes.transData.transform(points)])

    def _lines_in(self, box: Bbox) -> int:
        x, y = self._lines.T
        inside = (x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)
        return min(int(np.count_nonzero(inside)), 10)

    def width(self, words: str, *, size: float = _SIZE) -> float:
        """Width of a text in units of the axes, its letters of a size in [pt]."""
        text = self.axes.text(0.0, 0.0, words, fontsize=size)
        width = text.get_window_extent(self._renderer).width / self._dots
        text.remove()
        return self.length(width)

    def line(self, first: tuple[float, float], last: tuple[float, float], **look: object) -> None:
        """A thin straight line, in units of the axes."""
        settings: dict[str, object] = {
            "color": INK,
            "lw": LINE,
            "zorder": 8,
            "clip_on": False,
            "solid_capstyle": "butt",
        }
        settings.update(look)
        self.axes.plot(
            [first[0], last[0]],
            [first[1], last[1]],
            **settings,  # type: ignore[arg-type]
        )

    def arrow(self, tail: tuple[float, float], head: tuple[float, float]) -> None:
        """An arrow, in units of the axes."""
        self.axes.annotate(
            "", xy=head, xytext=tail, arrowprops=dict(_ARROW), zorder=8, annotation_clip=False
        )


def _common_area(one: Bbox, other: Bbox) -> float:
    width = min(one.x1, other.x1) - max(one.x0, other.x0)
    height = min(one.y1, other.y1) - max(one.y0, other.y0)
    return float(max(width, 0.0) * max(height, 0.0))
