"""Closed-form electrostatic fields that check the solver.

Fields are those of an emitter at +V facing an accelerator at 0, positive when they point out of
the emitter.  SI throughout.  Where a docstring says "textbook" the formula was derived again from
separation of variables or from a conformal map and is checked by differencing in
``tests/test_exact_values.py``; bibliographic detail marked "from memory" was not looked up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import epsilon_0

__all__ = [
    "BladeBeforeSlit",
    "blade_before_slit",
    "coaxial_cylinders_capacitance",
    "coaxial_cylinders_field",
    "concentric_spheres_capacitance",
    "concentric_spheres_field",
    "confocal_ellipses_capacitance",
    "confocal_ellipses_field",
    "confocal_spheroids_capacitance",
    "confocal_spheroids_field",
    "coplanar_half_planes_field",
    "half_cylinder_boss_field",
    "hemisphere_boss_field",
    "hyperboloid_field",
    "hyperboloid_logarithmic_field",
    "paraboloid_field",
    "planar_hyperbola_field",
    "slit_to_plane_ratio",
    "wedge_exponent",
]


def _positive(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} = {value:g} must be a finite number above zero")


def _nested(inner_name: str, inner: float, outer_name: str, outer: float) -> None:
    _positive(**{inner_name: inner, outer_name: outer})
    if outer <= inner:
        raise ValueError(f"{outer_name} = {outer:g} must be above {inner_name} = {inner:g}")


def hyperboloid_field(*, voltage: float, radius: float, gap: float) -> float:
    """Apex field of a hyperboloid of revolution before a plane, [V/m].

    E = V / (R eta0 artanh eta0), eta0^2 = d / (d + R): prolate spheroidal coordinates, in which
    both electrodes are surfaces eta = const and phi = V artanh(eta) / artanh(eta0).

    Source: textbook (prolate spheroidal coordinates, e.g. Moon and Spencer, Field Theory
    Handbook, 1961; from memory).

    Parameters
    ----------
    voltage : float
        Emitter minus plane, [V].
    radius : float
        Apex radius R, > 0, [m].
    gap : float
        Apex to plane d, > 0, [m].

    Raises
    ------
    ValueError
        A length is not above zero.
    """
    _positive(radius=radius, gap=gap)
    eta = math.sqrt(gap / (gap + radius))
    # artanh without the cancellation of 1 - eta: 1 - eta^2 = R / (d + R).
    artanh = math.log1p(eta) + 0.5 * math.log((gap + radius) / radius)
    return voltage / (radius * eta * artanh)


def hyperboloid_logarithmic_field(*, voltage: float, radius: float, gap: float) -> float:
    """Limit of `hyperboloid_field` for R << d, E = 2 V / (R ln(4 d / R)), [V/m].

    Low by 3.4 % at d/R = 10, 0.41 % at 100, 0.044 % at 1000.  Same parameters, [V], [m], [m].

    Raises
    ------
    ValueError
        A length is not above zero, or 4 d <= R.
    """
    _positive(radius=radius, gap=gap)
    if 4.0 * gap <= radius:
        raise ValueError(f"gap = {gap:g} must be above radius / 4 = {radius / 4.0:g}")
    return 2.0 * voltage / (radius * math.log(4.0 * gap / radius))


def paraboloid_field(*, voltage: float, radius: float, gap: float) -> float:
    """Apex field between confocal paraboloids of revolution, [V/m].

    E = 2 V / (R ln(1 + 2 d / R)): on the axis the potential is the logarithm of the distance
    from the common focus, R/2 behind the apex.  Same parameters as `hyperboloid_field`.

    Source: textbook (parabolic coordinates).

    Raises
    ------
    ValueError
        A length is not above zero.
    """
    _positive(radius=radius, gap=gap)
    return 2.0 * voltage / (radius * math.log1p(2.0 * gap / radius))


def planar_hyperbola_field(*, voltage: float, radius: float, gap: float) -> float:
    """Crest field of a hyperbolic edge (infinite along y) before a plane, [V/m].

    E = V / (sqrt(d R) arctan sqrt(d/R)): the map z = -i c cosh w, whose confocal hyperbolas
    Im w = const are equipotentials.  Same parameters as `hyperboloid_field`.

    Source: textbook (elliptic coordinates; conformal map).

    Raises
    ------
    ValueError
        A length is not above zero.
    """
    _positive(radius=radius, gap=gap)
    return voltage / (math.sqrt(gap * radius) * math.atan(math.sqrt(gap / radius)))


def _spheroid_acoth_difference(focal: float, inner: float, outer: float) -> float:
    """Arcoth(inner/focal) - arcoth(outer/focal), [-]."""
    return math.atanh(focal / inner) - math.atanh(focal / outer)


def confocal_spheroids_capacitance(*, focal: float, inner: float, outer: float) -> float:
    """Capacitance between confocal prolate spheroids, [F].

    C = 4 pi eps0 c / (arcoth(a1/c) - arcoth(a2/c)).

    Source: textbook (e.g. Landau and Lifshitz, Electrodynamics of Continuous Media, section 4;
    from memory).

    Parameters
    ----------
    focal : float
        Half distance of the foci c, > 0, [m].
    inner, outer : float
        Long half axes a1 < a2, both > c, [m].

    Raises
    ------
    ValueError
        The lengths are not in the order focal < inner < outer.
    """
    _nested("focal", focal, "inner", inner)
    _nested("inner", inner, "outer", outer)
    gap = _spheroid_acoth_difference(focal, inner, outer)
    return 4.0 * math.pi * epsilon_0 * focal / gap


def confocal_spheroids_field(*, voltage: float, focal: float, inner: float, outer: float) -> float:
    """Field at the pole of the inner of two confocal prolate spheroids, [V/m].

    E = V c / (b1^2 (arcoth(a1/c) - arcoth(a2/c))), b1^2 = a1^2 - c^2.  Parameters as for
    `confocal_spheroids_capacitance`, with ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        The lengths are not in the order focal < inner < outer.
    """
    _nested("focal", focal, "inner", inner)
    _nested("inner", inner, "outer", outer)
    gap = _spheroid_acoth_difference(focal, inner, outer)
    return voltage * focal / ((inner - focal) * (inner + focal) * gap)


def confocal_ellipses_capacitance(*, focal: float, inner: float, outer: float) -> float:
    """Capacitance per length between confocal elliptic cylinders, [F/m].

    C = 2 pi eps0 / (arcosh(a2/c) - arcosh(a1/c)).

    Source: textbook (conformal map z = c cosh w).

    Parameters
    ----------
    focal : float
        Half distance of the foci c, > 0, [m].
    inner, outer : float
        Long half axes a1 < a2, both > c, [m].

    Raises
    ------
    ValueError
        The lengths are not in the order focal < inner < outer.
    """
    _nested("focal", focal, "inner", inner)
    _nested("inner", inner, "outer", outer)
    return 2.0 * math.pi * epsilon_0 / (math.acosh(outer / focal) - math.acosh(inner / focal))


def confocal_ellipses_field(*, voltage: float, focal: float, inner: float, outer: float) -> float:
    """Field at the end of the long axis of the inner of two confocal ellipses, [V/m].

    E = V / (b1 (arcosh(a2/c) - arcosh(a1/c))), b1^2 = a1^2 - c^2.  Parameters as for
    `confocal_ellipses_capacitance`, with ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        The lengths are not in the order focal < inner < outer.
    """
    capacitance = confocal_ellipses_capacitance(focal=focal, inner=inner, outer=outer)
    short = math.sqrt((inner - focal) * (inner + focal))
    return voltage * capacitance / (2.0 * math.pi * epsilon_0 * short)


def coaxial_cylinders_capacitance(*, inner: float, outer: float) -> float:
    """Capacitance per length of coaxial cylinders, C = 2 pi eps0 / ln(b/a), [F/m]; textbook.

    Parameters
    ----------
    inner, outer : float
        Radii a < b, [m].

    Raises
    ------
    ValueError
        Not 0 < inner < outer.
    """
    _nested("inner", inner, "outer", outer)
    return 2.0 * math.pi * epsilon_0 / math.log(outer / inner)


def coaxial_cylinders_field(*, voltage: float, inner: float, outer: float) -> float:
    """Field at the inner of two coaxial cylinders, E = V / (a ln(b/a)), [V/m]; textbook.

    Parameters as for `coaxial_cylinders_capacitance`, ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        Not 0 < inner < outer.
    """
    _nested("inner", inner, "outer", outer)
    return voltage / (inner * math.log(outer / inner))


def concentric_spheres_capacitance(*, inner: float, outer: float) -> float:
    """Capacitance of concentric spheres, C = 4 pi eps0 a b / (b - a), [F]; textbook.

    Parameters
    ----------
    inner, outer : float
        Radii a < b, [m].

    Raises
    ------
    ValueError
        Not 0 < inner < outer.
    """
    _nested("inner", inner, "outer", outer)
    return 4.0 * math.pi * epsilon_0 * inner * outer / (outer - inner)


def concentric_spheres_field(*, voltage: float, inner: float, outer: float) -> float:
    """Field at the inner of two concentric spheres, E = V b / (a (b - a)), [V/m]; textbook.

    Parameters as for `concentric_spheres_capacitance`, ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        Not 0 < inner < outer.
    """
    _nested("inner", inner, "outer", outer)
    return voltage * outer / (inner * (outer - inner))


def hemisphere_boss_field(*, uniform_field: float) -> float:
    """Crest field of a hemisphere on a plane in a uniform field [V/m], 3 E0, [V/m]; textbook."""
    return 3.0 * uniform_field


def half_cylinder_boss_field(*, uniform_field: float) -> float:
    """Crest field of a half cylinder on a plane in a uniform field [V/m], 2 E0, [V/m]; textbook."""
    return 2.0 * uniform_field


@dataclass(frozen=True)
class BladeBeforeSlit:
    """A rounded blade before a slit between two half planes.

    Parameters
    ----------
    gap : float
        Crest to the plane of the slit, [m].
    radius : float
        Radius of the blade's crest, [m].
    field_per_volt : float
        Crest field for one volt between blade and slit electrode, [1/m].
    """

    gap: float
    radius: float
    field_per_volt: float


def blade_before_slit(
    *,
    half_width: float,
    height: float,
    mapped_radius: float,
    accelerator_angle: float = math.pi / 2.0,
) -> BladeBeforeSlit:
    """Rounded blade facing a slit of width 2 a, by the map z = -(a/2)(t + 1/t).

    The real t axis is folded onto the two half planes; in the upper t half plane the blade is a
    hyperbola of crest height H and radius Rt, with c^2 = H (H + Rt) and tan^2 v0 = Rt / H.
    d = (a/2)(H - 1/H), |dz/dt| = (a/2)(1 + H^-2),
    E = [V / (sqrt(H Rt) (v1 - v0))] / |dz/dt|, 1/R = [1/Rt + (2/H^3)/(1 + H^-2)] / |dz/dt|.

    With ``accelerator_angle`` v1 below pi/2 the accelerator is the equipotential v = v1 instead
    of the two sharp half planes: two blades with rounded noses, closed by a duct behind them.

    Source: derived (Joukowski map of the elliptic coordinates); textbook ingredients.

    Parameters
    ----------
    half_width : float
        Half width of the slit a, [m].
    height : float
        Crest height H in the t plane, > 1, [-].
    mapped_radius : float
        Crest radius Rt in the t plane, > 0, [-].
    accelerator_angle : float
        Elliptic angle v1 of the accelerator, above v0, at most pi/2, [rad].

    Raises
    ------
    ValueError
        A parameter is outside its range.
    """
    _positive(half_width=half_width, mapped_radius=mapped_radius)
    _nested("1", 1.0, "height", height)
    blade_angle = math.atan(math.sqrt(mapped_radius / height))
    if not blade_angle < accelerator_angle <= math.pi / 2.0:
        raise ValueError(
            f"accelerator_angle = {accelerator_angle:g} must be above {blade_angle:g} "
            "and at most pi/2"
        )
    stretch = half_width / 2.0 * (1.0 + height**-2)
    curvature = (1.0 / mapped_radius + 2.0 / height**3 / (1.0 + height**-2)) / stretch
    mapped_field = 1.0 / (math.sqrt(height * mapped_radius) * (accelerator_angle - blade_angle))
    gap = half_width / 2.0 * (height - 1.0 / height)
    return BladeBeforeSlit(gap, 1.0 / curvature, mapped_field / stretch)


def slit_to_plane_ratio(*, gap: float, half_width: float) -> float:
    """Edge field of a sharp blade before a slit over that before a solid plane, [-].

    sqrt(2 (d/a) / (H (1 + H^-2))), H = d/a + sqrt(1 + d^2/a^2): ratio of the two inverse square
    root singularities at the same gap d and voltage.

    Source: derived, limit of `blade_before_slit` against `planar_hyperbola_field`.

    Parameters
    ----------
    gap, half_width : float
        Gap d and half width a of the slit, [m].

    Raises
    ------
    ValueError
        A length is not above zero.
    """
    _positive(gap=gap, half_width=half_width)
    ratio = gap / half_width
    height = ratio + math.hypot(1.0, ratio)
    return math.sqrt(2.0 * ratio / (height * (1.0 + height**-2)))


def wedge_exponent(*, metal_angle: float) -> float:
    """Exponent n of E ~ rho^n at a metal wedge, pi/(2 pi - angle) - 1, [-]; textbook.

    Parameters
    ----------
    metal_angle : float
        Full angle inside the metal, 0 <= angle < 2 pi, [rad].

    Raises
    ------
    ValueError
        The angle is outside its range.
    """
    if not 0.0 <= metal_angle < 2.0 * math.pi:
        raise ValueError(f"metal_angle = {metal_angle:g} must be from 0 to below 2 pi")
    return math.pi / (2.0 * math.pi - metal_angle) - 1.0


def coplanar_half_planes_field(*, voltage: float, half_gap: float, x: float) -> float:
    """Field in the gap between coplanar half planes, V / (pi sqrt(a^2 - x^2)), [V/m]; textbook.

    Parameters
    ----------
    voltage : float
        Between the half planes, [V].
    half_gap : float
        Half gap a, [m].
    x : float
        Distance from the middle of the gap, abs(x) < a, [m].

    Raises
    ------
    ValueError
        The point is not inside the gap.
    """
    _positive(half_gap=half_gap)
    if abs(x) >= half_gap:
        raise ValueError(f"x = {x:g} must be inside the gap, half_gap = {half_gap:g}")
    return voltage / (math.pi * math.sqrt(half_gap**2 - x**2))
