"""The radius whose onset is a given voltage, from a grid of radii and a root between them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError, DesignError

__all__ = ["Root", "Voltages", "find_radius"]

Voltages = Callable[[Sequence[float]], Sequence[float | str]]
"""Takes radii, [m]; gives onset voltages, [V], or why a radius has none."""

# Factor on the drawn radius to either side; a radius farther off is another edge. A choice, no
# source.
_SPAN = 4.0
# Of the grid, the drawn radius in its middle: each is a factor of 1.4 from the next.
_POINTS = 9
# Scatter of log(onset) between new meshes, see `MESH_NOISE` in `tolerance`, and half as much
# again.
_NOISE = 3e-4
# d ln V / d ln R below which one percent of voltage is ten of radius; no radius can be read
# then.
_WEAKEST = 0.1


@dataclass(frozen=True)
class Root:
    """A radius with its interval.

    Parameters
    ----------
    value : float
        [m] (a diameter where the key is one).
    low, high : float
        Interval, k = 2; 0 or inf where the radii looked at do not reach an end, [m].
    elasticity : float
        d ln(onset) / d ln(radius) there, [-].
    """

    value: float
    low: float
    high: float
    elasticity: float


def find_radius(
    voltages: Voltages,
    drawn: float,
    wanted: float,
    uncertainty: float,
    *,
    span: float = _SPAN,
) -> Root:
    """The radius with a wanted onset, and the radii at the ends of its uncertainty.

    Parameters
    ----------
    voltages : callable
        Onset over radius.
    drawn : float
        Radius in whose neighbourhood to look, [m].
    wanted : float
        Onset, [V].
    uncertainty : float
        Relative, k = 2, [-].
    span : float
        How many times smaller and larger radii may be, [-].

    Raises
    ------
    DesignError
        The onset is not monotone in the radius, hardly depends on it, or does not reach the
        wanted value.
    ComputationError
        A solve between the grid's radii failed.
    """
    from scipy.optimize import brentq

    grid = drawn * np.geomspace(1.0 / span, span, _POINTS)
    found = voltages([float(r) for r in grid])
    known: dict[float, float] = {
        math.log(r): math.log(v) for r, v in zip(grid, found, strict=True) if not isinstance(v, str)
    }
    logs = np.array(sorted(known))
    values = np.array([known[x] for x in logs])
    _check_grid(logs, values, found, wanted)

    def excess(x: float, level: float) -> float:
        if x not in known:
            (value,) = voltages([math.exp(x)])
            if isinstance(value, str):
                raise ComputationError(f"no onset at a radius of {math.exp(x):.4g} m: {value}")
            known[x] = math.log(value)
        return known[x] - level

    def root(level: float) -> float | None:
        signs = np.sign(values - level)
        for k in np.flatnonzero(signs[:-1] * signs[1:] <= 0.0):
            return float(brentq(excess, logs[k], logs[k + 1], args=(level,), xtol=1e-4))
        return None

    level = math.log(wanted)
    centre = root(level)
    if centre is None:
        low, high = math.exp(values.min()), math.exp(values.max())
        raise DesignError(
            f"--measured: no radius between {math.exp(logs[0]):.3g} m and {math.exp(logs[-1]):.3g} "
            f"m has an onset of {wanted:.5g} V; they give {low:.5g} V to {high:.5g} V. Look at the "
            "other dimensions, the voltage's reading and the surface first",
            keys=("--measured",),
        )
    rising = values[-1] > values[0]
    ends = [root(level + sign * math.log1p(uncertainty)) for sign in (-1.0, 1.0)]
    if not rising:
        ends.reverse()
    near, far = ends
    step = 0.5 * float(np.diff(logs).min())
    ends_of_slope = np.interp([centre - step, centre + step], *_sorted(known))
    slope = float(ends_of_slope[1] - ends_of_slope[0]) / (2.0 * step)
    return Root(
        value=math.exp(centre),
        low=0.0 if near is None else math.exp(near),
        high=math.inf if far is None else math.exp(far),
        elasticity=slope,
    )


def _sorted(known: dict[float, float]) -> tuple[FloatArray, FloatArray]:
    logs = np.array(sorted(known))
    return logs, np.array([known[x] for x in logs])


def _check_grid(
    logs: FloatArray,
    values: FloatArray,
    found: Sequence[float | str],
    wanted: float,
) -> None:
    """Refuse an onset from which no radius can be read."""
    if len(logs) < 3:
        reason = next((text for text in found if isinstance(text, str)), "")
        raise DesignError(
            f"--measured: too few radii near the drawn one can be computed, so none is "
            f"bracketed; the first refusal: {reason}",
            keys=("--measured",),
        )
    steps = np.diff(values)
    pairs = zip(logs, values, strict=True)
    table = ", ".join(f"{math.exp(v):.4g} V at {math.exp(x):.3g} m" for x, v in pairs)
    size = float(np.ptp(values)) / float(np.ptp(logs))
    if size < _WEAKEST:
        raise DesignError(
            f"--measured: the onset hardly depends on the radius (d ln V / d ln R is {size:.3f}), "
            f"so no radius can be read from {wanted:.5g} V: {table}. Look at the gap instead",
            keys=("--measured",),
            cause="insensitive",
        )
    if steps.max() > 2.0 * _NOISE and steps.min() < -2.0 * _NOISE:
        raise DesignError(
            f"--measured: the onset is not monotone in the radius, so two radii could have "
            f"{wanted:.5g} V and none is given: {table}",
            keys=("--measured",),
            cause="not monotone",
        )
