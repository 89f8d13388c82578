"""Aperture plate: a plate with a round hole, or with one over every tip."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import ClassVar, Literal

from pydantic import StrictBool

from conegap.geometries.accelerators.movable import Movable
from conegap.geometries.accelerators.plate import Plate
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.parts.opening import RoundHole
from conegap.geometries.parts.part import Length, Problem, derived
from conegap.geometries.parts.setting import Arrangement, Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["AperturePlate"]


class AperturePlate(Plate, Movable):
    """A plate with a round hole, before a needle or a capillary.

    `bevel_angle` opens the hole away from the emitter.  A plate that `reaches_wall` has no rim: it
    ends where the region does.
    """

    kind: Literal["aperture_plate"]
    diameter: Length = described("diameter of the hole", "2 mm")
    outer_diameter: Length = derived(
        lambda given: (
            given.get("diameter", 0.0) + 2.0 * max(4.0 * given.get("thickness", 0.0), 10e-3)
        )
    )

    reaches_wall: StrictBool = False

    symmetry: ClassVar[Symmetry | None] = "axisymmetric"
    faces: ClassVar[tuple[Arrangement, ...]] = ("single", "rows")

    @property
    def opening(self) -> float | None:
        return self.diameter

    @property
    def half_width(self) -> float:
        if self.reaches_wall:
            # The hole with its roundings; a plate is left beside it.
            return self.diameter / 2.0 + self._lean + 3.0 * self.thickness
        return self.outer_diameter / 2.0

    @property
    def touches_side(self) -> bool:
        return self.reaches_wall

    @property
    def _lean(self) -> float:
        return self.thickness * math.tan(self.bevel_angle)

    def round_hole(self, gap: float) -> RoundHole | None:
        far, inner = gap + self.thickness, self.diameter / 2.0
        lean = self._lean
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
        if self.reaches_wall and "outer_diameter" in self.model_fields_set:
            yield Problem(
                "accelerator.outer_diameter",
                "a plate that reaches the wall has no rim; leave outer_diameter out",
            )
        for key, value in zip(self.askew_keys, self.askew, strict=True):
            if self.reaches_wall and value != 0.0:
                yield Problem(
                    f"accelerator.{key}",
                    "a plate that reaches the wall stands square to it and on its axis; leave it "
                    "out, or give the plate a rim (reaches_wall = false)",
                )
        yield from self._plate_problems("diameter", "outer_diameter")

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        plate = self._round_opening(gap, "accelerator.diameter", f"⌀ {length_text(self.diameter)}")
        plate = replace(plate, notes=(*plate.notes, *self.askew_notes()))
        hole = self.round_hole(gap)
        if not self.reaches_wall or hole is None:
            return plate
        return replace(plate, islands=(), opening=hole.wall)
