"""Plane accelerator: closed over the whole width of the region."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Literal

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.parts.accelerator import Accelerator, gap_field, gap_mark
from conegap.geometries.parts.part import Length
from conegap.geometries.parts.setting import Arrangement, Setting
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = ["Plane"]


class Plane(Accelerator):
    """A closed plane at z = gap over the whole width of the region."""

    kind: Literal["plane"]
    gap: Length = gap_field()

    closed: ClassVar[bool] = True
    faces: ClassVar[tuple[Arrangement, ...]] = ("single", "ring", "rows")

    def distance(self, emitter_apex: float, tables: Mapping[str, FloatArray]) -> float:
        return self.gap

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        return AcceleratorOutline(gap=gap, top=gap, plane=True, marks=(gap_mark(gap),))
