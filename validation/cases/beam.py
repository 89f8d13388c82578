"""Ion paths against closed forms."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import elementary_charge
from scipy.integrate import quad

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.cases.row import Case, Row
from conegap.validation.sections import catalogue as sections
from conegap.validation.sections.exact_case import ExactCase
from conegap.validation.sections.polygon import plates

if TYPE_CHECKING:
    from conegap.solver.beam.trajectories import Trajectories

__all__ = ["beam_cases", "fall_rows", "parabola_rows", "plate_rows"]

# About that of a caesium ion, [kg]; any value would do.
_MASS = 2.2e-25
# Of the fall, [V]; any value would do.
_VOLTS = 5e3
_TEXTBOOK = "textbook mechanics"


def plate_rows() -> list[Row]:
    """From rest across parallel plates: time and speed."""
    from conegap.solver.beam.trajectories import trace
    from conegap.solver.field.interpolation import field_at_points
    from conegap.solver.field.solution import solve_field

    gap = 1e-3
    solution = solve_field(plates(width=gap, gap=gap), accuracy=1.0)
    field = field_at_points(solution, {"emitter": _VOLTS})
    found = trace(field, np.array([[0.4 * gap, 0.0]]), np.zeros((1, 2)), _MASS)
    speed = math.sqrt(2.0 * elementary_charge * _VOLTS / _MASS)
    name = "ion across parallel plates"
    return [
        Row(name, _TEXTBOOK, "time of flight [s]", 2.0 * gap / speed, found.times[0][-1], 1e-9),
        Row(name, _TEXTBOOK, "speed [m/s]", speed, float(found.end_velocity[0, 1]), 1e-9),
    ]


def parabola_rows() -> list[Row]:
    """A slanting start in a tilted uniform field."""
    from conegap.solver.beam.trajectories import trace
    from conegap.solver.field.interpolation import field_at_points
    from conegap.solver.field.solution import solve_field

    gap, across, along = 1e-3, 1.2e6, 3e6

    def potential(points: FloatArray) -> FloatArray:
        return np.asarray(-across * points[:, 0] - along * points[:, 1])

    section = plates(width=2.0 * gap, gap=gap, side="all outer")
    solution = solve_field(section, accuracy=1.0, prescribed={"outer": potential})
    field = field_at_points(solution, {"outer": 1.0})
    start, velocity = np.array([[1.1 * gap, 0.1 * gap]]), np.array([[-6e4, 2e4]])
    found = trace(field, start, velocity, _MASS)
    pull = elementary_charge / _MASS * np.array([across, along])
    rise = 0.9 * gap
    t = (math.sqrt(velocity[0, 1] ** 2 + 2.0 * pull[1] * rise) - velocity[0, 1]) / pull[1]
    x = start[0, 0] + velocity[0, 0] * t + 0.5 * pull[0] * t**2
    name = "parabola in a uniform field"
    return [
        Row(name, _TEXTBOOK, "place at the far side [m]", x, float(found.paths[0][-1, 0]), 1e-9),
        Row(name, _TEXTBOOK, "time of flight [s]", t, float(found.times[0][-1]), 1e-9),
    ]


def fall_rows(case: ExactCase, inner: float, outer: float) -> list[Row]:
    """Radial fall from rest between concentric circles or spheres about (0, -inner).

    Parameters
    ----------
    case : ExactCase
        1 V on the inner electrode.
    inner, outer : float
        Radii, [m].
    """
    from conegap.solver.field.interpolation import field_at_points
    from conegap.solver.field.solution import solve_field

    solution = solve_field(case.section, accuracy=1e-3)
    field = field_at_points(solution, {"emitter": _VOLTS})
    turn = np.radians([10.0, 35.0, 60.0, 85.0])
    way = np.stack([np.sin(turn), np.cos(turn)], axis=1)
    centre = np.array([0.0, -inner])
    from conegap.solver.beam.trajectories import trace

    found = trace(field, centre + inner * (1.0 + 1e-9) * way, np.zeros_like(way), _MASS)

    def slowness(s: float) -> float:
        # r = inner + (outer - inner) s^2 takes the root out of the start.
        r = inner + (outer - inner) * s * s
        phi = float(case.potential(np.array([[0.0, r - inner]]))[0])
        speed = math.sqrt(2.0 * elementary_charge * _VOLTS * (1.0 - phi) / _MASS)
        return 2.0 * s * (outer - inner) / speed

    time = quad(slowness, 1e-6, 1.0, epsabs=0.0, epsrel=1e-10)[0]
    worst = int(np.argmax([abs(t[-1] / time - 1.0) for t in found.times]))
    energy = found.end_energy / elementary_charge
    name = f"radial fall, {case.name}"
    mesh = "second order in the mesh"
    return [
        Row(name, "quadrature", "time [s]", time, float(found.times[worst][-1]), 1e-3, note=mesh),
        Row(
            name,
            "conservation of energy",
            "energy on landing [eV]",
            _VOLTS,
            float(energy[int(np.argmax(np.abs(energy - _VOLTS)))]),
            2e-4,
            note="the start lies on the circle, beside the chords of the mesh",
        ),
        Row(
            name,
            "symmetry",
            "deviation from the radius [rad]",
            0.0,
            float(np.max(np.abs(_bearing(found, centre) - turn))),
            5e-4,
            "absolute",
            note=mesh,
        ),
        Row(
            name,
            "conservation of energy",
            "energy error along the path",
            1e-6,
            float(found.energy_error.max()),
            0.0,
            "at most",
        ),
    ]


def _bearing(found: Trajectories, centre: FloatArray) -> FloatArray:
    """Polar angle of every end from the z axis, (n,) array, [rad]."""
    end = np.array([path[-1] for path in found.paths]) - centre
    return np.asarray(np.arctan2(end[:, 0], end[:, 1]))


def beam_cases() -> list[Case]:
    """Ion paths, in the order of the table."""
    inner, outer = 1e-3, 4e-3
    return [
        Case("ion across parallel plates", plate_rows),
        Case("parabola in a uniform field", parabola_rows),
        *(
            Case(f"radial fall, {case.name}", partial(fall_rows, case, inner, outer))
            for case in (
                sections.coaxial_cylinders(inner=inner, outer=outer),
                sections.concentric_spheres(inner=inner, outer=outer),
            )
        ),
    ]
