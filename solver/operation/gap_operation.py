"""What the gap does above its onset: electrons, ions, feed and supply, with their criteria."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.notebook import brief
from conegap.solver.cone.current_law import apex_cone_current
from conegap.solver.cone.taylor import EXTINCTION_UNCERTAINTY
from conegap.solver.field.solution import FieldSolution
from conegap.solver.liquid.meniscus_onset import MeniscusOnset
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.operation.beam_current import CurrentLaw
from conegap.solver.operation.breakdown import (
    NegativeElectrode,
    breakdown_rows,
    electron_rows,
    negative_electrode,
)
from conegap.solver.operation.cone_state import ConeState, cone_state
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.feed import Feed
from conegap.solver.operation.feed_ends import feed_ends
from conegap.solver.operation.feed_loss import NO_LOSS
from conegap.solver.operation.feed_rows import feed_rows, feed_warnings
from conegap.solver.operation.operating_band import OperatingBand, operating_band
from conegap.solver.operation.operating_point import OperatingPoint
from conegap.solver.operation.operating_rows import operating_rows
from conegap.solver.operation.other_metals import MetalInGap, compare_metals
from conegap.solver.operation.other_wetting import (
    OtherWetting,
    flooding_rows,
    less_favourable,
    other_wettings,
)
from conegap.solver.operation.propellant import PropellantUse, propellant_use
from conegap.solver.operation.review import AcceleratorField, ReviewRow
from conegap.solver.operation.smallest_current import SmallestCurrent, smallest_current
from conegap.solver.operation.supply_card import SupplyCard, supply_card, supply_rows

__all__ = ["GapOperation", "gap_operation"]

# Results that rest on the current: none where only a place outside its law emits.
_OF_THE_CURRENT = (
    "current_A",
    "current_low_A",
    "current_high_A",
    "current_without_limit_A",
    "ballast_drop_V",
    "operating_voltage_V",
    "operating_emitter_voltage_V",
    "parallel_thrust_N",
    "power_W",
    "supply_power_W",
    "mass_flow_kg_per_s",
    "feed_pressure_loss_Pa",
    "burning_sites",
    "current_per_site_A",
    "mass_efficiency",
    "mass_flow_with_droplets_kg_per_s",
    "specific_impulse_with_droplets_s",
    "propellant_life_s",
    "current_curve",
)
_OF_THE_APEX = {
    "apex_current_density_A_per_m2",
    "apex_heating_at_most_K",
    "slope_A_per_V",
    "slope_charge_across_gap_A_per_V",
    "slope_charge_near_cone_A_per_V",
}


@dataclass(frozen=True)
class GapOperation:
    """Everything beyond the onset that needs no further field solve.

    Parameters
    ----------
    emission : CurrentLaw
    emission_band : tuple of CurrentLaw
        Of the least and the greatest current, see `OperatingBand`.
    operating : OperatingPoint
        At the design's voltages with the supply's ballast.
    operating_band : tuple of OperatingPoint
        The same with the laws of ``emission_band``.
    smallest : SmallestCurrent
        Steady current of one site.
    cone : ConeState
        One cone at the operating point.
    propellant : PropellantUse
        Mass efficiency, specific impulse and life at the operating point.
    metals : tuple of MetalInGap
    others : tuple of OtherWetting
        States of wetting that the design does not state.
    rows : tuple of ReviewRow
    warnings : tuple of str
    """

    electrode: NegativeElectrode
    emission: CurrentLaw
    emission_band: tuple[CurrentLaw, CurrentLaw]
    operating: OperatingPoint
    operating_band: tuple[OperatingPoint, OperatingPoint]
    smallest: SmallestCurrent
    cone: ConeState
    propellant: PropellantUse
    feed: Feed | None
    card: SupplyCard
    metals: tuple[MetalInGap, ...]
    others: tuple[OtherWetting, ...]
    rows: tuple[ReviewRow, ...]
    warnings: tuple[str, ...]

    __repr__ = brief

    @property
    def feed_known(self) -> bool:
        """Whether the feed's resistance is known; if not, no loss is counted."""
        return self.feed is not None and self.feed.loss().known

    def accelerator_dict(self) -> dict[str, Any]:
        """Keys of the results contract for the accelerator."""
        unit = "A_per_m" if self.electrode.per_metre else "A"
        contaminated = self.electrode.contaminated
        return {
            f"electron_current_{unit}": {
                "clean": self.electrode.clean.current,
                "contaminated": None if contaminated is None else contaminated.current,
            },
            "electron_heat_W_per_m" if self.electrode.per_metre else "electron_heat_W": (
                self.electrode.heat
            ),
            "micro_protrusion_factor": self.electrode.clean.protrusion_factor,
        }

    def operation_dict(self) -> dict[str, Any]:
        """Keys of the results contract for the operation."""
        at = self.operating
        weak, strong = self.operating_band
        found: dict[str, Any] = {
            "current_A": at.point.current,
            "current_low_A": weak.point.current,
            "current_high_A": strong.point.current,
            "current_without_limit_A": at.wanted,
            "state": at.state,
            "set_voltage_V": at.set_voltage,
            "supply_voltage_V": at.supply_voltage,
            "operating_voltage_V": at.point.voltage,
            "operating_emitter_voltage_V": at.emitter_voltage,
            "ballast_drop_V": at.ballast_drop,
            "parallel_thrust_N": at.thrust,
            "power_W": at.beam_power,
            "supply_power_W": at.supply_power,
            "mass_flow_kg_per_s": at.mass_flow,
            "feed_pressure_loss_Pa": at.point.pressure_loss if self.feed_known else None,
            "onset_voltage_V": self.emission.onset_voltage,
            "extinction_voltage_V": self.emission.onset_voltage
            * self.emission.extinction_over_onset,
            "burning_sites": at.point.sites,
            "current_per_site_A": at.point.per_site,
            "smallest_steady_current_A": {
                "value": self.smallest.value,
                "low": self.smallest.low,
                "high": self.smallest.high,
            },
            "cone": self.cone.as_dict(),
            **self.propellant.as_dict(),
            "current_curve": [
                {"voltage_V": p.voltage, "current_A": p.current, "sites": p.sites}
                for p in self.emission.curve()
            ],
        }
        if at.state == "no metal ions":
            found["smallest_steady_current_A"] = None
        if not at.current_known:
            found |= dict.fromkeys(_OF_THE_CURRENT)
            found["cone"] |= dict.fromkeys(_OF_THE_APEX & found["cone"].keys())
        if self.others:
            found["other_wetting_states"] = [other.as_dict() for other in self.others]
        if at.exhaust is not None and at.point.current > 0.0:
            found["operating_exhaust_speed_m_per_s"] = at.exhaust.speed
            found["operating_specific_impulse_s"] = at.exhaust.specific_impulse
        return found

    def more_dict(self) -> dict[str, Any]:
        """Feed, supply card and metals for the results."""
        card = self.card
        found: dict[str, Any] = {
            "supply": {
                "ramp_limit_V": card.ramp_limit,
                "ramp_limit_reason": card.ramp_reason,
                "refused": card.refusal or None,
                **({} if card.refusal else card.settings_dict()),
            },
            "metals": [
                {
                    "symbol": row.symbol,
                    "temperature_K": row.temperature,
                    "surface_tension_N_per_m": row.surface_tension,
                    "rigid_onset_V": row.rigid_onset,
                    "scaled_onset_V": row.scaled_onset,
                }
                for row in self.metals
            ],
        }
        if self.feed is not None:
            found["feed"] = {
                "kind": self.feed.kind,
                "capillary_pressure_Pa": self.feed.capillary_pressure,
                "flow_resistance_Pa_s_per_m3": self.feed.resistance,
                "greatest_mass_flow_kg_per_s": self.feed.greatest_mass_flow,
            }
            shared = self.feed.shared
            if shared is not None:
                found["feed"]["before_it"] = {
                    "kind": shared.kind,
                    "capillary_pressure_Pa": shared.capillary_pressure,
                    "flow_resistance_Pa_s_per_m3": shared.resistance,
                }
        return found


