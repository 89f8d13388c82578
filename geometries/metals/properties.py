"""The properties that make a metal, and how they are printed."""

from __future__ import annotations

from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from conegap.geometries.metals.laws import (
    AnyLaw,
    LinearLaw,
    RaoultMixture,
    VapourPressureLaw,
    ViscosityLaw,
)
from conegap.geometries.metals.records import Constant, PropertyRecord

__all__ = ["MetalProperties", "constant_record", "law_record", "range_note"]


class MetalProperties(TypedDict):
    """Everything that makes a `Metal`, by the names of its fields."""

    symbol: str
    name: str
    aliases: tuple[str, ...]
    ion: str
    hazards: str
    molar_mass_constant: Constant
    melting_point_constant: Constant
    ion_molar_mass: float
    surface_tension_law: LinearLaw
    contaminated_tension_law: LinearLaw | None
    density_law: LinearLaw | None
    viscosity_law: ViscosityLaw | None
    vapour_pressure_law: VapourPressureLaw | RaoultMixture | None
    first_ionisation_energy_constant: Constant | None
    second_ionisation_energy_constant: Constant | None
    sublimation_energy_constant: Constant | None
    work_function_constant: Constant | None


def constant_record(key: str, unit: str, factor: float, constant: Constant) -> PropertyRecord:
    """Line of the table for a constant.

    Parameters
    ----------
    key : str
        Name of the property.
    unit : str
        SI unit.
    factor : float
        From the constant's own unit to SI, [-].
    """
    return PropertyRecord(
        key=key,
        unit=unit,
        value=factor * constant.value,
        relative_standard_uncertainty=constant.standard_uncertainty / constant.value,
        validity=constant.holds,
        provenance=constant.provenance,
    )


def law_record(key: str, unit: str, law: AnyLaw, temperature: float) -> PropertyRecord:
    """Line of the table for a law at one temperature.

    Parameters
    ----------
    key : str
        Name of the property.
    unit : str
        SI unit.
    temperature : float
        [K].
    """
    uncertainty = (
        law.relative_uncertainty(temperature)
        if isinstance(law, LinearLaw)
        else law.relative_standard_uncertainty
    )
    return PropertyRecord(
        key=key,
        unit=unit,
        value=law.at(temperature),
        relative_standard_uncertainty=uncertainty,
        validity=f"{law.lowest:.1f} K to {law.highest:.1f} K",
        provenance=law.provenance,
    )


def range_note(name: str, key: str, law: AnyLaw, kelvin: NDArray[np.float64]) -> str:
    """Sentence on a law that is used outside its range.

    Parameters
    ----------
    name : str
        Name of the metal.
    key : str
        Name of the property.
    kelvin : (n,) array
        Temperatures, at least one of them outside, [K].
    """
    outside = kelvin[(kelvin < law.lowest - 0.01) | (kelvin > law.highest + 0.01)]
    span = f"{law.lowest:.1f} K to {law.highest:.1f} K"
    if law.lowest == law.highest:
        span = f"{law.lowest:.1f} K only"
    farthest = outside[np.argmax(np.maximum(law.lowest - outside, outside - law.highest))]
    return (
        f"{key.replace('_', ' ')} of {name} is extrapolated to {farthest:.1f} K: "
        f"its law is supported from {span} ({law.provenance.source})"
    )
