"""First-order spread of a beam by its own charge.

The charge of a beam of current I that fills the radius a evenly drives an ion at its edge outward
with the field I / (2 pi eps0 a v) (Gauss's law, any textbook on charged-particle beams); a sheet
with the current J per length does so with J / (2 eps0 v), whatever its width.  The transverse
speed that this field gives along the computed path of the beam's edge, over the forward speed at
its end, is the added half angle.  The path itself is not changed: that is the first order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.constants import elementary_charge, epsilon_0

from conegap.geometries.curves.curve import FloatArray

__all__ = ["SpaceChargeSpread", "added_angle", "space_charge_spread"]

# Of the half angle, up to which a first-order spread is taken for proved: the next order is then
# some 0.3^2, a tenth.
_SMALL = 0.3


@dataclass(frozen=True)
class SpaceChargeSpread:
    """Spread by the beam's own charge.

    Parameters
    ----------
    current : float
        Of the beam; for a sheet per length of slit, [A] or [A/m].
    angle : float
        Added to the half angle of the beam's edge, to first order, [rad].
    valid : bool
        The angle is below 0.3 of the half angle without it, so that the computed path may serve.
    """

    current: float
    angle: float
    valid: bool


def added_angle(
    path: FloatArray, times: FloatArray, half_width: FloatArray, mass: float, *, sheet: bool
) -> float:
    """Added half angle over the current, to first order.

    Parameters
    ----------
    path : (k, 2) array
        Path of an ion at the edge of the beam, [m].
    times : (k,) array
        [s].
    half_width : (k,) array
        Half width of the beam at the points of the path, > 0, [m].
    mass : float
        Of the ion, [kg].
    sheet : bool
        A planar sheet instead of a round beam.

    Returns
    -------
    float
        [rad/A] for a round beam, [rad m/A] for a sheet.
    """
    dt = np.diff(times)
    keep = dt > 0.0
    ds = np.hypot(*np.diff(path, axis=0).T)[keep]
    dt = dt[keep]
    speed = ds / dt
    width = 0.5 * (half_width[1:] + half_width[:-1])[keep]
    per_current = 1.0 / (2.0 * epsilon_0) if sheet else 1.0 / (2.0 * math.pi * epsilon_0 * width)
    acceleration = elementary_charge / mass * np.sum(per_current / speed * dt)
    return float(acceleration / speed[-1])


def space_charge_spread(
    path: FloatArray,
    times: FloatArray,
    half_width: FloatArray,
    mass: float,
    *,
    current: float,
    half_angle: float,
    sheet: bool,
) -> SpaceChargeSpread:
    """Spread of a beam, and whether the first order may be believed.

    Parameters
    ----------
    path : (k, 2) array
        Path of an ion at the edge of the beam, [m].
    times : (k,) array
        [s].
    half_width : (k,) array
        Half width of the beam at the points of the path, > 0, [m].
    mass : float
        Of the ion, [kg].
    sheet : bool
        A planar sheet instead of a round beam.
    current : float
        [A], or [A/m] for a sheet.
    half_angle : float
        Of the beam's edge without its own charge, [rad].
    """
    angle = current * added_angle(path, times, half_width, mass, sheet=sheet)
    return SpaceChargeSpread(current, angle, bool(angle <= _SMALL * half_angle))
