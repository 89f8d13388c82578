"""Everything around the emitting edge: the holder, the insulating floor and the chamber.

The emitter stands on a metal holder at its own potential.  The shank meets the holder's face in a
square inner corner, the holder's rim is rounded and its side goes straight down to an insulating
floor, a line without flux that the conductor meets at a right angle.  The floor runs to the
chamber wall.  With a plane accelerator the region ends at the plane, and its side is a line
without flux instead of a wall; before another accelerator a design may ask for such a side too, as
half way to a neighbour of the same kind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, Line, polyline
from conegap.geometries.curves.outline import mirror_image, reversed_chain, rounded_polygon
from conegap.geometries.curves.section import (
    Body,
    Boundary,
    DimensionMark,
    EmittingEdge,
    Section,
    Symmetry,
)
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["AcceleratorOutline", "EmitterOutline", "Holder", "Room", "assemble", "oriented"]


# Mirror image about the axis or line of symmetry.
_FLIP = np.array([-1.0, 1.0])


@dataclass(frozen=True)
class Holder:
    """The metal block on which the emitter stands.

    Parameters
    ----------
    half_width : float
        Radius, or half the width of a planar holder, [m].
    edge_radius : float
        Radius of its rim, [m].
    thickness : float
        Height of its side above the insulating floor, [m].
    face : float
        Height z of its face, [m].
    """

    half_width: float
    edge_radius: float
    thickness: float
    face: float


@dataclass(frozen=True)
class EmitterOutline:
    """The emitter's surface from the axis (or the left foot) to its foot on the holder.

    Parameters
    ----------
    boundaries : tuple of Boundary
        In order, the vacuum on the left.
    edges : tuple of EmittingEdge
        ``index`` counts in ``boundaries``; ``loop`` is 0.
    holder : Holder
        What it stands on.
    half : bool
        The outline starts on x = 0; a planar one then stands for both sides.
    metal : (n, 2) array or None
        Outline of the metal from the axis to the foot where it differs from the surface, [m].
    liquids : tuple of (n, 2) array
        Closed outlines of liquid, for the drawing, [m].
    extent : float
        Largest distance of its metal from the middle of the whole emitter where that lies
        outside the outline, as for a ring of tips of which one is drawn, [m].
    marks, notes
        For the drawing and the report.
    """

    boundaries: tuple[Boundary, ...]
    edges: tuple[EmittingEdge, ...]
    holder: Holder
    half: bool = True
    extent: float = 0.0
    metal: FloatArray | None = None
    liquids: tuple[FloatArray, ...] = ()
    marks: tuple[DimensionMark, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class AcceleratorOutline:
    """The accelerator's outlines.

    Parameters
    ----------
    gap : float
        Height z of its near face, [m].
    top : float
        Greatest height z of its metal, [m].
    plane : bool
        The whole width at z = gap is the accelerator.
    islands : tuple of tuples of Curve
        Closed outlines, clockwise.
    axis_body : tuple of Curve
        Outline of a body on the axis, from its upper pole to its lower pole.
    opening : tuple of Curve
        Wall of the hole, from the near face to the far one, of a plate that reaches the side of the
        region.
    marks, notes
        For the drawing and the report.
    """

    gap: float
    top: float
    plane: bool = False
    islands: tuple[tuple[Curve, ...], ...] = ()
    axis_body: tuple[Curve, ...] = ()
    opening: tuple[Curve, ...] = ()
    marks: tuple[DimensionMark, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Room:
    """The region around the electrodes.

    Parameters
    ----------
    half_width : float
        Radius, or half the width of a planar region, [m].
    length : float
        Distance from the accelerator's far side to the end wall, [m].
    flux_free : bool
        The side is a line that no flux crosses, not a wall.
    """

    half_width: float
    length: float = field(default=0.0)
    flux_free: bool = False


def assemble(
    emitter: EmitterOutline, accelerator: AcceleratorOutline, room: Room, symmetry: Symmetry
) -> Section:
    """Put emitter, holder, floor, chamber and accelerator together.

    Parameters
    ----------
    symmetry : "planar" or "axisymmetric"

    Returns
    -------
    Section
        A planar section is the half at x >= 0 where the emitter's outline is.

    Raises
    ------
    GeometryError
        A rounding does not fit.
    """
    half = emitter.half
    middle, edges = emitter.boundaries, emitter.edges
    below = _below_emitter(emitter.holder, middle[-1].curve.end, room)
    chain = [*middle, *below]
    if not half:
        left = _mirrored(_below_emitter(emitter.holder, middle[0].curve.start * _FLIP, room))
        chain = [*left, *chain]
        edges = tuple(EmittingEdge(e.name, 0, e.index + len(left), e.t, e.radius) for e in edges)
    chain += _room(accelerator, room, middle[0].curve, chain[-1].curve, half, symmetry)
    loops = [tuple(chain)]
    loops += [tuple(Boundary("accelerator", c) for c in loop) for loop in accelerator.islands]
    return Section(
        symmetry=symmetry,
        loops=tuple(loops),
        edges=edges,
        gap=accelerator.gap,
        mirrored=half and symmetry == "planar",
        bodies=_bodies(emitter, accelerator, room),
        marks=emitter.marks + accelerator.marks,
        notes=emitter.notes + accelerator.notes + _room_notes(emitter, accelerator, room, symmetry),
    )


def _below_emitter(holder: Holder, foot: FloatArray, room: Room) -> list[Boundary]:
    """Holder face, rim and side, then the floor, outwards on the right."""
    floor = holder.face - holder.thickness
    wide = holder.half_width
    metal = rounded_polygon(
        [(foot[0], holder.face), (wide, holder.face), (wide, floor)], [0.0, holder.edge_radius, 0.0]
    )
    boundaries = [Boundary("emitter", curve) for curve in metal]
    boundaries.append(Boundary("outer", Line((wide, floor), (room.half_width, floor))))
    return boundaries


def _room(
    accelerator: AcceleratorOutline,
    room: Room,
    first: Curve,
    last: Curve,
    half: bool,
    symmetry: Symmetry,
) -> list[Boundary]:
    """Wall, top and the way back to the start of the outline."""
    wide, floor = room.half_width, float(last.end[1])
    top = accelerator.gap if accelerator.plane else accelerator.top + room.length
    lid = "accelerator" if accelerator.plane else "chamber"
    side = "outer" if accelerator.plane or room.flux_free else "chamber"
    left = 0.0 if half else -wide
    chain: list[Boundary] = []
    for curve in _plate_to_side(accelerator, wide):
        if not chain:
            chain.append(Boundary(side, Line((wide, floor), (wide, float(curve.start[1])))))
        chain.append(Boundary("accelerator", curve))
    foot = float(chain[-1].curve.end[1]) if chain else floor
    chain += [
        Boundary(side, Line((wide, foot), (wide, top))),
        Boundary(lid, Line((wide, top), (left, top))),
    ]
    if not half:
        chain.append(Boundary(side, Line((-wide, top), (-wide, floor))))
        return chain
    line = "axis" if symmetry == "axisymmetric" else "symmetry"
    if accelerator.axis_body:
        upper = float(accelerator.axis_body[0].start[1])
        chain.append(Boundary(line, Line((0.0, top), (0.0, upper))))
        chain += [Boundary("accelerator", curve) for curve in accelerator.axis_body]
        top = float(accelerator.axis_body[-1].end[1])
    chain.append(Boundary(line, Line((0.0, top), (0.0, float(first.start[1])))))
    return chain


def _plate_to_side(accelerator: AcceleratorOutline, wide: float) -> list[Curve]:
    """A plate from the side of the region to its hole and back, empty where it is an island."""
    if not accelerator.opening:
        return []
    near, far = accelerator.opening[0].start, accelerator.opening[-1].end
    return [
        Line((wide, float(near[1])), (float(near[0]), float(near[1]))),
        *accelerator.opening,
        Line((float(far[0]), float(far[1])), (wide, float(far[1]))),
    ]


def _mirrored(boundaries: Sequence[Boundary]) -> list[Boundary]:
    images = mirror_image([b.curve for b in boundaries])
    names = [b.name for b in reversed(boundaries)]
    return [Boundary(name, image) for name, image in zip(names, images, strict=True)]


def _bodies(
    emitter: EmitterOutline, accelerator: AcceleratorOutline, room: Room
) -> tuple[Body, ...]:
    """Filled outlines for the drawing; bodies cut by x = 0 end there."""
    holder, half = emitter.holder, emitter.half
    floor = holder.face - holder.thickness
    curves = [b.curve for b in emitter.boundaries]
    surface = polyline(curves, 513) if emitter.metal is None else emitter.metal
    right = polyline([b.curve for b in _below_emitter(holder, curves[-1].end, room)[:-1]])
    parts = [surface, right]
    if half:
        parts.append(np.array([[0.0, floor]]))
    else:
        left = _below_emitter(holder, curves[0].start * _FLIP, room)[:-1]
        parts.insert(0, (polyline([b.curve for b in left]) * _FLIP)[::-1])
    bodies = [Body("electrode", "emitter", np.vstack(parts))]
    bodies += [Body("liquid", "liquid", liquid) for liquid in emitter.liquids]
    wide, west = room.half_width, 0.0 if half else -room.half_width
    depth = 0.05 * (accelerator.top - floor)
    slab = [[west, floor], [wide, floor], [wide, floor - depth], [west, floor - depth]]
    bodies.append(Body("insulator", "insulating floor", np.array(slab)))
    if accelerator.plane:
        z = accelerator.gap
        slab = [[west, z], [wide, z], [wide, z + depth], [west, z + depth]]
        bodies.append(Body("electrode", "accelerator", np.array(slab)))
    bodies += [Body("electrode", "accelerator", polyline(i)) for i in accelerator.islands]
    plate = _plate_to_side(accelerator, wide)
    if plate:
        bodies.append(Body("electrode", "accelerator", polyline(plate)))
    if accelerator.axis_body:
        bodies.append(Body("electrode", "accelerator", polyline(accelerator.axis_body)))
    return tuple(bodies)


def _room_notes(
    emitter: EmitterOutline, accelerator: AcceleratorOutline, room: Room, symmetry: Symmetry
) -> tuple[str, ...]:
    def text(value: float) -> str:
        return as_text(value, LENGTH)

    holder = emitter.holder
    wide = "radius" if symmetry == "axisymmetric" else "half width"
    notes = [
        f"The emitter stands {text(-holder.face)} above a metal holder at its potential ({wide} "
        f"{text(holder.half_width)}, rim radius {text(holder.edge_radius)}, "
        f"{text(holder.thickness)} high) on an insulating floor that no flux crosses.",
    ]
    if accelerator.plane:
        notes.append(
            f"The accelerator is a closed plane; the region ends at a {wide} of "
            f"{text(room.half_width)} in a line that no flux crosses, and there is no chamber."
        )
    elif room.flux_free:
        notes.append(
            f"The region ends at a {wide} of {text(room.half_width)} in a line that no flux "
            f"crosses; an end wall at the chamber's voltage is {text(room.length)} beyond the "
            "accelerator."
        )
    else:
        notes.append(
            f"A chamber wall of {wide} {text(room.half_width)} closes the region, its end wall "
            f"{text(room.length)} beyond the accelerator."
        )
    if accelerator.opening:
        notes.append("The accelerator reaches the side of the region.")
    return tuple(notes)


def oriented(curves: Sequence[Curve], *, clockwise: bool) -> list[Curve]:
    """A closed chain of curves run through clockwise or counterclockwise."""
    points = polyline(list(curves), samples=129)
    x, z = points[:, 0], points[:, 1]
    area = 0.5 * float(np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z))
    return list(curves) if (area < 0.0) == clockwise else reversed_chain(curves)
