"""Where the ions of a beam start: a stated model of the emitting edge.

A cusp of nanometres, which the field of the drawn surface does not show, emits the ions.  Here
they start at rest on the drawn surface and leave along its normal, from every place whose normal
leans less than an assumed half angle from that at the apex; the current there goes with the
cosine of the lean and with the area.  They are followed from a tenth of the edge's radius away
from the surface, with the energy of the fall so far.  A liquid surface that turns by less than
the half angle emits from its apex into the same cone instead.  The cusp's own field, which
spreads the beam further, is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.constants import elementary_charge
from scipy.optimize import minimize_scalar

from conegap.geometries.curves.curve import Curve, FloatArray
from conegap.geometries.curves.section import EmittingEdge
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.notebook import brief
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.field.solution import FieldSolution, Voltages
from conegap.solver.mesh.boundary_walk import arc_lengths
from conegap.solver.onset.surface_balance import balance_field

__all__ = ["IonStarts", "LaunchModel", "edge_currents", "ion_starts"]

# Even parameters among which the one nearest to the apex is sought first; any number from a few
# hundred on finds the same minimum.
_ROUGH = 2001
# Steps from the apex outward along an edge: over its radius for the first, and each over the last.
# A normal of a circle turns by half a degree in the first and by 1.2 degrees at most in one step
# within the half angle.
_FIRST_STEP, _GROWTH = 0.01, 1.05
# Arc over that of a circle of the edge's radius within which the normal must lean by the half
# angle: a surface so much flatter than its radius says emits from its apex. A choice, no source.
_FARTHEST = 4.0
# From a step of a twentieth down to rounding.
_BISECTIONS = 50


@dataclass(frozen=True)
class LaunchModel:
    """Assumptions about the emission.

    Parameters
    ----------
    half_angle : float
        Of the emission cone about the normal at the apex, assumed, [rad].
    start_distance : float
        From the surface to where an ion is first followed, over the radius of the edge, [-].
    """

    half_angle: float = math.radians(25.0)
    start_distance: float = 0.1

    def __post_init__(self) -> None:
        if not 0.0 < self.half_angle < math.pi / 2.0:
            raise GeometryError(
                f"the emission half angle is {math.degrees(self.half_angle):.4g} deg; it should "
                "lie between 0 and 90 deg"
            )
        if not 0.0 < self.start_distance <= 1.0:
            raise GeometryError(
                f"the start distance is {self.start_distance:g} edge radii; it should lie "
                "between 0 and 1"
            )


@dataclass(frozen=True)
class IonStarts:
    """Starts of the ions of one beam.

    Parameters
    ----------
    positions : (n, 2) array
        [m].
    directions : (n, 2) array
        Unit vectors, [-].
    energies : (n,) array
        Kinetic energy there over the charge, [V].
    shares : (n,) array
        Share of the current that each path stands for, adding to 1, [-].
    distances : (n,) array
        From the surface, [m].
    """

    positions: FloatArray
    directions: FloatArray
    energies: FloatArray
    shares: FloatArray
    distances: FloatArray

    __repr__ = brief

    def velocities(self, mass: float) -> FloatArray:
        """Velocities of singly charged ions of a mass [kg], (n, 2) array, [m/s]."""
        speed = np.sqrt(2.0 * elementary_charge * self.energies / mass)
        return np.asarray(self.directions * speed[:, None])


def ion_starts(
    solution: FieldSolution,
    field: FieldAtPoints,
    voltages: Voltages,
    edge_shares: dict[str, float],
    emission: LaunchModel,
    count: int,
) -> IonStarts:
    """Starts on the emitting edges.

    Parameters
    ----------
    field : FieldAtPoints
        At the same voltages.
    voltages : mapping
        [V].
    edge_shares : dict of edge name to share of the current
        Edges without current are left out, [-].
    emission : Emission
    count : int
        Ions in all, about, [-].

    Raises
    ------
    GeometryError
        A start lies in a conductor.
    """
    firing = {name: share for name, share in edge_shares.items() if share > 0.0}
    parts = []
    for name in firing:
        edge = solution.section.edge(name)
        apex = np.array(solution.edge(name, voltages).position)
        parts.append(_on_edge(solution, edge, apex, emission, max(count // len(firing), 2)))
    total = sum(firing.values())
    shares = [
        share / total * part.currents / part.currents.sum()
        for share, part in zip(firing.values(), parts, strict=True)
    ]
    positions = np.vstack([part.positions for part in parts])
    potential = float(voltages["emitter"])
    fall = potential - field.potential(positions)
    if np.any(fall <= 0.0):
        raise GeometryError(
            "voltages: the field at an emitting edge holds positive ions back; give the emitter "
            "the highest potential"
        )
    return IonStarts(
        positions,
        np.vstack([part.directions for part in parts]),
        fall,
        np.concatenate(shares),
        np.concatenate([part.distances for part in parts]),
    )


def edge_currents(
    design: Design, solution: FieldSolution, voltages: Voltages
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Share of the current of every edge, in proportion to how far it is above its rigid onset.

    Parameters
    ----------
    voltages : mapping
        [V].

    Returns
    -------
    dict of edge name to share
        Adding to 1; all to the strongest edge where none is above its onset, [-].
    tuple of str
        Remarks.

    Raises
    ------
    DesignError
        An edge has no radius.
    """
    gamma = design.surface_tension
    over = {}
    for edge in solution.section.edges:
        found = solution.edge(edge.name, voltages)
        wanted = balance_field(
            surface_tension=gamma, curvature=found.curvature, pressure=design.edge_pressure
        )
        over[edge.name] = found.value / wanted - 1.0
    total = sum(max(value, 0.0) for value in over.values())
    if total > 0.0:
        return {name: max(value, 0.0) / total for name, value in over.items()}, ()
    first = max(over, key=lambda name: over[name])
    return {name: float(name == first) for name in over}, (
        f"At these voltages no edge is above its rigid onset; the beam is that of '{first}'.",
    )


