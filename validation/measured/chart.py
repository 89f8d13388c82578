"""The comparison as a figure: every measurement and every band over the predicted value."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conegap.solver.common.style import ACCENT, BAND, INK, LIMIT, SOFT, legend_below, quiet_axes
from conegap.validation.measured.comparison import Comparison

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["chart_comparison", "chart_size"]

# Height of a line of the chart and of what is below them, [in].
_LINE, _BELOW = 0.36, 1.05
# Half height of a band, in lines.
_HALF = 0.26


def chart_size(comparison: Comparison) -> tuple[float, float]:
    """Width and height that suit the number of cases, [in].

    Parameters
    ----------
    comparison : Comparison
    """
    return 6.4, _LINE * len(comparison.rows) + _BELOW


def chart_comparison(axes: Axes, comparison: Comparison) -> Axes:
    """One line per case: the predicted band as a bar, the measurement as a mark with its interval.

    Everything is divided by the predicted value.  Of a limit, an arrow points to where the value
    may lie.

    Parameters
    ----------
    comparison : Comparison
    """
    rows = comparison.rows
    axes.axvline(1.0, color=INK, lw=0.9, label="predicted")
    for line, row in enumerate(rows):
        measured, found = row.measured, row.predicted
        low, high = found.low / found.value, found.high / found.value
        axes.fill_between(
            [low, high],
            line - _HALF,
            line + _HALF,
            color=BAND,
            edgecolor=SOFT,
            lw=0.6,
            label="its band (k = 2)" if line == 0 else None,
        )
        if measured.bounded:
            axes.plot(row.ratio, line, marker="<", ms=5, color=LIMIT, mfc="none", ls="none",
                      label="emits or bursts here already")  # fmt: skip
            axes.annotate("", (row.ratio - 0.09, line), (row.ratio, line),
                          arrowprops={"arrowstyle": "->", "color": LIMIT, "lw": 1.0})  # fmt: skip
        else:
            below = row.ratio - measured.low / found.value
            above = measured.high / found.value - row.ratio
            axes.errorbar(row.ratio, line, xerr=[[below], [above]], fmt="o", ms=4, color=ACCENT,
                          capsize=2.5, lw=1.2, label="measured")  # fmt: skip
    axes.set_yticks(range(len(rows)), [_short(row.measured.name) for row in rows])
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlabel("measured or predicted value over the predicted one [-]")
    quiet_axes(axes)
    axes.grid(False, axis="y")
    _one_label_each(axes)
    return legend_below(axes, columns=2)


def _short(name: str) -> str:
    """A name on two lines, parted at the comma nearest its middle."""
    commas = [k for k, letter in enumerate(name) if letter == ","]
    if len(name) < 34 or not commas:
        return name
    at = min(commas, key=lambda k: abs(k - len(name) / 2))
    return f"{name[: at + 1]}\n{name[at + 2 :]}"


def _one_label_each(axes: Axes) -> None:
    """Keep each label once in the legend."""
    seen: set[str] = set()
    handles, labels = axes.get_legend_handles_labels()
    for handle, label in zip(handles, labels, strict=True):
        if label in seen:
            handle.set_label("_nolegend_")
        seen.add(label)
