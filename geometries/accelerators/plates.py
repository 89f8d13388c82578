"""Accelerator electrodes: plane, slotted plate, aperture plate and ring.

An accelerator's near face, or the lowest point of a ring, lies at z = gap.  Plates are drawn by
their theoretical sharp corners; every corner is then rounded, so that a bevelled opening is a
little wider at its narrowest place than the number on the drawing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, Literal

from pydantic import StrictBool

from conegap.geometries.curves.curve import Arc, Curve, FloatArray
from conegap.geometries.curves.outline import mirror_image, moved, rounded_polygon
from conegap.geometries.curves.section import DimensionMark, Symmetry
from conegap.geometries.parts.emitter import Setting, described, length_text
from conegap.geometries.parts.part import Angle, Distance, Length, Offset, Part, Problem, derived
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = [
    "Accelerator",
    "AperturePlate",
    "Plane",
    "Plate",
    "Ring",
    "SlottedPlate",
    "gap_mark",
    "thickness_mark",
]


def gap_field() -> Any:
    """The field of every accelerator that stands at a drawn distance."""
    return described(
        "axial distance from the metal apex of the emitter to the accelerator's near face", "1 mm"
    )


class Accelerator(Part):
    """An accelerator of any kind, SI."""

    kind: str

    @property
    def symmetry(self) -> Symmetry | None:
        """The only symmetry it is made for, or None when it suits both."""
        return None

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        """Whether a planar accelerator is its own mirror image."""
        return True

    def distance(self, emitter_apex: float, tables: Mapping[str, FloatArray]) -> float:
        """Axial distance from the emitter's metal apex to the near face, [m].

        Parameters
        ----------
        emitter_apex : float
            Height of the apex in the coordinates of a measured emitter, [m].
        tables : mapping of str to (n, 2) array
            Points of the profiles, [m].
        """
        raise NotImplementedError

    @property
    def opening(self) -> float | None:
        """Width or diameter of the opening through which a beam leaves, [m], if there is one."""
        return None

    @property
    def depth(self) -> float:
        """Axial thickness of the electrode, [m]."""
        return 0.0

    @property
    def half_width(self) -> float:
        """Largest distance of its metal from x = 0, [m]."""
        return 0.0

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        """The accelerator's outlines.

        Parameters
        ----------
        gap : float
            Height z of the near face, [m].
        setting : Setting
            Tables, and whether to draw the half or the whole.

        Raises
        ------
        GeometryError
            A rounding does not fit.
        """
        raise NotImplementedError


class Plane(Accelerator):
    """A closed plane at z = gap over the whole width of the region."""

    kind: Literal["plane"]
    gap: Length = gap_field()

    def distance(self, emitter_apex: float, tables: Mapping[str, FloatArray]) -> float:
        return self.gap

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        return AcceleratorOutline(gap=gap, top=gap, plane=True, marks=(gap_mark(gap),))


class OpenAccelerator(Accelerator):
    """An accelerator with an opening, into which a tip may reach when the file says so."""

    gap: Distance = gap_field()
    tip_inside: StrictBool = False

    def distance(self, emitter_apex: float, tables: Mapping[str, FloatArray]) -> float:
        return self.gap

    def problems(self) -> Iterator[Problem]:
        if self.gap <= 0.0 and not self.tip_inside:
            yield Problem(
                "accelerator.gap",
                f"a gap of {length_text(self.gap)} puts the tip inside or beyond the accelerator's "
                "opening; give a gap larger than zero, or write tip_inside = true in [accelerator] "
                "if it is meant to reach in",
            )


def _plate_rim(given: Mapping[str, float]) -> float:
    return given.get("thickness", 1e-3) / 2.0


class Plate(OpenAccelerator):
    """A plate with one rounded, possibly bevelled opening."""

    thickness: Length = described("axial thickness of the plate", "0.5 mm")
    edge_radius: Length = described("radius of both edges of the opening", "0.1 mm")
    bevel_angle: Angle = 0.0
    outer_edge_radius: Length = derived(_plate_rim)

    @property
    def depth(self) -> float:
        return self.thickness

    def _loop(self, inner: float, outer: float, gap: float) -> list[Curve]:
        """Closed outline at x > 0 between the sharp opening edge and the outer rim, clockwise."""
        far = gap + self.thickness
        lean = self.thickness * math.tan(self.bevel_angle)
        corners = [(inner, gap), (inner + lean, far), (outer, far), (outer, gap)]
        edge, rim = self.edge_radius, self.outer_edge_radius
        return rounded_polygon(corners, [edge, edge, rim, rim], closed=True)

    def _round_opening(self, gap: float, key: str, label: str) -> AcceleratorOutline:
        """The plate about a round opening on the axis, with its dimensions."""
        middle, half = gap + self.thickness / 2.0, (self.opening or 0.0) / 2.0
        marks = (
            gap_mark(gap),
            DimensionMark(key, label, (-half, middle), (half, middle)),
            thickness_mark(self.half_width, gap, self.thickness),
        )
        return AcceleratorOutline(
            gap=gap,
            top=gap + self.thickness,
            islands=(tuple(self._loop(half, self.half_width, gap)),),
            marks=marks,
        )

    def _plate_problems(self, opening_key: str, outer_key: str) -> Iterator[Problem]:
        opening, outer = self.opening or 0.0, 2.0 * self.half_width
        half = self.thickness / 2.0
        if self.edge_radius > half * (1.0 + 1e-9):
            yield Problem(
                "accelerator.edge_radius",
                f"the radius is larger than half the plate's thickness, {length_text(half)}; "
                + _smaller(self.edge_radius, half, "make it smaller or the plate thicker"),
            )
        if self.outer_edge_radius > half * (1.0 + 1e-9):
            yield Problem(
                "accelerator.outer_edge_radius",
                f"the radius is larger than half the plate's thickness, {length_text(half)}; "
                + _smaller(self.outer_edge_radius, half, "make it smaller"),
            )
        if self.bevel_angle > math.radians(75.0):
            yield Problem(
                "accelerator.bevel_angle",
                "the bevel must not be above 75 deg; it is the angle of the opening's wall from "
                "the axis, 0 for a straight opening",
            )
            return
        needed = opening + 2.0 * (
            self.thickness * math.tan(self.bevel_angle)
            + 2.0 * self.edge_radius
            + self.outer_edge_radius
        )
        if outer < opening:
            slip = ""
            if opening / 1000.0 < outer:
                slip = f'; did you mean "{length_text(opening / 1000.0)}" for the opening?'
            if 2.0 * outer > opening:
                slip = f"; is {outer_key} given as half of it, a radius?"
            yield Problem(
                f"accelerator.{opening_key}",
                f"the opening is wider than the whole plate, {outer_key} = {length_text(outer)}"
                f"{slip or '; correct one of the two'}",
            )
        elif outer < needed:
            yield Problem(
                f"accelerator.{outer_key}",
                f"the plate has no room for its roundings beside the opening; make it at least "
                f"{length_text(needed)} wide",
            )


def _smaller(value: float, limit: float, remedy: str) -> str:
    """The remedy for a length above its limit, or a guess at a slip of a factor 1000."""
    return f'did you mean "{length_text(value / 1000.0)}"?' if value > 10.0 * limit else remedy


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

    @property
    def symmetry(self) -> Symmetry | None:
        return "planar"

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        return self.lateral_offset == 0.0

    @property
    def opening(self) -> float | None:
        return self.slot_width

    @property
    def half_width(self) -> float:
        return self.outer_width / 2.0

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        yield from self._plate_problems("slot_width", "outer_width")
        if abs(self.lateral_offset) >= self.slot_width / 2.0:
            yield Problem(
                "accelerator.lateral_offset",
                f"the slot is moved by more than half its width, "
                f"{length_text(self.slot_width / 2.0)}, so the emitter faces a closed plate; "
                + _smaller(abs(self.lateral_offset), self.slot_width / 2.0, "make it smaller"),
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

    @property
    def symmetry(self) -> Symmetry | None:
        return "axisymmetric"

    @property
    def opening(self) -> float | None:
        return self.diameter

    @property
    def half_width(self) -> float:
        return self.outer_diameter / 2.0

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        yield from self._plate_problems("diameter", "outer_diameter")

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        return self._round_opening(gap, "accelerator.diameter", f"⌀ {length_text(self.diameter)}")


class Ring(OpenAccelerator):
    """A ring of round wire; its lowest point lies at z = gap."""

    kind: Literal["ring"]
    mean_diameter: Length = described("diameter of the wire's centre line", "4 mm")
    wire_diameter: Length = described("diameter of the wire", "0.5 mm")

    @property
    def symmetry(self) -> Symmetry | None:
        return "axisymmetric"

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
                + _smaller(
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
            gap=gap, top=gap + self.wire_diameter, islands=(loop,), marks=marks
        )


def gap_mark(gap: float) -> DimensionMark:
    """Dimension line of the gap, whose length is ``gap``, [m]."""
    return DimensionMark("accelerator.gap", length_text(gap), (0.0, 0.0), (0.0, gap))


def thickness_mark(x: float, gap: float, thickness: float) -> DimensionMark:
    """Dimension line of a plate's ``thickness`` beside x above the ``gap``, all [m]."""
    return DimensionMark(
        "accelerator.thickness", length_text(thickness), (x, gap), (x, gap + thickness)
    )
