"""How much what is demanded changes with each free quantity at the answer, from the surfaces."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.sizing.demands import Sample
from conegap.solver.sizing.request import Free
from conegap.solver.sizing.search import Sizing
from conegap.solver.sizing.surfaces import MOVES, Surfaces, apart

__all__ = ["Sensitivity", "sensitivities"]

# Half the difference of shares over which a slope is taken: wide enough that the scatter of meshing
# of 1e-3 is a hundredth of the range's whole slope, narrow for a bend of the surface.
_STEP = 0.05


@dataclass(frozen=True)
class Sensitivity:
    """Slopes of one quantity; build with `sensitivities`.

    Parameters
    ----------
    name : str
        Key of a wish or name of a criterion.
    unit : str
        SI unit of its value, "" for a ratio.
    value : float
        At the answer; of a span, the end that decides.
    slopes : tuple of float
        Change of the value with each free quantity, in ``unit`` per SI unit of that.
    """

    name: str
    unit: str
    value: float
    slopes: tuple[float, ...]


def sensitivities(found: Sizing) -> tuple[Sensitivity, ...]:
    """Slopes of the first emission, of what is wanted, and of the criteria, at the answer.

    Taken on the logarithms of values, in shares of the ranges, so that a power law is exact.
    Criteria that the free quantities do not move, or whose value is 0 or unbounded at the answer or
    at too many of the solves, are left out.

    Parameters
    ----------
    found : Sizing
        That is met.

    Raises
    ------
    ValueError
        The demands contradict each other: there is no answer.
    """
    if not found.met:
        raise ValueError("demands that contradict each other have no answer to take slopes at")
    at = np.array([one.share(v) for one, v in zip(found.free, found.values, strict=True)])
    kept = apart([point for point, _ in found.solved])
    points = np.array([found.solved[k][0] for k in kept])
    keys = dict.fromkeys(["first_emission", *(one.key for one in found.demands if one.key)])
    columns = [(key, "V", _of_key(key)) for key in keys]
    for demand in found.demands:
        row = demand.row(found.sample)
        if row is not None:
            columns.append((row.name, row.unit, demand.deciding))
    told = []
    for name, unit, value_of in columns:
        here = _logarithm(value_of(found.sample))
        values = np.array([_logarithm(value_of(found.solved[k][1])) for k in kept])
        known = np.isfinite(values)
        if not math.isfinite(here) or known.sum() < len(found.free) + 2:
            continue
        if np.ptp(values[known]) <= MOVES:
            continue
        surface = Surfaces(points[known], values[known, None])
        value = math.exp(here)
        slopes = tuple(
            value * _slope(surface, at, axis) * _share_slope(one, found.values[axis])
            for axis, one in enumerate(found.free)
        )
        told.append(Sensitivity(name, unit, value, slopes))
    return tuple(told)


def _of_key(key: str) -> Callable[[Sample], float | None]:
    return lambda sample: sample.voltages[key]


def _logarithm(value: float | None) -> float:
    """Nan for what has none."""
    return math.log(value) if value is not None and 0.0 < value < math.inf else math.nan


def _slope(surface: Surfaces, at: FloatArray, axis: int) -> float:
    """Change of a surface with a share, within the box."""
    ends = np.array([at, at])
    ends[:, axis] = np.clip([at[axis] - _STEP, at[axis] + _STEP], 0.0, 1.0)
    low, high = surface(ends, [0])[:, 0]
    return float((high - low) / (ends[1, axis] - ends[0, axis]))


def _share_slope(free: Free, value: float) -> float:
    """Change of the share with the quantity, in 1 / SI unit."""
    if free.scaled:
        return 1.0 / (value * math.log(free.high / free.low))
    return 1.0 / (free.high - free.low)
