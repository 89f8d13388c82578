"""Operating point: where supply, ballast, feed and cones meet.

The supply holds its voltage up to its current limit and its current from there on; the ballast
takes its drop; the gap is left with the rest.  As the supply is raised one tip after the other
lights when what is left across the gap reaches its onset, and burns on down to its extinction: the
current of a gap is not a function of its voltage alone, but of how it was reached.  Here it is
reached from below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from scipy.optimize import brentq

from conegap.solver.operation.beam_current import CurrentLaw, CurrentPoint
from conegap.solver.operation.exhaust import IonExhaust, ion_exhaust

__all__ = ["OperatingPoint", "OperatingState", "SupplyLine", "operating_point"]

OperatingState = Literal["dark", "first place alone", "no metal ions", "regulated", "current limit"]
"""Nothing burns; only a place outside the law does, such as the ends of a slit, with a current that
is not known; the liquid emits, but no ions of a metal, of which the law is; the supply holds its
voltage; the supply holds its current and its voltage sags."""


# Ten times the relative tolerance to which a balance is found, [-].
_NUDGE = 1e-12


@dataclass(frozen=True)
class SupplyLine:
    """A supply with the ballast in the emitter's lead.

    Parameters
    ----------
    voltage : float
        Emitter minus accelerator as set, > 0, [V].
    ballast : float
        >= 0, [ohm].
    current_limit : float
        > 0, infinite where none is given, [A].
    """

    voltage: float
    ballast: float = 0.0
    current_limit: float = math.inf

    def __post_init__(self) -> None:
        if not self.ballast >= 0.0:
            raise ValueError(f"the ballast {self.ballast} ohm must not be negative")
        if not self.current_limit > 0.0:
            raise ValueError(f"the current limit {self.current_limit} A must be positive")

    def left(self, current: float) -> float:
        """Voltage left across the gap at a current below the limit, [V].

        Parameters
        ----------
        current : float
            [A].
        """
        return self.voltage - self.ballast * current


@dataclass(frozen=True)
class OperatingPoint:
    """Where the emission meets its supply.

    Parameters
    ----------
    point : CurrentPoint
        Voltage left across the gap, current, sites, mass flow and loss of the feed.
    state : OperatingState
        Where the law does not hold, currents and all that rests on them are zero, and not those of
        the gap.
    wanted : float
        Current that the gap would draw from a supply without a current limit, [A].
    set_voltage : float
        Emitter minus accelerator as set, at most what the supply gives, [V].
    supply_voltage : float
        At the supply's terminals: less than set where its current limit is reached, [V].
    emitter_voltage : float
        Emitter against ground, less all drops, [V].
    exhaust : IonExhaust or None
        None where the emitter is not positive against ground, and without ions of a metal.
    mass_flow : float
        If every atom left as a single ion, [kg/s].
    """

    point: CurrentPoint
    state: OperatingState
    wanted: float
    set_voltage: float
    supply_voltage: float
    emitter_voltage: float
    exhaust: IonExhaust | None
    mass_flow: float

    @property
    def current_known(self) -> bool:
        """Whether the law's current is that of the gap."""
        return self.state not in ("first place alone", "no metal ions")

    @property
    def ballast_drop(self) -> float:
        """[V]."""
        return self.supply_voltage - self.point.voltage

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

    @property
    def supply_power(self) -> float:
        """Current times the voltage at the supply's terminals, [W]."""
        return self.point.current * self.supply_voltage


def operating_point(
    emission: CurrentLaw,
    *,
    voltage: float,
    emitter_voltage: float,
    ballast: float,
    current_limit: float | None = None,
    voltage_limit: float | None = None,
    first_emission: float = math.inf,
    metal_ions: bool = True,
) -> OperatingPoint:
    """Balance of the current's law with the line of its supply, reached by a rising voltage.

    Kirchhoff's law (textbook): V_set = V_gap + R I below the current limit; at the limit the
    supply's voltage is what the gap and the ballast need.

    Parameters
    ----------
    emission : CurrentLaw
    voltage : float
        Emitter minus accelerator as wanted by the design, > 0, [V].
    emitter_voltage : float
        Emitter against ground as wanted by the design, [V].
    ballast : float
        Resistance in the emitter's lead, >= 0, [ohm].
    current_limit, voltage_limit : float or None
        Of the supply, > 0; [A], [V].
    first_emission : float
        Where a place outside the law begins to emit, [V].
    metal_ions : bool
        Whether the liquid gives ions of a metal; no current is known of any other.

    Raises
    ------
    ValueError
        The resistance is negative or the current limit not positive.
    """
    most = math.inf if current_limit is None else current_limit
    line = SupplyLine(min(voltage, voltage_limit or math.inf), ballast, most)
    if not metal_ions:
        emission = replace(emission, strength=0.0)
    free = _reached(emission, SupplyLine(line.voltage, ballast))
    point, supplied = free, line.voltage
    state: OperatingState = "regulated"
    if free.current <= 0.0:
        state = "first place alone" if line.voltage >= first_emission else "dark"
    if not metal_ions and (free.lit or state != "dark"):
        state = "no metal ions"
    if free.current > most:
        point, state = _reached(emission, line), "current limit"
        supplied = min(point.voltage + ballast * point.current, line.voltage)
    remaining = emitter_voltage - (voltage - point.voltage)
    return OperatingPoint(
        point=point,
        state=state,
        wanted=free.current,
        set_voltage=line.voltage,
        supply_voltage=supplied,
        emitter_voltage=remaining,
        exhaust=(
            ion_exhaust(ion_mass=emission.ion_mass, voltage=remaining)
            if metal_ions and remaining > 0.0
            else None
        ),
        mass_flow=emission.ion_flow(point.current),
    )


def _reached(emission: CurrentLaw, line: SupplyLine) -> CurrentPoint:
    """Point with as many tips lit as the rising voltage of a supply can light."""
    tips = sorted(emission.relative_onsets)
    if line.voltage < tips[0] * emission.onset_voltage:
        return emission.at(line.voltage, 0)
    # The more tips burn the less voltage and pressure is left, and the later ones need more:
    # between "the next one lights" and "it does not" there is one place.
    lit, beyond = 1, len(tips) + 1
    while beyond - lit > 1:
        middle = (lit + beyond) // 2
        before = _balance(emission, line, middle - 1)
        if before.voltage >= emission.lights_at(tips[middle - 1], before):
            lit = middle
        else:
            beyond = middle
    return _balance(emission, line, lit)


def _balance(emission: CurrentLaw, line: SupplyLine, lit: int) -> CurrentPoint:
    """Point on the line of the supply with a number of tips lit."""
    free = emission.at(line.voltage, lit)
    if line.ballast > 0.0:
        free = emission.at(
            float(
                brentq(
                    lambda gap: gap - line.left(emission.at(gap, lit).current),
                    0.0,
                    line.voltage,
                    rtol=1e-13,
                )
            ),
            lit,
        )
    if free.current <= line.current_limit:
        return free
    gap = brentq(
        lambda gap: emission.at(gap, lit).current - line.current_limit,
        0.0,
        free.voltage,
        rtol=1e-13,
    )
    # On the side of the limit that the supply does not leave.
    limited = emission.at(float(gap), lit)
    while limited.current > line.current_limit:
        limited = emission.at(limited.voltage * (1.0 - _NUDGE), lit)
    return limited
