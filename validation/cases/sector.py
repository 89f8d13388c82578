"""The solve in three dimensions against spheres, lattices, one round tip and finite elements."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.cases.row import Case, Row, not_run
from conegap.validation.exact.cap_moments import cap_field
from conegap.validation.exact.sphere_lattice import (
    cubic_lattice,
    cubic_sum,
    layer_sum,
    square_layer,
)
from conegap.validation.sections import sector_shapes

if TYPE_CHECKING:
    from conegap.solver.field.extrapolation import Estimate
    from conegap.solver.field3d.sector_solution import SectorSolution

__all__ = ["sector_cases"]

# [V]
_UNIT = {"emitter": 1.0, "accelerator": 0.0}
_RAYLEIGH = (
    "derived, multipoles to degree 15 computed here; Rayleigh's method as extended by McPhedran "
    "and McKenzie, Proc. R. Soc. A 359, 45 (1978), abstract read"
)
_FINITE = "independent solution, quadratic finite elements on curved tetrahedra (scikit-fem)"
_BOUND = "the reported numerical error bounds the true one"


def _sphere_rows() -> list[Row]:
    from conegap.solver.field3d.sector_solution import solve_sector

    inner, outer = 1e-3, 2e-3
    solution = solve_sector(sector_shapes.spheres_octant(inner, outer), meshes=4, fineness=1.2)
    charge = solution.charge("emitter", _UNIT)
    scale = 1.0 / inner - 1.0 / outer
    exact = 4.0 * math.pi * epsilon_0 / scale / 8.0
    errors = np.abs(np.array(charge.level_values) / exact - 1.0)
    name, source = "an eighth of concentric spheres in three dimensions", "textbook"
    apart, scatter = [], []
    for k, level in enumerate(solution.levels):
        r = np.linalg.norm(level.mesh.points, axis=1) * level.mesh.scale
        law = (1.0 / r - 1.0 / outer) / scale
        apart.append(float(np.sqrt(np.mean((solution.potential(_UNIT, k) - law) ** 2))))
        _, field = solution.surface_field("emitter", _UNIT, k)
        scatter.append(float(np.sqrt(np.mean((field * inner**2 * scale - 1.0) ** 2))))
    return [
        Row(name, source, "charge of emitter at 1 V [C]", exact, charge.value, 3e-4,
            note="a third of the error that the solver states for tips"),
        Row(name, source, "charge: last order of convergence [-]", 2.0,
            math.log2(errors[-2] / errors[-1]), 0.2, "at least",
            note=f"it grows from {math.log2(errors[0] / errors[1]):.2f} as the mesh gets finer"),
        Row(name, source, "potential: last order of convergence [-]", 2.0,
            math.log2(apart[-2] / apart[-1]), 0.2, "at least", note="root mean square error"),
        Row(name, source, "field at the emitter's points: last order of convergence [-]", 1.0,
            math.log2(scatter[-2] / scatter[-1]), 0.2, "at least",
            note="root mean square; flux over surface at a point of an irregular mesh is of first "
            "order only, which is why no tip's field rests on it"),
        Row(name, source, "field at the emitter's points: root mean square error [-]", 0.02,
            scatter[-1], 0.0, "at most", note="finest mesh; single points up to some 10 %"),
        Row(name, source, "true error over reported error [-]", 1.0,
            abs(charge.value / exact - 1.0) / charge.error, 0.0, "at most", note=_BOUND),
    ]  # fmt: skip


def _cubic_sum_by_points(degree: int) -> float:
    """Sum of P_l(z / r) / r^(l+1) over a simple cubic lattice without its origin, [-]."""
    from scipy.special import eval_legendre, gammaincc

    reach = 20
    steps = np.arange(-reach, reach + 1.0)
    x, y, z = (part.ravel() for part in np.meshgrid(steps, steps, steps))
    r = np.sqrt(x**2 + y**2 + z**2)
    r[r == 0.0] = np.inf
    # The mean over the angle is zero, so that an end smooth over many spacings leaves nothing.
    fade = gammaincc(14.0, 40.0 * (r / reach) ** 2)
    return float(np.sum(eval_legendre(degree, z / r) / r ** (degree + 1) * fade))


def _square_sum_by_theta() -> float:
    """Sum of R^-3 over a square lattice: R^-3 is the integral of t^2 exp(-(R t)^2) 4 / sqrt(pi)."""
    from scipy.integrate import quad

    def rest(t: float) -> float:
        # sum of exp(-(n t)^2) less 1: by Poisson's sum where the terms fall slowly.
        n = np.arange(1.0, 9.0)
        if t > math.sqrt(math.pi):
            return 2.0 * float(np.sum(np.exp(-((n * t) ** 2))))
        wave = 2.0 * float(np.sum(np.exp(-((math.pi * n / t) ** 2))))
        return math.sqrt(math.pi) / t * (1.0 + wave) - 1.0

    def under(t: float) -> float:
        return t * t * ((1.0 + rest(t)) ** 2 - 1.0)

    parts = [quad(under, a, b, epsrel=1e-12)[0] for a, b in ((0.0, 1.7), (1.7, 3.0), (3.0, 9.0))]
    return float(4.0 / math.sqrt(math.pi) * sum(parts))


def _lattice_sum_rows() -> list[Row]:
    """The multipole method by itself, so that it may check the mesh."""
    name = "lattice sums of the multipole method"
    plain, theta = "derived, point by point", "derived, integral over theta functions"
    fine = cubic_lattice(0.475, 19).conductivity
    return [
        *(
            Row(name, plain, f"simple cubic, degree {degree} [-]", _cubic_sum_by_points(degree),
                cubic_sum(degree, 0) / math.factorial(degree), 1e-11,
                note="points to 20 spacings, with a smooth end")
            for degree in (4, 6)
        ),
        Row(name, theta, "square layer, sum of 1/R^3 [-]", _square_sum_by_theta(),
            -layer_sum(2, 0), 1e-12, note="the accuracy of the quadrature"),
        Row(name, _RAYLEIGH, "conductivity at radius 0.475, degree 15 for 19 [-]", fine,
            cubic_lattice(0.475, 15).conductivity, 1e-5, note="the multipoles have converged"),
    ]  # fmt: skip


def _cubic_rows(radius: float) -> list[Row]:
    from conegap.solver.field3d.sector_solution import solve_sector

    pitch = 1e-3
    share = 4.0 / 3.0 * math.pi * radius**3
    cell = sector_shapes.boss_cell(radius * pitch, pitch, pitch / 2.0)
    charge = solve_sector(cell, fineness=0.7).charge("emitter", _UNIT)
    exact = cubic_lattice(radius).conductivity
    value = charge.value / (epsilon_0 * pitch / 2.0)
    name = f"simple cubic lattice of conducting spheres, {100.0 * share:.3g} % of the volume"
    return [
        Row(name, _RAYLEIGH, "effective conductivity over that of the matrix [-]", exact, value,
            1e-3, note="from the charge on an eighth of the cell"),
        Row(name, _RAYLEIGH, "true error over reported error [-]", 1.0,
            abs(value / exact - 1.0) / charge.error, 0.0, "at most", note=_BOUND),
    ]  # fmt: skip


def _boss_top(solution: SectorSolution, radius: float) -> Estimate:
    """Field at the top of a quarter boss per volt."""
    from conegap.solver.field.extrapolation import estimate

    weights, values = solution.weights({"emitter": 0.0, "accelerator": -1.0}), []
    for level in solution.levels:
        points: FloatArray = level.mesh.points * level.mesh.scale
        own = np.abs(np.linalg.norm(points, axis=1) / radius - 1.0) < 1e-6
        flux = weights @ level.charges[:, own] * level.mesh.scale
        values.append(cap_field(points[own], flux, (0.0, 0.0, radius), radius, mirrors=2))
    return estimate(solution.level_sizes, tuple(values))


def _boss_rows(pitch: float, fineness: float) -> list[Row]:
    """Pitch in units of the bosses' height; wide cells need finer meshes on the boss."""
    from conegap.solver.field3d.sector_solution import solve_sector

    radius = 1e-3
    tall = 1.5 * pitch * radius
    solution = solve_sector(
        sector_shapes.boss_cell(radius, pitch * radius, tall), fineness=fineness
    )
    lattice = square_layer(1.0 / pitch)
    far = 1.0 / (tall - lattice.shift * pitch * radius)
    top = _boss_top(solution, radius)
    cell = (pitch * radius / 2.0) ** 2
    charge = solution.charge("emitter", _UNIT)
    lift = tall - epsilon_0 * cell / charge.value
    name = f"square lattice of hemispheres on a plane, pitch {pitch:g} heights"
    return [
        Row(name, _RAYLEIGH, "field at the top over the far field [-]", lattice.top_field,
            top.value / far, 5e-3, note="a lone hemisphere has exactly 3"),
        Row(name, _RAYLEIGH, "lift of the plane seen from afar over the height [-]",
            lattice.shift * pitch, lift / radius, 5e-3,
            note="the dipole moment of a boss, from the charge of the cell"),
    ]  # fmt: skip


