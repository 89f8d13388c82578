"""What a design says of the way between its reservoir and its emitter, [feed]: one class per kind.

An emitter draws its own way (the bore of a capillary, the film on a needle); [feed] adds what
stands before it, in series, or grooves that run along it, beside its film.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from conegap.geometries.parts.feed_path import (
    FeedPath,
    FlatFilm,
    Groove,
    PlateChannel,
    PorousPlug,
    RoundBore,
)
from conegap.geometries.parts.part import Length, Part, Permeability, Problem
from conegap.geometries.parts.setting import described, length_text

__all__ = [
    "BoreFeed",
    "ChannelFeed",
    "FeedWay",
    "FilmFeed",
    "GrooveFeed",
    "NoFeed",
    "PorousPlugFeed",
]

Count = Annotated[int, Field(ge=1, le=100_000, strict=True)]

# Of the square of the pore radius: a bundle of straight pores that fill the whole face has a
# permeability of r^2 / 8 (Hagen and Poiseuille over Darcy, textbook), and no body lets more through
# pores of one size.
_MOST_PERMEABLE = 1.0 / 8.0


class FeedWay(Part):
    """A way between reservoir and emitter."""

    beside: ClassVar[bool] = False
    """Whether it runs along the emitter, beside its film, once to each tip, and not before it."""

    def path(self) -> FeedPath | None:
        """Its shape, or None where the design says nothing."""
        return None

    def refusals(self, emitter: str, *, wetted: bool, drawn: bool) -> Iterator[Problem]:
        """Emitters that it cannot feed.

        Parameters
        ----------
        emitter : str
            Kind of the emitter.
        wetted : bool
            The emitter is a tip that a film covers.
        drawn : bool
            The emitter draws a way of its own.
        """
        yield from ()


class NoFeed(FeedWay):
    """The design says nothing of what stands before its emitter."""

    kind: Literal["none"] = "none"


class BoreFeed(FeedWay):
    """Round bores side by side."""

    kind: Literal["bore"]
    diameter: Length = described("diameter of the bore", "0.2 mm")
    length: Length = described("length of the bore", "10 mm")
    bores: Count = 1

    def path(self) -> FeedPath | None:
        return RoundBore(self.diameter, self.length, self.bores)


class ChannelFeed(FeedWay):
    """A channel between two parallel plates."""

    kind: Literal["channel"]
    height: Length = described("distance between the plates", "20 um")
    width: Length = described("width of the channel across the flow", "2 mm")
    length: Length = described("length of the channel along the flow", "10 mm")

    def path(self) -> FeedPath | None:
        return PlateChannel(self.height, self.length, self.width)

    def problems(self) -> Iterator[Problem]:
        if self.height > self.width:
            yield Problem(
                "feed.height",
                f"the channel is higher than its width, {length_text(self.width)}: the height is "
                "the shorter of both; exchange them",
            )


class FilmFeed(FeedWay):
    """An even film on a wall."""

    kind: Literal["film"]
    thickness: Length = described("thickness of the film", "5 um")
    width: Length = described("width of the wetted wall across the flow", "1 mm")
    length: Length = described("length of the wetted wall along the flow", "10 mm")

    def path(self) -> FeedPath | None:
        return FlatFilm(self.thickness, self.length, self.width)

    def refusals(self, emitter: str, *, wetted: bool, drawn: bool) -> Iterator[Problem]:
        if not drawn:
            yield Problem(
                "feed.kind",
                f"a film is drawn by what comes after it, and this {emitter} draws no way of the "
                "liquid; give liquid.film_thickness, or another kind of feed",
            )

    def problems(self) -> Iterator[Problem]:
        if self.thickness > self.width:
            yield Problem(
                "feed.thickness",
                f"the film is thicker than its wall is wide, {length_text(self.width)}",
            )


class GrooveFeed(FeedWay):
    """Open grooves of rectangular section along the emitter, from its holder to its tip."""

    beside: ClassVar[bool] = True

    kind: Literal["groove"]
    width: Length = described("width of a groove at the surface", "10 um")
    depth: Length = described("depth of a groove", "10 um")
    length: Length = described("length of a groove from the holder to the tip", "3 mm")
    grooves: Count = 1

    def path(self) -> FeedPath | None:
        return Groove(self.width, self.depth, self.length, self.grooves)

    def refusals(self, emitter: str, *, wetted: bool, drawn: bool) -> Iterator[Problem]:
        if not wetted:
            yield Problem(
                "feed.kind",
                f"grooves run along a wetted tip, not along a {emitter}; choose another kind",
            )


class PorousPlugFeed(FeedWay):
    """A round porous plug that the liquid fills."""

    kind: Literal["porous_plug"]
    permeability: Permeability = described("permeability by Darcy's law", "0.1 um^2")
    pore_radius: Length = described("radius of the pores", "2 um")
    diameter: Length = described("diameter of the plug", "3 mm")
    length: Length = described("length of the plug along the flow", "5 mm")

    def path(self) -> FeedPath | None:
        area = math.pi / 4.0 * self.diameter**2
        return PorousPlug(self.permeability, area, self.length, self.pore_radius)

    def problems(self) -> Iterator[Problem]:
        most = _MOST_PERMEABLE * self.pore_radius**2
        if self.permeability > most:
            yield Problem(
                "feed.permeability",
                f"no body with pores of {length_text(self.pore_radius)} lets so much through: "
                f"straight pores that fill its whole face have {most * 1e12:.3g} um^2; check both",
            )
        if self.pore_radius > self.diameter / 2.0:
            yield Problem(
                "feed.pore_radius",
                f"the pores are wider than the plug, {length_text(self.diameter)}; did you mean "
                f'"{length_text(self.pore_radius / 1000.0)}"?',
            )
