"""A copy of a design file with values changed: comments, order and everything else stay."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import (
    Files,
    Folder,
    example_names,
    examples_folder,
    is_file,
    text_of,
)

if TYPE_CHECKING:
    from tomlkit.items import Item
    from tomlkit.toml_document import TOMLDocument

__all__ = ["edited", "source_files", "source_text", "with_found_values", "with_measured_value"]


def source_text(given: str) -> str:
    """Text of a design file, or of a shipped example by its name.

    Parameters
    ----------
    given : str
        Path or example's name, as `Design.read` takes it.

    Raises
    ------
    DesignError
        It cannot be read.
    """
    place = Path(given)
    if not is_file(place) and given in example_names():
        return examples_folder().joinpath(f"{given}.toml").read_text(encoding="utf-8")
    return text_of(place)


def source_files(given: str) -> Files:
    """Where the files lie that a design file, or a shipped example, names.

    Parameters
    ----------
    given : str
        As for `source_text`.
    """
    place = Path(given)
    if not is_file(place) and given in example_names():
        return Folder(examples_folder())
    return Folder(place.resolve().parent)


def with_measured_value(
    text: str, key: str, value: str, tolerance: str, *, name: str, folder: Path
) -> str:
    """The text of a design file with a value, its tolerance and the basis "measured" written in.

    Parameters
    ----------
    text : str
        TOML.
    key : str
        Key of the design file, "emitter.tip_radius".
    value, tolerance : str
        With units; an empty tolerance leaves it out.
    name : str
        What to call the copy in messages.
    folder : Path
        Where the copy will lie, for the CSV files that it names.

    Raises
    ------
    DesignError
        The entry is written in a way that cannot be changed safely, or the copy is refused.
    """
    import tomlkit
    from tomlkit.items import Table

    section, _, entry = key.partition(".")
    kept = f'tolerance = "{tolerance}", ' if tolerance else ""
    before = {d.key: d.value for d in Design.from_text(text, name, folder).dimensions()}
    document = tomlkit.parse(text)
    part = _section(document, key, name)
    given = {f"{section}.{one}" for one in part}
    if isinstance(part.get(entry), Table):  # dotted keys, or a section of its own
        part.remove(entry)
    _write(part, entry, tomlkit.value(f'{{ value = "{value}", {kept}basis = "measured" }}'))
    written = document.as_string()
    changed = _read_again(written, f"{name}: a copy with {key} = {value}", name, folder)
    after = {d.key: d.value for d in changed.dimensions()}
    drawn = changed.dimension(key)
    if drawn.basis != "measured" or any(
        after[k] != v for k, v in before.items() if k != key and k in given
    ):
        raise DesignError(
            f"{name}: {key} is written in a way that cannot be changed without touching other "
            f"entries; write it on one line in [{section}]",
            keys=(key,),
        )
    return written


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
        There is no section for a value, or the copy is refused.
    """
    written = edited(text, values, name=name)
    _read_again(written, "the design found", name, folder)
    return written


def edited(text: str, values: Sequence[tuple[str, str]], *, name: str) -> str:
    """As `with_found_values`, but not yet read again.

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

    document = tomlkit.parse(text)
    for key, value in values:
        part = _section(document, key, name)
        entry = key.partition(".")[2]
        given = part.get(entry)
        if given is not None and hasattr(given, "get"):
            given["value"] = value
            if "basis" in given:
                given["basis"] = "drawn"
        else:
            _write(part, entry, tomlkit.item(value))
    return document.as_string()


def _section(document: TOMLDocument, key: str, name: str) -> Any:
    """The section of a key's entry."""
    section, _, entry = key.partition(".")
    part = document.get(section)
    if part is None:
        raise DesignError(
            f"{name}: there is no section [{section}] to write {entry} into; give it", keys=(key,)
        )
    return part


def _write(part: Any, entry: str, value: Item) -> None:
    """Set an entry; a new one right under the heading, not behind the next one's comments."""
    from tomlkit.items import Table

    if entry in part or not isinstance(part, Table):
        part[entry] = value
    else:
        part.trivia.trail += f"{entry} = {value.as_string()}{part.trivia.trail}"


def _read_again(written: str, what: str, name: str, folder: Path | Files) -> Design:
    try:
        return Design.from_text(written, name, folder)
    except DesignError as problem:
        raise DesignError(f"{what} cannot be written: {problem}", keys=problem.keys) from problem
