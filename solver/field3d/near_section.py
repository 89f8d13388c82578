"""The plane or axisymmetric vacuum inside the sphere about a tip or the tube about an edge."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scipy.optimize import brentq

from conegap.geometries.curves.curve import Arc, Curve, Line
from conegap.geometries.curves.outline import lying, moved
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.geometries.parts.setting import length_text
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.solids.sector import Tip

__all__ = ["near_lip_section", "near_section", "rim_angle"]


def near_section(tip: Tip) -> Section:
    """The axisymmetric vacuum inside the sphere about a tip's apex, which is its origin.

    Raises
    ------
    MeshError
        The tip's own body ends inside the sphere.
    """
    if tip.body:
        loop = _closed_by_sphere(moved(tip.body, 0.0, -tip.apex), tip.reach, "axis")
    else:
        loop = _near_loop(tip.radius, tip.half_angle, tip.reach, "axis")
    edge = EmittingEdge("tip", 0, 0, 0.0, tip.radius)
    return Section("axisymmetric", (loop,), (edge,), tip.reach)


def near_lip_section(
    radius: float, lean: float, reach: float, bend: float | None = None
) -> Section:
    """The vacuum inside a tube about the rounded edge of a blade, straight or bent.

    Parameters
    ----------
    radius : float
        Of the edge, [m].
    lean : float
        Of the flanks from the blade's middle plane, [rad].
    reach : float
        Radius of the tube, [m].
    bend : float or None
        Radius with which the edge turns in the blade's plane; None where it is straight, [m].

    Returns
    -------
    Section
        Planar with the edge at the origin, or axisymmetric about the axis of the bend, with the
        edge at (bend, 0).
    """
    loop = _near_loop(radius, lean, reach, "symmetry")
    if bend is None:
        edge = EmittingEdge("lip", 0, 0, 0.0, radius)
        return Section("planar", (loop,), (edge,), reach, mirrored=True)
    turned = tuple(Boundary(b.name, lying(b.curve, bend).reversed()) for b in reversed(loop))
    edge = EmittingEdge("lip", 0, len(turned) - 1, 1.0, radius)
    return Section("axisymmetric", (turned,), (edge,), reach)


def _near_loop(radius: float, lean: float, reach: float, middle: str) -> tuple[Boundary, ...]:
    """Cap, flank, part of the circle about the apex, and the middle line."""
    r, a, s = radius, lean, reach
    start = (r * math.cos(a), -r * (1.0 - math.sin(a)))
    # Twice the radius of the circle along the flank lies beyond it.
    end = (start[0] + 2.0 * s * math.sin(a), start[1] - 2.0 * s * math.cos(a))
    return _closed_by_sphere([Arc((0.0, -r), r, math.pi / 2.0, a), Line(start, end)], reach, middle)


def _closed_by_sphere(outline: Sequence[Curve], reach: float, middle: str) -> tuple[Boundary, ...]:
    """An outline from the apex, the origin, to the circle about it, that circle's part in the
    vacuum, and the middle line."""
    metal: list[Boundary] = []
    for curve in outline:
        past = _crossing(curve, reach)
        metal.append(Boundary("emitter", _as_far_as(curve, past)))
        if past < 1.0:
            x, z = metal[-1].curve.end
            return (
                *metal,
                Boundary("outer", Arc((0.0, 0.0), reach, math.atan2(z, x), math.pi / 2.0)),
                Boundary(middle, Line((0.0, reach), (0.0, 0.0))),
            )
    raise MeshError(f"a tip's body ends inside the sphere of {length_text(reach)} about it")


def _crossing(curve: Curve, reach: float) -> float:
    """Parameter at which a curve that leads away from the origin leaves the circle, 1 where it does
    not."""

    def beyond(t: float) -> float:
        x, z = curve.point([t])[0]
        return math.hypot(x, z) - reach

    return 1.0 if beyond(1.0) <= 0.0 else float(brentq(beyond, 0.0, 1.0, xtol=1e-15))


def _as_far_as(curve: Curve, t: float) -> Curve:
    """The first part of a line or an arc."""
    if t == 1.0:
        return curve
    if isinstance(curve, Arc):
        last = curve.first_angle + t * (curve.last_angle - curve.first_angle)
        return Arc(curve.centre, curve.radius, curve.first_angle, last)
    (a, b), (c, d) = curve.point([0.0, t]).tolist()
    return Line((a, b), (c, d))


def rim_angle(section: Section) -> float:
    """Angle from the middle line at which a near section's circle meets the flank, [rad].

    Parameters
    ----------
    section : Section
        From `near_section`, or from `near_lip_section` for a straight edge.
    """
    rim = section.loops[0][-2].curve.start
    return math.atan2(float(rim[0]), float(rim[1]))
