"""Where a gap emits first: the lowest of all instabilities that were solved, and all of them.

A surface gives way at the turning point of its symmetric shape, by tilting to one side, or by waves
along a slit, whichever comes first; the ends of a slit and the sharpest tip of a crown see more
field than what the plane section shows.  Each has a voltage and a band; the lowest is the headline.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.design import Design
from conegap.solver.arrays.sector_assessment import SectorAssessment
from conegap.solver.field3d.slit_end import SlitEnd
from conegap.solver.operation.review import ReviewRow, review_row
from conegap.solver.studies.budget import Budget
from conegap.solver.studies.earliest import budget_of_ends, budget_of_first_tip
from conegap.solver.studies.end_shift import ENDS
from conegap.solver.studies.nominal import FIRST_TIP
from conegap.solver.studies.onset import Onset

__all__ = ["ENDS", "FirstEmission", "Instability", "burning_rows", "first_emission"]


@dataclass(frozen=True)
class Instability:
    """One way in which the gap can begin to emit.

    Parameters
    ----------
    place : str
        Where on the emitter.
    mode : str
        How the surface gives way.
    voltage : float
        Emitter minus accelerator, [V].
    budget : Budget
        What makes it uncertain.
    """

    place: str
    mode: str
    voltage: float
    budget: Budget

    @property
    def low(self) -> float:
        """Lower end of the band of k = 2, about 95 %, [V]."""
        return self.budget.band(self.voltage)[0]

    @property
    def high(self) -> float:
        """Upper end of the band of k = 2, about 95 %, [V]."""
        return self.budget.band(self.voltage)[1]

    def as_dict(self) -> dict[str, Any]:
        """For the results contract, SI."""
        return {
            "voltage_V": self.voltage,
            "voltage_low_V": self.low,
            "voltage_high_V": self.high,
            "place": self.place,
            "mode": self.mode,
            "budget": self.budget.as_dict(),
        }


@dataclass(frozen=True)
class FirstEmission:
    """All instabilities of a gap; build with `first_emission`.

    Parameters
    ----------
    instabilities : tuple of Instability
        The lowest first.
    all_burning : float
        Where every place emits: 95 % of the sampled crowns, the weakest tips of an array, the
        middle of a slit, [V].
    """

    instabilities: tuple[Instability, ...]
    all_burning: float

    @property
    def first(self) -> Instability:
        """The lowest: where the gap begins to emit."""
        return self.instabilities[0]

    @property
    def highest(self) -> float:
        """Upper end of the bands of all places of a slit or of a single edge, [V]."""
        last = [one.high for one in self.instabilities if one.voltage <= self.all_burning]
        return max(last, default=self.first.high)

    def as_dict(self) -> dict[str, Any]:
        """For the results contract, SI."""
        return {
            "first_emission": self.first.as_dict(),
            "instabilities": [one.as_dict() for one in self.instabilities],
            "all_burning_V": self.all_burning,
        }


def first_emission(
    onset: Onset, budget: Budget, sector: SectorAssessment | None, end: SlitEnd | None
) -> FirstEmission:
    """Collect the instabilities that were solved.

    The ends of a slit are short and bent, so that no wave along a straight crest begins there: they
    are given the turning point of the middle (or its rigid balance) at their own, greater field.

    Parameters
    ----------
    budget : Budget
        Of the onset; every mode shifts with the tolerances as it does.
    """
    found = []
    place = _place(onset, sector)
    for mode, voltage in onset.modes:
        found.append(Instability(place, mode, voltage, budget))
    last = onset.voltage
    if sector is not None:
        for name, _, _, voltage in sector.tip_voltages()[1:]:
            found.append(Instability(f"{name} tips", onset.mode, voltage, budget))
            last = max(last, voltage)
    if sector is not None and sector.firing is not None:
        own = budget_of_first_tip(budget, sector.firing.first)
        found.append(Instability(FIRST_TIP, onset.mode, sector.firing.first[1], own))
        last = sector.firing.last[2]
    if end is not None and end.factor > 1.0:
        mode, middle = onset.modes[0]
        found.append(Instability(ENDS, mode, middle / end.factor, budget_of_ends(budget, end)))
    return FirstEmission(tuple(sorted(found, key=lambda one: one.voltage)), last)


def burning_rows(
    design: Design, emission: FirstEmission, sector: SectorAssessment | None
) -> tuple[ReviewRow, ...]:
    """Row of the review on a slit whose middle emits after its ends; a sector has its own."""
    if sector is not None or emission.all_burning <= emission.first.voltage:
        return ()
    return (
        review_row(
            "voltage at which the middle emits too",
            emission.all_burning,
            design.voltage,
            "V",
            "the whole slit must emit at the voltages of the design, anywhere in its band (k = 2)",
            "give the ends a larger radius, or raise the voltages",
            span=_span_of(emission),
        ),
    )


def _span_of(emission: FirstEmission) -> tuple[float, float]:
    """Band of what emits last, [V]."""
    last = min(emission.instabilities, key=lambda one: abs(one.voltage - emission.all_burning))
    return last.low, last.high


def _place(onset: Onset, sector: SectorAssessment | None) -> str:
    """Where the plane section's own surface is."""
    if sector is not None:
        one = len(sector.onset.tips) == 1
        return "a tip as drawn" if one else f"{sector.onset.tips[0].name} tips"
    if onset.meniscus is not None:
        emitter = onset.design.emitter
        place = onset.meniscus.place
        return place if emitter.line_length is None else f"middle of the {emitter.noun}, {place}"
    return onset.rigid.edge_name
