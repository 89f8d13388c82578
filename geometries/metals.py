"""Properties of the liquid metals, with ranges of validity, uncertainties and sources.

The numbers live in ``data/metals.toml`` beside this module.  Every one carries its source and a
status: ``"published"`` where it was seen in the source named, ``"from memory"`` where the source
is cited but the number still has to be confirmed.  SI units inside, always.

>>> caesium = metal("Cs")
>>> round(caesium.surface_tension(323.15), 4)
0.068
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from conegap.geometries.errors import ConegapError, DesignError

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
]

Temperature = TypeVar("Temperature", float, NDArray[np.float64])

# Exact by the definition of the SI (2019); the electron mass is CODATA 2022.
BOLTZMANN_CONSTANT = 1.380649e-23
AVOGADRO_CONSTANT = 6.02214076e23
GAS_CONSTANT = BOLTZMANN_CONSTANT * AVOGADRO_CONSTANT
ELEMENTARY_CHARGE = 1.602176634e-19
ELECTRON_MASS = 9.1093837139e-31
STANDARD_ATMOSPHERE = 101325.0


class UnknownMetalError(DesignError):
    """The name asked for is no metal of the library.

    Parameters
    ----------
    name : str
        The name asked for.
    known : tuple of str
        Symbols of the library.
    nearest : tuple of str, optional
        Names that resemble it, best first.
    """

    def __init__(self, name: str, known: tuple[str, ...], nearest: tuple[str, ...] = ()) -> None:
        suggestion = (
            f" Did you mean {' or '.join(repr(near) for near in nearest)}?" if nearest else ""
        )
        super().__init__(
            f"there is no metal {name!r} in the library.{suggestion} "
            f"Known metals: {', '.join(known)}. "
            "For another metal give its properties in the design file."
        )
        self.name = name
        self.known = known
        self.nearest = nearest


class FrozenMetalError(DesignError):
    """The metal is solid at the temperature asked for.

    Parameters
    ----------
    name : str
        Name of the metal.
    temperature : float
        Temperature asked for, [K].
    melting_point : float
        Melting point of the metal, [K].
    """

    def __init__(self, name: str, temperature: float, melting_point: float) -> None:
        super().__init__(
            f"{name} is solid at {temperature!r} K: it melts at {melting_point!r} K. "
            f"Set a temperature of {melting_point!r} K or more (heat emitter, feed and "
            "reservoir), or choose a metal that is liquid there."
        )
        self.name = name
        self.temperature = temperature
        self.melting_point = melting_point


class MissingPropertyError(DesignError):
    """A metal given by the user lacks a property that the computation needs.

    Parameters
    ----------
    name : str
        Name of the metal.
    missing : str
        Name of the property.
    """

    def __init__(self, name: str, missing: str) -> None:
        super().__init__(
            f"{missing} of {name} is not given, but this result needs it: add {missing} to the "
            "metal's properties, or choose a metal of the library."
        )
        self.name = name
        self.missing = missing


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """Where a number comes from.

    Attributes
    ----------
    source : str
        Author, journal and year, or the handbook.
    status : str
        ``"published"`` (seen in the source), ``"from memory"`` (to be confirmed) or ``"user"``.
    note : str
        What a user should know before relying on the number; may be empty.
    """

    source: str
    status: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Constant:
    """A property that does not depend on temperature.

    Attributes
    ----------
    value, standard_uncertainty : float
        Value and one standard deviation, in the unit of the property.
    holds : str
        Where the value holds.
    provenance : Provenance
        Source and status.
    """

    value: float
    standard_uncertainty: float
    holds: str
    provenance: Provenance


@dataclass(frozen=True, kw_only=True)
class Law:
    """What every law of temperature shares: its range, uncertainty and source.

    Attributes
    ----------
    lowest, highest : float
        Temperatures between which the law is supported, [K].
    relative_standard_uncertainty : float
        One standard deviation divided by the value, [-].
    provenance : Provenance
        Source and status.
    """

    lowest: float
    highest: float
    relative_standard_uncertainty: float
    provenance: Provenance

    def covers(self, temperature: ArrayLike) -> bool:
        """Tell whether every temperature lies in the range of validity.

        A hundredth of a kelvin is granted at the ends: different tables round the melting point
        differently.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        bool
            True if the law is not extrapolated.
        """
        values = np.asarray(temperature, dtype=float)
        return bool(np.all((values >= self.lowest - 0.01) & (values <= self.highest + 0.01)))


@dataclass(frozen=True, kw_only=True)
class LinearLaw(Law):
    """A property that falls in proportion to temperature: surface tension and density.

    Attributes
    ----------
    value : float
        Value at the reference temperature, in the unit of the property.
    temperature : float
        Reference temperature, [K].
    slope : float
        Change per kelvin, [unit/K].
    slope_relative_standard_uncertainty : float
        One standard deviation of the slope divided by the slope, [-].
    """

    value: float
    temperature: float
    slope: float
    slope_relative_standard_uncertainty: float = 0.0

    def at(self, temperature: Temperature) -> Temperature:
        """Evaluate the law.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Value in the unit of the property.
        """
        return self.value + self.slope * (temperature - self.temperature)

    def relative_uncertainty(self, temperature: Temperature) -> Temperature:
        """Combine the uncertainties of value and slope in quadrature.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            One standard deviation divided by the value, [-].
        """
        from_value = self.relative_standard_uncertainty * self.value
        from_slope = (
            self.slope_relative_standard_uncertainty * self.slope * (temperature - self.temperature)
        )
        deviation: Temperature = (from_value**2 + from_slope**2) ** 0.5
        return deviation / self.at(temperature)


@dataclass(frozen=True, kw_only=True)
class ViscosityLaw(Law):
    """Viscosity, log10(viscosity / mPa s) = a1 + a2 / (T - shift).

    Attributes
    ----------
    a1 : float
        Constant term, [-].
    a2 : float
        Coefficient of the reciprocal temperature, [K].
    shift : float
        Temperature subtracted, [K]; zero for an Arrhenius law.
    """

    a1: float
    a2: float
    shift: float = 0.0

    def at(self, temperature: Temperature) -> Temperature:
        """Evaluate the law.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Dynamic viscosity, [Pa s].
        """
        return 1e-3 * _power_of_ten(self.a1 + self.a2 / (temperature - self.shift))


@dataclass(frozen=True, kw_only=True)
class VapourPressureLaw(Law):
    """Vapour pressure over the liquid, log10(p / atm) = a + b / T + c log10(T / K) + d T.

    Attributes
    ----------
    a, c : float
        Constant and logarithmic coefficients, [-].
    b : float
        Coefficient of the reciprocal temperature, [K].
    d : float
        Coefficient of the temperature, [1/K].
    """

    a: float
    b: float
    c: float = 0.0
    d: float = 0.0

    def at(self, temperature: Temperature) -> Temperature:
        """Evaluate the law.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Vapour pressure, [Pa].
        """
        logarithm = self.a + self.b / temperature + self.d * temperature
        power: Temperature = temperature**self.c
        return STANDARD_ATMOSPHERE * _power_of_ten(logarithm) * power

    def evaporation_flux(self, temperature: Temperature, molar_mass: float) -> Temperature:
        """Mass flux evaporating freely into vacuum.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].
        molar_mass : float
            Molar mass of the vapour, [kg/mol].

        Returns
        -------
        float or array
            Hertz-Knudsen flux with an evaporation coefficient of one, [kg m^-2 s^-1].
        """
        per_pressure: Temperature = (
            molar_mass / (2.0 * math.pi * GAS_CONSTANT * temperature)
        ) ** 0.5
        return self.at(temperature) * per_pressure


@dataclass(frozen=True, kw_only=True)
class MixtureComponent:
    """One element of an alloy.

    Attributes
    ----------
    symbol : str
        Chemical symbol.
    mole_fraction : float
        Share of the atoms, [-].
    molar_mass : float
        Molar mass of the element, [kg/mol].
    law : VapourPressureLaw
        Vapour pressure of the pure liquid.
    """

    symbol: str
    mole_fraction: float
    molar_mass: float
    law: VapourPressureLaw


@dataclass(frozen=True, kw_only=True)
class RaoultMixture(Law):
    """Vapour pressure of an ideal alloy: sum of mole fraction times that of the pure liquid.

    Attributes
    ----------
    components : tuple of MixtureComponent
        The elements of the alloy.
    """

    components: tuple[MixtureComponent, ...]

    def at(self, temperature: Temperature) -> Temperature:
        """Add up the partial pressures.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Vapour pressure of the alloy, [Pa].
        """
        return self._sum(lambda part: part.mole_fraction * part.law.at(temperature))

    def evaporation_flux(self, temperature: Temperature, molar_mass: float) -> Temperature:
        """Add up the fluxes of the elements, each with its own molar mass.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].
        molar_mass : float
            Mean molar mass of the alloy, not used, [kg/mol].

        Returns
        -------
        float or array
            Hertz-Knudsen flux with an evaporation coefficient of one, [kg m^-2 s^-1].
        """
        return self._sum(
            lambda part: (
                part.mole_fraction * part.law.evaporation_flux(temperature, part.molar_mass)
            )
        )

    def _sum(self, contribution: Callable[[MixtureComponent], Temperature]) -> Temperature:
        total = contribution(self.components[0])
        for part in self.components[1:]:
            total = total + contribution(part)
        return total


@dataclass(frozen=True, kw_only=True)
class PropertyRecord:
    """One line of the property table, for printing.

    Attributes
    ----------
    key : str
        Name of the property.
    unit : str
        SI unit of `value`.
    value : float
        Value at the temperature of the table, in SI units.
    relative_standard_uncertainty : float
        One standard deviation divided by the value, [-].
    validity : str
        Range of temperature, or where a constant holds.
    source, status, note : str
        As in `Provenance`.
    """

    key: str
    unit: str
    value: float
    relative_standard_uncertainty: float
    validity: str
    source: str
    status: str
    note: str


@dataclass(frozen=True, kw_only=True)
class Metal:
    """A liquid metal and its properties.

    Get one of the library with `metal`; give your own with `Metal.custom`.  Optional laws and
    constants are None where they are not known; the methods that need them say so.

    Attributes
    ----------
    symbol, name : str
        Short and English name.
    aliases : tuple of str
        Other names under which the library finds it.
    ion : str
        Symbol of the ion that dominates the emitted current.
    hazards : str
        Reminders only; defer to local codes and licensed practice.
    molar_mass_constant, melting_point_constant : Constant
        Molar mass [kg/mol] and melting point [K] with uncertainty and source.
    ion_molar_mass : float
        Molar mass of the atom that makes the ion, [kg/mol].
    surface_tension_law : LinearLaw
        Surface tension, [N/m].
    density_law, viscosity_law, vapour_pressure_law : Law or None
        Density [kg/m^3], dynamic viscosity [Pa s], vapour pressure [Pa].
    first_ionisation_energy_constant, work_function_constant : Constant or None
        In electronvolts, as their sources give them.
    """

    symbol: str
    name: str
    aliases: tuple[str, ...]
    ion: str
    hazards: str
    molar_mass_constant: Constant
    melting_point_constant: Constant
    ion_molar_mass: float
    surface_tension_law: LinearLaw
    density_law: LinearLaw | None = None
    viscosity_law: ViscosityLaw | None = None
    vapour_pressure_law: VapourPressureLaw | RaoultMixture | None = None
    first_ionisation_energy_constant: Constant | None = None
    work_function_constant: Constant | None = None

    @property
    def melting_point(self) -> float:
        """Melting point at atmospheric pressure, [K]."""
        return self.melting_point_constant.value

    @property
    def molar_mass(self) -> float:
        """Molar mass, for an alloy the mean over its atoms, [kg/mol]."""
        return self.molar_mass_constant.value

    @property
    def ion_mass(self) -> float:
        """Mass of the singly charged ion (atom less one electron), [kg]."""
        return self.ion_molar_mass / AVOGADRO_CONSTANT - ELECTRON_MASS

    @property
    def first_ionisation_energy_eV(self) -> float | None:
        """First ionisation energy of the free atom, [eV], or None."""
        constant = self.first_ionisation_energy_constant
        return None if constant is None else constant.value

    @property
    def first_ionisation_energy(self) -> float | None:
        """First ionisation energy of the free atom, [J], or None."""
        return _joules(self.first_ionisation_energy_eV)

    @property
    def work_function_eV(self) -> float | None:
        """Work function of the clean surface, [eV], or None."""
        constant = self.work_function_constant
        return None if constant is None else constant.value

    @property
    def work_function(self) -> float | None:
        """Work function of the clean surface, [J], or None."""
        return _joules(self.work_function_eV)

    def surface_tension(self, temperature: Temperature) -> Temperature:
        """Surface tension of the clean liquid.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Surface tension, [N/m].

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        DesignError
            If a temperature is not finite, or so high that the law gives no positive value.

        Notes
        -----
        Source: ``surface_tension_law.provenance``.
        """
        kelvin = self._liquid(temperature)
        return self._positive(self.surface_tension_law.at(kelvin), "surface_tension", kelvin)

    def surface_tension_uncertainty(self, temperature: Temperature) -> Temperature:
        """Relative standard uncertainty (one standard deviation) of the surface tension.

        The uncertainty of the slope is added in quadrature, so it grows with the distance from
        the law's reference temperature.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Standard deviation divided by the value, [-].

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        DesignError
            If a temperature is not finite, or so high that the law gives no positive value.

        Notes
        -----
        Source: ``surface_tension_law.provenance``.
        """
        kelvin = self._liquid(temperature)
        self._positive(self.surface_tension_law.at(kelvin), "surface_tension", kelvin)
        return self.surface_tension_law.relative_uncertainty(kelvin)

    def density(self, temperature: Temperature) -> Temperature:
        """Density of the liquid.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Density, [kg/m^3].

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        MissingPropertyError
            If the metal has no density law.
        DesignError
            If a temperature is not finite, or so high that the law gives no positive value.

        Notes
        -----
        Source: ``density_law.provenance``.
        """
        kelvin = self._liquid(temperature)
        law = self.density_law
        if law is None:
            raise MissingPropertyError(self.name, "density")
        return self._positive(law.at(kelvin), "density", kelvin)

    def viscosity(self, temperature: Temperature) -> Temperature:
        """Dynamic viscosity of the liquid.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Dynamic viscosity, [Pa s].

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        MissingPropertyError
            If the metal has no viscosity law.
        DesignError
            If a temperature is not finite.

        Notes
        -----
        Source: ``viscosity_law.provenance``.
        """
        kelvin = self._liquid(temperature)
        law = self.viscosity_law
        if law is None:
            raise MissingPropertyError(self.name, "viscosity")
        return law.at(kelvin)

    def vapour_pressure(self, temperature: Temperature) -> Temperature:
        """Vapour pressure over the liquid; for an alloy by Raoult's law.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Vapour pressure, [Pa].

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        MissingPropertyError
            If the metal has no vapour pressure law.
        DesignError
            If a temperature is not finite.

        Notes
        -----
        Source: ``vapour_pressure_law.provenance``.
        """
        kelvin = self._liquid(temperature)
        return self._vapour().at(kelvin)

    def evaporation_flux(self, temperature: Temperature) -> Temperature:
        """Mass flux evaporating freely into vacuum (Hertz and Knudsen), an upper bound.

        The flux is p sqrt(M / (2 pi R T)) with an evaporation coefficient of one and no return
        from the surroundings; for an alloy it is the sum over the elements.

        Parameters
        ----------
        temperature : float or array
            Liquid temperature, [K].

        Returns
        -------
        float or array
            Mass flux, [kg m^-2 s^-1].

        Raises
        ------
        FrozenMetalError
            If any temperature lies below the melting point.
        MissingPropertyError
            If the metal has no vapour pressure law.
        DesignError
            If a temperature is not finite.

        Notes
        -----
        Source: Knudsen, Annalen der Physik 352, 697 (1915), with the vapour pressure law.
        """
        kelvin = self._liquid(temperature)
        return self._vapour().evaporation_flux(kelvin, self.molar_mass)

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
            self._range_note(key, law, kelvin)
            for key, _, law in self._laws()
            if not law.covers(kelvin)
        )

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
        constants = tuple(_constant_record(*entry) for entry in self._constants())
        laws = tuple(_law_record(key, unit, law, kelvin) for key, unit, law in self._laws())
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
        return cls(
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
            work_function_constant=_user_energy(work_function, source),
        )

    def _liquid(self, temperature: Temperature) -> Temperature:
        """Return the temperature as float or float array, if the metal is liquid there."""
        kelvin = np.asarray(temperature, dtype=float)
        if kelvin.size == 0 or not np.all(np.isfinite(kelvin)):
            raise DesignError(
                f"temperature of {self.name} is {temperature}: give a finite temperature in kelvin"
            )
        coldest = float(kelvin.min())
        if coldest < self.melting_point:
            raise FrozenMetalError(self.name, coldest, self.melting_point)
        return cast(Temperature, float(kelvin) if kelvin.ndim == 0 else kelvin)

    def _positive(self, value: Temperature, key: str, temperature: Temperature) -> Temperature:
        if np.any(np.asarray(value) <= 0.0):
            hottest = float(np.max(np.asarray(temperature)))
            raise DesignError(
                f"the law for the {key} of {self.name} gives no positive value at {hottest:.0f} K: "
                "that is far beyond its range; lower the temperature"
            )
        return value

    def _vapour(self) -> VapourPressureLaw | RaoultMixture:
        if self.vapour_pressure_law is None:
            raise MissingPropertyError(self.name, "vapour_pressure")
        return self.vapour_pressure_law

    def _constants(self) -> tuple[tuple[str, str, float, Constant], ...]:
        """Key, SI unit, factor to SI and constant of every constant that is known."""
        entries: tuple[tuple[str, str, float, Constant | None], ...] = (
            ("molar_mass", "kg/mol", 1.0, self.molar_mass_constant),
            ("melting_point", "K", 1.0, self.melting_point_constant),
            (
                "first_ionisation_energy",
                "J",
                ELEMENTARY_CHARGE,
                self.first_ionisation_energy_constant,
            ),
            ("work_function", "J", ELEMENTARY_CHARGE, self.work_function_constant),
        )
        return tuple(
            (key, unit, factor, constant)
            for key, unit, factor, constant in entries
            if constant is not None
        )

    def _laws(self) -> tuple[tuple[str, str, _AnyLaw], ...]:
        """Key, SI unit and law of every law that is known."""
        entries: tuple[tuple[str, str, _AnyLaw | None], ...] = (
            ("surface_tension", "N/m", self.surface_tension_law),
            ("density", "kg/m^3", self.density_law),
            ("viscosity", "Pa s", self.viscosity_law),
            ("vapour_pressure", "Pa", self.vapour_pressure_law),
        )
        return tuple((key, unit, law) for key, unit, law in entries if law is not None)

    def _range_note(self, key: str, law: _AnyLaw, kelvin: NDArray[np.float64]) -> str:
        outside = kelvin[(kelvin < law.lowest - 0.01) | (kelvin > law.highest + 0.01)]
        span = f"{law.lowest:.1f} K to {law.highest:.1f} K"
        if law.lowest == law.highest:
            span = f"{law.lowest:.1f} K only"
        farthest = outside[np.argmax(np.maximum(law.lowest - outside, outside - law.highest))]
        return (
            f"{key.replace('_', ' ')} of {self.name} is extrapolated to {farthest:.1f} K: "
            f"its law is supported from {span} ({law.provenance.source})"
        )


_AnyLaw = LinearLaw | ViscosityLaw | VapourPressureLaw | RaoultMixture


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


def _power_of_ten(exponent: Temperature) -> Temperature:
    power: Temperature = 10.0**exponent
    return power


def _fold(name: str) -> str:
    return " ".join(name.casefold().split())


def _joules(electronvolts: float | None) -> float | None:
    return None if electronvolts is None else electronvolts * ELEMENTARY_CHARGE


@cache
def _library() -> Mapping[str, Metal]:
    text = files("conegap.geometries").joinpath("data", "metals.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    return {symbol: _read_metal(symbol, tables) for symbol in tables}


@cache
def _names() -> Mapping[str, str]:
    """Every folded spelling, and the symbol it stands for."""
    names: dict[str, str] = {}
    for symbol, entry in _library().items():
        for spelling in (symbol, entry.name, *entry.aliases):
            if names.setdefault(_fold(spelling), symbol) != symbol:
                raise ConegapError(f"metals.toml gives the name {spelling!r} to two metals")
    return names


def _read_metal(symbol: str, tables: Mapping[str, Any]) -> Metal:
    table = tables[symbol]
    ion = table["ion"]
    return Metal(
        symbol=symbol,
        name=table["name"],
        aliases=tuple(table["aliases"]),
        ion=ion,
        hazards=table["hazards"],
        molar_mass_constant=_read_constant(table["molar_mass"]),
        melting_point_constant=_read_constant(table["melting_point"]),
        ion_molar_mass=tables[ion]["molar_mass"]["value"],
        surface_tension_law=_read_linear(table["surface_tension"]),
        density_law=_read_linear(table["density"]),
        viscosity_law=_read_viscosity(table["viscosity"]),
        vapour_pressure_law=_read_vapour_pressure(symbol, tables),
        first_ionisation_energy_constant=_read_constant(table["first_ionisation_energy"]),
        work_function_constant=_read_constant(table["work_function"]),
    )


def _read_provenance(table: Mapping[str, Any]) -> Provenance:
    return Provenance(source=table["source"], status=table["status"], note=table.get("note", ""))


def _read_constant(table: Mapping[str, Any]) -> Constant:
    return Constant(
        value=table["value"],
        standard_uncertainty=table["standard_uncertainty"],
        holds=table["holds"],
        provenance=_read_provenance(table),
    )


def _read_shared(table: Mapping[str, Any]) -> dict[str, Any]:
    lowest, highest = table["range"]
    return {
        "lowest": lowest,
        "highest": highest,
        "relative_standard_uncertainty": table["relative_standard_uncertainty"],
        "provenance": _read_provenance(table),
    }


def _read_linear(table: Mapping[str, Any]) -> LinearLaw:
    return LinearLaw(
        value=table["value"],
        temperature=table["temperature"],
        slope=table["slope"],
        slope_relative_standard_uncertainty=table["slope_relative_standard_uncertainty"],
        **_read_shared(table),
    )


def _read_viscosity(table: Mapping[str, Any]) -> ViscosityLaw:
    return ViscosityLaw(a1=table["a1"], a2=table["a2"], shift=table["shift"], **_read_shared(table))


def _read_vapour_pressure(
    symbol: str, tables: Mapping[str, Any]
) -> VapourPressureLaw | RaoultMixture:
    table = tables[symbol]["vapour_pressure"]
    if table.get("rule") == "Raoult":
        components = _read_components(tables[symbol]["mass_fractions"], tables)
        return RaoultMixture(components=components, **_read_shared(table))
    return _read_pure_vapour_pressure(table)


def _read_pure_vapour_pressure(table: Mapping[str, Any]) -> VapourPressureLaw:
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


def _constant_record(key: str, unit: str, factor: float, constant: Constant) -> PropertyRecord:
    return PropertyRecord(
        key=key,
        unit=unit,
        value=factor * constant.value,
        relative_standard_uncertainty=constant.standard_uncertainty / constant.value,
        validity=constant.holds,
        source=constant.provenance.source,
        status=constant.provenance.status,
        note=constant.provenance.note,
    )


def _law_record(key: str, unit: str, law: _AnyLaw, temperature: float) -> PropertyRecord:
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
        source=law.provenance.source,
        status=law.provenance.status,
        note=law.provenance.note,
    )


def _require_positive(name: str, **values: float | None) -> None:
    for key, value in values.items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise DesignError(f"{key} of {name} is {value}: give a finite number above zero")


def _user_constant(value: float, source: str) -> Constant:
    return Constant(
        value=value,
        standard_uncertainty=math.nan,
        holds="as given by the user",
        provenance=Provenance(source=source, status="user"),
    )


def _user_energy(joules: float | None, source: str) -> Constant | None:
    if joules is None:
        return None
    constant = _user_constant(joules, source)
    return replace(constant, value=joules / ELEMENTARY_CHARGE)


def _user_vapour_pressure(
    coefficients: tuple[float, float, float, float], shared: Mapping[str, Any]
) -> VapourPressureLaw:
    a, b, c, d = coefficients
    return VapourPressureLaw(a=a, b=b, c=c, d=d, relative_standard_uncertainty=math.nan, **shared)
