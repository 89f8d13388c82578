"""Needle: a cone with a spherical cap on a cylindrical shank, bare or wetted by a liquid film."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal

import numpy as np

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line, polyline
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import Boundary, DimensionMark, EmittingEdge
from conegap.geometries.parts.emitter import Emitter, holder_width
from conegap.geometries.parts.feed_path import ConeFilm, FeedPath
from conegap.geometries.parts.part import Angle, Length, Problem, Radius, derived
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import EmitterOutline

__all__ = ["Needle", "tip_marks"]

# Below this half angle the needle is a wire, [rad]: along a shank of 10 mm such a cone widens by
# 10 nm.
_STRAIGHT = 1e-6


def _shoulder(given: Mapping[str, float]) -> float:
    """A quarter of the shank, or less where the cone or the shank leaves no room."""
    shank, tip = given.get("shank_diameter", 1e-3), given.get("tip_radius", 0.0)
    angle, tall = given.get("half_angle", 0.2), given.get("protrusion", 1e-3)
    if angle < _STRAIGHT or angle >= math.pi / 2.0:
        return shank / 4.0
    across = shank / 2.0 - tip * math.cos(angle)
    down = across / math.tan(angle)
    side = min(across / math.sin(angle), abs(tall - tip - down))
    return min(shank / 4.0, max(0.5 * side / math.tan(angle / 2.0), 1e-9))


def tip_marks(radius: float, half_angle: float, film: float) -> Iterator[DimensionMark]:
    """Radius of a cone's spherical tip, and the film on it, where there are such.

    Parameters
    ----------
    radius : float
        Of the metal, [m].
    half_angle : float
        From the axis to the flank, [rad].
    film : float
        [m].
    """
    turn = math.pi / 4.0 + half_angle / 2.0
    spot = (radius * math.cos(turn), radius * math.sin(turn) - radius)
    if radius > 0.0:
        text = f"R {length_text(radius)}"
        yield DimensionMark(
            "emitter.tip_radius", text, (0.0, -radius), spot, kind="radius", inset=True
        )
    if film > 0.0:
        text = f"film {length_text(film)}"
        yield DimensionMark("liquid.film_thickness", text, (0.0, 0.0), (0.0, film), inset=True)


class Needle(Emitter):
    """A needle of revolution.

    The cap is a sphere of `tip_radius` that runs tangentially into a cone of `half_angle` (from
    the axis to the flank); the cone ends on a cylindrical shank over a rounded shoulder.  A
    half angle of zero is a straight wire with a hemispherical end.
    """

    kind: Literal["needle"]
    tip_radius: Radius = described("radius of the spherical tip", "4 um")
    half_angle: Angle = described("angle from the axis to the cone's flank", "15 deg")
    shank_diameter: Length = described("diameter of the cylindrical shank", "0.25 mm")
    protrusion: Length = described("height of the tip above the holder's face", "3 mm")
    shoulder_radius: Length = derived(_shoulder)
    holder_diameter: Length = derived(
        lambda given: holder_width(given, "shank_diameter", "protrusion")
    )

    wetted: ClassVar[bool] = True
    stands_alone: ClassVar[bool] = True

    @property
    def edge_radius_key(self) -> str | None:
        return "emitter.tip_radius"

    @property
    def tip_half_angle(self) -> float | None:
        return self.half_angle

    def film_problems(self, film_thickness: float) -> Iterator[Problem]:
        if film_thickness > self.shank_diameter / 2.0:
            yield Problem(
                "liquid.film_thickness",
                f"the film is thicker than half the shank, {length_text(self.shank_diameter / 2)}; "
                f'did you mean "{length_text(film_thickness / 1000.0)}"?',
            )

    def feed_path(self, film_thickness: float) -> FeedPath | None:
        if film_thickness <= 0.0:
            return None
        return ConeFilm(
            film_thickness, self.tip_radius, self.half_angle, self.base_half_width, self.protrusion
        )

    @property
    def base_half_width(self) -> float:
        return self.shank_diameter / 2.0 if self.has_shank else self._cone_width(self.protrusion)

    @property
    def height(self) -> float:
        return self.protrusion

    @property
    def holder_half_width(self) -> float:
        return self.holder_diameter / 2.0

    def metal_top(self, x: FloatArray) -> FloatArray:
        r, a = self.tip_radius, self.half_angle
        cap = np.sqrt(np.maximum(r**2 - x**2, 0.0)) - r
        if self.straight:
            return np.where(x <= r, cap, -np.inf)
        cone = -r * (1.0 - math.sin(a)) - (x - r * math.cos(a)) / math.tan(a)
        return np.where(x <= r * math.cos(a), cap, cone)

    @property
    def straight(self) -> bool:
        """A wire without a cone."""
        return self.half_angle < _STRAIGHT

    @property
    def cone_end(self) -> float:
        """Depth below the tip where the cone reaches the shank's diameter, [m]."""
        if self.straight:
            return self.tip_radius
        a, r = self.half_angle, self.tip_radius
        return r * (1.0 - math.sin(a)) + (self.shank_diameter / 2.0 - r * math.cos(a)) / math.tan(a)

    @property
    def has_shank(self) -> bool:
        """False where the cone runs down to the holder before it is as wide as the shank."""
        return self.straight or self.cone_end < self.protrusion

    def _cone_width(self, depth: float) -> float:
        a, r = self.half_angle, self.tip_radius
        return r * math.cos(a) + (depth - r * (1.0 - math.sin(a))) * math.tan(a)

    def problems(self) -> Iterator[Problem]:
        shank = self.shank_diameter / 2.0
        if self.half_angle >= math.pi / 2.0:
            yield Problem(
                "emitter.half_angle",
                "the angle from the axis to the flank must be below 90 deg; give the half angle",
            )
            return
        if self.tip_radius > shank * (1.0 + 1e-9):
            yield Problem("emitter.tip_radius", self._too_blunt(shank))
            return
        if self.straight and abs(self.tip_radius - shank) > 1e-6 * shank:
            yield Problem(
                "emitter.half_angle",
                f"a straight wire (half angle 0) ends in a hemisphere, so its tip radius must be "
                f"half the shank's diameter, {length_text(shank)}, and not "
                f"{length_text(self.tip_radius)}; give the cone's half angle, such as "
                '"15 deg", or correct one of the two',
            )
            return
        lowest = self.tip_radius * (1.0 if self.straight else 1.0 - math.sin(self.half_angle))
        if self.protrusion <= lowest:
            yield Problem(
                "emitter.protrusion",
                f"the protrusion must be larger than the height of the rounded tip, "
                f"{length_text(lowest)}; it is the height of the tip above the holder's face",
            )
            return
        yield from super().problems()

    def _too_blunt(self, shank: float) -> str:
        tip = length_text(self.tip_radius)
        whole = length_text(self.shank_diameter)
        text = f"the tip radius {tip} is larger than half the shank's diameter, {whole}"
        if self.tip_radius > 10.0 * shank:
            return f'{text}: did you mean "{length_text(self.tip_radius / 1000.0)}"?'
        if self.tip_radius <= self.shank_diameter * (1.0 + 1e-9):
            return (
                f"{text}: is one of them a radius and the other a diameter? "
                "tip_radius is a radius, shank_diameter a diameter"
            )
        return f"{text}; give a smaller tip radius or a thicker shank"

    def unlikely(self) -> Iterator[Problem]:
        if self.half_angle > math.radians(60.0):
            yield Problem(
                "emitter.half_angle",
                "a half angle above 60 deg is unusual for a needle: it is measured from the axis "
                "to the flank, so give half of the full cone angle",
            )
        if not self.has_shank:
            yield Problem(
                "emitter.shank_diameter",
                f"the cone runs down to the holder before it is as wide as the shank, which would "
                f"need a protrusion of {length_text(self.cone_end)}; the shank is left out",
            )

    def outline(self, setting: Setting) -> EmitterOutline:
        film = setting.film_thickness
        surface, names = self._surface(film)
        boundaries = tuple(Boundary(n, c) for n, c in zip(names, surface, strict=True))
        edge = EmittingEdge("tip", 0, 0, 0.0, self.tip_radius + film)
        notes: list[str] = []
        metal: FloatArray | None = None
        liquids: tuple[FloatArray, ...] = ()
        if film > 0.0:
            metal = polyline(self._surface(0.0)[0])
            wet = polyline([c for n, c in zip(names, surface, strict=True) if n == "liquid"])
            liquids = (np.vstack([wet, metal[::-1]]),)
            notes.append(
                f"A liquid film {length_text(film)} thick covers needle and shank: the surface is "
                f"the film's, with a tip radius of {length_text(self.tip_radius + film)}."
            )
        return EmitterOutline(
            boundaries=boundaries,
            edges=(edge,),
            holder=self.holder(),
            metal=metal,
            liquids=liquids,
            marks=tuple(self._marks(film)),
            notes=tuple(notes),
        )

    def _surface(self, film: float) -> tuple[list[Curve], list[str]]:
        """Curves from the tip to the holder, offset by the film, and their names."""
        a, tip = self.half_angle, self.tip_radius
        wet = "liquid" if film > 0.0 else "emitter"
        radius, centre, foot = tip + film, -tip, -self.protrusion
        curves: list[Curve] = []
        names: list[str] = []
        if radius > 0.0:
            curves.append(Arc((0.0, centre), radius, math.pi / 2.0, a))
            names.append(wet)
            start = curves[0].end
        else:
            start = np.array([0.0, 0.0])
        if self.straight:
            start = np.array([radius, centre])
            curves[0] = Arc((0.0, centre), radius, math.pi / 2.0, 0.0)
            curves.append(Line((radius, centre), (radius, foot)))
            return curves, [*names, "emitter"]
        if not self.has_shank:
            across = float(start[0]) + (float(start[1]) - foot) * math.tan(a)
            curves.append(Line((float(start[0]), float(start[1])), (across, foot)))
            return curves, [*names, wet]
        wide = self.shank_diameter / 2.0 + film
        drop = (wide - float(start[0])) / math.tan(a)
        corner = (wide, float(start[1]) - drop)
        rest = rounded_polygon(
            [(float(start[0]), float(start[1])), corner, (wide, foot)],
            [0.0, self.shoulder_radius + film, 0.0],
        )
        names += [wet, *["emitter"] * (len(rest) - 1)]
        return curves + rest, names

    def _marks(self, film: float) -> Iterator[DimensionMark]:
        tip, a, tall = self.tip_radius, self.half_angle, self.protrusion
        yield from tip_marks(tip, a, film)
        if not self.straight:
            apex = tip / math.sin(a) - tip
            reach = min(self.cone_end, tall)
            yield DimensionMark(
                "emitter.half_angle",
                f"half angle {math.degrees(a):.4g} deg",
                (0.0, apex),
                (self._cone_width(reach), -reach),
                kind="angle",
            )
        wide = self.base_half_width
        if self.has_shank:
            height = -(self.cone_end + tall) / 2.0
            yield DimensionMark(
                "emitter.shank_diameter",
                f"⌀ {length_text(self.shank_diameter)}",
                (-wide, height),
                (wide, height),
            )
        yield DimensionMark("emitter.protrusion", length_text(tall), (wide, 0.0), (wide, -tall))
