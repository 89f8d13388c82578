"""Design files and tables broken in every way that files break, and what becomes of them.

A broken file must be refused with a message, or be a valid design after all: never a traceback,
never a number, never a file left behind.
"""

from __future__ import annotations

import io
import math
import re
import traceback
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ConegapError
from conegap.geometries.quantities.files import example_names, examples_folder

__all__ = ["BrokenFile", "broken_file", "verdict_of"]

_TABLES = {"profile": "profile_edge.csv", "drawn": "drawn_gap.dxf", "meshed": "meshed_gap.msh"}
_VALUE = re.compile(rb'(?<==)[^\n#=]*"[^"\n]*"[^\n#]*')
_NUMBER = re.compile(rb"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?")

_WORDS: Sequence[bytes] = (
    b"nan", b"inf", b"-inf", b'"nan um"', b'"inf mm"', b"true", b"[]", b"{}", b"[1, 2]", b"0",
    b"-1", b'""', b'"um"', b'"1"', b'"1 um"', b'"-1 um"', b'"0 um"', b'"1e400 um"', b'"1e-400 m"',
    b'"1e300 m"', b'"1e-300 m"', b'"1,5 mm"', b'"1 kg"', b'"1 V"', b'"1 K"', b'"1 mm mm"',
    b'"1 m**1000"', b'"1 um; rm"', b'"\xc2\xb5m 4"', b'"4 \xc2\xb5m"', b'"\xe2\x88\x9e um"',
    b'"\xd9\xa4 um"', b"1979-05-27", b"0x10", b"1_000", b"{ value = 1 }", b'{ value = "1 um" }',
    b'{ value = "1 um", tolerance = "2 um" }', b'{ value = "1 um", tolerance = "-1 um" }',
    b'{ value = "1 um", basis = "guess" }', b'{ tolerance = "1 um" }', b"'''", b'"' + b"9" * 400
    + b' um"', b'"../../etc/passwd"', b'"/dev/null"', b'"."', b'"\\u0000"', b'"needle"',
)  # fmt: skip
_SCRAPS: Sequence[bytes] = (
    b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\t", b"=", b"[", b"]", b"[[emitter]]\n",
    b'"', b"#", b"\xe2\x80\xae", b"\xf0\x9f\x98\x80", b"\n\n\n", b"[emitter]\n", b"a.b.c = 1\n",
    b"{", b"\\", b"\x1b[31m", b"1e999", b",", b";",
)  # fmt: skip


@dataclass(frozen=True)
class BrokenFile:
    """A broken design.

    Parameters
    ----------
    example : str
        The shipped design it was made from.
    damage : str
        What was done, in words.
    design : bytes
        Content of the design file.
    table : bytes or None
        Content of the file beside it, where the example has one.
    """

    example: str
    damage: str
    design: bytes
    table: bytes | None

    def write(self, folder: Path) -> Path:
        """Put the files in a folder and return the design file's place.

        Parameters
        ----------
        folder : Path
        """
        place = folder / "design.toml"
        place.write_bytes(self.design)
        if self.table is not None:
            (folder / _TABLES[self.example]).write_bytes(self.table)
        return place


def broken_file(random: np.random.Generator) -> BrokenFile:
    """A shipped design, or the table beside it, with one to three damages.

    Parameters
    ----------
    random : numpy Generator
    """
    names = example_names()
    name = names[int(random.integers(len(names)))]
    folder = examples_folder()
    design = folder.joinpath(f"{name}.toml").read_bytes()
    beside = _TABLES.get(name)
    table = None if beside is None else folder.joinpath(beside).read_bytes()
    words = []
    for _ in range(int(random.integers(1, 4))):
        damage = _DAMAGES[int(random.integers(len(_DAMAGES)))]
        if table is not None and random.random() < 0.6:
            table = damage(table, random)
            words.append(f"{beside}: {damage.__name__.strip('_')}")
        else:
            design = damage(design, random)
            words.append(damage.__name__.strip("_"))
    return BrokenFile(name, ", ".join(words), design, table)


def _place(content: bytes, random: np.random.Generator) -> int:
    return int(random.integers(len(content) + 1))


def _lines(content: bytes) -> list[bytes]:
    """Lines that say something, which are worth damaging, come as they are; all are kept."""
    return content.splitlines(keepends=True)


def _said(lines: list[bytes], random: np.random.Generator) -> int:
    """Number of a line that is neither empty nor a comment."""
    telling = [k for k, line in enumerate(lines) if line.strip() and not line.startswith(b"#")]
    telling = telling or list(range(len(lines)))
    return telling[int(random.integers(len(telling)))] if telling else 0


def _truncated(content: bytes, random: np.random.Generator) -> bytes:
    return content[: _place(content, random)]


def _scrap_inserted(content: bytes, random: np.random.Generator) -> bytes:
    at = _place(content, random)
    return content[:at] + _SCRAPS[int(random.integers(len(_SCRAPS)))] + content[at:]


def _byte_changed(content: bytes, random: np.random.Generator) -> bytes:
    at = _place(content, random)
    return content[:at] + bytes([int(random.integers(256))]) + content[at + 1 :]


def _stretch_deleted(content: bytes, random: np.random.Generator) -> bytes:
    at = _place(content, random)
    return content[:at] + content[at + int(random.integers(1, 200)) :]


