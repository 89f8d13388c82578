"""The section's outlines at solved points, in the coordinates of two views that hold them all.

Every outline has the same vertices at every point, so that a page moves them as it moves the onset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.solver.common.display_units import length_words
from conegap.solver.figures.window import (
    Window,
    common_window,
    edge_window,
    electrodes_window,
    round_length,
    whole_outlines,
)

__all__ = ["WIDTH", "Outline", "View", "drawn_bodies", "views"]

WIDTH = 1000.0
"""Width of a view in its own units."""

# Of a view's width, for the scale bar: the longest round length below it.
_BAR = 0.3


@dataclass(frozen=True)
class Outline:
    """A closed outline at every solved point.

    Parameters
    ----------
    material, label : str
        As of a `conegap.geometries.curves.section.Body`.
    points : (n, m, 2) array
        m vertices at n points of the ranges, [m].
    drawn : (m, 2) array
        Of the design as drawn, [m].
    """

    material: str
    label: str
    points: FloatArray
    drawn: FloatArray


@dataclass(frozen=True)
class View:
    """A part of the section to scale.

    Parameters
    ----------
    name : str
    window : Window
    bar : float
        Length of its scale bar, [m].
    """

    name: str
    window: Window
    bar: float

    @property
    def scale(self) -> float:
        """Units of the view per metre, [1/m]."""
        return WIDTH / self.window.width

    @property
    def height(self) -> float:
        """In the view's units."""
        return self.scale * self.window.height

    @property
    def bar_words(self) -> str:
        """Length of the scale bar in words."""
        return length_words(self.bar)


def drawn_bodies(drawn: Section, sections: Sequence[Section]) -> tuple[Outline, ...]:
    """Outlines of all bodies; none where the bodies or their vertices differ from point to point.

    Parameters
    ----------
    drawn : Section
        Of the design as drawn.
    sections : sequence of Section
        At the points of the ranges.
    """
    every = [_outlines(one) for one in (drawn, *sections)]
    shapes = {tuple((m, name, points.shape) for m, name, points in one) for one in every}
    if len(shapes) != 1:
        return ()
    return tuple(
        Outline(material, name, np.array([one[k][2] for one in every[1:]]), points)
        for k, (material, name, points) in enumerate(every[0])
    )


def _outlines(section: Section) -> list[tuple[str, str, FloatArray]]:
    return [
        (body.material, body.label, outline)
        for body in section.bodies
        for outline in whole_outlines(section, body)
    ]


def views(sections: Sequence[Section]) -> tuple[View, View]:
    """The whole gap, and the emitting edge magnified.

    Parameters
    ----------
    sections : sequence of Section
        At the points of the ranges: both views hold what is of interest in each of them.
    """
    whole = common_window([electrodes_window(one) for one in sections])
    edge = common_window([edge_window(one, one.edges[0]) for one in sections])
    return (
        View("whole gap", whole, round_length(_BAR * whole.width)),
        View("emitting edge", edge, round_length(_BAR * edge.width)),
    )
