"""How fast a cone forms, and how slowly a supply must rise for the onset to be the static one.

A liquid of size a moves against its own mass in sqrt(rho a^3 / gamma) and against its viscosity in
eta a / gamma; their ratio is the Ohnesorge number eta / sqrt(rho gamma a), some hundredths for
liquid metals of micrometres, so that mass decides.  In the last moments of an inviscid cone nothing
else has a length or a time, and its apex shrinks as (gamma tau^2 / rho)^(1/3), tau the time left:
N. M. Zubarev, JETP Lett 73, 544 (2001); that cones sharpen self-similarly at any Reynolds number is
computed by T. G. Albertson and S. M. Troian, arXiv:1908.04377 (abstracts and first lines read; the
exponent 2/3 follows from the dimensions alone).  Below eta^2 / (rho gamma), about a nanometre,
viscosity takes over.

About its turning point a shape follows the simplest equation that loses its equilibrium,

    t0^2 x'' + tv x' = epsilon + x^2,    epsilon = (V / V0)^2 - 1,

x the distance from the turning shape over a, both coefficients on the right taken as one.  A
voltage that rises by V0 in a time T is then ahead of the surface: it stands above V0 by

    V / V0 - 1 = 2.970 (t0 / T)^(4/5)   (mass alone),   1.856 (tv / T)^(2/3)   (viscosity alone)

when the cone has formed, and by less than their sum with both.  A voltage put on at once needs
about 5 t0, and may form a cone below V0, down to 0.87 V0, since the surface overshoots.  Derived
here; the constants are those of x'' = t + x^2 and of Airy's function.  Orders of magnitude, a
factor of three either way in time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["STEP_ONSET", "STEP_TIME", "ConeTimes", "cone_times", "fastest_growth_rate"]

# Delay of x'' = s + x^2 from its slow branch to infinity, 3.411689, and first zero of Airy's
# function, 2.3381, times the powers of two of epsilon = 2 t / T; the first is found again by the
# validation.
_INERTIAL_DELAY = 3.411689 * 2.0**-0.2
_VISCOUS_DELAY = 2.338107 * 2.0 ** (-1.0 / 3.0)

STEP_TIME = 5.152
"""sqrt(3/2) times the integral of (1 + x^3)^(-1/2) from -1 on: time from rest without field to the
cone, over t0, at a voltage V0 put on at once, [-]."""

STEP_ONSET = math.sqrt(0.75)
"""Least voltage that forms a cone when put on at once, over V0: the surface, let go at x = -1 with
epsilon, passes the other equilibrium if (epsilon + 1/4) >= 0 (energy), [-]."""


@dataclass(frozen=True)
class ConeTimes:
    """Times of a liquid of one size.

    Parameters
    ----------
    inertial : float
        t0 = sqrt(rho a^3 / gamma), [s].
    viscous : float
        tv = eta a / gamma; 0 where the viscosity is not known, [s].
    """

    inertial: float
    viscous: float

    @property
    def ohnesorge(self) -> float:
        """eta / sqrt(rho gamma a), [-]."""
        return self.viscous / self.inertial

    @property
    def formation(self) -> float:
        """Time from rest to a cone at a voltage put on at once, an order of magnitude, [s]."""
        return STEP_TIME * self.inertial + self.viscous

    def overshoot(self, rise: float) -> float:
        """V / V0 - 1 of a ramp when its cone has formed, an upper bound, [-].

        Parameters
        ----------
        rise : float
            T in which the ramp would rise from nothing to V0, > 0, [s].

        Raises
        ------
        ValueError
            The time is not positive.
        """
        if not rise > 0.0:
            raise ValueError(f"the time of rise {rise} s must be positive")
        mass = _INERTIAL_DELAY * (self.inertial / rise) ** 0.8
        return float(mass + _VISCOUS_DELAY * (self.viscous / rise) ** (2.0 / 3.0))

    def slow_rise(self, share: float = 0.01) -> float:
        """Time T of a ramp that overshoots by at most a share of the onset, [s].

        Parameters
        ----------
        share : float
            Of the onset voltage, > 0, [-].

        Raises
        ------
        ValueError
            The share is not positive.
        """
        if not share > 0.0:
            raise ValueError(f"the share {share} must be positive")
        # Half the share for either; the sum is a bound already.
        mass = self.inertial * (2.0 * _INERTIAL_DELAY / share) ** 1.25
        drag = self.viscous * (2.0 * _VISCOUS_DELAY / share) ** 1.5
        return float(max(mass, drag))


def cone_times(
    *, size: float, surface_tension: float, density: float, viscosity: float = 0.0
) -> ConeTimes:
    """Times of a liquid whose size is the radius of its base.

    Parameters
    ----------
    size : float
        a, > 0, [m].
    surface_tension : float
        gamma, > 0, [N/m].
    density : float
        rho, > 0, [kg/m^3].
    viscosity : float
        eta, >= 0, [Pa s].

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    if not (size > 0.0 and surface_tension > 0.0 and density > 0.0 and viscosity >= 0.0):
        raise ValueError(
            f"size {size}, tension {surface_tension}, density {density} must be positive and the "
            f"viscosity {viscosity} not negative"
        )
    return ConeTimes(
        inertial=math.sqrt(density * size**3 / surface_tension),
        viscous=viscosity * size / surface_tension,
    )


def fastest_growth_rate(*, stress: float, surface_tension: float, density: float) -> float:
    """Growth rate of the fastest wave of a flat charged liquid, [1/s].

    sqrt(4 P^3 / (27 rho gamma^2)), the maximum of rho s^2 = P k^2 - gamma k^3 with P = eps0 E^2;
    deep, inviscid, without gravity: L. Tonks, Phys Rev 48, 562 (1935), citation read in an
    excerpt, the maximum derived.

    Parameters
    ----------
    stress : float
        eps0 E^2 on the flat surface, >= 0, [Pa].
    surface_tension : float
        gamma, > 0, [N/m].
    density : float
        rho, > 0, [kg/m^3].

    Raises
    ------
    ValueError
        The stress is negative, or tension or density is not positive.
    """
    if not (stress >= 0.0 and surface_tension > 0.0 and density > 0.0):
        raise ValueError(
            f"stress {stress} must not be negative, tension {surface_tension} and density "
            f"{density} positive"
        )
    return math.sqrt(4.0 * stress**3 / (27.0 * density * surface_tension**2))
