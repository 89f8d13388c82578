"""Taylor's cone on a mesh, and the balance and wave formulas of the solver."""

from __future__ import annotations

import math

import numpy as np
from scipy.constants import epsilon_0
from scipy.optimize import minimize_scalar

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.cases.row import Case, Row
from conegap.validation.exact import fields as exact
from conegap.validation.exact import liquid as exact_liquid
from conegap.validation.exact.drops import neutral_charge_of_spheroids
from conegap.validation.sections.catalogue import (
    ExactCase,
    ball_on_cone,
    cone_with_arcs,
    hyperboloid_needle,
    wedge_with_arcs,
)

__all__ = ["liquid_cases"]

_TAYLOR = "Taylor, Proc. R. Soc. A 280, 383 (1964), abstract read"
_TONKS = "derived, greatest growth of the waves of a charged flat surface"
_RAYLEIGH = (
    "derived, energy of a charged spheroid; Rayleigh's of 1882 is quoted so in an answer on "
    "physics.stackexchange.com, question 416416, read"
)
_GALLIUM = 0.718  # N/m, near its melting point; any value would do, it cancels from the error
_GALLIUM_DENSITY = 6077.0  # kg/m3


def _angle_rows() -> list[Row]:
    name = "Taylor cone, half angle"
    degrees = math.degrees(exact_liquid.taylor_half_angle())
    elliptic = math.degrees(exact_liquid.taylor_half_angle_elliptic())
    return [
        Row(name, _TAYLOR, "printed value [deg]", 49.3, degrees, 0.05, "absolute",
            note="half of the last printed digit"),
        Row(name, "derived, elliptic integrals", "zero of 2 E(m) - K(m) [deg]", elliptic, degrees,
            1e-9, "absolute", note="Legendre root against elliptic root"),
    ]  # fmt: skip


def _field_along(case: ExactCase, inner: float, outer: float) -> tuple[FloatArray, FloatArray]:
    """Distance from the apex [m] and field [V/m] along a face, ends left out."""
    from conegap.solver.field.solution import solve_field
    from conegap.solver.mesh.spacing import SpacingRule

    # Finer than the default: without an edge patch every point of the face counts.
    rule = SpacingRule(per_radius=0.5, per_axis_distance=0.9, per_clearance=0.6)
    solution = solve_field(case.section, prescribed=case.prescribed_data, rule=rule)
    surface = solution.surface("emitter", case.voltages)
    distance = np.hypot(surface.points[:, 0], surface.points[:, 1])
    middle = (distance > 2.5 * inner) & (distance < outer / 2.5)
    return distance[middle], surface.field[middle]


def _cone_field(half_angle: float) -> tuple[FloatArray, FloatArray]:
    """Slant distance [m] and field [V/m] along a cone in Taylor's potential."""
    inner, outer = 1e-5, 1e-3
    case = cone_with_arcs(half_angle=half_angle, inner=inner, outer=outer)
    return _field_along(case, inner, outer)


def _wedge_rows() -> list[Row]:
    rows = []
    for degrees in (30.0, 90.0):
        angle = math.radians(degrees)
        case = wedge_with_arcs(metal_angle=angle, inner=1e-5, outer=1e-3)
        distance, field = _field_along(case, 1e-5, 1e-3)
        slope = np.polyfit(np.log(distance), np.log(field), 1)[0]
        rows.append(
            Row(case.name, case.source, "exponent of field against distance [-]",
                exact.wedge_exponent(metal_angle=angle), float(slope), 2e-3, "absolute",
                note="the faces have no edge patch, so single points scatter by some 1e-3")
        )  # fmt: skip
    return rows


def _stress_ratio(
    distance: FloatArray, field: FloatArray, half_angle: float, scale: float
) -> FloatArray:
    """Field stress over surface tension along a cone for potentials times ``scale``, (n,), [-]."""
    stress = 0.5 * epsilon_0 * (scale * field) ** 2
    return np.asarray(stress * distance * math.tan(half_angle) / _GALLIUM)


def _pull_row(distance: FloatArray, field: FloatArray, half_angle: float) -> Row:
    """Axial pull on a stretch of cone in balance against the tension around its two rims."""
    from conegap.solver.liquid.attached_cone import axial_pull

    sine, cosine = math.sin(half_angle), math.cos(half_angle)
    points = np.stack([distance * sine, -distance * cosine], axis=1)
    tension = 2.0 * math.pi * _GALLIUM * cosine * sine * float(distance[-1] - distance[0])
    return Row("pull on a Taylor cone", "derived, balance of the cone between its rims",
               "axial force between two rims [N]", tension, axial_pull(points, field), 3e-3,
               note="2 pi R gamma cos(alpha), the law behind the extinction voltage")  # fmt: skip


