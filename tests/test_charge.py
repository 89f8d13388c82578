"""Poisson's equation on the control volumes, and flows of ions in the field of their own charge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge, epsilon_0

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.quantities.errors import ConvergenceError
from conegap.solver.beam.charge_deposit import time_mean_places
from conegap.solver.beam.charged_flow import charged_flow
from conegap.solver.beam.launch import IonStarts
from conegap.solver.beam.lockstep import followed
from conegap.solver.beam.trajectories import trace
from conegap.solver.field.charged import ChargedLevel
from conegap.solver.field.interpolation import FieldAtPoints, field_at_points
from conegap.solver.field.solution import solve_field
from conegap.solver.mesh.spacing import SpacingRule
from conegap.validation.exact import charge_flow as exact
from conegap.validation.sections.flows import Diode
from conegap.validation.sections.polygon import plates

MASS, VOLTS, GAP = 2.2e-25, 5e3, 1e-3


@pytest.mark.parametrize("shape", ["cylinder", "sphere"])
def test_flow_along_the_ion_is_langmuir_and_blodgetts_series(shape: exact.Shape) -> None:
    """EXACT: factors of an ion followed in time against the power series of Poisson's equation."""
    for ratio in (1.1, 2.0, 5.0):
        found = exact.langmuir_factor(shape, ratio)
        assert_allclose(found, exact.langmuir_series(shape, ratio), rtol=2e-10)


def test_series_of_cylinders_is_the_published_one() -> None:
    """TABLE (Langmuir and Blodgett, Phys. Rev. 22, 347 (1923), coefficients as quoted on
    pulsedpower.net, read; their signs, lost there, alternate): to the last digit printed.

    The next two, 0.00001293486 and 8.87693e-7, are off by 2e-6 of themselves, for a
    reason not known."""
    printed = [0.40, 0.09166667, 0.01424242, 0.001679275, 0.0001612219, 0.00001293486, 8.87693e-7]
    found = exact.langmuir_coefficients("cylinder", 8)[2:] * (-1.0) ** np.arange(1, 8)
    off = [1e-12, 5e-9, 5e-9, 5e-10, 5e-11, 2e-11, 2e-12]
    assert np.all(np.abs(found - printed) <= off), found


def test_flow_between_plates_has_a_closed_form() -> None:
    """EXACT: Child's limit, and the integral of Poisson's equation below it."""
    limit = exact.radial_current("plane", 2.0, 0.0)
    assert_allclose(limit, 4.0 * math.sqrt(2.0) / 9.0, rtol=1e-10)
    for share in (0.1, 0.6, 0.95):
        field = exact.radial_field("plane", 2.0, share * limit)
        assert_allclose(exact.plane_share(field), share, rtol=1e-8)


def test_spread_of_a_beam_is_what_its_equation_integrates_to() -> None:
    """EXACT: r'' = 1 / r from r = 1 at rest, stepped to the distance of the integral."""
    from scipy.integrate import solve_ivp

    far = exact.beam_spread(2.0) / math.sqrt(2.0)
    found = solve_ivp(
        lambda _, y: [y[1], 1.0 / y[0]], (0.0, far), [1.0, 0.0], rtol=1e-10, atol=1e-12
    )
    assert_allclose(found.y[0, -1], 2.0, rtol=1e-7)


@pytest.mark.parametrize("symmetry", ["planar", "axisymmetric"])
def test_even_charge_between_plates(symmetry: Symmetry) -> None:
    """EXACT: rho z (d - z) / (2 eps0) between grounded plates, and half the charge on each."""
    section = plates(width=0.6 * GAP, gap=GAP, symmetry=symmetry)
    solution = solve_field(section, accuracy=1.0, rule=SpacingRule(per_clearance=0.4))
    level = ChargedLevel.of(solution)
    mesh = solution.levels[-1].mesh
    density = 8.0 * epsilon_0 * VOLTS / GAP**2
    charge = density * _volumes(solution.levels[-1].mesh.points, mesh.triangles, symmetry)
    charge *= GAP**2 * (2.0 * math.pi * GAP if symmetry == "axisymmetric" else 1.0)
    charge *= (solution.scale / GAP) ** (3 if symmetry == "axisymmetric" else 2)
    potential = level.potential_of(charge)
    z = mesh.points[:, 1] * solution.scale / GAP
    assert_allclose(potential, 4.0 * VOLTS * z * (1.0 - z), atol=2e-3 * VOLTS)
    drawn = level.surface_charge({}, potential, charge)
    assert_allclose(drawn.sum(), -charge.sum(), rtol=1e-10)
    lower = drawn[z < 0.5].sum()
    assert_allclose(lower, -0.5 * charge.sum(), rtol=1e-3)


