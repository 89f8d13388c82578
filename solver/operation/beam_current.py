"""Ion current against voltage, and what the beam carries: an order of magnitude.

The slope is that of G. L. R. Mair, J Phys D 17, 2323 (1984), cited from memory; its factor 3 pi
follows from weak planar space charge: the charge of the beam lowers the pull of the field on the
cone by (4/3) I sqrt(m V / 2 e), which balances the excess pull 4 pi R gamma cos(alpha) (V/V0 - 1).
V0 is thus the voltage at which the pull alone holds the cone, its extinction; where that is not
known, or its estimate lies above the onset, the law is counted from the onset.  It ignores the
resistance of the feed and holds near the onset.  An order of magnitude is meant in the sense of the
words: right within half a decade either way, a factor of three.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from scipy.constants import elementary_charge
from scipy.optimize import brentq

from conegap.solver.operation.exhaust import IonExhaust, ion_exhaust

__all__ = [
    "ORDER_OF_MAGNITUDE",
    "TAYLOR_HALF_ANGLE",
    "CurrentLaw",
    "CurrentPoint",
    "OperatingPoint",
    "ThrustFactor",
    "operating_point",
    "site_current",
    "thrust_factor",
]

TAYLOR_HALF_ANGLE = math.radians(49.29008929210)
"""Half angle of the cone in balance, G. I. Taylor, Proc R Soc A 280, 383 (1964), [rad]."""

ORDER_OF_MAGNITUDE = math.sqrt(10.0)
"""Half a decade: by how much the law's slope may be off either way, [-]."""

# Over the onset: close together where the current begins, up to twice what a bench usually runs
# at.
_STEPS = (1.0, 1.02, 1.05, 1.1, 1.2, 1.5)


def site_current(
    voltage: float,
    *,
    extinction_voltage: float,
    base_radius: float,
    surface_tension: float,
    ion_mass: float,
) -> float:
    """Current of one emission site, I = 3 pi R gamma cos(alpha) sqrt(2 e / (m V0)) (V / V0 - 1).

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
    for name, value in (
        ("extinction voltage", extinction_voltage),
        ("base radius", base_radius),
        ("surface tension", surface_tension),
        ("ion mass", ion_mass),
    ):
        if not value > 0.0:
            raise ValueError(f"{name} {value} must be positive")
    pull = 3.0 * math.pi * base_radius * surface_tension * math.cos(TAYLOR_HALF_ANGLE)
    per_excess = pull * math.sqrt(2.0 * elementary_charge / (ion_mass * extinction_voltage))
    return per_excess * max(voltage / extinction_voltage - 1.0, 0.0)


@dataclass(frozen=True)
class CurrentPoint:
    """Current at one voltage.

    Parameters
    ----------
    voltage : float
        Across the gap, [V].
    current : float
        Of all sites, [A].
    sites : float
        [-].
    """

    voltage: float
    current: float
    sites: float


@dataclass(frozen=True)
class CurrentLaw:
    """How a design emits above its onset.

    Parameters
    ----------
    onset_voltage : float
        Of the design as drawn, [V].
    base_radius : float
        Radius of the base of a liquid cone, [m].
    surface_tension : float
        [N/m].
    ion_mass : float
        [kg].
    sites_at_onset : float
        1 for point emitters; on a slit its length over the site spacing, [-].
    spreads : bool
        On a slit the spacing falls as 1 / V^2, so that the number of sites rises as V^2.
    relative_onsets : tuple of float
        Onset of every tip over ``onset_voltage``: below it a tip carries none, [-].
    extinction_over_onset : float
        Where the law begins: extinction over onset, 1 where no extinction is known, [-].
    strength : float
        Factor on the law's slope, to see what its uncertainty does, [-].
    """

    onset_voltage: float
    base_radius: float
    surface_tension: float
    ion_mass: float
    sites_at_onset: float = 1.0
    spreads: bool = False
    relative_onsets: tuple[float, ...] = (1.0,)
    extinction_over_onset: float = 1.0
    strength: float = 1.0

    def band(self) -> tuple[CurrentLaw, CurrentLaw]:
        """The law with its slope a factor of three lower and higher."""
        low, high = self.strength / ORDER_OF_MAGNITUDE, self.strength * ORDER_OF_MAGNITUDE
        return replace(self, strength=low), replace(self, strength=high)

    def lit_at(self, voltage: float) -> int:
        """How many tips a rising voltage has lit, [-].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        return sum(voltage >= own * self.onset_voltage for own in self.relative_onsets)

    def at(self, voltage: float, lit: int | None = None) -> CurrentPoint:
        """Current and number of sites that emit.

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        lit : int or None
            Tips that emit already and go on down to their extinction; those whose onset the
            voltage reaches when left out, [-].
        """
        share = voltage / self.onset_voltage
        sites = self.sites_at_onset * (share**2 if self.spreads else 1.0)
        count = self.lit_at(voltage) if lit is None else lit
        emitting = sorted(self.relative_onsets)[:count]
        each = sum(
            site_current(
                voltage,
                extinction_voltage=own * self.onset_voltage * self.extinction_over_onset,
                base_radius=self.base_radius,
                surface_tension=self.surface_tension,
                ion_mass=self.ion_mass,
            )
            for own in emitting
        )
        return CurrentPoint(voltage, self.strength * sites * each, sites * count)

    def behind(self, voltage: float, ballast: float) -> CurrentPoint:
        """Voltage left across the gap, current and sites behind a ballast.

        As the supply rises, one tip after the other lights when what is left across the gap
        reaches its onset; then its current takes its part of the voltage.

        Parameters
        ----------
        voltage : float
            Emitter minus accelerator as set at the supply, [V].
        ballast : float
            Resistance in the emitter's lead, >= 0, [ohm].
        """
        point = self.at(voltage, 0)
        for lit, own in enumerate(sorted(self.relative_onsets), start=1):
            if point.voltage < own * self.onset_voltage:
                break
            left = voltage
            if ballast > 0.0:
                left = float(
                    brentq(self._excess, 0.0, voltage, (lit, voltage, ballast), rtol=1e-13)
                )
            point = self.at(left, lit)
        return point

    def _excess(self, gap: float, lit: int, voltage: float, ballast: float) -> float:
        return gap + ballast * self.at(gap, lit).current - voltage

    def curve(self) -> tuple[CurrentPoint, ...]:
        """Points from the onset to one and a half times it."""
        return tuple(self.at(step * self.onset_voltage) for step in _STEPS)


