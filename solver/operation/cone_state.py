"""The emitting cone of a design: apex, times and slopes, for the report and the results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.design import Design
from conegap.solver.cone.current_law import ConeSlopes
from conegap.solver.cone.evaporation import CuspField, cusp_field
from conegap.solver.cone.growth import ConeTimes, cone_times
from conegap.solver.cone.heating import joule_rise
from conegap.solver.operation.beam_current import CurrentLaw

__all__ = ["ConeState", "cone_state"]

# Of the onset voltage: what a ramp may overshoot before its onset counts as the static one;
# well below every line of the band, common practice, no source.
OVERSHOOT = 0.01


@dataclass(frozen=True)
class ConeState:
    """One cone at the operating point.

    Parameters
    ----------
    slopes : ConeSlopes
        Three laws of the current; without the feed.
    cusp : CuspField or None
        None where an energy of the metal is not known.
    times : ConeTimes or None
        None where the density is not known.
    viscous : bool
        Whether the viscosity is known and part of ``times``.
    current : float
        Of one site, [A].
    temperature : float
        Of the liquid, [K].
    onset_voltage : float
        [V].
    """

    slopes: ConeSlopes
    cusp: CuspField | None
    times: ConeTimes | None
    viscous: bool
    current: float
    temperature: float
    onset_voltage: float

    @property
    def current_density(self) -> float | None:
        """Of the site's current off the half sphere of the apex, [A/m^2]."""
        return None if self.cusp is None else self.cusp.current_density(self.current)

    @property
    def heat_rise(self) -> float | None:
        """Bound on the rise of temperature at the apex by the current's own heat, [K]."""
        if self.cusp is None:
            return None
        return joule_rise(self.current, radius=self.cusp.radius, temperature=self.temperature)

    @property
    def slow_ramp(self) -> float | None:
        """Rate of voltage whose overshoot over the onset is at most 1 %, [V/s]."""
        return None if self.times is None else self.onset_voltage / self.times.slow_rise(OVERSHOOT)

    def as_dict(self) -> dict[str, Any]:
        """Keys of the results contract."""
        cusp, times = self.cusp, self.times
        found: dict[str, Any] = {
            "slope_A_per_V": self.slopes.slope,
            "slope_charge_across_gap_A_per_V": self.slopes.across_gap_slope,
            "slope_charge_near_cone_A_per_V": self.slopes.near_cone_slope,
        }
        if cusp is not None:
            found |= {
                **cusp.as_dict(),
                "apex_current_density_A_per_m2": self.current_density,
                "apex_heating_at_most_K": self.heat_rise,
            }
        if times is not None:
            found |= {
                "inertial_time_s": times.inertial,
                "viscous_time_s": times.viscous if self.viscous else None,
                "formation_time_s": times.formation,
                "slow_ramp_V_per_s": self.slow_ramp,
            }
        return found


def cone_state(design: Design, emission: CurrentLaw, voltage: float, current: float) -> ConeState:
    """The cone of a design.

    Parameters
    ----------
    design : Design
    emission : CurrentLaw
    voltage : float
        Across the gap at the operating point, [V].
    current : float
        Of one site there, [A].
    """
    metal, kelvin = design.metal, design.liquid.temperature
    base = emission.base_at(voltage)
    viscous = metal.viscosity_law is not None
    times = None
    if metal.density_law is not None:
        times = cone_times(
            size=base,
            surface_tension=emission.surface_tension,
            density=float(metal.density(kelvin)),
            viscosity=float(metal.viscosity(kelvin)) if viscous else 0.0,
        )
    return ConeState(
        slopes=emission.slopes(voltage),
        cusp=cusp_field(metal, kelvin),
        times=times,
        viscous=viscous,
        current=current,
        temperature=kelvin,
        onset_voltage=emission.onset_voltage,
    )
