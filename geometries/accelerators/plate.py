"""What accelerators with an opening share, and plates with one rounded, bevelled opening.

A plate is drawn by its theoretical sharp corners; every corner is then rounded, so that a bevelled
opening is a little wider at its narrowest place than the number on the drawing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from pydantic import StrictBool

from conegap.geometries.curves.curve import Curve, FloatArray
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import DimensionMark
from conegap.geometries.parts.accelerator import Accelerator, gap_field, gap_mark
from conegap.geometries.parts.part import Angle, Distance, Length, Problem, derived
from conegap.geometries.parts.setting import described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = ["OpenAccelerator", "Plate", "smaller", "thickness_mark"]


class OpenAccelerator(Accelerator):
    """An accelerator with an opening, into which a tip may reach when the file says so."""

    gap: Distance = gap_field()
    tip_inside: StrictBool = False

    @property
    def tip_may_enter(self) -> bool:
        return self.tip_inside

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
                + smaller(self.edge_radius, half, "make it smaller or the plate thicker"),
            )
        if self.outer_edge_radius > half * (1.0 + 1e-9):
            yield Problem(
                "accelerator.outer_edge_radius",
                f"the radius is larger than half the plate's thickness, {length_text(half)}; "
                + smaller(self.outer_edge_radius, half, "make it smaller"),
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


def smaller(value: float, limit: float, remedy: str) -> str:
    """The remedy for a length above its limit, or a guess at a slip of a factor 1000.

    Parameters
    ----------
    value, limit : float
        [m].
    remedy : str
        What to do where the value is no slip.
    """
    return f'did you mean "{length_text(value / 1000.0)}"?' if value > 10.0 * limit else remedy


def thickness_mark(x: float, gap: float, thickness: float) -> DimensionMark:
    """Dimension line of a plate's ``thickness`` beside x above the ``gap``, all [m]."""
    return DimensionMark(
        "accelerator.thickness", length_text(thickness), (x, gap), (x, gap + thickness)
    )
