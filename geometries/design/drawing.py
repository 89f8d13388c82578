"""Title, number and revision of a drawing, which are plain texts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.design_file import Complaints

__all__ = ["Drawing", "read_drawing"]


@dataclass(frozen=True)
class Drawing:
    """Number and revision of the drawing, for the report."""

    number: str = ""
    revision: str = ""


def read_drawing(document: Mapping[str, Any], complaints: Complaints) -> Drawing:
    """Number and revision of a parsed design file; the title is checked beside them.

    Parameters
    ----------
    document : mapping
        The parsed file.
    complaints : Complaints
        Collects what is wrong.
    """
    if not isinstance(document.get("title", ""), str):
        complaints.add("title", "the title must be a text in double quotes")
    table = document.get("drawing", {})
    if not isinstance(table, Mapping):
        complaints.add("drawing", "this must be a section with number and revision")
        return Drawing()
    for key, value in table.items():
        if key not in ("number", "revision"):
            complaints.add(f"drawing.{key}", "this key is unknown; the keys are number, revision")
        elif not isinstance(value, str):
            complaints.add(f"drawing.{key}", "this must be a text in double quotes")
    return Drawing(str(table.get("number", "")), str(table.get("revision", "")))
