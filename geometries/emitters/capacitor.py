"""Two closed profiles, one inside the other: no chamber and no outer boundary."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from conegap.geometries.curves.clearance import inside, ray_distance
from conegap.geometries.curves.curve import Curve, FloatArray, Line, polyline
from conegap.geometries.curves.outline import reversed_chain
from conegap.geometries.curves.profile import Profile, Sharpest, sharpest_edges
from conegap.geometries.curves.section import Body, Boundary, EmittingEdge, Section
from conegap.geometries.emitters.capacitor_drawing import (
    WALL_NOTE,
    gap_mark,
    radius_mark,
    size_marks,
    wall,
)
from conegap.geometries.parts.surroundings import oriented
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["capacitor_section"]

# Places whose gaps agree to one part in a thousand count as equally near: between concentric
# surfaces all of them do, within the straight pieces by which a ray meets its target, and the
# highest of them is taken.
_ALIKE = 1e-3


def capacitor_section(
    one: Profile, other: Profile, files: tuple[str, str], *, revolved: bool
) -> Section:
    """The vacuum between two closed outlines, in the coordinates of their files.

    Parameters
    ----------
    one, other : Profile
        Of the emitter and of the accelerator.
    files : tuple of str
        Names of their files, for messages.
    revolved : bool
        Turned about the axis; extruded otherwise.

    Returns
    -------
    Section
        Its gap is the distance from the emitting edge to the accelerator along the edge's normal.

    Raises
    ------
    GeometryError
        Neither outline encloses the other, or the two are not alike.
    """
    if one.form != other.form:
        raise GeometryError(
            f"{files[0]} is {one.form} and {files[1]} is {other.form}; both "
            "outlines must close on themselves, or both have their ends on the axis"
        )
    if one.form == "closed" and revolved:
        raise GeometryError(
            f"{files[0]}: a closed ring around the axis is not supported; give both outlines "
            "from pole to pole, or set revolved = false"
        )
    encloses = _encloses(one, other, *files)
    names = ("emitter", "accelerator") if encloses else ("accelerator", "emitter")
    outer, inner = (one, other) if encloses else (other, one)
    outer_name, inner_name = names
    around, within = _vacuum_on_left(outer, inner)
    if one.form == "closed":
        loops = [
            tuple(Boundary(outer_name, c) for c in around),
            tuple(Boundary(inner_name, c) for c in within),
        ]
        place = (0, 0) if encloses else (1, 0)
    else:
        loops = [_pole_to_pole(around, within, outer_name, inner_name)]
        place = (0, 0) if encloses else (0, len(around) + 1)
    mine, facing = (around, within) if encloses else (within, around)
    edge, gap = _edge(mine, facing, one.form == "between the poles")
    return Section(
        symmetry="axisymmetric" if revolved else "planar",
        loops=tuple(loops),
        edges=(EmittingEdge("edge", place[0], place[1] + edge.index, edge.t, edge.radius),),
        gap=gap,
        bodies=(
            Body("electrode", inner_name, polyline(within, 129)),
            Body("electrode", outer_name, wall(polyline(around, 129))),
        ),
        marks=(
            gap_mark(edge, gap),
            *size_marks(
                f"{inner_name}.points",
                polyline(within, 513),
                revolved=revolved,
                around=polyline(around, 513),
            ),
            *size_marks(f"{outer_name}.points", polyline(around, 513), revolved=revolved),
            *((radius_mark(edge),) if edge.radius > 0.0 and not encloses else ()),
        ),
        notes=(
            f"The {outer_name} encloses the {inner_name}; there is no chamber and no outer "
            "boundary.",
            "The gap is the distance from the emitting edge to the accelerator along its normal.",
            WALL_NOTE,
        ),
    )


def _encloses(one: Profile, other: Profile, name: str, other_name: str) -> bool:
    """Whether the first outline encloses the second; refuses when neither does."""
    a, b = polyline(one.curves(), 513), polyline(other.curves(), 513)
    axial = one.form == "between the poles"
    if _lies_inside(b, a, axial):
        return True
    if _lies_inside(a, b, axial):
        return False
    raise GeometryError(
        f"neither of {name} and {other_name} encloses the other, so they overlap or stand side by "
        "side; check the units and the positions of both files"
    )


def _lies_inside(points: FloatArray, outline: FloatArray, axial: bool) -> bool:
    """Whether all points lie inside; on the axis their heights decide."""
    size = float(np.ptp(outline, axis=0).max())
    on_axis = np.abs(points[:, 0]) < 1e-9 * size if axial else np.zeros(len(points), dtype=bool)
    within = inside(points[~on_axis], outline)
    z, limits = points[on_axis, 1], outline[:, 1]
    return bool(np.all(within) and np.all((z > limits.min()) & (z < limits.max())))


def _vacuum_on_left(outer: Profile, inner: Profile) -> tuple[list[Curve], list[Curve]]:
    around, within = outer.curves(), inner.curves()
    if outer.form == "closed":
        return oriented(around, clockwise=False), oriented(within, clockwise=True)
    # Points run from the upper pole to the lower one, which keeps the outside on the left.
    return reversed_chain(around), within


def _pole_to_pole(
    around: Sequence[Curve], within: Sequence[Curve], outer_name: str, inner_name: str
) -> tuple[Boundary, ...]:
    def axis(first: FloatArray, last: FloatArray) -> Boundary:
        return Boundary("axis", Line((0.0, float(first[1])), (0.0, float(last[1]))))

    return (
        *(Boundary(outer_name, curve) for curve in around),
        axis(around[-1].end, within[0].start),
        *(Boundary(inner_name, curve) for curve in within),
        axis(within[-1].end, around[0].start),
    )


def _edge(mine: Sequence[Curve], facing: Sequence[Curve], axial: bool) -> tuple[Sharpest, float]:
    """The sharpest place, the pole first, then the one nearest the other electrode.

    A surface that is nowhere convex (a hollow emitter) has its edge where it comes nearest.
    """
    target = polyline(list(facing), 2001)
    try:
        places = sharpest_edges(mine)
    except GeometryError:
        places = [_nearest(mine, target)]
    if axial:
        target = np.vstack([(target * np.array([-1.0, 1.0]))[::-1], target])
        near_axis = 1e-9 * float(np.ptp(target, axis=0).max())
        poles = [place for place in places if abs(place.point[0]) < near_axis]
        places = poles or places
    reach = [ray_distance(place.point, place.normal, target) for place in places]
    least = min(reach)
    near = [p for p, d in zip(places, reach, strict=True) if d <= least * (1.0 + _ALIKE)]
    best = max(near, key=lambda place: float(place.point[1]))
    return best, least


def _nearest(mine: Sequence[Curve], target: FloatArray) -> Sharpest:
    best: Sharpest | None = None
    closest = np.inf
    for index, curve in enumerate(mine):
        t = np.linspace(0.0, 1.0, 257)
        points = curve.point(t)
        gaps = np.min(np.hypot(*(points[:, None, :] - target[None, ::8, :]).transpose(2, 0, 1)), 1)
        i = int(np.argmin(gaps))
        if gaps[i] < closest:
            closest = float(gaps[i])
            bend = float(curve.curvature([t[i]])[0])
            radius = abs(1.0 / bend) if bend != 0.0 else closest
            best = Sharpest(index, float(t[i]), radius, points[i], curve.normal([t[i]])[0])
    assert best is not None
    return best
