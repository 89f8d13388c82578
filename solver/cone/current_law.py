"""Ion current of one liquid cone against voltage: two laws that bracket it.

Both say that the charge of the ions takes back what the voltage adds above V0, where the field just
holds the cone without charge (its extinction), and both are straight lines through V0:

* `cone_current`: the charge acts across the whole gap, as between plates, and the ions pass it
  with the energy of V0.  I = 3 pi R gamma cos(alpha) sqrt(2 e / m) V0^(-1/2) (V / V0 - 1),
  G. L. R. Mair, J Phys D 17, 2323 (1984), cited from memory; 3 pi derived here: plane weak charge
  lowers the pull by (4/3) I sqrt(m V / 2 e), which balances the excess pull
  4 pi R gamma cos(alpha) (V / V0 - 1).
* `near_cone_current`: only charge about the cone acts, as in `charged_flow`, whose slope at zero
  current is I = 4.456 gamma L sqrt(2 e / m) U^(-1/2) (V / V0 - 1), with L = R / sin(alpha) the
  slant length of the cone and U = 1.3459 sqrt(gamma L / eps0) the voltage that the cone takes.

With the same voltage the two differ by 4 % (4.456 / sin(alpha) = 1.871 pi against 3 pi cos(alpha) =
1.957 pi), although one is plane and the other conical.  What parts them is which voltage the ions
have where their charge acts: the charge far from a small cone hardly acts on it, so the true slope
lies nearer the second; charge that does act far off slows it towards the first.  Their ratio,
sqrt(V0 / U), 2 to 3 for a cone of some micrometres in a gap of some kilovolts, is the computed
uncertainty of the law.  It does not hold what neither model has: the resistance of the feed, a base
radius that is not the one given, droplets, ions of two charges.

The charged cone steepens: at 1.14 V0 its slope is 7 % above that at V0, at 1.5 V0 20 %.  Both laws
are used straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import elementary_charge

from conegap.solver.cone.taylor import TAYLOR_HALF_ANGLE, cone_voltage

__all__ = [
    "NEAR_CONE_SLOPE",
    "ConeSlopes",
    "cone_current",
    "middle_cone_current",
    "near_cone_current",
]

NEAR_CONE_SLOPE = 4.455997
"""d(reduced current) / d(voltage ratio) of the charged cone at zero current, [-].

Limit of `conegap.solver.cone.charged_flow.charged_cone` at Taylor's angle; found again by linear
response in `conegap.validation.exact.charged_cone`."""


@dataclass(frozen=True)
class ConeSlopes:
    """Current of one cone against the voltage across its gap.

    Parameters
    ----------
    extinction_voltage : float
        V0, at which the field holds the cone without charge, > 0, [V].
    base_radius : float
        R, of the cone's base, > 0, [m].
    surface_tension : float
        gamma, > 0, [N/m].
    ion_mass : float
        m of an ion of one charge, > 0, [kg].

    Raises
    ------
    ValueError
        A quantity is not positive.
    """

    extinction_voltage: float
    base_radius: float
    surface_tension: float
    ion_mass: float

    def __post_init__(self) -> None:
        for name, value in (
            ("extinction voltage", self.extinction_voltage),
            ("base radius", self.base_radius),
            ("surface tension", self.surface_tension),
            ("ion mass", self.ion_mass),
        ):
            if not value > 0.0:
                raise ValueError(f"{name} {value} must be positive")

    @property
    def slant_length(self) -> float:
        """L = R / sin(alpha), from the apex to the base, [m]."""
        return self.base_radius / math.sin(TAYLOR_HALF_ANGLE)

    @property
    def own_voltage(self) -> float:
        """U that the cone takes of V0: all of it for a cone as large as its gap, [V]."""
        own = cone_voltage(surface_tension=self.surface_tension, slant_length=self.slant_length)
        return min(own, self.extinction_voltage)

    @property
    def across_gap_slope(self) -> float:
        """dI/dV where the charge acts across the whole gap, [A/V]."""
        pull = 3.0 * math.pi * self.base_radius * math.cos(TAYLOR_HALF_ANGLE)
        return self._slope(pull, self.extinction_voltage)

    @property
    def near_cone_slope(self) -> float:
        """dI/dV where only the charge about the cone acts, [A/V]."""
        return self._slope(NEAR_CONE_SLOPE * self.slant_length, self.own_voltage)

    @property
    def slope(self) -> float:
        """dI/dV midway between both by ratio, [A/V]."""
        return math.sqrt(self.across_gap_slope * self.near_cone_slope)

    @property
    def factor(self) -> float:
        """By how much either law differs from `slope`, >= 1, [-]."""
        ratio = math.sqrt(self.near_cone_slope / self.across_gap_slope)
        return max(ratio, 1.0 / ratio)

    def current(self, voltage: float) -> float:
        """Midway between both laws by ratio; 0 below V0, [A].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        return self.slope * max(voltage - self.extinction_voltage, 0.0)

    def _slope(self, length: float, voltage: float) -> float:
        speed = math.sqrt(2.0 * elementary_charge / (self.ion_mass * voltage))
        return self.surface_tension * length * speed / self.extinction_voltage


