"""Planar sections with exact fields, by conformal maps; the emitting crest is at z = 0."""

from __future__ import annotations

import math

import numpy as np
from scipy.constants import epsilon_0
from scipy.optimize import minimize_scalar

from conegap.geometries.curves import Arc, FloatArray, Line
from conegap.geometries.section import Boundary, EmittingEdge, Section
from conegap.validation import exact
from conegap.validation.analytic_curves import (
    ComplexArray,
    ConformalMap,
    hyperbola,
    mapped,
    semi_ellipse,
)
from conegap.validation.exact_case import ExactCase

__all__ = [
    "blade_before_slit",
    "coaxial_cylinders",
    "confocal_ellipses",
    "half_cylinder_boss",
    "planar_hyperbola",
]

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


def half_cylinder_boss(*, radius: float, extent: float = 6.0) -> ExactCase:
    """Half cylinder on a plane in a uniform field of 1 V/m, exact potential on the far arc.

    Parameters
    ----------
    radius : float
        Radius of the boss, [m].
    extent : float
        Radius of the far arc over that of the boss, > 1, [-].
    """
    far = extent * radius

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


def _slit_map(*, half_width: float, focal: float, gap: float) -> ConformalMap:
    """Z(w) = -(a/2)(t + 1/t) + i d with t = i c cosh w."""
    factor = half_width / 2.0

    def value(w: ComplexArray) -> ComplexArray:
        t = 1j * focal * np.cosh(w)
        return np.asarray(-factor * (t + 1.0 / t) + 1j * gap)

    def first(w: ComplexArray) -> ComplexArray:
        t, slope = 1j * focal * np.cosh(w), 1j * focal * np.sinh(w)
        return np.asarray(-factor * (1.0 - t**-2) * slope)

    def second(w: ComplexArray) -> ComplexArray:
        t, slope = 1j * focal * np.cosh(w), 1j * focal * np.sinh(w)
        return np.asarray(-factor * (2.0 * t**-3 * slope**2 + (1.0 - t**-2) * t))

    return ConformalMap(value, first, second)


def blade_before_slit(
    *,
    half_width: float,
    height: float = 2.0,
    mapped_radius: float = 0.05,
    accelerator_angle: float = 1.5,
    extent: float = 2.2,
) -> ExactCase:
    """Rounded blade at 1 V before a slit at 0, right half, exact everywhere.

    The slit electrode is the equipotential ``accelerator_angle`` of the map, so its blades have
    round noses and a duct closes the space behind; the cut follows a field line (zero flux).

    Parameters
    ----------
    half_width : float
        Half width a of the ideal slit, [m].
    height, mapped_radius, accelerator_angle
        As for `conegap.validation.exact.blade_before_slit`, [-], [-], [rad].
    extent : float
        Elliptic parameter u of the cut, [-].
    """
    shape = exact.blade_before_slit(
        half_width=half_width,
        height=height,
        mapped_radius=mapped_radius,
        accelerator_angle=accelerator_angle,
    )
    focal = math.sqrt(height * (height + mapped_radius))
    blade = math.atan(math.sqrt(mapped_radius / height))
    span = accelerator_angle - blade
    slit = _slit_map(half_width=half_width, focal=focal, gap=shape.gap)

    def potential(points: FloatArray) -> FloatArray:
        s = (np.abs(points[:, 0]) + 1j * (points[:, 1] - shape.gap)) / half_width
        root = np.sqrt(s * s - 1.0)
        t = np.where((root - s).imag > 0.0, root - s, -root - s)
        angle = np.abs(np.arccosh(-1j * t / focal).imag)
        return np.asarray((accelerator_angle - angle) / span)

    def stretch(u: float) -> float:
        return float(np.abs(slit.first(np.array([u + 1j * accelerator_angle])))[0])

    nose = float(
        minimize_scalar(stretch, bounds=(0.0, extent), method="bounded", options={"xatol": 1e-12}).x
    )
    accelerator = mapped(slit, extent + 1j * accelerator_angle, 1j * accelerator_angle)
    t_nose = 1.0 - nose / extent
    nose_radius = 1.0 / abs(float(accelerator.curvature(np.array([t_nose]))[0]))
    top = accelerator.end
    section = Section(
        "planar",
        (
            (
                Boundary("symmetry", Line((0.0, float(top[1])), (0.0, 0.0))),
                Boundary("emitter", mapped(slit, 1j * blade, extent + 1j * blade)),
                Boundary(
                    "outer", mapped(slit, extent + 1j * blade, extent + 1j * accelerator_angle)
                ),
                Boundary("accelerator", accelerator),
            ),
        ),
        (
            EmittingEdge("edge", 0, 1, 0.0, shape.radius),
            EmittingEdge("slit nose", 0, 3, t_nose, nose_radius),
        ),
        shape.gap,
        mirrored=True,
    )
    charge = epsilon_0 * 2.0 * extent / span
    return ExactCase(
        "rounded blade before a slit",
        "derived, Joukowski map of elliptic coordinates; see docstring",
        section,
        potential,
        _UNIT,
        {"edge": shape.field_per_volt, "slit nose": -1.0 / (span * stretch(nose))},
        {"emitter": charge, "accelerator": -charge},
    )
