"""Measured profiles as emitter and accelerator, revolved or extruded."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Literal

import numpy as np
from pydantic import StrictBool

from conegap.geometries.curves.curve import Curve, FloatArray, Line, Spline
from conegap.geometries.curves.outline import mirror_image, moved
from conegap.geometries.curves.section import Boundary, DimensionMark, EmittingEdge, Symmetry
from conegap.geometries.emitters.profile_curve import Profile, sharpest_edges
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.part import Distance, Length, Problem
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import (
    AcceleratorOutline,
    EmitterOutline,
    Holder,
    oriented,
)
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["ProfileAccelerator", "ProfileEmitter"]


class ProfileEmitter(Emitter):
    """An emitter whose edge was measured: a smooth curve through the points of a CSV file.

    An open outline starts on the axis (revolved) or at x = 0 or on the left flank (extruded), and
    goes on straight along its last tangent down to the holder, `protrusion` below the apex.  With
    `edge_radius` the points are scaled about the edge to that radius, which may have a
    tolerance.  An outline that closes on itself stands alone in, or around, an accelerator profile.
    """

    kind: Literal["profile"]
    points: str = described("CSV file with the points of the outline", "edge.csv")
    revolved: StrictBool = True
    corners: StrictBool = False
    edge_radius: Length | None = None
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
            The outline has no form that can be used.
        """
        profile = Profile.of(
            tables[self.points], self.points, revolved=self.revolved, corners=self.corners
        )
        if self.edge_radius is None:
            return profile
        return profile.with_radius(self.edge_radius, self.points)

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
        edge = self._edge(curves)
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
                f"is {length_text(-float(end[1]))} deep; the protrusion must be larger"
            )
        x = float(end[0] + along[0] * (foot - end[1]) / along[1])
        if x <= 0.0:
            raise GeometryError(
                f"{self.points}: the straight continuation of the flank meets the axis before the "
                "holder; measure further down the flank or give a smaller protrusion"
            )
        return Line((float(end[0]), float(end[1])), (x, foot))

    def _edge(self, curves: list[Curve]) -> tuple[int, float, float]:
        """Index, parameter and radius of the sharpest place; the pole first, then the highest."""
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


class ProfileAccelerator(Accelerator):
    """An accelerator drawn by points: a closed outline, or one with both ends on the axis.

    With `gap` the outline is moved along z until its lowest point lies there; without it the
    points are in the coordinates of the emitter's.  `mirrored` adds the mirror image of a planar
    outline, as the second of two blades.
    """

    kind: Literal["profile"]
    points: str = described("CSV file with the points of the outline", "accelerator.csv")
    gap: Distance | None = None
    corners: StrictBool = False
    mirrored: StrictBool = False
    tip_inside: StrictBool = False

    @property
    def tip_may_enter(self) -> bool:
        return self.tip_inside

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        return self.mirrored

    def profile(self, tables: Mapping[str, FloatArray], *, revolved: bool) -> Profile:
        """The outline in the coordinates of its file.

        Raises
        ------
        GeometryError
            The outline does not close.
        """
        profile = Profile.of(
            tables[self.points], self.points, revolved=revolved, corners=self.corners
        )
        if profile.form not in ("closed", "between the poles"):
            raise GeometryError(
                f"{self.points}: an accelerator's outline must come back to its first point"
                f"{', or have both ends on the axis' if revolved else ''}; repeat the first point "
                "at the end"
            )
        return profile

    def distance(self, emitter_apex: float, tables: Mapping[str, FloatArray]) -> float:
        if self.gap is not None:
            return self.gap
        array = tables[self.points]
        revolved = bool(array[:, 0].min() >= 0.0)
        return self.profile(tables, revolved=revolved).lowest() - emitter_apex

    def problems(self) -> Iterator[Problem]:
        if self.gap is not None and self.gap <= 0.0 and not self.tip_inside:
            yield Problem(
                "accelerator.gap",
                f"a gap of {length_text(self.gap)} puts the tip beyond the accelerator's near "
                "face; give a gap larger than zero, or write tip_inside = true in [accelerator]",
            )

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        revolved = setting.symmetry == "axisymmetric"
        profile = self.profile(setting.tables, revolved=revolved)
        curves = moved(profile.curves(), 0.0, gap - profile.lowest())
        top = profile.apex() + gap - profile.lowest()
        mark = DimensionMark("accelerator.gap", length_text(gap), (0.0, 0.0), (0.0, gap))
        notes = (f"The accelerator's outline runs through the points of {self.points}.",)
        if profile.form == "between the poles":
            return AcceleratorOutline(
                gap=gap, top=top, axis_body=tuple(curves), marks=(mark,), notes=notes
            )
        island = oriented(curves, clockwise=True)
        islands = [tuple(island)]
        if self.mirrored and not setting.half:
            islands.append(tuple(mirror_image(island)))
        return AcceleratorOutline(
            gap=gap, top=top, islands=tuple(islands), marks=(mark,), notes=notes
        )