@dataclass(frozen=True)
class OperatingPoint:
    """Where the emission meets the supply with its ballast in the emitter's lead.

    Parameters
    ----------
    point : CurrentPoint
        Voltage left across the gap, current and sites.
    ballast_drop : float
        [V].
    emitter_voltage : float
        Emitter against ground, less the drop, [V].
    exhaust : IonExhaust or None
        None where the emitter is not positive against ground.
    mass_flow : float
        If every atom left as a single ion, the least that the feed must carry, [kg/s].
    """

    point: CurrentPoint
    ballast_drop: float
    emitter_voltage: float
    exhaust: IonExhaust | None
    mass_flow: float

    @property
    def thrust(self) -> float | None:
        """Without divergence, [N]."""
        if self.exhaust is None:
            return None
        return self.point.current * self.exhaust.thrust_per_current

    @property
    def beam_power(self) -> float | None:
        """Current times the fall from emitter to ground, [W]."""
        return None if self.exhaust is None else self.point.current * self.emitter_voltage


def operating_point(
    emission: CurrentLaw, *, voltage: float, emitter_voltage: float, ballast: float
) -> OperatingPoint:
    """Balance of the slope law with the straight line of the ballast.

    Parameters
    ----------
    emission : Emission
    voltage : float
        Emitter minus accelerator as set at the supply, [V].
    emitter_voltage : float
        Emitter against ground as set at the supply, [V].
    ballast : float
        Resistance in the emitter's lead, >= 0, [ohm].

    Raises
    ------
    ValueError
        The resistance is negative.
    """
    if ballast < 0.0:
        raise ValueError(f"the ballast {ballast} ohm must not be negative")
    point = emission.behind(voltage, ballast)
    left = point.voltage
    remaining = emitter_voltage - (voltage - left)
    exhaust = (
        ion_exhaust(ion_mass=emission.ion_mass, voltage=remaining) if remaining > 0.0 else None
    )
    mass_flow = point.current * emission.ion_mass / elementary_charge
    return OperatingPoint(point, voltage - left, remaining, exhaust, mass_flow)


@dataclass(frozen=True)
class ThrustFactor:
    """Thrust over that of a parallel beam, for a beam within a half angle.

    Parameters
    ----------
    uniform : float
        Equal current per solid angle, (1 + cos t) / 2, [-].
    cosine : float
        Current per solid angle as the cosine, (2/3) (1 - cos^3 t) / (1 - cos^2 t), [-].
    fan : float
        A flat fan behind a slit, equal current per angle, sin t / t, [-].
    """

    uniform: float
    cosine: float
    fan: float


def thrust_factor(half_angle: float) -> ThrustFactor:
    """Loss of thrust by divergence: the mean cosine of the beam, in closed form.

    Parameters
    ----------
    half_angle : float
        t, between 0 and pi/2, [rad].

    Raises
    ------
    ValueError
        The angle is outside its range.
    """
    if not 0.0 <= half_angle <= math.pi / 2.0:
        raise ValueError(f"the half angle {half_angle} rad must lie between 0 and pi/2")
    if half_angle == 0.0:
        return ThrustFactor(1.0, 1.0, 1.0)
    c = math.cos(half_angle)
    return ThrustFactor(
        uniform=(1.0 + c) / 2.0,
        # (1 - c^3) / (1 - c^2) = (1 + c + c^2) / (1 + c), without cancellation.
        cosine=2.0 / 3.0 * (1.0 + c + c * c) / (1.0 + c),
        fan=math.sin(half_angle) / half_angle,
    )
