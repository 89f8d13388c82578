"""Closed-form electrostatic fields that check the solver.

Fields are those of an emitter at +V facing an accelerator at 0, positive when they point out of
the emitter.  SI throughout.  Where a docstring says "textbook" the formula was derived again from
separation of variables or from a conformal map and is checked by differencing in
``tests/test_exact_values.py``; bibliographic detail marked "from memory" was not looked up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from conegap.validation.exact.capacitors import (
    coaxial_cylinders_capacitance,
    coaxial_cylinders_field,
    concentric_spheres_capacitance,
    concentric_spheres_field,
    confocal_ellipses_capacitance,
    confocal_ellipses_field,
    confocal_spheroids_capacitance,
    confocal_spheroids_field,
    nested,
    positive,
)

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
    "half_cylinder_boss_field",
    "hemisphere_boss_field",
    "hyperboloid_field",
    "hyperboloid_logarithmic_field",
    "paraboloid_field",
    "planar_hyperbola_field",
    "wedge_exponent",
]


def hyperboloid_field(*, voltage: float, radius: float, gap: float) -> float:
    """Apex field of a hyperboloid of revolution before a plane, [V/m].

    E = V / (R eta0 artanh eta0), eta0^2 = d / (d + R): prolate spheroidal coordinates, in which
    both electrodes are surfaces eta = const and phi = V artanh(eta) / artanh(eta0).

    Source: derived; `tests/test_exact_values.py` checks that the potential is harmonic and constant
    on both electrodes.  The coordinates are those of textbooks.

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
    positive(radius=radius, gap=gap)
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
    positive(radius=radius, gap=gap)
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
    positive(radius=radius, gap=gap)
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
    positive(radius=radius, gap=gap)
    return voltage / (math.sqrt(gap * radius) * math.atan(math.sqrt(gap / radius)))


def hemisphere_boss_field(*, uniform_field: float) -> float:
    """Apex field of a hemisphere on a plane in ``uniform_field``: 3 E0, [V/m]; textbook."""
    return 3.0 * uniform_field


def half_cylinder_boss_field(*, uniform_field: float) -> float:
    """Crest field of a half cylinder on a plane in ``uniform_field``: 2 E0, [V/m]; textbook."""
    return 2.0 * uniform_field


@dataclass(frozen=True)
class BladeBeforeSlit:
    """A rounded blade before a slit between two half planes.

    Parameters
    ----------
    gap : float
        Crest to the plane of the slit, [m].
    radius : float
        Radius of the blade's apex, [m].
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
    hyperbola of apex height H and radius Rt, with c^2 = H (H + Rt) and tan^2 v0 = Rt / H.
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
    positive(half_width=half_width, mapped_radius=mapped_radius)
    nested("1", 1.0, "height", height)
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
