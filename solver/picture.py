"""A figure with its words, and the files it becomes."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from conegap.solver.figure_style import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["WIDTH", "Picture", "charted", "png_of", "sketched", "svg_of"]

WIDTH = 4.6
"""Width of a report's figures, [in]."""
_TITLE = 0.22


@dataclass(frozen=True)
class Picture:
    """A figure with its words.

    Parameters
    ----------
    name : str
        File name without its end.
    caption : str
        Below the figure.
    alt : str
        What it shows, for someone who cannot see it.
    figure : Figure
    """

    name: str
    caption: str
    alt: str
    figure: Figure


def charted(draw: Callable[[Axes], object], size: tuple[float, float]) -> Figure:
    """A figure with one chart in the house's style.

    Parameters
    ----------
    draw : callable
        Draws on the axes that it gets.
    size : tuple of float
        Width and height, [in].
    """
    from matplotlib.figure import Figure

    with style():
        figure = Figure(figsize=size, layout="constrained")
        draw(figure.add_subplot())
    return figure


def sketched(draw: Callable[[Axes], object], size: tuple[float, float], title: str = "") -> Figure:
    """A figure that a drawing fills, below its title where it has one.

    Parameters
    ----------
    draw : callable
        Draws on the axes that it gets.
    size : tuple of float
        Width and height of the drawing, [in].
    title : str
    """
    from matplotlib.figure import Figure

    strip = _TITLE if title else 0.0
    wide, tall = size
    with style():
        figure = Figure(figsize=(wide, tall + strip))
        share = tall / (tall + strip)
        draw(figure.add_axes((0.01, 0.01 * share, 0.98, 0.98 * share)))
        if title:
            figure.text(
                0.012, 1.0 - 0.05 / (tall + strip), title, va="top", fontsize=8.5, weight="bold"
            )
    return figure


def svg_of(figure: Figure, *, title: str = "") -> str:
    """A figure as SVG, with its letters as outlines so that it looks alike everywhere.

    Parameters
    ----------
    figure : Figure
    title : str
        For the file's metadata.
    """
    stream = io.StringIO()
    with style():
        figure.savefig(
            stream,
            format="svg",
            metadata={"Title": title or "conegap", "Creator": "conegap", "Date": None},
        )
    text = stream.getvalue()
    return re.sub(r"<!DOCTYPE.*?>\s*", "", text, flags=re.DOTALL)


def png_of(figure: Figure) -> bytes:
    """A figure as PNG at 200 dots per inch.

    Parameters
    ----------
    figure : Figure
    """
    stream = io.BytesIO()
    with style():
        figure.savefig(stream, format="png", dpi=200, metadata={"Software": "conegap"})
    return stream.getvalue()
