"""Everything that the third dimension adds to the assessment of a crown or an array."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from conegap.geometries.design.design import Design
from conegap.solver.arrays.screening import Screening, screening
from conegap.solver.common.display_units import voltage_text
from conegap.solver.common.progress import Progress
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import FieldSolution
from conegap.solver.field3d.sector_factor import SectorOnset
from conegap.solver.operation.beam_current import CurrentLaw
from conegap.solver.operation.review import ReviewRow, review_row
from conegap.solver.studies.budget import Budget
from conegap.solver.studies.firing_order import Firing

__all__ = ["SectorAssessment", "assess_sector", "sector_rows", "sector_warnings"]


@dataclass(frozen=True)
class SectorAssessment:
    """Tips, screening and firing order of a design that needs the third dimension.

    Parameters
    ----------
    voltage : float
        Onset of the strongest tip by the criterion in use, [V].
    firing : Firing or None
        For a crown.
    accelerator_factor : float
        Greatest field on the accelerator in three dimensions over that of the plane section, at
        the design's voltages, [-].
    """

    onset: SectorOnset
    voltage: float
    screening: Screening
    firing: Firing | None
    accelerator_factor: float

    def tip_voltages(self) -> tuple[tuple[str, int, float, float], ...]:
        """Name, members, field over the strongest, [-], and onset, [V], of each class of tips."""
        found = []
        for tip in self.onset.tips:
            share = self.onset.share(tip)
            found.append((tip.name, tip.members, share, self.voltage / share))
        return tuple(found)

    def tip_onsets(self) -> tuple[float, ...]:
        """Onset of every tip, [V]: of a crown its typical scatter, of an array its classes."""
        if self.firing is not None:
            return tuple(float(own) for own in self.firing.typical)
        return tuple(v for _, members, _, v in self.tip_voltages() for _ in range(members))

    def as_dict(self, operating_voltage: float) -> dict[str, Any]:
        """For the results contract, SI.

        Parameters
        ----------
        operating_voltage : float
            Left across the gap behind the ballast, [V].
        """
        solution = self.onset.solution
        found: dict[str, Any] = {
            "cells": solution.cells,
            "seconds": solution.seconds,
            "field_over_section": self.onset.factor,
            "numerical_error": self.onset.error,
            "tips": [
                {
                    "name": tip.name,
                    "members": tip.members,
                    "field_per_volt_1_per_m": tip.per_volt.value,
                    "numerical_error": tip.error,
                    "onset_V": self.voltage / self.onset.share(tip),
                }
                for tip in self.onset.tips
            ],
            "field_over_lone_tip": {
                "strongest": self.screening.strongest,
                "weakest": self.screening.weakest,
            },
            "screening": [
                {"pitch_m": p.pitch, "tips": p.tips, "field_over_lone_tip": p.share}
                for p in self.screening.points
            ],
        }
        if self.firing is not None:
            firing = self.firing
            found["firing"] = {
                "first_tip_V": list(firing.first),
                "half_of_the_tips_V": list(firing.median),
                "all_tips_V": list(firing.last),
                "percentiles": [5, 50, 95],
                "fraction_lit_at_operating_voltage": firing.lit_share(operating_voltage),
                "samples": firing.samples,
                "example_tip_onsets_V": firing.example.tolist(),
                "example_order": list(firing.order),
            }
        return found


def assess_sector(
    design: Design,
    section: FieldSolution,
    onset: SectorOnset,
    voltage: float,
    firing: Firing | None,
    *,
    curve: bool = True,
    progress: Progress | None = None,
) -> SectorAssessment:
    """Screening, firing order and accelerator field of a solved sector.

    Parameters
    ----------
    design : Design
        A crown or an array.
    section : FieldSolution
        Of its plane section.
    voltage : float
        Onset by the criterion in use, [V].
    firing : Firing or None
        When the tips of a crown fire.
    curve : bool
        Whether to compute screening over pitch.
    progress : callable or None

    Raises
    ------
    DesignError, MeshError, ConvergenceError
        A changed design could not be solved.
    """
    return SectorAssessment(
        onset=onset,
        voltage=voltage,
        screening=screening(design, onset, curve=curve, progress=progress),
        firing=firing,
        accelerator_factor=_accelerator_factor(design, section, onset),
    )


def sector_rows(
    design: Design, sector: SectorAssessment, emission: CurrentLaw, budget: Budget
) -> tuple[ReviewRow, ...]:
    """Rows of the review that only the third dimension can answer.

    Parameters
    ----------
    emission : CurrentLaw
        Of all tips: those that fire before the last one draw their current through the ballast.
    budget : Budget
        Of the onset, k = 2: what moves one tip moves all of them.
    """
    name, _, _, last = sector.tip_voltages()[-1]
    if sector.firing is not None:
        last = sector.firing.last[2]
        text = "supply voltage at which all tips fire, 95 % of the crowns"
    elif len(sector.onset.tips) > 1:
        text = f"supply voltage at which the weakest tips ({name}) fire"
    else:
        return ()
    before = min(emission.lit_at(last), len(emission.relative_onsets) - 1)
    ballast = design.supply.ballast_resistance
    least, most = budget.band(last)

    def supplied(onset: float, law: CurrentLaw) -> float:
        """Of a last tip whose onset the loss of the shared feed raises, to first order in it."""
        raised = law.lights_at(1.0, law.at(last, before)) / law.onset_voltage
        return onset * raised + ballast * law.at(last * raised, before).current

    slow, steep = emission.band()
    low, needed, high = supplied(least, slow), supplied(last, emission), supplied(most, steep)
    return (
        review_row(
            text,
            needed,
            design.voltage,
            "V",
            f"the onset of the last tip, {voltage_text(last)}, must stand across the gap behind "
            "the ballast, with what a shared feed loses, while the others emit; the slope of "
            "their current is an order of magnitude, and the onset has its band (k = 2)",
            "raise the voltages, lower the ballast, sort the tips by radius, or space them wider",
            span=(low, high),
        ),
    )


def sector_warnings(design: Design) -> tuple[str, ...]:
    """What the reader of a crown's or an array's numbers must know."""
    return (
        "electron currents, ion paths and the energy stored in the gap are those of the plane "
        "section, one tip alone; the field on the accelerator is that of the solve in three "
        "dimensions",
    )


def _accelerator_factor(design: Design, section: FieldSolution, onset: SectorOnset) -> float:
    """Greatest accelerator field in three dimensions over that of the section."""
    solution = onset.solution
    voltages = electrode_voltages(design, solution.electrodes)
    _, field = solution.surface_field("accelerator", voltages, averaged=True)
    flat = section.surface("accelerator", electrode_voltages(design, section.electrodes))
    return float(np.abs(field).max() / np.abs(flat.field).max())
