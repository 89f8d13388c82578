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

__all__ = ["force_closure", "liquid_surface_cases", "volume_by_slices"]

_TAYLOR = "Taylor, Proc. R. Soc. A 280, 383 (1964)"
_DROP = (
    "Miksis, Phys. Fluids 24, 1967 (1981); Basaran and Scriven, Phys. Fluids A 1, 799 (1989); "
    "both from memory"
)
_ELEMENTS = "boundary elements for the same problem, unpublished"
_MACKY = "Macky, Proc. R. Soc. A 133, 565 (1931), from memory"
_RIDGE = "Rayleigh (1879), Basset, Am. J. Math. 16, 93 (1894), from memory; derived"
_BALANCE = "derived, balance of a free body"

# W = eps0 E0^2 a / gamma at the turning point, and shape there, by boundary elements.
_DROP_STRENGTH, _DROP_ASPECT = 0.204407, 1.8362
_PINNED_STRENGTH, _PINNED_HEIGHT, _PINNED_ANGLE = 0.30388, 1.374, 69.3
_UNDER_PRESSURE = ((0.0, 1.0474, 0.403), (0.5, 0.7124, 0.552), (1.0, 0.4466, 0.719),
                   (1.5, 0.2186, 0.887))  # fmt: skip
# Stress G and wave number of the fastest wave.
_RIDGE_WAVES = ((0.0, 0.69702), (1.0, 0.96084), (2.0, 1.43078), (4.0, 2.63839))

_BOX = "in a box of 40 radii, whose walls change W by some 4e-5"


def force_closure(equilibrium: Equilibrium) -> float:
    """Electric pull plus pressure on the contact disc, over the tension around it, less one, [-].

    Parameters
    ----------
    equilibrium : Equilibrium
        Axisymmetric, with its field.
    """
    from scipy.interpolate import make_interp_spline

    shape = equilibrium.shape
    nodes, weights = np.polynomial.legendre.leggauss(200)
    s = 0.5 * (1.0 + nodes)
    field = make_interp_spline(equilibrium.fraction, equilibrium.field, k=3)(s)
    # The axial part of a pressure on the surface is the pressure times 2 pi r dr.
    dr = 0.5 * weights * shape.length * np.cos(shape.slope(s))
    stress = 0.5 * equilibrium.electric_bond_number * field**2
    pull = 2.0 * math.pi * float(np.sum(stress * shape.points(s)[:, 0] * dr))
    tension = 2.0 * math.pi * math.sin(shape.contact_angle)
    return (pull + math.pi * equilibrium.pressure) / tension - 1.0


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
            0.5, "absolute", note="fitted to W on nested meshes against the reference"),
    ]  # fmt: skip


def _drop_rows() -> list[Row]:
    from conegap.validation.sections.menisci import electric_bond_number_of_field, free_drop

    branch = free_drop()
    name = "free drop in a uniform field"
    electric_bond_number = electric_bond_number_of_field(branch.electric_bond_number.value)
    root = math.sqrt(electric_bond_number)
    closure = force_closure(branch.turning)
    energy, _ = exact_drops.turning_of_spheroids(exact_drops.spheroid_by_energy)
    return [
        Row(name, _DROP, "sqrt(W) at the turning point [-]", 0.4521, root, 1e-3, note=_BOX),
        Row(name, _DROP, "aspect there [-]", 1.836, branch.turning.shape.height, 3e-3,
            note="the aspect runs fast where the field stands still: 1 % in aspect is 4e-5 in W"),
        Row(name, "derived, spheroids of least energy", "sqrt(W) at the turning point [-]",
            math.sqrt(energy), root, 1e-3,
            note="a stationary energy is off by the square of the error in shape"),
        *_accuracy_rows(name, _ELEMENTS, branch, _DROP_STRENGTH),
        Row(name, _BALANCE, "pull and pressure over tension, less 1 [-]", 0.0, closure, 3e-4,
            "absolute", note="the balance solved is normal to the surface, this one is axial"),
        Row(name, _MACKY, "sqrt(W) of falling water drops that burst [-]", 0.4273, root, 0.08,
            note="sanity band; drops that swing burst earlier"),
    ]  # fmt: skip


