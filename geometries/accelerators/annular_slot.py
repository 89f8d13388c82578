"""Annular slot: a disc and a plate around it, with a ring-shaped opening before a crown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal

from conegap.geometries.accelerators.plate import Plate
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.parts.opening import RingSlot
from conegap.geometries.parts.part import Length, Offset, Problem, derived
from conegap.geometries.parts.setting import Arrangement, Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = ["AnnularSlot"]


def _outer(given: Mapping[str, float]) -> float:
    wide = given.get("mean_diameter", 0.0) + given.get("slot_width", 0.0)
    return wide + 2.0 * max(4.0 * given.get("thickness", 0.0), 10e-3)


class AnnularSlot(Plate):
    """A plate with a ring-shaped slot of `slot_width` about a circle of `mean_diameter`.

    The disc inside the slot is held without visible struts.  `bevel_angle` opens the slot away
    from the emitter on both sides.  `lateral_offset` moves the slot's middle away from the crown's.
    """

    kind: Literal["annular_slot"]
    mean_diameter: Length = described("diameter of the circle in the middle of the slot", "8 mm")
    slot_width: Length = described("width of the ring-shaped slot", "2 mm")
    lateral_offset: Offset = 0.0
    outer_diameter: Length = derived(_outer)

    symmetry: ClassVar[Symmetry | None] = "axisymmetric"
    faces: ClassVar[tuple[Arrangement, ...]] = ("ring",)

    @property
    def opening(self) -> float | None:
        return self.slot_width

    @property
    def half_width(self) -> float:
        return self.outer_diameter / 2.0

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        least = self.mean_diameter + self.slot_width
        if self.slot_width >= self.mean_diameter:
            yield Problem(
                "accelerator.slot_width",
                f"the slot is as wide as its own circle, {length_text(self.mean_diameter)}, and "
                "leaves no disc inside; make it narrower",
            )
        elif self.outer_diameter <= least:
            yield Problem(
                "accelerator.outer_diameter",
                f"the plate ends inside the slot, which reaches to {length_text(least)}; make it "
                "larger",
            )
        else:
            yield from self._plate_problems("slot_width", "outer_diameter")
            disc = (self.mean_diameter - self.slot_width) / 2.0
            if self.edge_radius >= disc:
                yield Problem(
                    "accelerator.edge_radius",
                    f"the edge of the disc inside the slot is rounder than the disc, whose radius "
                    f"is {length_text(disc)}; make it sharper or the slot narrower",
                )
        if abs(self.lateral_offset) >= self.slot_width / 2.0:
            yield Problem(
                "accelerator.lateral_offset",
                "the slot is moved by more than half its width, so that some tips face closed "
                "metal; make it smaller",
            )

    def ring_slot(self, gap: float) -> RingSlot | None:
        far = gap + self.thickness
        lean = self.thickness * math.tan(self.bevel_angle)
        inner = (self.mean_diameter - self.slot_width) / 2.0
        edge = self.edge_radius
        disc = rounded_polygon(
            [(0.0, gap), (inner, gap), (inner - lean, far), (0.0, far)],
            [0.0, edge, edge, 0.0],
            closed=True,
        )
        plate = self._loop((self.mean_diameter + self.slot_width) / 2.0, self.half_width, gap)
        return RingSlot(
            self.mean_diameter, self.slot_width, self.lateral_offset, (tuple(disc), tuple(plate))
        )

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        return self._round_opening(gap, "accelerator.slot_width", length_text(self.slot_width))
