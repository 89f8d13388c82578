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

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import EmittingEdge
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import GeometryError
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.field.solution import FieldSolution, Voltages
from conegap.solver.onset.surface_balance import balance_field

__all__ = ["IonStarts", "LaunchModel", "edge_currents", "ion_starts"]


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
    """

    positions: FloatArray
    directions: FloatArray
    energies: FloatArray
    shares: FloatArray

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
        share / total * part[2] / part[2].sum()
        for share, part in zip(firing.values(), parts, strict=True)
    ]
    positions = np.vstack([part[0] for part in parts])
    potential = float(voltages["emitter"])
    fall = potential - field.potential(positions)
    if np.any(fall <= 0.0):
        raise GeometryError(
            "voltages: the field at an emitting edge holds positive ions back; give the emitter "
            "the highest potential"
        )
    return IonStarts(positions, np.vstack([p[1] for p in parts]), fall, np.concatenate(shares))


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
    gamma = float(design.metal.surface_tension(design.liquid.temperature))
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
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Positions, directions and currents of the ions of one edge."""
    section = solution.section
    curve = section.loops[edge.loop][edge.index].curve
    t = np.linspace(0.0, 1.0, 2001)
    points, normals = curve.point(t), curve.normal(t)
    k = int(np.argmin(np.hypot(*(points - apex).T)))
    lean = np.arctan2(normals[:, 0], normals[:, 1]) - math.atan2(normals[k, 0], normals[k, 1])
    lean = (lean + math.pi) % (2.0 * math.pi) - math.pi
    beyond = np.nonzero(np.abs(lean) > emission.half_angle)[0]
    before, after = beyond[beyond < k], beyond[beyond > k]
    on_line = abs(points[k, 0]) <= 1e-6 * edge.radius and _is_half(solution)
    if len(before) or len(after):
        low = before[-1] + 1 if len(before) else 0
        high = after[0] - 1 if len(after) else len(t) - 1
        s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        length = s[low] + (s[high] - s[low]) * (np.arange(count) + 0.5) / count
        at = np.interp(length, s, t)
        place, way = curve.point(at), curve.normal(at)
        turn = np.interp(at, t, lean)
        distance = emission.start_distance * edge.radius
        starts = place + distance * way
        current = np.cos(turn) * (place[:, 0] if section.symmetry == "axisymmetric" else 1.0)
        return starts, way, np.asarray(current)
    across = math.hypot(*(points[-1] - points[0]))
    first = 0.0 if on_line else -emission.half_angle
    turn = first + (emission.half_angle - first) * (np.arange(count) + 0.5) / count
    heading = math.atan2(normals[k, 0], normals[k, 1]) + turn
    way = np.stack([np.sin(heading), np.cos(heading)], axis=1)
    size = min(edge.radius, across) if edge.radius > 0.0 else across
    solid = np.abs(np.sin(turn)) if section.symmetry == "axisymmetric" and on_line else 1.0
    return points[k] + emission.start_distance * size * way, way, np.asarray(np.cos(turn) * solid)


def _is_half(solution: FieldSolution) -> bool:
    """Whether the section is one half of its shape."""
    return solution.section.symmetry == "axisymmetric" or solution.section.mirrored
