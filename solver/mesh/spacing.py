"""Where the coarse points lie along the boundaries.

The spacing follows the radius of curvature, the distance to the axis and the distance to the
opposite boundary, and may grow only in proportion to the distance from a finer place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.mesh.span import Span

__all__ = ["SpacingRule", "divide_spans"]

# Every request is compared with every other one, so that 6000 take some seconds; shipped designs
# ask for a few hundred.
_LARGEST_COUNT = 6000
# Halvings of a span: 2^-60 is below the resolution of its parameter.
_MOST_ROUNDS = 60


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
    sharp : list of (point, spacing)
        Places where the spacing is prescribed, scaled lengths.

    Raises
    ------
    MeshError
        The boundaries ask for more coarse points than can be handled.
    """
    spans = [span for row in loops for span in row]
    requests = _Requests(rule, _apart(spans))
    for place, spacing in sharp:
        requests.add(place[None], np.array([spacing]), np.array([len(spans)]))
    pieces = _first_pieces(spans, symmetry, rule, requests)
    for _ in range(_MOST_ROUNDS):
        ends = requests.points[pieces.last] - requests.points[pieces.first]
        too_long = np.hypot(ends[:, 0], ends[:, 1]) > requests.allowed[pieces.middle]
        if not np.any(too_long):
            break
        pieces = pieces.halved(too_long, spans, symmetry, rule, requests)
    divisions = [
        np.append(np.sort(pieces.u_first[pieces.span == number]), 1.0)
        if span.divisions is None
        else span.divisions
        for number, span in enumerate(spans)
    ]
    result, at = [], 0
    for row in loops:
        result.append(divisions[at : at + len(row)])
        at += len(row)
    return result


class _Requests:
    """Places where a spacing is wanted, and the spacing that is allowed there after all.

    Every new place narrows what the others want, by its distance, and what they are allowed, by
    growth from it; nothing is worked out again for places that it leaves as they are.

    Parameters
    ----------
    apart : (spans + 1, spans + 1) array of bool
        Spans between which the clearance counts; the last row and column are for places that
        belong to no span.
    """

    def __init__(self, rule: SpacingRule, apart: BoolArray) -> None:
        self._rule, self._apart = rule, apart
        self.points = np.empty((0, 2))
        self.allowed = np.empty(0)
        self._wanted = np.empty(0)
        self._owner = np.empty(0, dtype=np.int64)

    def add(self, points: FloatArray, wanted: FloatArray, owner: IntArray) -> IntArray:
        """Numbers of new places, (n,) array.

        Parameters
        ----------
        points : (n, 2) array
            Scaled lengths.
        wanted : (n,) array
            Spacing wanted for the place's own sake, scaled length.
        owner : (n,) array of int
            Number of the span it lies on.

        Raises
        ------
        MeshError
            Too many places.
        """
        old, rule = len(self.points), self._rule
        if old + len(points) > _LARGEST_COUNT:
            raise MeshError(
                f"the outline asks for more than {_LARGEST_COUNT} coarse points; the ratio of the "
                "largest to the smallest dimension is too great for this mesh",
                cause="too large",
            )
        self.points = np.vstack([self.points, points])
        self._owner = np.concatenate([self._owner, owner])
        distance = _distances(points, self.points)
        across = np.where(self._apart[owner][:, self._owner], distance, np.inf)
        wanted = np.minimum(wanted, rule.per_clearance * across.min(axis=1))
        clearance = rule.per_clearance * across[:, :old].min(axis=0)
        narrowed = clearance < self._wanted
        self._wanted = np.concatenate([np.minimum(self._wanted, clearance), wanted])
        among_old = (wanted[:, None] + rule.growth * distance[:, :old]).min(axis=0)
        among_all = (self._wanted + rule.growth * distance).min(axis=1)
        self.allowed = np.concatenate([np.minimum(self.allowed, among_old), among_all])
        # Where growth from elsewhere allows less than a place wants, the place does not matter.
        narrowed &= self._wanted[:old] < self.allowed[:old]
        if np.any(narrowed):
            distance = _distances(self.points, self.points[:old][narrowed])
            narrower = self._wanted[:old][narrowed] + rule.growth * distance
            self.allowed = np.minimum(self.allowed, narrower.min(axis=1))
        return np.arange(old, len(self.points))


