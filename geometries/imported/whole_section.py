"""From closed outlines that somebody else drew to a section: emitting edge, gap and frame."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.clearance import ray_distance
from conegap.geometries.curves.curve import Curve, FloatArray, Line, polyline
from conegap.geometries.curves.section import (
    Body,
    Boundary,
    DimensionMark,
    EmittingEdge,
    Section,
    Symmetry,
    electrode_of,
)
from conegap.geometries.imported.closed_loops import at_place
from conegap.geometries.imported.points_file import first_crossing
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["emitting_edges", "framed", "gap_from", "required_boundaries"]

# Places along each curve among which the highest and the nearest are sought before they are
# refined.
_SAMPLES = 513
# Of the size of the drawing; drawings round their coordinates to six digits or more.
_NEAR = 1e-6
# Of the size of the outline; joints were already drawn together, so that only rounding is left.
_JOINT = 1e-8

Loops = tuple[tuple[Boundary, ...], ...]


@dataclass(frozen=True)
class _Place:
    loop: int
    index: int
    t: float
    point: FloatArray


def required_boundaries(loops: Loops, symmetry: Symmetry, where: str) -> None:
    """Refuse outlines without emitter or accelerator, shorted, crossing, or over the axis.

    Parameters
    ----------
    loops : tuple of tuples of Boundary
    symmetry : "planar" or "axisymmetric"
    where : str
        Name of the file, for messages.

    Raises
    ------
    GeometryError
        Something is missing, touches, crosses, or lies on the wrong side of the axis.
    """
    for loop in loops:
        _check_loop(loop, where)
    present = {b.name for loop in loops for b in loop}
    listed = ", ".join(sorted(present))
    if not present & {"emitter", "liquid"}:
        raise GeometryError(f"{where}: nothing is named emitter or liquid; it holds {listed}")
    if "accelerator" not in present:
        raise GeometryError(f"{where}: nothing is named accelerator; it holds {listed}")
    for name, other in (("axis", "planar"), ("symmetry", "axisymmetric")):
        if name in present and symmetry == other:
            right = "symmetry" if name == "axis" else "axis"
            raise GeometryError(
                f"{where}: a boundary named {name} does not belong to {symmetry} section; "
                f"name it {right}, or change emitter.symmetry"
            )
    for loop in loops:
        for boundary in loop:
            points = polyline([boundary.curve], 65)
            if symmetry == "axisymmetric" or "symmetry" in present:
                size = float(np.abs(points).max())
                if points[:, 0].min() < -_NEAR * size:
                    k = int(np.argmin(points[:, 0]))
                    raise GeometryError(
                        f"{where}: '{boundary.name}' crosses the middle line at "
                        f"{at_place(points[k])}; draw only the half on one side of it"
                    )
            if boundary.name in ("axis", "symmetry") and np.abs(points[:, 0]).max() > _NEAR * max(
                float(np.ptp(points, axis=0).max()), 1e-300
            ):
                k = int(np.argmax(np.abs(points[:, 0])))
                raise GeometryError(
                    f"{where}: the {boundary.name} leaves the middle line at {at_place(points[k])};"
                    " it must be one straight line"
                )


def _check_loop(loop: tuple[Boundary, ...], where: str) -> None:
    """Refuse an outline that crosses itself, or on which the emitter meets another electrode."""
    points = polyline([b.curve for b in loop], 33)
    points = np.vstack([points, points[:1]])
    size = float(np.ptp(points, axis=0).max())
    # Joints are drawn by both neighbours, within rounding.
    apart = np.hypot(*np.diff(points, axis=0).T) > _JOINT * size
    points = np.vstack([points[:-1][apart], points[-1:]])
    crossing = first_crossing(points)
    if crossing is not None:
        place = points[crossing[0]]
        raise GeometryError(f"{where}: the outline crosses itself near {at_place(place)}")
    for one, other in zip(loop, loop[1:] + loop[:1], strict=True):
        electrodes = {electrode_of(one.name), electrode_of(other.name)}
        if "emitter" in electrodes and len(electrodes - {None}) == 2:
            raise GeometryError(
                f"{where}: {one.name} and {other.name} meet at {at_place(one.curve.end)}, a short "
                "circuit; part them by a line named outer, across which no flux goes"
            )


def emitting_edges(loops: Loops, marked: FloatArray) -> tuple[EmittingEdge, ...]:
    """The marked places, or the apex: the place of liquid (or emitter) furthest along +z.

    Parameters
    ----------
    loops : tuple of tuples of Boundary
        Accelerator in the direction of +z.
    marked : (n, 2) array
        Places near which the emitting edges lie; may be empty, [m].

    Raises
    ------
    GeometryError
        The place is flat or hollow, so that it has no radius.
    """
    places = [_apex(loops)] if len(marked) == 0 else [_nearest(loops, place) for place in marked]
    names = ["edge"] if len(places) == 1 else [f"edge {k + 1}" for k in range(len(places))]
    return tuple(_edge(name, loops, place) for name, place in zip(names, places, strict=True))


def _apex(loops: Loops) -> _Place:
    """The highest place of the liquid, or of the emitter where there is no liquid."""
    present = {b.name for loop in loops for b in loop}
    wanted = "liquid" if "liquid" in present else "emitter"
    best: _Place | None = None
    t = np.linspace(0.0, 1.0, 2 * _SAMPLES - 1)
    for number, loop in enumerate(loops):
        for index, boundary in enumerate(loop):
            if boundary.name != wanted:
                continue
            straight = isinstance(boundary.curve, Line)
            at = np.array([0.0, 1.0]) if straight else t
            points = boundary.curve.point(at)
            k = int(np.argmax(points[:, 1]))
            place = _Place(number, index, float(at[k]), points[k])
            if not straight and 0 < k < len(at) - 1:
                place = _level(boundary.curve, place, float(at[k - 1]), float(at[k + 1]))
            size = float(np.ptp(points, axis=0).max())
            higher = best is None or place.point[1] > best.point[1] + _NEAR * size
            # At a joint a curve wins over a straight line.
            alike = best is not None and abs(place.point[1] - best.point[1]) <= _NEAR * size
            if higher or (alike and not straight and _straight(loops, best)):
                best = place
    assert best is not None
    return best


def _straight(loops: Loops, place: _Place | None) -> bool:
    return place is not None and isinstance(loops[place.loop][place.index].curve, Line)


def _level(curve: Curve, place: _Place, low: float, high: float) -> _Place:
    """Where the tangent is level between two parameters, by bisection."""

    def rise(t: float) -> float:
        return float(curve.derivative([t], 1)[0, 1])

    if rise(low) * rise(high) >= 0.0:
        return place
    for _ in range(60):
        middle = 0.5 * (low + high)
        if rise(low) * rise(middle) <= 0.0:
            high = middle
        else:
            low = middle
    t = 0.5 * (low + high)
    return _Place(place.loop, place.index, t, curve.point([t])[0])


def _nearest(loops: Loops, place: FloatArray) -> _Place:
    """The place of liquid or emitter nearest to a mark."""
    best, least = None, math.inf
    for number, loop in enumerate(loops):
        for index, boundary in enumerate(loop):
            if electrode_of(boundary.name) != "emitter":
                continue
            t = np.linspace(0.0, 1.0, 4 * _SAMPLES)
            points = boundary.curve.point(t)
            distance = np.hypot(*(points - place).T)
            k = int(np.argmin(distance))
            bias = 1.0 + 1e-6 * isinstance(boundary.curve, Line)
            if distance[k] * bias < least:
                least = float(distance[k]) * bias
                best = _Place(number, index, float(t[k]), points[k])
    assert best is not None
    return best


def _edge(name: str, loops: Loops, place: _Place) -> EmittingEdge:
    curve = loops[place.loop][place.index].curve
    if isinstance(curve, Line):
        if 1e-6 < place.t < 1.0 - 1e-6:
            raise GeometryError(
                f"the emitting edge at {at_place(place.point)} lies on a straight line; mark the "
                "place of the rounded edge"
            )
        t = round(place.t)
        return EmittingEdge(name, place.loop, place.index, float(t), 0.0)
    bend = -float(curve.curvature([place.t])[0])
    if bend * curve.length < 1e-3:
        raise GeometryError(
            f"the emitter at {at_place(place.point)} is {'flat' if bend > -1e-3 else 'hollow'}, so "
            "it has no emitting edge there; mark the place of the rounded edge"
        )
    return EmittingEdge(name, place.loop, place.index, place.t, 1.0 / bend)


def gap_from(loops: Loops, edge: EmittingEdge) -> float:
    """Axial distance from an edge to the accelerator's near face, [m].

    Where the accelerator reaches below the edge (it encloses the emitter, or the tip reaches in),
    the distance along the edge's normal counts; a ray that meets no metal leaves the axial one.

    Parameters
    ----------
    loops : tuple of tuples of Boundary
    """
    curve = loops[edge.loop][edge.index].curve
    spot, normal = curve.point([edge.t])[0], curve.normal([edge.t])[0]
    chains = [polyline([b.curve], 257) for loop in loops for b in loop if b.name == "accelerator"]
    axial = min(float(c[:, 1].min()) for c in chains) - float(spot[1])
    if axial > 0.0:
        return axial
    reach = min(ray_distance(spot, normal, chain) for chain in chains)
    return reach if math.isfinite(reach) else axial


def framed(
    loops: Loops,
    symmetry: Symmetry,
    edges: Sequence[EmittingEdge],
    *,
    notes: tuple[str, ...],
    key: str,
) -> Section:
    """A section of outlines whose first emitting edge lies at z = 0.

    Parameters
    ----------
    loops : tuple of tuples of Boundary
    symmetry : "planar" or "axisymmetric"
    edges : sequence of EmittingEdge
    notes : tuple of str
        For the report.
    key : str
        Design file key under which the drawing shows the edge's radius.
    """
    edge = edges[0]
    curve = loops[edge.loop][edge.index].curve
    gap = gap_from(loops, edge)
    names = {b.name for loop in loops for b in loop}
    spot = curve.point([edge.t])[0]
    marks = []
    if edge.radius > 0.0:
        centre = spot - edge.radius * curve.normal([edge.t])[0]
        marks.append(
            DimensionMark(
                key,
                f"R {as_text(float(f'{edge.radius:.4g}'), LENGTH)}",
                (float(centre[0]), float(centre[1])),
                (float(spot[0]), float(spot[1])),
                kind="radius",
                inset=True,
            )
        )
    if gap > 0.0:
        x = float(spot[0])
        z = float(spot[1])
        label = as_text(float(f"{gap:.5g}"), LENGTH)
        marks.append(DimensionMark(key, label, (x, z), (x, z + gap)))
    return Section(
        symmetry=symmetry,
        loops=loops,
        edges=tuple(edges),
        gap=gap,
        mirrored=symmetry == "planar" and "symmetry" in names,
        bodies=_bodies(loops),
        marks=tuple(marks),
        notes=notes,
    )


def _bodies(loops: Loops) -> tuple[Body, ...]:
    """Filled outlines of metal and liquid, for the drawing, as far as the vacuum's edge shows."""
    size = float(np.ptp(polyline([b.curve for b in loops[0]]), axis=0).max())
    bodies = []
    for number, loop in enumerate(loops):
        runs = _runs(loop)
        for name, curves, whole in runs:
            electrode = electrode_of(name)
            if electrode not in ("emitter", "accelerator"):
                continue
            points = polyline(curves, 257)
            outline = _filled(points, size, whole and number > 0)
            if outline is not None:
                bodies.append(Body("electrode", electrode, outline))
    return tuple(bodies)


