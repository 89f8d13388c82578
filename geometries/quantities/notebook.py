"""What results show of themselves in a notebook: short words, a small table, a data frame.

pandas and xarray are optional: install conegap[tables].
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from importlib import import_module
from typing import Any

__all__ = ["data_frame", "html_table", "optional_library"]


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
