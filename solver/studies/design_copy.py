"""A copy of a design file with one value changed: comments, order and everything else stay."""

from __future__ import annotations

import re
from pathlib import Path

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import example_names, examples_folder, is_file, text_of

__all__ = ["source_text", "with_measured_value"]

_SECTION = re.compile(r"[ \t]*\[([^\[\]]+)\][ \t]*(?:#.*)?$")


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
    section, _, entry = key.partition(".")
    kept = f'tolerance = "{tolerance}", ' if tolerance else ""
    written = f'{entry} = {{ value = "{value}", {kept}basis = "measured" }}'
    value_of = r"""(?:"[^"\n]*"|'[^'\n]*'|\{[^{}\n]*\})"""
    line_of = re.compile(
        rf"(?P<indent>[ \t]*){re.escape(entry)}[ \t]*=[ \t]*{value_of}(?P<rest>[ \t]*(?:#.*)?)$"
    )
    lines = text.splitlines(keepends=True)
    inside, head, done = False, -1, False
    for k, line in enumerate(lines):
        bare = line.rstrip("\r\n")
        found = _SECTION.match(bare)
        if found:
            inside = found.group(1).strip() == section
            head = k if inside else head
            continue
        match = line_of.match(bare) if inside else None
        if match:
            lines[k] = match["indent"] + written + match["rest"] + line[len(bare) :]
            done = True
            break
    if not done:
        if head < 0:
            raise DesignError(f"{name}: there is no section [{section}] to write {entry} into")
        end = lines[head][len(lines[head].rstrip("\r\n")) :] or "\n"
        lines[head] = lines[head].rstrip("\r\n") + end
        lines.insert(head + 1, written + end)
    copy = "".join(lines)
    try:
        before = {d.key: d.value for d in Design.from_text(text, name, folder).dimensions()}
        changed = Design.from_text(copy, name, folder)
    except DesignError as problem:
        raise DesignError(
            f"{name}: a copy with {key} = {value} cannot be written: {problem}"
        ) from problem
    after = {d.key: d.value for d in changed.dimensions()}
    drawn = changed.dimension(key)
    if drawn.basis != "measured" or any(
        after[k] != v for k, v in before.items() if k != key and k in _given(text, section)
    ):
        raise DesignError(
            f"{name}: {key} is written in a way that cannot be changed without touching other "
            f"entries; write it on one line in [{section}]"
        )
    return copy


def _given(text: str, section: str) -> set[str]:
    """Keys that a file gives in a section; the others are defaults that may follow the value."""
    import tomllib

    part = tomllib.loads(text).get(section, {})
    return {f"{section}.{name}" for name in part}
