"""Aperture plate: a plate with a round hole, or with one over every tip."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import ClassVar, Literal

from conegap.geometries.accelerators.plate import Plate
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.parts.opening import RoundHole
from conegap.geometries.parts.part import Length, Problem, derived
from conegap.geometries.parts.setting import Arrangement, Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["AperturePlate"]


class AperturePlate(Plate):
    """A plate with a round hole, before a needle or a capillary.

    `bevel_angle` opens the hole away from the emitter.
    """

    kind: Literal["aperture_plate"]
    diameter: Length = described("diameter of the hole", "2 mm")
    outer_diameter: Length = derived(
        lambda given: (
            given.get("diameter", 0.0) + 2.0 * max(4.0 * given.get("thickness", 0.0), 10e-3)
        )
    )

    symmetry: ClassVar[Symmetry | None] = "axisymmetric"
    faces: ClassVar[tuple[Arrangement, ...]] = ("single", "rows")

    @property
    def opening(self) -> float | None:
        return self.diameter

    @property
    def half_width(self) -> float:
        return self.outer_diameter / 2.0

    def round_hole(self, gap: float) -> RoundHole | None:
        far, inner = gap + self.thickness, self.diameter / 2.0
        lean = self.thickness * math.tan(self.bevel_angle)
        wide = inner + lean + 3.0 * self.thickness
        wall = rounded_polygon(
            [(wide, gap), (inner, gap), (inner + lean, far), (wide, far)],
            [0.0, self.edge_radius, self.edge_radius, 0.0],
        )[1:-1]
        if min(float(wall[0].start[0]), float(wall[-1].end[0])) < inner:
            raise GeometryError("accelerator.edge_radius: the roundings of the hole do not fit")
        return RoundHole(self.diameter, tuple(wall))

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        yield from self._plate_problems("diameter", "outer_diameter")

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        return self._round_opening(gap, "accelerator.diameter", f"⌀ {length_text(self.diameter)}")
