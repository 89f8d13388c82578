"""Error of the edge field over wall time, one panel per problem."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from conegap.solver.common.style import ACCENT, INK, SOFT, legend_below, quiet_axes, style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["draw"]

_MARKS = ("s", "^", "v", "D", "P", "X", "*", "<")
# Told apart without colour.
_DASHES = ("--", ":", "-.", (0, (5, 1)), (0, (1, 1)), (0, (3, 1, 1, 1)), (0, (7, 2)))
# Smaller errors are drawn here; the reference values are no better.
_FLOOR = 1e-8


def draw(result: dict[str, Any]) -> Figure:
    """The figure; marks and dashes tell the methods apart without colour.

    Parameters
    ----------
    result : dict
        From `all_measured`.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.ticker import NullFormatter

    rows = result["rows"]
    problems = list(dict.fromkeys(row["problem"] for row in rows))
    methods = list(dict.fromkeys(row["method"] for row in rows))
    with style():
        figure = Figure(figsize=(7.2, 2.9 * ((len(problems) + 1) // 2) + 0.7))
        FigureCanvasAgg(figure)
        grid = figure.subplots(
            (len(problems) + 1) // 2, min(2, len(problems)), sharex=True, sharey=True, squeeze=False
        )
        for axes, problem in zip(grid.ravel(), problems, strict=False):
            for number, method in enumerate(methods):
                mine = [r for r in rows if r["problem"] == problem and r["method"] == method]
                own = method == "conegap"
                axes.plot(
                    [r["seconds"] for r in mine],
                    [max(r["error"], _FLOOR) for r in mine],
                    marker="o" if own else _MARKS[(number - 1) % len(_MARKS)],
                    linestyle="-" if own else _DASHES[(number - 1) % len(_DASHES)],
                    color=ACCENT if own else SOFT,
                    linewidth=2.0 if own else 0.9,
                    markersize=5.0 if own else 4.0,
                    markerfacecolor=ACCENT if own else "none",
                    label=method,
                    zorder=5 if own else 3,
                )
            for target in (1e-3, 1e-4):
                axes.axhline(target, color=INK, linewidth=0.5)
            axes.set_xscale("log")
            axes.set_yscale("log")
            axes.xaxis.set_minor_formatter(NullFormatter())
            axes.xaxis.set_major_formatter(lambda x, _: f"{x:g}")
            axes.set_title(result["right"][problem]["title"])
            quiet_axes(axes)
        for axes in grid[:, 0]:
            axes.set_ylabel("error of the edge field [-]")
        for axes in grid[-1]:
            axes.set_xlabel("wall time with meshing [s]")
        figure.subplots_adjust(0.1, 0.17, 0.985, 0.95, 0.06, 0.2)
        legend_below(grid[-1][0], columns=4, handle=3.0, left=True)
    return figure
