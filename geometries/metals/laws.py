"""Laws of temperature: surface tension, density, viscosity, vapour pressure and evaporation."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from conegap.geometries.metals.records import Provenance

__all__ = [
    "AVOGADRO_CONSTANT",
    "ELECTRON_MASS",
    "ELEMENTARY_CHARGE",
    "AnyLaw",
    "Law",
    "LinearLaw",
    "MixtureComponent",
    "RaoultMixture",
    "Temperature",
    "VapourPressureLaw",
    "ViscosityLaw",
]

Temperature = TypeVar("Temperature", float, NDArray[np.float64])

# Exact by the definition of the SI (2019); the electron mass is CODATA 2022.
BOLTZMANN_CONSTANT = 1.380649e-23
AVOGADRO_CONSTANT = 6.02214076e23
GAS_CONSTANT = BOLTZMANN_CONSTANT * AVOGADRO_CONSTANT
ELEMENTARY_CHARGE = 1.602176634e-19
ELECTRON_MASS = 9.1093837139e-31
# Exact by definition (CGPM, 1954), [Pa].
STANDARD_ATMOSPHERE = 101325.0


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
        """Sum of a contribution over the elements."""
        total = contribution(self.components[0])
        for part in self.components[1:]:
            total = total + contribution(part)
        return total


AnyLaw = LinearLaw | ViscosityLaw | VapourPressureLaw | RaoultMixture


def _power_of_ten(exponent: Temperature) -> Temperature:
    """Ten to a power, for a number or an array."""
    power: Temperature = 10.0**exponent
    return power
