"""Dimension lines on a drawing, placed so that no two texts lie on each other.

Upright dimensions stand in lanes to the right of the section, level ones at their own height,
radii and angles hang on leaders.  Every text tries a list of places and takes the first that is
free.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.geometries.section import DimensionMark
from conegap.solver.figure_style import INK, PAPER, SOFT, pretty

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox

__all__ = ["Placer", "draw_dimensions"]

_SIZE = 7.5
_LINE = 0.6
_ARROW = {"arrowstyle": "-|>,head_length=0.34,head_width=0.12", "lw": _LINE, "color": INK,
          "shrinkA": 0.0, "shrinkB": 0.0, "mutation_scale": 11.0}


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
        figure.draw_without_rendering()
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
        places: Sequence[tuple[float, float, str, str]],
        *,
        size: float = _SIZE,
        colour: str = INK,
        paper: bool = True,
    ) -> tuple[Text, tuple[float, float, str, str]]:
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
        from matplotlib.transforms import Bbox

        frame = self.axes.get_window_extent(self._renderer)
        behind = {"boxstyle": "square,pad=0.12", "fc": PAPER, "ec": "none"} if paper else None
        text = self.axes.text(
            0.0, 0.0, words, fontsize=size, color=colour, zorder=9, bbox=behind, linespacing=1.15
        )
        best: tuple[float, tuple[float, float, str, str], Bbox] | None = None
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
        places: Sequence[tuple[float, float, str, str]],
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

    def keep_free(self, low: tuple[float, float], high: tuple[float, float]) -> None:
        """Keep texts out of a rectangle, in units of the axes."""
        from matplotlib.transforms import Bbox

        a, b = self.axes.transData.transform([low, high])
        self._taken.append(Bbox([[min(a[0], b[0]), min(a[1], b[1])],
                                 [max(a[0], b[0]), max(a[1], b[1])]]))

    def avoid(self, points: FloatArray) -> None:
        """Prefer places off these points of outlines, (n, 2) array, in units of the axes."""
        self._lines = np.vstack([self._lines, self.axes.transData.transform(points)])

    def _lines_in(self, box: Bbox) -> int:
        x, y = self._lines.T
        inside = (x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)
        return min(int(np.count_nonzero(inside)), 10)

    def width(self, words: str, size: float = _SIZE) -> float:
        """Width of a text in units of the axes."""
        text = self.axes.text(0.0, 0.0, words, fontsize=size)
        width = text.get_window_extent(self._renderer).width / self._dots
        text.remove()
        return self.length(width)

    def line(self, first: tuple[float, float], last: tuple[float, float], **look: object) -> None:
        """A thin straight line, in units of the axes."""
        settings: dict[str, object] = {"color": INK, "lw": _LINE, "zorder": 8, "clip_on": False,
                                       "solid_capstyle": "butt"}
        settings.update(look)
        self.axes.plot(
            [first[0], last[0]], [first[1], last[1]], **settings  # type: ignore[arg-type]
        )

    def arrow(self, tail: tuple[float, float], head: tuple[float, float]) -> None:
        """An arrow, in units of the axes."""
        self.axes.annotate(
            "", xy=head, xytext=tail, arrowprops=dict(_ARROW), zorder=8, annotation_clip=False
        )


def draw_dimensions(
    placer: Placer, marks: Sequence[DimensionMark], lane: float, *, unit: float
) -> None:
    """Draw dimension lines.

    Parameters
    ----------
    placer : Placer
    marks : sequence of DimensionMark
    lane : float
        x of the first lane for upright dimensions, in units of the axes.
    unit : float
        Length of the axes' unit, [m].
    """
    scaled = [(m, np.array(m.first) / unit, np.array(m.last) / unit) for m in marks]
    upright = [s for s in scaled if s[0].kind == "linear" and _upright(s[1], s[2])]
    level = [s for s in scaled if s[0].kind == "linear" and not _upright(s[1], s[2])]
    for mark, first, last in sorted(level, key=lambda s: abs(s[2][0] - s[1][0])):
        _level_dimension(placer, pretty(mark.label), first, last)
    _upright_dimensions(placer, upright, lane)
    for mark, first, last in scaled:
        if mark.kind == "radius":
            _radius(placer, pretty(mark.label), first, last)
        elif mark.kind == "angle":
            _angle(placer, pretty(mark.label), first, last, whole="included" in mark.label)


def _upright(first: FloatArray, last: FloatArray) -> bool:
    return bool(abs(last[1] - first[1]) >= abs(last[0] - first[0]))


def _level_dimension(placer: Placer, words: str, first: FloatArray, last: FloatArray) -> None:
    left, right = sorted((float(first[0]), float(last[0])))
    z = float(first[1])
    room, step, tail = placer.width(words), placer.length(12.0), placer.length(14.0)
    if room + placer.length(26.0) <= right - left:
        middle = (left + right) / 2.0
        aside = 0.25 * (right - left)
        places = [(x, z, "center", "center") for x in (middle, middle + aside, middle - aside)]
        placer.arrow((middle, z), (left, z))
        placer.arrow((middle, z), (right, z))
        placer.text(words, places)
        return
    placer.arrow((left - tail, z), (left, z))
    placer.arrow((right + tail, z), (right, z))
    placer.line((left, z), (right, z))
    gap = placer.length(2.0)
    places = []
    for away in (0.0, placer.length(24.0), placer.length(48.0)):
        for k in (0, 1, -1, 2, -2):
            places.append((left - tail - gap - away, z + k * step, "right", "center"))
            places.append((right + tail + gap + away, z + k * step, "left", "center"))
    _, place = placer.text(words, places)
    foot = left - tail if place[2] == "right" else right + tail
    placer.line((foot, z), (place[0], place[1]))


def _upright_dimensions(
    placer: Placer, marks: list[tuple[DimensionMark, FloatArray, FloatArray]], lane: float
) -> None:
    """Upright dimensions in as few lanes as keep lines and texts apart."""
    pitch, gap = placer.length(17.0), placer.length(3.0)
    taken: list[list[tuple[float, float]]] = []
    for mark, first, last in sorted(marks, key=lambda m: abs(m[1][1] - m[2][1])):
        low, high = sorted((float(first[1]), float(last[1])))
        number = 0
        while number < len(taken) and any(
            low < other_high - 1e-9 and high > other_low + 1e-9
            for other_low, other_high in taken[number]
        ):
            number += 1
        if number == len(taken):
            taken.append([])
        taken[number].append((low, high))
        x = lane + number * pitch
        for point in (first, last):
            placer.line(
                (min(float(point[0]), lane) + gap, float(point[1])), (x + gap, float(point[1])),
                color=SOFT, lw=0.45, zorder=5,
            )
        _upright_dimension(placer, pretty(mark.label), x, low, high)


def _upright_dimension(placer: Placer, words: str, x: float, low: float, high: float) -> None:
    gap, tail, step = placer.length(4.0), placer.length(12.0), placer.length(11.0)
    middle = (low + high) / 2.0
    if high - low >= placer.length(15.0):
        placer.arrow((x, middle), (x, low))
        placer.arrow((x, middle), (x, high))
    else:
        placer.arrow((x, high + tail), (x, high))
        placer.arrow((x, low - tail), (x, low))
        placer.line((x, low), (x, high))
    places = [(x + gap, middle, "left", "center")]
    for k in range(1, 5):
        places += [(x + gap, middle + s * k * step, "left", "center") for s in (1.0, -1.0)]
    _, place = placer.text(words, places)
    if not low <= place[1] <= high:
        placer.line((x, middle), (place[0], place[1]), color=SOFT)


def _radius(placer: Placer, words: str, centre: FloatArray, spot: FloatArray) -> None:
    """A leader whose arrow touches the arc from outside, pointing at its centre."""
    outward = spot - centre
    angle = math.atan2(float(outward[1]), float(outward[0]))
    if abs(math.cos(angle)) < 0.35:
        angle = math.radians(50.0)
        spot = centre + np.hypot(*outward) * np.array([math.cos(angle), math.sin(angle)])
    places = []
    for turn in (0.0, -15.0, 15.0, -30.0, 25.0):
        for reach in (30.0, 45.0, 62.0):
            way = angle + math.radians(turn)
            far = spot + placer.length(reach) * np.array([math.cos(way), math.sin(way)])
            side = "left" if math.cos(way) >= 0.0 else "right"
            places.append((float(far[0]), float(far[1]), side, "center"))
    _, place = placer.text(words, places)
    placer.arrow((place[0], place[1]), (float(spot[0]), float(spot[1])))


def _angle(
    placer: Placer, words: str, apex: FloatArray, foot: FloatArray, *, whole: bool
) -> None:
    """An arc from the left flank to the axis or to the right flank, with a leader to the left."""
    reach = 0.8 * float(np.hypot(*(foot - apex)))
    lean = math.atan2(float(foot[0] - apex[0]), float(apex[1] - foot[1]))
    turn = np.linspace(-lean, lean if whole else 0.0, 41)
    arc = apex + reach * np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    placer.axes.plot(arc[:, 0], arc[:, 1], color=INK, lw=_LINE, zorder=8)
    start = arc[0]
    if placer.length(1.0) * 30.0 < reach * lean:
        placer.arrow(tuple(arc[3]), tuple(arc[0]))
        placer.arrow(tuple(arc[-4]), tuple(arc[-1]))
    places = [
        (float(start[0]) - placer.length(across), float(start[1]) + placer.length(up), "right",
         "center")
        for across in (26.0, 40.0, 14.0)
        for up in (0.0, 12.0, -12.0, 24.0, -24.0, 36.0)
    ]
    _, place = placer.text(words, places)
    placer.line((float(start[0]), float(start[1])), (place[0], place[1]))


def _common_area(one: Bbox, other: Bbox) -> float:
    width = min(one.x1, other.x1) - max(one.x0, other.x0)
    height = min(one.y1, other.y1) - max(one.y0, other.y0)
    return float(max(width, 0.0) * max(height, 0.0))


