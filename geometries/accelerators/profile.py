"""Measured profiles as accelerators, revolved or extruded."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import StrictBool

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.outline import mirror_image, moved
from conegap.geometries.curves.profile import Profile
from conegap.geometries.parts.accelerator import Accelerator, gap_mark
from conegap.geometries.parts.part import Distance, Problem
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline, oriented
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["ProfileAccelerator"]


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

    def closed_profile(
        self, tables: Mapping[str, FloatArray], *, revolved: bool
    ) -> tuple[Profile, str] | None:
        profile = self.profile(tables, revolved=revolved)
        if self.gap is not None:
            raise GeometryError(
                "accelerator.gap: of two closed outlines the files give the position; remove the "
                "gap"
            )
        return profile, self.points

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
        mark = gap_mark(gap)
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
