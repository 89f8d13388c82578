"""Ring accelerator: a ring of round wire."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import ClassVar, Literal

from conegap.geometries.accelerators.movable import Movable
from conegap.geometries.accelerators.plate import smaller
from conegap.geometries.curves.curve import Arc
from conegap.geometries.curves.section import DimensionMark, Symmetry
from conegap.geometries.parts.accelerator import gap_mark
from conegap.geometries.parts.part import Length, Problem
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = ["Ring"]


class Ring(Movable):
    """A ring of round wire; its lowest point lies at z = gap."""

    kind: Literal["ring"]
    mean_diameter: Length = described("diameter of the wire's centre line", "4 mm")
    wire_diameter: Length = described("diameter of the wire", "0.5 mm")

    symmetry: ClassVar[Symmetry | None] = "axisymmetric"

    @property
    def opening(self) -> float | None:
        return self.mean_diameter - self.wire_diameter

    @property
    def depth(self) -> float:
        return self.wire_diameter

    @property
    def half_width(self) -> float:
        return (self.mean_diameter + self.wire_diameter) / 2.0

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        if self.wire_diameter >= self.mean_diameter:
            yield Problem(
                "accelerator.wire_diameter",
                f"the wire is as thick as the ring, {length_text(self.mean_diameter)}, and closes "
                "it; "
                + smaller(
                    self.wire_diameter, self.mean_diameter, "make it thinner or the ring wider"
                ),
            )

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        radius = self.wire_diameter / 2.0
        centre = (self.mean_diameter / 2.0, gap + radius)
        loop = (Arc(centre, radius, math.pi, 0.0), Arc(centre, radius, 0.0, -math.pi))
        marks = (
            gap_mark(gap),
            DimensionMark(
                "accelerator.mean_diameter",
                f"mean ⌀ {length_text(self.mean_diameter)}",
                (-centre[0], centre[1]),
                centre,
            ),
            DimensionMark(
                "accelerator.wire_diameter",
                f"⌀ {length_text(self.wire_diameter)}",
                (centre[0] - radius, centre[1]),
                (centre[0] + radius, centre[1]),
            ),
        )
        return AcceleratorOutline(
            gap=gap,
            top=gap + self.wire_diameter,
            islands=(loop,),
            marks=marks,
            notes=self.askew_notes(),
        )
