"""Crown: a ring of sharp tips on a pitch circle, facing an annular slot or a plane."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal

from pydantic import Field

from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.emitters.tip_group import FEET_APART, TipGroup
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.part import Length, Problem, derived
from conegap.geometries.parts.setting import Arrangement, described, length_text
from conegap.geometries.parts.surroundings import Room
from conegap.geometries.solids.sector import Conductor, Sector, Wedge
from conegap.geometries.solids.shapes import Revolved

__all__ = ["Crown"]


def _body_width(given: Mapping[str, float]) -> float:
    foot = 2.0 * (
        given.get("tip_radius", 0.0)
        + given.get("tip_height", 0.0) * math.tan(min(given.get("half_angle", 0.0), 1.3))
    )
    return 1.2 * foot + 2.5 * given.get("holder_edge_radius", 0.0)


class Crown(TipGroup):
    """A ring of `tips` equal tips whose axes stand on a circle of `pitch_diameter`.

    The tips stand on the flat crest of a ring `body_width` wide, `holder_thickness` high above the
    insulating floor, with both rims rounded by `holder_edge_radius`.  `runout` is the largest
    difference in height between two tips.
    """

    kind: Literal["crown"]
    tips: int = Field(
        ge=1, le=400, strict=True, description="number of tips on the ring", examples=[24]
    )
    pitch_diameter: Length = described("diameter of the circle on which the tips stand", "8 mm")
    body_width: Length = derived(_body_width)

    arrangement: ClassVar[Arrangement] = "ring"

    @property
    def solid(self) -> Literal["ring", "rows", "blade"] | None:
        return "ring"

    @property
    def solid_name(self) -> str:
        return f"crown of {self.tips} tips"

    def tip_places(self) -> tuple[tuple[float, float], ...]:
        turns = [2.0 * math.pi * k / self.tips for k in range(self.tips)]
        r = self.pitch_radius
        return tuple((r * math.cos(t), r * math.sin(t)) for t in turns)

    @property
    def pitch_radius(self) -> float:
        """Radius of the pitch circle, [m]."""
        return self.pitch_diameter / 2.0

    @property
    def pitch_length(self) -> float:
        if self.tips == 1:
            return self.pitch_diameter
        return self.pitch_diameter * math.sin(math.pi / self.tips)

    @property
    def count(self) -> int:
        return self.tips

    @property
    def extent(self) -> float:
        return self.pitch_radius + self.body_width / 2.0

    @property
    def holder_half_width(self) -> float:
        return self.body_width / 2.0

    @property
    def _pitch_key(self) -> str:
        return "emitter.tips"

    @property
    def holder_key(self) -> str:
        return "body_width"

    def problems(self) -> Iterator[Problem]:
        found = list(super().problems())
        yield from found
        if not found and self.body_width / 2.0 >= self.pitch_radius:
            yield Problem(
                "emitter.body_width",
                f"the ring is wider than the radius of its pitch circle, "
                f"{length_text(self.pitch_radius)}, and closes in the middle; make it narrower",
            )

    def alone(self) -> Crown:
        return self.model_copy(update={"tips": 1})

    def spaced(self, pitch: float) -> TipGroup | None:
        tips = round(math.pi / math.asin(min(pitch / self.pitch_diameter, 1.0)))
        if tips < 3 or pitch < FEET_APART * 2.0 * self.base_half_width:
            return None
        return self._room_about(self.model_copy(update={"tips": tips}))

    def _alone_note(self) -> str:
        return (
            f"The section shows one of the crown's {self.tips} tips alone, on a round body of the "
            "ring's width facing a round opening of the slot's width; the solve in three "
            "dimensions gives what the ring, the slot and the other tips make of its field."
        )

    def sector(self, accelerator: Accelerator, gap: float, room: Room, film: float) -> Sector:
        half, floor = self.body_width / 2.0, -self.tip_height - self.holder_thickness
        low = floor - self.holder_thickness
        inner, outer = self.pitch_radius - half, self.pitch_radius + half
        ring = rounded_polygon(
            [(inner, low), (outer, low), (outer, -self.tip_height), (inner, -self.tip_height)],
            [0.0, 0.0, self.holder_edge_radius, self.holder_edge_radius],
            closed=True,
        )
        conductors = [Conductor("emitter", Revolved(tuple(ring)))]
        walls = {"bottom": "outer", "top": "accelerator", "side": "outer"}
        top = gap
        slot = accelerator.ring_slot(gap)
        if slot is not None:
            conductors += [Conductor("accelerator", Revolved(loop)) for loop in slot.rings]
            walls |= {"top": "chamber", "side": "chamber"}
            top = gap + accelerator.depth + room.length
        return Sector(
            region=Wedge(math.pi / self.tips, room.half_width, floor, top, walls),
            conductors=tuple(conductors),
            tips=(self.tip("tip", (self.pitch_radius, 0.0), gap, film, (0.0,)),),
            gap=gap,
            copies=2 * self.tips,
            parts_per_radius=1.0,
            notes=(
                f"Half a pitch of the crown, {180.0 / self.tips:.4g} deg, between the plane "
                "through a tip and the plane between two tips.",
            ),
        )
