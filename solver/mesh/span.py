"""Spans: the pieces of boundary between which the coarse mesh is drawn.

A span is part of one boundary curve of a section, or an interior line between a boundary-layer
grid and the rest of the region.  The vacuum still to be filled lies on its left.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, Line
from conegap.geometries.curves.section import Section

__all__ = ["BoundaryIndex", "Path", "Span", "section_spans"]

BoundaryIndex = tuple[int, int]


class Path(Protocol):
    """Anything with points along a parameter."""

    def point(self, t: FloatArray) -> FloatArray:
        """Points at the parameters t, (n, 2) array."""
        ...


@dataclass(frozen=True)
class Span:
    """A piece of a path from parameter ``first`` to ``last``.

    Parameters
    ----------
    path : Path
        Where the points lie (scaled lengths).
    first, last : float
        Parameters of the ends, [-].
    boundary : tuple of int or None
        (loop, index) of the section's boundary, None for an interior line.
    straight : bool
        The path is a straight line.
    divisions : (n,) array or None
        Positions u in [0, 1] of coarse points which must be kept, ends included.
    curvature : callable or None
        Absolute curvature at parameters t, in inverse scaled lengths.
    name : str
        Boundary name, "" for an interior line.
    """

    path: Path
    first: float
    last: float
    boundary: BoundaryIndex | None
    straight: bool = False
    divisions: FloatArray | None = None
    curvature: Callable[[FloatArray], FloatArray] | None = None
    name: str = ""

    def parameter(self, u: FloatArray) -> FloatArray:
        """Path parameter at the positions u in [0, 1]."""
        return self.first + (self.last - self.first) * np.asarray(u, dtype=float)

    def point(self, u: FloatArray) -> FloatArray:
        """Points at the positions u in [0, 1], (n, 2) array, scaled lengths."""
        return self.path.point(self.parameter(u))


@dataclass(frozen=True)
class _Scaled:
    """A curve in units of ``scale``."""

    curve: Curve
    scale: float

    def point(self, t: FloatArray) -> FloatArray:
        """Points at the parameters t, (n, 2) array, scaled lengths."""
        return self.curve.point(t) / self.scale

    def curvature(self, t: FloatArray) -> FloatArray:
        """Absolute curvature at the parameters t, inverse scaled lengths."""
        return np.asarray(np.abs(self.curve.curvature(t)) * self.scale)


def section_spans(section: Section, scale: float) -> list[list[Span]]:
    """Spans of every boundary of a section, whole curves, one list per loop.

    Parameters
    ----------
    scale : float
        Length unit of the mesh, > 0, [m].

    Returns
    -------
    list of lists of Span
    """
    spans: list[list[Span]] = []
    for loop_number, loop in enumerate(section.loops):
        row = []
        for index, boundary in enumerate(loop):
            scaled = _Scaled(boundary.curve, scale)
            straight = isinstance(boundary.curve, Line)
            row.append(
                Span(
                    path=scaled,
                    first=0.0,
                    last=1.0,
                    boundary=(loop_number, index),
                    straight=straight,
                    curvature=None if straight else scaled.curvature,
                    name=boundary.name,
                )
            )
        spans.append(row)
    return spans