def gap_operation(
    design: Design,
    solution: FieldSolution,
    rigid: RigidOnset,
    meniscus: MeniscusOnset | None,
    *,
    onset: float,
    onset_band: tuple[float, float],
    band: tuple[float, float, float],
    accelerator: AcceleratorField,
    site_spacing: float | None,
    tip_onsets: tuple[float, ...] = (),
) -> GapOperation:
    """Operation and further criteria of an assessed design.

    Parameters
    ----------
    onset : float
        Onset of the section, with which the current's law begins, [V].
    onset_band : tuple of float
        Its ends, [V].
    band : tuple of float
        Lowest, expected and highest voltage of the first emission, [V].
    site_spacing : float or None
        Spacing of the sites on a slit at onset, [m].
    tip_onsets : tuple of float
        Of every tip of a crown or an array, [V].
    """
    electrode = negative_electrode(design, solution)
    ends = feed_ends(design)
    feed = None if ends is None else ends.drawn
    emission = _emission(design, rigid, meniscus, onset, site_spacing, tip_onsets, feed)

    stated = operating_band(design, emission, ends, onset_band=onset_band, first=band)
    others = other_wettings(design, emission, ends, meniscus, onset_band=onset_band, first=band)
    weak, operating, strong = stated.points
    smallest = smallest_current(design.metal.symbol, design.liquid.temperature)
    card = supply_card(design, solution, band=band, accelerator=accelerator, operating=operating)

    def rows(at: OperatingBand, first: tuple[float, float, float]) -> tuple[ReviewRow, ...]:
        flow = propellant_use(design, at.points).mass_flow
        return (
            *supply_rows(design, replace(card, highest=first[2])),
            *operating_rows(design, at.points, smallest),
            *electron_rows(design, electrode),
            *breakdown_rows(design, first[2], accelerator),
            *feed_rows(design, ends, flow if at.known else (*flow[:2], math.inf)),
        )

    return GapOperation(
        electrode=electrode,
        emission=emission,
        emission_band=stated.laws,
        operating=operating,
        operating_band=(weak, strong),
        smallest=smallest,
        cone=cone_state(design, emission, operating.point.voltage, operating.point.per_site),
        propellant=propellant_use(design, stated.points),
        feed=feed,
        card=card,
        metals=compare_metals(design, rigid, None if meniscus is None else meniscus.voltage),
        others=others,
        rows=less_favourable(
            rows(stated, band),
            others,
            lambda other: (
                flooding_rows(design, other)
                if other.band is None
                else rows(other.band, other.first)
            ),
        ),
        warnings=(*_ion_warnings(design), *feed_warnings(design)),
    )


