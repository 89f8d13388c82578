"""Closed-form fields and capacitances of closed capacitors.

Re-exported by `conegap.validation.exact.fields`; the checks of arguments shared by both are here.
"""

from __future__ import annotations

import math

from scipy.constants import epsilon_0

__all__ = [
    "coaxial_cylinders_capacitance",
    "coaxial_cylinders_field",
    "concentric_spheres_capacitance",
    "concentric_spheres_field",
    "confocal_ellipses_capacitance",
    "confocal_ellipses_field",
    "confocal_spheroids_capacitance",
    "confocal_spheroids_field",
    "nested",
    "positive",
]

_EPSILON_0 = float(epsilon_0)


def positive(**lengths: float) -> None:
    """Raise ValueError unless all ``lengths`` [m] are finite and above zero."""
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} = {value:g} must be a finite number above zero")


def nested(inner_name: str, inner: float, outer_name: str, outer: float) -> None:
    """Raise ValueError unless 0 < inner < outer [m]; inner_name and outer_name name them."""
    positive(**{inner_name: inner, outer_name: outer})
    if outer <= inner:
        raise ValueError(f"{outer_name} = {outer:g} must be above {inner_name} = {inner:g}")


def _spheroid_acoth_difference(focal: float, inner: float, outer: float) -> float:
    """Arcoth(inner/focal) - arcoth(outer/focal), [-]."""
    return math.atanh(focal / inner) - math.atanh(focal / outer)


def confocal_spheroids_capacitance(*, focal: float, inner: float, outer: float) -> float:
    """Capacitance between confocal prolate spheroids, [F].

    C = 4 pi eps0 c / (arcoth(a1/c) - arcoth(a2/c)).

    Source: textbook.

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
    nested("focal", focal, "inner", inner)
    nested("inner", inner, "outer", outer)
    gap = _spheroid_acoth_difference(focal, inner, outer)
    return 4.0 * math.pi * _EPSILON_0 * focal / gap


def confocal_spheroids_field(*, voltage: float, focal: float, inner: float, outer: float) -> float:
    """Field at the pole of the inner of two confocal prolate spheroids, [V/m].

    E = V c / (b1^2 (arcoth(a1/c) - arcoth(a2/c))), b1^2 = a1^2 - c^2.  Parameters as for
    `confocal_spheroids_capacitance`, with ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        The lengths are not in the order focal < inner < outer.
    """
    nested("focal", focal, "inner", inner)
    nested("inner", inner, "outer", outer)
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
    nested("focal", focal, "inner", inner)
    nested("inner", inner, "outer", outer)
    return 2.0 * math.pi * _EPSILON_0 / (math.acosh(outer / focal) - math.acosh(inner / focal))


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
    return voltage * capacitance / (2.0 * math.pi * _EPSILON_0 * short)


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
    nested("inner", inner, "outer", outer)
    return 2.0 * math.pi * _EPSILON_0 / math.log(outer / inner)


def coaxial_cylinders_field(*, voltage: float, inner: float, outer: float) -> float:
    """Field at the inner of two coaxial cylinders, E = V / (a ln(b/a)), [V/m]; textbook.

    Parameters as for `coaxial_cylinders_capacitance`, ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        Not 0 < inner < outer.
    """
    nested("inner", inner, "outer", outer)
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
    nested("inner", inner, "outer", outer)
    return 4.0 * math.pi * _EPSILON_0 * inner * outer / (outer - inner)


def concentric_spheres_field(*, voltage: float, inner: float, outer: float) -> float:
    """Field at the inner of two concentric spheres, E = V b / (a (b - a)), [V/m]; textbook.

    Parameters as for `concentric_spheres_capacitance`, ``voltage`` inner minus outer, [V].

    Raises
    ------
    ValueError
        Not 0 < inner < outer.
    """
    nested("inner", inner, "outer", outer)
    return voltage * outer / (inner * (outer - inner))
