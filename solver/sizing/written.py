"""A copy of a design file with the found values written in; everything else stays."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import Files

__all__ = ["edited", "with_found_values"]


def with_found_values(
    text: str, values: Sequence[tuple[str, str]], *, name: str, folder: Path | Files
) -> str:
    """The text of a design file with some values changed; tolerances and comments stay.

    A changed value that was measured or assumed is drawn from now on.

    Parameters
    ----------
    text : str
        TOML.
    values : sequence of (str, str)
        Keys of the design file and values with units.
    name : str
        What to call the copy in messages.
    folder : Path or Files
        Where the files lie that it names.

    Raises
    ------
    DesignError
        An entry is written in a way that cannot be changed, or the copy is refused.
    """
    written = edited(text, values, name=name)
    try:
        Design.from_text(written, name, folder)
    except DesignError as problem:
        raise DesignError(
            f"the design found cannot be written: {problem}", keys=problem.keys
        ) from problem
    return written


def edited(text: str, values: Sequence[tuple[str, str]], *, name: str) -> str:
    """The text of a design file with some values changed, not yet read again.

    Parameters
    ----------
    text : str
        TOML.
    values : sequence of (str, str)
        Keys of the design file and what to write.
    name : str
        What to call the copy in messages.

    Raises
    ------
    DesignError
        There is no section for a value.
    """
    import tomlkit

    document: Any = tomlkit.parse(text)
    for key, value in values:
        section, _, entry = key.partition(".")
        part = document.get(section)
        if part is None:
            raise DesignError(
                f"{name}: there is no section [{section}] to write {entry} = {value} into; give it",
                keys=(key,),
            )
        given = part.get(entry)
        if given is not None and hasattr(given, "get"):
            given["value"] = value
            if "basis" in given:
                given["basis"] = "drawn"
        else:
            part[entry] = value
    return str(document.as_string())
