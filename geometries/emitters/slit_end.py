"""The end of a slit in three dimensions: the blade, its rounded end and the slot before it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Protocol

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line
from conegap.geometries.curves.outline import lying
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.opening import StraightSlot
from conegap.geometries.parts.setting import length_text
from conegap.geometries.parts.surroundings import Room
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.solids.sector import Conductor, Lip, Room3D, Sector
from conegap.geometries.solids.shapes import (
    Block,
    Difference,
    ExtrudedX,
    ExtrudedZ,
    Intersection,
    PartialRevolve,
    Solid,
    Union,
)

__all__ = ["Blade", "blade_solid", "slit_end_sector", "usual_end"]

# Length of lip solved before its rounding, in gap plus end radius (at most the gap): between
# electrodes a disturbance falls by e^(-pi) over each gap. A shorter slit is solved whole.
_STRAIGHT = 3.0
# Radius of the tube about the edge, of the gap or the end radius, whichever is less: as far from
# the edge as it can stay off the accelerator and follow the bend.
_REACH = 0.25
# Walls without flux stand this many spans away where the chamber is wider, for the same reason.
_FAR = 4.0
# Edge over end radius; a blunter edge would hardly have an end.
_BLUNTEST = 1.0 / 3.0


class Blade(Protocol):
    """What a slit with drawn ends is here; see `conegap.geometries.emitters.slit.Slit`."""

    length: float
    protrusion: float
    end_radius: float | None

    @property
    def lean(self) -> float:
        """Angle of each outer flank from the z axis, [rad]."""

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        """Whether it is its own mirror image."""


def usual_end(length: float, opening: float | None, gap: float) -> float | None:
    """Radius that is assumed for the ends of a slit where none is drawn, [m], or None.

    As round as the slot is half wide, and at least as the gap: the field of an end is relieved only
    by a rounding as large as what it faces (common practice, no source).  At most half of what two
    gaps of straight lip leave.

    Parameters
    ----------
    length : float
        Of the slit, [m].
    opening : float or None
        Width of the slot, [m].
    gap : float
        [m].
    """
    most = (length / 2.0 - gap) / 2.0
    usual = max(gap, 0.0 if opening is None else opening / 2.0)
    return min(usual, most) if gap > 0.0 and most > 0.0 else None


def slit_end_sector(
    slit: Blade, accelerator: Accelerator, gap: float, room: Room, edge_radius: float
) -> Sector:
    """Half of one end of a slit, with both lips and the channel drawn as one blunt edge.

    Parameters
    ----------
    slit : Slit
        With an `end_radius`.
    accelerator : Accelerator
        A plane or a slotted plate without offset.
    gap : float
        Height z of the accelerator's near face, [m].
    edge_radius : float
        Of the blunt edge that stands for the lips, [m].

    Raises
    ------
    GeometryError
        The slit has no end radius, is unsymmetrical or too short, or the edge is too blunt.
    """
    end = slit.end_radius
    if end is None:
        raise GeometryError(
            "emitter.end_radius is not given, so the slit has no drawn ends",
            keys=("emitter.end_radius",),
        )
    if not (slit.symmetric({}) and accelerator.symmetric({})):
        raise GeometryError(
            "the ends of a slit are computed only where emitter and slot are their own mirror "
            "images; leave out the misalignment and the offset",
            keys=("emitter.misalignment_half", "accelerator.lateral_offset"),
        )
    slot = accelerator.straight_slot(gap)
    if slot is None and not accelerator.closed:
        raise GeometryError(f"the ends of a slit are not computed before a {accelerator.kind}")
    if gap <= 0.0:
        raise GeometryError("the ends of a slit whose lips reach into the slot are not computed")
    if edge_radius > _BLUNTEST * end:
        raise GeometryError(
            f"emitter.end_radius = {length_text(end)} is less than three times the edge radius "
            f"with which the end is modelled, {length_text(edge_radius)}; the end is a corner",
            keys=("emitter.end_radius",),
        )
    half = slit.length / 2.0
    turn = half - end
    if turn < gap:
        raise GeometryError(
            f"emitter.end_radius = {length_text(end)} leaves the slit a straight part of "
            f"{length_text(max(2.0 * turn, 0.0))}, less than twice the gap, so that its ends have "
            "no middle to be compared with; make the ends smaller or the slit longer",
            keys=("emitter.end_radius",),
        )
    span = gap + min(end, gap)
    start = max(0.0, turn - _STRAIGHT * span)
    wide = min(room.half_width, _FAR * (gap + slit.protrusion))
    far = half + _FAR * span
    foot = -slit.protrusion
    walls = dict.fromkeys(("x_low", "y_low"), "symmetry")
    walls |= {"x_high": "outer", "y_high": "outer", "z_low": "emitter", "z_high": "accelerator"}
    top = gap
    conductors = [Conductor("emitter", blade_solid(slit, end, edge_radius, start))]
    if slot is not None:
        back = gap + accelerator.depth
        top = back + min(room.length, _FAR * (gap + slot.slot_width))
        walls["z_high"] = "chamber"
        plate = _plate(slot, (gap, back), (start, far), wide)
        conductors.append(Conductor("accelerator", plate))
    return Sector(
        region=Room3D(Block((start, 0.0, foot), (far, wide, top)), walls),
        conductors=tuple(conductors),
        tips=(),
        gap=gap,
        copies=4,
        lip=Lip(
            straight=turn - start,
            end_radius=end,
            radius=edge_radius,
            lean=slit.lean,
            reach=_REACH * min(gap, end),
            sweep=math.acos(max(0.0, 1.0 - 0.5 * slit.protrusion / end)),
        ),
        parts_per_radius=1.0,
        notes=(
            f"Half of one end of the slit, from {length_text(turn - start)} before its rounding. "
            "The holder's face is drawn as a plane without an end.",
        ),
    )


def _wedge(radius: float, lean: float, depth: float) -> tuple[Curve, ...]:
    """Closed outline of a blade with a round edge, crest at the origin, in (across, along)."""
    across, along = radius * math.cos(lean), -radius * (1.0 - math.sin(lean))
    wide = across + (along + depth) * math.tan(lean)
    return (
        Line((-wide, -depth), (-across, along)),
        Arc((0.0, -radius), radius, math.pi - lean, lean),
        Line((across, along), (wide, -depth)),
        Line((wide, -depth), (-wide, -depth)),
    )


def blade_solid(slit: Blade, end: float, radius: float, start: float) -> Solid:
    """The blade from a place x on its straight part to beyond its end.

    Its edge runs straight along x, turns down through a quarter circle of the end radius in the
    plane y = 0, and runs down the end; the thickness follows the distance from the edge.

    Parameters
    ----------
    end : float
        End radius, [m].
    radius : float
        Edge radius, [m].
    start : float
        Where it begins, [m].
    """
    half, depth = slit.length / 2.0, 1.2 * slit.protrusion
    turn, pad = half - end, 0.2 * slit.protrusion
    along = ExtrudedX(_wedge(radius, slit.lean, depth), start - pad, half)
    back = max(depth, half - start + pad)
    across = tuple(lying(curve, half) for curve in _wedge(radius, slit.lean, back))
    down = ExtrudedZ(across, -depth, 0.0)
    corner = Block((turn, -2.0 * depth, -end), (half + pad, 2.0 * depth, pad))
    quarter = PartialRevolve(_wedge(radius, slit.lean, end), turn, -end, math.pi / 2.0)
    return Union((Difference(Intersection((along, down)), (corner,)), quarter))


def _plate(
    slot: StraightSlot, heights: tuple[float, float], ends: tuple[float, float], wide: float
) -> Solid:
    """The half plate at y > 0, closed beyond the end of its slot where it has one."""
    (near, back), (start, far) = heights, ends
    pad = 0.2 * (far - start)
    blade = ExtrudedX(slot.blade, start - pad, far + pad)
    if slot.slot_length is None or slot.slot_length / 2.0 >= far:
        return blade
    beyond = Block((slot.slot_length / 2.0, -wide, near), (far + pad, 2.0 * wide, back))
    return Union((blade, beyond))
