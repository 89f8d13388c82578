"""A figure with its words, and the files it becomes.

A picture is rendered at most once as SVG and once as pixels, which page, PDF and folder share;
charts are laid out once, when they are made.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from conegap.solver.common.style import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from PIL.Image import Image

__all__ = ["WIDTH", "Picture", "charted", "png_of", "raster_of", "sketched", "svg_of"]

WIDTH = 4.6
"""Width of a report's figures, [in]."""
# Strip of a figure for its title, [in]: one line of 8 pt letters with its lead.
_TITLE = 0.22
# Sharp in print and on screens.
_DOTS_PER_INCH = 200


@dataclass(frozen=True)
class Picture:
    """A figure with its title and caption, rendered at most once as SVG and once as pixels.

    Parameters
    ----------
    name : str
        File name without its end.
    caption : str
        Below the figure.
    alt : str
        What it shows, for someone who cannot see it.
    """

    name: str
    caption: str
    alt: str
    figure: Figure

    @cached_property
    def svg(self) -> str:
        """The figure as SVG with its words as title."""
        return svg_of(self.figure, title=self.alt)

    @property
    def part(self) -> str:
        """The SVG element to embed beside others: no metadata, identifiers of its own."""
        text = self.svg[self.svg.index("<svg") :]
        text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
        text = re.sub(r'\bid="([^"]+)"', rf'id="{self.name}-\1"', text)
        text = re.sub(r'xlink:href="#([^"]+)"', rf'xlink:href="#{self.name}-\1"', text)
        return re.sub(r"url\(#([^)]+)\)", rf"url(#{self.name}-\1)", text)

    @cached_property
    def raster(self) -> Image:
        """The figure as pixels, from `raster_of`."""
        return raster_of(self.figure)

    @cached_property
    def png(self) -> bytes:
        """The figure as PNG file."""
        return _as_png(self.raster)


def charted(draw: Callable[[Axes], object], size: tuple[float, float]) -> Figure:
    """A figure with one chart in conegap's style.

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
        engine = figure.get_layout_engine()
        assert engine is not None
        engine.execute(figure)
        # It stays as it is now: matplotlib would lay it out anew for every file.
        figure.set_layout_engine("none")
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
    """A figure as SVG, with its text as outlines so that it looks alike everywhere.

    Parameters
    ----------
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


def raster_of(figure: Figure) -> Image:
    """A figure as an image of 200 dots per inch in red, green and blue.

    Parameters
    ----------
    figure : Figure
        On opaque paper.
    """
    import numpy as np
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    canvas, dots = FigureCanvasAgg(figure), figure.dpi
    try:
        figure.set_dpi(_DOTS_PER_INCH)
        with style():
            canvas.draw()  # type: ignore[no-untyped-call]
    finally:
        figure.set_dpi(dots)
    seen = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call]
    return Image.fromarray(seen).convert("RGB")


def png_of(figure: Figure) -> bytes:
    """A figure as PNG at 200 dots per inch."""
    return _as_png(raster_of(figure))


def _as_png(image: Image) -> bytes:
    from PIL.PngImagePlugin import PngInfo

    stream, words = io.BytesIO(), PngInfo()
    words.add_text("Software", "conegap")
    dots = (_DOTS_PER_INCH, _DOTS_PER_INCH)
    image.save(stream, format="png", dpi=dots, pnginfo=words)
    return stream.getvalue()
