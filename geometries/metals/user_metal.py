"""Properties of a metal given by the user in place of one of the library."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from conegap.geometries.metals.errors import FrozenMetalError
from conegap.geometries.metals.laws import (
    ELEMENTARY_CHARGE,
    LinearLaw,
    VapourPressureLaw,
    ViscosityLaw,
)
from conegap.geometries.metals.properties import MetalProperties
from conegap.geometries.metals.records import Constant, Provenance
from conegap.geometries.quantities.errors import DesignError

__all__ = ["user_properties"]


def user_properties(
    name: str,
    *,
    molar_mass: float,
    melting_point: float,
    surface_tension: float,
    surface_tension_temperature: float | None,
    surface_tension_slope: float,
    surface_tension_relative_uncertainty: float,
    valid_range: tuple[float, float] | None,
    density: float | None,
    viscosity: float | None,
    vapour_pressure_coefficients: tuple[float, float, float, float] | None,
    first_ionisation_energy: float | None,
    work_function: float | None,
    source: str,
    hazards: str,
) -> MetalProperties:
    """Properties of `conegap.geometries.metals.metal.Metal.custom`, which documents every argument.

    Parameters
    ----------
    name, source, hazards : str
    molar_mass : float
        [kg/mol].
    melting_point : float
        [K].
    surface_tension : float
        [N/m].
    surface_tension_temperature : float or None
        [K].
    surface_tension_slope : float
        [N m^-1 K^-1].
    surface_tension_relative_uncertainty : float
        [-].
    valid_range : (float, float) or None
        [K].
    density : float or None
        [kg/m^3].
    viscosity : float or None
        [Pa s].
    vapour_pressure_coefficients : (float, float, float, float) or None
        [-], [K], [-], [1/K].
    first_ionisation_energy, work_function : float or None
        [J].

    Raises
    ------
    DesignError
        A value is not finite or not positive, or the temperatures contradict each other.
    """
    reference = (
        melting_point if surface_tension_temperature is None else (surface_tension_temperature)
    )
    _require_positive(
        name,
        molar_mass=molar_mass,
        melting_point=melting_point,
        surface_tension=surface_tension,
        surface_tension_temperature=reference,
        surface_tension_relative_uncertainty=surface_tension_relative_uncertainty,
        density=density,
        viscosity=viscosity,
        first_ionisation_energy=first_ionisation_energy,
        work_function=work_function,
    )
    if not math.isfinite(surface_tension_slope):
        raise DesignError(
            f"surface_tension_slope of {name} is {surface_tension_slope}: "
            "give a finite number, in N/m per kelvin"
        )
    if reference < melting_point:
        raise FrozenMetalError(name, reference, melting_point)
    lowest, highest = (reference, reference) if valid_range is None else valid_range
    if not lowest <= highest:
        raise DesignError(
            f"valid_range of {name} runs from {lowest} K to {highest} K: "
            "give the lower temperature first"
        )
    shared: dict[str, Any] = {
        "lowest": lowest,
        "highest": highest,
        "provenance": Provenance(source=source, status="user"),
    }
    return MetalProperties(
        symbol=name,
        name=name,
        aliases=(),
        ion=name,
        hazards=hazards,
        molar_mass_constant=_user_constant(molar_mass, source),
        melting_point_constant=_user_constant(melting_point, source),
        ion_molar_mass=molar_mass,
        surface_tension_law=LinearLaw(
            value=surface_tension,
            temperature=reference,
            slope=surface_tension_slope,
            relative_standard_uncertainty=surface_tension_relative_uncertainty,
            **shared,
        ),
        contaminated_tension_law=None,
        density_law=None
        if density is None
        else LinearLaw(
            value=density,
            temperature=reference,
            slope=0.0,
            relative_standard_uncertainty=math.nan,
            **shared,
        ),
        viscosity_law=None
        if viscosity is None
        else ViscosityLaw(
            a1=math.log10(viscosity / 1e-3),
            a2=0.0,
            relative_standard_uncertainty=math.nan,
            **shared,
        ),
        vapour_pressure_law=(
            None
            if vapour_pressure_coefficients is None
            else _user_vapour_pressure(vapour_pressure_coefficients, shared)
        ),
        first_ionisation_energy_constant=_user_energy(first_ionisation_energy, source),
        second_ionisation_energy_constant=None,
        sublimation_energy_constant=None,
        work_function_constant=_user_energy(work_function, source),
    )


def _require_positive(name: str, **values: float | None) -> None:
    """Refuse a value that is not a finite number above zero; None passes."""
    for key, value in values.items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise DesignError(f"{key} of {name} is {value}: give a finite number above zero")


def _user_constant(value: float, source: str) -> Constant:
    """A constant of unknown uncertainty."""
    return Constant(
        value=value,
        standard_uncertainty=math.nan,
        holds="as given by the user",
        provenance=Provenance(source=source, status="user"),
    )


def _user_energy(joules: float | None, source: str) -> Constant | None:
    """An energy in electronvolts, as the library keeps it."""
    if joules is None:
        return None
    constant = _user_constant(joules, source)
    return replace(constant, value=joules / ELEMENTARY_CHARGE)


def _user_vapour_pressure(
    coefficients: tuple[float, float, float, float], shared: Mapping[str, Any]
) -> VapourPressureLaw:
    """A vapour pressure law of unknown uncertainty."""
    a, b, c, d = coefficients
    return VapourPressureLaw(a=a, b=b, c=c, d=d, relative_standard_uncertainty=math.nan, **shared)
