"""Charts of an assessment: onset band, field along the edge, scans and the error budget."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.quantities.quantity import FIELD, LENGTH, VOLTAGE
from conegap.solver.common.display_units import axis_unit, field_text, voltage_text
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    HAIR,
    INK,
    LIMIT,
    SOFT,
    legend_below,
    pretty,
    quiet_axes,
)
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.figures.label_placer import Placer
from conegap.solver.figures.voltage_lines import mark_voltages, voltage_span
from conegap.solver.onset.surface_line import SurfaceLine, lines_from_edge

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.assessment import Assessment
    from conegap.solver.studies.budget import Budget
    from conegap.solver.studies.scan import Scan

__all__ = [
    "chart_budget",
    "chart_edge_field",
    "chart_onset_band",
    "chart_scan",
    "wrapped_label",
]


# Letters of the voltage axis, larger than others so that a telephone shows them, [pt].
_AXIS_LETTERS = 9.5
# Room between words in a row, about a letter, [pt].
_BESIDE = 8.0
Dashes = str | tuple[int, tuple[float, ...]]


def chart_onset_band(axes: Axes, assessment: Assessment) -> Axes:
    """The onset with its band on a voltage axis, beside what the design and the supply give."""
    design = assessment.design
    limit = design.supply.voltage_limit
    marks: list[tuple[float, str, str, Dashes]] = [
        (assessment.emission.first.voltage, _onset_words(assessment), ACCENT, "-"),
        (design.voltage, f"design {voltage_text(design.voltage)}", INK, (0, (4, 2))),
    ]
    if limit is not None:
        marks.append((limit, f"supply limit {voltage_text(limit)}", LIMIT, (0, (1, 1.2))))
    unit = axis_unit(VOLTAGE, max(v for v, *_ in marks))
    largest = max(*(v for v, *_ in marks), assessment.emission.first.high) / unit.size
    least = min(*(v for v, *_ in marks), assessment.emission.first.low) / unit.size
    # Room at the left for the words over the band.
    axes.set_xlim(max(least - 0.3 * (largest - least), 0.0), largest + 0.1 * (largest - least))
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"emitter minus accelerator [{unit.name}]", fontsize=_AXIS_LETTERS)
    axes.tick_params(labelsize=_AXIS_LETTERS)
    low, high = (
        assessment.emission.first.low / unit.size,
        assessment.emission.first.high / unit.size,
    )
    axes.axvspan(low, high, ymin=0.08, ymax=0.5, fc=BAND, ec=ACCENT, lw=0.8, zorder=2)
    placer = Placer(axes, 1.0)
    marks.sort(key=lambda mark: mark[0])
    # The widest line of each, in the axes' unit, with room beside it.
    widths = [
        max(placer.width(line, size=_AXIS_LETTERS) for line in words.split("\n"))
        + placer.length(_BESIDE)
        for _, words, *_ in marks
    ]
    places = [value / unit.size for value, *_ in marks]
    spread = _side_by_side(places, widths, axes.get_xlim())
    for x, middle, width, (_, words, colour, dashes) in zip(
        places, spread, widths, marks, strict=True
    ):
        top = 0.56 if colour == ACCENT else 0.5
        axes.plot([x, x], [0.0, top], color=colour, lw=1.8, ls=dashes, zorder=4)
        axes.text(
            middle, 0.6, words, fontsize=_AXIS_LETTERS, color=colour, ha="center", va="bottom",
            linespacing=1.15, zorder=9,
        )  # fmt: skip
        reach = 0.5 * (width - placer.length(_BESIDE))
        near = min(max(x, middle - reach), middle + reach)
        if near != x:
            axes.plot([x, near], [top, 0.6], color=colour, lw=0.6, zorder=3)
    return axes


def _side_by_side(
    places: Sequence[float], widths: Sequence[float], frame: tuple[float, float]
) -> list[float]:
    """Middles of words in one row, over their ascending places as far as their neighbours and the
    frame allow."""
    middles: list[float] = []
    free = frame[0]
    for place, width in zip(places, widths, strict=True):
        middles.append(max(place, free + 0.5 * width))
        free = middles[-1] + 0.5 * width
    free = frame[1]
    for k in reversed(range(len(middles))):
        middles[k] = min(middles[k], free - 0.5 * widths[k])
        free = middles[k] - 0.5 * widths[k]
    return middles


def _onset_words(assessment: Assessment) -> str:
    low, high = (
        voltage_text(assessment.emission.first.low),
        voltage_text(assessment.emission.first.high),
    )
    low = low.partition(" ")[0] if low.partition(" ")[2] == high.partition(" ")[2] else low
    return f"onset {voltage_text(assessment.emission.first.voltage)}\n({low} to {high})"


def chart_edge_field(axes: Axes, assessment: Assessment) -> Axes:
    """Field along the drawn surface from the apex, at its rigid onset and as designed."""
    design, solution, onset = assessment.design, assessment.solution, assessment.onset.rigid
    working = electrode_voltages(design, solution.electrodes)
    share = onset.voltage / design.voltage
    ramped = electrode_voltages(design, solution.electrodes, share)
    found: list[tuple[SurfaceLine, Mapping[str, float]]] = [
        (line, ramped) for line in lines_from_edge(solution, onset, ramped)
    ]
    found += [(line, working) for line in lines_from_edge(solution, onset, working)[:1]]
    largest = max(float(line.field.max()) for line, _ in found)
    unit = axis_unit(FIELD, largest)
    farthest = max(float(line.distance.max()) for line, _ in found)
    nearest = min(float(line.distance[1]) for line, _ in found)
    lengths = axis_unit(LENGTH, (nearest * farthest) ** 0.5)
    looks = iter([("-", ACCENT, 1.8), ((0, (4, 1.5)), ACCENT, 1.5), ((0, (1, 1)), ACCENT, 1.5)])
    for line, at in found:
        ok = line.field > 0.0
        place = np.maximum(line.distance, nearest)[ok] / lengths.size
        if at is ramped:
            dashes, colour, width = next(looks, ("-", SOFT, 1.0))
            words = f"at rigid onset, {voltage_text(onset.voltage)}: {line.name}"
        else:
            dashes, colour, width = "-", INK, 0.9
            words = f"at the design's voltages, {voltage_text(design.voltage)}"
        axes.plot(
            place,
            line.field[ok] / unit.size,
            ls=dashes,
            color=colour,
            lw=width,
            label=words,
            zorder=4,
        )
    axes.axhline(
        onset.balance_field / unit.size,
        color=LIMIT,
        lw=1.1,
        ls=(0, (5, 2, 1, 2)),
        zorder=3,
        label=f"balance with surface tension, {field_text(onset.balance_field)}",
    )
    axes.set_xscale("log")
    axes.set_yscale("log")
    low = min(float(line.field[line.field > 0.0].min()) for line, _ in found)
    axes.set_ylim(max(0.6 * low, 2e-3 * largest) / unit.size, 1.6 * largest / unit.size)
    _log_ticks(axes)
    axes.set_xlabel(f"distance from the apex along the surface [{lengths.name}]")
    axes.set_ylabel(f"field [{unit.name}]")
    quiet_axes(axes)
    return legend_below(axes, columns=1, handle=2.6, left=True)


def _log_ticks(axes: Axes) -> None:
    """Plain numbers at 1, 2, 5 of every decade where few decades are shown, else at each decade."""
    from matplotlib.ticker import LogLocator

    for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        few = high < 60.0 * low
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if few else (1.0,), numticks=20))
        axis.set_major_formatter(lambda v, _: f"{v:g}")
        axis.set_minor_formatter(lambda v, _: "")


def chart_scan(axes: Axes, scan: Scan, assessment: Assessment) -> Axes:
    """Onset over one quantity with the drawn value, its tolerance and the supply limit.

    Parameters
    ----------
    assessment : Assessment
        Of the design that was scanned.
    """
    design = assessment.design
    dimension = design.dimension(scan.key)
    across = axis_unit(dimension.kind, float(np.abs(scan.values).max()), scan.unit)
    free_values, free_voltages = scan.free
    shown = np.concatenate([scan.voltages, free_voltages, [assessment.onset.voltage]])
    span = voltage_span(float(shown.min()), float(shown.max()), design)
    up = axis_unit(VOLTAGE, span[1])
    place = (scan.values - across.offset) / across.size
    drawn = (dimension.value - across.offset) / across.size
    if dimension.tolerance:
        half = dimension.tolerance / across.size
        axes.axvspan(
            drawn - half,
            drawn + half,
            fc=BAND,
            alpha=0.55,
            lw=0.0,
            zorder=1,
            label=f"tolerance ± {pretty(dimension.tolerance_text)}",
        )
    axes.axvline(drawn, color=SOFT, lw=0.9, zorder=2, label=f"drawn {pretty(dimension.text)}")
    axes.plot(
        place,
        scan.voltages / up.size,
        color=ACCENT,
        marker="o",
        ms=3.5,
        zorder=4,
        label="rigid surface",
    )
    if len(free_values):
        axes.plot(
            (free_values - across.offset) / across.size,
            free_voltages / up.size,
            color=INK,
            lw=1.3,
            marker="D",
            ms=3.5,
            zorder=5,
            label="free surface",
        )
    elif assessment.onset.meniscus is not None:
        axes.plot(
            [drawn],
            [assessment.onset.modes[0][1] / up.size],
            ls="none",
            marker="D",
            ms=5.5,
            color=LIMIT,
            zorder=5,
            label="free surface, as drawn",
        )
    mark_voltages(axes.axhline, design, up, span=span, zorder=3.0)
    axes.set_ylim(span[0] / up.size, span[1] / up.size)
    axes.set_xlabel(f"{scan.label} [{across.name}]")
    axes.set_ylabel(f"onset voltage [{up.name}]")
    quiet_axes(axes)
    return legend_below(axes)


def chart_budget(axes: Axes, budget: Budget, voltage: float) -> Axes:
    """Contributions to the uncertainty of the onset, downward and upward.

    Parameters
    ----------
    voltage : float
        Onset, [V].
    """
    lines = [line for line in budget.contributions if line.size >= 5e-6][:10]
    names = [wrapped_label(pretty(line.label)) for line in lines]
    rows = np.arange(len(lines), 0, -1, dtype=float)
    down = np.array([100.0 * line.down for line in lines])
    up = np.array([100.0 * line.up for line in lines])
    axes.barh(rows, -down, height=0.62, fc=BAND, ec=ACCENT, lw=0.7, zorder=3, hatch="////")
    axes.barh(rows, up, height=0.62, fc=BAND, ec=ACCENT, lw=0.7, zorder=3)
    axes.barh([-0.2], [-100.0 * budget.down], height=0.75, fc=ACCENT, ec=INK, lw=0.7, zorder=3)
    axes.barh([-0.2], [100.0 * budget.up], height=0.75, fc=ACCENT, ec=INK, lw=0.7, zorder=3)
    largest = 100.0 * max(budget.down, budget.up, 1e-6)
    axes.set_xlim(-1.55 * largest, 1.55 * largest)
    axes.set_ylim(-0.8, len(lines) + 0.7)
    axes.set_yticks([*rows, -0.2], [*names, "all together, k = 2"])
    axes.tick_params(axis="y", length=0.0)
    axes.axvline(0.0, color=INK, lw=0.9, zorder=4)
    axes.axhline(0.45, color=HAIR, lw=0.7)
    axes.spines["left"].set_visible(False)
    pad = 0.03 * largest
    for row, low, high in zip(
        [*rows, -0.2], [*down, 100.0 * budget.down], [*up, 100.0 * budget.up], strict=True
    ):
        for x, words, side in (
            (-low - pad, _signed("−", low), "right"),
            (high + pad, _signed("+", high), "left"),
        ):
            axes.text(x, row, words, ha=side, va="center", fontsize=7, color=INK)
    axes.set_xlabel(f"shift of the onset [% of {voltage_text(voltage)}]")
    axes.xaxis.set_major_formatter(lambda v, _: f"{v:g}".replace("-", "−"))
    axes.grid(True, axis="x")
    return axes


def wrapped_label(label: str) -> str:
    """A label in short lines; a value with its tolerance stays on one.

    Parameters
    ----------
    label : str
    """
    head, sign, tolerance = label.partition(" ± ")
    words = head.rsplit(" ", 2 if not head.endswith("°") else 1)
    if not sign:
        return textwrap.fill(label, 27)
    value = "\u00a0".join(words[1:])
    kept = tolerance.replace(" ", "\u00a0")
    return textwrap.fill(f"{words[0]} {value}\u00a0±\u00a0{kept}", 27)


def _signed(sign: str, value: float) -> str:
    """A size with two significant digits behind its sign; 0 without one."""
    return "0" if value < 5e-4 else sign + f"{value:#.2g}".rstrip(".")