def _cone_rows() -> list[Row]:
    angle = exact_liquid.taylor_half_angle()
    scale = exact_liquid.taylor_amplitude() * math.sqrt(_GALLIUM / epsilon_0)
    rows = []
    distance, field = _cone_field(angle)
    slope = np.polyfit(np.log(distance), np.log(field), 1)[0]
    law = exact_liquid.cone_polar_slope(half_angle=angle) / np.sqrt(distance)
    ratio = _stress_ratio(distance, field, angle, scale)
    name = "Taylor cone on a mesh"
    scatter = "the cone has no edge patch, so single points scatter by some 1e-3"
    rows += [
        Row(name, _TAYLOR, "exponent of field against distance [-]", -0.5, float(slope), 2e-3,
            "absolute", note=scatter),
        Row(name, _TAYLOR, "mean of field over law [-]", 1.0, float(np.mean(field / law)), 2e-3,
            note=scatter),
        Row(name, _TAYLOR, "least stress over tension [-]", 1.0, float(ratio.min()), 4e-3,
            note="balanced with no pressure; twice the scatter of the field"),
        Row(name, _TAYLOR, "greatest stress over tension [-]", 1.0, float(ratio.max()), 4e-3,
            note="balanced with no pressure; twice the scatter of the field"),
    ]  # fmt: skip
    rows.append(_pull_row(distance, scale * field, angle))
    wrong = math.radians(45.0)
    distance, field = _cone_field(wrong)
    ratio = _stress_ratio(distance, field, wrong, scale)
    rows.append(
        Row("cone of 45 deg on a mesh", _TAYLOR, "spread of stress over tension [-]", 0.16,
            float(np.ptp(ratio) / np.mean(ratio)), 0.0, "at least",
            note="twenty times what the two rows at Taylor's angle allow together: no other "
            "angle balances")
    )  # fmt: skip
    return rows


def _exponent_on_mesh(half_angle: float) -> float:
    """Exponent of the potential near a cone, from the field along it midway in scale, [-]."""
    from conegap.solver.field.solution import solve_field

    ball, ratio = 1e-7, 1e6
    section, data = ball_on_cone(half_angle=half_angle, ball=ball, outer=ratio * ball)
    solution = solve_field(section, prescribed=data)
    surface = solution.surface("emitter", {"outer": 1.0})
    distance = np.hypot(surface.points[:, 0], surface.points[:, 1] + ball)
    middle = ball * math.sqrt(ratio)
    some = (distance > middle / 6.0) & (distance < 3.0 * middle)
    slope = np.polyfit(np.log(distance[some]), np.log(surface.field[some]), 1)[0]
    return float(slope) + 1.0


def _angle_from_mesh_rows() -> list[Row]:
    degrees = np.arange(46.0, 53.0)
    exponents = np.array([_exponent_on_mesh(math.radians(d)) for d in degrees])
    line = np.polynomial.Polynomial.fit(exponents - 0.5, degrees, 2)
    return [
        Row("Taylor cone, half angle", _TAYLOR, "angle whose exponent is 1/2 on a mesh [deg]",
            math.degrees(exact_liquid.taylor_half_angle()), float(line(0.0)), 0.15, "absolute",
            note="seven cones, exponent known to some 5e-4 each, 0.0088 per degree; no part of "
            "Taylor's solution enters"),
    ]  # fmt: skip


def _rayleigh_rows() -> list[Row]:
    from conegap.solver.onset.surface_balance import balance_field

    radius = 1e-5
    unit = 8.0 * math.pi * math.sqrt(epsilon_0 * _GALLIUM * radius**3)
    field = balance_field(surface_tension=_GALLIUM, curvature=2.0 / radius)
    return [
        Row("Rayleigh limit", _RAYLEIGH, "charge of a sphere in balance, gallium, 10 um [C]",
            neutral_charge_of_spheroids() * unit, 4.0 * math.pi * epsilon_0 * radius**2 * field,
            1e-4, note="the charge at which a sphere may be drawn out at no cost of energy is that "
            "whose pull balances the tension everywhere"),
    ]  # fmt: skip


def _onset_rows() -> list[Row]:
    from conegap.solver.field.solution import solve_field
    from conegap.solver.onset.surface_balance import balance_field

    radius, gap = 5e-6, 1e-3
    case = hyperboloid_needle(radius=radius, gap=gap, prescribed=False)
    solution = solve_field(case.section)
    edge = solution.edge("tip", case.voltages)
    field = balance_field(surface_tension=_GALLIUM, curvature=edge.curvature)
    per_volt = exact.hyperboloid_field(voltage=1.0, radius=radius, gap=gap)
    limit = exact_liquid.rayleigh_field(surface_tension=_GALLIUM, radius=radius)
    return [
        Row("rigid onset of a hyperboloid", "derived, exact field and balance 2 gamma/R",
            "onset voltage, gallium, R 5 um, d 1 mm [V]", limit / per_volt, field / edge.value,
            1e-3, note="1e-3: the solver at its default accuracy"),
    ]  # fmt: skip


def _wave_rows() -> list[Row]:
    from conegap.solver.onset.surface_balance import surface_wave_spacing

    field = 1e8

    def growth(log_k: float) -> float:
        return -exact_liquid.growth_rate_squared(
            surface_tension=_GALLIUM,
            density=_GALLIUM_DENSITY,
            field=field,
            wave_number=math.exp(log_k),
            gravity=0.0,
        )

    fastest = minimize_scalar(growth, bounds=(0.0, 20.0), method="bounded",
                              options={"xatol": 1e-10}).x  # fmt: skip
    return [
        Row("surface wave, no gravity", _TONKS, "fastest growing length, gallium, 1e8 V/m [m]",
            2.0 * math.pi / math.exp(float(fastest)),
            surface_wave_spacing(surface_tension=_GALLIUM, field=field), 1e-6,
            note="maximum of the dispersion relation found by search"),
    ]  # fmt: skip


def liquid_cases() -> list[Case]:
    """Cases of liquid surfaces."""
    return [
        Case("Taylor cone, half angle", _angle_rows),
        Case("Taylor cone on a mesh", _cone_rows),
        Case("Taylor cone, half angle on a mesh", _angle_from_mesh_rows, slow=True),
        Case("metal wedge", _wedge_rows),
        Case("Rayleigh limit", _rayleigh_rows),
        Case("rigid onset of a hyperboloid", _onset_rows),
        Case("surface waves", _wave_rows),
    ]
