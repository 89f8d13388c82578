"""The tornado of a stack-up: the onset at both ends of each tolerance, widest first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import percent, voltage_text
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    HAIR,
    INK,
    LIMIT,
    PAPER,
    SOFT,
    legend_below,
    pretty,
)
from conegap.solver.figures.charts import wrapped_label
from conegap.solver.studies.tolerance import ToleranceStudy

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["chart_tornado", "tornado_size"]

# Lines that a page has room for.
_MOST = 12
# Shift below which a line is left out: half of the last digit printed, 0.001 %.
_SMALLEST = 5e-6
# Paper behind a text, so that bars do not run through its letters.
_PLATE = {"fc": PAPER, "ec": "none", "pad": 1.5}


def tornado_size(study: ToleranceStudy) -> tuple[float, float]:
    """Width and height of the figure, [in]."""
    rows = sum(max(abs(s.low), abs(s.high)) >= _SMALLEST for s in study.shares)
    return 6.4, 1.6 + 0.34 * min(rows, _MOST)


def chart_tornado(axes: Axes, study: ToleranceStudy, design: Design) -> Axes:
    """Signed shifts of the onset per tolerance, the share of each, and the sampled band."""
    lines = [s for s in study.shares if max(abs(s.low), abs(s.high)) >= _SMALLEST][:_MOST]
    rows = np.arange(len(lines), 0, -1, dtype=float)
    low = np.array([100.0 * s.low for s in lines])
    high = np.array([100.0 * s.high for s in lines])
    axes.barh(
        rows,
        low,
        height=0.6,
        fc=BAND,
        ec=ACCENT,
        lw=0.7,
        hatch="////",
        zorder=3,
        label="dimension at its lower end",
    )
    axes.barh(
        rows, high, height=0.6, fc=BAND, ec=ACCENT, lw=0.7, zorder=3, label="at its upper end"
    )
    onset = study.nominal.voltage
    band = [100.0 * (v / onset - 1.0) for v in study.band()]
    axes.barh([-0.2], [band[1] - band[0]], left=band[0], height=0.7, fc=ACCENT, ec=INK, lw=0.7)
    largest = max(float(np.abs([*low, *high, *band]).max()), 1e-3)
    axes.set_xlim(-1.35 * largest, 1.75 * largest)
    axes.set_ylim(-0.9, len(lines) + 1.25)
    names = [wrapped_label(pretty(s.label)) for s in lines]
    axes.set_yticks([*rows, -0.2], [*names, "sampled, 5 % to 95 %"])
    axes.tick_params(axis="y", length=0.0)
    axes.spines["left"].set_visible(False)
    axes.axvline(0.0, color=INK, lw=0.9, zorder=4)
    axes.axhline(0.4, color=HAIR, lw=0.7)
    pad = 0.025 * largest
    for row, one, other in zip([*rows, -0.2], [*low, band[0]], [*high, band[1]], strict=True):
        for x, side in ((min(one, other, 0.0), "right"), (max(one, other, 0.0), "left")):
            if abs(x) < 5e-4:
                continue
            sign = "−" if x < 0.0 else "+"
            words = sign + f"{abs(x):#.2g}".rstrip(".")
            shift = -pad if side == "right" else pad
            axes.text(x + shift, row, words, ha=side, va="center", fontsize=7, color=INK, zorder=6)
    edge = 1.72 * largest
    axes.text(
        edge,
        len(lines) + 0.62,
        "share of variance",
        ha="right",
        va="bottom",
        fontsize=7,
        color=SOFT,
    )
    for row, line in zip(rows, lines, strict=True):
        words = percent(line.share) if line.share >= 1e-3 else "below 0.1 %"
        axes.text(
            edge, row, words, ha="right", va="center", fontsize=7, color=SOFT, bbox=_PLATE, zorder=5
        )
    _limit(axes, study, design)
    axes.set_xlabel(f"shift of the onset [% of {voltage_text(onset)}, {study.nominal.mode}]")
    axes.xaxis.set_major_formatter(lambda v, _: f"{v:g}".replace("-", "−"))
    axes.grid(True, axis="x")
    return legend_below(axes)


def _limit(axes: Axes, study: ToleranceStudy, design: Design) -> None:
    """The supply criterion, where it lies within the picture."""
    limit = design.supply.voltage_limit
    if limit is None:
        return
    voltage = design.criteria.onset_fraction_of_supply * limit
    place = 100.0 * (voltage / study.nominal.voltage - 1.0)
    left, right = axes.get_xlim()
    if left < place < right:
        axes.axvline(
            place,
            color=LIMIT,
            lw=1.3,
            ls=(0, (1, 1.2)),
            zorder=2,
            label=f"supply criterion {voltage_text(voltage)}",
        )
