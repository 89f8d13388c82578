"""Properties of the liquid metals, with ranges of validity, uncertainties and sources.

The numbers live in ``data/metals.toml`` beside this module.  Every one carries its source and a
status: ``"published"`` where it was read in the source named, ``"unavailable"`` where no open
source could be read and the uncertainty covers what was found.  SI units inside, always.

>>> caesium = metal("Cs")
>>> round(caesium.surface_tension(323.15), 4)
0.0704
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from conegap.geometries.metals.errors import (
    FrozenMetalError,
    MissingPropertyError,
    UnknownMetalError,
)
from conegap.geometries.metals.laws import (
    ELEMENTARY_CHARGE,
    AnyLaw,
    LinearLaw,
    MixtureComponent,
    RaoultMixture,
    VapourPressureLaw,
    ViscosityLaw,
)
from conegap.geometries.metals.properties import constant_record, law_record, range_note
from conegap.geometries.metals.records import Constant, PropertyRecord, Provenance
from conegap.geometries.metals.shipped import library_properties
from conegap.geometries.metals.user_metal import user_properties
from conegap.geometries.metals.values import MetalValues
from conegap.geometries.quantities.errors import ConegapError
from conegap.geometries.quantities.notebook import data_frame

__all__ = [
    "Constant",
    "FrozenMetalError",
    "LinearLaw",
    "Metal",
    "MissingPropertyError",
    "MixtureComponent",
    "PropertyRecord",
    "Provenance",
    "RaoultMixture",
    "UnknownMetalError",
    "VapourPressureLaw",
    "ViscosityLaw",
    "metal",
    "metal_names",
    "metals_to_dataframe",
]


@dataclass(frozen=True, kw_only=True)
class Metal(MetalValues):
    """A liquid metal and its properties.

    Get one of the library with `metal`; give your own with `Metal.custom`.  Optional laws and
    constants are None where they are not known; the methods that need them say so.

    Attributes
    ----------
    See `conegap.geometries.metals.values.MetalValues`.
    """

    def __repr__(self) -> str:
        return f"Metal({self.name!r}, melts at {self.melting_point:.2f} K)"

    def to_dataframe(self, temperature: float | None = None) -> Any:
        """Every known property as a pandas data frame, one row a property, SI.

        Parameters
        ----------
        temperature : float or None
            Liquid temperature, the melting point if left out, [K].

        Raises
        ------
        FrozenMetalError
            If the temperature lies below the melting point.
        ImportError
            pandas is not installed.
        """
        kelvin = self.melting_point if temperature is None else temperature
        records = [record.columns() for record in self.records(kelvin)]
        columns = {key: [record[key] for record in records] for key in records[0]}
        return data_frame(columns, metal=self.name, temperature_K=kelvin)

    def range_notes(self, temperature: ArrayLike) -> tuple[str, ...]:
        """List the laws that are extrapolated at a temperature.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        tuple of str
            One sentence for each law used outside its range; empty if there is none.

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        DesignError
            If a temperature is not finite.
        """
        kelvin = np.atleast_1d(np.asarray(temperature, dtype=float))
        self._liquid(kelvin)
        return tuple(
            range_note(self.name, key, law, kelvin)
            for key, _, law in self._laws()
            if not law.covers(kelvin)
        )

    def with_contaminated_surface(self) -> Metal:
        """This metal with the lower tension of an oxidised or dirty surface.

        Returns
        -------
        Metal
            The same metal, its surface tension law replaced.

        Raises
        ------
        MissingPropertyError
            If no such tension is known for this metal.
        """
        if self.contaminated_tension_law is None:
            raise MissingPropertyError(self.name, "contaminated surface tension")
        return replace(self, surface_tension_law=self.contaminated_tension_law)

    def records(self, temperature: float) -> tuple[PropertyRecord, ...]:
        """Tabulate every known property with uncertainty, validity, source and status.

        Parameters
        ----------
        temperature : float
            Liquid temperature at which the laws are evaluated, [K].

        Returns
        -------
        tuple of PropertyRecord
            Constants first, then laws.  Energies are in joules.

        Raises
        ------
        FrozenMetalError
            If the temperature lies below the melting point.
        DesignError
            If the temperature is not finite.
        """
        kelvin = self._liquid(float(temperature))
        constants = tuple(constant_record(*entry) for entry in self._constants())
        laws = tuple(law_record(key, unit, law, kelvin) for key, unit, law in self._laws())
        return constants + laws

    @classmethod
    def custom(
        cls,
        name: str,
        *,
        molar_mass: float,
        melting_point: float,
        surface_tension: float,
        surface_tension_temperature: float | None = None,
        surface_tension_slope: float = 0.0,
        surface_tension_relative_uncertainty: float = 0.05,
        valid_range: tuple[float, float] | None = None,
        density: float | None = None,
        viscosity: float | None = None,
        vapour_pressure_coefficients: tuple[float, float, float, float] | None = None,
        first_ionisation_energy: float | None = None,
        work_function: float | None = None,
        source: str = "given by the user",
        hazards: str = "Not known to the library: consult the supplier's safety data sheet.",
    ) -> Metal:
        """Build a metal from values of your own, as a design file gives them.

        Parameters
        ----------
        name : str
            Name to print.
        molar_mass : float
            Molar mass of the atom, [kg/mol].
        melting_point : float
            Melting point, [K].
        surface_tension : float
            Surface tension at `surface_tension_temperature`, [N/m].
        surface_tension_temperature : float, optional
            Liquid temperature of that value, the melting point if left out, [K].
        surface_tension_slope : float
            Change of surface tension per kelvin, [N m^-1 K^-1].
        surface_tension_relative_uncertainty : float
            One standard deviation divided by the value, [-].
        valid_range : (float, float), optional
            Temperatures between which the values hold, [K].  If left out, the values hold at
            `surface_tension_temperature` only, and `range_notes` says so elsewhere.
        density : float, optional
            Density, taken as constant, [kg/m^3].
        viscosity : float, optional
            Dynamic viscosity, taken as constant, [Pa s].
        vapour_pressure_coefficients : (float, float, float, float), optional
            a [-], b [K], c [-], d [1/K] of log10(p / atm) = a + b / T + c log10(T / K) + d T.
        first_ionisation_energy, work_function : float, optional
            Energies, [J].
        source : str
            Where the values come from.
        hazards : str
            Safety reminder to print.

        Returns
        -------
        Metal
            The metal; properties left out are None.

        Raises
        ------
        DesignError
            If a value is not finite or not positive, or the temperatures contradict each other.
        """
        properties = user_properties(
            name,
            molar_mass=molar_mass,
            melting_point=melting_point,
            surface_tension=surface_tension,
            surface_tension_temperature=surface_tension_temperature,
            surface_tension_slope=surface_tension_slope,
            surface_tension_relative_uncertainty=surface_tension_relative_uncertainty,
            valid_range=valid_range,
            density=density,
            viscosity=viscosity,
            vapour_pressure_coefficients=vapour_pressure_coefficients,
            first_ionisation_energy=first_ionisation_energy,
            work_function=work_function,
            source=source,
            hazards=hazards,
        )
        return cls(**properties)

    def _constants(self) -> tuple[tuple[str, str, float, Constant], ...]:
        """Key, SI unit, factor to SI and constant of every constant that is known."""
        entries: tuple[tuple[str, str, float, Constant | None], ...] = (
            ("molar_mass", "kg/mol", 1.0, self.molar_mass_constant),
            ("melting_point", "K", 1.0, self.melting_point_constant),
            *(
                (key, "J", ELEMENTARY_CHARGE, constant)
                for key, constant in (
                    ("first_ionisation_energy", self.first_ionisation_energy_constant),
                    ("second_ionisation_energy", self.second_ionisation_energy_constant),
                    ("sublimation_energy", self.sublimation_energy_constant),
                    ("work_function", self.work_function_constant),
                )
            ),
        )
        return tuple(
            (key, unit, factor, constant)
            for key, unit, factor, constant in entries
            if constant is not None
        )

    def _laws(self) -> tuple[tuple[str, str, AnyLaw], ...]:
        """Key, SI unit and law of every law that is known."""
        entries: tuple[tuple[str, str, AnyLaw | None], ...] = (
            ("surface_tension", "N/m", self.surface_tension_law),
            ("density", "kg/m^3", self.density_law),
            ("viscosity", "Pa s", self.viscosity_law),
            ("vapour_pressure", "Pa", self.vapour_pressure_law),
        )
        return tuple((key, unit, law) for key, unit, law in entries if law is not None)


def metal(name: str) -> Metal:
    """Find a metal of the library.

    Parameters
    ----------
    name : str
        Symbol, English name or alias, in any case: ``"Cs"``, ``"caesium"``, ``"Cesium"``.

    Returns
    -------
    Metal
        The metal with all its laws.

    Raises
    ------
    UnknownMetalError
        If there is no such metal; the message lists the nearest name and all symbols.
    """
    names = _names()
    key = _fold(name)
    if key not in names:
        nearest = difflib.get_close_matches(key, names, n=1, cutoff=0.6)
        spelled = dict.fromkeys(_library()[names[near]].name for near in nearest)
        raise UnknownMetalError(name, metal_names(), tuple(spelled))
    return _library()[names[key]]


def metal_names() -> tuple[str, ...]:
    """List the symbols of the library, in the order of its data file.

    Returns
    -------
    tuple of str
        ``("Cs", "Rb", ..., "EGaIn")``.
    """
    return tuple(_library())


def metals_to_dataframe(temperature: float | None = None) -> Any:
    """Every property of every metal of the library that is liquid, as a pandas data frame.

    Parameters
    ----------
    temperature : float or None
        Liquid temperature; each metal's own melting point if left out, [K].

    Returns
    -------
    pandas.DataFrame
        One row a property of a metal, SI.

    Raises
    ------
    ImportError
        pandas is not installed.
    """
    rows = [
        {"metal": one.name, "symbol": symbol, "temperature_K": kelvin, **record.columns()}
        for symbol, one in _library().items()
        for kelvin in (one.melting_point if temperature is None else temperature,)
        if kelvin >= one.melting_point
        for record in one.records(kelvin)
    ]
    names = ("metal", "symbol", "temperature_K", *PropertyRecord.COLUMNS)
    return data_frame({name: [row[name] for row in rows] for name in names})


def _fold(name: str) -> str:
    """A name without regard to case and spacing."""
    return " ".join(name.casefold().split())


@cache
def _library() -> Mapping[str, Metal]:
    """Every metal of the library by its symbol."""
    return {symbol: Metal(**entry) for symbol, entry in library_properties().items()}


@cache
def _names() -> Mapping[str, str]:
    """Every folded spelling, and the symbol it stands for."""
    names: dict[str, str] = {}
    for symbol, entry in _library().items():
        for spelling in (symbol, entry.name, *entry.aliases):
            if names.setdefault(_fold(spelling), symbol) != symbol:
                raise ConegapError(f"metals.toml gives the name {spelling!r} to two metals")
    return names
