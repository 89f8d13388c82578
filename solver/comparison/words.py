"""Numbers of the results in print, by the unit suffix of their key."""

from __future__ import annotations

import math
from collections.abc import Callable

from conegap.solver.common.display_units import (
    current_text,
    field_text,
    mass_flow_text,
    pressure_text,
    voltage_text,
)

__all__ = ["number_words", "signed_voltage", "value_text"]

# Longer suffixes before those that they end in.
_SUFFIXES = (
    ("_A_per_m2", "A/m²"),
    ("_A_per_V", "A/V"),
    ("_V_per_s", "V/s"),
    ("_N_per_A", "N/A"),
    ("_W_per_N", "W/N"),
    ("_kg_per_C", "kg/C"),
    ("_Pa_s_per_m3", "Pa s/m³"),
    ("_kg_per_s", "kg/s"),
    ("_m_per_s", "m/s"),
    ("_V_per_m", "V/m"),
    ("_N_per_m", "N/m"),
    ("_1_per_m", "1/m"),
    ("_rad", "rad"),
    ("_Pa", "Pa"),
    ("_Hz", "Hz"),
    ("_V", "V"),
    ("_A", "A"),
    ("_W", "W"),
    ("_N", "N"),
    ("_K", "K"),
    ("_J", "J"),
    ("_m", "m"),
    ("_s", "s"),
)
_TEXTS: dict[str, Callable[[float], str]] = {
    "V": voltage_text,
    "A": current_text,
    "V/m": field_text,
    "Pa": pressure_text,
    "kg/s": mass_flow_text,
}

# What is rounding in a voltage of kilovolts, [V].
_NOTHING = 1e-6
# Sizes with their names, the largest first.
_HANDY: dict[str, tuple[tuple[float, str], ...]] = {
    "N": ((1e-3, "mN"), (1e-6, "µN"), (1e-9, "nN")),
    "W": ((1.0, "W"), (1e-3, "mW"), (1e-6, "µW")),
    "m/s": ((1e3, "km/s"),),
    "W/N": ((1e3, "kW/N"),),
    "kg/C": ((1e-6, "mg/C"),),
}


def number_words(key: str) -> tuple[str, str]:
    """Label and SI unit of a key of the results: "current_A" is ("current", "A").

    Parameters
    ----------
    key : str
        With its unit suffix, of a path that of its last part that has one; without one it is a
        ratio, and the unit is "".
    """
    labels, unit = [], ""
    for part in key.split("."):
        found = next((one for one in _SUFFIXES if part.endswith(one[0])), ("", ""))
        labels.append(part.removesuffix(found[0]).replace("_", " "))
        unit = found[1] or unit
    return ", ".join(labels), unit


def value_text(value: float | None, unit: str) -> str:
    """A value in SI with its unit, in a handy size where the field has a usual one.

    Parameters
    ----------
    value : float or None
        In ``unit``, [SI]; None is printed as "none".
    unit : str
        SI unit, "" for a ratio.
    """
    if value is None:
        return "none"
    if unit in _TEXTS:
        return _TEXTS[unit](value)
    if unit == "rad":
        return f"{math.degrees(value):.4g}°"
    for size, name in _HANDY.get(unit, ()):
        if abs(value) >= size:
            return f"{value / size:.4g} {name}"
    return f"{value:.4g} {unit}".rstrip()


def signed_voltage(value: float) -> str:
    """A difference of voltages with its sign: "+95 V".

    Parameters
    ----------
    value : float
        [V].
    """
    if abs(value) < _NOTHING:
        return "0 V"
    return f"{value:+.3g} V" if abs(value) < 1e3 else f"{value / 1e3:+.2f} kV"
