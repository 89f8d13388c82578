"""The metals of the library, read from ``data/metals.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from conegap.geometries.metals.laws import (
    LinearLaw,
    MixtureComponent,
    RaoultMixture,
    VapourPressureLaw,
    ViscosityLaw,
)
from conegap.geometries.metals.properties import MetalProperties
from conegap.geometries.metals.records import Constant, Provenance

__all__ = ["library_properties"]


@cache
def library_properties() -> Mapping[str, MetalProperties]:
    """Symbol and properties of every metal, in the order of the data file."""
    text = files("conegap.geometries").joinpath("data", "metals.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    return {symbol: _read_metal(symbol, tables) for symbol in tables}


def _read_metal(symbol: str, tables: Mapping[str, Any]) -> MetalProperties:
    """One metal; an alloy takes what it needs from the tables of its elements."""
    table = tables[symbol]
    ion = table["ion"]
    return MetalProperties(
        symbol=symbol,
        name=table["name"],
        aliases=tuple(table["aliases"]),
        ion=ion,
        hazards=table["hazards"],
        molar_mass_constant=_read_constant(table["molar_mass"]),
        melting_point_constant=_read_constant(table["melting_point"]),
        ion_molar_mass=tables[ion]["molar_mass"]["value"],
        surface_tension_law=_read_linear(table["surface_tension"]),
        contaminated_tension_law=_read_contaminated(table["surface_tension"]),
        density_law=_read_linear(table["density"]),
        viscosity_law=_read_viscosity(table["viscosity"]),
        vapour_pressure_law=_read_vapour_pressure(symbol, tables),
        first_ionisation_energy_constant=_read_constant(table["first_ionisation_energy"]),
        second_ionisation_energy_constant=_read_constant(table["second_ionisation_energy"]),
        sublimation_energy_constant=_read_constant(table["sublimation_energy"]),
        work_function_constant=_read_constant(table["work_function"]),
    )


def _read_provenance(table: Mapping[str, Any]) -> Provenance:
    """Source, status, note and what was opened of an entry."""
    return Provenance(
        source=table["source"],
        status=table["status"],
        note=table.get("note", ""),
        read=table["read"],
        spread=table.get("spread", 0.0),
    )


def _read_constant(table: Mapping[str, Any]) -> Constant:
    """A constant with its uncertainty."""
    return Constant(
        value=table["value"],
        standard_uncertainty=table["standard_uncertainty"],
        holds=table["holds"],
        provenance=_read_provenance(table),
    )


def _read_shared(table: Mapping[str, Any]) -> dict[str, Any]:
    """Range, uncertainty and source, as every law has them."""
    lowest, highest = table["range"]
    return {
        "lowest": lowest,
        "highest": highest,
        "relative_standard_uncertainty": table["relative_standard_uncertainty"],
        "provenance": _read_provenance(table),
    }


def _read_linear(table: Mapping[str, Any]) -> LinearLaw:
    """A law that is linear in temperature."""
    return LinearLaw(
        value=table["value"],
        temperature=table["temperature"],
        slope=table["slope"],
        slope_relative_standard_uncertainty=table["slope_relative_standard_uncertainty"],
        **_read_shared(table),
    )


def _read_contaminated(table: Mapping[str, Any]) -> LinearLaw | None:
    """The lower tension of a surface that is not clean, with the slope of the clean one."""
    lower = table.get("contaminated")
    if lower is None:
        return None
    return _read_linear({**table, "status": "published", "note": "", "spread": 0.0, **lower})


def _read_viscosity(table: Mapping[str, Any]) -> ViscosityLaw:
    """A viscosity law."""
    return ViscosityLaw(a1=table["a1"], a2=table["a2"], shift=table["shift"], **_read_shared(table))


def _read_vapour_pressure(
    symbol: str, tables: Mapping[str, Any]
) -> VapourPressureLaw | RaoultMixture:
    """The vapour pressure of a pure metal, or of an alloy by its rule."""
    table = tables[symbol]["vapour_pressure"]
    if table.get("rule") == "Raoult":
        components = _read_components(tables[symbol]["mass_fractions"], tables)
        return RaoultMixture(components=components, **_read_shared(table))
    return _read_pure_vapour_pressure(table)


def _read_pure_vapour_pressure(table: Mapping[str, Any]) -> VapourPressureLaw:
    """A vapour pressure law of one element."""
    return VapourPressureLaw(
        a=table["a"], b=table["b"], c=table["c"], d=table["d"], **_read_shared(table)
    )


def _read_components(
    mass_fractions: Mapping[str, float], tables: Mapping[str, Any]
) -> tuple[MixtureComponent, ...]:
    """Turn mass fractions into mole fractions and attach the pure liquids' laws."""
    moles = {
        symbol: fraction / tables[symbol]["molar_mass"]["value"]
        for symbol, fraction in mass_fractions.items()
    }
    total = sum(moles.values())
    return tuple(
        MixtureComponent(
            symbol=symbol,
            mole_fraction=amount / total,
            molar_mass=tables[symbol]["molar_mass"]["value"],
            law=_read_pure_vapour_pressure(tables[symbol]["vapour_pressure"]),
        )
        for symbol, amount in moles.items()
    )
