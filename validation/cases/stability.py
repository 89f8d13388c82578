"""Flat pinned surfaces: the field at which each kind of wave begins to grow, and gravity."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.validation.cases.row import Case, Row
from conegap.validation.exact.flat_waves import disc_threshold, strip_threshold

if TYPE_CHECKING:
    from conegap.geometries.curves.section import Symmetry
    from conegap.solver.liquid.stability import Wave

__all__ = ["hydrostatic_height", "stability_cases", "threshold"]

_GALERKIN = "derived, Galerkin with Bessel functions, run here (validation/exact/flat_waves.py)"
# Subdivisions of the meshes.
_LEVELS = (2, 4, 8)


def threshold(symmetry: Symmetry, wave: Wave) -> float:
    """W = eps0 E0^2 a / gamma at which a wave on a flat pinned surface begins to grow, [-].

    The gauge pressure follows the field, so that the surface stays flat until then.  The value is
    extrapolated from the two finest of three meshes.

    Parameters
    ----------
    symmetry : "axisymmetric" or "planar"
    """
    from conegap.solver.field.extrapolation import estimate
    from conegap.solver.liquid.branch import problem_at
    from conegap.solver.liquid.shape import cap
    from conegap.solver.liquid.stability import critical_strength, stability
    from conegap.validation.sections.menisci import electric_bond_number_of_field, on_plane

    flat = cap(0.0, 12, symmetry)
    values = []
    for level in _LEVELS:
        problem = problem_at(on_plane(), flat, level, "pressure", 0.0)
        found = critical_strength(stability(problem, flat, wave))
        values.append(electric_bond_number_of_field(found))
    return estimate(_LEVELS, tuple(values)).value


def hydrostatic_height(pressure: float, bond_number: float) -> float:
    """Height of a pinned dome under gravity and no field, by shooting, in contact radii, [-].

    Parameters
    ----------
    pressure : float
        Gauge pressure at the contact line in gamma / a, [-].
    bond_number : float
        rho g a^2 / gamma, [-].
    """
    from scipy.integrate import solve_ivp
    from scipy.optimize import brentq

    def end(height: float) -> float:
        def along(_s: float, state: list[float]) -> list[float]:
            r, z, psi = state
            total = pressure - bond_number * z
            around = math.sin(psi) / r if r > 1e-9 else total / 2.0
            return [math.cos(psi), -math.sin(psi), total - around]

        def contact(_s: float, state: list[float]) -> float:
            return state[1]

        contact.terminal = True  # type: ignore[attr-defined]
        contact.direction = -1.0  # type: ignore[attr-defined]
        found = solve_ivp(
            along, (0.0, 10.0), [0.0, height, 0.0], events=contact, rtol=1e-10, atol=1e-12
        )
        return float(found.y[0, -1]) - 1.0

    return float(brentq(end, 0.02, 0.8))


def _threshold_case(
    name: str, symmetry: Symmetry, wave: Wave, exact: float, tolerance: float
) -> Case:
    def rows() -> list[Row]:
        found = threshold(symmetry, wave)
        note = "net pressure zero; in a box of 40 radii, whose walls a strip feels to 2e-4"
        return [Row(name, _GALERKIN, "W at the threshold [-]", exact, found, tolerance, note=note)]

    return Case(name, rows)


def _gravity_rows() -> list[Row]:
    from conegap.solver.liquid.branch import problem_at
    from conegap.solver.liquid.continuation import correct
    from conegap.solver.liquid.shape import cap
    from conegap.validation.sections.menisci import on_plane

    pressure, bond = 1.0, 0.8
    start = cap(math.asin(pressure / 2.0), 12, "axisymmetric")
    problem = problem_at(on_plane(), start, 2, "pressure", pressure, bond_number=bond)
    x = problem.unknowns(start, pressure, 0.0)
    direction = np.zeros(len(x))
    direction[-1] = 1.0
    height = problem.shape(correct(problem.residual_and_jacobian, x, direction).x).height
    exact = hydrostatic_height(pressure, bond)
    return [
        Row("dome under gravity, no field", "derived, Young-Laplace by shooting (scipy)",
            "height over contact radius [-]", exact, height, 1e-6,
            note="pressure 1, Bond number 0.8"),
    ]  # fmt: skip


def stability_cases() -> list[Case]:
    """Thresholds of flat surfaces and the dome under gravity."""
    from conegap.solver.liquid.stability import Wave

    return [
        _threshold_case("flat pinned disc, free pressure", "axisymmetric", Wave(),
                        disc_threshold(), 3e-5),
        _threshold_case("flat pinned disc, volume held", "axisymmetric", Wave(volume_held=True),
                        disc_threshold(volume_held=True), 3e-5),
        _threshold_case("flat pinned disc, tilt (m = 1)", "axisymmetric", Wave(around=1),
                        disc_threshold(1), 3e-5),
        _threshold_case("flat pinned strip, free pressure", "planar", Wave(),
                        strip_threshold(), 3e-4),
        _threshold_case("flat pinned strip, odd wave", "planar", Wave(parity="odd"),
                        strip_threshold(odd=True), 1e-4),
        Case("dome under gravity, no field", _gravity_rows),
    ]  # fmt: skip
