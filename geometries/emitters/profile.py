"""Measured profiles as emitters, revolved or extruded."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, Literal

import numpy as np
from pydantic import StrictBool

from conegap.geometries.curves.curve import Curve, FloatArray, Line, Spline
from conegap.geometries.curves.outline import mirror_image
from conegap.geometries.curves.outline_quality import OutlineQuality, outline_quality
from conegap.geometries.curves.profile import Profile, sharpest_edges
from conegap.geometries.curves.section import (
    Boundary,
    DimensionMark,
    EmittingEdge,
    Section,
    Symmetry,
)
from conegap.geometries.emitters.capacitor import capacitor_section
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.part import Length, Problem
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import (
    EmitterOutline,
    Holder,
)
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["ProfileEmitter"]

# Changes of sign of the curvature up to which an outline is taken for smooth. A choice, no source.
_SMOOTH = 6


# Scaling of a measured outline beyond which a slip is more likely than a correction. A choice.
_SCALED = 0.1


def _sharpest(profile: Profile) -> float:
    """Radius of the sharpest place, 0 at a corner, [m]."""
    return min(edge.radius for edge in sharpest_edges(profile.curves())) or math.inf


class ProfileEmitter(Emitter):
    """An emitter whose edge was measured: a smooth curve through the points of a CSV file.

    An open outline starts on the axis (revolved) or at x = 0 or on the left flank (extruded), and
    goes on straight along its last tangent down to the holder, `protrusion` below the apex.  With
    `edge_radius` the points are scaled about the edge to that radius, which may have a tolerance.
    Points that scatter, by `points_uncertainty` (one standard deviation of a coordinate) or as they
    show themselves, give way to a smooth outline.  An outline that closes on itself stands alone
    in, or around, an accelerator profile.
    """

    kind: Literal["profile"]
    points: str = described("CSV file with the points of the outline", "edge.csv")
    revolved: StrictBool = True
    corners: StrictBool = False
    edge_radius: Length | None = None
    points_uncertainty: Length | None = None
    protrusion: Length | None = None
    holder_diameter: Length | None = None
    holder_width: Length | None = None

    @property
    def edge_radius_key(self) -> str | None:
        return None if self.edge_radius is None else "emitter.edge_radius"

    @property
    def noun(self) -> str:
        return "tip" if self.revolved else "edge"

    @property
    def symmetry(self) -> Symmetry:
        return "axisymmetric" if self.revolved else "planar"

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        return self.profile(tables).form == "from the middle"

    @property
    def height(self) -> float:
        return self.protrusion or 0.0

    def profile(self, tables: Mapping[str, FloatArray]) -> Profile:
        """The outline in the coordinates of its file.

        Raises
        ------
        GeometryError
            The outline has no form that can be used, or its points scatter too much.
        """
        quality = self.quality(tables)
        if self.edge_radius is None:
            return quality.profile
        return quality.profile.with_radius(self.edge_radius, self.points, quality.radius)

    def quality(self, tables: Mapping[str, FloatArray]) -> OutlineQuality:
        """What the points tell of the edge, before `edge_radius` scales them.

        Raises
        ------
        GeometryError
            The outline has no form that can be used, or its points scatter too much.
        """
        profile = Profile.of(
            tables[self.points], self.points, revolved=self.revolved, corners=self.corners
        )
        return outline_quality(profile, self.points, self.points_uncertainty)

    def outline_uncertainty(self, tables: Mapping[str, FloatArray]) -> tuple[float, float]:
        quality = self.quality(tables)
        scatter = 0.0 if self.edge_radius is not None else quality.uncertainty
        return quality.interpolation, scatter

    def whole_section(
        self,
        accelerator: Accelerator,
        tables: Mapping[str, FloatArray],
        files: Mapping[str, Any],
    ) -> tuple[Section, tuple[Problem, ...]] | None:
        profile = self.profile(tables)
        if profile.form not in ("closed", "between the poles"):
            return None
        facing = accelerator.closed_profile(tables, revolved=self.revolved)
        if facing is None:
            return None
        names = (self.points, facing[1])
        section = capacitor_section(profile, facing[0], names, revolved=self.revolved)
        return section, tuple(self.remarks(tables))

    def apex_height(self, tables: Mapping[str, FloatArray]) -> float:
        return self.profile(tables).apex()

    def remarks(self, tables: Mapping[str, FloatArray]) -> Iterator[Problem]:
        quality = self.quality(tables)
        own = quality.radius or _sharpest(quality.profile)
        if self.edge_radius is not None and abs(self.edge_radius / own - 1.0) > _SCALED:
            yield Problem(
                "emitter.edge_radius",
                f"the points show an edge radius of {own * 1e6:.3g} um, so that edge_radius "
                f"scales the whole outline by {self.edge_radius / own:.3g}; check both, or leave "
                "edge_radius out",
            )
        if quality.smoothed:
            yield Problem(
                "emitter.points",
                f"the points scatter by {quality.scatter * 1e9:.3g} nm, and a smooth outline is "
                f"taken in their place; its edge radius is {own * 1e6:.3g} um +- "
                f"{200.0 * quality.uncertainty:.2g} % (k = 2)",
            )
            return
        wavy = self.profile(tables).wavy()
        if wavy > _SMOOTH:
            yield Problem(
                "emitter.points",
                f"the curve through the points changes the sign of its curvature {wavy} times; the "
                "outline looks rough, and its edge radius follows the roughness; smooth the points "
                "first",
            )

    def problems(self) -> Iterator[Problem]:
        wrong = "holder_width" if self.revolved else "holder_diameter"
        right = "holder_diameter" if self.revolved else "holder_width"
        if getattr(self, wrong) is not None:
            shape = "a revolved" if self.revolved else "an extruded"
            yield Problem(f"emitter.{wrong}", f"{shape} profile stands on a {right}; write that")

    def outline(self, setting: Setting) -> EmitterOutline:
        profile = self.profile(setting.tables)
        if profile.form in ("closed", "between the poles"):
            raise GeometryError(
                f"{self.points} closes on itself; such an emitter needs an accelerator of kind "
                "profile that encloses it or lies inside it"
            )
        if self.protrusion is None:
            raise GeometryError(
                "emitter.protrusion is missing: add the height of the apex above the holder's "
                'face, such as protrusion = "3 mm"'
            )
        if not setting.half:
            profile = profile.whole()
        curves = profile.raised(-profile.apex()).curves()
        lead: list[Curve] = []
        flip = np.array([-1.0, 1.0])
        if profile.form == "across":
            lead = mirror_image(
                [self._flank(mirror_image(curves), *(profile.points[1::-1] * flip))]
            )
        flank = self._flank(curves, *profile.points[-2:])
        chain = [*lead, *curves, flank]
        smoothed = self.quality(setting.tables).smoothed
        edge = self._edge(curves, profile if smoothed else None)
        name = "emitter"
        return EmitterOutline(
            boundaries=tuple(Boundary(name, curve) for curve in chain),
            edges=(EmittingEdge("edge", 0, edge[0] + len(lead), edge[1], edge[2]),),
            holder=self._holder(chain),
            half=profile.form == "from the middle",
            marks=tuple(self._marks(curves, edge, flank)),
            notes=(
                f"The emitter's outline runs through {len(profile.points)} points of "
                f"{self.points}, {'with corners' if self.corners else 'as a smooth curve'}, and "
                "goes on straight down to the holder.",
            ),
        )

    def _flank(self, curves: list[Curve], before: FloatArray, last: FloatArray) -> Line:
        """The straight continuation of the outline down to the holder's face."""
        end, along = curves[-1].end, curves[-1].tangent([1.0])[0]
        foot = -self.height
        if isinstance(curves[-1], Spline):
            chord = last - before
            turn = math.atan2(chord[0] * along[1] - chord[1] * along[0], float(chord @ along))
            if abs(turn) > math.radians(30.0):
                raise GeometryError(
                    f"{self.points}: the smooth curve swings away from the last two points by "
                    f"{abs(math.degrees(turn)):.0f} deg, so they are too few or too uneven; add "
                    "points along the flank, or set corners = true"
                )
        if along[1] >= 0.0:
            raise GeometryError(
                f"{self.points}: the outline must end going down its flank, but its last piece "
                "rises; heights grow towards the accelerator"
            )
        if end[1] <= foot:
            raise GeometryError(
                f'emitter.protrusion = "{length_text(self.height)}": the outline of {self.points} '
                f"is {length_text(-float(end[1]))} deep; the protrusion must be larger",
                keys=("emitter.protrusion",),
            )
        x = float(end[0] + along[0] * (foot - end[1]) / along[1])
        if x <= 0.0:
            raise GeometryError(
                f"{self.points}: the straight continuation of the flank meets the axis before the "
                "holder; measure further down the flank or give a smaller protrusion"
            )
        return Line((float(end[0]), float(end[1])), (x, foot))

    def _edge(self, curves: list[Curve], smooth: Profile | None) -> tuple[int, float, float]:
        """Index, parameter and radius of the sharpest place; the pole first, then the highest.

        Of a smoothed outline the apex: which of its last waves is the sharpest is chance.
        """
        if smooth is not None:
            return 0, *smooth.apex_place()
        places = sharpest_edges(curves)
        best = max(places, key=lambda p: (abs(p.point[0]) < 1e-9 * self.height, float(p.point[1])))
        return best.index, best.t, best.radius

    def _holder(self, chain: list[Curve]) -> Holder:
        foot = max(abs(float(chain[-1].end[0])), abs(float(chain[0].start[0])))
        given = self.holder_diameter if self.revolved else self.holder_width
        half = 4.0 * foot + self.height / 2.0 if given is None else given / 2.0
        if half < foot + self.holder_edge_radius:
            name = "holder_diameter" if self.revolved else "holder_width"
            needed = 2.0 * (foot + self.holder_edge_radius)
            raise GeometryError(
                f'emitter.{name} = "{length_text(2.0 * half)}": the holder is too narrow for the '
                f"emitter's foot; make it at least {length_text(needed)} wide"
            )
        return Holder(half, self.holder_edge_radius, self.holder_thickness, -self.height)

    def _marks(
        self, curves: list[Curve], edge: tuple[int, float, float], flank: Line
    ) -> Iterator[DimensionMark]:
        index, t, radius = edge
        if radius > 0.0:
            spot = curves[index].point([t])[0]
            centre = spot - radius * curves[index].normal([t])[0]
            yield DimensionMark(
                "emitter.points",
                f"R = {radius * 1e6:.4g} um",
                (float(centre[0]), float(centre[1])),
                (float(spot[0]), float(spot[1])),
                kind="radius",
                inset=True,
            )
        x = flank.last[0]
        yield DimensionMark(
            "emitter.protrusion", length_text(self.height), (x, 0.0), (x, -self.height)
        )
