"""Handy units for axes and sentences: micrometres, kilovolts, megavolts per metre."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.geometries.quantity import FIELD, LENGTH, PhysicalKind, as_text

__all__ = ["AxisUnit", "axis_unit", "field_text", "length_words", "percent", "voltage_text"]


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
        from conegap.geometries.quantity import read_quantity

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
