"""Slotted plate: two blades with a slot between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal

from conegap.geometries.accelerators.plate import Plate, smaller, thickness_mark
from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.outline import mirror_image, moved
from conegap.geometries.curves.section import DimensionMark, Symmetry
from conegap.geometries.parts.accelerator import gap_mark
from conegap.geometries.parts.opening import StraightSlot
from conegap.geometries.parts.part import Length, Offset, Problem, derived
from conegap.geometries.parts.setting import Arrangement, Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = ["SlottedPlate"]


class SlottedPlate(Plate):
    """Two blades with a slot of `slot_width` between them, before a slit emitter.

    `bevel_angle` opens the slot away from the emitter.  `lateral_offset` moves the slot to +x.
    `slot_length` is its length along the emitter; left out, it is open far beyond both ends.
    """

    kind: Literal["slotted_plate"]
    slot_width: Length = described("width of the slot between the two blades", "2 mm")
    lateral_offset: Offset = 0.0
    slot_length: Length | None = None
    outer_width: Length = derived(
        lambda given: (
            given.get("slot_width", 0.0) + 2.0 * max(4.0 * given.get("thickness", 0.0), 10e-3)
        )
    )

    symmetry: ClassVar[Symmetry | None] = "planar"
    offsets: ClassVar[tuple[str, ...]] = ("lateral_offset",)
    faces: ClassVar[tuple[Arrangement, ...]] = ("single", "rows")

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        return self.lateral_offset == 0.0

    @property
    def opening(self) -> float | None:
        return self.slot_width

    @property
    def half_width(self) -> float:
        return self.outer_width / 2.0

    def straight_slot(self, gap: float) -> StraightSlot | None:
        blade = self._loop(self.slot_width / 2.0, self.half_width, gap)
        blade = moved(blade, self.lateral_offset)
        return StraightSlot(self.slot_width, self.slot_length, tuple(blade))

    def with_slot_length(self, length: float) -> SlottedPlate | None:
        return self.model_copy(update={"slot_length": length})

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        yield from self._plate_problems("slot_width", "outer_width")
        if abs(self.lateral_offset) >= self.slot_width / 2.0:
            yield Problem(
                "accelerator.lateral_offset",
                f"the slot is moved by more than half its width, "
                f"{length_text(self.slot_width / 2.0)}, so the emitter faces a closed plate; "
                + smaller(abs(self.lateral_offset), self.slot_width / 2.0, "make it smaller"),
            )

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        right = self._loop(self.slot_width / 2.0, self.half_width, gap)
        islands = [tuple(right)]
        shift = self.lateral_offset
        if not setting.half:
            left = moved(mirror_image(right), shift)
            islands = [tuple(moved(right, shift)), tuple(left)]
        middle, half = gap + self.thickness / 2.0, self.slot_width / 2.0
        marks = (
            gap_mark(gap),
            DimensionMark(
                "accelerator.slot_width",
                length_text(self.slot_width),
                (shift - half, middle),
                (shift + half, middle),
            ),
            thickness_mark(shift + self.half_width, gap, self.thickness),
        )
        notes: tuple[str, ...] = ()
        if shift != 0.0:
            notes = (f"The slot's middle lies {length_text(shift)} beside the emitter's.",)
        return AcceleratorOutline(
            gap=gap, top=gap + self.thickness, islands=tuple(islands), marks=marks, notes=notes
        )
