"""Well-known figures of the field, from the metal library and the formulas."""

from __future__ import annotations

import math

from scipy.constants import atomic_mass, c, elementary_charge

from conegap.validation.cases.row import Case, Row

__all__ = ["fact_cases"]

_TRADE = "common practice of the trade, no single source"
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
        rest_energy = found.molar_mass / 1e-3 * atomic_mass * c**2 / elementary_charge  # eV
        speed = c * math.sqrt(2.0 * voltage / rest_energy)
        rows += [
            Row(f"{found.name} ions after 10 kV", "energy conservation, textbook",
                "exhaust speed [m/s]", speed, exhaust.speed, 1e-5,
                note="by rest energy; 1e-5: electron and molar mass constant left out"),
            Row(f"{found.name} ions after 10 kV", "momentum conservation, textbook",
                "thrust per current [N/A]", 2.0 * voltage / speed, exhaust.thrust_per_current,
                1e-5, note="F v / 2 = I V"),
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
