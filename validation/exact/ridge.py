"""Waves along a charged liquid cylinder, from the radial equations integrated as they stand.

A wave r = R + e cos(k z) of a cylinder at a held potential moves a potential flow inside and the
field outside; both obey (r p')' / r = k^2 p.  Their logarithmic slopes y = p' / p at R follow from
y' = k^2 - y^2 - y / r, from the axis outward and from afar inward, without Bessel functions.  With
G = eps0 E^2 R / gamma and lengths in R, tension pulls with k^2 - 1, the field with G (-y - 1), and
rho R^3 s^2 / gamma = y_inside (1 - k^2 + G (-y_outside - 1)).

Source: derived.
"""

from __future__ import annotations

from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

__all__ = ["fastest_wave", "growth"]

_FAR = 20.0  # decay lengths: what starts there wrong by a tenth arrives right to 1e-17
_NEAR = 1e-4  # in radii: from the axis, where y = k^2 r / 2


def _slope_at_surface(wave_number: float, start: float, value: float) -> float:
    """y at r = 1 from its value at another radius."""

    def along(r: float, y: list[float]) -> list[float]:
        return [wave_number**2 - y[0] ** 2 - y[0] / r]

    found = solve_ivp(along, (start, 1.0), [value], rtol=1e-10, atol=1e-12, method="LSODA")
    return float(found.y[0, -1])


def growth(*, wave_number: float, stress: float) -> float:
    """Square of the growth rate in gamma / (rho R^3), [-].

    Parameters
    ----------
    wave_number : float
        k R, > 0, [-].
    stress : float
        G = eps0 E^2 R / gamma, [-].
    """
    k = wave_number
    inside = _slope_at_surface(k, _NEAR, 0.5 * k**2 * _NEAR)
    far = 1.0 + _FAR / k
    outside = _slope_at_surface(k, far, -k - 0.5 / far)
    return inside * (1.0 - k**2 + stress * (-outside - 1.0))


def fastest_wave(*, stress: float) -> float:
    """k R of the fastest wave, [-].  Parameters as for `growth`."""
    found = minimize_scalar(
        lambda k: -growth(wave_number=k, stress=stress),
        bounds=(0.3, 1.0 + stress),
        method="bounded",
        options={"xatol": 1e-7},
    )
    return float(found.x)
