"""The boundary elements that check the solver's free surfaces, checked by themselves."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import zeta

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.boundary_elements.balance import (
    Branch,
    ContactLine,
    Resolution,
    turning_point,
    turning_point_under_pressure,
)
from conegap.validation.boundary_elements.drop import Drop, Form
from conegap.validation.exact.drops import spheroid_by_energy, turning_of_spheroids

COARSE = Resolution(modes=10)


def ridge_field(drop: Drop, contact_angle: float) -> FloatArray:
    """Field on a ridge of circular section from the map onto a half-plane.

    w = n (1 + q) / (1 - q), q = ((z - 1) / (z + 1))^n, n = pi / (pi - contact angle), which is z
    far away.
    """
    n = math.pi / (math.pi - contact_angle)
    z = drop.points @ np.array([1.0, 1j])
    # Above the ridge the angle of (z - 1) / (z + 1) lies between 0 and pi - contact angle.
    q = ((z - 1.0) / (z + 1.0)) ** n
    return np.abs(n * 2.0 * q * n / (1.0 - q) ** 2 * 2.0 / (z**2 - 1.0))


@pytest.mark.parametrize(("form", "most"), [("round", 3.0), ("long", 2.0)])
def test_field_of_half_a_sphere_and_half_a_cylinder(form: Form, most: float) -> None:
    """EXACT: 3 E0 cos(theta) and 2 E0 cos(theta), and their dipole moments."""
    drop = Drop.cap(form, COARSE.slopes(), math.pi / 2.0, 1.0)
    assert_allclose(drop.field, most * np.cos(drop.slope), rtol=0, atol=1e-5 * most)
    assert_allclose(drop.moment, 2.0 * math.pi if form == "round" else math.pi, rtol=1e-8)


@pytest.mark.parametrize("degrees", [10.0, 60.0, 120.0])
def test_field_of_a_ridge_at_any_contact_angle(degrees: float) -> None:
    """EXACT: a circular arc on a plane by its conformal map, up to the contact line.

    There the field is a power of the distance that no polynomial follows, over the last
    thousandth of the arc.
    """
    angle = math.radians(degrees)
    drop = Drop.cap("long", COARSE.slopes(), angle, 1.0)
    exact = ridge_field(drop, angle)
    off = np.abs(drop.field - exact) / exact[0]
    assert off[drop.slopes.panels.nodes < 0.98].max() < 3e-5
    assert off.max() < 2e-3
    n = math.pi / (math.pi - angle)
    assert_allclose(drop.moment, math.pi * (n**2 - 1.0) / 3.0, rtol=1e-7)


@pytest.mark.parametrize("form", ["round", "long"])
def test_plate_above_acts_by_image_dipoles(form: Form) -> None:
    """EXACT: the moment grows by 1 / (1 - zeta(3) / 2 H^3) or 1 / (1 - zeta(2) / 2 H^2), far off.

    Near by, the plate holds its potential: the field between grows as the clearance shrinks.
    """
    slopes = COARSE.slopes()
    alone = Drop.cap(form, slopes, math.pi / 2.0, 1.0)
    far = Drop.cap(form, slopes, math.pi / 2.0, 1.0, 10.0)
    share = zeta(3) / 2e3 if form == "round" else zeta(2) / 2e2
    assert_allclose(far.moment / alone.moment, 1.0 / (1.0 - share), rtol=1e-7)
    near = Drop.cap(form, slopes, math.pi / 2.0, 1.0, 1.05)
    assert near.field[0] > 0.95 * 1.05 / 0.05


def test_small_deformation_of_a_free_drop() -> None:
    """TABLE (O'Konski and Thacher, 1953; Taylor, 1964; from memory): (a - b)/(a + b) = 9 W / 16."""
    slopes = COARSE.slopes()
    branch = Branch("round", "moving", math.pi / 2.0, "volume", 2.0 * math.pi / 3.0, slopes=slopes)
    ratios = []
    for height in (1.01, 1.005):
        found = branch.at(height)
        a, b = found.drop.height, found.drop.radius
        ratios.append((a - b) / (a + b) / found.electric_bond_number)
    assert_allclose(2.0 * ratios[1] - ratios[0], 9.0 / 16.0, rtol=1e-4)


def test_free_drop_turns_where_published() -> None:
    """TABLE (Miksis, 1981; Basaran and Scriven, 1989; from memory): sqrt(W) 0.452, aspect 1.84.

    A spheroid of stationary energy lies within the square of its error in shape.
    """
    found = turning_point(math.pi / 2.0, line="moving")
    assert_allclose(math.sqrt(found.electric_bond_number), 0.452, atol=5e-4, rtol=0)
    assert_allclose(found.drop.height / found.drop.radius, 1.84, atol=1e-2, rtol=0)
    energy, _ = turning_of_spheroids(spheroid_by_energy)
    assert_allclose(found.electric_bond_number, energy, rtol=2e-4)


@pytest.mark.parametrize("line", ["pinned", "moving"])
@pytest.mark.parametrize("form", ["round", "long"])
def test_virtual_work_along_a_branch(form: Form, line: ContactLine) -> None:
    """EXACT: at constant volume the energy falls by half the moment for every W."""
    angle = math.radians(70.0)
    branch = Branch(form, line, 1.0 if line == "pinned" else angle, "volume", 1.0,
                    slopes=COARSE.slopes())  # fmt: skip
    low, middle, high = (branch.at(0.7 + shift) for shift in (-0.002, 0.0, 0.002))
    change = high.electric_bond_number - low.electric_bond_number
    work = (high.energy(angle) - low.energy(angle)) / change
    assert abs(change) > 1e-3
    assert_allclose(work, -0.5 * middle.drop.moment, rtol=1e-4)


def test_pressure_is_the_energy_per_volume() -> None:
    """EXACT: at constant W the energy of a pinned drop grows by P for every volume."""
    slopes = COARSE.slopes()

    def at(volume: float, height: float) -> tuple[float, float, float]:
        found = Branch("round", "pinned", 1.0, "volume", volume, slopes=slopes).at(height)
        return found.electric_bond_number, found.energy(), found.pressure

    strength, energy, pressure = at(1.2, 0.75)
    # Secant method for the height of equal W.
    shift, height = 0.004, 0.75
    for _ in range(4):
        here, above = at(1.2 + shift, height)[0], at(1.2 + shift, height + 1e-4)[0]
        height += (strength - here) / (above - here) * 1e-4
    found = at(1.2 + shift, height)
    assert_allclose(found[0], strength, rtol=1e-9)
    assert_allclose((found[1] - energy) / shift, 0.5 * (pressure + found[2]), rtol=1e-4)


@pytest.mark.parametrize("line", ["pinned", "moving"])
def test_pull_and_pressure_balance_the_tension(line: ContactLine) -> None:
    """EXACT: along the axis, pull of the field and pressure make up for the tension."""
    found = turning_point(math.radians(60.0), line=line, resolution=COARSE)
    drop = found.drop
    stress = found.pressure + 0.5 * found.electric_bond_number * drop.field**2
    force = drop.surface_weights @ (stress * np.cos(drop.slope))
    tension = 2.0 * math.pi * drop.radius * math.sin(drop.contact_angle)
    assert_allclose(force, tension, rtol=1e-4)


@pytest.mark.parametrize("line", ["pinned", "moving"])
def test_turning_points_converge(line: ContactLine) -> None:
    """RATE: more modes change W by less and less, more panels by nothing."""
    angle = math.radians(60.0)
    values = [
        turning_point(angle, line=line, resolution=r).electric_bond_number
        for r in (Resolution(modes=7), Resolution(modes=10), Resolution(modes=14),
                  Resolution(14, 4, 5, 8))
    ]  # fmt: skip
    shifts = [abs(a / b - 1.0) for a, b in pairwise(values)]
    assert shifts[1] < 0.3 * shifts[0]
    assert max(shifts[1:]) < 1e-4, shifts


def test_turning_points_run_smoothly_with_the_contact_angle() -> None:
    """INVARIANT: no branch is left for another where the contact line retreats far."""
    degrees = np.array([100.0, 110.0, 120.0, 130.0, 140.0])
    values = [
        turning_point(math.radians(d), line="moving", resolution=COARSE).electric_bond_number
        for d in degrees
    ]
    others = np.delete(np.stack([degrees, np.log(values)]), 2, axis=1)
    through = np.polynomial.Polynomial.fit(others[0], others[1], 3)
    assert_allclose(np.exp(through(degrees[2])), values[2], rtol=2e-2)


def test_surface_without_pressure_starts_flat() -> None:
    """EXACT: a flat surface under a small field is a paraboloid of height W / 8."""
    branch = Branch("round", "pinned", 1.0, "pressure", 0.0, slopes=COARSE.slopes())
    ratios = [branch.at(h).electric_bond_number / h for h in (0.002, 0.001)]
    assert_allclose(2.0 * ratios[1] - ratios[0], 8.0, rtol=1e-4)
    assert turning_point_under_pressure(0.5, resolution=COARSE).pressure == 0.5


def test_a_shape_that_does_not_exist_is_refused() -> None:
    """INVARIANT: no height, no number."""
    branch = Branch("round", "pinned", 1.0, "pressure", 1.9, slopes=COARSE.slopes())
    with pytest.raises(ArithmeticError):
        branch.at(1e4)
