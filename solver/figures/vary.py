"""Charts of a variation: a line over one quantity, a map over two."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.quantity import VOLTAGE
from conegap.solver.common.display_units import AxisUnit, axis_unit
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    INK,
    LIMIT,
    PAPER,
    SOFT,
    legend_below,
    pretty,
    quiet_axes,
)
from conegap.solver.figures.field_map import round_levels
from conegap.solver.figures.label_placer import Place, Placer
from conegap.solver.figures.voltage_lines import mark_voltages
from conegap.solver.studies.vary import Range, Variation

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["chart_variation"]


def chart_variation(axes: Axes, variation: Variation) -> Axes:
    """Onset over the quantities that were varied.

    Examples
    --------
    ``python -m conegap.validation.gallery.onset_over_gap`` charts a range of gaps.
    """
    if len(variation.ranges) == 1:
        return _line(axes, variation)
    return _map(axes, variation)


def _unit(one: Range) -> AxisUnit:
    return axis_unit(one.dimension.kind, float(np.abs(one.values).max()), one.dimension.unit)


def _scaled(one: Range) -> tuple[FloatArray, AxisUnit, float]:
    unit = _unit(one)
    drawn = (one.dimension.value - unit.offset) / unit.size
    return (one.values - unit.offset) / unit.size, unit, drawn


def _line(axes: Axes, variation: Variation) -> Axes:
    one = variation.ranges[0]
    values, unit, drawn = _scaled(one)
    design = variation.design
    limit = design.supply.voltage_limit
    voltages = variation.voltages
    highest = max(float(np.nanmax(voltages)), design.voltage, limit or 0.0)
    up = axis_unit(VOLTAGE, highest)
    if values[0] <= drawn <= values[-1]:
        axes.axvline(drawn, color=SOFT, lw=0.9, label=f"drawn {pretty(one.dimension.text)}")
    axes.plot(
        values,
        voltages / up.size,
        color=ACCENT,
        marker="o",
        ms=3.5,
        zorder=4,
        label=f"onset, {variation.mode}",
    )
    missing = np.isnan(voltages)
    if missing.any():
        axes.plot(
            values[missing],
            np.zeros(missing.sum()),
            ls="none",
            marker="x",
            ms=5,
            color=LIMIT,
            clip_on=False,
            zorder=5,
            label="no onset, see the table",
        )
    mark_voltages(axes.axhline, design, up)
    axes.set_ylim(0.0, 1.08 * highest / up.size)
    axes.set_xlabel(f"{one.dimension.label} [{unit.name}]")
    axes.set_ylabel(f"onset voltage [{up.name}]")
    quiet_axes(axes)
    return legend_below(axes)


def _map(axes: Axes, variation: Variation) -> Axes:
    """Lines of equal onset; the band between them grows darker with the voltage."""
    from matplotlib.colors import LinearSegmentedColormap

    first, second = variation.ranges
    x, x_unit, x_drawn = _scaled(first)
    y, y_unit, y_drawn = _scaled(second)
    voltages = np.ma.masked_invalid(variation.voltages.T)
    up = axis_unit(VOLTAGE, float(voltages.max()))
    shown = voltages / up.size
    low, high = float(shown.min()), float(shown.max())
    tints = LinearSegmentedColormap.from_list("conegap", [PAPER, BAND, ACCENT])
    axes.set_xlim(float(x[0]), float(x[-1]))
    axes.set_ylim(float(y[0]), float(y[-1]))
    axes.set_xlabel(f"{first.dimension.label} [{x_unit.name}]")
    axes.set_ylabel(f"{second.dimension.label} [{y_unit.name}]")
    placer = Placer(axes, 1.0)
    if high > low * (1.0 + 1e-9):
        levels = round_levels(low, high, 7)
        edges = np.unique(np.concatenate([[low], levels, [high]]))
        # The darkest tint is kept light enough for ink to read on it.
        axes.contourf(
            x,
            y,
            shown,
            levels=edges,
            cmap=tints,
            vmin=low,
            vmax=high + 0.9 * (high - low),
            zorder=1,
        )
        lines = axes.contour(x, y, shown, levels=levels, colors=[INK], linewidths=0.9, zorder=3)
        _label_lines(placer, levels, lines.allsegs)
    grid_x, grid_y = np.meshgrid(x, y)
    gone = np.ma.getmaskarray(voltages)
    axes.plot(
        grid_x[~gone],
        grid_y[~gone],
        ls="none",
        marker="o",
        ms=2.0,
        color=SOFT,
        clip_on=False,
        zorder=4,
    )
    axes.plot(
        grid_x[gone],
        grid_y[gone],
        ls="none",
        marker="x",
        ms=5.0,
        color=LIMIT,
        clip_on=False,
        zorder=4,
    )
    if x[0] <= x_drawn <= x[-1] and y[0] <= y_drawn <= y[-1]:
        axes.plot(
            [x_drawn],
            [y_drawn],
            ls="none",
            marker="D",
            ms=6,
            mfc=PAPER,
            mec=LIMIT,
            mew=1.5,
            zorder=6,
            clip_on=False,
        )
        dx, dy = 0.03 * (x[-1] - x[0]), 0.05 * (y[-1] - y[0])
        places: list[Place] = [
            (x_drawn + dx, y_drawn + dy, "left", "bottom"),
            (x_drawn + dx, y_drawn - dy, "left", "top"),
            (x_drawn - dx, y_drawn + dy, "right", "bottom"),
            (x_drawn - dx, y_drawn - dy, "right", "top"),
        ]
        placer.text("as drawn", places, colour=LIMIT)
    title = f"onset voltage, {variation.mode}, in {up.name}"
    axes.set_title(title, fontsize=8, fontweight="normal", color=SOFT)
    return axes


def _label_lines(
    placer: Placer, levels: FloatArray, segments: Sequence[Sequence[FloatArray]]
) -> None:
    """Write the voltage on the longest piece of each line, where there is room."""
    for level, pieces in zip(levels, segments, strict=True):
        long = max(pieces, key=len, default=np.empty((0, 2)))
        if len(long) < 2:
            continue
        steps = np.hypot(*np.diff(long / np.ptp(long, axis=0).max(), axis=0).T)
        s = np.concatenate([[0.0], np.cumsum(steps)])
        places: list[Place] = []
        for share in (0.5, 0.4, 0.6, 0.25, 0.75):
            x, y = (float(np.interp(share * s[-1], s, long[:, k])) for k in range(2))
            places.append((x, y, "center", "center"))
        placer.text_if_free(f"{level:g}", places, size=7.0)
