"""The look of conegap's figures: one ink, few tints, hatches instead of colours where it counts.

Every area is told apart by lightness or hatch as well as by hue, so that the figures read in grey
and for colour-blind readers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "ACCENT",
    "BAND",
    "COLOURS",
    "HAIR",
    "INK",
    "INSULATOR",
    "LIMIT",
    "LIQUID",
    "METAL",
    "METAL_HATCH",
    "PAPER",
    "SOFT",
    "legend_below",
    "pretty",
    "quiet_axes",
    "style",
]

PAPER = "#ffffff"
INK = "#1b2530"
SOFT = "#566472"
HAIR = "#c6cdd4"
METAL = "#dfe3e6"
METAL_HATCH = "#8d979f"
LIQUID = "#3d7f95"
INSULATOR = "#f0e9d9"
ACCENT = "#0d5f86"
LIMIT = "#a83a16"
BAND = "#bcd9e4"

COLOURS = {
    "paper": PAPER,
    "ink": INK,
    "soft": SOFT,
    "hair": HAIR,
    "metal": METAL,
    "hatch": METAL_HATCH,
    "liquid": LIQUID,
    "insulator": INSULATOR,
    "accent": ACCENT,
    "limit": LIMIT,
    "band": BAND,
}
"""Every colour of the figures by name, so that a page can put its own in their place."""

# Sizes in [pt]: letters of 8 and 7 pt, legible where a figure is printed at its own width.
_SETTINGS: dict[str, object] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.0,
    "text.color": INK,
    "axes.edgecolor": SOFT,
    "axes.facecolor": "none",
    "axes.labelcolor": INK,
    "axes.labelsize": 8.0,
    "axes.linewidth": 0.7,
    "axes.titlelocation": "left",
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "figure.facecolor": PAPER,
    "figure.dpi": 150,
    "grid.color": HAIR,
    "grid.linewidth": 0.5,
    "hatch.linewidth": 0.5,
    "legend.fontsize": 7.5,
    "legend.frameon": False,
    "lines.linewidth": 1.5,
    "lines.solid_capstyle": "round",
    "path.simplify": True,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "path",
    "svg.hashsalt": "conegap",
    "xtick.color": SOFT,
    "xtick.labelcolor": INK,
    "xtick.labelsize": 7.5,
    "xtick.major.size": 3.0,
    "xtick.major.width": 0.7,
    "xtick.minor.size": 1.6,
    "ytick.color": SOFT,
    "ytick.labelcolor": INK,
    "ytick.labelsize": 7.5,
    "ytick.major.size": 3.0,
    "ytick.major.width": 0.7,
    "ytick.minor.size": 1.6,
}


@contextmanager
def style() -> Iterator[None]:
    """Draw in conegap's style inside this block."""
    import matplotlib as mpl

    with mpl.rc_context(_SETTINGS):  # type: ignore[arg-type]
        yield


def quiet_axes(axes: Axes) -> Axes:
    """A faint horizontal and vertical grid behind the data."""
    axes.grid(True, which="major")
    axes.tick_params(which="both", direction="out")
    return axes


def legend_below(axes: Axes, *, columns: int = 2, handle: float = 2.4, left: bool = False) -> Axes:
    """The legend under the horizontal axis and its label, where it hides nothing.

    Parameters
    ----------
    axes : Axes
        With its lines labelled.
    columns : int
    handle : float
        Length of the samples, in letter sizes, [-].
    left : bool
        Begin at the left end, for long labels; in the middle otherwise.
    """
    from matplotlib.transforms import ScaledTranslation

    figure = axes.get_figure(root=True)
    assert figure is not None
    down = ScaledTranslation(0.0, -0.46, figure.dpi_scale_trans)
    axes.legend(
        loc="upper left" if left else "upper center",
        bbox_to_anchor=(-0.08 if left else 0.46, 0.0),
        bbox_transform=axes.transAxes + down,
        borderaxespad=0.0,
        ncols=columns,
        handlelength=handle,
        columnspacing=1.3,
    )
    return axes


# A number with an exponent, as Python prints it, and not a part of a word or of a digest.
_POWER = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)e([+-]?\d+)(?!\w)")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def pretty(text: str) -> str:
    """A text with typeset units and numbers: "4 um" becomes "4 µm", "15 deg" becomes "15°",
    "-1 kV" gets a minus sign, "2e-4" becomes "2 × 10⁻⁴" and "21%" becomes "21 %".

    Parameters
    ----------
    text : str
        As a design file or a program writes it; a typeset one stays as it is.
    """
    text = re.sub(r"(?<=[\d ])um\b", "µm", text)
    text = re.sub(r"(?<=\d) deg\b", "°", text)
    text = re.sub(r"(?<=[\d ])uA\b", "µA", text)
    text = re.sub(r"(?<=[\d ])([kM]?)ohm\b", r"\1Ω", text)
    text = re.sub(r"(?<=\d)%", " %", text)
    text = _POWER.sub(_with_raised_power, text)
    return re.sub(r"(?<![\w-])-(?=\d)", "−", text)


def _with_raised_power(found: re.Match[str]) -> str:
    digits, power = found.group(1), str(int(found.group(2))).translate(_RAISED)
    return f"10{power}" if digits == "1" else f"{digits} × 10{power}"
