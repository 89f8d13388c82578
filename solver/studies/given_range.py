"""Ranges of a design's quantities as a person writes them: KEY=FROM..TO."""

from __future__ import annotations

import re

from conegap.geometries.design.design import Design, Dimension, quantity_for
from conegap.geometries.quantities.errors import DesignError

__all__ = ["range_ends"]


def range_ends(design: Design, where: str, given: re.Match[str]) -> tuple[Dimension, float, float]:
    """The quantity of a range KEY=FROM..TO, its lower and its upper end, SI.

    Parameters
    ----------
    design : Design
    where : str
        Option and text as given, for messages.
    given : re.Match
        With the groups "key", "low" and "high"; quotation marks around values are allowed.

    Raises
    ------
    DesignError
        The key is unknown in this design, a value is wrong, or both ends are the same.
    """
    key = given["key"].strip()
    dimension = design.dimension(key)
    low, high = sorted(
        quantity_for(key, given[name].strip().strip("\"'").strip()) for name in ("low", "high")
    )
    if low == high:
        raise DesignError(f"{where}: both ends are the same; give a range", keys=(key,))
    return dimension, low, high