def cone_current(
    voltage: float,
    *,
    extinction_voltage: float,
    base_radius: float,
    surface_tension: float,
    ion_mass: float,
) -> float:
    """Current by Mair's law, I = 3 pi R gamma cos(alpha) sqrt(2 e / (m V0)) (V / V0 - 1).

    V0 is where the pull of the field on the cone just balances surface tension, so that no charge
    is needed to hold it back: the extinction voltage.

    Parameters
    ----------
    voltage : float
        Across the gap, [V].
    extinction_voltage : float
        V0, > 0, [V].
    base_radius : float
        R, radius of the base of the liquid cone, [m].
    surface_tension : float
        gamma, [N/m].
    ion_mass : float
        m, [kg].

    Returns
    -------
    float
        0 below V0, [A].  G. L. R. Mair (1984), from memory; order of magnitude.

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    law = ConeSlopes(extinction_voltage, base_radius, surface_tension, ion_mass)
    return law.across_gap_slope * max(voltage - extinction_voltage, 0.0)


def near_cone_current(
    voltage: float,
    *,
    extinction_voltage: float,
    base_radius: float,
    surface_tension: float,
    ion_mass: float,
) -> float:
    """Current if only the charge about the cone acts on it: the self-similar charged cone.

    Parameters
    ----------
    voltage : float
        Across the gap, [V].
    extinction_voltage : float
        V0, > 0, [V].
    base_radius : float
        R, radius of the base of the liquid cone, [m].
    surface_tension : float
        gamma, [N/m].
    ion_mass : float
        m, [kg].

    Returns
    -------
    float
        0 below V0, [A].  Derived here.

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    law = ConeSlopes(extinction_voltage, base_radius, surface_tension, ion_mass)
    return law.near_cone_slope * max(voltage - extinction_voltage, 0.0)


def middle_cone_current(
    voltage: float,
    *,
    extinction_voltage: float,
    base_radius: float,
    surface_tension: float,
    ion_mass: float,
) -> float:
    """Current midway by ratio between `cone_current` and `near_cone_current`.

    Parameters
    ----------
    voltage : float
        Across the gap, [V].
    extinction_voltage : float
        V0, > 0, [V].
    base_radius : float
        R, radius of the base of the liquid cone, [m].
    surface_tension : float
        gamma, [N/m].
    ion_mass : float
        m, [kg].

    Returns
    -------
    float
        0 below V0, [A].  `ConeSlopes.factor` says how far off both laws are.

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    law = ConeSlopes(extinction_voltage, base_radius, surface_tension, ion_mass)
    return law.current(voltage)
