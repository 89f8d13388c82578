"""Table and sentences of a report about the negative electrode: electrons and breakdown."""

from __future__ import annotations

from conegap.geometries.design.design import Design
from conegap.geometries.metals.laws import ELEMENTARY_CHARGE
from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import (
    current_text,
    field_text,
    pressure_text,
)
from conegap.solver.operation.breakdown import PASCHEN_MINIMUM, paschen_pressure
from conegap.solver.operation.electron_emission import ElectronCurrent
from conegap.solver.report.tables import Table

__all__ = ["electrode_table", "electrode_words"]


def electrode_table(assessment: Assessment) -> Table:
    """Electron emission of the accelerator, clean and coated.

    Parameters
    ----------
    assessment : Assessment
    """
    electrode = assessment.operation.electrode
    per = " per metre" if electrode.per_metre else ""
    found: list[tuple[str, ElectronCurrent]] = [("clean", electrode.clean)]
    if electrode.contaminated is not None:
        found.append((f"coated with {assessment.design.metal.name}", electrode.contaminated))
    rows = tuple(
        (
            name,
            f"{one.work_function / ELEMENTARY_CHARGE:.3g} eV",
            field_text(assessment.accelerator.at_design * one.protrusion_factor),
            current_text(one.current) + per,
            f"{one.current * assessment.design.voltage:.2g} W" + per
            if one.current > 1e-12
            else "none",
        )
        for name, one in found
    )
    heads = (
        "surface of the accelerator",
        "work function",
        "field on an assumed protrusion",
        "electron current",
        "heat on the emitter",
    )
    return Table(heads, rows)


def electrode_words(assessment: Assessment) -> tuple[str, ...]:
    """What the electron currents and the breakdown screens rest on.

    Parameters
    ----------
    assessment : Assessment
    """
    design, electrode = assessment.design, assessment.operation.electrode
    factor = electrode.clean.protrusion_factor
    words = [
        f"Protrusions everywhere are taken to raise the field {factor:g} times (20 to 100, common "
        "practice, no source): an upper bound for that factor.",
        _paschen_words(design),
    ]
    stands = electrode.clean.barrier_stands and (
        electrode.contaminated is None or electrode.contaminated.barrier_stands
    )
    if not stands:
        words.insert(
            1,
            "On the assumed protrusion the field removes the surface barrier altogether: the law "
            "ends there, and the current is only a lower bound.",
        )
    if design.insulator.surface_length is None:
        words.append("No [insulator] is given: surface and triple junctions are not screened.")
    elif design.insulator.triple_junction_shielded is None:
        words.append(
            "Whether the triple junctions are shielded is not given, so they are not screened."
        )
    return tuple(words)


def _paschen_words(design: Design) -> str:
    words = "At 1e-4 Pa no avalanche grows in the gap."
    path = design.clearance
    if not path > 0.0 or not design.voltage > PASCHEN_MINIMUM[0]:
        return words
    pressure, lowest = (
        pressure_text(float(f"{value:.1g}"))
        for value in (paschen_pressure(design.voltage, path), PASCHEN_MINIMUM[1] / path)
    )
    return (
        f"{words} In air it does from about {pressure} along the clearance (least voltage, "
        f"{PASCHEN_MINIMUM[0]:.0f} V, at {lowest}), a tenth of that on ways ten times as long "
        "(Paschen, order of magnitude; Townsend's law, handbook minimum)."
    )
