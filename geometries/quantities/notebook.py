"""What results show of themselves in a notebook: short words, a small table, a data frame.

pandas and xarray are optional: install conegap[tables].
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from html import escape
from importlib import import_module
from typing import Any

__all__ = ["brief", "data_frame", "html_table", "optional_library"]


# Letters of a value, and of a whole line: what is longer is told by its kind and size.
_LONGEST, _LINE = 40, 300
# Items of which a sequence may be written out.
_FEW = 6


def brief(one: Any) -> str:
    """A dataclass in one line: its short values, and kind and size of its long ones.

    Give it to a class as ``__repr__`` where the fields hold arrays, meshes or other results.

    Parameters
    ----------
    one : dataclass instance
    """
    shown = [f"{f.name}={_brief_value(getattr(one, f.name))}" for f in fields(one) if f.repr]
    words = f"{type(one).__name__}({', '.join(shown)})"
    return words if len(words) <= _LINE else f"{words[: _LINE - 4]}...)"


def _brief_value(value: Any) -> str:
    """A short value as it is, else "(3, 2) array", "12 items" or the name of its class."""
    if isinstance(value, str | int | float | bool | None):
        words = repr(value)
        return words if len(words) <= _LONGEST else f"{words[: _LONGEST - 3]}..."
    shape = getattr(value, "shape", None)
    if isinstance(shape, tuple):
        return f"{shape} array"
    if isinstance(value, Mapping | Sequence):
        words = repr(value) if not value or len(value) <= _FEW else ""
        plain = all(isinstance(item, str | int | float) for item in value)
        return words if words and plain and len(words) <= _LONGEST else f"{len(value)} items"
    return f"{type(value).__name__}(...)"


def optional_library(name: str, what: str) -> Any:
    """A library that conegap does without, imported where it is asked for.

    Parameters
    ----------
    name : str
        "pandas", "xarray", "pyarrow".
    what : str
        What needs it, for the message.

    Raises
    ------
    ImportError
        It is not installed; the message says how to install it.
    """
    try:
        return import_module(name)
    except ImportError as problem:
        raise ImportError(
            f"{what} needs {name}, which is not installed here; install conegap[tables]"
        ) from problem


def data_frame(columns: Mapping[str, Sequence[Any]], **about: Any) -> Any:
    """A pandas data frame, one row an entry, SI units in the names of the columns.

    Parameters
    ----------
    columns : mapping of str to sequence
        Columns of equal length.
    **about
        What holds for the whole table, kept in its ``attrs``.

    Raises
    ------
    ImportError
        pandas is not installed.
    """
    pandas = optional_library("pandas", "to_dataframe()")
    frame = pandas.DataFrame(dict(columns))
    frame.attrs.update(about)
    return frame


def html_table(
    caption: str,
    rows: Sequence[Sequence[object]],
    heads: Sequence[str] = (),
    *,
    below: str = "",
) -> str:
    """A table for a notebook, in the notebook's own look; every text is escaped.

    Parameters
    ----------
    caption : str
    rows : sequence of sequences
        Cells, printed by ``str``.
    heads : sequence of str
        Empty for a table without a head; the first column is a head then.
    below : str
        A line under the table.
    """
    parts = ["<table>", f"<caption><strong>{escape(caption)}</strong></caption>"]
    if heads:
        cells = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
        parts.append(f"<thead><tr>{cells}</tr></thead>")
    parts.append("<tbody>")
    for first, *rest in rows:
        cells = "".join(f"<td>{escape(str(cell))}</td>" for cell in rest)
        parts.append(f'<tr><th scope="row">{escape(str(first))}</th>{cells}</tr>')
    parts.append("</tbody></table>")
    if below:
        parts.append(f"<p>{escape(below)}</p>")
    return "".join(parts)
