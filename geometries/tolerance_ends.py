"""Tolerances whose ends no design can have."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from conegap.geometries.checks import broken_rules
from conegap.geometries.design_file import Complaints, read_parts
from conegap.geometries.errors import DesignError, GeometryError
from conegap.geometries.quantity import LENGTH

if TYPE_CHECKING:
    from conegap.geometries.design import Design

__all__ = ["broken_ends", "with_text"]

_WIDE = 0.2


def with_text(document: Mapping[str, Any], section: str, name: str, text: str) -> dict[str, Any]:
    """A parsed design file with one quantity changed; tolerance and basis stay.

    Parameters
    ----------
    document : mapping
    section, name : str
        Of the quantity.
    text : str
        Its new value with unit.
    """
    changed = copy.deepcopy(dict(document))
    table = dict(changed.get(section, {}))
    previous = table.get(name)
    table[name] = {**previous, "value": text} if isinstance(previous, Mapping) else text
    changed[section] = table
    return changed


def broken_ends(design: Design, document: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Tolerances that reach a solid metal or electrodes that overlap.

    The section is built anew only where a tolerance is no longer small against the clearance.

    Parameters
    ----------
    design : Design
        As drawn.
    document : mapping
        Its parsed file.

    Yields
    ------
    tuple of str
        Key and complaint.
    """
    for dimension in design.dimensions():
        if not dimension.tolerance:
            continue
        section, _, name = dimension.key.partition(".")
        wide = dimension.kind is LENGTH and dimension.tolerance > _WIDE * design.clearance
        for sign, word in ((-1.0, "-"), (1.0, "+")):
            value = dimension.value + sign * dimension.tolerance
            text = f"{value!r} {dimension.kind.si}"
            changed = with_text(document, section, name, text)
            reason = ""
            try:
                if section == "liquid":
                    parts = read_parts(changed, Complaints("", "", changed), scanned=True)
                    reason = "; ".join(rule.message for rule in broken_rules(parts))
                if wide:
                    design.with_value(dimension.key, value)
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
