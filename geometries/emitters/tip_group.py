"""What crowns and arrays share: equal conical tips on a flat crest, and one of them alone."""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Iterator
from typing import ClassVar

import numpy as np

from conegap.geometries.curves.curve import Arc, FloatArray, Line, polyline
from conegap.geometries.curves.section import Boundary, DimensionMark, EmittingEdge
from conegap.geometries.emitters.needle import tip_marks
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.feed_path import ConeFilm, FeedPath
from conegap.geometries.parts.part import Angle, Length, Problem, Radius
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import EmitterOutline
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.solids.sector import Tip

__all__ = ["FEET_APART", "TipGroup"]

# The field at a tip was checked against axisymmetric solves from 0.5 to 40 degrees; wider cones,
# up to 75, are only checked against the mesh sequence. [rad]
_LEAST_ANGLE = math.radians(0.5)
# Wider cones are hardly tips; at 75 degrees the field still came within 3e-4 of the axisymmetric
# solve of the same cone, [rad].
_MOST_ANGLE = math.radians(75.0)
# Tip radii in the sphere about the bare tip; its region can be meshed from five on, and a film
# on the tip takes its part of the rest.
_LEAST_REACH = 6.0
# The same with the film, where the mesher's own limit applies (`tip_field`).
_LEAST_NEAR = 5.0
FEET_APART = 1.01
"""Least pitch of another spacing over the width of a foot: the feet must not touch, [-]."""


