"""Electron emission, ion current, thrust factors and feed against tables and closed forms."""

from __future__ import annotations

import math

from scipy.constants import elementary_charge

from conegap.validation.cases.row import Case, Row

__all__ = ["emission_cases"]

_FORBES = "R. G. Forbes, Appl Phys Lett 89, 113122 (2006), citation from memory"
_MURPHY = "E. L. Murphy and R. H. Good, Phys Rev 102, 1464 (1956); table evaluated independently"
_MAIR = "G. L. R. Mair, J Phys D 17, 2323 (1984), from memory; evaluated independently"
_CRANBERG = "L. Cranberg, J Appl Phys 23, 518 (1952), end points of the abstract, paired by us"

# Work function eV, field V/nm, f, v, current density A/m^2.
_TABLE = (
    (4.5, 2.0, 0.14222, 0.81155, 4.158),
    (4.5, 3.0, 0.21333, 0.73174, 3.514e5),
    (4.5, 5.0, 0.35555, 0.58317, 3.794e9),
    (4.5, 7.0, 0.49777, 0.44436, 2.316e11),
    (2.14, 1.0, 0.31443, 0.62494, 1.016e6),
)
# Surface tension N/m and onset V of the table, slope nA/V at a base radius of 5 um.
_SLOPES = {"Ga": (0.718, 6e3, 79.0), "In": (0.556, 6e3, 47.7), "Cs": (0.069, 5e3, 7.2)}
# Half angle in degrees: the three closed forms of `ThrustFactor`, worked out by hand.
_FACTORS = {
    10: (0.99240, 0.99242, 0.99493),
    20: (0.96985, 0.97016, 0.97982),
    30: (0.93301, 0.93462, 0.95493),
    45: (0.85355, 0.86193, 0.90032),
}


def _electron_rows() -> list[Row]:
    import numpy as np

    from conegap.solver.operation.electron_emission import current_density, scaled_field

    rows = []
    for phi, field, scaled, _, density in _TABLE:
        electric_bond_number, energy = np.array([field * 1e9]), phi * elementary_charge
        name = f"field emission, {phi:g} eV at {field:g} V/nm"
        rows += [
            Row(name, _MURPHY, "scaled field f [-]", scaled,
                float(scaled_field(electric_bond_number, energy)[0]), 6e-6, "absolute",
                note="five digits printed"),
            Row(name, _MURPHY, "log10 of current density [A/m^2]", math.log10(density),
                math.log10(float(current_density(electric_bond_number, energy)[0])), 2e-4,
                "absolute", note="four digits printed"),
        ]  # fmt: skip
    return rows


def _barrier_rows() -> list[Row]:
    import numpy as np
    from scipy.special import ellipe, ellipk

    from conegap.solver.operation.electron_emission import barrier_correction

    f = np.linspace(1e-3, 1.0 - 1e-3, 999)
    y = np.sqrt(f)
    m = (1.0 - y) / (1.0 + y)
    exact = np.sqrt(1.0 + y) * (ellipe(m) - y * ellipk(m))
    worst = float(np.abs(barrier_correction(f) - exact).max())
    rows = [
        Row("barrier function v(f)", _FORBES, "largest distance from the elliptic form [-]", 0.0024,
            worst, 0.0, "at most", note="999 values of f between 0 and 1"),
    ]  # fmt: skip
    for phi, field, _, value, _ in _TABLE[2:3]:
        at = 1.4399645 * field / phi**2
        rows.append(
            Row("barrier function v(f)", _MURPHY, "v of 5 V/nm at 4.5 eV [-]", value,
                float(barrier_correction(np.array([at]))[0]), 6e-6, "absolute",
                note="five digits printed")
        )  # fmt: skip
    return rows


def _clump_rows() -> list[Row]:
    from conegap.solver.operation.breakdown import CLUMP_CONSTANT

    return [
        Row("clump breakdown", _CRANBERG, "V^2 / d of 20 kV across 0.2 mm [V^2/m]",
            20e3**2 / 0.2e-3, CLUMP_CONSTANT, 1e-12, note="conversion of the constant in use"),
        Row("clump breakdown", _CRANBERG, "voltage across 1 mm [V]", 45e3,
            math.sqrt(CLUMP_CONSTANT * 1e-3), 0.01, note="two digits printed"),
    ]  # fmt: skip


def _current_rows() -> list[Row]:
    from conegap.geometries.metals.metal import metal
    from conegap.solver.operation.beam_current import site_current

    rows = []
    for symbol, (tension, onset, slope) in _SLOPES.items():
        found = metal(symbol)
        current = site_current(
            2.0 * onset,
            extinction_voltage=onset,
            base_radius=5e-6,
            surface_tension=tension,
            ion_mass=found.ion_mass,
        )
        rows.append(
            Row(f"{found.name}, slope of the current", _MAIR, "slope at R = 5 um [nA/V]", slope,
                current / onset * 1e9, 0.01, note="two to three digits printed; a law of order "
                "of magnitude")
        )  # fmt: skip
    return rows


def _factor_rows() -> list[Row]:
    from conegap.solver.operation.beam_current import thrust_factor

    rows = []
    for degrees, wanted in _FACTORS.items():
        found = thrust_factor(math.radians(degrees))
        values = (found.uniform, found.cosine, found.fan)
        for what, exact, computed in zip(
            ("equal per solid angle", "cosine", "flat fan"), wanted, values, strict=True
        ):
            rows.append(
                Row(f"thrust factor at {degrees} deg", "mean cosine of the beam, derived",
                    f"{what} [-]", exact, computed, 6e-6, "absolute", note="five digits printed")
            )  # fmt: skip
    return rows


def _feed_rows() -> list[Row]:
    from scipy.integrate import quad

    from conegap.solver.operation.feed_laws import bore_resistance, plate_resistance

    eta, length, size, width = 1.7e-3, 5e-3, 25e-6, 1e-2
    bore, _ = quad(lambda r: 2.0 * math.pi * r * (size**2 - r**2) / (4.0 * eta * length), 0.0, size)
    plates, _ = quad(lambda y: width * y * (size - y) / (2.0 * eta * length), 0.0, size)
    return [
        Row("flow in a bore", "G. Hagen 1839, J. L. M. Poiseuille 1840; profile integrated",
            "resistance [Pa s/m^3]", 1.0 / bore,
            bore_resistance(viscosity=eta, length=length, radius=size), 1e-9, note="quadrature"),
        Row("flow between plates", "textbook; profile integrated", "resistance [Pa s/m^3]",
            1.0 / plates,
            plate_resistance(viscosity=eta, length=length, height=size, width=width), 1e-9,
            note="quadrature"),
    ]  # fmt: skip


def emission_cases() -> list[Case]:
    """Cases of electrons, ion current, thrust and feed."""
    return [
        Case("field emission", _electron_rows),
        Case("barrier function", _barrier_rows),
        Case("clump breakdown", _clump_rows),
        Case("ion current", _current_rows),
        Case("thrust factors", _factor_rows),
        Case("feed", _feed_rows),
    ]