def _volumes(points: FloatArray, triangles: FloatArray, symmetry: Symmetry) -> FloatArray:
    """Area of every point's third of its triangles, times r about an axis, scaled."""
    corner = points[triangles]
    side = corner[:, 1:] - corner[:, :1]
    area = 0.5 * np.abs(side[:, 0, 0] * side[:, 1, 1] - side[:, 0, 1] * side[:, 1, 0])
    r = corner[..., 0]
    # Integral of a hat times r over a triangle.
    weight = (r.sum(axis=1, keepdims=True) + r) / 12.0 if symmetry == "axisymmetric" else 1.0 / 3.0
    return np.bincount(triangles.ravel(), (area[:, None] * weight * np.ones(3)).ravel())


def test_mean_place_of_a_fall() -> None:
    """EXACT: an ion from rest has a third of its way as its mean place over time."""
    solution = solve_field(plates(width=GAP, gap=GAP), accuracy=1.0)
    field = field_at_points(solution, {"emitter": VOLTS})
    paths = trace(field, np.array([[0.4 * GAP, 0.0]]), np.zeros((1, 2)), MASS)
    mean, spent = time_mean_places(paths)
    assert_allclose(spent @ mean[:, 1] / spent.sum(), GAP / 3.0, rtol=1e-9)
    time = 2.0 * GAP / math.sqrt(2.0 * elementary_charge * VOLTS / MASS)
    assert_allclose(spent.sum(), time, rtol=1e-9)


def test_no_steady_flow_above_the_limit() -> None:
    """INVARIANT: 0.9 of Child's limit flows, 1.2 of it is refused, not answered."""
    diode = Diode("plane", GAP, 2.0, VOLTS, MASS, tubes=20)
    limit = exact.radial_current("plane", 2.0, 0.0)
    assert diode.flow(0.9 * limit, 0).change <= 1e-5
    with pytest.raises(ConvergenceError):
        diode.flow(1.2 * limit, 0)


def test_trapped_ions_have_no_steady_charge() -> None:
    """INVARIANT: where an ion ends nowhere its charge has no end either, and no beam is given."""
    solution = solve_field(plates(width=GAP, gap=GAP), accuracy=1.0, meshes=2)
    start, shares = np.array([[0.4 * GAP, 0.1 * GAP]]), np.ones(1)

    def launch(_: FieldAtPoints) -> IonStarts:
        return IonStarts(start, np.array([[math.nan, 1.0]]), np.ones(1), shares, np.zeros(1))

    level = ChargedLevel.of(solution)
    with pytest.raises(ConvergenceError) as refused:
        followed(charged_flow(level, {"emitter": VOLTS}, MASS, launch, 1e-3))
    assert refused.value.residual == 1.0
    assert refused.value.tolerance == 0.0


def test_field_under_charge_converges() -> None:
    """RATE: half the spacing leaves less than half the error of the field at a sphere."""
    diode = Diode("sphere", GAP, 5.0, VOLTS, MASS, math.radians(10.0), tubes=40)
    current = 0.6 * exact.radial_current("sphere", 5.0, 0.0)
    wanted = exact.radial_field("sphere", 5.0, current)
    errors = [abs(diode.emitter_field(diode.flow(current, k)) / wanted - 1.0) for k in (0, 1)]
    assert errors[1] < 0.5 * errors[0] < 3e-3
