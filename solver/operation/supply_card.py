"""The supply card: what to set, where to stop and what is stored, for the operator."""

from __future__ import annotations

import math
from dataclasses import dataclass

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import voltage_text
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import FieldSolution
from conegap.solver.operation.breakdown import CLUMP_CONSTANT
from conegap.solver.operation.operating_point import OperatingPoint
from conegap.solver.operation.review import AcceleratorField, ReviewRow, review_row

__all__ = ["SupplyCard", "supply_card", "supply_rows"]

_PRACTICE = "common practice, no source"
# Over the upper end of the onset's band; common practice, no source.
_ABORT_MARGIN = 1.05
# Over the expected current; common practice, no source.
_TRIP_RATIO = 2.0


@dataclass(frozen=True)
class SupplyCard:
    """Settings and limits, all voltages emitter minus accelerator.

    Parameters
    ----------
    onset, lowest, highest : float
        Expected onset and its band, [V].
    ramp_limit : float
        Never above this: the first limit of the gap or the supply, its tolerance taken off, [V].
    ramp_reason : str
        Which limit that is.
    abort_voltage : float
        No emission up to here: stop and look for the reason, [V].
    trip_current : float or None
        Twice the expected current, at most the supply's limit less its tolerance; order of
        magnitude.  Where no current is expected that limit, None where there is none, [A].
    ballast : float
        [ohm].
    ballast_drop : float
        At the expected current, [V].
    short_circuit_current : float or None
        The design's voltage over the ballast, None without ballast, [A].
    gap_energy, cable_energy : float or None
        Stored at the ramp limit; None where not known, [J].
    emitter, accelerator : float
        Voltages of the design against ground, [V].
    """

    onset: float
    lowest: float
    highest: float
    ramp_limit: float
    ramp_reason: str
    abort_voltage: float
    trip_current: float | None
    ballast: float
    ballast_drop: float
    short_circuit_current: float | None
    gap_energy: float | None
    cable_energy: float | None
    emitter: float
    accelerator: float

    @property
    def refusal(self) -> str:
        """Why the gap cannot be operated by this card; "" where it can."""
        setting = self.emitter - self.accelerator
        limit = f"the ramp limit, {voltage_text(self.ramp_limit)} ({self.ramp_reason})"
        if self.ramp_limit < self.onset:
            return (
                f"{limit}, lies below the expected onset, {voltage_text(self.onset)}: the gap "
                "cannot emit without going beyond a limit"
            )
        if setting > self.ramp_limit:
            return f"the design's own {voltage_text(setting)} across the gap lie above {limit}"
        if setting < self.onset:
            return (
                f"the design's {voltage_text(setting)} across the gap do not reach the expected "
                f"onset, {voltage_text(self.onset)}"
            )
        return ""

    def settings_dict(self) -> dict[str, float | None]:
        """What is set and stored, for the results contract."""
        return {
            "abort_voltage_V": self.abort_voltage,
            "trip_current_A": self.trip_current,
            "short_circuit_current_A": self.short_circuit_current,
            "gap_energy_J": self.gap_energy,
            "cable_energy_J": self.cable_energy,
        }


def supply_card(
    design: Design,
    solution: FieldSolution,
    *,
    band: tuple[float, float, float],
    accelerator: AcceleratorField,
    operating: OperatingPoint,
) -> SupplyCard:
    """The supply card of a design.

    Parameters
    ----------
    band : tuple of float
        Lowest, expected and highest onset, [V].
    """
    low, onset, high = band
    criteria, supply = design.criteria, design.supply
    edge = accelerator.at_design / design.voltage
    limits = [
        (criteria.accelerator_edge_field / edge, "field on the accelerator's edge"),
        (math.sqrt(CLUMP_CONSTANT / edge), "clump breakdown"),
    ]
    if criteria.bulk_field is not None and design.clearance > 0.0:
        limits.append((criteria.bulk_field * design.clearance, "mean field across the clearance"))
    if supply.voltage_limit is not None:
        short = design.tolerance("supply.voltage_limit")
        less = f", its tolerance of {short:g} V taken off" if short else ""
        limits.append((supply.voltage_limit - short, f"the supply's own limit{less}"))
    ramp, reason = min(limits)
    trip = supply.current_limit
    if trip is not None:
        trip -= design.tolerance("supply.current_limit")
    if operating.point.current > 0.0:
        trip = min(_TRIP_RATIO * operating.point.current, trip or math.inf)
    cable = supply.cable_capacitance
    return SupplyCard(
        onset=onset,
        lowest=low,
        highest=high,
        ramp_limit=ramp,
        ramp_reason=reason,
        abort_voltage=min(_ABORT_MARGIN * high, ramp),
        trip_current=trip,
        ballast=supply.ballast_resistance,
        ballast_drop=operating.ballast_drop,
        short_circuit_current=(
            design.voltage / supply.ballast_resistance if supply.ballast_resistance > 0.0 else None
        ),
        gap_energy=_gap_energy(design, solution, ramp / design.voltage),
        cable_energy=None if cable is None else 0.5 * cable * ramp**2,
        emitter=design.voltages.emitter,
        accelerator=design.voltages.accelerator,
    )


def _gap_energy(design: Design, solution: FieldSolution, share: float) -> float | None:
    """Energy of the field at a share of the design's voltages, None without a length along y."""
    energy = solution.energy(electrode_voltages(design, solution.electrodes, share)).value
    if solution.section.symmetry == "axisymmetric":
        return energy
    length = design.emitter.line_length
    return None if length is None else energy * length


def supply_rows(design: Design, card: SupplyCard) -> tuple[ReviewRow, ...]:
    """Criteria of the supply card.

    Parameters
    ----------
    design : Design
    card : SupplyCard
    """
    return (
        review_row(
            "highest onset against the ramp limit",
            card.highest,
            card.ramp_limit,
            "V",
            f"{card.ramp_reason} comes first; see the supply card",
            "use a sharper edge or a smaller gap, or raise the limit that comes first",
        ),
    )
