"""Arrays of tips in a row, a square or a hexagonal pattern on a flat block."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from pydantic import Field

from conegap.geometries.curves.curve import Line
from conegap.geometries.emitters.tip_group import FEET_APART, TipGroup
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.opening import RoundHole
from conegap.geometries.parts.part import Length, Problem, derived
from conegap.geometries.parts.setting import Arrangement, described, length_text
from conegap.geometries.parts.surroundings import Room
from conegap.geometries.solids.sector import Conductor, Room3D, Sector
from conegap.geometries.solids.shapes import Block, Difference, ExtrudedX, Revolved, Solid

__all__ = ["Spot", "TipArray"]

# Tips in a quarter that are solved together; of larger arrays one cell of the interior is.
_MOST_RESOLVED = 9
# Walls without flux stand this many times (gap + height) away where the chamber is wider;
# between plane electrodes a disturbance falls by e^(-pi) over each.
_FAR = 4.0
# A quarter turn, [rad].
_HALF = math.pi / 2.0


def _margin(given: Mapping[str, float]) -> float:
    return 2.0 * given.get("tip_height", 0.0) + given.get("holder_edge_radius", 0.0)


@dataclass(frozen=True)
class Spot:
    """Place of a tip in the quarter of an array at x >= 0 and y >= 0.

    Parameters
    ----------
    name : str
        "middle", "end", "corner", "edge 2", ...
    x, y : float
        [m].
    """

    name: str
    x: float
    y: float

    @property
    def mirrors(self) -> tuple[float, ...]:
        """Azimuths of the middle planes that pass through it, [rad]."""
        through = ((0.0,) if self.y == 0.0 else ()) + ((_HALF,) if self.x == 0.0 else ())
        return through

    @property
    def members(self) -> int:
        """How many tips of the whole array are like this one by the mirrors."""
        return (1 if self.x == 0.0 else 2) * (1 if self.y == 0.0 else 2)


class TipArray(TipGroup):
    """Equal tips at `pitch` on a flat block.

    `layout` "linear" is one row of `tips_per_row` along x; "square" has `rows` rows like it;
    "hexagonal" has rows pitch sqrt(3)/2 apart, every second one moved by half a pitch.  An array
    of which a quarter has at most nine tips is solved whole, tip by tip; of a larger one, and of
    every hexagonal one, the endless array is solved, whose tips are those of the interior.  The
    block reaches `base_margin` beyond the axes of the outermost tips.
    """

    kind: Literal["array"]
    layout: Literal["linear", "square", "hexagonal"] = "linear"
    tips_per_row: int = Field(
        ge=1, le=1000, strict=True, description="number of tips in a row", examples=[5]
    )
    rows: int = Field(default=1, ge=1, le=1000, strict=True)
    pitch: Length = described("distance between the axes of neighbouring tips", "1 mm")
    base_margin: Length = derived(_margin)

    arrangement: ClassVar[Arrangement] = "rows"

    @property
    def solid(self) -> Literal["ring", "rows", "blade"] | None:
        return "rows"

    @property
    def solid_name(self) -> str:
        return f"{self.layout} array of {self.count} tips"

    def tip_places(self) -> tuple[tuple[float, float], ...]:
        found = []
        for j in range(self.rows):
            moved = (0.25 if j % 2 else -0.25) if self.layout == "hexagonal" else 0.0
            y = (j - (self.rows - 1) / 2.0) * self.row_distance
            for i in range(self.tips_per_row):
                x = (i - (self.tips_per_row - 1) / 2.0 + moved) * self.pitch
                found.append((x, y))
        return tuple(found)

    def members(self, tip: str) -> int:
        if not self.endless:
            return next(spot.members for spot in self.spots() if spot.name == tip)
        return self.count // 2 if self.layout == "hexagonal" else self.count

    def refusals(self, accelerator: Accelerator) -> Iterator[Problem]:
        yield from super().refusals(accelerator)
        if accelerator.symmetry == "planar":
            if self.layout != "linear":
                yield Problem(
                    "accelerator.kind",
                    "a slot faces a single row of tips; choose plane or aperture_plate for an "
                    "array of several rows",
                )
            if not accelerator.symmetric({}):
                yield Problem(
                    "accelerator.lateral_offset",
                    "an offset slot breaks the symmetry on which the solve in three dimensions "
                    "rests; leave it out",
                )
        elif accelerator.opening is not None and accelerator.opening >= self.pitch:
            yield Problem(
                "accelerator.diameter",
                f"the holes over neighbouring tips, {length_text(self.pitch)} apart, run into "
                "each other; make them smaller than the pitch",
            )

    @property
    def pitch_length(self) -> float:
        return self.pitch

    @property
    def count(self) -> int:
        return self.tips_per_row * self.rows

    @property
    def row_distance(self) -> float:
        """Distance between neighbouring rows, [m]."""
        return self.pitch * (math.sqrt(0.75) if self.layout == "hexagonal" else 1.0)

    @property
    def half_length(self) -> float:
        """From the middle to the end of the block along the rows, [m]."""
        wide = (self.tips_per_row - 1) / 2.0 + (0.25 if self.layout == "hexagonal" else 0.0)
        return wide * self.pitch + self.base_margin

    @property
    def half_depth(self) -> float:
        """From the middle to the side of the block across the rows, [m]."""
        return (self.rows - 1) / 2.0 * self.row_distance + self.base_margin

    @property
    def extent(self) -> float:
        return max(self.half_length, self.half_depth)

    @property
    def holder_half_width(self) -> float:
        return self.extent

    @property
    def holder_key(self) -> str:
        return "base_margin"

    def problems(self) -> Iterator[Problem]:
        if self.layout == "linear" and self.rows != 1:
            yield Problem(
                "emitter.rows",
                'a linear array has one row; write layout = "square" or "hexagonal", or leave '
                "rows out",
            )
        yield from super().problems()

    def alone(self) -> TipArray:
        return self.model_copy(update={"tips_per_row": 1, "rows": 1, "layout": "square"})

    def spaced(self, pitch: float) -> TipGroup | None:
        if pitch < FEET_APART * 2.0 * self.base_half_width:
            return None
        return self._room_about(self.model_copy(update={"pitch": pitch}))

    @property
    def endless(self) -> bool:
        """Whether only the interior of the array is solved."""
        return self.layout == "hexagonal" or len(self.spots()) > _MOST_RESOLVED

    def spots(self) -> tuple[Spot, ...]:
        """Tips of the quarter at x >= 0, y >= 0 of a linear or square array."""
        across = _steps(self.tips_per_row)
        along = _steps(self.rows)
        found = []
        for j, y in enumerate(along):
            for i, x in enumerate(across):
                name = self._spot_name((i, len(across)), (j, len(along)))
                found.append(Spot(name, x * self.pitch, y * self.pitch))
        return tuple(found)

    def _spot_name(self, column: tuple[int, int], row: tuple[int, int]) -> str:
        (i, columns), (j, rows) = column, row
        if self.count == 1:
            return "tip"
        if self.rows == 1:
            if i == columns - 1:
                return "end"
            return "middle" if i == 0 else f"tip {columns - i} from the end"
        if i == columns - 1 and j == rows - 1:
            return "corner"
        if i == columns - 1 or j == rows - 1:
            return f"edge ({i}, {j})"
        return "middle" if (i, j) == (0, 0) else f"inside ({i}, {j})"

    def _alone_note(self) -> str:
        return (
            f"The section shows one of the array's {self.count} tips alone on a round block; the "
            "solve in three dimensions gives what the others make of its field."
        )

    def sector(self, accelerator: Accelerator, gap: float, room: Room, film: float) -> Sector:
        return (
            self._cell(accelerator, gap, room, film)
            if self.endless
            else self._quarter(accelerator, gap, room, film)
        )

    def _cell(self, accelerator: Accelerator, gap: float, room: Room, film: float) -> Sector:
        """A quarter of the unit cell of the endless array."""
        x = self.pitch / 2.0
        places = [(0.0, 0.0)]
        if self.layout == "linear":
            y = min(room.half_width, _FAR * (gap + self.tip_height))
        elif self.layout == "square":
            y = x
        else:
            y = self.row_distance
            places.append((x, y))
        walls = dict.fromkeys(("x_low", "x_high", "y_low", "y_high"), "symmetry")
        if self.layout == "linear":
            walls["y_high"] = "outer"
        walls |= {"z_low": "emitter"}
        top, walls["z_high"] = self._lid(accelerator, gap, room)
        tips = tuple(
            self.tip(name, place, gap, film, (0.0, _HALF))
            for name, place in zip(("inside", "inside, next row"), places, strict=False)
        )
        return Sector(
            region=Room3D(Block((0.0, 0.0, -self.tip_height), (x, y, top)), walls),
            conductors=self._facing(accelerator, gap, tuple(places), 2.0 * x, 2.0 * y),
            tips=tips,
            gap=gap,
            parts_per_radius=1.0,
            copies=4 * self.count // len(places),
            notes=(
                f"A quarter of the unit cell of an endless {self.layout} array: a tip inside the "
                f"array of {self.count}. Tips at its rim have fewer neighbours and fire first, at "
                "a voltage between this one and that of a tip alone.",
            ),
        )

    def _quarter(self, accelerator: Accelerator, gap: float, room: Room, film: float) -> Sector:
        """The quarter of the whole array."""
        wide = min(room.half_width, self.extent + _FAR * (gap + self.tip_height))
        floor = -self.tip_height - self.holder_thickness
        below = floor - self.holder_thickness
        block = Block(
            (-self.half_length, -self.half_depth, below),
            (self.half_length, self.half_depth, -self.tip_height),
        )
        top, lid = self._lid(accelerator, gap, room)
        open_side = lid == "accelerator" or wide < room.half_width
        side = "outer" if open_side else "chamber"
        walls = {
            "x_low": "symmetry",
            "y_low": "symmetry",
            "x_high": side,
            "y_high": side,
            "z_low": "outer",
            "z_high": lid,
        }
        spots = self.spots()
        places = tuple((spot.x, spot.y) for spot in spots)
        reach = min(accelerator.half_width, 2.0 * wide)
        return Sector(
            region=Room3D(Block((0.0, 0.0, floor), (wide, wide, top)), walls),
            conductors=(
                Conductor("emitter", block),
                *self._facing(accelerator, gap, places, reach, reach),
            ),
            tips=tuple(
                self.tip(spot.name, (spot.x, spot.y), gap, film, spot.mirrors) for spot in spots
            ),
            gap=gap,
            copies=4,
            parts_per_radius=0.6,
            notes=("A quarter of the whole array, between its two middle planes.",),
        )

    def _lid(self, accelerator: Accelerator, gap: float, room: Room) -> tuple[float, str]:
        if accelerator.closed:
            return gap, "accelerator"
        return gap + accelerator.depth + room.length, "chamber"

    def _facing(
        self,
        accelerator: Accelerator,
        gap: float,
        places: tuple[tuple[float, float], ...],
        wide: float,
        deep: float,
    ) -> tuple[Conductor, ...]:
        """The accelerator over the quarter at x >= 0 and y >= 0."""
        slot, hole = accelerator.straight_slot(gap), accelerator.round_hole(gap)
        if slot is not None:
            return (Conductor("accelerator", ExtrudedX(slot.blade, -wide, 2.0 * wide)),)
        if hole is not None:
            far = gap + accelerator.depth
            plate = Block((-wide, -deep, gap), (wide, deep, far))
            holes = tuple(_hole(hole, gap, far, place) for place in places)
            return (Conductor("accelerator", Difference(plate, holes)),)
        return ()


def _steps(count: int) -> list[float]:
    """Places of one half of a row in units of the pitch, from the middle outward."""
    first = 0.0 if count % 2 else 0.5
    return [first + k for k in range((count + 1) // 2)]


def _hole(hole: RoundHole, gap: float, far: float, place: tuple[float, float]) -> Solid:
    """What a hole with rounded edges takes away from a plate between two heights."""
    over = 0.2 * (far - gap)
    first, last = hole.wall[0].start, hole.wall[-1].end
    near, back = (float(first[0]), float(first[1])), (float(last[0]), float(last[1]))
    outline = (
        Line((0.0, gap - over), (near[0], gap - over)),
        Line((near[0], gap - over), near),
        *hole.wall,
        Line(back, (back[0], far + over)),
        Line((back[0], far + over), (0.0, far + over)),
        Line((0.0, far + over), (0.0, gap - over)),
    )
    return Revolved(outline, place)
