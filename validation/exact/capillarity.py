"""Liquid surfaces without field: on a round lip, on a plane under gravity, and in a tube.

Slopes psi are measured below the horizontal, outward from the middle.  Lengths are in one unit l
of the caller's choice, pressures in gamma / l, B = rho g l^2 / gamma with gravity towards the
liquid.  On the surface P - B z = sum of the principal curvatures (Young 1805, Laplace 1806).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from conegap.geometries.curves.curve import FloatArray

__all__ = ["RoundLip", "SessileDrop", "cap_volume_at_angle", "rise_in_tube", "sessile_drop"]


@dataclass(frozen=True)
class RoundLip:
    """A lip of circular section that a liquid meets at a given contact angle.

    The lip's place is its turn beta from the crest: 0 on top, positive outward, -pi/2 at the wall
    of a channel.  Its surface there slopes by beta, so that the liquid's slopes by contact angle
    + beta, and a surface that is a circular arc (or a spherical cap) has the pressure

        P = n sin(contact angle + beta) / (c + r sin(beta)),   n = 1 (slit) or 2 (tube).

    Source: derived.

    Parameters
    ----------
    centre : float
        c, distance of the lip's centre from the middle.
    radius : float
        r, of the lip, below c.
    contact_angle : float
        [rad].
    round_about_axis : bool
        A tube's rim, not a slit's lip.
    """

    centre: float
    radius: float
    contact_angle: float
    round_about_axis: bool = False

    def half_width(self, turn: float) -> float:
        """Of the liquid surface whose contact line is at a turn beta [rad]."""
        return self.centre + self.radius * math.sin(turn)

    def pressure(self, turn: float) -> float:
        """P with the contact line at a turn beta [rad]."""
        curvatures = 2.0 if self.round_about_axis else 1.0
        return curvatures * math.sin(self.contact_angle + turn) / self.half_width(turn)

    def height(self, turn: float) -> float:
        """Of the liquid's middle above the lip's crest, the contact line at a turn beta [rad]."""
        rise = math.tan(0.5 * (self.contact_angle + turn)) * self.half_width(turn)
        return rise - self.radius * (1.0 - math.cos(turn))

    @property
    def last_turn(self) -> float:
        """Where the pressure is greatest: cos(contact angle + beta) = r sin(angle) / c, [rad].

        Under a held pressure the liquid runs over the lip from there on.
        """
        inner = self.radius * math.sin(self.contact_angle) / self.centre
        return math.acos(inner) - self.contact_angle

    def turn(self, pressure: float) -> float:
        """Turn at which the lip holds a pressure, from the channel's wall to `last_turn`, [rad].

        Raises
        ------
        ValueError
            The pressure is greater or less than the lip can hold.
        """
        least = -0.5 * math.pi
        if not self.pressure(least) <= pressure <= self.pressure(self.last_turn):
            raise ValueError(f"the lip does not hold the pressure {pressure:g}")
        return float(
            brentq(lambda turn: self.pressure(turn) - pressure, least, self.last_turn, xtol=1e-14)
        )


def cap_volume_at_angle(contact_angle: float) -> float:
    """Volume of a spherical cap of contact radius 1, from its ``contact_angle`` [rad].

    pi (2 + cos) (1 - cos)^2 / (3 sin^3).  Source: textbook.
    """
    cosine, sine = math.cos(contact_angle), math.sin(contact_angle)
    return math.pi * (2.0 + cosine) * (1.0 - cosine) ** 2 / (3.0 * sine**3)


@dataclass(frozen=True)
class SessileDrop:
    """A drop about an axis on a plane, by integration of its slope along the arc.

    Parameters
    ----------
    radius : float
        Of the contact line.
    height : float
    volume : float
    pressure : float
        P on the plane.
    area : float
        Of the liquid surface.
    moment : float
        Integral of the height z over the volume.
    """

    radius: float
    height: float
    volume: float
    pressure: float
    area: float
    moment: float


def _from_apex(bend: float, bond_number: float, slope: float) -> FloatArray:
    """r, depth, volume, area and moment of depth where a surface reaches a slope, (5,) array.

    ``bend`` is the sum of the curvatures at the apex; the slope is the variable, so that nothing
    has to be found along the arc.
    """

    def along(psi: float, state: FloatArray) -> list[float]:
        r, depth = state[0], state[1]
        around = math.sin(psi) / r if r > 1e-12 else 0.5 * bend
        per_slope = 1.0 / (bend + bond_number * depth - around)
        ring = math.pi * r**2 * math.sin(psi) * per_slope
        return [math.cos(psi) * per_slope, math.sin(psi) * per_slope, ring,
                2.0 * math.pi * r * per_slope, ring * depth]  # fmt: skip

    found = solve_ivp(along, (0.0, slope), np.zeros(5), rtol=1e-11, atol=1e-13, method="DOP853")
    return np.asarray(found.y[:, -1])


def sessile_drop(contact_angle: float, volume: float, bond_number: float) -> SessileDrop:
    """A drop of a volume under gravity.

    Source: Bashforth and Adams, An Attempt to Test the Theories of Capillary Action (1883), from
    memory; integrated here.

    Parameters
    ----------
    contact_angle : float
        Between 0 and pi, [rad].
    volume : float
        [l^3].
    bond_number : float
        B, not negative, [-].
    """
    cap = math.pow(volume / cap_volume_at_angle(contact_angle), 1.0 / 3.0)
    round_bend = 2.0 * math.sin(contact_angle) / cap

    def excess(bend: float) -> float:
        return float(_from_apex(bend, bond_number, contact_angle)[2]) / volume - 1.0

    # Gravity flattens the apex.
    low = _below(excess, round_bend)
    bend = float(brentq(excess, low, round_bend * (1.0 + 1e-9), xtol=1e-14))
    r, depth, filled, area, sunk = (float(v) for v in _from_apex(bend, bond_number, contact_angle))
    return SessileDrop(r, depth, filled, bend + bond_number * depth, area, depth * filled - sunk)


def _below(excess: Callable[[float], float], bend: float) -> float:
    """A curvature of the apex that gives too large a drop."""
    while excess(bend) <= 0.0:
        bend *= 0.5
    return bend


def rise_in_tube(contact_angle: float, bond_number: float) -> float:
    """Height of the meniscus's lowest point above the pool outside, in bores' radii, [-].

    The weight of the column is the tension around it, 2 pi cos(contact angle), whatever the
    meniscus; for B much below 1 the height is Jurin's 2 cos / B.

    Parameters
    ----------
    contact_angle : float
        Below pi / 2, [rad].
    bond_number : float
        B = rho g a^2 / gamma of the bore's radius a, [-].
    """

    def short(bend: float) -> float:
        return float(_from_apex(bend, bond_number, 0.5 * math.pi - contact_angle)[0]) - 1.0

    round_bend = 2.0 * math.cos(contact_angle)
    low = _below(short, round_bend)
    return float(brentq(short, low, round_bend, xtol=1e-14)) / bond_number
