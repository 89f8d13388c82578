"""Tolerances whose ends no design may reach: a metal that freezes, electrodes that overlap."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from conegap.geometries.design.checks import broken_rules
from conegap.geometries.design.design_file import Complaints, read_parts
from conegap.geometries.design.dimensions import Dimension
from conegap.geometries.quantities.errors import DesignError, GeometryError
from conegap.geometries.quantities.quantity import LENGTH

__all__ = ["broken_ends", "with_text"]

_WIDE = 0.2
"""Share of the clearance from which the section is built at both ends of a tolerance."""


def with_text(document: Mapping[str, Any], section: str, name: str, text: str) -> dict[str, Any]:
    """A parsed design file with one quantity changed; tolerance and basis stay.

    Parameters
    ----------
    document : mapping
        The parsed file.
    section, name : str
        Of the quantity.
    text : str
        New value with its unit.
    """
    changed = copy.deepcopy(dict(document))
    table = dict(changed.get(section, {}))
    previous = table.get(name)
    table[name] = {**previous, "value": text} if isinstance(previous, Mapping) else text
    changed[section] = table
    return changed


def broken_ends(
    dimensions: Iterable[Dimension],
    drawn: Mapping[str, Any],
    clearance: float,
    build: Callable[[str, float], object],
) -> Iterator[tuple[str, str]]:
    """Tolerances that reach a solid metal or electrodes that overlap.

    The section is built anew only where a tolerance is no longer small against the clearance.

    Parameters
    ----------
    dimensions : iterable of Dimension
    drawn : mapping
        The parsed design file.
    clearance : float
        Between emitter and accelerator as drawn, [m].
    build : callable
        Takes a key and its new value in SI and builds the section; raises where it cannot.

    Yields
    ------
    (str, str)
        Key of the design file, and what is wrong with its tolerance.
    """
    for dimension in dimensions:
        if not dimension.tolerance:
            continue
        section, _, name = dimension.key.partition(".")
        wide = dimension.kind is LENGTH and dimension.tolerance > _WIDE * clearance
        for sign, word in ((-1.0, "-"), (1.0, "+")):
            value = dimension.value + sign * dimension.tolerance
            text = f"{value!r} {dimension.kind.si}"
            document = with_text(drawn, section, name, text)
            reason = ""
            try:
                if section == "liquid":
                    parts = read_parts(document, Complaints("", "", document), scanned=True)
                    reason = "; ".join(rule.message for rule in broken_rules(parts))
                if wide:
                    build(dimension.key, value)
            except GeometryError as problem:
                reason = str(problem)
            except DesignError:
                # A part's own rules are kept for the computation that meets them.
                continue
            if reason:
                yield (
                    dimension.key,
                    f"its tolerance, {word} {dimension.tolerance_text}, reaches a design that "
                    f"cannot be: {reason}; give a smaller tolerance, or another value",
                )
                break
