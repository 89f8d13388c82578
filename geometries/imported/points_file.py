"""Measured outlines: a CSV file with a header row, a unit row and two columns."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.quantity import LENGTH, QuantityError, read_quantity

__all__ = ["ends_cleanly", "first_crossing", "read_points"]

_FORM = "the form is: a header row (radius,height), a unit row (um,um), then one point per row"
# The least that show a curvature and how it changes along the outline.
_FEWEST = 4
# Of the outline's size: points that lie closer set the direction of the curve by their rounding.
_CLOSE = 1e-6


def read_points(text: str, name: str) -> FloatArray:
    """Points of an outline.

    Parameters
    ----------
    text : str
        Content of the file.  Lines that start with # are comments.
    name : str
        Name of the file, for messages.

    Returns
    -------
    (n, 2) array
        Radius (or x) and height z in the order of the file, [m].

    Raises
    ------
    DesignError
        Empty, half written or not numeric, a wrong unit, too few points, points that coincide or
        are not in order along the outline.
    """
    rows = [
        (number, [cell.strip() for cell in line.split(",")])
        for number, line in enumerate(text.lstrip("\ufeff").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise DesignError(f"{name}: the file holds no points; {_FORM}")
    header = rows[0][1]
    if len(header) != 2:
        hint = ""
        if ";" in rows[0][1][0] or "\t" in rows[0][1][0]:
            hint = "; separate the columns with commas"
        raise DesignError(
            f"{name}, line {rows[0][0]}: {len(header)} columns where two are needed{hint}; {_FORM}"
        )
    if header[0].lower().startswith(("z", "h")) or _is_number(header[0]):
        raise DesignError(
            f"{name}, line {rows[0][0]}: the header row reads '{','.join(header)}'; "
            f"the first column is the radius (or x), the second the height; {_FORM}"
        )
    if len(rows) < 2:
        raise DesignError(f"{name}: the unit row is missing; {_FORM}")
    scale = _units(rows[1][1], rows[1][0], name)
    points = []
    for number, cells in rows[2:]:
        points.append(_point(cells, number, name))
    if len(points) < _FEWEST:
        raise DesignError(
            f"{name}: {len(points)} points are too few for an outline, at least {_FEWEST} are "
            "needed; is the file half written?"
        )
    array = np.array(points) * scale
    numbers = [number for number, _ in rows[2:]]
    _check_order(array, numbers, name)
    return array


def ends_cleanly(text: str) -> bool:
    """Whether the last line of a file's text is complete, as far as can be seen."""
    return text.endswith(("\n", "\r"))


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _units(cells: list[str], number: int, name: str) -> FloatArray:
    where = f"{name}, line {number}"
    if len(cells) != 2 or all(_is_number(cell) for cell in cells):
        raise DesignError(
            f"{where}: '{','.join(cells)}' is not a unit row; write the units of both columns "
            "below the header, such as um,um"
        )
    try:
        return np.array([read_quantity(f"1 {cell}", LENGTH).value for cell in cells])
    except QuantityError as problem:
        raise DesignError(f"{where}: unit row '{','.join(cells)}': {problem}") from problem


def _point(cells: list[str], number: int, name: str) -> tuple[float, float]:
    where = f"{name}, line {number}"
    if len(cells) != 2 or not all(cells):
        raise DesignError(
            f"{where}: '{','.join(cells)}' is not a pair of numbers; the row looks half written "
            "or has the wrong number of columns"
        )
    try:
        values = float(cells[0]), float(cells[1])
    except ValueError as problem:
        raise DesignError(
            f"{where}: '{','.join(cells)}' is not a pair of numbers; write decimal numbers without "
            "units, the unit stands in the second row"
        ) from problem
    if not all(math.isfinite(v) for v in values):
        raise DesignError(f"{where}: '{','.join(cells)}' is not finite; remove or repair the row")
    return values


def _check_order(points: FloatArray, numbers: list[int], name: str) -> None:
    """Refuse points that coincide or run back and forth."""
    steps = np.diff(points, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    size = float(np.ptp(points, axis=0).max())
    if size == 0.0 or np.any(lengths <= _CLOSE * size):
        i = int(np.argmin(lengths))
        raise DesignError(
            f"{name}, lines {numbers[i]} and {numbers[i + 1]}: the two points coincide, or lie "
            f"closer than {_CLOSE:g} of the outline's size; remove one"
        )
    along = steps / lengths[:, None]
    cosine = np.sum(along[1:] * along[:-1], axis=1)
    crossing = first_crossing(points)
    if np.any(cosine < -0.87):
        i = int(np.argmin(cosine)) + 1
        raise DesignError(
            f"{name}, line {numbers[i]}: the outline runs back on itself there, so the points are "
            "not in order; sort them along the outline, from the axis or the left flank on"
        )
    if crossing is not None:
        i, j = crossing
        raise DesignError(
            f"{name}, lines {numbers[i]} and {numbers[j]}: the outline crosses itself there, so "
            "the points are not in order; sort them along the outline"
        )


def first_crossing(points: FloatArray) -> tuple[int, int] | None:
    """Two segments of an open or closed polyline that cross, or None.

    Parameters
    ----------
    points : (n, 2) array
        In order, in any unit of length.
    """
    a, b = points[:-1], points[1:]

    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
        u, v = q - p, r - p
        return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])

    for i in range(len(a) - 2):
        p, q, c, d = a[i], b[i], a[i + 2 :], b[i + 2 :]
        crosses = (side(p, q, c) * side(p, q, d) < 0.0) & (side(c, d, p) * side(c, d, q) < 0.0)
        if np.any(crosses):
            return i, i + 2 + int(np.argmax(crosses))
    return None