@dataclass(frozen=True)
class _Pieces:
    """Pieces of the spans that may still be halved, as (n,) arrays.

    Parameters
    ----------
    span : (n,) array of int
    u_first, u_last : (n,) arrays
        Positions u of the ends, [-].
    first, middle, last : (n,) arrays of int
        Requests at the ends and at the position midway.
    """

    span: IntArray
    u_first: FloatArray
    u_last: FloatArray
    first: IntArray
    middle: IntArray
    last: IntArray

    def halved(
        self,
        which: BoolArray,
        spans: list[Span],
        symmetry: Symmetry,
        rule: SpacingRule,
        requests: _Requests,
    ) -> _Pieces:
        """All pieces after halving some, with requests at the new middles."""
        u_middle = 0.5 * (self.u_first + self.u_last)[which]
        u_first = np.concatenate([self.u_first[which], u_middle])
        u_last = np.concatenate([u_middle, self.u_last[which]])
        span = np.tile(self.span[which], 2)
        middle = _asked(span, 0.5 * (u_first + u_last), spans, symmetry, rule, requests)
        halves = (
            span,
            u_first,
            u_last,
            np.concatenate([self.first[which], self.middle[which]]),
            middle,
            np.concatenate([self.middle[which], self.last[which]]),
        )
        kept = (self.span, self.u_first, self.u_last, self.first, self.middle, self.last)
        return _Pieces(*(np.concatenate([k[~which], h]) for k, h in zip(kept, halves, strict=True)))


def _first_pieces(
    spans: list[Span], symmetry: Symmetry, rule: SpacingRule, requests: _Requests
) -> _Pieces:
    """Two pieces of every span to divide; spans with given divisions ask for their spacing."""
    free = [number for number, span in enumerate(spans) if span.divisions is None]
    for number, span in enumerate(spans):
        if span.divisions is not None:
            u = span.divisions
            size = np.hypot(*np.diff(span.point(u), axis=0).T)
            places = span.point((u[1:] + u[:-1]) / 2.0)
            requests.add(places, size, np.full(len(size), number))
    quarters = np.repeat(np.arange(5) / 4.0, len(free))
    asked = _asked(np.tile(free, 5), quarters, spans, symmetry, rule, requests).reshape(5, -1)
    return _Pieces(
        span=np.tile(np.array(free, dtype=np.int64), 2),
        u_first=np.repeat([0.0, 0.5], len(free)),
        u_last=np.repeat([0.5, 1.0], len(free)),
        first=asked[[0, 2]].ravel(),
        middle=asked[[1, 3]].ravel(),
        last=asked[[2, 4]].ravel(),
    )


def _asked(
    number: IntArray,
    u: FloatArray,
    spans: list[Span],
    symmetry: Symmetry,
    rule: SpacingRule,
    requests: _Requests,
) -> IntArray:
    """Numbers of new requests at positions u of spans, (n,) array."""
    points, wanted = np.empty((len(u), 2)), np.full(len(u), np.inf)
    for mine in np.unique(number):
        span, here = spans[mine], number == mine
        points[here] = span.point(u[here])
        if span.curvature is not None:
            bend = span.curvature(span.parameter(u[here]))
            wanted[here] = rule.per_radius / np.maximum(bend, 1e-300)
        if symmetry == "axisymmetric" and span.name not in ("axis", "outer", ""):
            limit = _axis_limit(span, u[here], points[here], rule)
            wanted[here] = np.minimum(wanted[here], limit)
    return requests.add(points, wanted, number)


def _distances(one: FloatArray, two: FloatArray) -> FloatArray:
    """Distances between two sets of points, (n, m) array."""
    return np.asarray(np.hypot(one[:, None, 0] - two[:, 0], one[:, None, 1] - two[:, 1]))


def _axis_limit(span: Span, where: FloatArray, point: FloatArray, rule: SpacingRule) -> FloatArray:
    """Limit from the azimuthal curvature |n_r| / r; none on faces normal to the axis."""
    step = 1e-5
    low, high = np.clip([where - step, where + step], 0.0, 1.0)
    before, after = np.split(span.point(np.concatenate([low, high])), 2)
    along = after - before
    radial_normal = np.abs(along[:, 1]) / np.hypot(along[:, 0], along[:, 1])
    limit = rule.per_axis_distance * point[:, 0] / np.maximum(radial_normal, 1e-12)
    # Of the whole span: a cone that ends on the axis would be divided without end.
    size = np.abs(span.point(np.array([0.0, 1.0]))).max()
    away = (point[:, 0] > 1e-9 * size) & (radial_normal > 1e-6)
    return np.where(away, limit, np.inf)


def _apart(spans: list[Span]) -> BoolArray:
    """Pairs of spans that share no end point; the last row and column are of no span."""
    ends = np.array([span.point(np.array([0.0, 1.0])) for span in spans])
    size = np.ptp(ends.reshape(-1, 2), axis=0).max()
    gaps = np.linalg.norm(ends[:, None, :, None] - ends[None, :, None, :], axis=-1)
    apart = np.zeros((len(spans) + 1, len(spans) + 1), dtype=bool)
    apart[:-1, :-1] = gaps.min(axis=(2, 3)) >= 1e-9 * size
    return apart