def _cone_rows() -> list[Row]:
    from conegap.solver.field.solution import solve_field
    from conegap.solver.field3d.sector_solution import solve_sector
    from conegap.solver.field3d.tip_field import field_at_tip, tip_response

    name = "one conical tip in a quarter of a round room"
    source = "the axisymmetric solve of the same section, which exact needles check"
    cone = {
        "radius": 20e-6, "half_angle": math.radians(20.0), "height": 1e-3, "gap": 1e-3,
        "room": 3e-3,
    }  # fmt: skip
    exact = solve_field(sector_shapes.cone_in_section(**cone)).edge("tip", _UNIT).value
    rows, found = [], []
    for reach in (0.1e-3, 0.2e-3, 0.4e-3):
        sector = sector_shapes.cone_in_room(**cone, reach=reach)
        solution = solve_sector(sector, meshes=2)
        (tip,) = sector.tips
        best, _ = field_at_tip(tip, tip_response(tip), solution.levels, solution.weights(_UNIT))
        found.append(best.value)
        rows.append(
            Row(name, source, f"field at the tip, sphere of {1e3 * reach:g} mm [V/m]", exact,
                found[-1], 1e-3, note="the error that the solver states for tips")
        )  # fmt: skip
    spread = (max(found) - min(found)) / exact
    rows.append(
        Row(name, source, "spread over the radius of the sphere [-]", 3e-4, spread, 0.0,
            "at most", note="the sphere is no part of the design and must not matter")
    )  # fmt: skip
    return rows


