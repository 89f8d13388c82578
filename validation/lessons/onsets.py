"""Rigid onsets of the shapes that several chapters solve, each with the error that it states."""

from __future__ import annotations

from conegap.validation.sections import catalogue as sections
from conegap.validation.sections.exact_case import ExactCase

__all__ = ["blade_onset", "needle_onset"]


def needle_onset(*, surface_tension: float, radius: float, gap: float) -> tuple[float, float]:
    """Rigid onset of a hyperboloid before a plane by a field solve, [V], and its error, [-].

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    radius, gap : float
        Apex radius R, and apex to plane d, [m].
    """
    case = sections.hyperboloid_needle(radius=radius, gap=gap, prescribed=False)
    return _rigid_onset(case, "tip", surface_tension)


def blade_onset(*, surface_tension: float, radius: float, gap: float) -> tuple[float, float]:
    """Rigid onset of a hyperbolic blade before a plane by a field solve, [V], and its error, [-].

    The edge is curved in one direction only, so the tension is gamma / R.  Parameters as for
    `needle_onset`.
    """
    case = sections.planar_hyperbola(radius=radius, gap=gap, prescribed=False)
    return _rigid_onset(case, "edge", surface_tension)


def _rigid_onset(case: ExactCase, name: str, surface_tension: float) -> tuple[float, float]:
    from conegap.solver.field.solution import solve_field
    from conegap.solver.onset.surface_balance import balance_field

    edge = solve_field(case.section).edge(name, case.voltages)
    wanted = balance_field(surface_tension=surface_tension, curvature=edge.curvature)
    return wanted / edge.value, edge.error