def _line_deleted(content: bytes, random: np.random.Generator) -> bytes:
    lines = _lines(content)
    if lines:
        del lines[_said(lines, random)]
    return b"".join(lines)


def _line_doubled(content: bytes, random: np.random.Generator) -> bytes:
    lines = _lines(content)
    if lines:
        at = _said(lines, random)
        lines.insert(at, lines[at])
    return b"".join(lines)


def _lines_swapped(content: bytes, random: np.random.Generator) -> bytes:
    lines = _lines(content)
    if lines:
        one, two = _said(lines, random), _said(lines, random)
        lines[one], lines[two] = lines[two], lines[one]
    return b"".join(lines)


def _value_replaced(content: bytes, random: np.random.Generator) -> bytes:
    found = list(_VALUE.finditer(content))
    if not found:
        return _scrap_inserted(content, random)
    spot = found[int(random.integers(len(found)))]
    word = _WORDS[int(random.integers(len(_WORDS)))]
    return content[: spot.start()] + b" " + word + content[spot.end() :]


def _number_replaced(content: bytes, random: np.random.Generator) -> bytes:
    found = list(_NUMBER.finditer(content))
    if not found:
        return _scrap_inserted(content, random)
    spot = found[int(random.integers(len(found)))]
    choices = (
        b"nan", b"inf", b"-inf", b"0", b"-" + spot.group(), b"1e308", b"1e-308", b"1e6", b"1e-9",
        spot.group() + b"e3", spot.group() + b"e-3", b"", b"abc", b"--1", b"1.2.3", b"1e",
        b"9" * 40,
    )  # fmt: skip
    word = choices[int(random.integers(len(choices)))]
    return content[: spot.start()] + word + content[spot.end() :]


def _unit_swapped(content: bytes, random: np.random.Generator) -> bytes:
    units = (b"um", b"mm", b"nm", b"m", b"kV", b"V", b"deg", b"K", b"Pa", b"kPa", b"uA", b"furlong")
    found = list(re.finditer(rb"(?<=[\d ,\n])(um|mm|nm|kV|V|deg|K|kPa|Pa|uA|mA|Mohm)\b", content))
    if not found:
        return _scrap_inserted(content, random)
    spot = found[int(random.integers(len(found)))]
    return content[: spot.start()] + units[int(random.integers(len(units)))] + content[spot.end() :]


def _other_alphabet(content: bytes, random: np.random.Generator) -> bytes:
    code = ("utf-16", "utf-8-sig", "latin-1", "utf-7", "cp037")[int(random.integers(5))]
    return content.decode("utf-8", errors="replace").encode(code, errors="replace")


def _noise(content: bytes, random: np.random.Generator) -> bytes:
    return random.bytes(int(random.integers(0, 3000)))


def _line_ends(content: bytes, random: np.random.Generator) -> bytes:
    return content.replace(b"\n", (b"\r", b"\r\n", b"\n\r", b"")[int(random.integers(4))])


_DAMAGES: Sequence[Callable[[bytes, np.random.Generator], bytes]] = (
    _truncated, _scrap_inserted, _byte_changed, _stretch_deleted, _line_deleted, _line_doubled,
    _lines_swapped, _value_replaced, _value_replaced, _value_replaced, _number_replaced,
    _number_replaced, _number_replaced, _unit_swapped, _unit_swapped, _other_alphabet, _noise,
    _line_ends,
)  # fmt: skip


def verdict_of(broken: BrokenFile, folder: Path) -> tuple[str, str]:
    """What became of a broken file that was handed to the reader and to the command line.

    Parameters
    ----------
    folder : Path
        Empty; gets the files.

    Returns
    -------
    str
        "refused", "valid" or "wrong".
    str
        The refusal, or what is wrong.
    """
    place = broken.write(folder)
    before = sorted(item.name for item in folder.iterdir())
    try:
        design = Design.read(place)
    except ConegapError as error:
        if not str(error).strip():
            return "wrong", "a refusal without words"
        return _told(place, folder, before, str(error))
    except Exception:
        return "wrong", traceback.format_exc()
    for dimension in design.dimensions():
        if not math.isfinite(dimension.value):
            return "wrong", f"{dimension.key} = {dimension.value} was accepted"
    if not np.all(np.isfinite(design.section().outline())):
        return "wrong", "the outline is not finite"
    return "valid", ""


def _told(place: Path, folder: Path, before: list[str], reason: str) -> tuple[str, str]:
    """The command line on a file that the reader refuses: exit code 2, words, and nothing else."""
    from conegap.solver.commands.main import main
    from conegap.solver.commands.parser import REFUSED

    out, err = io.StringIO(), io.StringIO()
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main(["onset", str(place), "--to", str(folder / "report")])
    except BaseException:
        return "wrong", traceback.format_exc()
    after = sorted(item.name for item in folder.iterdir())
    if code != REFUSED:
        return "wrong", f"exit code {code}"
    if out.getvalue() or not err.getvalue().startswith("conegap: "):
        return "wrong", f"said {out.getvalue()!r} and {err.getvalue()!r}"
    if after != before:
        return "wrong", f"left {sorted(set(after) - set(before))} behind"
    return "refused", reason
