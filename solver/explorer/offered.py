"""The quantities that a page offers where none are asked for: what the band comes from most."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import ConegapError, DesignError
from conegap.solver.sizing.request import Free
from conegap.solver.studies.budget import Budget

__all__ = ["TOLERANCES", "ranges_of_budget"]

TOLERANCES = (2.0, 1.5, 1.0, 0.5)
"""Half widths of an offered range in tolerances, the widest that can be built is taken: an article
at twice its tolerance is one to be judged, farther out it is another design (a choice, no source).
"""

# As many as the surfaces take.
_MOST = 3


def ranges_of_budget(design: Design, budget: Budget) -> tuple[Free, ...]:
    """Ranges of the toleranced quantities with the largest lines of the budget, one to three.

    At both ends of a range the tolerance itself can still be built, since every design within the
    ranges gets a band of its own.

    Parameters
    ----------
    design : Design
    budget : Budget

    Raises
    ------
    DesignError
        No quantity with a tolerance moves the onset, or the ranges cannot be built together.
    """
    known = {one.key: one for one in design.dimensions() if one.tolerance}
    chosen: list[Free] = []
    for line in budget.contributions:
        if line.name in known and line.size > 0.0 and len(chosen) < _MOST:
            wide = _widest(design, known[line.name])
            chosen += [] if wide is None else [wide]
    if not chosen:
        raise DesignError(
            f"{design.source}: no dimension with a tolerance moves the onset, so there is nothing "
            'to offer by itself; say what to explore, such as --free accelerator.gap="0.5 mm".."2 '
            'mm"'
        )
    free = tuple(chosen)
    if not all(_built(design, free, ends) for ends in _corners(free)):
        keys = tuple(one.key for one in free)
        raise DesignError(
            f"{design.source}: with the tolerances of {', '.join(keys)} taken together the design "
            "cannot be built; give ranges with --free",
            keys=keys,
        )
    return free


def _widest(design: Design, dimension: Dimension) -> Free | None:
    """The widest range of a quantity that can be built with its tolerance beyond both ends."""
    value, tolerance = dimension.value, float(dimension.tolerance or 0.0)
    for times in TOLERANCES:
        free = Free(dimension, value - times * tolerance, value + times * tolerance)
        beyond = (free.low - tolerance, free.high + tolerance)
        if all(_built(design, (free,), (end,)) for end in beyond):
            return free
    return None


def _corners(free: tuple[Free, ...]) -> Iterator[tuple[float, ...]]:
    return itertools.product(*((one.low, one.high) for one in free))


def _built(design: Design, free: tuple[Free, ...], values: tuple[float, ...]) -> bool:
    """Whether the design can be drawn with some values."""
    try:
        design.with_values((one.key, value) for one, value in zip(free, values, strict=True))
    except ConegapError:
        return False
    return True