def _on_edge(
    solution: FieldSolution, edge: EmittingEdge, apex: FloatArray, emission: LaunchModel, count: int
) -> _EdgeStarts:
    """Starts and currents of the ions of one edge."""
    section = solution.section
    curve = section.loops[edge.loop][edge.index].curve
    round_axis = section.symmetry == "axisymmetric"
    t, lean, bounded = _around_apex(curve, apex, edge.radius, emission.half_angle)
    if bounded:
        s = arc_lengths(curve, 1.0, t)
        turned = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(lean)))])
        # Evenly by length and by turning: neither a straight flank nor a fine tip is skipped.
        even = s / s[-1] + turned / turned[-1]
        at = np.interp(2.0 * (np.arange(count) + 0.5) / count, even, t)
        step = np.diff(np.interp(2.0 * np.arange(count + 1) / count, even, s))
        place, way = curve.point(at), curve.normal(at)
        distance = emission.start_distance * edge.radius
        current = np.cos(np.interp(at, t, lean)) * step * (place[:, 0] if round_axis else 1.0)
        return _EdgeStarts(place + distance * way, way, current, np.full(count, distance))
    across = math.hypot(*(curve.end - curve.start))
    middle = t[[int(np.argmin(np.abs(lean)))]]
    on_line = abs(float(curve.point(middle)[0, 0])) <= 1e-6 * edge.radius and _is_half(solution)
    first = 0.0 if on_line else -emission.half_angle
    turn = first + (emission.half_angle - first) * (np.arange(count) + 0.5) / count
    normal = curve.normal(middle)[0]
    heading = math.atan2(normal[0], normal[1]) + turn
    way = np.stack([np.sin(heading), np.cos(heading)], axis=1)
    size = min(edge.radius, across) if edge.radius > 0.0 else across
    solid = np.abs(np.sin(turn)) if round_axis and on_line else 1.0
    distance = emission.start_distance * size
    starts = curve.point(middle) + distance * way
    return _EdgeStarts(starts, way, np.asarray(np.cos(turn) * solid), np.full(count, distance))


@dataclass(frozen=True)
class _EdgeStarts:
    """Positions, directions, currents of any unit, and distances from the surface."""

    positions: FloatArray
    directions: FloatArray
    currents: FloatArray
    distances: FloatArray


def _around_apex(
    curve: Curve, apex: FloatArray, radius: float, half_angle: float
) -> tuple[FloatArray, FloatArray, bool]:
    """Parameters about the apex and the lean of the normal there from that at the apex, [rad].

    The steps grow from a hundredth of the radius outward, so that a tip of a thousandth of the
    curve's length is resolved.  The last value says whether the normal leans by the half angle on
    one side at least, before the curve has gone on for `_FARTHEST` times the arc that a circle of
    this radius would need for it.
    """
    rough = np.linspace(0.0, 1.0, _ROUGH)
    k = int(np.argmin(np.hypot(*(curve.point(rough) - apex).T)))
    low, high = rough[max(k - 1, 0)], rough[min(k + 1, _ROUGH - 1)]

    def away(t: float) -> float:
        return float(np.hypot(*(curve.point(np.array([t]))[0] - apex)))

    found = minimize_scalar(away, bounds=(low, high), method="bounded", options={"xatol": 1e-12})
    middle = min((low, float(found.x), high), key=away)
    size = radius if radius > 0.0 else curve.length
    reach = _FARTHEST * half_angle * radius if radius > 0.0 else curve.length
    first = _FIRST_STEP * size / float(np.hypot(*curve.derivative(np.array([middle]))[0]))
    steps = first * _GROWTH ** np.arange(math.ceil(math.log(1.0 / first) / math.log(_GROWTH)) + 1)
    upright = curve.normal(np.array([middle]))[0]

    def lean_at(t: FloatArray) -> FloatArray:
        normal = curve.normal(t)
        turn = np.arctan2(normal[:, 0], normal[:, 1]) - math.atan2(upright[0], upright[1])
        return np.asarray((turn + math.pi) % (2.0 * math.pi) - math.pi)

    sides, bounded = [], False
    for sign in (-1.0, 1.0):
        end = 0.0 if sign < 0.0 else 1.0
        t = middle + sign * steps
        t = np.concatenate([[middle], t[(t > 0.0) & (t < 1.0)], [end]])
        lean, s = np.abs(lean_at(t)), arc_lengths(curve, 1.0, t)
        beyond = np.nonzero((lean > half_angle) & (np.abs(s) <= reach))[0]
        last = int(beyond[0]) if len(beyond) else int(np.count_nonzero(np.abs(s) <= reach))
        stop = [] if last >= len(t) else [t[last]]
        if len(beyond) and last > 0:
            bounded = True
            inner, outer = float(t[last - 1]), float(t[last])
            for _ in range(_BISECTIONS):
                half = 0.5 * (inner + outer)
                beyond_here = abs(float(lean_at(np.array([half]))[0])) > half_angle
                inner, outer = (inner, half) if beyond_here else (half, outer)
            stop = [inner]
        elif not len(beyond):
            stop = []
        sides.append(np.concatenate([t[:last], stop]))
    t = np.unique(np.concatenate(sides))
    return t, lean_at(t), bounded


def _is_half(solution: FieldSolution) -> bool:
    """Whether the section is one half of its shape."""
    return solution.section.symmetry == "axisymmetric" or solution.section.mirrored
