"""A section whose liquid surface ends at any place of the wall, and the places worth solving."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import Line
from conegap.geometries.curves.section import Boundary, Section, Symmetry
from conegap.geometries.curves.wall import ContactPlace, Wall
from conegap.solver.liquid.surface_mesh import LiquidSection

__all__ = ["Station", "Wetting", "between", "contact_section", "stations"]

# Steps along a round lip by its direction: V(u) over it is a parabola to 1e-3 over three of them.
_TURN = math.radians(12.0)


@dataclass(frozen=True)
class Station:
    """A place of the contact line and where on the wall it is.

    Parameters
    ----------
    piece : int
    t : float
        Curve parameter on the piece.
    pinned : bool
        Whether the line stands still here over a range of slopes: at a corner, or where it starts.
    """

    piece: int
    t: float
    contact: ContactPlace
    pinned: bool


def contact_section(
    section: Section,
    surface: tuple[int, int],
    contact: ContactPlace,
    potentials: dict[str, float],
) -> LiquidSection:
    """A section whose liquid surface ends at a place of the wall.

    Parameters
    ----------
    section : Section
        As drawn; its liquid surface ends somewhere on the wall.
    surface : (loop, index)
        The liquid surface.
    potentials : mapping of electrode to potential per volt of emitter minus accelerator, [-]

    Raises
    ------
    ValueError
        The wall does not end on the section's outline.
    """
    loop, index = surface
    row = section.loops[loop]
    foot = contact.ahead[-1].end
    size = max(abs(float(foot[0])), abs(float(foot[1])))
    for last in range(index + 1, len(row)):
        if float(np.abs(row[last].curve.end - foot).max()) <= 1e-9 * size:
            break
    else:
        raise ValueError("the wall does not end on the outline of the section")
    metal = tuple(Boundary(row[last].name, curve) for curve in contact.ahead)
    loops = list(section.loops)
    # A straight stand-in until a shape is drawn.
    top = row[index].curve.start
    still = Boundary("liquid", Line((float(top[0]), float(top[1])), contact.position))
    loops[loop] = (*row[:index], still, *metal, *row[last + 1 :])
    bare = replace(section, loops=tuple(loops), mesh=None)
    return LiquidSection.ending_at(contact.position, bare, surface, potentials)


def _places(wall: Wall, start: tuple[int, float], reach: float) -> Iterator[tuple[int, float]]:
    """Places along the wall from the start on, close enough together to draw V(u)."""
    piece, t = start
    yield start
    for number in range(piece, len(wall.pieces)):
        first = t if number == piece else 0.0
        if number > piece:
            yield number, 0.0
        begin, end = wall.at(number, first), wall.at(number, 1.0 - 1e-12)
        turn = end.tangent - begin.tangent
        if abs(turn) > 1e-9:
            count = max(2, math.ceil(turn / _TURN))
            yield from ((number, first + (1.0 - first) * k / count) for k in range(1, count))
            continue
        length = wall.pieces[number].curve.length
        if number + 1 == len(wall.pieces):
            # Only the beginning of the last piece, the outer wall, is near enough to hold a line.
            yield from ((number, min(share * reach / length, 0.5)) for share in (0.1, 0.4))
        elif first == 0.0:
            yield number, 0.5


def stations(wall: Wall, start: tuple[int, float]) -> tuple[Station, ...]:
    """Places of the contact line from its start outward.

    Parameters
    ----------
    start : (piece, t)
    """
    reach = wall.at(*start).position[0]
    found = []
    for number, (piece, t) in enumerate(_places(wall, start, reach)):
        pinned = number == 0 or wall.corner(piece, t)
        found.append(Station(piece, t, wall.at(piece, t), pinned))
    return tuple(found)


@dataclass(frozen=True)
class Wetting:
    """What decides where the contact line sits.

    Parameters
    ----------
    surface : (loop, index)
    potentials : mapping of electrode to potential per volt, [-]
    pressure : float
        Gauge pressure over surface tension, [1/m].
    advancing : float
        [rad].
    modes : int
        Of the shapes, [-].
    """

    section: Section
    surface: tuple[int, int]
    potentials: dict[str, float]
    wall: Wall
    pressure: float
    advancing: float
    modes: int

    @property
    def symmetry(self) -> Symmetry:
        """Of the section."""
        return self.section.symmetry

    @property
    def most(self) -> float:
        """Greatest pressure of a surface without field in gamma / a: 2 around an axis, else 1."""
        return 2.0 if self.symmetry == "axisymmetric" else 1.0

    def liquid(self, contact: ContactPlace) -> LiquidSection:
        """The section with its liquid surface ending at a place."""
        return contact_section(self.section, self.surface, contact, self.potentials)

    def still_slope(self, radius: float) -> float | None:
        """Slope of the surface without field at a contact radius, [rad]; None where it floods."""
        sine = self.pressure * radius / self.most
        return math.asin(sine) if abs(sine) < 1.0 else None


def between(wall: Wall, one: Station, two: Station, share: float) -> Station:
    """A place between two neighbouring ones.

    Parameters
    ----------
    one, two : Station
        In the order of the wall.
    share : float
        0 to 1 of the way, [-].
    """
    end = two.t if two.piece == one.piece else 1.0
    t = one.t + share * (end - one.t)
    return Station(one.piece, t, wall.at(one.piece, t), False)
