"""Dimension lines on a drawing, placed so that no two texts lie on each other.

Upright dimensions stand in lanes to the right of the section, level ones at their own height,
radii and angles hang on leaders.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import DimensionMark
from conegap.solver.common.style import INK, SOFT, pretty
from conegap.solver.figures.label_placer import LINE, Across, Place, Placer

__all__ = ["draw_dimensions"]


def draw_dimensions(
    placer: Placer, marks: Sequence[DimensionMark], lane: float, *, unit: float
) -> None:
    """Draw dimension lines.

    Parameters
    ----------
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
        if mark.foot is not None:
            for point in (first, last):
                placer.line(
                    (float(point[0]), mark.foot / unit),
                    (float(point[0]), float(point[1])),
                    color=SOFT,
                    lw=0.45,
                    zorder=5,
                )
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
        inner: list[Place] = [
            (x, z + k * step, "center", "center")
            for k in (0, 1, -1, 2, -2)
            for x in (middle, middle + aside, middle - aside)
        ]
        placer.arrow((middle, z), (left, z))
        placer.arrow((middle, z), (right, z))
        placer.text(words, inner)
        return
    placer.arrow((left - tail, z), (left, z))
    placer.arrow((right + tail, z), (right, z))
    placer.line((left, z), (right, z))
    gap = placer.length(2.0)
    places: list[Place] = []
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
                (min(float(point[0]), lane) + gap, float(point[1])),
                (x + gap, float(point[1])),
                color=SOFT,
                lw=0.45,
                zorder=5,
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
    places: list[Place] = [(x + gap, middle, "left", "center")]
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
    places: list[Place] = []
    for turn in (0.0, -15.0, 15.0, -30.0, 25.0):
        for reach in (30.0, 45.0, 62.0):
            way = angle + math.radians(turn)
            far = spot + placer.length(reach) * np.array([math.cos(way), math.sin(way)])
            side: Across = "left" if math.cos(way) >= 0.0 else "right"
            places.append((float(far[0]), float(far[1]), side, "center"))
    _, place = placer.text(words, places)
    placer.arrow((place[0], place[1]), (float(spot[0]), float(spot[1])))


def _angle(placer: Placer, words: str, apex: FloatArray, foot: FloatArray, *, whole: bool) -> None:
    """An arc from the left flank to the axis or to the right flank, with a leader to the left."""
    reach = 0.8 * float(np.hypot(*(foot - apex)))
    lean = math.atan2(float(foot[0] - apex[0]), float(apex[1] - foot[1]))
    turn = np.linspace(-lean, lean if whole else 0.0, 41)
    arc = apex + reach * np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    placer.axes.plot(arc[:, 0], arc[:, 1], color=INK, lw=LINE, zorder=8)
    start = arc[0]
    if placer.length(1.0) * 30.0 < reach * lean:
        placer.arrow(tuple(arc[3]), tuple(arc[0]))
        placer.arrow(tuple(arc[-4]), tuple(arc[-1]))
    places: list[Place] = [
        (
            float(start[0]) - placer.length(across),
            float(start[1]) + placer.length(up),
            "right",
            "center",
        )
        for across in (26.0, 40.0, 14.0)
        for up in (0.0, 12.0, -12.0, 24.0, -24.0, 36.0)
    ]
    _, place = placer.text(words, places)
    placer.line((float(start[0]), float(start[1])), (place[0], place[1]))
