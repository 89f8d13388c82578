"""Where the coarse points lie along the boundaries.

The spacing follows the radius of curvature, the distance to the axis and the distance to the
opposite boundary, and may grow only in proportion to the distance from a finer place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from conegap.geometries.curves import FloatArray
from conegap.geometries.errors import MeshError
from conegap.geometries.section import Symmetry
from conegap.solver.span import Span

__all__ = ["SpacingRule", "divide_spans"]

_LARGEST_COUNT = 6000


@dataclass(frozen=True)
class SpacingRule:
    """Limits of the coarse spacing.

    Parameters
    ----------
    per_radius : float
        Of the radius of curvature in the plane, [-].
    per_axis_distance : float
        Of the azimuthal radius of curvature (axisymmetric), [-].
    per_clearance : float
        Of the distance to the nearest boundary that is not a neighbour, [-].
    growth : float
        Growth per distance from a finer place, [-].
    """

    per_radius: float = 0.7
    per_axis_distance: float = 1.3
    per_clearance: float = 0.8
    growth: float = 0.5


def divide_spans(
    loops: list[list[Span]],
    symmetry: Symmetry,
    rule: SpacingRule,
    sharp: list[tuple[FloatArray, float]],
) -> list[list[FloatArray]]:
    """Positions u in [0, 1] of the coarse points on every span, ends included.

    Parameters
    ----------
    loops : list of lists of Span
    symmetry : "planar" or "axisymmetric"
    rule : SpacingRule
    sharp : list of (point, spacing)
        Places where the spacing is prescribed, scaled lengths.

    Raises
    ------
    MeshError
        The boundaries ask for more coarse points than can be handled.
    """
    spans = [span for row in loops for span in row]
    division = [
        np.linspace(0.0, 1.0, 3) if span.divisions is None else span.divisions for span in spans
    ]
    neighbours = _neighbours(spans)
    for round_number in range(60):
        points, wanted, owner = _requests(spans, division, symmetry, rule)
        if round_number >= 2:
            wanted = _with_clearance(points, wanted, owner, neighbours, rule)
        for place, spacing in sharp:
            points = np.vstack([points, place])
            wanted = np.append(wanted, spacing)
        if len(points) > _LARGEST_COUNT:
            raise MeshError(
                f"the outline asks for more than {_LARGEST_COUNT} coarse points; the ratio of the "
                "largest to the smallest dimension is too great for this mesh"
            )
        changed = False
        for number, span in enumerate(spans):
            if span.divisions is not None:
                continue
            u = division[number]
            ends = span.point(u)
            middle = (u[1:] + u[:-1]) / 2.0
            allowed = _graded(span.point(middle), points, wanted, rule.growth)
            too_long = np.hypot(*np.diff(ends, axis=0).T) > allowed
            if np.any(too_long):
                changed = True
                division[number] = np.sort(np.concatenate([u, middle[too_long]]))
        if not changed and round_number > 2:
            break
    result, at = [], 0
    for row in loops:
        result.append(division[at : at + len(row)])
        at += len(row)
    return result


def _graded(at: FloatArray, points: FloatArray, wanted: FloatArray, growth: float) -> FloatArray:
    """Smallest of wanted + growth x distance over all requests, (n,) array."""
    distance = np.hypot(at[:, None, 0] - points[None, :, 0], at[:, None, 1] - points[None, :, 1])
    return np.asarray((wanted[None, :] + growth * distance).min(axis=1))


def _requests(
    spans: list[Span], division: list[FloatArray], symmetry: Symmetry, rule: SpacingRule
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places, wanted spacings and owning span numbers."""
    places, spacings, owners = [], [], []
    for number, span in enumerate(spans):
        u = division[number]
        middle = (u[1:] + u[:-1]) / 2.0
        if span.divisions is not None:
            where = middle
            point = span.point(where)
            size = np.hypot(*np.diff(span.point(u), axis=0).T)
        else:
            where = np.sort(np.concatenate([u, middle]))
            point = span.point(where)
            size = np.full(len(where), np.inf)
            if span.curvature is not None:
                bend = span.curvature(span.parameter(where))
                size = rule.per_radius / np.maximum(bend, 1e-300)
            if symmetry == "axisymmetric" and span.name not in ("axis", "outer", ""):
                size = np.minimum(size, _axis_limit(span, where, point, rule))
        places.append(point)
        spacings.append(size)
        owners.append(np.full(len(where), number))
    return np.vstack(places), np.concatenate(spacings), np.concatenate(owners)


def _axis_limit(span: Span, where: FloatArray, point: FloatArray, rule: SpacingRule) -> FloatArray:
    """Limit from the azimuthal curvature |n_r| / r; none on faces normal to the axis."""
    step = 1e-5
    low, high = np.clip(where - step, 0.0, 1.0), np.clip(where + step, 0.0, 1.0)
    along = span.point(high) - span.point(low)
    radial_normal = np.abs(along[:, 1]) / np.hypot(along[:, 0], along[:, 1])
    limit = rule.per_axis_distance * point[:, 0] / np.maximum(radial_normal, 1e-12)
    away = (point[:, 0] > 1e-9 * np.abs(point).max()) & (radial_normal > 1e-6)
    return np.where(away, limit, np.inf)


def _neighbours(spans: list[Span]) -> list[set[int]]:
    """Spans that share an end point, themselves included."""
    ends = np.array([span.point(np.array([0.0, 1.0])) for span in spans])
    size = np.ptp(ends.reshape(-1, 2), axis=0).max()
    result = []
    for number in range(len(spans)):
        gaps = np.hypot(*(ends[number][:, None, None, :] - ends[None, :, :, :]).T).T
        close = np.any(gaps.reshape(2, len(spans), 2) < 1e-9 * size, axis=(0, 2))
        result.append({int(k) for k in np.nonzero(close)[0]} | {number})
    return result


def _with_clearance(
    points: FloatArray,
    wanted: FloatArray,
    owner: FloatArray,
    neighbours: list[set[int]],
    rule: SpacingRule,
) -> FloatArray:
    """Spacing limited by the distance to boundaries that are not neighbours."""
    result = wanted.copy()
    for number, near in enumerate(neighbours):
        mine = owner == number
        other = ~np.isin(owner, list(near))
        if np.any(other) and np.any(mine):
            distance, _ = cKDTree(points[other]).query(points[mine])
            result[mine] = np.minimum(result[mine], rule.per_clearance * distance)
    return result
