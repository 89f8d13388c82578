"""Outlines in pixels: from a CSV file or traced on an image, and the scale bar beside them."""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.imported.points_file import first_crossing
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.quantity import LENGTH, QuantityError, read_quantity

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["ScaleBar", "pixel_points", "scale_bar", "traced_image"]

# Twice as many as the narrowest window of a radius needs.
_FEWEST = 25
# Standard deviation of the filter, [px]: it takes away the noise of single pixels and moves a
# circular outline inwards by half its square over the radius, 0.01 px at 50 px.
_SMOOTHING = 1.0
# Over the median step; a traced contour steps by a pixel or less, and outlines by hand vary by a
# factor of a few. A choice, no source.
_LARGEST_STEP = 12.0
# Standard deviation over range of the grey values; two even classes have 0.5, smoothed noise
# without a specimen 0.1.
_LEAST_CONTRAST = 0.1
_SCALE = re.compile(r"\s*([0-9.eE+]+)\s*(?:px|pixels?)\s*=\s*(\S.*?)\s*\Z")


@dataclass(frozen=True)
class ScaleBar:
    """A scale bar: its length on the picture [px] and what it stands for [m]."""

    pixels: float
    length: float

    @property
    def pixel(self) -> float:
        """Size of one pixel, [m]."""
        return self.length / self.pixels


def scale_bar(text: str | None) -> ScaleBar:
    """A scale bar from words such as ``412 px = 20 um``.

    Parameters
    ----------
    text : str or None

    Raises
    ------
    DesignError
        Missing, or not of this form.
    """
    form = '--scale "412 px = 20 um": the bar\'s length on the picture and what it stands for'
    if text is None:
        raise DesignError(f"the scale bar is missing; give {form}")
    match = _SCALE.match(text)
    if match is None:
        raise DesignError(f"--scale '{text}' is no scale bar; write {form}")
    try:
        pixels = float(match[1])
        length = read_quantity(match[2], LENGTH).value
    except (ValueError, QuantityError) as problem:
        raise DesignError(f"--scale '{text}': {problem}; write {form}") from problem
    if not (pixels > 0.0 and length > 0.0 and math.isfinite(pixels)):
        raise DesignError(f"--scale '{text}': both lengths must be larger than zero")
    return ScaleBar(pixels, length)


