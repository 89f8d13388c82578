"""Dimensions of a design: value, tolerance, basis and the unit in which to print them."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.kinds import physical_keys, physical_of
from conegap.geometries.parts.part import Basis, Part
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.notebook import html_table
from conegap.geometries.quantities.quantity import PhysicalKind, QuantityError, as_text

__all__ = ["Dimension", "dimensions_html", "dimensions_of", "quantity_for", "unknown_key"]


@dataclass(frozen=True)
class Dimension:
    """A dimension of the design with its tolerance and where it comes from.

    Parameters
    ----------
    key : str
        Key of the design file: "emitter.tip_radius".
    label : str
        Words for a table: "tip radius".
    value : float
        Value in SI.
    tolerance : float or None
        Plus-minus half width in SI.
    basis : str
        "measured", "drawn" or "assumed"; a default is assumed.
    unit : str
        Unit in which to print it.
    kind : PhysicalKind
        What it is.
    """

    key: str
    label: str
    value: float
    tolerance: float | None
    basis: Basis
    unit: str
    kind: PhysicalKind

    @property
    def text(self) -> str:
        """Value with unit, as in the file."""
        return as_text(self.value, self.kind, self.unit)

    @property
    def tolerance_text(self) -> str:
        """Tolerance with unit, or an empty text."""
        if self.tolerance is None:
            return ""
        unit = {"degC": "K", "°C": "K"}.get(self.unit, self.unit)
        return as_text(self.tolerance, self.kind, unit)


def dimensions_of(parts: Mapping[str, Part], document: Mapping[str, Any]) -> tuple[Dimension, ...]:
    """Every physical quantity of the parts that has a value.

    Parameters
    ----------
    parts : mapping of str to Part
        Sections of a design by name.
    document : mapping
        The parsed design file, for tolerances, bases and units.
    """
    found = []
    for section, part in parts.items():
        given = document.get(section, {})
        for name, physical in part.physical_fields().items():
            value = getattr(part, name)
            if value is None:
                continue
            raw = given.get(name)
            basis: Basis = "assumed" if raw is None else "drawn"
            if isinstance(raw, Mapping):
                basis = raw.get("basis", "drawn")
            if raw is None:
                unit = as_text(value, physical.kind).partition(" ")[2]
            else:
                unit = physical.read(raw, tolerance_rule=False).unit
            found.append(
                Dimension(
                    key=f"{section}.{name}",
                    label=_label(section, name),
                    value=value,
                    tolerance=physical.tolerance(raw),
                    basis=basis,
                    unit=unit,
                    kind=physical.kind,
                )
            )
    return tuple(found)


def dimensions_html(title: str, dimensions: Sequence[Dimension]) -> str:
    """A table of dimensions for a notebook.

    Parameters
    ----------
    title : str
    dimensions : sequence of Dimension
    """
    rows = [(d.key, d.text, d.tolerance_text and f"± {d.tolerance_text}", d.basis)
            for d in dimensions]  # fmt: skip
    return html_table(title, rows, ("", "value", "tolerance", "basis"))


def quantity_for(key: str, text: str) -> float:
    """A quantity given on a command line for a key of the design file, in SI.

    Parameters
    ----------
    key : str
        Key, such as "accelerator.gap".
    text : str
        Value with unit, such as "0.5 mm".

    Raises
    ------
    DesignError
        The key is unknown or holds no physical quantity, or the text is wrong.
    """
    physical = physical_of(key)
    if physical is None:
        raise DesignError(unknown_key(key, physical_keys(), "command line"), keys=(key,))
    try:
        return physical.read(text).value
    except QuantityError as problem:
        raise DesignError(f'{key} = "{text}": {problem}', keys=(key,)) from problem


def unknown_key(key: str, known: tuple[str, ...], where: str) -> str:
    """Words for a key that holds no quantity.

    Parameters
    ----------
    key : str
        Key asked for.
    known : tuple of str
        Keys that hold one; the nearest is named.
    where : str
        Name of the design file.
    """
    close = difflib.get_close_matches(key, known, n=1, cutoff=0.4)
    if not close:
        last = {k.rpartition(".")[2]: k for k in known}
        close = [last[n] for n in difflib.get_close_matches(key, list(last), n=1)]
    hint = f", did you mean '{close[0]}'?" if close else ""
    return (
        f"{where}: '{key}' is no dimension that can be changed{hint}; known are {', '.join(known)}"
    )


def _label(section: str, name: str) -> str:
    words = name.replace("_", " ")
    plain = section == "emitter" or name in ("gap", "film_thickness", "contact_angle")
    if section == "voltages":
        return f"{words} voltage"
    return words if plain or name.startswith("feed") else f"{section} {words}"
