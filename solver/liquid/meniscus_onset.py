"""Where a free liquid surface loses its equilibrium, and what stood before."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.constants import epsilon_0

from conegap.solver.liquid.attached_cone import Extinction
from conegap.solver.liquid.branch import MeniscusBranch
from conegap.solver.liquid.meniscus import Held
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.slit_waves import FirstWave

__all__ = [
    "HeldState",
    "MeniscusOnset",
    "OtherState",
    "Transition",
    "voltage_of_bond_number",
    "voltage_of_load",
]


@dataclass(frozen=True)
class HeldState:
    """A liquid surface at one voltage of a slow ramp.

    Parameters
    ----------
    voltage : float
        Emitter minus accelerator, [V].
    contact : tuple of float
        Contact line (r or x, z), [m].
    held : bool
        Whether it is seen in a ramp; false beyond the loss of equilibrium.
    """

    voltage: float
    shape: MeniscusShape
    contact: tuple[float, float]
    held: bool = True

    @property
    def radius(self) -> float:
        """Contact radius or half width, [m]."""
        return self.contact[0]

    @property
    def apex(self) -> float:
        """z of the apex, [m]."""
        return self.contact[1] + self.shape.height * self.radius


@dataclass(frozen=True)
class Transition:
    """What the contact line does at one voltage.

    Parameters
    ----------
    voltage : float
        On a coarse mesh, to about one per cent, [V].
    leaves, reaches : str
        Places.
    jumps : bool
        Whether it runs on without a further rise of the voltage.
    """

    voltage: float
    leaves: str
    reaches: str
    jumps: bool


@dataclass(frozen=True)
class OtherState:
    """Another state of wetting in which the same emitter may be found.

    Parameters
    ----------
    state : str
        What is wetted without voltage.
    voltage : float or None
        Where its surface loses its equilibrium, [V]; None where the liquid floods it without
        voltage.
    place, mode : str
        As in `MeniscusOnset`.
    contact_radius : float
        Radius or half width of the contact line then, 0 where the liquid floods, [m].
    """

    state: str
    voltage: float | None
    place: str
    mode: str
    contact_radius: float


@dataclass(frozen=True)
class MeniscusOnset:
    """Where the free liquid surface loses its equilibrium.

    Parameters
    ----------
    voltage : float
        Emitter minus accelerator at the loss of equilibrium, [V].
    error : float
        Relative numerical error of the voltage: from the mesh sequence, plus 1e-4 for the modes
        left out (measured on the pinned hemisphere), [-].
    held : "pressure" or "volume"
    place : str
        Where the contact line is then.
    mode : str
        "turning point" of a surface whose line stands still, "contact line gives way" where it
        leaves its edge and nothing holds it, or "turning point, moving line".
    contact : tuple of float
        Contact line (r or x, z), [m].
    surface_tension : float
        [N/m].
    apex_field : float
        Field at the apex then, [V/m].
    half_angle : float
        Half angle of the cone that fits the middle third of the surface there, [rad].
    extinction : Extinction or None
        Where an attached cone collapses; None for a slit.
    wave : FirstWave or None
        The first wave along a slit; None around an axis or when none grows.
    tilt_voltage : float or None
        Where a surface around an axis tilts to one side before it turns, [V]; None when it
        stands upright until then.
    branch : MeniscusBranch
        Its equilibria are those of a surface whose line stands still, empty where it moves.
    states : tuple of HeldState
        In the order of the ramp; the last that is held is the one without equilibrium above it.
    wall_place : tuple (piece, t) or None
        Of the contact line on the emitter's wall; None where the line was not followed.
    state : str
        What is wetted without voltage, "" where there is one state only.
    transitions : tuple of Transition
    others : tuple of OtherState
    factor : float
        Field of the true surroundings over that of the plane section, by which every voltage of
        the section is divided, [-].
    sliding : float or None
        Onset of a film's cap whose edge slides on the film, over that of the pinned one, at most 1;
        None where there is no such cap or none was solved, [-].
    """

    voltage: float
    error: float
    held: Held
    place: str
    mode: str
    contact: tuple[float, float]
    surface_tension: float
    apex_field: float
    half_angle: float
    extinction: Extinction | None
    wave: FirstWave | None
    tilt_voltage: float | None
    branch: MeniscusBranch
    states: tuple[HeldState, ...]
    wall_place: tuple[int, float] | None = None
    state: str = ""
    transitions: tuple[Transition, ...] = ()
    others: tuple[OtherState, ...] = ()
    factor: float = 1.0
    sliding: float | None = None

    def __repr__(self) -> str:
        return f"MeniscusOnset({self.voltage:.6g} V, {self.mode}, {self.place})"

    @property
    def radius(self) -> float:
        """Contact radius or half width a, [m]."""
        return self.contact[0]

    def fed_from(self, pressure: float) -> float:
        """Voltage from which a feed at a gauge pressure would fill a surface whose volume is held.

        The field lowers the pressure in the liquid.  While that is above the feed's, liquid that
        can flow through the film flows away; below it, liquid flows in and the surface, unstable
        under a held pressure there, grows.  The voltage of the onset where that comes later, [V].

        Parameters
        ----------
        pressure : float
            Of the feed, [Pa].
        """
        ramp = self.branch.equilibria[: self.branch.turning_index]
        if (
            not ramp
            or pressure <= self.branch.turning.pressure * self.surface_tension / self.radius
        ):
            return self.voltage
        falling = [e.pressure * self.surface_tension / self.radius for e in ramp]
        most = self.branch.turning.electric_bond_number
        shares = [math.sqrt(min(max(e.electric_bond_number / most, 0.0), 1.0)) for e in ramp]
        return self.voltage * float(np.interp(-pressure, [-p for p in falling], shares))

    def in_field(self, factor: float) -> MeniscusOnset:
        """The same surface where the true surroundings scale its field.

        Parameters
        ----------
        factor : float
            Over the field of the plane section, [-].
        """
        ends = self.extinction
        if ends is not None:
            ends = replace(
                ends,
                voltage=ends.voltage / factor,
                low=ends.low / factor,
                high=ends.high / factor,
            )
        return replace(
            self,
            voltage=self.voltage / factor,
            tilt_voltage=None if self.tilt_voltage is None else self.tilt_voltage / factor,
            extinction=ends,
            states=tuple(replace(s, voltage=s.voltage / factor) for s in self.states),
            transitions=tuple(replace(t, voltage=t.voltage / factor) for t in self.transitions),
            others=tuple(
                replace(o, voltage=None if o.voltage is None else o.voltage / factor)
                for o in self.others
            ),
            factor=self.factor * factor,
        )

    @property
    def standing_extinction(self) -> Extinction | None:
        """The extinction where its estimate means something: below the onset."""
        ends = self.extinction
        return ends if ends is not None and ends.voltage < self.voltage else None

    @property
    def wave_voltage(self) -> float | None:
        """Voltage at which the first wave along a slit begins to grow, [V]."""
        return None if self.wave is None else self._volts(self.wave.electric_bond_number)

    def as_dict(self) -> dict[str, Any]:
        """The turning point for the results contract."""
        shape = self.branch.turning.shape
        result: dict[str, Any] = {
            "held": self.held,
            "place": self.place,
            "mode": self.mode,
            "contact_radius_m": self.radius,
            "apex_height_m": shape.height * self.radius,
            "contact_slope_rad": shape.contact_angle,
            "apex_field_V_per_m": self.apex_field,
            "half_angle_rad": self.half_angle,
            "numerical_error": self.error,
        }
        if self.state:
            result["wetting_state"] = self.state
            result["other_wetting_states"] = [
                {"state": o.state, "voltage_V": o.voltage, "place": o.place, "mode": o.mode}
                for o in self.others
            ]
        if self.transitions:
            result["contact_line"] = [
                {"voltage_V": t.voltage, "leaves": t.leaves, "reaches": t.reaches, "jump": t.jumps}
                for t in self.transitions
            ]
        if self.wave is not None:
            result["wave_voltage_V"] = self.wave_voltage
            result["wave_spacing_m"] = self.wave.wavelength * self.radius
        if self.tilt_voltage is not None:
            result["tilt_voltage_V"] = self.tilt_voltage
        if self.sliding is not None:
            result["sliding_edge_voltage_V"] = self.sliding * self.voltage
        if self.standing_extinction is not None:
            result["extinction_V"] = self.standing_extinction.voltage
            result["extinction_low_V"] = self.standing_extinction.low
            result["extinction_high_V"] = self.standing_extinction.high
        return result

    def _volts(self, electric_bond_number: float) -> float:
        return (
            voltage_of_bond_number(electric_bond_number, self.surface_tension, self.radius)
            / self.factor
        )


def voltage_of_bond_number(
    electric_bond_number: float, surface_tension: float, radius: float
) -> float:
    """Voltage of a strength lambda = eps0 V^2 / (gamma a), [V].

    Parameters
    ----------
    electric_bond_number : float
        lambda, [-].
    surface_tension : float
        gamma, [N/m].
    radius : float
        Contact radius or half width a, [m].
    """
    return voltage_of_load(electric_bond_number * radius, surface_tension)


def voltage_of_load(load: float, surface_tension: float) -> float:
    """Voltage of a load eps0 V^2 / gamma, 0 where it is negative, [V].

    Parameters
    ----------
    load : float
        [m].
    surface_tension : float
        gamma, [N/m].
    """
    return math.sqrt(max(load, 0.0) * surface_tension / epsilon_0)
