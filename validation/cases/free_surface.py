"""The free liquid surface: turning points of drops and menisci, caps, balances, ridge waves."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.cases.field import fitted_order
from conegap.validation.cases.row import Case, Row
from conegap.validation.exact import drops as exact_drops

if TYPE_CHECKING:
    from conegap.geometries.curves.section import Symmetry
    from conegap.solver.liquid.branch import MeniscusBranch
    from conegap.solver.liquid.meniscus import Equilibrium
    from conegap.solver.liquid.shape import MeniscusShape
    from conegap.validation.boundary_elements.balance import BalancedDrop

__all__ = ["force_closure", "liquid_surface_cases", "volume_by_slices"]

_TAYLOR = "Taylor, Proc. R. Soc. A 280, 383 (1964)"
_ELEMENTS = "derived, boundary elements, run here (validation/boundary_elements)"
_RIDGE = "derived, radial equations integrated here (validation/exact/ridge.py)"
_BALANCE = "derived, balance of a free body"

_PRESSURES = (0.0, 0.5, 1.0, 1.5)  # gamma / a; from flat to three quarters of a hemisphere's
_ANGLES = (20.0, 30.0, 45.0, 60.0, 75.0)  # the free drop is the one of 90 deg
_STRESSES = (0.0, 1.0, 2.0, 4.0)  # G: from Rayleigh's jet to twice a ridge in balance

_BOX = "in a box of 40 radii, whose walls change W by some 4e-5"


def force_closure(equilibrium: Equilibrium) -> float:
    """Electric pull plus pressure on the base, over the tension around it, less one, [-].

    Parameters
    ----------
    equilibrium : Equilibrium
        With its field; of a plane section the forces are those on half of it.
    """
    from scipy.interpolate import make_interp_spline

    shape = equilibrium.shape
    nodes, weights = np.polynomial.legendre.leggauss(200)
    s = 0.5 * (1.0 + nodes)
    field = make_interp_spline(equilibrium.fraction, equilibrium.field, k=3)(s)
    # The axial part of a pressure on the surface is the pressure times 2 pi r dr around an axis, or
    # dx of a plane section; 2 pi is left out.
    dr = 0.5 * weights * shape.length * np.cos(shape.slope(s))
    stress = 0.5 * equilibrium.electric_bond_number * field**2
    around = shape.symmetry == "axisymmetric"
    pull = float(np.sum(stress * (shape.points(s)[:, 0] if around else 1.0) * dr))
    base = 0.5 if around else 1.0
    return (pull + base * equilibrium.pressure) / math.sin(shape.contact_angle) - 1.0


def volume_by_slices(shape: MeniscusShape) -> float:
    """Volume as the integral of pi r^2 dz, in contact radii cubed, [-].

    Parameters
    ----------
    shape : MeniscusShape
        Axisymmetric.
    """
    nodes, weights = np.polynomial.legendre.leggauss(200)
    s = 0.5 * (1.0 + nodes)
    drop = 0.5 * weights * shape.length * np.sin(shape.slope(s))
    return math.pi * float(np.sum(shape.points(s)[:, 0] ** 2 * drop))


def _accuracy_rows(
    name: str, source: str, branch: MeniscusBranch, electric_bond_number: float
) -> list[Row]:
    """The reported error covers the difference to a reference, and its order is the scheme's."""
    from conegap.validation.sections.menisci import electric_bond_number_of_field

    found = branch.electric_bond_number
    off = abs(electric_bond_number_of_field(found.value) / electric_bond_number - 1.0)
    values = tuple(electric_bond_number_of_field(value) for value in found.level_values)
    order = fitted_order(found.level_sizes, values, electric_bond_number)
    return [
        Row(name, source, "difference over reported error [-]", 1.0, off / found.error, 0.0,
            "at most", note=f"the reported error must cover the difference; {_BOX}"),
        Row(name, "derived, second order of the scheme", "order of convergence [-]", 2.0, order,
            0.2, "absolute", note="fitted to W on nested meshes; every difference to the "
            "reference holds the 4e-5 of the box"),
    ]  # fmt: skip


