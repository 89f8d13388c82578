"""Laws of a feed: flow through narrow ways, and what a pinned surface holds back.

Channel of a slit: plane flow between parallel plates.  Bore of a capillary: J. L. M. Poiseuille's
law (G. Hagen, 1839; textbook).  Film on a needle: a film of even thickness that sticks to the metal
and slides freely at its surface (textbook lubrication flow); roughness is left out.
"""

from __future__ import annotations

import math

from conegap.geometries.curves.section import Section

__all__ = [
    "bore_resistance",
    "film_resistance",
    "flat_film_resistance",
    "groove_resistance",
    "pinned_holding",
    "plate_resistance",
    "porous_resistance",
]

# Of a series that falls as n^-5: the rest, 1 / (8 20^4), changes a square duct by 1.2e-6.
_TERMS = 21


def plate_resistance(*, viscosity: float, length: float, height: float, width: float) -> float:
    """Flow resistance between parallel plates, 12 eta L / (h^3 w).

    Parameters
    ----------
    viscosity : float
        eta, [Pa s].
    length : float
        L, along the flow, [m].
    height : float
        h, between the plates, much less than the width, [m].
    width : float
        w, [m].

    Returns
    -------
    float
        Pressure drop per volume flow, [Pa s/m^3].  Textbook.
    """
    return 12.0 * viscosity * length / (height**3 * width)


def bore_resistance(*, viscosity: float, length: float, radius: float) -> float:
    """Flow resistance of a round bore, 8 eta L / (pi R^4).

    Parameters
    ----------
    viscosity : float
        eta, [Pa s].
    length : float
        L, [m].
    radius : float
        R, [m].

    Returns
    -------
    float
        Pressure drop per volume flow, [Pa s/m^3].  Hagen and Poiseuille, textbook.
    """
    return 8.0 * viscosity * length / (math.pi * radius**4)


def film_resistance(
    *, viscosity: float, thickness: float, half_angle: float, first: float, last: float
) -> float:
    """Flow resistance of an even film on a cone, 3 eta ln(r2 / r1) / (2 pi h^3 sin a).

    The film sticks to the metal and is free at its surface, so that dp/ds = 3 eta q / h^3 with q
    the flow per circumference.

    Parameters
    ----------
    viscosity : float
        eta, [Pa s].
    thickness : float
        h, much less than the radii, [m].
    half_angle : float
        a, from the axis to the flank, > 0, [rad].
    first, last : float
        r1 and r2, radii of the cone where the film begins and ends, [m].

    Returns
    -------
    float
        Pressure drop per volume flow, [Pa s/m^3].  Lubrication flow, textbook.
    """
    return (
        3.0
        * viscosity
        * math.log(last / first)
        / (2.0 * math.pi * thickness**3 * math.sin(half_angle))
    )


def flat_film_resistance(
    *, viscosity: float, thickness: float, length: float, width: float
) -> float:
    """Flow resistance of an even film on a flat wall, 3 eta L / (h^3 w).

    Parameters
    ----------
    viscosity : float
        eta, [Pa s].
    thickness : float
        h, much less than the width, [m].
    length : float
        L, along the flow, [m].
    width : float
        w, the circumference of a cylinder that is much thicker than the film, [m].

    Returns
    -------
    float
        Pressure drop per volume flow, [Pa s/m^3].  Lubrication flow, textbook.
    """
    return 3.0 * viscosity * length / (thickness**3 * width)


def groove_resistance(*, viscosity: float, length: float, width: float, depth: float) -> float:
    """Flow resistance of an open rectangular groove, filled to the brim.

    Its flat surface is free, so that nothing shears it: the flow is that of the lower half of a
    closed duct of width w and height 2 d, with the series of textbooks for it (named after
    Boussinesq; no text was opened, Galerkin's method in `conegap validate` gives the same).

    Parameters
    ----------
    viscosity : float
        eta, [Pa s].
    length : float
        L, [m].
    width, depth : float
        w and d, [m].

    Returns
    -------
    float
        Pressure drop per volume flow, [Pa s/m^3].
    """
    small, large = sorted((width, 2.0 * depth))
    series = sum(math.tanh(n * math.pi * large / (2.0 * small)) / n**5 for n in range(1, _TERMS, 2))
    part = 1.0 - 192.0 * small / (math.pi**5 * large) * series
    # Twice the resistance of the whole duct, 12 eta L / (w h^3 part).
    return 2.0 * 12.0 * viscosity * length / (large * small**3 * part)


def porous_resistance(
    *, viscosity: float, length: float, permeability: float, area: float
) -> float:
    """Flow resistance of a porous body, eta L / (k A).

    Parameters
    ----------
    viscosity : float
        eta, [Pa s].
    length : float
        L, along the flow, [m].
    permeability : float
        k, [m^2].
    area : float
        A, across the flow, [m^2].

    Returns
    -------
    float
        Pressure drop per volume flow, [Pa s/m^3].  H. Darcy, 1856, textbook.
    """
    return viscosity * length / (permeability * area)


def pinned_holding(section: Section, surface_tension: float) -> float:
    """Greatest pressure that the liquid surface holds back while it stays on its contact line.

    Young and Laplace (textbook): a surface of even pressure around an axis is part of a sphere,
    p = 2 gamma / R, and one between two straight lines part of a cylinder, p = gamma / R.  Neither
    can be narrower than its contact line: R is at least the contact radius or half width a.

    Parameters
    ----------
    section : Section
        With a liquid boundary that begins on its axis or line of symmetry, or crosses it.
    surface_tension : float
        gamma, [N/m].

    Returns
    -------
    float
        2 gamma / a around an axis, gamma / a between two lines, [Pa]; infinite without a liquid
        surface.
    """
    for loop in section.loops:
        for boundary, before in zip(loop, (loop[-1], *loop[:-1]), strict=True):
            if boundary.name == "liquid" and before.name != "liquid":
                first, last = (float(x) for x in (boundary.curve.start[0], boundary.curve.end[0]))
                half = last if before.name in ("axis", "symmetry") else (last - first) / 2.0
                principal = 2.0 if section.symmetry == "axisymmetric" else 1.0
                return principal * surface_tension / abs(half)
    return math.inf
