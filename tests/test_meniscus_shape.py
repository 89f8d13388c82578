"""Shapes of a liquid surface by their slope: closed forms of circular caps, and identities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from conegap.geometries.curves.section import Symmetry
from conegap.solver.liquid.shape import MeniscusShape, cap

ANGLES = (0.3, 1.0, math.pi / 2.0, 2.0)
S = np.linspace(0.0, 1.0, 23)


def bumpy(symmetry: Symmetry = "axisymmetric") -> MeniscusShape:
    """No circle: steeper in its middle than at its ends."""
    return MeniscusShape(np.array([1.1, -0.15, 0.05, 0.02]), symmetry)


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("symmetry", ["axisymmetric", "planar"])
def test_cap_is_a_circle(angle: float, symmetry: Symmetry) -> None:
    """EXACT: points, length, height and volume of the circular cap, also beyond a half circle."""
    shape = cap(angle, 5, symmetry)
    radius = 1.0 / math.sin(angle)
    height = math.tan(angle / 2.0)
    assert_allclose(shape.length, radius * angle, rtol=1e-13, atol=0)
    assert_allclose(shape.height, height, rtol=1e-13, atol=0)
    assert_allclose(shape.contact_angle, angle, rtol=1e-14, atol=0)
    place = shape.points(S)
    assert_allclose(place[:, 0], radius * np.sin(angle * S), rtol=0, atol=1e-13)
    assert_allclose(place[:, 1], radius * (np.cos(angle * S) - math.cos(angle)), rtol=0, atol=1e-13)
    if symmetry == "axisymmetric":
        volume = math.pi * height * (3.0 + height**2) / 6.0
    else:
        volume = 0.5 * radius**2 * (angle - math.sin(angle) * math.cos(angle))
    assert_allclose(shape.volume, volume, rtol=1e-12, atol=0)


@pytest.mark.parametrize(("symmetry", "count"), [("axisymmetric", 2.0), ("planar", 1.0)])
def test_cap_has_constant_curvature(symmetry: Symmetry, count: float) -> None:
    """EXACT: the sum of the principal curvatures is 2 sin(angle), or sin(angle) for a cylinder."""
    for angle in ANGLES:
        bend = cap(angle, 5, symmetry).curvature(S)
        assert_allclose(bend, count * math.sin(angle), rtol=1e-12, atol=0)


@pytest.mark.parametrize("symmetry", ["axisymmetric", "planar"])
def test_curvature_is_the_divergence_of_the_normal(symmetry: Symmetry) -> None:
    """INVARIANT: curvature from second differences of the points agrees with the formula."""
    shape, h = bumpy(symmetry), 1e-4
    s = np.linspace(0.05, 0.95, 19)
    one, middle, two = shape.points(s - h), shape.points(s), shape.points(s + h)
    first, second = (two - one) / (2.0 * h), (one - 2.0 * middle + two) / h**2
    speed = np.hypot(*first.T)
    bend = -(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / speed**3
    if symmetry == "axisymmetric":
        bend -= first[:, 1] / speed / middle[:, 0]
    assert_allclose(shape.curvature(s), bend, rtol=1e-5, atol=0)


def test_curvature_is_smooth_at_the_pole() -> None:
    """EXACT: at the pole both principal curvatures are equal, and the limit is approached."""
    shape = bumpy()
    pole = float(shape.curvature(np.zeros(1))[0])
    assert_allclose(pole, 2.0 * shape.slope_derivative(np.zeros(1))[0] / shape.length, rtol=1e-14)
    near = shape.curvature(np.array([1e-4, 1e-3, 1e-2]))
    assert_allclose(near, pole, rtol=2e-4, atol=0)
    assert_allclose(near[0], pole, rtol=1e-6, atol=0)


def test_tangents_and_normals_are_those_of_the_points() -> None:
    """INVARIANT: tangents follow the points, normals are perpendicular and leave the liquid."""
    shape, h = bumpy(), 1e-6
    s = np.linspace(0.01, 0.99, 21)
    along = (shape.points(s + h) - shape.points(s - h)) / (2.0 * h * shape.length)
    assert_allclose(shape.tangents(s), along, rtol=0, atol=1e-8)
    normals = shape.normals(s)
    assert_allclose((normals * shape.tangents(s)).sum(axis=1), 0.0, rtol=0, atol=1e-15)
    assert_allclose(np.hypot(*normals.T), 1.0, rtol=1e-14, atol=0)
    assert_allclose(shape.normals(np.zeros(1))[0], [0.0, 1.0], rtol=0, atol=1e-15)


def test_slope_derivative_is_that_of_the_slope() -> None:
    """INVARIANT: d psi / d s against central differences."""
    shape, h = bumpy(), 1e-6
    s = np.linspace(0.01, 0.99, 21)
    numeric = (shape.slope(s + h) - shape.slope(s - h)) / (2.0 * h)
    assert_allclose(shape.slope_derivative(s), numeric, rtol=1e-8, atol=0)
    assert_allclose(shape.slope(-s), -shape.slope(s), rtol=1e-14, atol=0)


def test_volume_by_slices() -> None:
    """INVARIANT: the volume by shells is the integral of pi r^2 dz, the area that of x dz."""
    for symmetry, factor, power in (("axisymmetric", math.pi, 2), ("planar", 1.0, 1)):
        shape = bumpy("planar" if symmetry == "planar" else "axisymmetric")

        def slice_of(s: float, shape: MeniscusShape = shape, power: int = power) -> float:
            at = np.array([s])
            r = float(shape.points(at)[0, 0])
            return r**power * math.sin(float(shape.slope(at)[0])) * shape.length

        assert_allclose(shape.volume, factor * quad(slice_of, 0.0, 1.0)[0], rtol=1e-10, atol=0)


def test_ends_are_apex_and_contact_line() -> None:
    """INVARIANT: any shape starts on the axis and ends at (1, 0), s in any order."""
    shape = bumpy()
    ends = shape.points(np.array([1.0, 0.0]))
    assert_allclose(ends[0], [1.0, 0.0], rtol=0, atol=1e-14)
    assert_allclose(ends[1], [0.0, shape.height], rtol=0, atol=1e-14)


def test_curve_is_the_surface_in_metres() -> None:
    """INVARIANT: the boundary curve passes through the shape's points, scaled and moved."""
    shape = bumpy()
    radius, contact = 25e-6, (25e-6, -5e-6)
    curve = shape.curve(radius, contact)
    apex = (0.0, shape.height * radius + contact[1])
    assert_allclose(curve.start, apex, rtol=0, atol=1e-20)
    assert_allclose(curve.end, contact, rtol=0, atol=1e-20)
    t = np.linspace(0.0, 1.0, 37)
    expected = shape.points(t) * radius + np.array([0.0, contact[1]])
    assert_allclose(curve.point(t), expected, rtol=0, atol=2e-6 * radius)


