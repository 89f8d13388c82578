"""The field along the emitter's surface, counted from the apex of the emitting edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.field.solution import FieldSolution
from conegap.solver.onset.rigid import RigidOnset

__all__ = ["SurfaceLine", "lines_from_edge"]

# Edge radii that a chart shows; the field there is a tenth of the greatest or less.
_REACH = 100.0
# Points whose error is larger, single ones where the coarse spacing jumps, are left out of
# charts.
_LARGEST_ERROR = 0.1


@dataclass(frozen=True)
class SurfaceLine:
    """Field along one side of the apex.

    Parameters
    ----------
    name : str
        "liquid", "emitter", or the same with the side.
    distance : (n,) array
        From the apex along the surface, rising, [m].
    field : (n,) array
        Outward normal field, [V/m].
    """

    name: str
    distance: FloatArray
    field: FloatArray


def lines_from_edge(
    solution: FieldSolution, onset: RigidOnset, voltages: Mapping[str, float]
) -> list[SurfaceLine]:
    """Field along the surface that holds the apex, outwards from it, up to a hundred radii.

    Parameters
    ----------
    onset : RigidOnset
        Its position is the apex.
    voltages : mapping
        Of each electrode, [V].

    Returns
    -------
    list of SurfaceLine
        The longer side first; a metal surface that goes on from the liquid's end is the last.
    """
    section = solution.section
    edge = section.edge(onset.edge_name)
    name = section.loops[edge.loop][edge.index].name
    along = solution.surface(name, voltages)
    k = int(np.argmin(np.hypot(*(along.points - np.array(onset.position)).T)))
    first, last = _unbroken(along.points, k)
    reach = _REACH * max(edge.radius, 1e-9)
    found = []
    for forward in (True, False):
        way = np.arange(k, last + 1) if forward else np.arange(k, first - 1, -1)
        if len(way) >= 3:
            distance = _lengths(along.points[way])
            found.append(_line(name, distance, along.field[way], along.error[way], reach))
    found.sort(key=lambda line: -float(line.distance[-1]))
    if len(found) == 2:
        outer, inner = found
        found = [
            SurfaceLine(f"{name}, outward", outer.distance, outer.field),
            SurfaceLine(f"{name}, other side", inner.distance, inner.field),
        ]
    if name == "liquid" and "emitter" in section.boundary_names and found:
        start = float(_lengths(along.points[k : last + 1])[-1])
        found += _metal_beyond(solution, start, along.points[last], voltages, reach)
    return found


def _metal_beyond(
    solution: FieldSolution,
    start: float,
    joint: FloatArray,
    voltages: Mapping[str, float],
    reach: float,
) -> list[SurfaceLine]:
    """The metal's surface from the liquid's end outwards, if it comes within reach."""
    metal = solution.surface("emitter", voltages)
    gaps = np.hypot(*(metal.points - joint).T)
    k = int(np.argmin(gaps))
    if gaps[k] > 1e-6 * solution.scale or start >= reach:
        return []
    _, last = _unbroken(metal.points, k)
    side = slice(k, last + 1)
    if last - k < 3:
        return []
    distance = start + _lengths(metal.points[side])
    return [_line("metal beyond it", distance, metal.field[side], metal.error[side], reach)]


def _lengths(points: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def _unbroken(points: FloatArray, k: int) -> tuple[int, int]:
    """First and last point of the stretch without a jump that holds point k."""
    step = np.hypot(*np.diff(points, axis=0).T)
    nearby = np.minimum(np.append(step[1:], np.inf), np.insert(step[:-1], 0, np.inf))
    jumps = np.flatnonzero(step > 8.0 * nearby)
    before = jumps[jumps < k]
    after = jumps[jumps >= k]
    first = int(before[-1]) + 1 if len(before) else 0
    last = int(after[0]) if len(after) else len(points) - 1
    return first, last


def _line(
    name: str, distance: FloatArray, field: FloatArray, error: FloatArray, reach: float
) -> SurfaceLine:
    """A line up to a distance, without the points whose error is large."""
    count = max(3, int(np.searchsorted(distance, reach)))
    kept = error[:count] <= _LARGEST_ERROR
    if np.count_nonzero(kept) < 3:
        kept[:] = True
    return SurfaceLine(name, distance[:count][kept], field[:count][kept])