def _spheroid_rows() -> list[Row]:
    electric_bond_number, aspect = exact_drops.turning_of_spheroids(
        exact_drops.spheroid_pole_and_equator
    )
    name = "Taylor's spheroidal drop"
    excess = math.sqrt(electric_bond_number / _DROP_STRENGTH) - 1.0
    return [
        Row(name, f"{_TAYLOR}, from memory", "sqrt(W) in Gaussian units [-]", 1.625,
            math.sqrt(4.0 * math.pi * electric_bond_number), 5e-4, "absolute",
            note="half of the last printed digit"),
        Row(name, _TAYLOR, "aspect at the turning point [-]", 1.9, aspect, 0.05, "absolute",
            note="half of the last printed digit"),
        Row(name, _ELEMENTS, "sqrt(W) above that of the true shape [-]", 0.0142, excess, 1e-4,
            "absolute", note="an approximation: balanced at the poles and the equator only"),
    ]  # fmt: skip


def _pinned_rows() -> list[Row]:
    from conegap.validation.sections.menisci import electric_bond_number_of_field, pinned_hemisphere

    branch = pinned_hemisphere()
    name = "pinned hemisphere, volume held"
    turning = branch.turning.shape
    angle = math.degrees(turning.contact_angle)
    root = math.sqrt(electric_bond_number_of_field(branch.electric_bond_number.value))
    volume = 2.0 * math.pi / 3.0
    off = max(abs(volume_by_slices(e.shape) / volume - 1.0) for e in branch.equilibria)
    return [
        Row(name, _ELEMENTS, "sqrt(W) at the turning point [-]", math.sqrt(_PINNED_STRENGTH), root,
            1e-3, note=_BOX),
        Row(name, _ELEMENTS, "height there [a]", _PINNED_HEIGHT, turning.height, 3e-3,
            note="the height runs fast where the field stands still"),
        Row(name, _ELEMENTS, "contact angle there [deg]", _PINNED_ANGLE, angle, 0.1, "absolute",
            note="one in the last digit"),
        *_accuracy_rows(name, _ELEMENTS, branch, _PINNED_STRENGTH),
        Row(name, "derived, undeformed hemisphere of field 3 E0", "rigid over true sqrt(W) [-]",
            1.2093, 2.0 / 3.0 / root, 1e-3, note="how far a rigid surface overstates the onset"),
        Row(name, "derived", "greatest change of volume along the branch [-]", 0.0, off, 1e-9,
            "absolute", note="by slices, where the solver holds the volume by shells"),
        Row(name, "derived", "change of volume at the turning point [-]", 0.0,
            volume_by_slices(turning) / volume - 1.0, 1e-5, "absolute",
            note="the turning point is interpolated between balanced shapes"),
        Row(name, _BALANCE, "pull and pressure over tension, less 1 [-]", 0.0,
            force_closure(branch.turning), 3e-4, "absolute",
            note="the balance solved is normal to the surface, this one is axial"),
    ]  # fmt: skip


def _pressure_rows() -> list[Row]:
    from conegap.validation.sections.menisci import (
        electric_bond_number_of_field,
        pinned_under_pressure,
    )

    rows = []
    for pressure, electric_bond_number, height in _UNDER_PRESSURE:
        name = f"pinned meniscus, pressure {pressure:g} gamma/a held"
        branch = pinned_under_pressure(pressure)
        found = electric_bond_number_of_field(branch.electric_bond_number.value)
        shape = branch.turning.shape
        rows += [
            Row(name, _ELEMENTS, "W at the turning point [-]", electric_bond_number, found, 3e-4,
                note=f"half of the last digit is up to 2e-4; {_BOX}"),
            Row(name, _ELEMENTS, "height there [a]", height, shape.height, 5e-3,
                note="the height runs fast where the field stands still"),
            Row(name, _BALANCE, "pull and pressure over tension, less 1 [-]", 0.0,
                force_closure(branch.turning), 3e-4, "absolute",
                note="the balance solved is normal to the surface, this one is axial"),
        ]  # fmt: skip
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

    name = "waves along a charged cylinder"
    rows = [
        Row(name, _RIDGE, f"fastest k R at G = {stress:g} [-]", exact,
            fastest_ridge_wave(stress=stress), 5.1e-6, "absolute",
            note="half of the last digit; G = eps0 E^2 R / gamma")
        for stress, exact in _RIDGE_WAVES
    ]  # fmt: skip
    rows.append(
        Row(name, "Tonks, Phys. Rev. 48, 562 (1935)", "fastest k R over 2 G / 3 at G = 1000 [-]",
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
        Case("pinned hemisphere", _pinned_rows, slow=True),
        Case("pinned menisci under pressure", _pressure_rows, slow=True),
        Case("waves along a charged cylinder", _ridge_rows),
    ]
