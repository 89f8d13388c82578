"""A traced edge: outline, fitted circle and window, and the radius over the window."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.micrograph.measured_edge import MeasuredEdge
from conegap.geometries.quantities.quantity import LENGTH
from conegap.solver.common.display_units import axis_unit
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    HAIR,
    INK,
    LIMIT,
    METAL,
    SOFT,
    quiet_axes,
    style,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["trace_figure"]

# Width of the view in edge radii: the whole fitted circle and some of both flanks.
_REACH = 3.2


def trace_figure(edge: MeasuredEdge) -> Figure:
    """Outline and circle true to scale, and beside it what other windows would have given."""
    from matplotlib.figure import Figure

    with style():
        figure = Figure(figsize=(7.4, 3.9), layout="constrained")
        left, right = figure.subplots(1, 2, width_ratios=(1.15, 1.0))
        _outline(left, edge)
        _over_window(right, edge)
    return figure


def _outline(axes: Axes, edge: MeasuredEdge) -> None:
    """The points, the circle and the rays that bound its window."""
    unit = axis_unit(LENGTH, edge.radius)
    size = edge.bar.pixel / unit.size
    fit = edge.window.fit
    points = edge.frame.points * size
    x, z = (c * size for c in fit.centre)
    radius = fit.radius * size
    apex = z + radius
    axes.fill(points[:, 0], points[:, 1], fc=METAL, ec="none")
    polar = np.arctan2(points[:, 0] - x, points[:, 1] - z)
    inside = (np.abs(polar) <= edge.window.angle) & (points[:, 1] > z - radius)
    for some, colour, label in ((~inside, SOFT, "outline"), (inside, INK, "in the window")):
        axes.plot(*points[some].T, ls="none", marker="o", ms=2.2, color=colour, label=label)
    turn = np.linspace(0.0, 2.0 * math.pi, 361)
    axes.plot(
        x + radius * np.cos(turn), z + radius * np.sin(turn), color=ACCENT, lw=1.0, label="circle"
    )
    for side in (-1.0, 1.0):
        way = np.array([side * math.sin(edge.window.angle), math.cos(edge.window.angle)])
        axes.plot(
            [x, x + 1.25 * radius * way[0]], [z, z + 1.25 * radius * way[1]], ":", color=ACCENT
        )
    axes.plot([x], [z], "+", color=ACCENT, ms=6)
    low, high = edge.interval
    axes.set_title(
        f"R = {edge.radius / unit.size:.4g} {unit.name}, "
        f"{low / unit.size:.4g} to {high / unit.size:.4g} {unit.name}"
    )
    half = 0.5 * _REACH * radius
    axes.set_xlim(x - half, x + half)
    axes.set_ylim(apex - 0.75 * _REACH * radius, apex + 0.25 * _REACH * radius)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel(f"from the axis [{unit.name}]")
    axes.set_ylabel(f"height above the apex [{unit.name}]")
    axes.legend(loc="upper right", markerscale=2.0)


def _over_window(axes: Axes, edge: MeasuredEdge) -> None:
    """Radius with two standard uncertainties over the window's half angle."""
    unit = axis_unit(LENGTH, edge.radius)
    size = edge.bar.pixel / unit.size
    angle = np.array([math.degrees(w.angle) for w in edge.windows])
    radius = np.array([w.fit.radius for w in edge.windows]) * size
    reach = np.array([2.0 * w.fit.uncertainty for w in edge.windows]) * size
    low, high = (v / unit.size for v in edge.interval)
    quiet_axes(axes)
    axes.axhspan(low, high, fc=BAND, ec="none", label="interval, about 95 %")
    axes.errorbar(
        angle, radius, reach, color=INK, ecolor=SOFT, fmt="o", ms=3.5, capsize=2.5, label="fits"
    )
    mine = math.degrees(edge.window.angle)
    axes.plot(
        [mine], [edge.radius / unit.size], "D", color=LIMIT, ms=6, label="chosen window", zorder=4
    )
    axes.set_xlim(20.0, 80.0)
    span = max(float(np.ptp(np.append(radius, [low, high]))), 0.02 * float(radius.mean()))
    middle = 0.5 * (min(low, float(radius.min())) + max(high, float(radius.max())))
    axes.set_ylim(middle - 0.9 * span, middle + 1.3 * span)
    axes.axhline(edge.radius / unit.size, color=HAIR, lw=0.8)
    axes.set_xlabel("half angle of the window [°]")
    axes.set_ylabel(f"fitted radius [{unit.name}]")
    axes.set_title("Radius over the window")
    axes.legend(loc="upper right")
