"""Sections with a beam of given edge: Pierce's electrodes, and a drift tube."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.beam.charged_flow import ChargedFlow, charged_flow
from conegap.solver.beam.launch import IonStarts
from conegap.solver.beam.lockstep import followed
from conegap.solver.field.charged import ChargedLevel
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.mesh.spacing import SpacingRule
from conegap.validation.exact.charge_flow import CHILD, beam_spread, current_unit
from conegap.validation.sections.polygon import polygon

__all__ = ["drift_widening", "edge_angle", "strip_flow"]

# Ions as heavy as caesium's, [kg], and a voltage, [V]; any would do.
_MASS, _VOLTS = 2.2e-25, 5e3
# Of the half width, where the angle of the beam is read.
_WITHIN = 0.7
# Unit of length, [m]; any would do.
_UNIT = 1e-3


def strip_flow(
    solution: FieldSolution,
    voltages: dict[str, float],
    starts: FloatArray,
    energies: FloatArray,
    shares: FloatArray,
    current: float,
    level: int = -1,
) -> ChargedFlow:
    """Flow of ions that start along +z with given energies.

    Parameters
    ----------
    solution : FieldSolution
    voltages : dict of str to float
        [V].
    starts : (n, 2) array
        [m].
    energies : (n,) array
        Over the charge, [V].
    shares : (n,) array
        Of the current, [-].
    current : float
        [A], or [A/m] when planar.
    level : int
        Mesh of the sequence, the finest when left out, [-].
    """
    way = np.tile([0.0, 1.0], (len(starts), 1))
    given = IonStarts(starts, way, energies, shares, np.zeros(len(starts)))

    def launch(_: FieldAtPoints) -> IonStarts:
        return given

    charged = ChargedLevel.of(solution, level)
    return followed(charged_flow(charged, voltages, _MASS, launch, current, tolerance=1e-7))


def edge_angle(tilt: float, *, tubes: int = 200, level: int = 1) -> float:
    """Angle at which the outer part of a strip beam at Child's limit leaves, outward, [rad].

    A straight electrode at the emitter's potential meets the edge of the beam at the emitting
    plane at an angle; the beam enters a tenth of the gap downstream, where Child's flow gives it
    potential and speed, and the other boundaries carry the potential of Pierce's solution
    Re (z + i x)^(4/3) outside the beam (derived, Child's potential carried on).
    There the beam stays straight for an electrode at 67.5 degrees.  The path is that at seven
    tenths of the half width, where the mesh does not smear the edge of the charge.

    Parameters
    ----------
    tilt : float
        Of the electrode from the beam's edge, [rad].
    tubes : int
        Paths, [-].
    level : int
        Mesh of the sequence, [-].
    """
    wide, first, long = 0.5, 0.1, 1.5

    def potential(points: FloatArray) -> FloatArray:
        x, z = points.T / _UNIT
        outside = np.maximum(x - wide, 0.0)
        return np.asarray(_VOLTS * (1.0 - ((z + 1j * outside) ** (4.0 / 3.0)).real))

    end = (wide + long * math.sin(tilt), long * math.cos(tilt))
    corners = [(0.0, 1.0), (0.0, first), (wide, first), (wide, 0.0), end, (end[0], 1.0)]
    section = polygon(
        [(x * _UNIT, z * _UNIT) for x, z in corners],
        ["symmetry", "outer", "outer", "emitter", "outer", "outer"],
        "planar",
        gap=_UNIT,
        mirrored=True,
    )
    solution = solve_field(
        section,
        accuracy=1.0,
        prescribed={"outer": potential},
        rule=SpacingRule(per_clearance=0.15, growth=0.3),
        meshes=level + 1,
    )
    x = (np.arange(tubes) + 0.5) / tubes * wide
    density = CHILD * current_unit(_UNIT, _VOLTS, _MASS)
    flow = strip_flow(
        solution,
        {"outer": 1.0, "emitter": _VOLTS},
        np.stack([x, np.full(tubes, first)], axis=1) * _UNIT,
        np.full(tubes, _VOLTS * first ** (4.0 / 3.0)),
        np.full(tubes, 1.0 / tubes),
        density * 2.0 * wide * _UNIT,
        level,
    )
    return float(flow.paths.end_angle[int(_WITHIN * tubes)])


def drift_widening(
    widening: float, *, length: float = 30.0, tubes: int = 100, level: int = 1
) -> float:
    """Widening of a uniform round beam in a drift tube for a perveance that asks for one.

    The beam enters parallel with the radius 1; tube and beam go on before the entrance as in a
    mirror, so that the field is that of a waist.

    Parameters
    ----------
    widening : float
        r / r0 that the universal curve gives at the end, [-].
    length : float
        Of the drift over the radius; the curve holds for a slender beam, [-].
    tubes : int
        Paths, [-].
    level : int
        Mesh of the sequence, [-].

    Returns
    -------
    float
        That of a ring in the middle of the beam, [-].
    """
    section = polygon(
        [(0.0, length * _UNIT), (0.0, 0.0), (4.0 * _UNIT, 0.0), (4.0 * _UNIT, length * _UNIT)],
        ["axis", "outer", "accelerator", "outer"],
        "axisymmetric",
        gap=_UNIT,
    )

    def slope(points: FloatArray) -> FloatArray:
        # Next to nothing against the energy of the ions: some difference there must be.
        return np.asarray(-1e-6 * _VOLTS * points[:, 1] / (length * _UNIT))

    solution = solve_field(
        section,
        accuracy=1.0,
        prescribed={"accelerator": slope},
        rule=SpacingRule(per_clearance=0.25, per_axis_distance=100.0),
        meshes=level + 1,
    )
    perveance = 0.5 * (beam_spread(widening) / length) ** 2
    # K = I / (2 pi eps0 V_u u), with u and V_u = m u^2 / e of the same energy e V_u / 2.
    current = 2.0 * math.pi * _UNIT**2 * perveance * current_unit(_UNIT, 2.0 * _VOLTS, _MASS)
    r = (np.arange(tubes) + 0.5) / tubes
    flow = strip_flow(
        solution,
        {"accelerator": 1.0},
        np.stack([r, np.zeros(tubes)], axis=1) * _UNIT,
        np.full(tubes, _VOLTS),
        r / r.sum(),
        current,
        level,
    )
    ring = tubes // 2
    return float(flow.paths.paths[ring][-1, 0] / (r[ring] * _UNIT))
