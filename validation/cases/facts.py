"""Well-known figures of the field, from the metal library and the formulas."""

from __future__ import annotations

import math

from scipy.constants import atomic_mass, c, electron_mass, elementary_charge

from conegap.validation.cases.row import Case, Row

__all__ = ["fact_cases"]

_TRADE = "common practice of the trade, no single source"
_RELATIVITY = "special relativity, textbook: energy and momentum of a fast ion"
# In kelvin, by definition.
_ZERO_CELSIUS = 273.15


def _metal_rows() -> list[Row]:
    from conegap.geometries.metals.metal import metal

    rows = []
    for name, energy, melting in (("Cs", 3.9, 28.5), ("Rb", 4.2, 39.0)):
        found = metal(name)
        ionisation = found.first_ionisation_energy_eV
        rows += [
            Row(f"{found.name}, first ionisation", _TRADE, "energy [eV]", energy,
                math.nan if ionisation is None else ionisation, 0.05, "absolute",
                note="half of the last digit"),
            Row(f"{found.name}, melting point", _TRADE, "temperature [C]", melting,
                found.melting_point - _ZERO_CELSIUS, 0.5, "absolute",
                note="half a degree, as the figure is quoted"),
        ]  # fmt: skip
    return rows


def _exhaust_rows() -> list[Row]:
    from conegap.geometries.metals.metal import metal
    from conegap.solver.operation.exhaust import ion_exhaust

    voltage = 1e4
    rows = []
    for name in ("Cs", "In", "Ga", "Rb", "Hg"):
        found = metal(name)
        exhaust = ion_exhaust(ion_mass=found.ion_mass, voltage=voltage)
        # The ion is an electron lighter than the atom.
        rest = (found.molar_mass / 1e-3 * atomic_mass - electron_mass) * c**2
        gained = elementary_charge * voltage
        momentum = math.sqrt(gained * (gained + 2.0 * rest)) / c
        rows += [
            Row(f"{found.name} ions after 10 kV", _RELATIVITY, "exhaust speed [m/s]",
                momentum * c**2 / (rest + gained), exhaust.speed, 2e-7,
                note="2e-7: the law of slow ions is off by 3/4 of the energy over the rest energy"),
            Row(f"{found.name} ions after 10 kV", _RELATIVITY, "thrust per current [N/A]",
                momentum / elementary_charge, exhaust.thrust_per_current, 2e-7,
                note="momentum of an ion over its charge"),
        ]  # fmt: skip
        if name in ("Cs", "Rb"):
            rows.append(
                Row(f"{found.name} ions after 10 kV", _TRADE, "exhaust speed [m/s]", 1e5,
                    exhaust.speed, 0.0, "at least", note="100 km/s or more near 10 kV")
            )  # fmt: skip
    return rows


def fact_cases() -> list[Case]:
    """Cases of trade facts."""
    return [
        Case("metals", _metal_rows),
        Case("ion exhaust", _exhaust_rows),
    ]