class TipGroup(Emitter):
    """Several equal tips: cones with a spherical cap that stand on a flat crest.

    The plane section shows one of them alone on a round body; the sector holds what the others
    and the true shape of the electrodes do to its field.
    """

    tip_radius: Radius = described("radius of the spherical tips", "4 um")
    half_angle: Angle = described("angle from a tip's axis to its flank", "15 deg")
    tip_height: Length = described("height of the tips above the crest they stand on", "1 mm")
    runout: Radius = 0.0

    wetted: ClassVar[bool] = True
    chamber_at_ground: ClassVar[bool] = True

    @property
    def edge_radius_key(self) -> str | None:
        return "emitter.tip_radius"

    @property
    def tip_half_angle(self) -> float | None:
        return self.half_angle

    def feed_path(self, film_thickness: float) -> FeedPath | None:
        if film_thickness <= 0.0:
            return None
        return ConeFilm(
            film_thickness, self.tip_radius, self.half_angle, self.base_half_width, self.tip_height
        )

    @property
    @abstractmethod
    def pitch_length(self) -> float:
        """Distance between the axes of neighbouring tips, [m]."""

    @property
    @abstractmethod
    def extent(self) -> float:
        """Largest distance of its metal from the middle, [m]."""

    @property
    @abstractmethod
    def count(self) -> int:
        """Number of tips."""

    @property
    def section_shows(self) -> str:
        return "one tip alone"

    def refusals(self, accelerator: Accelerator) -> Iterator[Problem]:
        if accelerator.distance(0.0, {}) <= 0.0:
            yield Problem(
                "accelerator.gap",
                f"the tips of a {self.kind} must stay before the accelerator; give a gap larger "
                "than zero",
            )

    def _room_about(self, changed: TipGroup) -> TipGroup | None:
        """A changed emitter whose tips neither touch nor crowd each other, or None."""
        crowded = changed.reach(math.inf) < _LEAST_REACH * self.tip_radius
        return None if crowded else changed

    @property
    def base_half_width(self) -> float:
        a, r = self.half_angle, self.tip_radius
        depth = self.tip_height - r * (1.0 - math.sin(a))
        return r * math.cos(a) + depth * math.tan(a)

    @property
    def height(self) -> float:
        return self.tip_height

    def metal_top(self, x: FloatArray) -> FloatArray:
        r, a = self.tip_radius, self.half_angle
        cap = np.sqrt(np.maximum(r**2 - x**2, 0.0)) - r
        cone = -r * (1.0 - math.sin(a)) - (x - r * math.cos(a)) / math.tan(a)
        return np.where(x <= r * math.cos(a), cap, cone)

    def reach(self, gap: float) -> float:
        """Radius about an apex that holds no metal but the tip's own, [m].

        Parameters
        ----------
        gap : float
            Distance to the accelerator, [m].
        """
        return 0.5 * min(self.tip_height, abs(gap), 0.5 * self.pitch_length)

    def tip(
        self,
        name: str,
        place: tuple[float, float],
        gap: float,
        film: float,
        mirrors: tuple[float, ...],
    ) -> Tip:
        """One of its tips with the film on it.

        Parameters
        ----------
        name : str
        place : tuple of float
            Its axis, (x, y), [m].
        gap : float
            Distance to the accelerator, [m].
        film : float
            [m].
        mirrors : tuple of float
            Azimuths of the symmetry planes through it, [rad].

        Raises
        ------
        GeometryError
            The accelerator is too near, or the film too thick, for the region about one tip.
        """
        radius = self.tip_radius + film
        if self.reach(gap) < _LEAST_NEAR * radius:
            raise GeometryError(
                f"accelerator.gap: with {length_text(gap)} to the accelerator and tips of "
                f"{length_text(radius)} radius, film included, there is no room about a tip for a "
                f"field of its own; the gap must be at least {2.0 * _LEAST_NEAR:g} of these radii, "
                f"{length_text(2.0 * _LEAST_NEAR * radius)}",
                keys=("accelerator.gap",),
            )
        return Tip(
            name=name,
            place=place,
            apex=film,
            radius=self.tip_radius + film,
            half_angle=self.half_angle,
            height=self.tip_height + film,
            reach=self.reach(gap),
            mirrors=mirrors,
        )

    def problems(self) -> Iterator[Problem]:
        if self.tip_radius <= 0.0:
            yield Problem(
                "emitter.tip_radius",
                "a sharp tip has no finite field; give the radius that a micrograph shows",
            )
            return
        if not _LEAST_ANGLE <= self.half_angle <= _MOST_ANGLE:
            yield Problem(
                "emitter.half_angle",
                "the half angle of a crown's or an array's tips must be between 0.5 and 75 deg; "
                "it is measured from the axis to the flank",
            )
            return
        if self.tip_height <= 2.0 * self.tip_radius:
            slip = length_text(self.tip_radius / 1000.0)
            yield Problem(
                "emitter.tip_radius",
                f"the tips are {length_text(self.tip_height)} high, less than their own diameter; "
                f'did you mean "{slip}"?',
            )
            return
        foot = 2.0 * self.base_half_width
        if foot > self.pitch_length:
            yield Problem(
                self._pitch_key,
                f"the tips' feet are {length_text(foot)} wide and overlap at a distance of "
                f"{length_text(self.pitch_length)} between their axes; use fewer or slimmer tips "
                "or a larger pitch",
            )
            return
        if self.reach(math.inf) < _LEAST_REACH * self.tip_radius:
            yield Problem(
                "emitter.tip_radius",
                f"the tips are blunt against their distance, {length_text(self.pitch_length)}, or "
                f"height, {length_text(self.tip_height)}: the distance may not be less than "
                f"{4 * _LEAST_REACH:g} tip radii, the height not less than {2 * _LEAST_REACH:g}",
            )
        if self.runout > 0.5 * self.tip_height:
            yield Problem(
                "emitter.runout",
                f"the runout is more than half of the tips' height of "
                f"{length_text(self.tip_height)}; did you mean "
                f'"{length_text(self.runout / 1000.0)}"?',
            )
        yield from super().problems()

    @property
    def _pitch_key(self) -> str:
        return "emitter.pitch"

    def outline(self, setting: Setting) -> EmitterOutline:
        film = setting.film_thickness
        a, tip, foot = self.half_angle, self.tip_radius, -self.tip_height
        name = "liquid" if film > 0.0 else "emitter"
        cap = Arc((0.0, -tip), tip + film, math.pi / 2.0, a)
        x, z = (float(value) for value in cap.end)
        flank = Line((x, z), (x + (z - foot) * math.tan(a), foot))
        liquids: tuple[FloatArray, ...] = ()
        metal: FloatArray | None = None
        notes = [self._alone_note()]
        if film > 0.0:
            bare = Arc((0.0, -tip), tip, math.pi / 2.0, a)
            bx, bz = (float(value) for value in bare.end)
            metal = polyline([bare, Line((bx, bz), (bx + (bz - foot) * math.tan(a), foot))])
            liquids = (np.vstack([polyline([cap, flank]), metal[::-1]]),)
            notes.append(f"A liquid film {length_text(film)} thick covers the tips.")
        return EmitterOutline(
            boundaries=(Boundary(name, cap), Boundary(name, flank)),
            edges=(EmittingEdge("tip", 0, 0, 0.0, tip + film),),
            holder=self.holder(),
            extent=self.extent,
            metal=metal,
            liquids=liquids,
            marks=tuple(self._marks(film)),
            notes=tuple(notes),
        )

    @abstractmethod
    def _alone_note(self) -> str:
        """What the plane section leaves out."""

    def _marks(self, film: float) -> Iterator[DimensionMark]:
        tip, a, tall = self.tip_radius, self.half_angle, self.tip_height
        yield from tip_marks(tip, a, film)
        wide = self.base_half_width
        yield DimensionMark(
            "emitter.half_angle",
            f"half angle {math.degrees(a):.4g} deg",
            (0.0, tip / math.sin(a) - tip),
            (wide, -tall),
            kind="angle",
        )
        yield DimensionMark("emitter.tip_height", length_text(tall), (wide, 0.0), (wide, -tall))
