"""The balance of field stress against surface tension on a rigid liquid surface.

eps0 E^2 / 2 + p = gamma (1/R1 + 1/R2) at the emitting edge, where p is the gauge pressure of the
liquid (feed pressure, or the negative suction of a wick); G. I. Taylor, Proc R Soc A 280, 383
(1964) for the balance.  The surface keeps its shape: the true onset of a free surface is lower.
"""

from __future__ import annotations

import math

from scipy.constants import epsilon_0

from conegap.geometries.quantities.errors import DesignError

__all__ = ["balance_field", "field_stress", "surface_wave_field", "surface_wave_spacing"]


def field_stress(field: float) -> float:
    """Outward stress of a field on a conductor, eps0 E^2 / 2.

    Parameters
    ----------
    field : float
        Normal field, [V/m].

    Returns
    -------
    float
        Stress, [Pa].  J. C. Maxwell's stress; any textbook of electrodynamics.
    """
    return float(0.5 * epsilon_0 * field**2)


def balance_field(*, surface_tension: float, curvature: float, pressure: float = 0.0) -> float:
    """Field at which its stress and the liquid's pressure balance the surface tension.

    Parameters
    ----------
    surface_tension : float
        gamma, > 0, [N/m].
    curvature : float
        Sum of both principal curvatures, positive for a convex surface, [1/m].
    pressure : float
        Gauge pressure of the liquid, [Pa].

    Returns
    -------
    float
        E, [V/m].  G. I. Taylor, Proc R Soc A 280, 383 (1964).

    Raises
    ------
    DesignError
        The pressure alone exceeds what surface tension can hold.
    """
    held = surface_tension * curvature
    if held <= 0.0:
        raise DesignError(
            "the emitting edge is flat or hollow where its field is greatest "
            f"(curvature {curvature:.3g} 1/m), so surface tension does not hold it and a rigid "
            "balance gives no onset; give the edge a convex radius"
        )
    if pressure >= held:
        raise DesignError(
            f"the pressure at the emitting edge, {pressure:.4g} Pa (liquid.feed_pressure and the "
            f"weight of a liquid column that is stated), exceeds the {held:.4g} Pa that surface "
            "tension holds there: the liquid floods the edge without any voltage; lower the feed "
            "pressure or choose a sharper edge",
            keys=("liquid.feed_pressure",),
        )
    return math.sqrt(2.0 * (held - pressure) / epsilon_0)


def surface_wave_spacing(*, surface_tension: float, field: float) -> float:
    """Wavelength of the fastest-growing wave on a flat surface, 3 pi gamma / (eps0 E^2).

    Deep, inviscid liquid without gravity, gap much wider than the wave; from
    rho s^2 = eps0 E^2 k^2 - gamma k^3; L. Tonks, Phys Rev 48, 562 (1935), J. Frenkel, Phys Z
    Sowjet 8, 675 (1935).  It is the expected spacing of emission sites along a slit.

    Parameters
    ----------
    surface_tension : float
        gamma, > 0, [N/m].
    field : float
        E, [V/m].

    Returns
    -------
    float
        Wavelength, [m].
    """
    return float(3.0 * math.pi * surface_tension / (epsilon_0 * field**2))


def surface_wave_field(*, surface_tension: float, wavelength: float) -> float:
    """Field at which the fastest-growing wave has a given length, [V/m].

    The inverse of `surface_wave_spacing`, with the same sources.

    Parameters
    ----------
    surface_tension : float
        gamma, > 0, [N/m].
    wavelength : float
        > 0, [m].
    """
    return math.sqrt(3.0 * math.pi * surface_tension / (epsilon_0 * wavelength))
