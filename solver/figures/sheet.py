"""Several figures on one sheet, two in a row."""

from __future__ import annotations

import html
import io
from collections.abc import Sequence

from conegap.solver.common.style import PAPER
from conegap.solver.figures.picture import Picture

__all__ = ["drawn_here", "png_sheet", "svg_sheet"]

# Between the figures of a sheet, [pt].
_MARGIN = 12.0
# By which a drawing is known as one that may be drawn again; it stands on a line of its own.
_MARK = "<!-- drawn by conegap -->"
_SOFTWARE = "conegap"


def svg_sheet(pictures: Sequence[Picture], title: str) -> str:
    """Figures side by side in one SVG file.

    Parameters
    ----------
    pictures : sequence of Picture
    title : str
    """
    sizes = [tuple(72.0 * float(v) for v in p.figure.get_size_inches()) for p in pictures]
    places, width, height = _places(sizes)
    parts = []
    for picture, (x, y), (wide, tall) in zip(pictures, places, sizes, strict=True):
        text = picture.part
        head = (
            f'<svg x="{x:g}" y="{y:g}" width="{wide:g}" height="{tall:g}" '
            f'viewBox="0 0 {wide:g} {tall:g}" role="img" '
            f'aria-label="{html.escape(picture.alt, quote=True)}">'
        )
        parts.append(head + text[text.index(">") + 1 :])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width:g}pt" height="{height:g}pt" viewBox="0 0 {width:g} {height:g}">\n'
        f"{_MARK}\n<title>{html.escape(title)}</title>\n"
        f'<rect width="100%" height="100%" fill="{PAPER}"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def drawn_here(start: str) -> bool:
    """Whether the start of a file is that of a sheet of this module, and not of one that only
    mentions conegap.

    Parameters
    ----------
    start : str
        First bytes of the file as text.
    """
    if start.startswith("<svg "):
        return start.partition("\n")[2].startswith(f"{_MARK}\n")
    return start[1:4] == "PNG" and f"Software\0{_SOFTWARE}" in start


def png_sheet(pictures: Sequence[Picture]) -> bytes:
    """Figures side by side in one PNG file.

    Parameters
    ----------
    pictures : sequence of Picture
    """
    import matplotlib.image as mpimg
    import numpy as np

    scale = 200.0 / 72.0
    images = [np.asarray(picture.raster) / 255.0 for picture in pictures]
    sizes = [(image.shape[1] / scale, image.shape[0] / scale) for image in images]
    places, width, height = _places(sizes)
    paper = np.array([int(PAPER[k : k + 2], 16) / 255.0 for k in (1, 3, 5)])
    sheet = np.ones((int(height * scale) + 2, int(width * scale) + 2, 3)) * paper
    for image, (x, y) in zip(images, places, strict=True):
        row, column = int(y * scale), int(x * scale)
        sheet[row : row + image.shape[0], column : column + image.shape[1]] = image
    stream = io.BytesIO()
    mpimg.imsave(stream, sheet, format="png", metadata={"Software": _SOFTWARE})
    return stream.getvalue()


def _places(
    sizes: Sequence[tuple[float, ...]],
) -> tuple[list[tuple[float, float]], float, float]:
    """Upper left corners of the figures, and the size of the sheet, [pt]."""
    places: list[tuple[float, float]] = []
    y, width = _MARGIN, 0.0
    for k in range(0, len(sizes), 2):
        row = sizes[k : k + 2]
        x = _MARGIN
        for wide, _ in row:
            places.append((x, y))
            x += wide + _MARGIN
        width = max(width, x)
        y += max(tall for _, tall in row) + _MARGIN
    return places, width, y
