"""The table of a lot: one row an article, columns are keys of the design file with their units."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.quantity import (
    VOLTAGE,
    PhysicalKind,
    QuantityError,
    read_quantity,
)

__all__ = ["MOST_ARTICLES", "Article", "LotTable", "read_lot"]

# As many solves as the largest scan of `conegap vary` makes.
MOST_ARTICLES = 400
_HEAD = re.compile(r"(?P<key>[\w.]+)\s*(?:\[(?P<unit>[^\]]*)\])?\Z")
_ARTICLE, _MEASURED, _READING = "article", "measured_onset", "measured_uncertainty"
_UNCERTAIN = ".uncertainty"
_FORM = (
    "the form is: a header such as 'article, emitter.tip_radius [um], accelerator.gap [mm], "
    "measured_onset [kV]', then one line an article"
)


@dataclass(frozen=True)
class Article:
    """One line of the table.

    Parameters
    ----------
    name : str
    changes : ((key, SI value), ...)
        Its measured dimensions, in the order of the columns; what is empty is as drawn.
    uncertainties : ((key, SI value), ...)
        Plus-minus of those measurements, k = 2.
    measured : float or None
        Measured onset, emitter minus accelerator, [V].
    reading : float
        Plus-minus of that reading, k = 2, 0 where none is given, [V].
    """

    name: str
    changes: tuple[tuple[str, float], ...]
    uncertainties: tuple[tuple[str, float], ...] = ()
    measured: float | None = None
    reading: float = 0.0

    def value(self, key: str) -> float | None:
        """Its measured value of a dimension, SI, or None.

        Parameters
        ----------
        key : str
        """
        return dict(self.changes).get(key)


@dataclass(frozen=True)
class LotTable:
    """A table that was read.

    Parameters
    ----------
    dimensions : tuple of Dimension
        Measured ones, as drawn, in the order of the columns.
    articles : tuple of Article
        In the order of the lines.
    """

    dimensions: tuple[Dimension, ...]
    articles: tuple[Article, ...]


@dataclass(frozen=True)
class _Column:
    """What a column holds: "name", "value", "uncertainty", "measured" or "reading"."""

    what: str
    key: str = ""
    unit: str = ""
    kind: PhysicalKind = VOLTAGE


def read_lot(text: str, name: str, design: Design) -> LotTable:
    """Read the table of a lot.

    Parameters
    ----------
    text : str
        CSV.  Lines that start with # are comments.
    name : str
        Name of the file, for messages.
    design : Design
        As drawn; the keys are its own.

    Raises
    ------
    DesignError
        Empty, too short or too long, an unknown key or unit, a value that is no number, two
        articles of one name.
    """
    lines = [
        (number, line)
        for number, line in enumerate(text.lstrip("\ufeff").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise DesignError(f"{name}: the file holds no articles; {_FORM}")
    rows = [
        (number, [cell.strip() for cell in next(csv.reader(io.StringIO(line)), [])])
        for number, line in lines
    ]
    head_line, head = rows[0]
    columns = _columns(head, f"{name}, line {head_line}", design)
    articles = [_article(cells, columns, f"{name}, line {number}") for number, cells in rows[1:]]
    if not 2 <= len(articles) <= MOST_ARTICLES:
        raise DesignError(
            f"{name}: {len(articles)} articles; a lot has 2 to {MOST_ARTICLES}, one line each"
        )
    seen: dict[str, int] = {}
    for (number, _), article in zip(rows[1:], articles, strict=True):
        if article.name in seen:
            raise DesignError(
                f"{name}, line {number}: the article '{article.name}' stands on line "
                f"{seen[article.name]} already; give every article its own name"
            )
        seen[article.name] = number
    keys = [column.key for column in columns if column.what == "value"]
    return LotTable(tuple(design.dimension(key) for key in keys), tuple(articles))


def _columns(head: Sequence[str], where: str, design: Design) -> list[_Column]:
    """What every column holds."""
    if len(head) == 1 and re.search(r"[;\t]", head[0]):
        _refuse(where, f"the header '{head[0]}' has one column; separate columns with commas")
    found = [_column(cell, where, design) for cell in head]
    names = [(column.what, column.key) for column in found]
    for one in names:
        if names.count(one) > 1:
            _refuse(where, f"the column '{one[1] or one[0]}' is given twice")
    if ("name", "") not in names:
        _refuse(where, f"there is no column '{_ARTICLE}' with the articles' names; {_FORM}")
    keys = {key for what, key in names if what == "value"}
    if not keys:
        _refuse(where, f"no column is a dimension of the design; {_FORM}")
    for what, key in names:
        if what == "uncertainty" and key not in keys:
            _refuse(where, f"'{key}{_UNCERTAIN}' stands there without '{key}'")
    if ("reading", "") in names and ("measured", "") not in names:
        _refuse(where, f"'{_READING}' stands there without '{_MEASURED}'")
    return found


def _column(cell: str, where: str, design: Design) -> _Column:
    match = _HEAD.match(cell)
    if match is None:
        _refuse(where, f"'{cell}' is no column's name; {_FORM}")
    key, unit = match["key"], (match["unit"] or "").strip()
    if key == _ARTICLE:
        return _Column("name")
    if key in (_MEASURED, _READING):
        what, kind, base = ("measured" if key == _MEASURED else "reading"), VOLTAGE, ""
    else:
        base = key.removesuffix(_UNCERTAIN)
        what, kind = ("value" if base == key else "uncertainty"), design.dimension(base).kind
    if not unit:
        units = " or ".join(kind.units)
        _refuse(where, f"the column '{key}' has no unit; write '{key} [{kind.units[0]}]' ({units})")
    try:
        read_quantity(f"1 {unit}", kind, difference=what in ("uncertainty", "reading"))
    except QuantityError as problem:
        _refuse(where, f"column '{key} [{unit}]': {problem}")
    return _Column(what, base, unit, kind)


def _article(cells: Sequence[str], columns: Sequence[_Column], where: str) -> Article:
    """One line."""
    if len(cells) != len(columns):
        _refuse(where, f"{len(cells)} cells where the header has {len(columns)}")
    name, changes, uncertain = "", [], []
    measured, reading = None, 0.0
    for cell, column in zip(cells, columns, strict=True):
        if column.what == "name":
            name = cell
        elif not cell:
            continue
        else:
            value = _number(cell, column, where)
            if column.what == "value":
                changes.append((column.key, value))
            elif column.what == "uncertainty":
                uncertain.append((column.key, value))
            elif column.what == "measured":
                measured = value
            else:
                reading = value
    if not name:
        _refuse(where, "the article has no name")
    if measured is not None and not 0.0 <= reading < 0.5 * measured:
        _refuse(
            where,
            f"'{_MEASURED}' is {measured:g} V ± {reading:g} V; give a voltage above 0 V whose "
            "plus-minus is less than half of it",
        )
    return Article(name, tuple(changes), tuple(uncertain), measured, reading)


def _number(cell: str, column: _Column, where: str) -> float:
    """A cell in SI."""
    what = column.key or column.what
    try:
        plain = float(cell)
    except ValueError:
        plain = math.nan
    if not math.isfinite(plain):
        _refuse(
            where,
            f"'{cell}' under '{what}' is no number; write it without a unit and with a decimal "
            "point, the unit stands in the header",
        )
    difference = column.what in ("uncertainty", "reading")
    if difference and plain < 0.0:
        _refuse(where, f"'{cell}' under '{what}' is negative; give the plus-minus half width")
    try:
        return read_quantity(f"{plain!r} {column.unit}", column.kind, difference=difference).value
    except QuantityError as problem:
        _refuse(where, f"'{cell}' under '{what}': {problem}")


def _refuse(where: str, message: str) -> NoReturn:
    raise DesignError(f"{where}: {message}")
