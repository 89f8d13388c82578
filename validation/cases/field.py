"""The finite-volume field against every closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from conegap.validation.cases.row import Case, Row
from conegap.validation.sections import catalogue as sections
from conegap.validation.sections.exact_case import ExactCase

if TYPE_CHECKING:
    from conegap.solver.field.solution import FieldSolution

__all__ = ["FieldCheck", "field_cases", "field_checks", "field_rows", "fitted_order"]

# What the scheme should have, and how far below it a fitted order may lie.
_ORDER = 2.0
_ORDER_SLACK = 0.2
# Of the finest mesh before extrapolation.
_RAW_ERROR = 2e-3
# Charges are integrals and at least as accurate as edge fields.
_CHARGE_TOLERANCE = 1e-4
# Error of the finest mesh below which the sequence has reached its other errors and shows no
# order.
_NO_ORDER_BELOW = 3e-6
_APEX = "1e-4: what an onset needs to stay far below the uncertainty of any dimension"
_EVEN = (
    "1e-3: the field is the same everywhere on the surface, so its greatest value picks the "
    "largest error of the mesh; the charge row is the sharp one"
)


@dataclass(frozen=True)
class FieldCheck:
    """An exact case with what is asked of the solver on it.

    Parameters
    ----------
    build : callable () -> ExactCase
    tolerance : float
        Of the edge field, relative, [-].
    accuracy : float
        Passed to the solver, [-].
    reason : str
        Why that tolerance.
    edge_order : bool
        Whether the order of the edge field is fitted (not where the field is uniform).
    slow : bool
    """

    build: Callable[[], ExactCase]
    tolerance: float = 1e-4
    accuracy: float = 1e-4
    reason: str = _APEX
    edge_order: bool = True
    slow: bool = False


def field_checks() -> list[FieldCheck]:
    """All exact cases, in the order of the table."""
    checks = [
        FieldCheck(
            partial(
                sections.hyperboloid_needle, radius=5e-6, gap=ratio * 5e-6, prescribed=prescribed
            ),
            slow=ratio >= 1000,
        )
        for ratio in (10, 100, 1000, 5000)
        for prescribed in (True, False)
    ]
    checks += [
        FieldCheck(
            partial(sections.planar_hyperbola, radius=5e-6, gap=ratio * 5e-6, prescribed=prescribed)
        )
        for ratio in (1, 10, 100, 1000)
        for prescribed in (True, False)
    ]
    checks += [
        FieldCheck(partial(sections.confocal_spheroids, focal=0.9e-3, inner=1e-3, outer=1.5e-3)),
        FieldCheck(partial(sections.confocal_spheroids, focal=0.995e-3, inner=1e-3, outer=1.5e-3)),
        FieldCheck(partial(sections.confocal_ellipses, focal=0.9e-3, inner=1e-3, outer=1.5e-3)),
        FieldCheck(
            partial(sections.concentric_spheres, inner=1e-3, outer=2e-3),
            reason=_EVEN,
            edge_order=False,
            tolerance=1e-3,
            accuracy=1e-3,
        ),
        FieldCheck(
            partial(sections.concentric_spheres, inner=1e-3, outer=5e-3),
            reason=_EVEN,
            edge_order=False,
            tolerance=1e-3,
            accuracy=1e-3,
        ),
        FieldCheck(
            partial(sections.coaxial_cylinders, inner=1e-3, outer=2e-3),
            reason=_EVEN,
            edge_order=False,
            tolerance=1e-3,
            accuracy=1e-3,
        ),
        FieldCheck(partial(sections.annular_cylinder, inner=1e-3, outer=2e-3, length=1e-3)),
        FieldCheck(partial(sections.hemisphere_boss, radius=1e-4)),
        FieldCheck(partial(sections.half_cylinder_boss, radius=1e-4)),
        FieldCheck(partial(sections.blade_before_slit, half_width=1e-3)),
    ]
    return checks


def fitted_order(sizes: tuple[int, ...], values: tuple[float, ...], exact: float) -> float:
    """Slope of the error against the spacing over a mesh sequence, by least squares, [-].

    Parameters
    ----------
    sizes : tuple of int
        Subdivisions of the meshes.
    values : tuple of float
        Value on each.
    exact : float
        Exact value, in the same unit.
    """
    errors = np.abs(np.asarray(values) - exact)
    if np.any(errors == 0.0):
        return math.nan
    return float(-np.polyfit(np.log(np.asarray(sizes, dtype=float)), np.log(errors), 1)[0])


def _sequence_rows(
    base: Row, sizes: tuple[int, ...], values: tuple[float, ...], exact: float
) -> list[Row]:
    """Slope and last error of a mesh sequence, without extrapolation.

    No slope is fitted where the finest mesh is within 3e-6 of the exact value: its error then
    passes through zero and a power law means nothing.
    """
    name = base.quantity.split(" [")[0]
    last = replace(
        base,
        quantity=f"{name}: finest mesh, not extrapolated",
        computed=values[-1],
        tolerance=_RAW_ERROR,
        note="second-order error of the finest mesh, which extrapolation removes",
    )
    if last.error < _NO_ORDER_BELOW:
        return [last]
    order = replace(
        base,
        quantity=f"{name}: order of convergence [-]",
        exact=_ORDER,
        computed=fitted_order(sizes, values, exact),
        tolerance=_ORDER_SLACK,
        kind="at least",
        note=f"fitted over meshes {sizes}",
    )
    return [order, last]


def field_rows(check: FieldCheck, case: ExactCase, solution: FieldSolution) -> list[Row]:
    """Rows of one exact case from its finite-volume solution."""
    empty = Row(case.title, case.source, "", 0.0, 0.0, 0.0)
    rows: list[Row] = []
    shares: list[float] = []
    for edge_name, exact in case.edge_fields.items():
        edge = solution.edge(edge_name, case.voltages)
        base = replace(
            empty,
            quantity=f"field at {edge_name} [V/m]",
            exact=exact,
            computed=edge.value,
            tolerance=check.tolerance,
            note=check.reason,
        )
        rows.append(base)
        shares.append(base.error / edge.error)
        if check.edge_order:
            rows += _sequence_rows(base, edge.level_sizes, edge.level_values, exact)
    unit = "C" if case.section.symmetry == "axisymmetric" else "C/m"
    # Where an electrode meets prescribed data the last control volume belongs to both, so its
    # charge has no exact value to compare with.
    charges = {} if case.prescribed else case.charges
    for electrode, exact in charges.items():
        charge = solution.charge(electrode, case.voltages)
        base = replace(
            empty,
            quantity=f"charge of {electrode} [{unit}]",
            exact=exact,
            computed=charge.value,
            tolerance=_CHARGE_TOLERANCE,
            note="capacitance at 1 V",
        )
        shares.append(base.error / charge.error)
        if electrode == "emitter":  # the other charge is its opposite, bounded below
            rows.append(base)
            rows += _sequence_rows(base, charge.level_sizes, charge.level_values, exact)
    rows.append(
        replace(
            empty,
            quantity="true error over reported error [-]",
            exact=1.0,
            computed=max(shares),
            kind="at most",
            note=f"worst of {len(shares)}: the reported numerical error bounds the true one",
        )
    )
    return rows


def _compute(check: FieldCheck) -> list[Row]:
    from conegap.solver.field.solution import solve_field

    case = check.build()
    solution = solve_field(case.section, accuracy=check.accuracy, prescribed=case.prescribed_data)
    return field_rows(check, case, solution)


def field_cases() -> list[Case]:
    """One case per exact field."""
    return [Case(c.build().title, partial(_compute, c), c.slow) for c in field_checks()]
