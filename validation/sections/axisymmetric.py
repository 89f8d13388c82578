"""Axisymmetric sections with exact fields; the emitting apex is at z = 0."""

from __future__ import annotations

import math

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import Arc, FloatArray, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.validation.exact import fields as exact
from conegap.validation.sections.analytic_curves import hyperbola, semi_ellipse
from conegap.validation.sections.exact_case import ExactCase

__all__ = [
    "annular_cylinder",
    "concentric_spheres",
    "confocal_spheroids",
    "hemisphere_boss",
    "hyperboloid_needle",
]

# [V]
_UNIT = {"emitter": 1.0, "accelerator": 0.0}


def hyperboloid_needle(
    *, radius: float, gap: float, prescribed: bool = True, extent: float = 2.0
) -> ExactCase:
    """Hyperboloid of revolution at 1 V before a plane at 0, cut at a confocal spheroid.

    The cut follows field lines, so zero flux there is exact too.

    Parameters
    ----------
    radius, gap : float
        Apex radius R and gap d, [m].
    prescribed : bool
        Exact potential on the cut; zero flux otherwise.
    extent : float
        Long half axis of the cut over the focal distance, > 1, [-].
    """
    focal = math.sqrt(gap * (gap + radius))
    eta_needle = gap / focal
    last = math.acosh(extent)
    needle = hyperbola(radius=radius, gap=gap, extent=last)
    wide = focal * math.sinh(last)
    cut = semi_ellipse(
        centre=gap,
        wide=wide,
        tall=extent * focal,
        first_angle=-math.asin(eta_needle),
        last_angle=0.0,
    )
    scale = math.log1p(eta_needle) + 0.5 * math.log((gap + radius) / radius)  # artanh(eta0)

    def potential(points: FloatArray) -> FloatArray:
        r, z = points[:, 0], gap - points[:, 1]
        xi = (np.hypot(r, z + focal) + np.hypot(r, z - focal)) / (2.0 * focal)
        return np.asarray(np.arctanh(z / (focal * xi)) / scale)

    section = Section(
        "axisymmetric",
        (
            (
                Boundary("axis", Line((0.0, gap), (0.0, 0.0))),
                Boundary("emitter", needle),
                Boundary("outer", cut),
                Boundary("accelerator", Line((wide, gap), (0.0, gap))),
            ),
        ),
        (EmittingEdge("tip", 0, 1, 0.0, radius),),
        gap,
    )
    charge = 2.0 * math.pi * epsilon_0 * focal * (extent - 1.0) / scale
    return ExactCase(
        f"hyperboloid needle, d/R = {gap / radius:g}",
        "derived, prolate spheroidal coordinates",
        section,
        potential,
        {**_UNIT, "outer": 1.0} if prescribed else _UNIT,
        {"tip": exact.hyperboloid_field(voltage=1.0, radius=radius, gap=gap)},
        {} if prescribed else {"emitter": charge, "accelerator": -charge},
        prescribed,
    )


def confocal_spheroids(*, focal: float, inner: float, outer: float) -> ExactCase:
    """Prolate spheroid at 1 V inside a confocal one at 0.

    Parameters
    ----------
    focal, inner, outer : float
        Half distance of the foci and the two long half axes, along z, [m].
    """
    waist_inner = math.sqrt((inner - focal) * (inner + focal))
    waist_outer = math.sqrt((outer - focal) * (outer + focal))
    scale = math.atanh(focal / inner) - math.atanh(focal / outer)

    def potential(points: FloatArray) -> FloatArray:
        r, z = points[:, 0], points[:, 1] + inner
        xi = (np.hypot(r, z + focal) + np.hypot(r, z - focal)) / (2.0 * focal)
        return np.asarray((np.arctanh(1.0 / xi) - math.atanh(focal / outer)) / scale)

    half = math.pi / 2.0
    section = Section(
        "axisymmetric",
        (
            (
                Boundary("axis", Line((0.0, outer - inner), (0.0, 0.0))),
                Boundary(
                    "emitter",
                    semi_ellipse(
                        centre=-inner,
                        wide=waist_inner,
                        tall=inner,
                        first_angle=half,
                        last_angle=-half,
                    ),
                ),
                Boundary("axis", Line((0.0, -2.0 * inner), (0.0, -inner - outer))),
                Boundary(
                    "accelerator",
                    semi_ellipse(
                        centre=-inner,
                        wide=waist_outer,
                        tall=outer,
                        first_angle=-half,
                        last_angle=half,
                    ),
                ),
            ),
        ),
        (EmittingEdge("tip", 0, 1, 0.0, waist_inner**2 / inner),),
        outer - inner,
    )
    shape = {"focal": focal, "inner": inner, "outer": outer}
    capacitance = exact.confocal_spheroids_capacitance(**shape)
    return ExactCase(
        "confocal spheroids",
        "derived, confocal coordinates",
        section,
        potential,
        _UNIT,
        {"tip": exact.confocal_spheroids_field(voltage=1.0, **shape)},
        {"emitter": capacitance, "accelerator": -capacitance},
    )


