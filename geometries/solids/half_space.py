"""Half the space about a round emitter, cut by the plane in which its accelerator may be moved."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import Curve, Line, polyline
from conegap.geometries.curves.section import Section, electrode_of
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.solids.sector import Conductor, Sector, Tip, Wedge
from conegap.geometries.solids.shapes import Revolved

__all__ = ["APEX_REACH", "PARTS_PER_RADIUS", "half_space"]

# Of the distance to other metal: within it lies the sphere about the apex, which the mesh of an
# accelerator that is moved must pass.
APEX_REACH = 0.4
# Edges of the first mesh in a radius of curvature: 0.6 and 1 give the same law within 4 %, 0.4 does
# not.
PARTS_PER_RADIUS = 0.8


def half_space(section: Section) -> Sector:
    """The half y > 0 of the space of an axisymmetric section, before anything is moved.

    Parameters
    ----------
    section : Section
        Axisymmetric, with its emitter on the axis, a floor, a side and a lid, the accelerator a
        body of its own.

    Raises
    ------
    GeometryError
        The section has no such emitter or accelerator.
    """
    frame, *islands = section.loops
    metal: list[Curve] = [b.curve for b in frame if electrode_of(b.name) == "emitter"]
    walls = [b for b in frame if b.name != "axis" and electrode_of(b.name) != "emitter"]
    if section.symmetry != "axisymmetric" or not islands or len(walls) != 3:
        raise GeometryError(
            "only a round emitter before an accelerator that is a body of its own, in a round "
            "room, is solved in half its space"
        )
    floor, side, lid = walls
    apex, foot = metal[0].start, metal[-1].end
    wide, low, top = float(side.curve.end[0]), float(foot[1]), float(lid.curve.start[1])
    # Below the floor, so that it is cut through.
    deep = low - 0.1 * (float(apex[1]) - low)
    body = (
        *metal,
        Line((float(foot[0]), low), (float(foot[0]), deep)),
        Line((float(foot[0]), deep), (0.0, deep)),
        Line((0.0, deep), (0.0, float(apex[1]))),
    )
    plates = [polyline([b.curve for b in loop]) for loop in islands]
    away = min(float(np.linalg.norm(plate - apex, axis=1).min()) for plate in plates)
    tip = Tip(
        name="tip",
        place=(0.0, 0.0),
        apex=float(apex[1]),
        radius=section.edges[0].radius,
        half_angle=0.0,
        height=float(apex[1]) - low,
        reach=APEX_REACH * min(away, float(apex[1]) - low),
        mirrors=(0.0,),
        body=body,
    )
    return Sector(
        region=Wedge(
            math.pi, wide, low, top, {"bottom": floor.name, "top": lid.name, "side": side.name}
        ),
        conductors=tuple(
            Conductor("accelerator", Revolved(tuple(b.curve for b in loop))) for loop in islands
        ),
        tips=(tip,),
        gap=max(section.gap, away),
        copies=2,
        parts_per_radius=PARTS_PER_RADIUS,
    )
