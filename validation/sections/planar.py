"""Planar sections with exact fields, by conformal maps; the emitting apex is at z = 0."""

from __future__ import annotations

import math

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import Arc, FloatArray, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.validation.exact import fields as exact
from conegap.validation.sections.analytic_curves import (
    hyperbola,
    semi_ellipse,
)
from conegap.validation.sections.exact_case import ExactCase

__all__ = [
    "coaxial_cylinders",
    "confocal_ellipses",
    "half_cylinder_boss",
    "planar_hyperbola",
]

# [V]
_UNIT = {"emitter": 1.0, "accelerator": 0.0}


def planar_hyperbola(
    *, radius: float, gap: float, prescribed: bool = True, extent: float = 2.0
) -> ExactCase:
    """Hyperbolic edge at 1 V before a plane at 0, half of it, cut at a confocal ellipse.

    The cut follows field lines, so zero flux there is exact too.

    Parameters
    ----------
    radius, gap : float
        Crest radius R and gap d, [m].
    prescribed : bool
        Exact potential on the cut; zero flux otherwise.
    extent : float
        Long half axis of the cut over the focal distance, > 1, [-].
    """
    focal = math.sqrt(gap * (gap + radius))
    scale = math.atan(math.sqrt(gap / radius))  # pi/2 - v0
    last = math.acosh(extent)
    wide = focal * math.sinh(last)
    cut = semi_ellipse(
        centre=gap, wide=wide, tall=extent * focal, first_angle=-scale, last_angle=0.0
    )

    def potential(points: FloatArray) -> FloatArray:
        w = np.arccosh((gap - points[:, 1] + 1j * np.abs(points[:, 0])) / focal)
        return np.asarray((math.pi / 2.0 - w.imag) / scale)

    section = Section(
        "planar",
        (
            (
                Boundary("symmetry", Line((0.0, gap), (0.0, 0.0))),
                Boundary("emitter", hyperbola(radius=radius, gap=gap, extent=last)),
                Boundary("outer", cut),
                Boundary("accelerator", Line((wide, gap), (0.0, gap))),
            ),
        ),
        (EmittingEdge("edge", 0, 1, 0.0, radius),),
        gap,
        mirrored=True,
    )
    charge = epsilon_0 * 2.0 * last / scale
    return ExactCase(
        f"planar hyperbola edge, d/R = {gap / radius:g}",
        "textbook, elliptic coordinates",
        section,
        potential,
        {**_UNIT, "outer": 1.0} if prescribed else _UNIT,
        {"edge": exact.planar_hyperbola_field(voltage=1.0, radius=radius, gap=gap)},
        {} if prescribed else {"emitter": charge, "accelerator": -charge},
        prescribed,
    )


def confocal_ellipses(*, focal: float, inner: float, outer: float) -> ExactCase:
    """Elliptic cylinder at 1 V inside a confocal one at 0, whole, two closed outlines.

    Parameters
    ----------
    focal, inner, outer : float
        Half distance of the foci and the two long half axes, along z, [m].
    """
    waist_inner = math.sqrt((inner - focal) * (inner + focal))
    waist_outer = math.sqrt((outer - focal) * (outer + focal))
    u_inner, u_outer = math.acosh(inner / focal), math.acosh(outer / focal)

    def potential(points: FloatArray) -> FloatArray:
        w = np.arccosh((points[:, 1] + inner + 1j * points[:, 0]) / focal)
        return np.asarray((u_outer - w.real) / (u_outer - u_inner))

    def half_ellipse(name: str, long: float, waist: float, first: float, last: float) -> Boundary:
        curve = semi_ellipse(
            centre=-inner, wide=waist, tall=long, first_angle=first, last_angle=last
        )
        return Boundary(name, curve)

    pi = math.pi
    section = Section(
        "planar",
        (
            (
                half_ellipse("accelerator", outer, waist_outer, 0.0, pi),
                half_ellipse("accelerator", outer, waist_outer, pi, 2.0 * pi),
            ),
            (
                half_ellipse("emitter", inner, waist_inner, pi, 0.0),
                half_ellipse("emitter", inner, waist_inner, 0.0, -pi),
            ),
        ),
        (EmittingEdge("edge", 1, 0, 0.5, waist_inner**2 / inner),),
        outer - inner,
    )
    shape = {"focal": focal, "inner": inner, "outer": outer}
    capacitance = exact.confocal_ellipses_capacitance(**shape)
    return ExactCase(
        "confocal ellipses",
        "textbook, conformal map z = c cosh w",
        section,
        potential,
        _UNIT,
        {"edge": exact.confocal_ellipses_field(voltage=1.0, **shape)},
        {"emitter": capacitance, "accelerator": -capacitance},
    )


def coaxial_cylinders(*, inner: float, outer: float) -> ExactCase:
    """Cylinder at 1 V inside a coaxial one at 0, whole, each outline one closed curve.

    Parameters
    ----------
    inner, outer : float
        Radii, [m].
    """

    def potential(points: FloatArray) -> FloatArray:
        distance = np.hypot(points[:, 0], points[:, 1] + inner)
        return np.asarray(np.log(outer / distance) / math.log(outer / inner))

    centre, low = (0.0, -inner), -math.pi / 2.0
    section = Section(
        "planar",
        (
            (Boundary("accelerator", Arc(centre, outer, low, low + 2.0 * math.pi)),),
            (Boundary("emitter", Arc(centre, inner, low, low - 2.0 * math.pi)),),
        ),
        (EmittingEdge("edge", 1, 0, 0.5, inner),),
        outer - inner,
    )
    capacitance = exact.coaxial_cylinders_capacitance(inner=inner, outer=outer)
    return ExactCase(
        "coaxial cylinders",
        "textbook",
        section,
        potential,
        _UNIT,
        {"edge": exact.coaxial_cylinders_field(voltage=1.0, inner=inner, outer=outer)},
        {"emitter": capacitance, "accelerator": -capacitance},
    )


def half_cylinder_boss(*, radius: float) -> ExactCase:
    """Half cylinder on a plane in a uniform field of 1 V/m, exact potential on the far arc.

    Parameters
    ----------
    radius : float
        Radius of the boss, [m].
    """
    far = 6.0 * radius

    def potential(points: FloatArray) -> FloatArray:
        z = points[:, 1] + radius
        return np.asarray(-z * (1.0 - radius**2 / (points[:, 0] ** 2 + z**2)))

    half, centre = math.pi / 2.0, (0.0, -radius)
    section = Section(
        "planar",
        (
            (
                Boundary("symmetry", Line((0.0, far - radius), (0.0, 0.0))),
                Boundary("emitter", Arc(centre, radius, half, 0.0)),
                Boundary("emitter", Line((radius, -radius), (far, -radius))),
                Boundary("outer", Arc(centre, far, 0.0, half)),
            ),
        ),
        (EmittingEdge("edge", 0, 1, 0.0, radius),),
        far - radius,
        mirrored=True,
    )
    charge = 2.0 * epsilon_0 * (far + radius**2 / far)
    return ExactCase(
        "half-cylinder boss in a uniform field",
        "textbook",
        section,
        potential,
        {"emitter": 0.0, "outer": 1.0},
        {"edge": exact.half_cylinder_boss_field(uniform_field=1.0)},
        {"emitter": charge},
        True,
    )
