"""Ion current against the voltage of the gap, its feed in series: an order of magnitude.

The current of a cone is a law of `conegap.solver.cone.current_law`, where three are derived; a
design is given that of ions which leave the apex.  V0 is the voltage at which the pull alone holds
the cone, its extinction; where that is not known, or its estimate lies above the onset, the law is
counted from the onset.  The band begins at both ends of what is known of V0.  The law holds near
the onset; what the feed takes away is derived at `CurrentLaw`.  An order of magnitude is meant in
the sense of the words: right within half a decade either way, a factor of three, which holds the
other models and what none has, such as another radius of the cone's base.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from scipy.constants import elementary_charge
from scipy.optimize import brentq

from conegap.solver.cone.current_law import ConeSlopes
from conegap.solver.cone.current_law import cone_current as site_current
from conegap.solver.cone.taylor import held_pressure, pull_share
from conegap.solver.operation.feed_loss import NO_LOSS, FeedLoss

__all__ = [
    "ORDER_OF_MAGNITUDE",
    "ConeLaw",
    "CurrentLaw",
    "CurrentPoint",
    "ThrustFactor",
    "site_current",
    "thrust_factor",
]

ORDER_OF_MAGNITUDE = math.sqrt(10.0)
"""Half a decade: by how much the law's slope may be off either way, [-]."""

