"""Every way in which a gap can begin to emit, on one voltage axis."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conegap.geometries.quantities.quantity import VOLTAGE
from conegap.solver.common.display_units import axis_unit, voltage_text
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    INK,
    PAPER,
    SOFT,
    legend_below,
    quiet_axes,
)
from conegap.solver.figures.voltage_lines import mark_voltages, voltage_span

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.assessment import Assessment

__all__ = ["chart_instabilities", "instabilities_height"]


def chart_instabilities(axes: Axes, assessment: Assessment) -> Axes:
    """Voltage and band of every instability, the lowest on top, beside design and supply."""
    found = assessment.emission.instabilities
    design = assessment.design
    span = voltage_span(min(one.low for one in found), max(one.high for one in found), design)
    unit = axis_unit(VOLTAGE, span[1])
    for k, one in enumerate(found):
        colour = ACCENT if k == 0 else SOFT
        axes.barh(
            k,
            (one.high - one.low) / unit.size,
            left=one.low / unit.size,
            height=0.46,
            fc=BAND,
            ec=colour,
            lw=0.8,
            zorder=2,
        )
        axes.plot([one.voltage / unit.size] * 2, [k - 0.3, k + 0.3], color=colour, lw=2.0, zorder=3)
        axes.annotate(
            f"{one.place}: {one.mode}, {voltage_text(one.voltage)} "
            f"({voltage_text(one.low)} to {voltage_text(one.high)})",
            (span[0] / unit.size, k - 0.36),
            xytext=(3.0, 0.0),
            textcoords="offset points",
            color=INK,
            va="bottom",
            zorder=5,
            bbox={"fc": PAPER, "ec": "none", "pad": 0.8},
        )
    mark_voltages(axes.axvline, design, unit, span=span)
    axes.set_xlim(span[0] / unit.size, span[1] / unit.size)
    axes.set_ylim(len(found) - 0.5, -0.9)
    axes.set_yticks([])
    axes.set_xlabel(f"emitter minus accelerator [{unit.name}]")
    quiet_axes(axes)
    axes.spines["left"].set_visible(False)
    return legend_below(axes)


def instabilities_height(assessment: Assessment) -> float:
    """Height of the chart, [inch]."""
    return 1.1 + 0.5 * len(assessment.emission.instabilities)
