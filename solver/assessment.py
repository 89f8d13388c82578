"""The whole answer to a design: field, onset with its budget, operation and review."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from importlib.metadata import version
from typing import Any

import numpy as np

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.notebook import html_table
from conegap.solver.arrays.end_review import end_rows, end_warnings
from conegap.solver.arrays.first_emission import FirstEmission, burning_rows, first_emission
from conegap.solver.arrays.misalignment_review import misalignment_warnings
from conegap.solver.arrays.sector_assessment import (
    SectorAssessment,
    assess_sector,
    sector_rows,
    sector_warnings,
)
from conegap.solver.beam.beam_band import BeamBand, BeamPoint, beam_band
from conegap.solver.beam.beam_review import review_of_beam, why_no_beam
from conegap.solver.beam.ion_beam import Beam
from conegap.solver.common.parallel_map import stand_by
from conegap.solver.common.progress import Progress
from conegap.solver.field.solution import FieldSolution
from conegap.solver.field3d.slit_end import SlitEnd, slit_end_or_why
from conegap.solver.liquid.free_surface import OnsetCriterion
from conegap.solver.liquid.site_waves import SurfaceWave, surface_wave
from conegap.solver.onset.closed_forms import ClassicEstimate, classic_estimate
from conegap.solver.onset.field_warnings import field_warnings
from conegap.solver.operation.exhaust import IonExhaust, ion_exhaust
from conegap.solver.operation.gap_operation import GapOperation, gap_operation
from conegap.solver.operation.other_wetting import less_favourable
from conegap.solver.operation.review import (
    AcceleratorField,
    ReviewRow,
    accelerator_field,
    gap_review,
)
from conegap.solver.studies.budget import Budget, error_budget
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.scan import Scan, scans_about

__all__ = [
    "Assessment",
    "SurfaceWave",
    "assess",
]

# Turning point over rigid onset from which the report warns that a wetted edge gives way first.
_FAR_ABOVE = 1.5


@dataclass(frozen=True)
class Assessment:
    """Everything computed for a design; build with `assess`.

    Parameters
    ----------
    design : Design
    solution : FieldSolution
    onset : Onset
        Rigid onset, turning point, criterion and numerical error.
    budget : Budget
        Of the onset of the section; the first emission has its own.
    classic : ClassicEstimate or None
    surface_wave : SurfaceWave or None
        For a slit.
    accelerator : AcceleratorField
    exhaust : IonExhaust or None
        None where the emitter is not positive against ground, and without ions of a metal.
    operation : GapOperation
        Electrons, current, feed and supply.
    beams : BeamBand or None
        Paths of the ions, with their own charge, at the operating point and at both ends of the
        current's band; None where no current is expected, and where they could not be computed,
        see ``why_no_beam``.
    review : tuple of ReviewRow
    scans : tuple of Scan
        Onset over gap and over edge radius, empty when not asked for.
    sector : SectorAssessment or None
        What the third dimension adds; None where a plane section is the whole answer.
    slit_end : SlitEnd or None
        For a slit; its radius may be assumed.
    warnings : tuple of str
    """

    design: Design
    solution: FieldSolution
    onset: Onset
    budget: Budget
    classic: ClassicEstimate | None
    surface_wave: SurfaceWave | None
    accelerator: AcceleratorField
    exhaust: IonExhaust | None
    operation: GapOperation
    beams: BeamBand | None
    review: tuple[ReviewRow, ...]
    scans: tuple[Scan, ...]
    sector: SectorAssessment | None
    slit_end: SlitEnd | None
    warnings: tuple[str, ...]

    def __repr__(self) -> str:
        first = self.emission.first
        failed = sum(row.passed is False for row in self.review)
        return (
            f"Assessment({self.design.title or self.design.source!r}: emits from "
            f"{first.voltage:.6g} V, {first.low:.6g} V to {first.high:.6g} V at k = 2, "
            f"{first.place}, {first.mode}; {failed} of {len(self.review)} criteria fail)"
        )

    def _repr_html_(self) -> str:
        first = self.emission.first
        rows = [
            ("first emission [V]", f"{first.voltage:.6g}", f"{first.low:.6g} to {first.high:.6g}"),
            ("where", first.place, first.mode),
            ("voltage of the design [V]", f"{self.design.voltage:.6g}", ""),
        ]
        for row in self.review:
            unit = f" [{row.unit}]" if row.unit else ""
            rows.append((row.name + unit, f"{row.value:.4g}, limit {row.limit:.4g}", row.state))
        return html_table(
            self.design.title or self.design.source,
            rows,
            ("", "value", "band (k = 2), mode, result"),
            below=" ".join(self.warnings[:1]),
        )

    @cached_property
    def emission(self) -> FirstEmission:
        """Where the gap emits first, the headline, and every other instability beside it."""
        return first_emission(self.onset, self.budget, self.sector, self.slit_end)

    @property
    def beam(self) -> Beam | None:
        """At the expected current."""
        return None if self.beams is None else self.beams.nominal

    @property
    def why_no_beam(self) -> str:
        """Why there are no ion paths, "" where there are."""
        return "" if self.beams is not None else why_no_beam(self.operation.operating)

    @property
    def enhancement(self) -> float:
        """Edge field times gap over voltage, [-]."""
        return self.onset.rigid.edge_per_volt * self.design.gap

    @property
    def thrust(self) -> float | None:
        """At the operating point, along the axis, of the ions that leave past the accelerator, [N].

        That of a parallel beam of all ions where no paths were computed; None where the emitter
        is not positive against ground or the current is not known.
        """
        at = self.operation.operating
        if at.thrust is None or not at.current_known:
            return None
        return at.thrust * self.thrust_share

    @property
    def thrust_share(self) -> float:
        """Thrust of the ion paths over that of a parallel beam, 1 where none were computed, [-]."""
        return 1.0 if self.beam is None else self.beam.thrust_share

    @property
    def passed(self) -> bool:
        """Whether every row of the review passes; one that is not proved does not."""
        return all(row.passed for row in self.review)

    @property
    def failed(self) -> bool:
        """Whether a row of the review fails; one that is not proved does not."""
        return any(row.passed is False for row in self.review)

    def as_dict(self) -> dict[str, Any]:
        """The results contract: SI numbers, one unit suffix per key, ready for JSON."""
        onset, rigid, solution = self.onset, self.onset.rigid, self.solution
        low, high = self.budget.band(onset.voltage)
        operation = self.operation.operation_dict()
        operation["thrust_N"] = self.thrust
        if self.beams is not None:
            operation.update(self.beams.as_dict())
        if self.surface_wave is not None:
            operation["sites"] = self.surface_wave.sites
            operation["site_spacing_m"] = self.surface_wave.spacing
        if self.exhaust is not None:
            operation["exhaust_speed_m_per_s"] = self.exhaust.speed
            operation["specific_impulse_s"] = self.exhaust.specific_impulse
            operation["thrust_per_current_N_per_A"] = self.exhaust.thrust_per_current
            operation["power_per_thrust_W_per_N"] = self.exhaust.power_per_thrust
            operation["mass_per_charge_kg_per_C"] = self.exhaust.mass_per_charge
        result: dict[str, Any] = {
            "conegap_version": version("conegap"),
            "design_sha256": self.design.sha256,
            "title": self.design.title,
            "inputs": self.design.record,
            "warnings": list(self.warnings),
            "field": {
                "edge_per_volt_1_per_m": rigid.edge_per_volt,
                "edge_numerical_error": rigid.error,
                "observed_order": _number(rigid.edge_at_design.order),
                "extrapolated": rigid.edge_at_design.extrapolated,
                "enhancement": self.enhancement,
                "cells": solution.cells,
                "seconds": solution.seconds,
            },
            "onset": {
                "voltage_V": onset.voltage,
                "numerical_error": onset.error,
                "rigid_voltage_V": rigid.voltage,
                "voltage_low_V": low,
                "voltage_high_V": high,
                "mode": onset.mode,
                "criterion": onset.criterion,
                **self.emission.as_dict(),
                "edge": rigid.edge_name,
                "edge_field_V_per_m": rigid.balance_field,
                "surface_tension_N_per_m": rigid.surface_tension,
                "budget": self.budget.as_dict(),
            },
            "accelerator": {
                "edge_field_V_per_m": self.accelerator.at_design,
                "edge_field_at_onset_V_per_m": self.accelerator.at_onset,
                **self.operation.accelerator_dict(),
            },
            "operation": operation,
            **self.operation.more_dict(),
            "review": [row.as_dict() for row in self.review],
        }
        if self.classic is not None:
            result["onset"]["classic_estimate"] = {
                "voltage_V": self.classic.voltage,
                "formula": self.classic.name,
                "source": self.classic.source,
                "within_validity": self.classic.within,
                "departures": list(self.classic.departures),
            }
        if onset.meniscus is not None:
            result["onset"]["meniscus"] = onset.meniscus.as_dict()
        if self.sector is not None:
            result["sector"] = self.sector.as_dict(self.operation.operating.point.voltage)
        if self.slit_end is not None:
            result["slit_end"] = self.slit_end.as_dict()
        if onset.misaligned is not None:
            result["misalignment"] = onset.misaligned.as_dict()
        if self.surface_wave is not None:
            result["onset"]["surface_wave_voltage_V"] = self.surface_wave.onset_voltage
        return result


def assess(
    design: Design,
    *,
    accuracy: float = 1e-3,
    scans: bool = True,
    criterion: OnsetCriterion = "automatic",
    progress: Progress | None = None,
) -> Assessment:
    """The main job: field, onset with error budget, and review of a design.

    Parameters
    ----------
    design : Design
    accuracy : float
        Relative numerical error wanted in the edge field, > 0, [-].
    scans : bool
        Whether to scan the onset over gap and edge radius.
    criterion : "automatic", "rigid" or "meniscus"
        Automatic follows the free surface where the design has one (capillary, wetted needle,
        slit) and says in a warning why where it cannot.
    progress : callable or None
        Called with (what, steps done, steps in all).

    Raises
    ------
    DesignError
        The design has no onset, or cannot be built at one end of a tolerance.
    MeshError, ConvergenceError, ContinuationError
        The field or the liquid's shapes could not be computed; no number is reported.

    Examples
    --------
    Run ``python -m conegap.validation.gallery.needle_onset``, a script of 40 lines.
    """
    if criterion != "rigid" or design.sector() is not None:
        # Then the budget is solved in processes, which load while this one finds the onset.
        stand_by()
    onset = solve_onset(design, criterion=criterion, accuracy=accuracy, progress=progress)
    rigid, meniscus, solution, deep = onset.rigid, onset.meniscus, onset.solution, onset.sector
    budget = error_budget(onset)
    remark = onset.remarks
    if meniscus is not None and meniscus.voltage > _FAR_ABOVE * rigid.voltage:
        remark = (
            *remark,
            f"the drawn edge, if the liquid wets it, gives way at {rigid.voltage:.5g} V, far below "
            f"the turning point of the meniscus at its drawn contact line, {meniscus.voltage:.5g} "
            "V: the lower value decides where the edge is wet",
        )
    accelerator = accelerator_field(design, solution, onset.voltage)
    sector = None
    if deep is not None:
        sector = assess_sector(
            design, solution, deep, onset.voltage, onset.firing, curve=scans, progress=progress
        )
        accelerator = accelerator.times(sector.accelerator_factor)
    if onset.misalignment is not None:
        accelerator = accelerator.times(onset.misalignment.accelerator_factor)
    end, no_end = slit_end_or_why(design, curve=scans, progress=progress)
    emission = first_emission(onset, budget, sector, end)
    first = emission.first
    wave = surface_wave(design, rigid, meniscus)
    operation = gap_operation(
        design,
        solution,
        rigid,
        meniscus,
        onset=onset.voltage,
        onset_band=budget.band(onset.voltage),
        band=(first.low, first.voltage, first.high),
        accelerator=accelerator,
        site_spacing=None if wave is None else wave.spacing,
        tip_onsets=() if sector is None else sector.tip_onsets(),
    )
    # The scans are solved in other processes, and this one would only wait for them.
    with ThreadPoolExecutor(1) as aside:
        ions = aside.submit(_beams, design, solution, operation, quick=not scans)
        scanned = scans_about(onset) if scans else ()
    beams, no_beam = ions.result()
    ground = design.voltages.emitter
    return Assessment(
        design=design,
        solution=solution,
        onset=onset,
        budget=budget,
        classic=classic_estimate(design, radius=solution.section.edge(rigid.edge_name).radius),
        surface_wave=wave,
        accelerator=accelerator,
        exhaust=(
            ion_exhaust(ion_mass=design.metal.ion_mass, voltage=ground)
            if ground > 0 and design.metal.gives_ions
            else None
        ),
        operation=operation,
        beams=beams,
        review=(
            *less_favourable(
                gap_review(
                    design,
                    onset.voltage,
                    first.high,
                    accelerator,
                    every_onset=emission.highest if sector is None else 0.0,
                ),
                operation.others,
                lambda other: gap_review(
                    design,
                    other.share * onset.voltage,
                    other.first[2],
                    replace(accelerator, at_onset=other.share * accelerator.at_onset),
                ),
            ),
            *burning_rows(design, emission, sector),
            *operation.rows,
            *review_of_beam(design, beams, operation),
            *(() if sector is None else sector_rows(design, sector, operation.emission, budget)),
            *end_rows(end, no_end),
        ),
        scans=scanned,
        sector=sector,
        slit_end=end,
        warnings=(
            *field_warnings(design, solution, rigid, accuracy),
            *operation.warnings,
            *no_beam,
            *(() if sector is None else sector_warnings(design)),
            *misalignment_warnings(onset.misalignment),
            *no_end,
            *end_warnings(design, end),
            *((onset.remark,) if onset.remark else ()),
            *remark,
        ),
    )


def _beams(
    design: Design, solution: FieldSolution, operation: GapOperation, *, quick: bool
) -> tuple[BeamBand | None, tuple[str, ...]]:
    """Beams at the operating point and its band, or a warning why they could not be computed.

    Where no current is expected there is no beam, and no warning: the operating point says so.
    The section holds one tip, or a whole slit: of several tips each has its part of the current.
    """
    if operation.operating.point.current <= 0.0:
        return None, ()
    whole = design.emitter.line_length is not None
    points = [
        BeamPoint(
            at.point.current / (1.0 if whole else max(at.point.sites, 1.0)), at.emitter_voltage
        )
        for at in (operation.operating, *operation.operating_band)
    ]
    try:
        band = beam_band(design, solution, points, quick=quick)
    except GeometryError as error:
        return None, (f"no ion paths could be computed: {error}",)
    return band, band.notes


def _number(value: float) -> float | None:
    """None in place of nan, which JSON does not know."""
    return None if np.isnan(value) else float(value)
