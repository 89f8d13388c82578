"""Solid bodies for what is neither plane nor round: outlines swept and put together.

A solid says what it is, not how it is meshed.  Coordinates are (x, y, z) in metres, z towards the
accelerator, with the emitting tips' nominal apexes at z = 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

from conegap.geometries.curves.curve import Curve

__all__ = [
    "Block",
    "Difference",
    "ExtrudedX",
    "ExtrudedZ",
    "Intersection",
    "PartialRevolve",
    "Revolved",
    "Solid",
    "Union",
]

Place: TypeAlias = tuple[float, float, float]


@dataclass(frozen=True)
class Block:
    """A box between two opposite corners.

    Parameters
    ----------
    low, high : tuple of float
        Corners (x, y, z), [m].
    """

    low: Place
    high: Place


@dataclass(frozen=True)
class Revolved:
    """A closed outline in the plane (distance from an axis, height) turned about that axis.

    Parameters
    ----------
    outline : tuple of Curve
        Lines and arcs that close on themselves, at x >= 0, [m].
    centre : tuple of float
        Place of the axis, which is parallel to z, (x, y), [m].
    start, sweep : float
        First angle, counted from the x axis, and angle swept, [rad].
    """

    outline: tuple[Curve, ...]
    centre: tuple[float, float] = (0.0, 0.0)
    start: float = 0.0
    sweep: float = 2.0 * math.pi


@dataclass(frozen=True)
class ExtrudedX:
    """A closed outline in the plane (y, z) moved along x.

    Parameters
    ----------
    outline : tuple of Curve
        Lines and arcs that close on themselves, (y, z), [m].
    low, high : float
        Ends in x, [m].
    """

    outline: tuple[Curve, ...]
    low: float
    high: float


@dataclass(frozen=True)
class PartialRevolve:
    """A closed outline in the plane (y, z) turned about an axis parallel to y.

    Parameters
    ----------
    outline : tuple of Curve
        Lines and arcs above the axis, (y, z), [m].
    x, z : float
        Place of the axis, [m].
    sweep : float
        Angle from +z towards +x, [rad].
    """

    outline: tuple[Curve, ...]
    x: float
    z: float
    sweep: float


@dataclass(frozen=True)
class ExtrudedZ:
    """A closed outline in the plane (x, y) moved along z.

    Parameters
    ----------
    outline : tuple of Curve
        Lines and arcs that close on themselves, (x, y), [m].
    low, high : float
        Ends in z, [m].
    """

    outline: tuple[Curve, ...]
    low: float
    high: float


@dataclass(frozen=True)
class Union:
    """Everything that belongs to at least one of the parts."""

    parts: tuple[Solid, ...]


@dataclass(frozen=True)
class Intersection:
    """Everything that belongs to all of the parts."""

    parts: tuple[Solid, ...]


@dataclass(frozen=True)
class Difference:
    """A body with other bodies, its tools, cut out of it."""

    body: Solid
    tools: tuple[Solid, ...]


Solid: TypeAlias = (
    Block | Revolved | ExtrudedX | PartialRevolve | ExtrudedZ | Union | Intersection | Difference
)