def _runs(loop: tuple[Boundary, ...]) -> list[tuple[str, list[Curve], bool]]:
    """Consecutive boundaries of one electrode, and whether they are the whole outline."""
    electrodes = [electrode_of(b.name) for b in loop]
    if len(set(electrodes)) == 1:
        return [(loop[0].name, [b.curve for b in loop], True)]
    start = next(k for k in range(len(loop)) if electrodes[k] != electrodes[k - 1])
    runs: list[tuple[str, list[Curve], bool]] = []
    for k in [*range(start, len(loop)), *range(start)]:
        same = runs and electrode_of(runs[-1][0]) == electrodes[k] and k != start
        if same:
            runs[-1][1].append(loop[k].curve)
        else:
            runs.append((loop[k].name, [loop[k].curve], False))
    return runs


def _filled(points: FloatArray, size: float, island: bool) -> FloatArray | None:
    """The outline of the metal behind a run of boundary; None where it encloses the vacuum."""
    if island:
        return points
    first, last = points[0], points[-1]
    chord = last - first
    length = float(np.hypot(*chord))
    if length == 0.0:
        return None
    # The metal is on the right of the run.
    outward = np.array([chord[1], -chord[0]]) / length
    offset = (points - first) @ outward
    if offset.min() < -0.02 * length:
        # It bulges into the vacuum: the body goes on to the middle line, or straight across.
        for end, other in ((first, last), (last, first)):
            if abs(end[0]) <= _NEAR * size:
                return np.vstack([points, [[0.0, other[1]]]])
        return points
    if offset.max() > 0.02 * length:
        return None
    back = outward * (offset.max() + 0.04 * size)
    return np.vstack([points, [last + back, first + back]])
