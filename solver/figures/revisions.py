"""Revisions of a design side by side: sections on one scale, and first emissions on one axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.quantity import LENGTH, VOLTAGE
from conegap.solver.common.display_units import axis_unit, length_words, voltage_text
from conegap.solver.common.style import (
    ACCENT,
    BAND,
    INK,
    LIMIT,
    PAPER,
    legend_below,
    quiet_axes,
    style,
)
from conegap.solver.figures.section_view import draw_bodies, set_window
from conegap.solver.figures.window import (
    Window,
    common_window,
    edge_window,
    electrodes_window,
    round_length,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from conegap.solver.comparison.revision import Revision

__all__ = ["chart_first_emissions", "first_emissions_height", "sections_figure"]

# Width of a revision's panel, the strip above it for its name, and that below for the bar, [in].
_PANEL, _STRIP, _BAR = 2.1, 0.24, 0.26
# A panel is no flatter and no taller than this, [in].
_LEAST, _MOST = 1.2, 3.6


def sections_figure(revisions: Sequence[Revision]) -> Figure | None:
    """The sections on one scale above their emitting edges on another, or None without any.

    Parameters
    ----------
    revisions : sequence of Revision
        One that was read without its design is left out.
    """
    from matplotlib.figure import Figure

    drawn = [(one.name, one.design.section()) for one in revisions if one.design is not None]
    if not drawn:
        return None
    windows = [
        common_window([electrodes_window(section) for _, section in drawn]),
        common_window([edge_window(section, section.edges[0]) for _, section in drawn]),
    ]
    heights = [min(max(_PANEL * w.height / w.width, _LEAST), _MOST) for w in windows]
    wide, tall = _PANEL * len(drawn), sum(heights) + 2.0 * (_STRIP + _BAR)
    with style():
        figure = Figure(figsize=(wide, tall))
        top = tall
        for window, height, what in zip(windows, heights, ("", ", edge"), strict=True):
            low = top - _STRIP - height
            for k, (name, section) in enumerate(drawn):
                left = (k + 0.04) / len(drawn)
                box = (left, low / tall, 0.92 / len(drawn), height / tall)
                width = _panel(figure.add_axes(box), section, window)
                where = (left, (top - 0.06) / tall)
                figure.text(*where, name + what, va="top", fontsize=8.0, weight="bold")
            _scale_bar(figure, 0.04 / len(drawn), low - 0.05, 0.92 * _PANEL / width)
            top = low - _BAR
    return figure


def _panel(axes: Axes, section: Section, window: Window) -> float:
    """Draw a section in a window; gives the width that is shown, [m]."""
    unit = axis_unit(LENGTH, window.width).size
    set_window(axes, window, unit, lanes=False)
    axes.set_axis_off()
    left, right = axes.get_xlim()
    low, high = axes.get_ylim()
    shown = Window(left * unit, right * unit, low * unit, high * unit)
    draw_bodies(axes, section, shown, unit)
    return shown.width


def _scale_bar(figure: Figure, left: float, below: float, scale: float) -> None:
    """A bar of a round length for a row of panels.

    Parameters
    ----------
    left : float
        Share of the figure's width, [-].
    below : float
        Height in the figure, [in].
    scale : float
        Of the drawing, [in/m].
    """
    from matplotlib.lines import Line2D

    wide, tall = (float(size) for size in figure.get_size_inches())
    length = round_length(0.3 * _PANEL / scale)
    right, height = left + length * scale / wide, below / tall
    figure.add_artist(Line2D([left, right], [height] * 2, color=INK, lw=2.2))
    words = f"{length_words(length)}, one scale for the row"
    figure.text(right + 0.05 / wide, height, words, va="center", fontsize=7.5)


def chart_first_emissions(axes: Axes, revisions: Sequence[Revision]) -> Axes:
    """First emission with its band of every revision, beside what its design and supply give.

    Parameters
    ----------
    revisions : sequence of Revision
        From top to bottom.
    """
    marks = [_marks(one) for one in revisions]
    highest = [float(one.first_emission["voltage_high_V"]) for one in revisions]
    largest = max(*highest, *(v for line in marks for v in line.values()))
    unit = axis_unit(VOLTAGE, largest)
    labels: set[str] = set()
    for k, (one, line) in enumerate(zip(revisions, marks, strict=True)):
        low, high = (
            float(one.first_emission[f"voltage_{end}_V"]) / unit.size for end in ("low", "high")
        )
        at = one.voltage / unit.size
        axes.barh(k, high - low, left=low, height=0.4, fc=BAND, ec=ACCENT, lw=0.8, zorder=2)
        axes.plot([at, at], [k - 0.27, k + 0.27], color=ACCENT, lw=2.0, zorder=4)
        for name, value in line.items():
            colour, dashes = _LOOKS[name]
            x = value / unit.size
            label = "_" if name in labels else name
            axes.plot([x, x], [k - 0.3, k + 0.3], color=colour, lw=1.5, ls=dashes, label=label)
            labels.add(name)
        axes.annotate(
            f"{one.name}: {voltage_text(one.voltage)}, {one.first_emission['place']}",
            (0.0, k - 0.32),
            xytext=(3.0, 0.0),
            textcoords="offset points",
            va="bottom",
            zorder=5,
            bbox={"fc": PAPER, "ec": "none", "pad": 0.8},
        )
    axes.set_xlim(0.0, 1.05 * largest / unit.size)
    axes.set_ylim(len(revisions) - 0.55, -0.85)
    axes.set_yticks([])
    axes.set_xlabel(f"emitter minus accelerator [{unit.name}]")
    quiet_axes(axes)
    axes.spines["left"].set_visible(False)
    return legend_below(axes) if labels else axes


_DESIGN, _SUPPLY = "voltage of the design", "limit of the supply"
_LOOKS: dict[str, tuple[str, tuple[int, tuple[float, ...]]]] = {
    _DESIGN: (INK, (0, (4, 2))),
    _SUPPLY: (LIMIT, (0, (1, 1.2))),
}


def _marks(one: Revision) -> dict[str, float]:
    """What the design and its supply give, [V]."""
    if one.design is None:
        return {}
    limit = one.design.supply.voltage_limit
    return {_DESIGN: one.design.voltage, **({} if limit is None else {_SUPPLY: limit})}


def first_emissions_height(revisions: Sequence[Revision]) -> float:
    """Height of the chart, [in].

    Parameters
    ----------
    revisions : sequence of Revision
    """
    return 1.0 + 0.5 * len(revisions)
