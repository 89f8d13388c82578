"""Numbers with units: the only place where a unit is read or printed.

Inside conegap everything is SI.  A design file writes ``"4 um"``; `read_quantity` turns that into
4e-6 and refuses a bare number, a wrong dimension and anything that is not finite.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from conegap.geometries.quantities.accepted_units import known_elsewhere, pint_name

__all__ = [
    "ACCELERATION",
    "ANGLE",
    "CAPACITANCE",
    "CURRENT",
    "DENSITY",
    "ENERGY",
    "FIELD",
    "KINDS",
    "LENGTH",
    "MASS",
    "MOLAR_MASS",
    "PERMEABILITY",
    "PRESSURE",
    "RESISTANCE",
    "SURFACE_TENSION",
    "SURFACE_TENSION_SLOPE",
    "TEMPERATURE",
    "VISCOSITY",
    "VOLTAGE",
    "PhysicalKind",
    "Quantity",
    "QuantityError",
    "as_text",
    "read_quantity",
]

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*\Z")
# Characters of a unit that is not understood to show in a message.
_SHOWN = 24
_WORDS = re.compile(r"\s*[+-]?(nan|inf|infinity)\b", re.IGNORECASE)


class QuantityError(ValueError):
    """A text is not a number with the right unit; the message gives the rule and the remedy."""


@dataclass(frozen=True)
class PhysicalKind:
    """A kind of quantity.

    Parameters
    ----------
    name : str
        What it is called in a message: "length"; `accepted_units` holds its units under it.
    si : str
        SI unit in which it is kept.
    units : tuple of str
        Units offered to someone who forgot one.
    printed : tuple of (float, str)
        Size of a unit in SI and its text, smallest first, for printing.
    """

    name: str
    si: str
    units: tuple[str, ...]
    printed: tuple[tuple[float, str], ...]


# Units in print and their sizes in SI: decimal multiples, and two that are exact by definition,
# g_0 = 9.80665 m/s^2 (CGPM, 1901) and the electronvolt (SI, 2019).
LENGTH = PhysicalKind("length", "m", ("um", "mm", "nm"), ((1e-9, "nm"), (1e-6, "um"), (1e-3, "mm")))
ANGLE = PhysicalKind("angle", "rad", ("deg", "rad"), ((math.pi / 180.0, "deg"),))
VOLTAGE = PhysicalKind("voltage", "V", ("kV", "V"), ((1.0, "V"), (1e3, "kV")))
CURRENT = PhysicalKind(
    "current", "A", ("uA", "mA"), ((1e-9, "nA"), (1e-6, "uA"), (1e-3, "mA"), (1.0, "A"))
)
RESISTANCE = PhysicalKind(
    "resistance", "ohm", ("Mohm", "kohm"), ((1.0, "ohm"), (1e3, "kohm"), (1e6, "Mohm"))
)
TEMPERATURE = PhysicalKind("temperature", "K", ("K", "degC"), ((1.0, "K"),))
PRESSURE = PhysicalKind(
    "pressure", "Pa", ("Pa", "kPa", "mbar"), ((1.0, "Pa"), (1e3, "kPa"), (1e6, "MPa"))
)
FIELD = PhysicalKind(
    "electric field", "V/m", ("MV/m", "kV/mm"), ((1.0, "V/m"), (1e3, "kV/m"), (1e6, "MV/m"))
)
SURFACE_TENSION = PhysicalKind("surface tension", "N/m", ("N/m", "mN/m"), ((1.0, "N/m"),))
SURFACE_TENSION_SLOPE = PhysicalKind(
    "slope of surface tension", "N/m/K", ("N/m/K", "mN/m/K"), ((1e-3, "mN/m/K"),)
)
DENSITY = PhysicalKind("density", "kg/m^3", ("kg/m^3", "g/cm^3"), ((1.0, "kg/m^3"),))
MASS = PhysicalKind("mass", "kg", ("g", "kg"), ((1e-3, "g"),))
PERMEABILITY = PhysicalKind("permeability", "m^2", ("um^2", "m^2"), ((1e-12, "um^2"),))
MOLAR_MASS = PhysicalKind("molar mass", "kg/mol", ("g/mol", "kg/mol"), ((1e-3, "g/mol"),))
VISCOSITY = PhysicalKind("viscosity", "Pa*s", ("mPa*s", "Pa*s"), ((1e-3, "mPa*s"),))
ACCELERATION = PhysicalKind(
    "acceleration", "m/s^2", ("m/s^2", "g_0"), ((1.0, "m/s^2"), (9.80665, "g_0"))
)
CAPACITANCE = PhysicalKind(
    "capacitance", "F", ("pF", "nF"), ((1e-12, "pF"), (1e-9, "nF"), (1e-6, "uF"))
)
ENERGY = PhysicalKind("energy", "J", ("eV", "J"), ((1.602176634e-19, "eV"),))

KINDS = (
    ACCELERATION,
    CAPACITANCE,
    LENGTH,
    ANGLE,
    VOLTAGE,
    CURRENT,
    RESISTANCE,
    TEMPERATURE,
    PRESSURE,
    FIELD,
    SURFACE_TENSION,
    SURFACE_TENSION_SLOPE,
    DENSITY,
    MOLAR_MASS,
    MASS,
    PERMEABILITY,
    VISCOSITY,
    ENERGY,
)


@dataclass(frozen=True)
class Quantity:
    """A number that was read: its value in SI and the unit text in which it was written."""

    value: float
    unit: str


# What most designs are written in, so that they are read without pint, whose start takes longer
# than all else about reading them; a test holds every factor against pint's own.
_COMMON = {
    (unit, kind.si): size for kind in KINDS for size, unit in (*kind.printed, (1.0, kind.si))
}
_COMMON["kV/mm", FIELD.si] = 1e6


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@cache
def _factor(unit: str, kind: PhysicalKind, *, difference: bool) -> tuple[float, float]:
    """Slope and offset that turn a number in ``unit`` into SI; an unknown unit raises KeyError."""
    if (unit, kind.si) in _COMMON:
        return _COMMON[unit, kind.si], 0.0
    name = pint_name(unit, kind.name)
    if name is None:
        raise KeyError(unit)
    quantity = _registry().Quantity
    offset = float(quantity(0.0, name).to(kind.si).magnitude)
    slope = float(quantity(1.0, name).to(kind.si).magnitude) - offset
    if offset:
        # The difference of two large numbers is rounded; the library knows the step itself.
        slope = float(quantity(1.0, f"delta_{name}").to(kind.si).magnitude)
    return slope, 0.0 if difference else offset


def read_quantity(text: object, kind: PhysicalKind, *, difference: bool = False) -> Quantity:
    """Read a number with its unit.

    Parameters
    ----------
    text : object
        What the file holds; only a string such as "4 um" is accepted.
    kind : PhysicalKind
        What it must be.
    difference : bool
        Read an interval, such as a tolerance: 5 degC is then 5 K.

    Raises
    ------
    QuantityError
        No unit, an unknown unit, the wrong dimension, or a value that is not finite.
    """
    offered = f'"{{}} {kind.units[0]}"'
    also = f" (or {', '.join(kind.units[1:])})" if len(kind.units) > 1 else ""
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise QuantityError(
            f"a {kind.name} is a text such as {offered.format(1)}{also}, not {text!r}"
        )
    if not isinstance(text, str):
        if not math.isfinite(text):
            raise QuantityError(f"a {kind.name} must be a finite number with a unit")
        raise QuantityError(
            f"the unit is missing: a {kind.name} needs one, so write {offered.format(text)}{also}"
        )
    if _WORDS.match(text):
        raise QuantityError(f"a {kind.name} must be a finite number, not '{text.strip()}'")
    match = _NUMBER.match(text)
    if match is None:
        raise QuantityError(
            f"a {kind.name} is a number and a unit, such as {offered.format(1)}{also}"
        )
    number, unit = match.group(1), match.group(2)
    if unit.startswith(","):
        raise QuantityError("write the decimal point as a point, not as a comma")
    if not unit:
        raise QuantityError(
            f"the unit is missing: a {kind.name} needs one, so write {offered.format(number)}{also}"
        )
    slope, offset = _conversion(unit, kind, number, difference=difference)
    value = float(number) * slope + offset
    if not math.isfinite(value):
        raise QuantityError(f"a {kind.name} must be finite, and {text.strip()} overflows")
    return Quantity(value, unit)


def _conversion(
    unit: str, kind: PhysicalKind, number: str, *, difference: bool
) -> tuple[float, float]:
    wanted = f"write {number} with {' or '.join(kind.units)}"
    try:
        return _factor(unit, kind, difference=difference)
    except KeyError:
        shown = unit if len(unit) <= _SHOWN else f"{unit[:_SHOWN]}..."
        if not known_elsewhere(unit) and unit != "C":
            raise QuantityError(f"the unit '{shown}' is unknown; {wanted}") from None
        hint = " (for degrees Celsius write degC)" if unit == "C" and kind is TEMPERATURE else ""
        raise QuantityError(f"'{shown}' is not a unit of {kind.name}{hint}; {wanted}") from None


def as_text(value: float, kind: PhysicalKind, unit: str = "") -> str:
    """A value in SI as a short text with a unit.

    Parameters
    ----------
    value : float
        Value, in the SI unit of ``kind``.
    kind : PhysicalKind
        What it is.
    unit : str
        Unit to print in; by default one that gives a handy number.
    """
    if unit:
        slope, offset = _factor(unit, kind, difference=False)
        return f"{(value - offset) / slope:.6g} {unit}"
    size, name = kind.printed[0]
    early = 0.1 if kind is LENGTH else 1.0  # 0.25 mm reads better than 250 um
    for size_next, name_next in kind.printed[1:]:
        if abs(value) >= size_next * early * (1.0 - 1e-12):
            size, name = size_next, name_next
    if value == 0.0 and kind is LENGTH:
        size, name = kind.printed[1]
    return f"{value / size:.4g} {name}"