def _turning_rows(
    name: str, branch: MeniscusBranch, exact: BalancedDrop, *, pinned: bool = True
) -> list[Row]:
    """Field, height and contact angle at the turning point, and the balance of the whole.

    The angle says something where the line is pinned; a line that moves is given its angle.
    """
    from conegap.validation.sections.menisci import electric_bond_number_of_field

    shape, drop = branch.turning.shape, exact.drop
    found = electric_bond_number_of_field(branch.electric_bond_number.value)
    angle = math.degrees(drop.contact_angle)
    rows = [
        Row(name, _ELEMENTS, "W at the turning point [-]", exact.electric_bond_number, found, 3e-4,
            note=_BOX),
        Row(name, _ELEMENTS, "height over contact radius there [-]", drop.height / drop.radius,
            shape.height, 3e-3,
            note="the height runs fast where the field stands still: 1 % in height is 4e-5 in W"),
    ]  # fmt: skip
    if pinned:
        rows.append(
            Row(name, _ELEMENTS, "contact angle there [deg]", angle,
                math.degrees(shape.contact_angle), 0.05, "absolute",
                note="it runs with the height")
        )  # fmt: skip
    return [
        *rows,
        Row(name, _BALANCE, "pull and pressure over tension, less 1 [-]", 0.0,
            force_closure(branch.turning), 3e-4, "absolute",
            note="the balance solved is normal to the surface, this one is axial"),
    ]  # fmt: skip


def _drop_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import turning_point
    from conegap.validation.sections.menisci import electric_bond_number_of_field, free_drop

    branch = free_drop()
    exact = turning_point(math.pi / 2.0, line="moving")
    name = "free drop in a uniform field"
    found = electric_bond_number_of_field(branch.electric_bond_number.value)
    energy, _ = exact_drops.turning_of_spheroids(exact_drops.spheroid_by_energy)
    return [
        Row(name, "derived, spheroids of least energy", "W at the turning point [-]",
            energy, found, 3e-4,
            note="a stationary energy is off by the square of the error in shape"),
        *_turning_rows(name, branch, exact, pinned=False),
        *_accuracy_rows(name, _ELEMENTS, branch, exact.electric_bond_number),
    ]  # fmt: skip


def _fixed_angle_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import turning_point
    from conegap.validation.sections.menisci import electric_bond_number_of_field, free_drop

    rows = []
    for degrees in _ANGLES:
        angle = math.radians(degrees)
        # Two meshes: W is within 1.5e-4 of the boundary elements already.
        branch, exact = free_drop((2, 4), angle), turning_point(angle, line="moving")
        found = electric_bond_number_of_field(branch.electric_bond_number.value)
        name = f"drop on a plate, line moving at {degrees:g} deg"
        rows += [
            Row(name, _ELEMENTS, "W at the turning point [-]", exact.electric_bond_number, found,
                3e-4, note=_BOX),
            Row(name, _ELEMENTS, "height over contact radius there [-]",
                exact.drop.height / exact.drop.radius, branch.turning.shape.height, 3e-3,
                note="the height runs fast where the field stands still"),
        ]  # fmt: skip
    return rows


def _spheroid_rows() -> list[Row]:
    _, aspect = exact_drops.turning_of_spheroids(exact_drops.spheroid_pole_and_equator)
    return [
        Row("Taylor's spheroidal drop", f"{_TAYLOR}, abstract read",
            "aspect at the turning point [-]", 1.9, aspect, 0.05, "absolute",
            note="half of the last printed digit"),
    ]  # fmt: skip


def _pinned_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import turning_point
    from conegap.validation.sections.menisci import pinned_hemisphere

    branch = pinned_hemisphere()
    exact = turning_point(math.pi / 2.0)
    name = "pinned hemisphere, volume held"
    volume = 2.0 * math.pi / 3.0
    off = max(abs(volume_by_slices(e.shape) / volume - 1.0) for e in branch.equilibria)
    return [
        *_turning_rows(name, branch, exact),
        *_accuracy_rows(name, _ELEMENTS, branch, exact.electric_bond_number),
        Row(name, "derived", "greatest change of volume along the branch [-]", 0.0, off, 1e-9,
            "absolute", note="by slices, where the solver holds the volume by shells"),
        Row(name, "derived", "change of volume at the turning point [-]", 0.0,
            volume_by_slices(branch.turning.shape) / volume - 1.0, 1e-5, "absolute",
            note="the turning point is interpolated between balanced shapes"),
    ]  # fmt: skip