def _ion_warnings(design: Design) -> tuple[str, ...]:
    if design.metal.gives_ions:
        return ()
    return (
        f"no ionisation energy of {design.metal.name} is known, so that no ions of a metal are "
        "taken to leave it: current, beam and thrust are not given; of a metal give "
        "[liquid.custom] first_ionisation_energy",
    )


def _emission(
    design: Design,
    onset: RigidOnset,
    meniscus: MeniscusOnset | None,
    voltage: float,
    site_spacing: float | None,
    tip_onsets: tuple[float, ...],
    feed: Feed | None,
) -> CurrentLaw:
    """The cone stands on the contact line of the free surface, or on the emitting edge."""
    base = meniscus.radius if meniscus is not None else _edge_radius(design, onset)
    sites, spreads = 1.0, False
    length = design.emitter.line_length
    if length is not None and site_spacing is not None:
        sites, spreads = max(length / site_spacing, 1.0), True
    # Not above the onset, which a burning cone has passed.
    start, early, late = 1.0, 1.0 - EXTINCTION_UNCERTAINTY, 1.0
    if meniscus is not None and meniscus.extinction is not None:
        ends = meniscus.extinction
        start, early, late = (
            min(volts / voltage, 1.0) for volts in (ends.voltage, ends.low, ends.high)
        )
    return CurrentLaw(
        onset_voltage=voltage,
        base_radius=base,
        surface_tension=onset.surface_tension,
        ion_mass=design.metal.ion_mass,
        sites_at_onset=sites,
        spreads=spreads,
        line_length=length if spreads else None,
        relative_onsets=tuple(own / voltage for own in tip_onsets) or (1.0,),
        extinction_over_onset=start,
        extinction_ends=(early, late),
        cone=apex_cone_current,
        feed=NO_LOSS if feed is None else feed.loss(MassEfficiency()),
        feed_pressure=design.edge_pressure,
    )


def _edge_radius(design: Design, onset: RigidOnset) -> float:
    """Radius of the emitting edge from its curvature at the place of the greatest field."""
    principal = 2.0 if design.section().symmetry == "axisymmetric" else 1.0
    return principal / onset.curvature
