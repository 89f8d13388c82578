"""How much of the accelerator's opening a beam fills."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray, polyline
from conegap.geometries.curves.section import Section

__all__ = ["has_depth", "narrowest_clearance", "weighted_quantile"]

# Share of the current that counts as the beam; common practice, no source.
_BEAM_SHARE = 0.95
# Planes across the accelerator at which the beam is compared with the opening; 11 or 81 move the
# result by 3e-4 of itself at most.
_HEIGHTS = 41


def weighted_quantile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """Value below which a share of the weight lies, in the unit of the values.

    Parameters
    ----------
    values, weights : (n,) array
    share : float
        0 to 1, [-].
    """
    order = np.argsort(values)
    below = np.cumsum(weights[order])
    middle = (below - 0.5 * weights[order]) / below[-1]
    return float(np.interp(share, middle, values[order]))


def narrowest_clearance(
    section: Section, paths: tuple[FloatArray, ...], shares: FloatArray
) -> float | None:
    """Greatest ratio of beam half-width to available aperture half-width along the accelerator.

    The beam holds 95 % of the current; an ion that has landed counts where it landed.

    Parameters
    ----------
    paths : tuple of (k, 2) arrays
        [m].
    shares : (n,) array
        Of the current, [-].

    Returns
    -------
    float or None
        Above 1 where the beam meets the metal; None for a closed accelerator, [-].
    """
    outlines = _outlines(section)
    low, high = _span(outlines)
    if not high > low:
        return None
    half = section.symmetry == "axisymmetric" or section.mirrored
    worst = 0.0
    heights = np.linspace(low, high, _HEIGHTS + 2)[1:-1]
    reached = np.array([_across(path, heights) for path in paths])
    for z, across in zip(heights, reached.T, strict=True):
        metal = np.concatenate([_crossings(outline, float(z)) for outline in outlines])
        if half:
            wide, room = weighted_quantile(np.abs(across), shares, _BEAM_SHARE), float(metal.min())
        else:
            left = weighted_quantile(across, shares, 0.5 - _BEAM_SHARE / 2.0)
            right = weighted_quantile(across, shares, 0.5 + _BEAM_SHARE / 2.0)
            middle, wide = 0.5 * (left + right), 0.5 * (right - left)
            inner, outer = metal[metal < middle], metal[metal >= middle]
            if not len(inner) or not len(outer):
                return math.inf
            room = min(middle - float(inner.max()), float(outer.min()) - middle)
        worst = max(worst, wide / room if room > 0.0 else math.inf)
    return worst


def has_depth(section: Section) -> bool:
    """Whether the accelerator has a depth that a beam could pass; a closed plane ends it."""
    low, high = _span(_outlines(section))
    return high > low


def _span(outlines: list[FloatArray]) -> tuple[float, float]:
    """Lowest and highest point, both 0 of no outline, [m]."""
    heights = np.concatenate([[], *(outline[:, 1] for outline in outlines)])
    return (float(heights.min()), float(heights.max())) if len(heights) else (0.0, 0.0)


def _outlines(section: Section) -> list[FloatArray]:
    """Curves of the accelerator, (k, 2) arrays, [m]."""
    return [
        polyline([b.curve], 129) for loop in section.loops for b in loop if b.name == "accelerator"
    ]


def _crossings(outline: FloatArray, z: float) -> FloatArray:
    """Where an outline crosses a height, (n,) array, [m]."""
    x, height = outline.T
    k = np.nonzero((height[:-1] - z) * (height[1:] - z) <= 0.0)[0]
    k = k[height[k] != height[k + 1]]
    share = (z - height[k]) / (height[k + 1] - height[k])
    return np.asarray(x[k] + share * (x[k + 1] - x[k]))


def _across(path: FloatArray, heights: FloatArray) -> FloatArray:
    """Where a path first reaches each height, or its end, (n,) array, [m]."""
    x, z = path.T
    after = np.searchsorted(np.maximum.accumulate(z), heights)
    k = np.clip(after, 1, len(z) - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (heights - z[k - 1]) / (z[k] - z[k - 1])
    between = x[k - 1] + share * (x[k] - x[k - 1])
    return np.asarray(np.where(after == 0, x[0], np.where(after == len(z), x[-1], between)))
