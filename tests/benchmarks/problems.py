"""The problems that every method solves, each with the value it has to reach."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from conegap.geometries.curves.section import Section
from conegap.geometries.design.design import Design
from conegap.validation.sections.catalogue import hyperboloid_needle, planar_hyperbola
from conegap.validation.sections.exact_case import ExactCase

__all__ = ["PROBLEMS", "Problem", "problem_of", "right_value"]

PROBLEMS = ("needle", "edge", "aperture", "slit")
# One volt: all fields scale with it, [V].
_VOLTAGES = {"emitter": 1.0, "accelerator": 0.0}
# Of the reference's mesh; the reference states its own error.
_REFERENCE_FINENESS = 0.35
# Edge radius and gap, [m], and extent of the exact sections.
_RADIUS, _GAP, _EXTENT = 5e-6, 5e-4, 2.0


@dataclass(frozen=True)
class Problem:
    """A section with voltages, solved for the field at its emitting edge.

    Parameters
    ----------
    name : str
        Short name, one of `PROBLEMS`.
    title : str
    voltages : mapping
        Of the electrodes, [V].
    exact : float or None
        Edge field in closed form, [V/m]; None where it must be computed.
    source : str
        Where the right value comes from.
    conics : mapping
        (loop, index) of a boundary that is no arc and no line, to ("hyperbola", (R, d)) or
        ("ellipse", (centre, half axis along x, half axis along z)), [m].
    """

    name: str
    title: str
    section: Section
    voltages: Mapping[str, float]
    exact: float | None
    source: str
    conics: Mapping[tuple[int, int], tuple[str, tuple[float, ...]]] = field(default_factory=dict)

    @property
    def edge(self) -> str:
        """Name of the emitting edge."""
        return self.section.edges[0].name


def problem_of(name: str) -> Problem:
    """A problem by its short name.

    Parameters
    ----------
    name : str
        One of `PROBLEMS`.

    Raises
    ------
    KeyError
        No such problem.
    """
    return {"needle": _needle, "edge": _edge, "aperture": _aperture, "slit": _slit}[name]()


def _confocal(name: str, title: str, case: ExactCase) -> Problem:
    focal = math.sqrt(_GAP * (_GAP + _RADIUS))
    wide = focal * math.sqrt(_EXTENT**2 - 1.0)
    conics: dict[tuple[int, int], tuple[str, tuple[float, ...]]] = {
        (0, 1): ("hyperbola", (_RADIUS, _GAP)),
        (0, 2): ("ellipse", (_GAP, wide, _EXTENT * focal)),
    }
    exact = next(iter(case.edge_fields.values()))
    return Problem(name, title, case.section, case.voltages, exact, case.source, conics)


def _needle() -> Problem:
    case = hyperboloid_needle(radius=_RADIUS, gap=_GAP, prescribed=False, extent=_EXTENT)
    return _confocal("needle", "hyperboloid needle, d/R = 100", case)


def _edge() -> Problem:
    case = planar_hyperbola(radius=_RADIUS, gap=_GAP, prescribed=False, extent=_EXTENT)
    return _confocal("edge", "hyperbolic edge in the plane, d/R = 100", case)


def _drawn(name: str, title: str, example: str) -> Problem:
    section = Design.read(example).section()
    source = "fourth-order finite elements (scikit-fem), computed in the same run"
    return Problem(name, title, section, _VOLTAGES, None, source)


def _aperture() -> Problem:
    return _drawn("aperture", "needle, aperture plate, chamber", "needle")


def _slit() -> Problem:
    return _drawn("slit", "slit with two blades, chamber", "slit")


def right_value(problem: Problem) -> tuple[float, float]:
    """Edge field that is taken for right, and its own relative error.

    Returns
    -------
    float
        [V/m].
    float
        0 for a closed form, [-].

    Raises
    ------
    ComputationError
        The value must be computed and scikit-fem is not installed.
    """
    if problem.exact is not None:
        return problem.exact, 0.0
    from conegap.validation.reference_fem.plane import solve_finite_element

    result = solve_finite_element(problem.section, problem.voltages, fineness=_REFERENCE_FINENESS)
    return result.edge_fields[problem.edge], result.error