def test_changed_keeps_symmetry_and_takes_coefficients() -> None:
    """INVARIANT: a changed shape differs by its coefficients alone; the first is untouched."""
    shape = bumpy("planar")
    other = shape.changed(np.array([0.5, 0.0]))
    assert other.symmetry == "planar"
    assert_allclose(other.contact_angle, 0.5, rtol=1e-15)
    assert_allclose(shape.contact_angle, 1.02, rtol=1e-15)


@pytest.mark.parametrize("symmetry", ["axisymmetric", "planar"])
def test_variations_equal_central_differences(symmetry: Symmetry) -> None:
    """INVARIANT: exact changes of places, curvature and volume against differences of shapes."""
    coefficients = np.array([1.1, 0.1, -0.05, 0.02, 0.01])
    shape, s, step = MeniscusShape(coefficients, symmetry), np.linspace(0.0, 1.0, 17), 1e-6
    found = shape.variation(s)
    for k in range(len(coefficients)):
        up, down = (
            shape.changed(coefficients + sign * step * np.eye(5)[k]) for sign in (1.0, -1.0)
        )

        def slope(high: object, low: object) -> object:
            return (np.asarray(high) - np.asarray(low)) / (2.0 * step)

        assert_allclose(found.places[k], slope(up.points(s), down.points(s)), atol=1e-8)
        assert_allclose(found.curvature[k], slope(up.curvature(s), down.curvature(s)), atol=1e-8)
        assert_allclose(shape.volume_gradient[k], slope(up.volume, down.volume), atol=1e-8)
