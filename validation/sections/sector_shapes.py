"""Sectors whose field is known: spheres in a box, bosses on a plane, one cone in a round room."""

from __future__ import annotations

import math

from conegap.geometries.curves.curve import Arc, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.geometries.solids.sector import Conductor, Room3D, Sector, Tip, Wedge
from conegap.geometries.solids.shapes import Block, Difference, Revolved

__all__ = ["ball", "boss_cell", "cone_in_room", "cone_in_section", "spheres_octant"]

# A right angle, [rad].
_RIGHT = math.pi / 2.0


def ball(radius: float) -> Revolved:
    """A ball about the origin.

    Parameters
    ----------
    radius : float
        [m].
    """
    half = Arc((0.0, 0.0), radius, -_RIGHT, _RIGHT)
    return Revolved((half, Line((0.0, radius), (0.0, -radius))))


def spheres_octant(inner: float, outer: float) -> Sector:
    """An eighth of the vacuum between concentric spheres.

    Parameters
    ----------
    inner, outer : float
        Radii of emitter and accelerator, [m].
    """
    end, beyond = 1.05 * outer, 1.1 * outer
    walls = dict.fromkeys(("x_low", "y_low", "z_low"), "symmetry")
    walls |= dict.fromkeys(("x_high", "y_high", "z_high"), "outer")
    shell = Difference(Block((-beyond,) * 3, (beyond,) * 3), (ball(outer),))
    return Sector(
        region=Room3D(Block((0.0,) * 3, (end,) * 3), walls),
        conductors=(Conductor("emitter", ball(inner)), Conductor("accelerator", shell)),
        tips=(),
        gap=outer - inner,
        copies=8,
    )


def boss_cell(radius: float, pitch: float, height: float) -> Sector:
    """A quarter of the cell of a square lattice of half balls on a plane, below another plane.

    With the other plane at half a pitch it is an eighth of the cell of a simple cubic lattice.

    Parameters
    ----------
    radius, pitch : float
        Of the half balls, [m].
    height : float
        Distance of the planes, [m].
    """
    walls = dict.fromkeys(("x_low", "x_high", "y_low", "y_high"), "symmetry")
    walls |= {"z_low": "emitter", "z_high": "accelerator"}
    return Sector(
        region=Room3D(Block((0.0, 0.0, 0.0), (pitch / 2.0, pitch / 2.0, height)), walls),
        conductors=(Conductor("emitter", ball(radius)),),
        tips=(),
        gap=height,
        copies=4,
        parts_per_radius=3.0,
    )


def cone_in_room(
    *, radius: float, half_angle: float, height: float, gap: float, room: float, reach: float
) -> Sector:
    """A quarter of a round room with one conical tip on its floor.

    Parameters
    ----------
    radius, half_angle : float
        Of the tip, [m] and [rad].
    height, gap : float
        Of the apex above the floor, and of the ceiling above the apex, [m].
    room : float
        Radius of the room, [m].
    reach : float
        Of the sphere on which the tip's near field is matched, [m].
    """
    tip = Tip("tip", (0.0, 0.0), 0.0, radius, half_angle, height, reach, (0.0, _RIGHT))
    walls = {"bottom": "emitter", "top": "accelerator", "side": "outer"}
    return Sector(Wedge(_RIGHT, room, -height, gap, walls), (), (tip,), gap, copies=4)


def cone_in_section(
    *, radius: float, half_angle: float, height: float, gap: float, room: float
) -> Section:
    """The axisymmetric section of `cone_in_room`.

    Parameters
    ----------
    radius, half_angle, height, gap, room : float
        As for `cone_in_room`, [m] and [rad].
    """
    start = (radius * math.cos(half_angle), -radius * (1.0 - math.sin(half_angle)))
    foot = (start[0] + (start[1] + height) * math.tan(half_angle), -height)
    loop = (
        Boundary("axis", Line((0.0, gap), (0.0, 0.0))),
        Boundary("emitter", Arc((0.0, -radius), radius, _RIGHT, half_angle)),
        Boundary("emitter", Line(start, foot)),
        Boundary("emitter", Line(foot, (room, -height))),
        Boundary("outer", Line((room, -height), (room, gap))),
        Boundary("accelerator", Line((room, gap), (0.0, gap))),
    )
    return Section("axisymmetric", (loop,), (EmittingEdge("tip", 0, 1, 0.0, radius),), gap)
