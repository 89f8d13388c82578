"""Commented design files to start from, taken from the shipped examples."""

from __future__ import annotations

import difflib

from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import example_names, examples_folder

__all__ = ["starter", "starter_kinds", "starter_tables"]


def starter_kinds() -> tuple[str, ...]:
    """Kinds of design for which a file can be started: the shipped examples."""
    return example_names()


def starter(kind: str) -> str:
    """A complete, commented design file of a kind.

    Parameters
    ----------
    kind : str
        One of `starter_kinds`.

    Raises
    ------
    DesignError
        The kind is unknown; the message lists the kinds.
    """
    kinds = starter_kinds()
    if kind not in kinds:
        close = difflib.get_close_matches(kind.lower(), kinds, n=1, cutoff=0.5)
        hint = f", did you mean '{close[0]}'?" if close else ""
        raise DesignError(
            f"there is no emitter of kind '{kind}'{hint}; the kinds are {', '.join(kinds)}"
        )
    return examples_folder().joinpath(f"{kind}.toml").read_text(encoding="utf-8")


def starter_tables(kind: str) -> tuple[tuple[str, str], ...]:
    """Name and text of each file that the starter names, to be written beside it.

    Parameters
    ----------
    kind : str
        One of `starter_kinds`.

    Raises
    ------
    DesignError
        The kind is unknown.
    """
    text = starter(kind)
    items = sorted(examples_folder().iterdir(), key=lambda item: item.name)
    return tuple(
        (item.name, item.read_text(encoding="utf-8"))
        for item in items
        if item.name.endswith((".csv", ".dxf", ".msh")) and f'"{item.name}"' in text
    )
