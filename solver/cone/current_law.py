"""Ion current of one liquid cone against voltage: how much of the field's pull the ions take.

V0 is the extinction, where the pull of the field just carries the surface tension of the cone's
base, 2 pi R gamma cos(alpha).  A voltage above it adds 4 pi R gamma cos(alpha) (V / V0 - 1) to the
pull, which the charge of the ions takes back.  Three models say how much a current takes:

* `cone_current`: (2/3) I sqrt(2 m V0 / e), plane weak charge across the whole gap.  It gives
  I = 3 pi R gamma cos(alpha) sqrt(2 e / m) V0^(-1/2) (V / V0 - 1), derived; it goes by the name of
  G. L. R. Mair, J Phys D 17, 2323 (1984), which was not opened.
* `near_cone_slope`: the charged cone of `charged_flow`, whose ions leave all of its surface.  Its
  slope at zero current is I = 4.456 gamma L sqrt(2 e / m) U^(-1/2) (V / V0 - 1), with
  L = R / sin(alpha) the slant length and U = 1.3459 sqrt(gamma L / eps0) the voltage that the cone
  takes of V0.
* `apex_cone_current`, the one in use: ions leave the apex, as field evaporation has it, and take
  1.10 I sqrt(2 m U / e), the momentum that they gain about the cone.  That form and its 1.10 are
  those of boundary elements for fifteen gaps, within 17 %: needles of 2 to 45 degrees, tubes, a
  plate, with plane and aperture, V0 / U from 1.3 to 21 (`conegap.validation.boundary_elements.
  cone_in_gap`; sharp needles lie at 1.2 to 1.28, tubes and plates at 0.95 to 1.07).

Mair's plane law agrees with the third for tubes and needles whose V0 / U is about 3 and is up to
three times lower for a cone on a plate; the second lies 1.57 times above the third, since charge
that starts all over the cone is nearer its base.  None has the resistance of the feed, a base that
is not the one given, droplets, or ions of two charges.

The charged cone steepens: at 1.14 V0 its slope is 7 % above that at V0, at 1.5 V0 20 %.  All three
are used straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import elementary_charge

from conegap.solver.cone.taylor import TAYLOR_HALF_ANGLE, cone_voltage

__all__ = [
    "APEX_SHARE",
    "APEX_SPREAD",
    "NEAR_CONE_SLOPE",
    "ConeSlopes",
    "apex_cone_current",
    "cone_current",
]

NEAR_CONE_SLOPE = 4.455997
"""d(reduced current) / d(voltage ratio) of the charged cone at zero current, [-].

Limit of `conegap.solver.cone.charged_flow.charged_cone` at Taylor's angle; found again by linear
response in `conegap.validation.exact.charged_cone`."""


APEX_SHARE = 1.10
"""Pull that ions from the apex take from the cone over the momentum at its own voltage U, [-]:
geometric mean of the least and the greatest of fifteen gaps by boundary elements."""

APEX_SPREAD = 1.17
"""By how much that share differs between these gaps, either way, [-]."""


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
        """dI/dV where ions leave the apex, the law in use, [A/V]."""
        # They cannot take more than all of their momentum.
        share = min(APEX_SHARE, math.sqrt(self.extinction_voltage / self.own_voltage))
        pull = 2.0 * math.pi * self.base_radius * math.cos(TAYLOR_HALF_ANGLE)
        return self._slope(pull / share, self.own_voltage)

    @property
    def factor(self) -> float:
        """By how much the other two models differ from `slope` at most, >= 1, [-]."""
        others = (self.across_gap_slope / self.slope, self.near_cone_slope / self.slope)
        return max(max(ratio, 1.0 / ratio) for ratio in others)

    def current(self, voltage: float) -> float:
        """By `slope`; 0 below V0, [A].

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
        0 below V0, [A].  Derived, see above; order of magnitude.

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    law = ConeSlopes(extinction_voltage, base_radius, surface_tension, ion_mass)
    return law.across_gap_slope * max(voltage - extinction_voltage, 0.0)


def apex_cone_current(
    voltage: float,
    *,
    extinction_voltage: float,
    base_radius: float,
    surface_tension: float,
    ion_mass: float,
) -> float:
    """Current of ions that leave the apex, the law in use.

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
        0 below V0, [A].  Derived here, its number by boundary elements; `ConeSlopes.factor` says
        how far off the other models are.

    Raises
    ------
    ValueError
        A quantity is not positive.
    """
    law = ConeSlopes(extinction_voltage, base_radius, surface_tension, ion_mass)
    return law.current(voltage)