# Over the onset: close together where the current begins, up to twice what a bench usually runs
# at.
_STEPS = (1.0, 1.02, 1.05, 1.1, 1.2, 1.5)


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
    mass_flow : float
        That the feed brings, droplets included, [kg/s].
    pressure_loss : float
        Of the feed at the base of the cone that carries most, [Pa].
    lit : int
        Tips that burn; 1 on a slit that does, [-].
    """

    voltage: float
    current: float
    sites: float
    mass_flow: float = 0.0
    pressure_loss: float = 0.0
    lit: int = 0

    @property
    def per_site(self) -> float:
        """Mean current of a site, 0 where none burns, [A]."""
        return self.current / self.sites if self.sites > 0.0 else 0.0


class ConeLaw(Protocol):
    """Current of one cone, with the signature of `site_current`."""

    def __call__(
        self,
        voltage: float,
        *,
        extinction_voltage: float,
        base_radius: float,
        surface_tension: float,
        ion_mass: float,
    ) -> float:
        """Rises with the voltage and falls with the extinction voltage, [A]."""
        ...


@dataclass(frozen=True)
class CurrentLaw:
    """How a design emits above its onset, its feed in series with its cones.

    Every kilogram per second that leaves costs pressure in the feed.  On the base of a cone, of
    area pi R^2, that loss takes away from the force that holds the cone up; the electric pull,
    which rises as V^2, must make up for it.  In the balance of forces from which the slope law
    comes,

        (F0 - pi R^2 p) (V / V0)^2 - (4/3) I sqrt(m V / 2 e) = F0 - pi R^2 (p - dp),

    F0 = 2 pi R gamma cos(alpha), p the pressure without flow and dp the loss, a loss therefore does
    what a higher extinction voltage would do,

        V0(dp) = V0 sqrt(1 + dp / (2 gamma cos(alpha) / R - p));

    derived here.  It is the pressure dependence of the static extinction
    (`conegap.solver.liquid.attached_cone`), and for a small loss a resistance in series with each
    site.  What helps and what does not is in `conegap.solver.cone.taylor.pull_share`.

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
    line_length : float or None
        Edge that the sites share, [m]: no base is wider than half their spacing.
    relative_onsets : tuple of float
        Onset of every tip over ``onset_voltage``: below it a tip carries none, [-].
    extinction_over_onset : float
        Where the law begins: extinction over onset, 1 where no extinction is known, [-].
    extinction_ends : tuple of float or None
        Between what that lies, low and high, [-]; itself when left out.
    strength : float
        Factor on the law's slope, to see what its uncertainty does, [-].
    cone : ConeLaw
        Current of one cone.
    feed : FeedLoss
        What the feed takes of the pressure; nothing when left out.
    feed_pressure : float
        Gauge pressure at the edge without flow, [Pa].
    """

    onset_voltage: float
    base_radius: float
    surface_tension: float
    ion_mass: float
    sites_at_onset: float = 1.0
    spreads: bool = False
    line_length: float | None = None
    relative_onsets: tuple[float, ...] = (1.0,)
    extinction_over_onset: float = 1.0
    extinction_ends: tuple[float, float] | None = None
    strength: float = 1.0
    cone: ConeLaw = site_current
    feed: FeedLoss = NO_LOSS
    feed_pressure: float = 0.0

    def band(self) -> tuple[CurrentLaw, CurrentLaw]:
        """The law with its slope a factor of three lower and its start late, and the other way."""
        early, late = self.extinction_ends or (self.extinction_over_onset,) * 2
        return (
            replace(self, strength=self.strength / ORDER_OF_MAGNITUDE, extinction_over_onset=late),
            replace(self, strength=self.strength * ORDER_OF_MAGNITUDE, extinction_over_onset=early),
        )

    def slopes(self, voltage: float) -> ConeSlopes:
        """Both slope laws of one cone without its feed.

        Parameters
        ----------
        voltage : float
            Across the gap, which sets the base of a cone on a slit, [V].
        """
        return ConeSlopes(
            extinction_voltage=self.onset_voltage * self.extinction_over_onset,
            base_radius=self.base_at(voltage),
            surface_tension=self.surface_tension,
            ion_mass=self.ion_mass,
        )

    def lit_at(self, voltage: float) -> int:
        """How many tips a rising voltage has lit, [-].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        return sum(voltage >= own * self.onset_voltage for own in self.relative_onsets)

    def sites_at(self, voltage: float) -> float:
        """Sites of one tip, or of the whole edge of a slit, [-].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        share = voltage / self.onset_voltage
        return self.sites_at_onset * (share**2 if self.spreads else 1.0)

    def base_at(self, voltage: float) -> float:
        """Radius of a cone's base, at most half the spacing of the sites, [m].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        if self.line_length is None or voltage <= 0.0:
            return self.base_radius
        return min(self.base_radius, self.line_length / (2.0 * self.sites_at(voltage)))

    def held_at(self, voltage: float) -> float:
        """Mean field stress that holds a cone at its extinction without pressure, [Pa].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        return held_pressure(
            surface_tension=self.surface_tension, base_radius=self.base_at(voltage)
        )

    def extinction(self, voltage: float, loss: float, relative: float = 1.0) -> float:
        """Extinction voltage of a tip whose feed loses a pressure, [V].

        Parameters
        ----------
        voltage : float
            Across the gap, which sets the base of a cone on a slit, [V].
        loss : float
            >= 0, [Pa].
        relative : float
            The tip's onset over that of the design, [-].
        """
        still = relative * self.onset_voltage * self.extinction_over_onset
        base, gamma = self.base_at(voltage), self.surface_tension
        flowing, resting = (
            pull_share(pressure, surface_tension=gamma, base_radius=base)
            for pressure in (self.feed_pressure - loss, self.feed_pressure)
        )
        return still * math.sqrt(flowing / resting)

    def lights_at(self, relative: float, burning: CurrentPoint) -> float:
        """Voltage at which a tip lights while others burn on a feed that it shares with them, [V].

        What they take of the shared feed's pressure the field must make up for in the tip's onset
        as in its extinction: by the same root, since both are balances of the field's stress, which
        goes as V^2, with surface tension less pressure.  Of a rigid surface the stress that holds
        is 2 gamma / R, without the cosine, and the rise is 1.5 times less.

        Parameters
        ----------
        relative : float
            The tip's onset over that of the design, [-].
        burning : CurrentPoint
            Of the tips that burn.
        """
        loss = self.feed.common * burning.mass_flow
        return self.extinction(burning.voltage, loss, relative) / self.extinction_over_onset

    def at(self, voltage: float, lit: int | None = None) -> CurrentPoint:
        """Current, number of sites that emit, and what the feed does then.

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        lit : int or None
            Tips that emit already and go on down to their extinction; those whose onset the
            voltage reaches when left out, [-].
        """
        count = self.lit_at(voltage) if lit is None else lit
        emitting = sorted(self.relative_onsets)[:count]
        sites = self.sites_at(voltage)

        def burning(shared: float) -> list[tuple[float, float]]:
            found = [self._site(voltage, own, shared) for own in emitting]
            return [(current, self.feed.mass_flow(current, self.ion_mass)) for current in found]

        def flow(each: list[tuple[float, float]]) -> float:
            return sites * sum(mass for _, mass in each)

        each = burning(0.0)
        most, shared = flow(each), 0.0
        if self.feed.common > 0.0 and most > 0.0:
            # More flow, more loss, less flow: one balance between none and that without loss.
            shared = self.feed.common * _between(
                lambda mass: flow(burning(self.feed.common * mass)) - mass, most
            )
            each = burning(shared)
        loss = max((shared + self.feed.own * mass for _, mass in each), default=0.0)
        return CurrentPoint(
            voltage=voltage,
            current=sites * sum(current for current, _ in each),
            sites=sites * count,
            mass_flow=flow(each),
            pressure_loss=loss,
            lit=count,
        )

    def _site(self, voltage: float, relative: float, shared: float) -> float:
        """Current of one site behind its own feed, with the loss of the shared one, [A]."""

        def behind(loss: float) -> float:
            return self.strength * self.cone(
                voltage,
                extinction_voltage=self.extinction(voltage, loss, relative),
                base_radius=self.base_at(voltage),
                surface_tension=self.surface_tension,
                ion_mass=self.ion_mass,
            )

        most = behind(shared)
        if self.feed.own == 0.0 or most == 0.0:
            return most

        def excess(current: float) -> float:
            mass = self.feed.mass_flow(current, self.ion_mass)
            return behind(shared + self.feed.own * mass) - current

        return _between(excess, most)

    def ion_flow(self, current: float) -> float:
        """Mass of the ions alone, I m / e, [kg/s].

        Parameters
        ----------
        current : float
            [A].
        """
        return float(current * self.ion_mass / elementary_charge)

    def curve(self) -> tuple[CurrentPoint, ...]:
        """Points from the onset to one and a half times it."""
        return tuple(self.at(step * self.onset_voltage) for step in _STEPS)


def _between(excess: Callable[[float], float], most: float) -> float:
    """Zero of a falling function between 0 and ``most``, to twelve digits of the latter."""
    return float(brentq(excess, 0.0, most, xtol=1e-13 * most, rtol=1e-13))


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
