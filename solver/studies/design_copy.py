"""A copy of a design file with one value changed: comments, order and everything else stay."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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

__all__ = ["source_files", "source_text", "with_measured_value"]


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
    written = f'{{ value = "{value}", {kept}basis = "measured" }}'
    before = {d.key: d.value for d in Design.from_text(text, name, folder).dimensions()}
    document = tomlkit.parse(text)
    part: Any = document.get(section)
    if part is None:
        raise DesignError(
            f"{name}: there is no section [{section}] to write {entry} into", keys=(key,)
        )
    given = {f"{section}.{one}" for one in part}
    if isinstance(part.get(entry), Table):  # dotted keys, or a section of its own
        part.remove(entry)
    if entry in part or not isinstance(part, Table):
        part[entry] = tomlkit.value(written)
    else:  # right under the heading, not behind the comments that lead to the next section
        part.trivia.trail += f"{entry} = {written}{part.trivia.trail}"
    try:
        changed = Design.from_text(document.as_string(), name, folder)
    except DesignError as problem:
        raise DesignError(
            f"{name}: a copy with {key} = {value} cannot be written: {problem}",
            keys=problem.keys,
        ) from problem
    after = {d.key: d.value for d in changed.dimensions()}
    drawn = changed.dimension(key)
    if drawn.basis != "measured" or any(
        after[k] != v for k, v in before.items() if k != key and k in given
    ):
        raise DesignError(
            f"{name}: {key} is written in a way that cannot be changed without touching other "
            f"entries; write it on one line in [{section}]"
        )
    return document.as_string()
