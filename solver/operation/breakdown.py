"""Screening of the gap against its upper limit: electrons, breakdown, insulators, X-rays."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from conegap.geometries.design.design import Design
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import FieldSolution
from conegap.solver.operation.electron_emission import ElectronCurrent, electron_current
from conegap.solver.operation.review import AcceleratorField, ReviewRow, review_row

__all__ = [
    "CLUMP_CONSTANT",
    "NegativeElectrode",
    "breakdown_rows",
    "electron_rows",
    "negative_electrode",
    "paschen_pressure",
]

PASCHEN_MINIMUM = (327.0, 0.76)
"""Least breakdown voltage of air, [V], and pressure times path there, [Pa m].

F. Paschen, Ann Phys 273, 69 (1889) for the law (from memory); the numbers, 327 V at 7.5 um and one
atmosphere, are those that pages of high-voltage practice print (one was opened, no primary source).
"""

CLUMP_CONSTANT = 2.0e12
"""V E below which clumps do not break a clean gap down, [V^2/m].

L. Cranberg, J Appl Phys 23, 518 (1952): a clump is torn off with a charge per area eps0 E and
lands with the energy of the whole voltage, so that V E decides; in an even gap it is V^2 / d, and
V goes as sqrt(d) from 20 kV at 0.2 mm to 7 MV at 6 m.  Pairing these end points gives 2.0e12 to
8.2e12 (inferred), of which the lower is taken.
"""

_PRACTICE = "common practice, no source"
# Where the supply's limit is not given, [A]; a microampere of electrons is a tenth of a modest
# ion current. Common practice, no source.
_FALLBACK_CURRENT = 1e-6


@dataclass(frozen=True)
class NegativeElectrode:
    """Electrons from the accelerator at the design's voltages.

    Parameters
    ----------
    clean : ElectronCurrent
        With the work function of the clean metal.
    contaminated : ElectronCurrent or None
        With that of the liquid metal, None where it is not known.
    heat : float
        Power that the larger of both brings to the emitter, current times voltage, [W].
    depth : float or None
        Length along y that the currents stand for, None around an axis, [m].
    per_metre : bool
        The design gives no length along y, so the currents are per metre.
    """

    clean: ElectronCurrent
    contaminated: ElectronCurrent | None
    heat: float
    depth: float | None
    per_metre: bool


def negative_electrode(design: Design, solution: FieldSolution) -> NegativeElectrode:
    """Electron emission of the accelerator.

    Parameters
    ----------
    design : Design
    solution : FieldSolution
        Of ``design.section()``.
    """
    section = solution.section
    surface = solution.surface("accelerator", electrode_voltages(design, solution.electrodes))
    planar = section.symmetry == "planar"
    length = design.emitter.line_length
    depth = (length or 1.0) if planar else None

    def emitted(work_function: float) -> ElectronCurrent:
        return electron_current(
            surface,
            work_function=work_function,
            protrusion_factor=design.criteria.micro_protrusion_factor,
            depth=depth,
            mirrored=section.mirrored,
        )

    clean = emitted(design.criteria.accelerator_work_function)
    liquid = design.metal.work_function
    contaminated = None if liquid is None else emitted(liquid)
    most = max(clean.current, 0.0 if contaminated is None else contaminated.current)
    return NegativeElectrode(
        clean, contaminated, most * design.voltage, depth, planar and length is None
    )


def electron_rows(design: Design, electrode: NegativeElectrode) -> tuple[ReviewRow, ...]:
    """Criteria of the electron current.

    Parameters
    ----------
    design : Design
    electrode : NegativeElectrode
    """
    given = design.supply.current_limit
    share = design.criteria.electron_share_of_supply_current
    limit = _FALLBACK_CURRENT if given is None else share * given
    source = "1 µA" if given is None else f"{share:.0%} of the supply's current limit"
    unit = "A/m" if electrode.per_metre else "A"
    basis = (
        f"{source}, {_PRACTICE}; E. L. Murphy and R. H. Good, Phys Rev 102, 1464 (1956), at "
        f"{design.criteria.micro_protrusion_factor:g} times the smooth field, assumed"
    )
    advice = "give the accelerator larger or smoother edges, or a wider gap"

    def row(surface: str, emitted: ElectronCurrent, remedy: str) -> ReviewRow:
        # Where the barrier is gone the law ends and its current is a lower bound.
        return review_row(
            f"electron current, {surface}",
            emitted.current,
            limit,
            unit,
            basis,
            remedy,
            span=None if emitted.barrier_stands else (emitted.current, math.inf),
        )

    rows = [row("clean accelerator", electrode.clean, advice)]
    remedy = f"{advice}; keep {design.metal.name} off the accelerator, or heat it clean"
    coated = f"accelerator coated with {design.metal.name}"
    if electrode.contaminated is not None:
        rows.append(row(coated, electrode.contaminated, remedy))
    else:
        rows.append(
            review_row(
                f"electron current, {coated}",
                0.0,
                limit,
                unit,
                f"no work function of {design.metal.name} is known",
                f"give [liquid.custom] work_function; {remedy}",
                span=(0.0, math.inf),
            )
        )
    return tuple(rows)


def paschen_pressure(voltage: float, path: float) -> float:
    """Pressure of air below which no avalanche grows along a path.

    Townsend's ionisation makes the breakdown voltage V / V_min = x / (1 + ln x), with x the product
    of pressure and path over that at the minimum (textbook); the branch with x < 1 is solved.

    Parameters
    ----------
    voltage : float
        Across the path, above the least breakdown voltage of 327 V, [V].
    path : float
        Of an electron from electrode to electrode, > 0, [m].

    Returns
    -------
    float
        [Pa].  An order of magnitude: another gas and another electrode shift it.

    Raises
    ------
    ValueError
        Voltage or path is out of range.
    """
    least, product = PASCHEN_MINIMUM
    if not voltage > least or not path > 0.0:
        raise ValueError(f"{voltage} V must be above {least} V and the path {path} m positive")

    def excess(x: float) -> float:
        return x - voltage / least * (1.0 + math.log(x))

    # At x = 1/e the voltage is without bound, at 1 it is the least one.
    return float(brentq(excess, math.exp(-1.0), 1.0)) * product / path


def breakdown_rows(
    design: Design, highest_onset: float, accelerator: AcceleratorField
) -> tuple[ReviewRow, ...]:
    """Criteria of clump breakdown, insulator, triple junction and X-rays.

    Parameters
    ----------
    design : Design
    highest_onset : float
        Upper end of the onset band, [V].
    accelerator : AcceleratorField
    """
    most = max(design.voltage, highest_onset)
    rows = [
        review_row(
            "clump breakdown: voltage times field on the accelerator",
            most**2 * accelerator.at_design / design.voltage,
            CLUMP_CONSTANT,
            "V²/m",
            "L. Cranberg, J Appl Phys 23, 518 (1952), lower end of the band inferred from its "
            "abstract; clean metal",
            "give the accelerator larger edges, or a wider gap",
        )
    ]
    insulator = design.insulator
    if insulator.surface_length is not None:
        rows.append(
            review_row(
                "mean field along the insulator's surface",
                (insulator.voltage or most) / insulator.surface_length,
                design.criteria.insulator_surface_field,
                "V/m",
                f"0.5 to 1 kV/mm, {_PRACTICE}",
                "lengthen the insulator's surface, with ribs or a larger body",
            )
        )
    if insulator.triple_junction_shielded is not None:
        rows.append(
            review_row(
                "triple junctions left unshielded",
                0.0 if insulator.triple_junction_shielded else 1.0,
                0.0,
                "",
                f"as the design file states; no field is computed there; {_PRACTICE}",
                "hide the line where insulator, vacuum and the negative metal meet behind a shield",
            )
        )
    # Electrons fall from any electrode to any other; the earth is one.
    widest = max(most, design.voltages.widest)
    rows.append(
        review_row(
            "greatest voltage against X-ray shielding",
            widest,
            design.criteria.unshielded_voltage,
            "V",
            f"{_xray_stage(widest)}, {_PRACTICE}; no safety approval",
            "have X-ray shielding designed and surveyed by someone licensed for it",
        )
    )
    return tuple(rows)


def _xray_stage(voltage: float) -> str:
    """What practice asks for at a voltage [V]."""
    if voltage <= 5e3:
        return "X-rays: assessed above 5 kV"
    if voltage <= 10e3:
        return "X-rays: to be assessed at this voltage, surveyed above 10 to 15 kV"
    if voltage <= 20e3:
        return "X-rays: to be assessed and surveyed at this voltage, shielded above 20 to 30 kV"
    return "X-rays: to be assessed, surveyed and shielded at this voltage"
