"""Slit: two blades with a narrow channel between their lips, extruded along y."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal

import numpy as np

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line, polyline
from conegap.geometries.curves.outline import mirror_image
from conegap.geometries.curves.section import Boundary, DimensionMark, EmittingEdge, Symmetry
from conegap.geometries.curves.wall import ContactStart, Wall, WallPiece
from conegap.geometries.emitters.slit_end import slit_end_sector, usual_end
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.feed_path import FeedPath, PlateChannel
from conegap.geometries.parts.part import Angle, Length, Offset, Problem, Radius, derived
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import EmitterOutline, Room
from conegap.geometries.solids.sector import Sector

__all__ = ["Slit"]


def _holder_width(given: Mapping[str, float]) -> float:
    tall = given.get("protrusion", 0.0)
    lean = math.tan(min(given.get("blade_included_angle", 0.0), 3.0) / 2.0)
    return 2.0 * tall * (1.0 + 1.5 * lean) + 4.0 * (
        given.get("lip_radius", 0.0)
        + given.get("land", 0.0)
        + given.get("channel_height", 0.0)
        + given.get("holder_edge_radius", 0.0)
    )


class Slit(Emitter):
    """Two blades, lips up, with a channel of `channel_height` between them.

    The channel's walls are parallel to z.  `blade_included_angle` is the full angle between the
    two outer flanks, so that each flank leans by half of it from the z axis.  Each lip is rounded
    with `lip_radius`; `land` is a flat between the rounding on the channel's side and the one on
    the outer flank.  `recess` is the depth of the liquid below the (lower) lip's crest.
    `end_radius` is the radius, in the plane of the blades, with which the lips turn down at both
    ends, which are solved in three dimensions; left out, one is assumed (`assumed_end`).
    `misalignment_half` raises the left lip and lowers the right one by its value; the gap is then
    measured from the middle between the two crests.
    """

    kind: Literal["slit"]
    length: Length = described("length of the slit along y", "10 mm")
    channel_height: Length = described("width of the channel between the two blades", "1.5 um")
    lip_radius: Radius = described("radius of each lip", "3 um")
    blade_included_angle: Angle = described("full angle between the two outer flanks", "30 deg")
    protrusion: Length = described("height of the lips above the holder's face", "4 mm")
    land: Radius = 0.0
    recess: Radius = 0.0
    misalignment_half: Offset = 0.0
    holder_width: Length = derived(_holder_width)
    end_radius: Length | None = None

    offsets: ClassVar[tuple[str, ...]] = ("misalignment_half",)
    alignment: ClassVar[str] = "both lips are level and the opening is centred"

    @property
    def edge_radius_key(self) -> str | None:
        return "emitter.lip_radius"

    @property
    def meniscus_key(self) -> str | None:
        return "emitter.channel_height"

    @property
    def line_length(self) -> float | None:
        return self.length

    @property
    def crest_width(self) -> float | None:
        return self.channel_height + 2.0 * (self.lip_radius + self.land)

    @property
    def solid(self) -> Literal["ring", "rows", "blade"] | None:
        return None if self.end_radius is None else "blade"

    @property
    def solid_name(self) -> str:
        return "end of the slit"

    @property
    def section_shows(self) -> str:
        return "" if self.end_radius is None else "the middle of the slit"

    @property
    def drawn_end(self) -> float | None:
        return self.end_radius

    @property
    def edge_half_width(self) -> float:
        return self.channel_height / 2.0 + self.lip_radius + self.land / 2.0

    def end_sector(
        self, accelerator: Accelerator, gap: float, room: Room, edge_radius: float
    ) -> Sector:
        return slit_end_sector(self, accelerator, gap, room, edge_radius)

    def assumed_end(self, opening: float | None, gap: float) -> float | None:
        return usual_end(self.length, opening, gap)

    @property
    def aligned_level(self) -> tuple[str, float] | None:
        return "emitter.recess", self.recess + abs(self.misalignment_half)

    def with_end(self, radius: float) -> Slit | None:
        wide = radius > self.length / 2.0
        return None if wide else self.model_copy(update={"end_radius": radius})

    def feed_path(self, film_thickness: float) -> FeedPath | None:
        return PlateChannel(self.channel_height, self.protrusion - self.recess, self.length)

    @property
    def symmetry(self) -> Symmetry:
        return "planar"

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        return self.misalignment_half == 0.0

    @property
    def lean(self) -> float:
        """Angle of each outer flank from the z axis, [rad]."""
        return self.blade_included_angle / 2.0

    @property
    def base_half_width(self) -> float:
        lip = self._lip(abs(self.misalignment_half))
        return float(lip[-1].end[0])

    @property
    def height(self) -> float:
        return self.protrusion

    @property
    def holder_half_width(self) -> float:
        return self.holder_width / 2.0

    def metal_top(self, x: FloatArray) -> FloatArray:
        inner, r = self.channel_height / 2.0, self.lip_radius
        first, last = inner + r, inner + r + self.land
        off = np.maximum(np.maximum(first - x, x - last), 0.0)
        lip = np.sqrt(np.maximum(r**2 - off**2, 0.0)) - r
        return np.where(x >= inner, lip, -np.inf)

    def wall(self) -> Wall | None:
        if self.misalignment_half != 0.0:
            return None
        curves = self._lip(0.0)
        names = ["lip"] * len(curves)
        names[0], names[-1] = "channel's wall", "blade's flank"
        if self.land > 0.0:
            names[2 if self.lip_radius > 0.0 else 1] = "land"
        pieces = tuple(
            WallPiece(name, curve)
            for name, curve in zip(names, curves, strict=True)
            if isinstance(curve, Line | Arc)
        )
        sharp = self.lip_radius == 0.0
        edges = ["channel's edge", "outer edge"] if sharp else [""] * (len(pieces) - 1)
        return Wall(pieces, tuple(edges[: len(pieces) - 1]))

    def contact_starts(self) -> tuple[ContactStart, ...]:
        if self.misalignment_half != 0.0:
            return ()
        r = self.lip_radius
        if self.recess == r == 0.0:
            return (ContactStart("", 1, 0.0),)
        if self.recess >= r:
            wall = self.protrusion - r
            return (ContactStart("", 0, 1.0 - (self.recess - r) / wall),)
        # The arc on the channel's side begins level with its centre, a radius below the apex.
        first = math.acos(min(1.0, (r - self.recess) / r))
        arc = self._lip(0.0)[1]
        assert isinstance(arc, Arc)
        share = (math.pi / 2.0 - first) / (arc.first_angle - arc.last_angle)
        return (ContactStart("", 1, share),)

    def problems(self) -> Iterator[Problem]:
        if self.blade_included_angle > math.radians(160.0):
            yield Problem(
                "emitter.blade_included_angle",
                "the blades must stand up: their full included angle must not be above 160 deg",
            )
            return
        if self.end_radius is not None and self.end_radius > self.length / 2.0:
            yield Problem(
                "emitter.end_radius",
                f"the ends' roundings meet: the radius is larger than half of the slit's length of "
                f'{length_text(self.length)}; did you mean "{length_text(self.end_radius / 1e3)}"?',
            )
        skew = abs(self.misalignment_half)
        if skew > self.protrusion / 4.0:
            yield Problem(
                "emitter.misalignment_half",
                f"the lips are out of line by more than a quarter of their height, "
                f'{length_text(self.protrusion)}; did you mean "{length_text(skew / 1000.0)}"?',
            )
            return
        lowest = self.lip_radius + skew
        if self.protrusion <= lowest:
            tip = length_text(self.lip_radius / 1000.0)
            slip = f'; did you mean lip_radius = "{tip}"?' if lowest > 50e-6 else ""
            yield Problem(
                "emitter.protrusion",
                f"the lips must stand higher above the holder than their radius and misalignment, "
                f"{length_text(lowest)}{slip}",
            )
            return
        if self.recess + 2.0 * skew >= self.protrusion:
            yield Problem(
                "emitter.recess",
                f"the liquid lies below the foot of the blades, {length_text(self.protrusion)} "
                "under the lips; make the recess smaller",
            )
            return
        if self.channel_height > 1e-3:
            yield Problem(
                "emitter.channel_height",
                f"a channel wider than 1 mm cannot hold a meniscus; did you mean "
                f'"{length_text(self.channel_height / 1000.0)}"?',
            )
        if self.lip_radius > 1e-3:
            yield Problem(
                "emitter.lip_radius",
                f"a lip radius above 1 mm is no emitting edge; did you mean "
                f'"{length_text(self.lip_radius / 1000.0)}"?',
            )
        yield from super().problems()

    def unlikely(self) -> Iterator[Problem]:
        if self.blade_included_angle < math.radians(8.0):
            yield Problem(
                "emitter.blade_included_angle",
                "below 8 deg: it is the full angle between the two outer flanks; is this the half "
                "angle, or that of one blade?",
            )
        if self.length < 20.0 * (self.channel_height + 2.0 * self.lip_radius):
            yield Problem(
                "emitter.length",
                "the slit is short against its width, so its ends matter, which a planar section "
                "leaves out",
            )
        if self.channel_height > 100e-6:
            yield Problem("emitter.channel_height", "a channel above 100 um is unusual")

    def outline(self, setting: Setting) -> EmitterOutline:
        skew = self.misalignment_half
        level = -abs(skew) - self.recess
        right, right_edge = self._bank(-skew, level)
        inner = float(right[0].start[0])
        if setting.half:
            boundaries = [Boundary("liquid", Line((0.0, level), (inner, level)))]
            boundaries += [Boundary("emitter", c) for c in right]
            edges: tuple[EmittingEdge, ...] = (self._edge("lip", 1 + right_edge),)
            channel = self._channel(0.0, level)
        else:
            left_right, left_edge = self._bank(skew, level)
            left = mirror_image(left_right)
            count = len(left)
            start = float(left[-1].end[0])
            boundaries = [Boundary("emitter", c) for c in left]
            boundaries.append(Boundary("liquid", Line((start, level), (inner, level))))
            boundaries += [Boundary("emitter", c) for c in right]
            mirrored = self._edge("left lip", count - 1 - left_edge, mirrored=True)
            edges = (mirrored, self._edge("right lip", count + 1 + right_edge))
            channel = self._channel(-self.channel_height / 2.0, level)
        notes = [
            f"The slit is {length_text(self.length)} long; the section is planar and leaves its "
            "ends out.",
            f"The liquid is drawn flat across the channel, {length_text(self.recess)} below the "
            "lower lip's crest.",
        ]
        if skew != 0.0:
            notes.append(
                f"The left lip stands {length_text(skew)} above and the right lip as much below "
                "the level from which the gap is measured."
            )
        return EmitterOutline(
            boundaries=tuple(boundaries),
            edges=edges,
            holder=self.holder(),
            half=setting.half,
            metal=self._metal(setting.half),
            liquids=(channel,),
            marks=tuple(self._marks()),
            notes=tuple(notes),
        )

    def _edge(self, name: str, index: int, *, mirrored: bool = False) -> EmittingEdge:
        t = 0.0 if self.lip_radius == 0.0 else 0.5
        return EmittingEdge(name, 0, index, 1.0 - t if mirrored else t, self.lip_radius)

    def _lip(self, apex: float) -> list[Curve]:
        """The right blade from the foot of its channel wall over the lip to its outer foot."""
        wall, r, foot = self.channel_height / 2.0, self.lip_radius, -self.protrusion
        curves: list[Curve] = [Line((wall, foot), (wall, apex - r))]
        outer = wall + r + self.land
        if r > 0.0 and self.land > 0.0:
            curves.append(Arc((wall + r, apex - r), r, math.pi, math.pi / 2.0))
        if self.land > 0.0:
            curves.append(Line((wall + r, apex), (outer, apex)))
        if r > 0.0:
            first = math.pi / 2.0 if self.land > 0.0 else math.pi
            curves.append(Arc((outer, apex - r), r, first, self.lean))
        x, z = (float(place) for place in curves[-1].end)
        curves.append(Line((x, z), (x + (z - foot) * math.tan(self.lean), foot)))
        return curves

    def _bank(self, apex: float, level: float) -> tuple[list[Curve], int]:
        """The part of the right blade above the liquid's level and the index of its outer arc."""
        lip = self._lip(apex)
        wall, r = self.channel_height / 2.0, self.lip_radius
        depth = apex - level
        edge = len(lip) - (1 if r == 0.0 else 2)
        if depth >= r and depth > 0.0:
            lip[0] = Line((wall, level), (wall, apex - r))
            if depth - r > 1e-12 * max(depth, r):
                return lip, edge
            return lip[1:], edge - 1
        lip, edge = lip[1:], edge - 1
        if r == 0.0:
            return lip, edge
        # The liquid meets the rounding on the channel's side at this polar angle.
        meets = math.pi - math.asin(min(1.0, (r - depth) / r))
        arc = lip[0]
        assert isinstance(arc, Arc)
        if self.land > 0.0 and meets <= math.pi / 2.0 * (1.0 + 1e-9):
            return lip[1:], edge - 1
        lip[0] = Arc(arc.centre, r, meets, arc.last_angle)
        return lip, edge

    def _metal(self, half: bool) -> FloatArray:
        skew = self.misalignment_half
        right = polyline(self._lip(-skew))
        if half:
            return right
        left = polyline(self._lip(skew)) * np.array([-1.0, 1.0])
        return np.vstack([left[::-1], right])

    def _channel(self, left: float, level: float) -> FloatArray:
        """Liquid in the channel up to its level, with the corners over the lips' roundings."""
        skew, foot, wall = self.misalignment_half, -self.protrusion, self.channel_height / 2.0
        right = _below(polyline(self._lip(-skew), 129), level)
        if left == 0.0:
            return np.vstack([[[0.0, foot]], right, [[0.0, level]]])
        other = _below(polyline(self._lip(skew), 129), level) * np.array([-1.0, 1.0])
        return np.vstack([[[-wall, foot]], right, other[::-1]])

    def _marks(self) -> Iterator[DimensionMark]:
        wall, r, skew = self.channel_height / 2.0, self.lip_radius, self.misalignment_half
        low = -skew - 2.5 * max(r, wall)
        yield DimensionMark(
            "emitter.channel_height",
            length_text(self.channel_height),
            (-wall, low),
            (wall, low),
            inset=True,
        )
        outer = wall + r + self.land
        if r > 0.0:
            angle = (math.pi / 2.0 + self.lean) / 2.0
            centre = (outer, -skew - r)
            spot = (centre[0] + r * math.cos(angle), centre[1] + r * math.sin(angle))
            yield DimensionMark(
                "emitter.lip_radius", f"R {length_text(r)}", centre, spot, "radius", inset=True
            )
        if self.land > 0.0:
            yield DimensionMark(
                "emitter.land",
                f"land {length_text(self.land)}",
                (wall + r, 0.7 * r - skew),
                (outer, 0.7 * r - skew),
                inset=True,
                foot=-skew,
            )
        if self.recess > 0.0:
            level = -abs(skew) - self.recess
            yield DimensionMark(
                "emitter.recess",
                f"recess {length_text(self.recess)}",
                (0.0, -abs(skew)),
                (0.0, level),
                inset=True,
            )
        foot = self._lip(-skew)[-1].end
        yield DimensionMark(
            "emitter.blade_included_angle",
            f"included angle {math.degrees(self.blade_included_angle):.4g} deg",
            (0.0, float(foot[1] + foot[0] / math.tan(self.lean)) if self.lean > 0.0 else 0.0),
            (float(foot[0]), float(foot[1])),
            kind="angle",
        )
        yield DimensionMark(
            "emitter.protrusion",
            length_text(self.protrusion),
            (float(foot[0]), 0.0),
            (float(foot[0]), -self.protrusion),
        )


def _below(points: FloatArray, level: float) -> FloatArray:
    """The first points of an outline, up to the place where it rises above the level."""
    above = np.flatnonzero(points[:, 1] > level)
    if len(above) == 0:
        highest = int(np.argmax(points[:, 1]))
        return points[: highest + 1]
    i = int(above[0])
    if i == 0:
        return points[:1]
    (x0, z0), (x1, z1) = points[i - 1], points[i]
    share = (level - z0) / (z1 - z0)
    return np.vstack([points[:i], [[x0 + share * (x1 - x0), level]]])