def _crown_rows() -> list[Row]:
    from conegap.geometries.design.design import Design
    from conegap.solver.field3d.sector_factor import tip_fields
    from conegap.solver.field3d.sector_solution import solve_sector
    from conegap.validation.cases.peers import has_skfem

    name = "shipped design 'crown' with a tip radius of 40 um"
    quantity = "field at a tip per volt [1/m]"
    if not has_skfem():
        return [not_run(name, _FINITE, quantity, "not run: scikit-fem is not installed "
                        "(pip install 'conegap[test]')")]  # fmt: skip
    from conegap.validation.reference_fem.sector import crown_field

    design = Design.read("crown").with_value("emitter.tip_radius", 40e-6)
    sector = design.sector()
    assert sector is not None
    (ours,) = tip_fields(design, sector, solve_sector(sector, meshes=2))
    coarse, fine = (crown_field(design, size) for size in (0.25, 0.15))
    return [
        Row(name, _FINITE, quantity, fine, ours.per_volt.value, 5e-3,
            note="the tip is bridged by a sphere there, resolved in the one mesh here"),
        Row(name, _FINITE, "finite elements alone, from edges of 0.25 to 0.15 radii [1/m]", fine,
            coarse, 3e-3, note="a check must be better than what it checks"),
    ]  # fmt: skip


def sector_cases() -> list[Case]:
    """Cases of the solve in three dimensions."""
    return [
        Case("concentric spheres in three dimensions", _sphere_rows),
        Case("lattice sums", _lattice_sum_rows),
        Case("simple cubic lattice of spheres", partial(_cubic_rows, 0.42)),
        *(
            Case(f"hemispheres on a plane, pitch {p:g}", partial(_boss_rows, p, f), slow=True)
            for p, f in ((2.2, 0.5), (3.0, 0.5), (6.0, 0.4))
        ),
        Case("conical tip in three dimensions", _cone_rows, slow=True),
        Case("crown against finite elements", _crown_rows, slow=True),
    ]
