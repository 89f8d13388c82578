"""The radius of a traced edge with its interval.

The circle is fitted inside a window of half angle theta about its centre.  A wide window averages
more points but reaches where the edge is no circle any more.  Taken is the widest window whose
interval still overlaps those of all narrower ones (the intersection of confidence intervals:
A. Goldenshluger, A. Nemirovski, Math Methods Statist 6, 135 (1997), from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.micrograph.apex_frame import ApexFrame
from conegap.geometries.micrograph.circle_fit import CircleFit, fit_circle
from conegap.geometries.micrograph.pixel_outline import ScaleBar
from conegap.geometries.quantities.errors import DesignError

__all__ = ["MeasuredEdge", "Window", "measured_edge"]

# Half angles of the windows, [rad]: below 25 degrees the sagitta is less than a tenth of the
# radius and noise rules; beyond 75 degrees flanks begin. A choice, no source.
_ANGLES = tuple(math.radians(a) for a in range(25, 80, 5))
# Points in a window: nine degrees of freedom, so that the scatter is itself known to a quarter.
_FEWEST = 12
# Standard uncertainties to either side in which the radii of two windows agree, about 95 %.
_OVERLAP = 2.0
# Coverage factor k = 2 for about 95 %, JCGM 100:2008.
_COVERAGE = 2.0


@dataclass(frozen=True)
class Window:
    """A fit inside one window.

    Parameters
    ----------
    angle : float
        Half angle about the circle's centre, [rad].
    fit : CircleFit
        [px].
    """

    angle: float
    fit: CircleFit


@dataclass(frozen=True)
class MeasuredEdge:
    """A fitted edge radius.

    Parameters
    ----------
    window : Window
        The chosen one.
    windows : tuple of Window
        All that were tried, from the narrowest.
    radius : float
        [m].
    parts : dict of str to float
        Standard uncertainties of the radius by source, [m].
    """

    frame: ApexFrame
    bar: ScaleBar
    window: Window
    windows: tuple[Window, ...]
    radius: float
    parts: dict[str, float]

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty, [m]."""
        return math.sqrt(sum(u * u for u in self.parts.values()))

    @property
    def interval(self) -> tuple[float, float]:
        """Radius minus and plus two standard uncertainties, about 95 %, [m]."""
        reach = _COVERAGE * self.uncertainty
        return max(self.radius - reach, 0.0), self.radius + reach


def measured_edge(
    frame: ApexFrame, bar: ScaleBar, name: str, *, reading: float = 1.0
) -> MeasuredEdge:
    """Fit the edge of an upright outline.

    Parameters
    ----------
    name : str
        Name of the file, for messages.
    reading : float
        How far the traced outline as a whole, and each end of the scale bar, may be misread,
        either way, [px].

    Raises
    ------
    DesignError
        Too few points at the edge, or an edge that is no rounded one.
    """
    windows = _windows(frame, name)
    chosen = _chosen(windows)
    window = windows[chosen]
    near = [w.fit.radius for w in windows[: chosen + 1] if w.angle >= 0.6 * window.angle - 1e-9]
    pixel, radius = bar.pixel, window.fit.radius
    rectangular = reading / math.sqrt(3.0)
    parts = {
        "scatter of the points": pixel * window.fit.uncertainty,
        "choice of the window": pixel * 0.5 * (max(near) - min(near)) / math.sqrt(3.0),
        "place of the outline": pixel * rectangular,
        "scale bar": pixel * radius * math.sqrt(2.0) * rectangular / bar.pixels,
    }
    return MeasuredEdge(frame, bar, window, tuple(windows), pixel * radius, parts)


def _windows(frame: ApexFrame, name: str) -> list[Window]:
    """Fits in windows of rising half angle, as far as the outline reaches."""
    points = frame.points
    guess = _first_radius(frame)
    found: list[Window] = []
    for angle in _ANGLES:
        fit = _in_window(points, frame.apex, guess, angle)
        if fit is None:
            continue
        found.append(Window(angle, fit))
        guess = fit.radius
    if not found:
        near = int(np.count_nonzero(-points[:, 1] <= guess * (1.0 - math.cos(_ANGLES[-1]))))
        raise DesignError(
            f"{name}: only {near} points lie on the rounded edge, fewer than the {_FEWEST} needed "
            "for its radius; take a picture at a higher magnification, or trace more densely"
        )
    return found


def _first_radius(frame: ApexFrame) -> float:
    """Depth at which the outline is half as wide as deep, which for a circle is its radius."""
    points = frame.points
    half = np.abs(points[:, 0])
    depth = -points[:, 1]
    order = np.argsort(depth)
    ratio = half[order] / np.maximum(depth[order], 1e-9)
    below = np.flatnonzero((ratio < 1.0) & (depth[order] > 2.0))
    if len(below):
        return max(float(depth[order][below[0]]), 2.0)
    try:
        return fit_circle(points).radius
    except DesignError:
        return max(frame.depth, 2.0)


def _in_window(points: FloatArray, apex: int, radius: float, angle: float) -> CircleFit | None:
    """A fit whose window follows its own circle; None where points are few or do not reach."""
    centre = np.array([0.0, -radius])
    fit: CircleFit | None = None
    chosen: tuple[int, int] | None = None
    for _ in range(25):
        offset = points - centre
        polar = np.arctan2(offset[:, 0], offset[:, 1])
        outside = np.abs(polar) > angle
        before = np.flatnonzero(outside[: apex + 1])
        after = np.flatnonzero(outside[apex:])
        if len(before) == 0 or len(after) == 0:
            return None
        first, last = int(before[-1]) + 1, apex + int(after[0]) - 1
        if last - first + 1 < _FEWEST:
            return None
        if chosen == (first, last):
            return fit
        chosen = first, last
        try:
            fit = fit_circle(points[first : last + 1])
        except DesignError:
            return None
        centre = np.array(fit.centre)
        if centre[1] >= points[apex, 1]:
            return None
    return fit


def _chosen(windows: list[Window]) -> int:
    """The widest window whose interval meets those of all narrower ones."""
    low, high = -math.inf, math.inf
    best = 0
    for k, window in enumerate(windows):
        reach = _OVERLAP * window.fit.uncertainty
        low = max(low, window.fit.radius - reach)
        high = min(high, window.fit.radius + reach)
        if low > high:
            break
        best = k
    return best
