"""Charts of the third dimension: screening, classes of tips, firing order, ends of a slit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.quantity import LENGTH, VOLTAGE
from conegap.solver.common.display_units import axis_unit, length_words, voltage_text
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    HAIR,
    INK,
    LIMIT,
    METAL,
    SOFT,
    legend_below,
    quiet_axes,
)
from conegap.solver.field3d.slit_end import ALLOWED_FACTOR, EndPoint, SlitEnd
from conegap.solver.figures.label_placer import Place, Placer
from conegap.solver.studies.firing_order import Firing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.arrays.sector_assessment import SectorAssessment

__all__ = [
    "chart_end_factor",
    "chart_firing",
    "chart_firing_order",
    "chart_lip",
    "chart_screening",
    "chart_tip_classes",
]

# More numbers do not fit beside their marks.
_MOST_NUMBERED = 36
# Dashes of the design's line and dots of the supply's, told apart without colour, [pt].
_DESIGN = (0, (4, 2))
# Dots, as above.
_SUPPLY = (0, (1, 1.2))


def chart_screening(axes: Axes, sector: SectorAssessment, pitch: float) -> Axes:
    """Field of the most screened tip over that of a lone one, over pitch over height.

    Parameters
    ----------
    pitch : float
        As drawn, [m].
    """
    found = sector.screening
    axes.axhline(1.0, color=SOFT, lw=0.9, ls=_DESIGN, label="a tip alone", zorder=2)
    if found.points:
        ratio = [point.pitch / found.height for point in found.points]
        share = [point.share for point in found.points]
        axes.plot(
            ratio, share, color=ACCENT, marker="o", ms=3.8, zorder=4, label="other pitches, solved"
        )
    drawn = pitch / found.height
    several = found.strongest - found.weakest > 1e-3
    which = "weakest tip as drawn" if several else "as drawn"
    axes.plot(
        [drawn],
        [found.weakest],
        ls="none",
        marker="D",
        ms=6.5,
        mfc=BAND,
        mec=INK,
        zorder=5,
        label=f"{which}: {found.weakest:.3f} at {drawn:.3g}",
    )
    if several:
        axes.plot(
            [drawn],
            [found.strongest],
            ls="none",
            marker="^",
            ms=6.0,
            mfc=METAL,
            mec=INK,
            zorder=5,
            label=f"strongest tip as drawn: {found.strongest:.3f}",
        )
    lowest = min([found.weakest, *(point.share for point in found.points)])
    axes.set_ylim(max(0.0, lowest - 0.25 * (1.04 - lowest)), 1.04)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("pitch over height of the tips [-]")
    axes.set_ylabel("field over that of a tip alone [-]")
    quiet_axes(axes)
    axes.legend(loc="lower right")
    return axes


def chart_tip_classes(axes: Axes, sector: SectorAssessment, design: Design) -> Axes:
    """Onset of each class of tips, one line each, beside the voltage of the design."""
    classes = sector.tip_voltages()
    voltages = np.array([voltage for *_, voltage in classes])
    limit = design.supply.voltage_limit
    shown = [*voltages.tolist(), design.voltage]
    if limit is not None and limit < 1.4 * max(shown):
        shown.append(limit)
    low, high = min(shown), max(shown)
    unit = axis_unit(VOLTAGE, high)
    rows = np.arange(len(classes), 0, -1, dtype=float)
    span = high - low
    left = max(0.0, low - 0.25 * span)
    axes.set_xlim(left / unit.size, (high + 0.3 * span) / unit.size)
    axes.set_ylim(0.4, len(classes) + 0.9)
    axes.hlines(rows, left / unit.size, voltages / unit.size, color=HAIR, lw=1.0, zorder=2)
    axes.plot(voltages / unit.size, rows, ls="none", marker="o", ms=6.0, color=ACCENT, zorder=4)
    for row, (_, _, share, voltage) in zip(rows, classes, strict=True):
        axes.annotate(
            f"{voltage_text(voltage)}, field {100.0 * share:.1f} %",
            (voltage / unit.size, row),
            xytext=(6.0, 5.0),
            textcoords="offset points",
            fontsize=6.8,
            color=INK,
        )
    axes.axvline(design.voltage / unit.size, color=INK, lw=1.2, ls=_DESIGN, zorder=3)
    axes.annotate(
        f"design {voltage_text(design.voltage)}",
        (design.voltage / unit.size, 0.4),
        xytext=(-4.0, 3.0),
        textcoords="offset points",
        ha="right",
        fontsize=7.0,
    )
    if limit is not None and limit in shown:
        axes.axvline(limit / unit.size, color=LIMIT, lw=1.3, ls=_SUPPLY, zorder=3)
    axes.set_yticks(rows, [f"{name} ({members}×)" for name, members, *_ in classes])
    axes.tick_params(axis="y", length=0.0)
    axes.set_xlabel(f"onset, emitter minus accelerator [{unit.name}]")
    axes.grid(True, axis="x")
    return axes


def chart_firing(axes: Axes, firing: Firing, design: Design) -> Axes:
    """Fraction of the tips that fire against voltage, with the band of the sampled crowns.

    Parameters
    ----------
    design : Design
        Gives the design's voltage and the limit of the supply.
    """
    limit = design.supply.voltage_limit
    first, last = float(firing.voltages[0]), float(firing.voltages[-1])
    span = max(last - first, 1e-3 * last)
    high = max(last + 0.15 * span, design.voltage + 0.1 * span)
    if limit is not None and limit < last + 2.0 * span:
        high = max(high, limit + 0.1 * span)
    low = min(first - 0.15 * span, design.voltage - 0.1 * span)
    unit = axis_unit(VOLTAGE, high)
    grid = np.concatenate([[low], firing.voltages, [high]]) / unit.size
    share = np.column_stack([np.zeros(3), firing.fraction, np.ones(3)]) * 100.0
    axes.fill_between(
        grid, share[0], share[2], fc=BAND, lw=0.0, zorder=2, label="5 to 95 % of the crowns"
    )
    axes.plot(grid, share[1], color=ACCENT, lw=1.8, zorder=4, label="mean of the crowns")
    ours = np.sort(firing.example)
    steps = np.concatenate([[low], ours, [high]]) / unit.size
    lit = np.concatenate([np.arange(len(ours) + 1), [len(ours)]]) / len(ours) * 100.0
    axes.step(steps, lit, where="post", color=INK, lw=0.8, zorder=5, label="one crown at random")
    axes.axvline(
        design.voltage / unit.size,
        color=INK,
        lw=1.2,
        ls=_DESIGN,
        zorder=3,
        label=f"design {voltage_text(design.voltage)}",
    )
    if limit is not None:
        inside = limit <= high
        words = f"supply limit {voltage_text(limit)}"
        axes.plot(
            [limit / unit.size] * 2 if inside else [],
            [0.0, 100.0] if inside else [],
            color=LIMIT,
            lw=1.3,
            ls=_SUPPLY,
            label=words if inside else f"{words}, off the chart",
        )
    axes.set_xlim(low / unit.size, high / unit.size)
    axes.set_ylim(0.0, 103.0)
    axes.set_xlabel(f"emitter minus accelerator [{unit.name}]")
    axes.set_ylabel("tips that fire [%]")
    quiet_axes(axes)
    return legend_below(axes)


def chart_firing_order(axes: Axes, firing: Firing) -> Axes:
    """Onset of every tip round the ring of one crown, with its place in the order."""
    count = len(firing.example)
    unit = axis_unit(VOLTAGE, float(firing.example.max()))
    values = firing.example / unit.size
    low, high = float(values.min()), float(values.max())
    span = max(high - low, 1e-3 * high)
    base = low - 0.35 * span
    numbers = np.arange(1, count + 1)
    place = np.empty(count, dtype=int)
    place[np.argsort(firing.example)] = numbers
    early = place <= max(1, count // 4)
    axes.vlines(numbers, base, values, color=HAIR, lw=1.0, zorder=2)
    for chosen, face in ((early, ACCENT), (~early, BAND)):
        axes.plot(
            numbers[chosen], values[chosen], "o", ms=5.0, mfc=face, mec=INK, mew=0.7, zorder=3
        )
    if count <= _MOST_NUMBERED:
        for number, value, rank in zip(range(1, count + 1), values, place, strict=True):
            axes.text(
                number, value + 0.045 * span, str(rank), ha="center", va="bottom", fontsize=6.2
            )
    axes.set_ylim(base, high + 0.14 * span)
    axes.set_xlim(0.3, count + 0.7)
    if count <= _MOST_NUMBERED:
        axes.set_xticks(numbers[:: 1 if count <= 24 else 2])
        axes.tick_params(axis="x", labelsize=6.5)
    axes.set_xlabel("number of the tip round the ring, as in the plan")
    axes.set_ylabel(f"onset [{unit.name}]")
    axes.grid(True, axis="y")
    return axes


def chart_lip(axes: Axes, end: SlitEnd, window: tuple[float, float] | None = None) -> Axes:
    """Field along the crest of the lips over that in the middle, with the end drawn below.

    Parameters
    ----------
    window : tuple of float or None
        First and last distance shown, [m]; everything when left out.
    """
    low, high = window or (float(end.along[0]), float(end.along[-1]))
    unit = axis_unit(LENGTH, high - low)
    place = end.along / unit.size
    axes.axhline(
        ALLOWED_FACTOR, color=LIMIT, lw=1.2, ls=_SUPPLY, zorder=2, label=f"allowed {ALLOWED_FACTOR}"
    )
    # Of an assumed end one rough model stands for the true edge.
    edge = "rough model" if end.assumed else "true edge"
    axes.plot(place, end.share, color=ACCENT, lw=1.8, zorder=4, label=edge)
    dashes = ((0, (5, 1.5)), (0, (1.5, 1.2)))
    for model, look in zip(() if end.assumed else end.models, dashes, strict=False):
        axes.plot(
            model.along / unit.size,
            model.share,
            color=SOFT,
            lw=0.9,
            ls=look,
            zorder=3,
            label=f"modelled edge R {length_words(float(f'{model.radius:.2g}'))}",
        )
    axes.plot(
        [end.place / unit.size],
        [end.factor],
        ls="none",
        marker="D",
        ms=6.0,
        mfc=BAND,
        mec=INK,
        zorder=5,
        label=f"greatest {end.factor:.3f} ± {end.error:.3f}",
    )
    shown = end.share[(end.along >= low) & (end.along <= high)]
    least = max(0.0, np.floor(10.0 * (float(shown.min()) - 0.02)) / 10.0)
    highest = max(float(shown.max()), ALLOWED_FACTOR)
    top = highest + 0.06 * (highest - least)
    bottom = least - 0.4 * (top - least)
    axes.set_ylim(bottom, top)
    axes.set_xlim(low / unit.size, high / unit.size)
    _blade_below(axes, end, unit.size, bottom, least - 0.03 * (top - least))
    axes.axvline(0.0, color=SOFT, lw=0.7, ls=(0, (9, 2, 1.5, 2)), zorder=1)
    ticks = [tick for tick in axes.get_yticks() if least - 1e-9 <= tick <= top]
    axes.set_yticks(ticks)
    axes.set_xlabel(f"along the crest from the beginning of the rounding [{unit.name}]")
    axes.set_ylabel("field over that in the middle [-]")
    quiet_axes(axes)
    return legend_below(axes)


def _blade_below(axes: Axes, end: SlitEnd, unit: float, bottom: float, top: float) -> None:
    """Side view of the crest under the curve, every point below its own distance along it."""
    angle = np.clip(end.along / end.end_radius, 0.0, np.pi / 2.0)
    drop = end.end_radius * (1.0 - np.cos(angle))
    deep = max(float(drop.max()), 1e-12)
    level = top + (bottom - top) * 0.9 * drop / deep
    axes.fill_between(
        end.along / unit, bottom, level, fc=METAL, ec=INK, lw=0.9, zorder=2, hatch="////"
    )
    middle = 0.55 * float(axes.get_xlim()[0])
    axes.text(
        middle,
        0.5 * (bottom + top),
        "blade, unrolled",
        ha="center",
        va="center",
        fontsize=7,
        bbox={"boxstyle": "square,pad=0.15", "fc": "#ffffff", "ec": "none"},
        zorder=6,
    )


def chart_end_factor(
    axes: Axes, points: Sequence[EndPoint], drawn: float | None, what: str
) -> Axes:
    """End factor over the end radius or over the overhang of the slot, with what is allowed.

    Parameters
    ----------
    points : sequence of EndPoint
        Rising.
    drawn : float or None
        Value as drawn, [m].
    what : str
        Words for the horizontal axis.
    """
    unit = axis_unit(LENGTH, max(point.value for point in points))
    values = np.array([point.value for point in points]) / unit.size
    factors = np.array([point.factor for point in points])
    axes.plot(values, factors, color=ACCENT, marker="o", ms=3.8, zorder=4)
    axes.axhline(ALLOWED_FACTOR, color=LIMIT, lw=1.2, ls=_SUPPLY, zorder=2)
    axes.set_ylim(min(0.98, factors.min() - 0.01), max(1.1, factors.max() + 0.03))
    axes.set_xlim(left=0.0)
    if drawn is not None:
        axes.axvline(drawn / unit.size, color=SOFT, lw=0.9, zorder=1)
    axes.set_xlabel(f"{what} [{unit.name}]")
    axes.set_ylabel("end factor [-]")
    quiet_axes(axes)
    placer = Placer(axes, 1.0)
    right = axes.get_xlim()[1]
    spot: list[Place] = [(right, ALLOWED_FACTOR + s, "right", "bottom") for s in (0.003,)]
    placer.text(f"allowed {ALLOWED_FACTOR}", spot, colour=LIMIT, paper=False)
    if drawn is not None:
        high = axes.get_ylim()[1]
        sides: list[Place] = [
            (drawn / unit.size + 0.01 * right, high, "left", "top"),
            (drawn / unit.size - 0.01 * right, high, "right", "top"),
        ]
        placer.text("drawn", sides, colour=SOFT, paper=False)
    return axes
