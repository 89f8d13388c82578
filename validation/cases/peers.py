"""The independent finite-element solution: by itself, and against the finite volumes."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from conegap.validation.cases.row import Case, Row, not_run
from conegap.validation.sections import catalogue as sections
from conegap.validation.sections.exact_case import ExactCase

__all__ = ["has_skfem", "peer_cases"]

_METHOD = "independent solution, fourth-order finite elements (scikit-fem)"
_MISSING = "not run: scikit-fem is not installed (pip install 'conegap[test]')"


def has_skfem() -> bool:
    """Whether scikit-fem is installed."""
    from importlib.util import find_spec

    return find_spec("skfem") is not None


def _exact_rows(build: Callable[[], ExactCase]) -> list[Row]:
    case = build()
    name = f"finite elements alone: {case.title}"
    if not has_skfem():
        return [not_run(name, case.source, "field at the edge [V/m]", _MISSING)]
    from conegap.validation.reference_fem.plane import solve_finite_element

    result = solve_finite_element(case.section, case.voltages, prescribed=case.prescribed_data)
    rows = [
        Row(name, case.source, f"field at {edge} [V/m]", exact, result.edge_fields[edge], 1e-4,
            note="a check must be better than what it checks")
        for edge, exact in case.edge_fields.items()
    ]  # fmt: skip
    rows += [
        Row(name, case.source, f"charge of {electrode}", exact, result.charges[electrode], 1e-5,
            note="energy-like, converges twice as fast as the field")
        for electrode, exact in case.charges.items()
    ]  # fmt: skip
    return rows


def _design_rows(design_name: str) -> list[Row]:
    from conegap.geometries.design.design import Design
    from conegap.solver.field.solution import solve_field

    name = f"shipped design '{design_name}'"
    if not has_skfem():
        return [not_run(name, _METHOD, "field at the edge [V/m]", _MISSING)]
    from conegap.validation.reference_fem.plane import solve_finite_element

    section = Design.read(design_name).section()
    voltages = {"emitter": 1.0, "accelerator": 0.0}
    solution = solve_field(section)
    result = solve_finite_element(section, voltages, fineness=0.3)
    rows = []
    for edge in section.edges:
        ours = solution.edge(edge.name, voltages)
        theirs = result.edge_fields[edge.name]
        rows += [
            Row(name, _METHOD, f"field at {edge.name} for 1 V [V/m]", theirs, ours.value, 1e-3,
                note="1e-3: the default accuracy of the solver"),
            Row(name, _METHOD, "difference over sum of both reported errors [-]", 1.0,
                abs(ours.value / theirs - 1.0) / (ours.error + result.error), 0.0, "at most",
                note="two independent solutions agree within what they report"),
        ]  # fmt: skip
    charge = solution.charge("accelerator", voltages).value
    rows.append(
        Row(name, _METHOD, "charge of accelerator at 1 V", result.charges["accelerator"], charge,
            2e-4, note="capacitance; 2e-4: a fifth of the solver's default accuracy")
    )  # fmt: skip
    return rows


def peer_cases() -> list[Case]:
    """Cases of the independent solver."""
    alone: list[Callable[[], ExactCase]] = [
        partial(sections.concentric_spheres, inner=1e-3, outer=2e-3),
        partial(sections.hyperboloid_needle, radius=5e-6, gap=5e-4, prescribed=False),
        partial(sections.hyperboloid_needle, radius=5e-6, gap=5e-4, prescribed=True),
        partial(sections.hyperboloid_needle, radius=5e-6, gap=5e-3, prescribed=False),
        partial(sections.planar_hyperbola, radius=5e-6, gap=5e-4, prescribed=False),
        partial(sections.blade_before_slit, half_width=1e-3),
    ]
    cases = [Case(f"finite elements alone: {b().title}", partial(_exact_rows, b)) for b in alone]
    cases += [
        Case(f"shipped design '{name}'", partial(_design_rows, name), slow=True)
        for name in ("needle", "slit")
    ]
    return cases
