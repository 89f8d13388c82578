"""Capillary: a tube on a holder with a hemispherical meniscus at the bore or at the rim."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import ClassVar, Literal

import numpy as np

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line, polyline
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import Boundary, DimensionMark, EmittingEdge
from conegap.geometries.curves.wall import ContactStart, Wall, WallPiece
from conegap.geometries.parts.emitter import Emitter, holder_width
from conegap.geometries.parts.feed_path import FeedPath, RoundBore
from conegap.geometries.parts.part import Length, Problem, Radius, derived
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import EmitterOutline

__all__ = ["Capillary"]

_DRY = "dry end face"
_WETTED = "wetted end face"


class Capillary(Emitter):
    """A tube with a flat end face at z = 0 and a rounded outer rim.

    The rigid surface of the liquid is a hemisphere.  Pinned at the bore it stands on the face,
    with half the bore as its radius.  Pinned at the rim it covers the face: its radius is half
    the outer diameter and it meets the tube's wall tangentially where the rim's rounding ends.
    """

    kind: Literal["capillary"]
    bore: Length = described("inner diameter of the tube", "50 um")
    outer_diameter: Length = described("outer diameter of the tube", "100 um")
    rim_radius: Radius = described("radius of the outer rim of the end face", "5 um")
    length: Length = described("height of the end face above the holder's face", "5 mm")
    contact_line: Literal["bore", "rim"] = "bore"
    holder_diameter: Length = derived(lambda given: holder_width(given, "outer_diameter", "length"))

    stands_alone: ClassVar[bool] = True
    closed_form: ClassVar[Literal["tube", "tip or edge"]] = "tube"

    @property
    def edge_radius_key(self) -> str | None:
        return "emitter.bore" if self.contact_line == "bore" else "emitter.outer_diameter"

    def feed_path(self, film_thickness: float) -> FeedPath | None:
        return RoundBore(self.bore, self.length)

    @property
    def base_half_width(self) -> float:
        return self.outer_diameter / 2.0

    @property
    def height(self) -> float:
        return self.length

    @property
    def holder_half_width(self) -> float:
        return self.holder_diameter / 2.0

    def metal_top(self, x: FloatArray) -> FloatArray:
        inner, r = self.bore / 2.0, self.rim_radius
        beyond = np.maximum(x - (self.outer_diameter / 2.0 - r), 0.0)
        rim = np.sqrt(np.maximum(r**2 - beyond**2, 0.0)) - r
        return np.where(x >= inner, rim, -np.inf)

    def wall(self) -> Wall:
        inner, outer, rim = self.bore / 2.0, self.outer_diameter / 2.0, self.rim_radius
        bore = WallPiece("bore's wall", Line((inner, -self.length), (inner, 0.0)))
        pieces, edges = [bore], ["bore's edge"]
        if outer - rim > inner * (1.0 + 1e-9):
            pieces.append(WallPiece("end face", Line((inner, 0.0), (outer - rim, 0.0))))
            edges.append("" if rim > 0.0 else "outer rim")
        if rim > 0.0:
            pieces.append(WallPiece("outer rim", Arc((outer - rim, -rim), rim, math.pi / 2.0, 0.0)))
            edges.append("")
        pieces.append(WallPiece("tube's wall", Line((outer, -rim), (outer, -self.length))))
        return Wall(tuple(pieces), tuple(edges))

    def contact_starts(self) -> tuple[ContactStart, ...]:
        # The wall's last piece is the tube's outside, before it the rounded rim where there is one.
        pieces = len(self.wall().pieces)
        rim = pieces - (2 if self.rim_radius > 0.0 else 1)
        if rim == 1:
            # Without an end face between them, bore's edge and rim are one place.
            return (ContactStart("", rim, 0.0),)
        return (ContactStart(_DRY, 1, 0.0), ContactStart(_WETTED, rim, 0.0, stays=True))

    @property
    def wetting_state(self) -> str:
        if len(self.contact_starts()) == 1:
            return ""
        return _DRY if self.contact_line == "bore" else _WETTED

    def problems(self) -> Iterator[Problem]:
        wall = (self.outer_diameter - self.bore) / 2.0
        if wall <= 0.0:
            yield Problem("emitter.bore", self._no_wall())
            return
        if self.rim_radius > wall * (1.0 + 1e-9):
            slip = f'did you mean "{length_text(self.rim_radius / 1000.0)}"?'
            remedy = slip if self.rim_radius > 10.0 * wall else "make it smaller"
            yield Problem(
                "emitter.rim_radius",
                f"the rim's radius is larger than the tube's wall, {length_text(wall)}; {remedy}",
            )
        if self.rim_radius == 0.0 and self.contact_line == "bore":
            yield Problem(
                "emitter.rim_radius",
                "a sharp outer rim beside the meniscus has no finite field; give its radius as "
                'made, such as "5 um"',
            )
        if self.length <= self.rim_radius:
            yield Problem(
                "emitter.length",
                f"the tube is shorter than its rim's radius, {length_text(self.rim_radius)}; "
                "length is the height of the end face above the holder",
            )
        yield from super().problems()

    def _no_wall(self) -> str:
        outer = length_text(self.outer_diameter)
        text = f"the bore is not smaller than the outer diameter, {outer}, so there is no wall"
        if self.bore > 10.0 * self.outer_diameter:
            return f'{text}: did you mean "{length_text(self.bore / 1000.0)}"?'
        if self.bore < 2.0 * self.outer_diameter:
            return (
                f"{text}: is outer_diameter given as a radius? Both bore and outer_diameter are "
                "diameters"
            )
        return f"{text}; correct one of the two"

    def unlikely(self) -> Iterator[Problem]:
        if self.bore > 2e-3:
            yield Problem("emitter.bore", "a bore above 2 mm is unusual for a capillary emitter")

    def outline(self, setting: Setting) -> EmitterOutline:
        inner, outer, rim = self.bore / 2.0, self.outer_diameter / 2.0, self.rim_radius
        foot = (outer, -self.length)
        if self.contact_line == "bore":
            radius, base = inner, 0.0
            metal = rounded_polygon([(inner, 0.0), (outer, 0.0), foot], [0.0, rim, 0.0])
        else:
            radius, base = outer, -rim
            metal = rounded_polygon([(outer, base), foot], [0.0, 0.0])
        meniscus: Curve = Arc((0.0, base), radius, math.pi / 2.0, 0.0)
        boundaries = (Boundary("liquid", meniscus), *(Boundary("emitter", c) for c in metal))
        tube = polyline(rounded_polygon([(inner, 0.0), (outer, 0.0), foot], [0.0, rim, 0.0]))
        bore_wall = np.array([[0.0, -self.length], [inner, -self.length], [inner, 0.0]])
        cap = polyline([meniscus])
        if self.contact_line == "rim":
            over = tube[:-1][::-1]
            liquid = np.vstack([cap, over, [[inner, -self.length], [0.0, -self.length]]])
        else:
            liquid = np.vstack([cap, [[inner, -self.length], [0.0, -self.length]]])
        where = "bore" if self.contact_line == "bore" else "outer rim"
        note = (
            f"The rigid surface is a hemisphere of radius {length_text(radius)} with its contact "
            f"line at the {where}; the gap is measured from the tube's metal end face."
        )
        return EmitterOutline(
            boundaries=boundaries,
            edges=(EmittingEdge("meniscus", 0, 0, 0.0, radius),),
            holder=self.holder(),
            metal=np.vstack([bore_wall, tube]),
            liquids=(liquid,),
            marks=tuple(self._marks()),
            notes=(note,),
        )

    def _marks(self) -> Iterator[DimensionMark]:
        inner, outer, rim = self.bore / 2.0, self.outer_diameter / 2.0, self.rim_radius
        low = -2.0 * max(rim, 0.5 * inner)
        yield DimensionMark(
            "emitter.bore",
            f"⌀ {length_text(self.bore)}",
            (-inner, low),
            (inner, low),
            inset=True,
        )
        yield DimensionMark(
            "emitter.outer_diameter",
            f"⌀ {length_text(self.outer_diameter)}",
            (-outer, 2.0 * low),
            (outer, 2.0 * low),
            inset=True,
        )
        if rim > 0.0:
            spot = rim * math.sqrt(0.5)
            yield DimensionMark(
                "emitter.rim_radius",
                f"R {length_text(rim)}",
                (outer - rim, -rim),
                (outer - rim + spot, -rim + spot),
                kind="radius",
                inset=True,
            )
        # The same two diameters on the whole section, where they are too small to be measured.
        for key, half, share in (("bore", inner, 0.3), ("outer_diameter", outer, 0.5)):
            level = -share * self.length
            yield DimensionMark(
                f"emitter.{key}",
                f"{key.partition('_')[0]} ⌀ {length_text(2.0 * half)}",
                (-half, level),
                (half, level),
            )
        yield DimensionMark(
            "emitter.length", length_text(self.length), (outer, 0.0), (outer, -self.length)
        )