def _pressure_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import turning_point_under_pressure
    from conegap.validation.sections.menisci import pinned_under_pressure

    rows = []
    for pressure in _PRESSURES:
        name = f"pinned meniscus, pressure {pressure:g} gamma/a held"
        exact = turning_point_under_pressure(pressure)
        rows += _turning_rows(name, pinned_under_pressure(pressure), exact)
    return rows


def _cap_rows() -> list[Row]:
    from conegap.solver.liquid.branch import problem_at
    from conegap.solver.liquid.continuation import correct
    from conegap.solver.liquid.shape import cap
    from conegap.validation.sections.menisci import MODES, on_plane

    rows = []
    forms: tuple[tuple[str, Symmetry, float, float], ...] = (
        ("spherical cap without field", "axisymmetric", 1.2, 2.0),
        ("cylindrical cap without field", "planar", 0.7, 1.0),
    )
    for name, symmetry, pressure, most in forms:
        angle = math.asin(pressure / most)
        start = cap(0.8 * angle, MODES, symmetry)
        problem = problem_at(on_plane(), start, 2, "pressure", pressure)
        x = problem.unknowns(start, pressure, 0.0)
        found = problem.shape(correct(problem.residual_and_jacobian, x, _along_last(x)).x)
        rows += [
            Row(name, "Young and Laplace, textbook", "contact angle under pressure [rad]", angle,
                found.contact_angle, 1e-9, note="from a cap a fifth too flat"),
            Row(name, "Young and Laplace, textbook", "height under pressure [a]",
                math.tan(angle / 2.0), found.height, 1e-9),
        ]  # fmt: skip
        if symmetry == "axisymmetric":
            start = cap(0.9, MODES, symmetry)
            problem = problem_at(on_plane(), start, 2, "volume", 1.0)
            x = problem.unknowns(start, pressure, 0.0)
            top = correct(problem.residual_and_jacobian, x, _along_last(x)).x
            shape, gauge, _ = problem.parts(top)
            height = exact_drops.cap_height(1.0)
            rows += [
                Row(name, "Young and Laplace, textbook", "height of volume a^3 [a]", height,
                    shape.height, 1e-9),
                Row(name, "Young and Laplace, textbook", "its pressure [gamma/a]",
                    4.0 * height / (1.0 + height**2), gauge, 1e-9),
            ]  # fmt: skip
    return rows


def _along_last(x: FloatArray) -> FloatArray:
    """Direction of the electric Bond number alone, which keeps it as it is."""
    direction = np.zeros(len(x))
    direction[-1] = 1.0
    return direction


def _ridge_rows() -> list[Row]:
    from conegap.solver.liquid.ridge_waves import fastest_ridge_wave
    from conegap.validation.exact.ridge import fastest_wave

    name = "waves along a charged cylinder"
    rows = [
        Row(name, _RIDGE, f"fastest k R at G = {stress:g} [-]", fastest_wave(stress=stress),
            fastest_ridge_wave(stress=stress), 1e-6,
            note="G = eps0 E^2 R / gamma")
        for stress in _STRESSES
    ]  # fmt: skip
    rows.append(
        Row(name, "derived, flat surface of many waves", "fastest k R over 2 G / 3 at G = 1000 [-]",
            1.0, fastest_ridge_wave(stress=1000.0) / (2000.0 / 3.0), 5e-4,
            note="a wave much shorter than R runs on a flat surface")
    )  # fmt: skip
    return rows


def liquid_surface_cases() -> list[Case]:
    """Cases of the free liquid surface."""
    return [
        Case("caps without field", _cap_rows),
        Case("Taylor's spheroidal drop", _spheroid_rows),
        Case("free drop in a uniform field", _drop_rows),
        Case("drop on a plate at a fixed contact angle", _fixed_angle_rows),
        Case("pinned hemisphere", _pinned_rows, slow=True),
        Case("pinned menisci under pressure", _pressure_rows, slow=True),
        Case("waves along a charged cylinder", _ridge_rows),
    ]
