"""What part of a section a figure shows, and its outlines mirrored so that the whole is seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray, polyline
from conegap.geometries.curves.section import Body, EmittingEdge, Section

__all__ = [
    "Window",
    "common_window",
    "edge_point",
    "edge_window",
    "electrodes_window",
    "is_half",
    "mirrored_image",
    "region_window",
    "round_length",
    "surfaces",
    "whole_outlines",
]


@dataclass(frozen=True)
class Window:
    """A rectangle of the section, [m]."""

    left: float
    right: float
    low: float
    high: float

    @property
    def width(self) -> float:
        """[m]."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """[m]."""
        return self.high - self.low

    def holds(self, x: float, z: float) -> bool:
        """Whether a point lies inside."""
        return self.left <= x <= self.right and self.low <= z <= self.high


def common_window(windows: Sequence[Window]) -> Window:
    """The least window that holds all of them.

    Parameters
    ----------
    windows : sequence of Window
    """
    return Window(
        min(one.left for one in windows),
        max(one.right for one in windows),
        min(one.low for one in windows),
        max(one.high for one in windows),
    )


def round_length(longest: float) -> float:
    """Of a scale bar: the longest of 1, 2 and 5 times a power of ten up to a length, [m].

    Parameters
    ----------
    longest : float
        [m].
    """
    decade = 10.0 ** math.floor(math.log10(longest))
    return max(m * decade for m in (1.0, 2.0, 5.0) if m * decade <= longest)


def is_half(section: Section) -> bool:
    """Whether the section is one half of what is drawn."""
    return section.symmetry == "axisymmetric" or section.mirrored


def mirrored_image(points: FloatArray) -> FloatArray:
    """The points mirrored about x = 0, (n, 2) array, [m]."""
    return np.asarray(points * np.array([-1.0, 1.0]))


def surfaces(section: Section, samples: int = 65) -> list[tuple[str, FloatArray]]:
    """Name and points of every boundary curve, mirrored ones included.

    Parameters
    ----------
    samples : int
        Points of a curved piece, [-].
    """
    found = []
    for loop in section.loops:
        for boundary in loop:
            points = polyline([boundary.curve], samples)
            found.append((boundary.name, points))
            if is_half(section):
                found.append((boundary.name, mirrored_image(points)))
    return found


def whole_outlines(section: Section, body: Body) -> list[FloatArray]:
    """Closed outlines of a body with its mirror image, joined where it touches x = 0."""
    points = body.outline
    if not is_half(section):
        return [points]
    size = float(np.ptp(points, axis=0).max())
    on_axis = np.abs(points[:, 0]) <= 1e-9 * size
    if not on_axis.any() or on_axis.all():
        return [points, mirrored_image(points)]
    # Start behind the last of the points on the axis, so that the open chain runs off it.
    count = len(points)
    starts = [k for k in range(count) if on_axis[k] and not on_axis[(k + 1) % count]]
    if len(starts) != 1:
        return [points, mirrored_image(points)]
    chain = np.roll(points, -starts[0], axis=0)
    chain = np.vstack([chain, chain[:1]])
    last = int(np.flatnonzero(np.roll(on_axis, -starts[0] - 1))[0]) + 1
    chain = chain[: last + 1]
    return [np.vstack([chain, mirrored_image(chain)[::-1]])]


def edge_point(section: Section, edge: EmittingEdge) -> tuple[float, float]:
    """Nominal apex of an emitting edge, (x, z), [m]."""
    x, z = section.loops[edge.loop][edge.index].curve.point(np.array([edge.t]))[0]
    return float(x), float(z)


def electrodes_window(section: Section) -> Window:
    """The electrodes with the gap between them; wide plates and holders are cut off."""
    bodies = [body for body in section.bodies if body.material != "insulator"]
    if not bodies:
        return region_window(section)
    spans = [
        (np.abs(b.outline[:, 0]).max(), b.outline[:, 1].min(), b.outline[:, 1].max())
        for b in bodies
    ]
    low, high = min(s[1] for s in spans), max(s[2] for s in spans)
    height = float(high - low)
    wide = float(max(s[0] for s in spans))
    wanted = max(
        0.3 * height,
        *(1.25 * abs(m.first[0]) for m in section.marks if not m.inset and _level(m)),
        *(1.12 * float(s[0]) for s in spans if s[0] <= 0.7 * height),
        0.0,
    )
    half = min(1.06 * wide, max(wanted, 0.55 * height))
    half = max(half, min(1.06 * wide, wanted))
    return Window(-half, half, float(low) - 0.03 * height, float(high) + 0.05 * height)


def _level(mark: object) -> bool:
    first, last = getattr(mark, "first", (0.0, 0.0)), getattr(mark, "last", (0.0, 0.0))
    kind = getattr(mark, "kind", "")
    return kind == "linear" and bool(abs(first[1] - last[1]) < abs(first[0] - last[0]))


def edge_window(section: Section, edge: EmittingEdge) -> Window:
    """A window around an emitting edge, true to scale, with room for its dimensions.

    At least five edge radii to either side.
    """
    x, z = edge_point(section, edge)
    radius = edge.radius if edge.radius > 0.0 else 0.01 * section.gap
    middle = 0.0 if is_half(section) or len(section.edges) > 1 else x
    half = max(5.0 * radius, abs(x - middle) + 3.0 * radius)
    deep = 0.0
    for mark in section.marks:
        if mark.inset and mark.kind == "linear":
            half = max(half, 1.7 * max(abs(mark.first[0] - middle), abs(mark.last[0] - middle)))
            deep = max(deep, z - min(mark.first[1], mark.last[1]))
    half = min(half, 0.9 * section.gap) if section.gap > 0.0 else half
    low = max(1.45 * half, 1.35 * deep)
    return Window(middle - half, middle + half, z - low, z + 2.0 * half - min(low, 1.45 * half))


def region_window(section: Section) -> Window:
    """Everything that is solved."""
    points = np.vstack([p for _, p in surfaces(section, 9)])
    low, high = points.min(axis=0), points.max(axis=0)
    room = 0.03 * float((high - low).max())
    return Window(
        float(low[0]) - room, float(high[0]) + room, float(low[1]) - room, float(high[1]) + room
    )