def concentric_spheres(*, inner: float, outer: float) -> ExactCase:
    """Sphere at 1 V inside a concentric one at 0.

    Parameters
    ----------
    inner, outer : float
        Radii, [m].
    """

    def potential(points: FloatArray) -> FloatArray:
        distance = np.hypot(points[:, 0], points[:, 1] + inner)
        return np.asarray((outer / distance - 1.0) / (outer / inner - 1.0))

    half, centre = math.pi / 2.0, (0.0, -inner)
    section = Section(
        "axisymmetric",
        (
            (
                Boundary("axis", Line((0.0, outer - inner), (0.0, 0.0))),
                Boundary("emitter", Arc(centre, inner, half, -half)),
                Boundary("axis", Line((0.0, -2.0 * inner), (0.0, -inner - outer))),
                Boundary("accelerator", Arc(centre, outer, -half, half)),
            ),
        ),
        (EmittingEdge("tip", 0, 1, 0.0, inner),),
        outer - inner,
    )
    capacitance = exact.concentric_spheres_capacitance(inner=inner, outer=outer)
    return ExactCase(
        f"concentric spheres, b/a = {outer / inner:g}",
        "textbook",
        section,
        potential,
        _UNIT,
        {"tip": exact.concentric_spheres_field(voltage=1.0, inner=inner, outer=outer)},
        {"emitter": capacitance, "accelerator": -capacitance},
    )


def annular_cylinder(*, inner: float, outer: float, length: float) -> ExactCase:
    """Piece of two coaxial cylinders between flat ends without flux; rectangle in (r, z).

    It has no emitting edge: the charge and the field along the wall are to be compared.

    Parameters
    ----------
    inner, outer, length : float
        Radii and length of the piece, [m].
    """

    def potential(points: FloatArray) -> FloatArray:
        return np.asarray(np.log(outer / points[:, 0]) / math.log(outer / inner))

    low, high = -length / 2.0, length / 2.0
    section = Section(
        "axisymmetric",
        (
            (
                Boundary("emitter", Line((inner, high), (inner, low))),
                Boundary("outer", Line((inner, low), (outer, low))),
                Boundary("accelerator", Line((outer, low), (outer, high))),
                Boundary("outer", Line((outer, high), (inner, high))),
            ),
        ),
        (),
        outer - inner,
    )
    charge = length * exact.coaxial_cylinders_capacitance(inner=inner, outer=outer)
    return ExactCase(
        "coaxial cylinders, annulus",
        "textbook",
        section,
        potential,
        _UNIT,
        {},
        {"emitter": charge, "accelerator": -charge},
    )


def hemisphere_boss(*, radius: float) -> ExactCase:
    """Hemisphere on a plane in a uniform field of 1 V/m, exact potential on the far hemisphere.

    Parameters
    ----------
    radius : float
        Radius of the boss, [m].
    """
    far = 6.0 * radius

    def potential(points: FloatArray) -> FloatArray:
        z = points[:, 1] + radius
        distance = np.hypot(points[:, 0], z)
        return np.asarray(-z * (1.0 - (radius / distance) ** 3))

    half, centre = math.pi / 2.0, (0.0, -radius)
    section = Section(
        "axisymmetric",
        (
            (
                Boundary("axis", Line((0.0, far - radius), (0.0, 0.0))),
                Boundary("emitter", Arc(centre, radius, half, 0.0)),
                Boundary("emitter", Line((radius, -radius), (far, -radius))),
                Boundary("outer", Arc(centre, far, 0.0, half)),
            ),
        ),
        (EmittingEdge("tip", 0, 1, 0.0, radius),),
        far - radius,
    )
    charge = epsilon_0 * math.pi * (far**2 + 2.0 * radius**3 / far)
    return ExactCase(
        "hemisphere boss in a uniform field",
        "textbook",
        section,
        potential,
        {"emitter": 0.0, "outer": 1.0},
        {"tip": exact.hemisphere_boss_field(uniform_field=1.0)},
        {"emitter": charge},
        True,
    )
