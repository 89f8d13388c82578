"""The multipole lattice that checks the solve in three dimensions, checked by itself."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose

from conegap.validation.exact.cap_moments import cap_field
from conegap.validation.exact.sphere_lattice import (
    LatticeSpheres,
    cubic_lattice,
    cubic_sum,
    layer_sum,
    outgoing,
    square_layer,
)


@pytest.mark.parametrize(("degree", "order"), [(1, 0), (3, 0), (5, 4), (5, -4)])
def test_addition_theorem(degree: int, order: int) -> None:
    """EXACT: an outgoing harmonic about another place is a sum of regular ones."""
    far, near = np.array([[1.0, 0.3, -0.4]]), np.array([[0.1, -0.15, 0.2]])

    def regular(k: int, n: int) -> complex:
        """r^k P_k^n(cos theta) exp(i n phi) / (k+n)!."""
        size = math.factorial(k - n) * math.factorial(k + n)
        return complex(outgoing(k, n, near)[0] * np.linalg.norm(near) ** (2 * k + 1) / size)

    total = sum(
        (-1) ** k * np.conj(regular(k, n)) * outgoing(degree + k, order + n, far)[0]
        for k in range(25)
        for n in range(-k, k + 1)
    )
    assert_allclose(outgoing(degree, order, far + near)[0], total, rtol=1e-10)


@pytest.mark.parametrize(("degree", "order"), [(4, 0), (4, 4), (6, 0), (8, 8), (12, 4)])
def test_cubic_sums_do_not_depend_on_their_division(degree: int, order: int) -> None:
    """INVARIANT: the splitting length of Ewald's method drops out, and a plain sum agrees."""
    sums = [cubic_sum(degree, order, split) for split in (1.6, 1.9, 2.3)]
    assert_allclose(sums, sums[0], rtol=1e-12)
    steps = range(-12, 13)
    places = np.array([p for p in product(steps, steps, steps) if p != (0, 0, 0)], dtype=float)
    plain = outgoing(degree, order, places).real.sum()
    assert_allclose(plain, sums[0], rtol=2e-3)


@pytest.mark.parametrize(("degree", "order"), [(2, 0), (4, 0), (4, 4), (8, 4), (12, 8)])
def test_layer_sums_agree_with_plain_ones(degree: int, order: int) -> None:
    """EXACT: closed form and faded sum against a plain sum with the integral of its tail."""
    reach = 200
    steps = np.arange(-reach, reach + 1.0)
    x, y = (part.ravel() for part in np.meshgrid(steps, steps))
    inside = (x**2 + y**2 > 0.0) & (x**2 + y**2 < (reach + 0.5) ** 2)
    places = np.stack([x, y, np.zeros_like(x)], axis=1)[inside]
    plain = outgoing(degree, order, places).real.sum()
    if order == 0:
        unit = outgoing(degree, 0, np.array([[1.0, 0.0, 0.0]])).real[0]
        plain += 2.0 * math.pi * unit / ((degree - 1) * (reach + 0.5) ** (degree - 1))
    assert_allclose(layer_sum(degree, order), plain, rtol=2e-6)


def axis_potential(layer: LatticeSpheres, points: np.ndarray) -> np.ndarray:
    """Potential of a finite patch of the layer with its far dipoles as an integral."""
    reach = 60
    steps = np.arange(-reach, reach + 1.0)
    x, y = (part.ravel() for part in np.meshgrid(steps, steps))
    inside = x**2 + y**2 < (reach + 0.5) ** 2
    centres = np.stack([x, y, np.zeros_like(x)], axis=1)[inside]
    found = []
    for point in points:
        away = point - centres
        total = -point[2] + layer.dipole * 2.0 * math.pi * point[2] / (reach + 0.5)
        for degree, order, size in zip(layer.degrees, layer.orders, layer.outer, strict=True):
            total += size * outgoing(int(degree), int(order), away).real.sum()
        found.append(total)
    return np.array(found)


def test_layer_is_grounded_point_by_point() -> None:
    """EXACT: the potential summed over thousands of spheres vanishes on a sphere's surface."""
    layer = square_layer(1.0 / 2.5, 15)
    polar, azimuth = np.array([0.2, 0.7, 1.2, 1.4]), np.array([0.0, 0.3, 0.6, 0.0])
    ray = np.stack(
        [np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)], axis=1
    )
    left = axis_potential(layer, 0.4 * ray)
    assert np.all(np.abs(left) < 2e-4 * 0.4)
    assert np.all(np.abs(axis_potential(layer, 0.42 * ray)) > 0.002)


def test_lone_sphere_and_dilute_lattices() -> None:
    """EXACT: three at the top of a lone hemisphere; Maxwell's law for a dilute cubic lattice."""
    lone = square_layer(1e-3, 3)
    assert_allclose(lone.top_field, 3.0, rtol=1e-7)
    assert_allclose(lone.dipole, 1e-9, rtol=1e-7)
    share = 4.0 / 3.0 * math.pi * 0.05**3
    assert_allclose(
        cubic_lattice(0.05, 5).conductivity, (1.0 + 2.0 * share) / (1.0 - share), rtol=1e-9
    )


@pytest.mark.parametrize("mirrors", [1, 2])
def test_cap_field_of_a_polynomial(mirrors: int) -> None:
    """EXACT: moments of point fluxes of a dipole field with a tilt give its value at the top."""
    radius, count = 2.0, 400
    cosine = (np.arange(count) + 0.5) / count  # midpoints, so that each has the same surface
    azimuth = math.pi / mirrors * (np.arange(count) + 0.5) / count
    c, phi = (part.ravel() for part in np.meshgrid(cosine, azimuth))
    s = np.sqrt(1.0 - c**2)
    x, y = s * np.cos(phi), s * np.sin(phi)
    law = 3.0 - 1.2 * s**2 + 0.7 * (x**2 - y**2) + (0.4 * x if mirrors == 1 else 0.0)
    flux = law * radius**2 * math.pi / mirrors / count**2
    points = radius * np.stack([x, y, c], axis=1) + np.array([5.0, 0.0, -1.0])
    apex = (5.0, 0.0, radius - 1.0)
    assert_allclose(cap_field(points, flux, apex, radius, mirrors), 3.0, rtol=5e-4)
