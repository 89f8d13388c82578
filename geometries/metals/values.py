"""Constants and laws of a metal, and their values at a temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from conegap.geometries.metals.errors import FrozenMetalError, MissingPropertyError
from conegap.geometries.metals.laws import (
    AVOGADRO_CONSTANT,
    ELECTRON_MASS,
    ELEMENTARY_CHARGE,
    LinearLaw,
    RaoultMixture,
    Temperature,
    VapourPressureLaw,
    ViscosityLaw,
)
from conegap.geometries.metals.records import Constant
from conegap.geometries.quantities.errors import DesignError

__all__ = ["MetalValues"]


@dataclass(frozen=True, kw_only=True)
class MetalValues:
    """Constants and laws of a liquid metal.

    Optional laws and constants are None where they are not known; the methods that need them say
    so.

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
    contaminated_tension_law : LinearLaw or None
        The lower tension of an oxidised or dirty surface, [N/m].
    density_law, viscosity_law, vapour_pressure_law : Law or None
        Density [kg/m^3], dynamic viscosity [Pa s], vapour pressure [Pa].
    first_ionisation_energy_constant, second_ionisation_energy_constant : Constant or None
        In electronvolts, as their sources give them.
    sublimation_energy_constant, work_function_constant : Constant or None
        In electronvolts: of the ion's atom, of the clean surface.
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
    contaminated_tension_law: LinearLaw | None = None
    density_law: LinearLaw | None = None
    viscosity_law: ViscosityLaw | None = None
    vapour_pressure_law: VapourPressureLaw | RaoultMixture | None = None
    first_ionisation_energy_constant: Constant | None = None
    second_ionisation_energy_constant: Constant | None = None
    sublimation_energy_constant: Constant | None = None
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
    def gives_ions(self) -> bool:
        """Whether the ion of one of its atoms is known, by its first ionisation energy: salt water
        and other liquids of a user's own emit charges and droplets of another kind."""
        return self.first_ionisation_energy_constant is not None

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
        """The value, refused where it is not above zero."""
        if np.any(np.asarray(value) <= 0.0):
            hottest = float(np.max(np.asarray(temperature)))
            raise DesignError(
                f"the law for the {key} of {self.name} gives no positive value at {hottest:.0f} K: "
                "that is far beyond its range; lower the temperature"
            )
        return value

    def _vapour(self) -> VapourPressureLaw | RaoultMixture:
        """The vapour pressure law, refused where there is none."""
        if self.vapour_pressure_law is None:
            raise MissingPropertyError(self.name, "vapour_pressure")
        return self.vapour_pressure_law


def _joules(electronvolts: float | None) -> float | None:
    """An energy in joules."""
    return None if electronvolts is None else electronvolts * ELEMENTARY_CHARGE
