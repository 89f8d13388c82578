"""Handy units for axes and sentences: micrometres, kilovolts, megavolts per metre."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from conegap.geometries.quantities.quantity import (
    CURRENT,
    FIELD,
    LENGTH,
    PRESSURE,
    PhysicalKind,
    as_text,
)
from conegap.solver.common.style import pretty

__all__ = [
    "AxisUnit",
    "axis_unit",
    "current_text",
    "energy_text",
    "field_text",
    "length_words",
    "mass_flow_text",
    "percent",
    "pressure_text",
    "scientific",
    "span_text",
    "thrust_text",
    "time_text",
    "voltage_text",
]


@dataclass(frozen=True)
class AxisUnit:
    """A unit in which an axis is printed.

    Parameters
    ----------
    size : float
        The unit in SI.
    name : str
        How it is printed: "µm".
    offset : float
        Value in SI at the unit's zero.
    """

    size: float
    name: str
    offset: float = 0.0


_PRINTED = {"um": "µm", "deg": "°", "degC": "°C", "uA": "µA", "ohm": "Ω", "Mohm": "MΩ"}


def axis_unit(kind: PhysicalKind, largest: float, unit: str = "") -> AxisUnit:
    """The unit for an axis.

    Parameters
    ----------
    kind : PhysicalKind
        What the axis shows.
    largest : float
        Largest magnitude on the axis, SI.
    unit : str
        Unit of the design file to prefer, "" to choose one that gives handy numbers.
    """
    if unit:
        from conegap.geometries.quantities.quantity import read_quantity

        zero = read_quantity(f"0 {unit}", kind).value
        size = read_quantity(f"1 {unit}", kind).value - zero
        return AxisUnit(size, _PRINTED.get(unit, unit), zero)
    size, name = kind.printed[0]
    for size_next, name_next in kind.printed[1:]:
        if abs(largest) >= size_next * (1.0 - 1e-12):
            size, name = size_next, name_next
    return AxisUnit(size, _PRINTED.get(name, name))


def voltage_text(value: float) -> str:
    """A voltage for a sentence: "3.29 kV", "850 V".

    Parameters
    ----------
    value : float
        [V].
    """
    if abs(value) >= 1e3:
        return f"{value / 1e3:.2f} kV"
    return f"{value:.3g} V"


def field_text(value: float) -> str:
    """A field for a sentence: "48.2 MV/m".

    Parameters
    ----------
    value : float
        [V/m].
    """
    unit = axis_unit(FIELD, value)
    return f"{value / unit.size:.3g} {unit.name}"


def current_text(value: float) -> str:
    """A current for a sentence: "12.3 µA"; what is too small to matter is "below 1 pA", and
    what only a law continued beyond any gap gives is "above 1 kA".

    Parameters
    ----------
    value : float
        [A].
    """
    if value == 0.0:
        return "0 A"
    if abs(value) < 1e-12:
        return "below 1 pA"
    if abs(value) > 1e3:
        return "above 1 kA"
    if abs(value) < 1e-9:
        return f"{value * 1e12:.3g} pA"
    unit = axis_unit(CURRENT, value)
    return f"{value / unit.size:.3g} {unit.name}"


def span_text(text: Callable[[float], str], low: float, high: float) -> str:
    """What is known only to lie between two values: "27 µA to 78 µA", two digits each.

    Parameters
    ----------
    text : callable
        Prints a value with its unit.
    low, high : float
        SI.
    """
    first, last = (text(float(f"{value:.2g}")) for value in (low, high))
    return first if first == last else f"{first} to {last}"


def pressure_text(value: float) -> str:
    """A pressure for a sentence: "34.2 kPa".

    Parameters
    ----------
    value : float
        [Pa].
    """
    unit = axis_unit(PRESSURE, value)
    return f"{value / unit.size:.3g} {unit.name}"


def mass_flow_text(value: float) -> str:
    """A mass flow for a sentence: "0.12 µg/s".

    Parameters
    ----------
    value : float
        [kg/s].
    """
    for size, name in ((1e-6, "mg/s"), (1e-9, "µg/s")):
        if abs(value) >= size:
            return f"{value / size:.3g} {name}"
    return "0 ng/s" if value == 0.0 else f"{value / 1e-12:.3g} ng/s"


def thrust_text(value: float) -> str:
    """A thrust for a sentence: "0.58 µN".

    Parameters
    ----------
    value : float
        [N].
    """
    return f"{value * 1e6:.3g} µN"


def energy_text(value: float) -> str:
    """An energy for a sentence: "3.7 µJ".

    Parameters
    ----------
    value : float
        [J].
    """
    for size, name in ((1.0, "J"), (1e-3, "mJ"), (1e-6, "µJ")):
        if abs(value) >= size:
            return f"{value / size:.3g} {name}"
    return f"{value / 1e-9:.3g} nJ"


def time_text(value: float) -> str:
    """A duration for a sentence: "2.1 years", "9 days", "3 h", "5 µs".

    Parameters
    ----------
    value : float
        [s].
    """
    sizes = ((365.25 * 86400.0, "years"), (86400.0, "days"), (3600.0, "h"), (1.0, "s"),
             (1e-3, "ms"), (1e-6, "µs"))  # fmt: skip
    for size, name in sizes:
        if value >= size * (1.0 - 1e-12):
            return f"{value / size:.3g} {name}"
    return f"{value / 1e-9:.3g} ns"


def length_words(value: float) -> str:
    """A length for a sentence: "4 µm".

    Parameters
    ----------
    value : float
        [m].
    """
    return as_text(value, LENGTH).replace("um", "µm")


def percent(value: float) -> str:
    """A ratio as a percentage with two significant digits: "8.2 %".

    Parameters
    ----------
    value : float
        [-].
    """
    return f"{100.0 * value:.2g} %" if abs(value) < 0.1 else f"{100.0 * value:.0f} %"


def scientific(value: float) -> str:
    """A small or large number with two digits and a raised power of ten: "2.3 × 10⁻⁴".

    Parameters
    ----------
    value : float
        [-].
    """
    return pretty(f"{value:.1e}")
