"""The field at which the apex of a cone gives off its atoms as ions, and what follows from it.

Taking an atom out of the metal as an ion of charge n and its electrons back into it costs

    Q_n = Lambda + I_1 + ... + I_n - n phi,

Lambda the sublimation energy, I the ionisation energies, phi the work function.  A field F draws
the ion off against its image force; the hump between them, n^(3/2) sqrt(e^3 F / (4 pi eps0)), is
gone at

    F = (4 pi eps0 / e^3) Q_n^2 / n^3 = 0.69446 V/nm (Q_n / eV)^2 / n^3

(E. W. Mueller, Phys Rev 102, 618 (1956), the image-hump model; citation read in a list of
references, formula derived here).  Heat k T ln(nu / rate) takes the rest of a hump
that is left, so that a warm apex evaporates at less.  The charge with the least field wins.  The
apex balances that field with its own tension: R = 4 gamma / (eps0 F^2).

How far to trust it: an error of Q counts twice in F, 0.2 eV in phi 9 % for gallium and 16 % for
caesium; the charge-exchange model gives 0 to 14 % less; and an apex of one or two nanometres is a
few atoms wide, so that surface tension and a smooth conductor are no more than scales there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import Avogadro, Boltzmann, elementary_charge, epsilon_0

from conegap.geometries.metals.metal import Metal

__all__ = ["ATTEMPT_FREQUENCY", "CuspField", "cusp_field", "evaporation_field"]

ATTEMPT_FREQUENCY = 1e13
"""Vibrations of a surface atom, within a factor of ten, common practice, no source, [1/s]."""

# How much less the charge-exchange model gives than the image hump, as the largest of the metals
# here (gold; F = Q / r0 - kappa / (4 r0^2) with metallic radii from memory), taken as a standard
# uncertainty of the model, [-].
_MODEL_UNCERTAINTY = 0.14


@dataclass(frozen=True)
class CuspField:
    """Evaporation of a metal's apex.

    Parameters
    ----------
    charge : int
        n of the ion with the least field, [-].
    field : float
        At which the hump is gone, [V/m].
    warm_field : float
        At which the temperature takes the hump at the rate asked for, [V/m].
    relative_uncertainty : float
        Standard, of either field: its energies and the model, [-].
    radius : float
        R = 4 gamma / (eps0 F^2) of an apex that holds the warm field, [m].
    spacing : float or None
        Of the metal's atoms, the cube root of their volume, [m]; None without a density.
    """

    charge: int
    field: float
    warm_field: float
    relative_uncertainty: float
    radius: float
    spacing: float | None

    @property
    def radius_factor(self) -> float:
        """By how much the radius may be off either way, k = 1, [-]."""
        return (1.0 + self.relative_uncertainty) ** 2

    @property
    def atoms_across(self) -> float | None:
        """Diameter of the apex over the spacing of the atoms, [-]."""
        return None if self.spacing is None else 2.0 * self.radius / self.spacing

    def as_dict(self) -> dict[str, float | int]:
        """Keys of the results contract."""
        return {
            "ion_charge_of_least_field": self.charge,
            "evaporation_field_V_per_m": self.field,
            "evaporation_field_warm_V_per_m": self.warm_field,
            "evaporation_field_relative_standard_uncertainty": self.relative_uncertainty,
            "apex_radius_m": self.radius,
        }

    def current_density(self, current: float) -> float:
        """Of a current that leaves the half sphere of the apex, [A/m^2].

        Parameters
        ----------
        current : float
            Of one cone, [A].
        """
        return current / (2.0 * math.pi * self.radius**2)


def evaporation_field(
    energy: float, *, charge: int = 1, temperature: float = 0.0, rate: float = 1.0
) -> float:
    """Field of the image-hump model, (4 pi eps0 / e^3) (Q - k T ln(nu / rate))^2 / n^3, [V/m].

    Parameters
    ----------
    energy : float
        Q_n, > 0, [J].
    charge : int
        n of the ion, [-].
    temperature : float
        T; at zero the hump must be gone, [K].
    rate : float
        Ions that leave a place of the surface, > 0, [1/s]; at that of the vibrations, or above, the
        hump must be gone.

    Returns
    -------
    float
        0 where heat alone suffices.  Derived, see above.

    Raises
    ------
    ValueError
        Energy or rate is not positive, the charge is below one, or the temperature is negative.
    """
    if not (energy > 0.0 and rate > 0.0 and charge >= 1 and temperature >= 0.0):
        raise ValueError(
            f"energy {energy}, rate {rate}, charge {charge}, temperature {temperature}: energy and "
            "rate must be positive, the charge at least 1, the temperature not negative"
        )
    heat = Boltzmann * temperature * max(math.log(ATTEMPT_FREQUENCY / rate), 0.0)
    left = max(energy - heat, 0.0)
    return float(4.0 * math.pi * epsilon_0 * left**2 / (elementary_charge * charge) ** 3)


def cusp_field(metal: Metal, temperature: float, rate: float = 1e10) -> CuspField | None:
    """Evaporation field, apex radius and their uncertainty.

    Parameters
    ----------
    metal : Metal
    temperature : float
        Of the liquid, [K].
    rate : float
        Ions per atom of the surface, [1/s]; 1e10 is a microampere from an apex of some nanometres.

    Returns
    -------
    CuspField or None
        None where the metal lacks an energy.

    Raises
    ------
    FrozenMetalError
        If the temperature lies below the melting point.
    DesignError
        If the temperature is not finite.
    """
    constants = (
        metal.sublimation_energy_constant,
        metal.first_ionisation_energy_constant,
        metal.work_function_constant,
    )
    sublimation, first, work = constants
    if sublimation is None or first is None or work is None:
        return None
    energies = [(1, sublimation.value + first.value - work.value)]
    second = metal.second_ionisation_energy_constant
    if second is not None:
        energies.append((2, energies[0][1] + second.value - work.value))
    charge, energy = min(energies, key=lambda entry: entry[1] ** 2 / entry[0] ** 3)
    errors = (sublimation.standard_uncertainty, charge * work.standard_uncertainty)
    tension = float(metal.surface_tension(temperature))
    joules = energy * elementary_charge
    warm = evaporation_field(joules, charge=charge, temperature=temperature, rate=rate)
    spacing = None
    if metal.density_law is not None:
        volume = metal.molar_mass / float(metal.density(temperature)) / Avogadro
        spacing = volume ** (1.0 / 3.0)
    return CuspField(
        charge=charge,
        field=evaporation_field(joules, charge=charge),
        warm_field=warm,
        relative_uncertainty=math.hypot(2.0 * math.hypot(*errors) / energy, _MODEL_UNCERTAINTY),
        radius=4.0 * tension / (epsilon_0 * warm**2),
        spacing=spacing,
    )