def pixel_points(text: str, name: str) -> FloatArray:
    """Points of an outline from a CSV file: a header, a unit row ``px,px``, then x,y per row.

    Parameters
    ----------
    text : str
        Lines that start with # are comments.  Columns count to the right, rows downward.
    name : str
        Name of the file, for messages.

    Returns
    -------
    (n, 2) array
        To the right and up, in order along the outline, [px].

    Raises
    ------
    DesignError
        Not of this form, too few points, open in the middle, or crossing itself.
    """
    rows = [
        (number, [cell.strip() for cell in line.split(",")])
        for number, line in enumerate(text.lstrip("\ufeff").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    form = "a header row (x,y), a unit row (px,px), then one point per row"
    if len(rows) < 2 or [c.lower() for c in rows[1][1]] not in (["px", "px"], ["pixel", "pixel"]):
        raise DesignError(f"{name} is no outline in pixels; the form is: {form}")
    points = []
    for number, cells in rows[2:]:
        try:
            x, y = (float(cell) for cell in cells)
        except ValueError as problem:
            raise DesignError(
                f"{name}, line {number}: '{','.join(cells)}' is no pair of numbers; the form is: "
                f"{form}"
            ) from problem
        if not (math.isfinite(x) and math.isfinite(y)):
            raise DesignError(f"{name}, line {number}: the point is not finite; remove the row")
        points.append((x, -y))
    return _checked(np.array(points).reshape(-1, 2), name)


def traced_image(data: bytes, name: str) -> FloatArray:
    """The longest contour of an image at half way between dark and bright.

    The image is smoothed by one pixel; the level is that of N. Otsu, IEEE Trans Syst Man Cybern
    9, 62 (1979), from memory.

    Parameters
    ----------
    data : bytes
        Content of a PNG, TIFF or JPEG file; what is transparent is taken as white.
    name : str
        Its name, for messages.

    Returns
    -------
    (n, 2) array
        To the right and up from the upper left corner, in order along the outline, [px].

    Raises
    ------
    DesignError
        No image, no contrast, or no contour long enough.
    """
    from contourpy import contour_generator
    from PIL import Image, UnidentifiedImageError
    from scipy.ndimage import gaussian_filter

    try:
        # No other decoder ever sees the file.
        with Image.open(io.BytesIO(data), formats=("PNG", "TIFF", "JPEG")) as image:
            grey = np.asarray(_opaque(image).convert("F"), dtype=float)
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as problem:
        raise DesignError(
            f"{name} cannot be read as an image ({problem}); save it as PNG or TIFF, or give the "
            "outline as a CSV file"
        ) from problem
    smooth = gaussian_filter(grey, _SMOOTHING, mode="nearest")
    span = float(np.ptp(smooth))
    if not span > 0.0 or float(np.std(smooth)) < _LEAST_CONTRAST * span:
        raise DesignError(
            f"{name} has too little contrast between specimen and background to be traced; raise "
            "the contrast, or give the outline as a CSV file"
        )
    found = contour_generator(z=smooth).lines(_otsu(smooth))
    lines = [np.array(line, dtype=float) for line in found if line is not None]
    if not lines:
        raise DesignError(f"{name} shows no outline; give the outline as a CSV file")
    lengths = [float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines]
    longest = lines[int(np.argmax(lengths))]
    return _checked(longest * np.array([1.0, -1.0]), name)


def _opaque(image: Image.Image) -> Image.Image:
    """The image on white paper where it is transparent."""
    from PIL import Image

    if not image.has_transparency_data:
        return image
    pixels = image.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", pixels.size, "white"), pixels).convert("RGB")


def _otsu(grey: FloatArray) -> float:
    """Level that parts the brightness into two classes with the largest variance between."""
    count, edges = np.histogram(grey, bins=256)
    centre = 0.5 * (edges[1:] + edges[:-1])
    below = np.cumsum(count)[:-1].astype(float)
    above = float(count.sum()) - below
    total = np.cumsum(count * centre)
    mean_below = total[:-1] / np.maximum(below, 1.0)
    mean_above = (total[-1] - total[:-1]) / np.maximum(above, 1.0)
    between = below * above * (mean_below - mean_above) ** 2
    best = int(np.argmax(between))
    return float(0.5 * (mean_below[best] + mean_above[best]))


def _checked(points: FloatArray, name: str) -> FloatArray:
    """Refuse too few points, holes and crossings."""
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.hypot(*np.diff(points, axis=0).T) > 0.0
    points = points[keep]
    if len(points) < _FEWEST:
        raise DesignError(
            f"{name} holds {len(points)} points of an outline, at least {_FEWEST} are needed; "
            "trace more densely, or at a higher magnification"
        )
    steps = np.hypot(*np.diff(points, axis=0).T)
    k = int(np.argmax(steps))
    if steps[k] > _LARGEST_STEP * float(np.median(steps)) and 2 <= k <= len(steps) - 3:
        (x, y), (u, v) = points[k], points[k + 1]
        raise DesignError(
            f"{name}: the outline is open between ({x:.1f}, {-y:.1f}) and ({u:.1f}, {-v:.1f}) px, "
            f"a step of {steps[k]:.0f} px where points lie {np.median(steps):.1f} px apart; trace "
            "the missing part, or sort the points along the outline"
        )
    crossing = first_crossing(points)
    if crossing is not None:
        x, y = points[crossing[0]]
        raise DesignError(
            f"{name}: the outline crosses itself near ({x:.1f}, {-y:.1f}) px; sort its points "
            "along the outline, or clean the image there"
        )
    return points
