"""The emitting cone: its balance under its own charge, its slope, against independent solutions."""

from __future__ import annotations

import math

from conegap.validation.cases.row import Case, Row

__all__ = ["cone_cases"]

_RESPONSE = (
    "linear response of Taylor's cone to its first charge, integrated from the axis "
    "(validation/exact/charged_cone.py)"
)
_MOMENTUM = "balance of momentum: field stress on a sphere = pull of the surface + momentum of ions"


def _slope_rows() -> list[Row]:
    from conegap.solver.cone.charged_flow import charged_cone
    from conegap.solver.cone.current_law import NEAR_CONE_SLOPE
    from conegap.solver.cone.taylor import TAYLOR_AXIS, TAYLOR_HALF_ANGLE
    from conegap.validation.exact.charged_cone import first_charge_slope, taylor_axis_potential

    exact = first_charge_slope()
    cone = charged_cone(TAYLOR_HALF_ANGLE - math.radians(0.01))
    nearly = cone.reduced_current / (cone.voltage_ratio - 1.0)
    return [
        Row("Taylor's cone, voltage on its axis", "G. I. Taylor, Proc R Soc A 280, 383 (1964); "
            "Legendre functions by scipy", "V / sqrt(gamma r / eps0) [-]", taylor_axis_potential(),
            TAYLOR_AXIS, 1e-9),
        Row("cone under its own charge, slope of the current", _RESPONSE,
            "0.01 degrees below Taylor's angle [-]", exact, nearly, 4e-4,
            note="the slope rises by 3 % per degree"),
        Row("cone under its own charge, slope of the current", _RESPONSE,
            "constant in use [-]", exact, NEAR_CONE_SLOPE, 1e-6),
    ]  # fmt: skip


def _momentum_rows() -> list[Row]:
    from conegap.solver.cone.charged_flow import charged_cone, charged_flow
    from conegap.validation.exact.charged_cone import carried_pull

    rows = []
    for degrees in (48.0, 42.0, 35.0):
        cone = charged_cone(math.radians(degrees))
        flow = charged_flow(cone)
        pull = 2.0 * math.pi * math.sin(cone.half_angle) * math.cos(cone.half_angle)
        carried = carried_pull(flow, cone.half_angle)
        rows.append(
            Row(f"cone under its own charge, {degrees:g} deg", _MOMENTUM,
                "pull over gamma times slant length [-]", pull, carried, 2e-6)
        )  # fmt: skip
    return rows


def cone_cases() -> list[Case]:
    """Cases of the emitting cone."""
    return [
        Case("charged cone, slope", _slope_rows),
        Case("charged cone, momentum", _momentum_rows),
    ]
