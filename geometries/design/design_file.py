"""Reading a design file: TOML, its sections, and every complaint about it in one message."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import ValidationError

from conegap.geometries.design.kinds import (
    ACCELERATORS,
    EMITTERS,
    FEEDS,
    WHOLE_EMITTERS,
    physical_of,
)
from conegap.geometries.emitters.whole_file import WholeAccelerator
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.conditions import (
    Chamber,
    Criteria,
    Insulator,
    Liquid,
    Supply,
    Voltages,
)
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.feed_way import FeedWay, NoFeed
from conegap.geometries.parts.part import Part, Problem
from conegap.geometries.quantities.errors import DesignError, GeometryError
from conegap.geometries.quantities.quantity import QuantityError, as_text, read_quantity

__all__ = ["Complaints", "Parts", "parse_toml", "read_parts", "toml_text"]

_SECTIONS = (
    "title",
    "drawing",
    "emitter",
    "accelerator",
    "liquid",
    "feed",
    "voltages",
    "supply",
    "chamber",
    "insulator",
    "criteria",
)
_NEEDED = ("emitter", "accelerator", "liquid", "voltages")
_LINE = re.compile(r"\(at line (\d+), column (\d+)\)")
_PartType = TypeVar("_PartType", bound=Part)


@dataclass
class Complaints:
    """Collects what is wrong with one design file.

    Parameters
    ----------
    name : str
        Name of the file, for messages.
    text : str
        Its content, to find line numbers in; empty where there is none.
    document : mapping
        The parsed file, to quote values from.
    """

    name: str
    text: str = ""
    document: Mapping[str, Any] = field(default_factory=dict)
    entries: list[str] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    geometry_only: bool = True

    def add(self, key: str, message: str, *, geometry: bool = False) -> None:
        """Add a complaint about a key."""
        self.entries.append(f"{self._where(key)}: {message}")
        self.keys += [key] if key else []
        self.geometry_only = self.geometry_only and geometry

    def extend(self, problems: Iterable[Problem]) -> None:
        """Add the rules that a part found broken."""
        for problem in problems:
            self.add(problem.key, problem.message)

    def wording(self, problem: Problem) -> str:
        """A single remark with its place, for warnings."""
        return f"{self._where(problem.key)}: {problem.message}"

    def raise_if_any(self) -> None:
        """Raise one error with all complaints.

        Raises
        ------
        GeometryError
            Only the geometry is at fault.
        DesignError
            Anything else is wrong.
        """
        if not self.entries:
            return
        kind = GeometryError if self.geometry_only else DesignError
        message = self.entries[0]
        if len(self.entries) > 1:
            listed = "\n".join(f"  - {entry}" for entry in self.entries)
            message = f"{self.name} has {len(self.entries)} errors:\n{listed}"
        raise kind(message, keys=tuple(self.keys))

    def _where(self, key: str) -> str:
        line = _line_of(self.text, key)
        place = f"{self.name}, line {line}" if line else self.name
        if not key:
            return place
        value = _value_at(self.document, key)
        if value is None:
            return f"{place}: {key}"
        shown = toml_text(value) if self.text else _handy(key, value)
        return f"{place}: {key} = {shown}"


@dataclass(frozen=True)
class Parts:
    """The sections of a design file, each in SI."""

    emitter: Emitter
    accelerator: Accelerator
    liquid: Liquid
    feed: FeedWay
    voltages: Voltages
    supply: Supply
    chamber: Chamber
    insulator: Insulator
    criteria: Criteria


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """The tables of a design file.

    Parameters
    ----------
    text : str
        Content of the file.
    name : str
        Its name, for messages.

    Raises
    ------
    DesignError
        Empty, or not TOML; the message gives the line.
    """
    if not text.strip():
        raise DesignError(
            f"{name}: the file is empty; `conegap start needle` writes a complete one"
        )
    try:
        return tomllib.loads(text.lstrip("\ufeff"))
    except RecursionError:
        raise DesignError(f"{name}: brackets are nested too deeply for a design file") from None
    except ValueError as problem:
        if not isinstance(problem, tomllib.TOMLDecodeError):
            # Python itself refuses such a number, without a line.
            raise DesignError(f"{name}: a number has thousands of digits") from None
        place = _LINE.search(str(problem))
        if place:
            number = int(place.group(1))
            lines = text.splitlines()
            shown = lines[number - 1].strip() if number <= len(lines) else ""
            what = _LINE.sub("", str(problem)).strip()
            raise DesignError(
                f"{name}, line {number}: not valid TOML: {what}; the line reads '{shown}'. Put "
                'texts in double quotes: tip_radius = "4 um"'
            ) from problem
        raise DesignError(
            f"{name}: not valid TOML: {problem}; is the file half written?"
        ) from problem


def read_parts(
    document: Mapping[str, Any], complaints: Complaints, *, scanned: bool = False
) -> Parts:
    """The sections of a parsed design file, checked one by one.

    Parameters
    ----------
    document : mapping
        The parsed file.
    complaints : Complaints
        Collects what is wrong.
    scanned : bool
        A changed copy of a checked design, in which a value may fall below its tolerance.

    Raises
    ------
    DesignError
        Anything is wrong.
    """
    for key in document:
        if key not in _SECTIONS:
            complaints.add(key, f"this section is unknown{_nearest(key, _SECTIONS)}")
    given = document.get("emitter")
    whole = isinstance(given, Mapping) and str(given.get("kind")) in WHOLE_EMITTERS
    tables: dict[str, Mapping[str, Any]] = {}
    for key in (*_SECTIONS[2:],):
        table = document.get(key, {})
        if not isinstance(table, Mapping):
            complaints.add(key, f"this must be a section; write [{key}] on a line of its own")
            continue
        if whole and key in ("accelerator", "chamber"):
            if key in document:
                complaints.add(
                    key,
                    "the emitter's file holds the whole section; remove this one, and draw or mesh "
                    f"the {key} there",
                )
            tables[key] = {}
            continue
        if key in _NEEDED and key not in document:
            complaints.add(key, f"this section is missing; add [{key}], or see `conegap start`")
            continue
        tables[key] = table

    def part(key: str, kind: type[_PartType]) -> _PartType | None:
        return _validated(tables[key], key, kind, complaints, scanned) if key in tables else None

    emitter = accelerator = None
    emitter_kind = _kind_of(tables, "emitter", EMITTERS, complaints)
    if emitter_kind is not None:
        emitter = part("emitter", emitter_kind)
    accelerator_kind: type[Accelerator] | None = WholeAccelerator
    if not whole:
        accelerator_kind = _kind_of(tables, "accelerator", ACCELERATORS, complaints)
    if accelerator_kind is not None:
        accelerator = part("accelerator", accelerator_kind)
    feed: FeedWay | None = NoFeed()
    if "feed" in document:
        feed_kind = _kind_of(tables, "feed", FEEDS, complaints)
        feed = part("feed", feed_kind) if feed_kind is not None else None
    liquid, voltages = part("liquid", Liquid), part("voltages", Voltages)
    supply, chamber = part("supply", Supply), part("chamber", Chamber)
    insulator, criteria = part("insulator", Insulator), part("criteria", Criteria)
    every = (emitter, accelerator, liquid, feed, voltages, supply, chamber, insulator, criteria)
    for item in every:
        if item is not None:
            complaints.extend(item.problems())
    if emitter is None or accelerator is None or liquid is None or voltages is None:
        complaints.raise_if_any()
    assert emitter is not None
    assert accelerator is not None
    assert liquid is not None
    assert voltages is not None
    if feed is None or supply is None or chamber is None or insulator is None or criteria is None:
        complaints.raise_if_any()
    assert feed is not None
    assert supply is not None
    assert chamber is not None
    assert insulator is not None
    assert criteria is not None
    return Parts(emitter, accelerator, liquid, feed, voltages, supply, chamber, insulator, criteria)


def toml_text(value: object) -> str:
    """A value as it stands in a design file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        return toml_text(value["value"]) if "value" in value else "{ ... }"
    return str(value)


def _kind_of(
    tables: Mapping[str, Mapping[str, Any]],
    section: str,
    kinds: Mapping[str, type[_PartType]],
    complaints: Complaints,
) -> type[_PartType] | None:
    if section not in tables:
        return None
    kind = tables[section].get("kind")
    if kind is None:
        complaints.add(f"{section}.kind", f"the kind is missing; it is one of {', '.join(kinds)}")
        return None
    if not isinstance(kind, str) or kind not in kinds:
        complaints.add(
            f"{section}.kind",
            f"this kind of {section} is unknown{_nearest(str(kind), kinds)}; "
            f"the kinds are {', '.join(kinds)}",
        )
        return None
    return kinds[kind]


def _validated(
    table: Mapping[str, Any],
    section: str,
    kind: type[_PartType],
    complaints: Complaints,
    scanned: bool,
) -> _PartType | None:
    try:
        return kind.model_validate(dict(table), context={"scanned": scanned})
    except ValidationError as problem:
        for error in problem.errors():
            path = ".".join([section, *(str(step) for step in error["loc"])])
            message = _message(error, kind)
            if message:
                complaints.add(path, message)
        return None


def _message(error: Any, kind: type[Part]) -> str:
    """Our words for one of pydantic's findings; empty where it only follows from another."""
    sort, context = error["type"], error.get("ctx", {})
    name = str(error["loc"][-1]) if error["loc"] else ""
    if sort == "default_factory_not_called":
        return ""
    if sort == "value_error":
        return str(context.get("error", error["msg"]))
    if sort == "missing":
        return _missing(kind, error["loc"], name)
    if sort == "extra_forbidden":
        known = _part_at(kind, error["loc"][:-1]).model_fields
        return f"this key is unknown{_nearest(name, known)}; the keys are {', '.join(known)}"
    if sort == "none_required":
        return "this has no meaning for a section that comes in one file; remove it"
    if sort == "literal_error":
        return f"this must be one of {context.get('expected', '')}"
    if sort.startswith("bool"):
        return "this must be true or false, without quotes"
    if sort.startswith("string"):
        return "this must be a text in double quotes"
    if sort.startswith("float"):
        return "this must be a plain number without a unit"
    return str(error["msg"])


def _part_at(kind: type[Part], path: Iterable[Any]) -> type[Part]:
    """The part that holds a nested key such as liquid.custom.name."""
    from typing import get_args

    for step in path:
        if step not in kind.model_fields:
            return kind
        annotation = kind.model_fields[step].annotation
        for option in (annotation, *get_args(annotation)):
            if isinstance(option, type) and issubclass(option, Part):
                kind = option
    return kind


def _missing(kind: type[Part], path: tuple[Any, ...], name: str) -> str:
    info = _part_at(kind, path[:-1]).model_fields.get(name)
    words = info.description if info is not None and info.description else ""
    example = info.examples[0] if info is not None and info.examples else ""
    text = "this key is missing"
    if example:
        quote = "" if example in ("true", "false") else '"'
        text += f": add {name} = {quote}{example}{quote}"
    return f"{text} ({words})" if words else text


def _nearest(word: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.5)
    return f", did you mean '{close[0]}'?" if close else ""


def _value_at(document: Mapping[str, Any], key: str) -> object | None:
    value: Any = document
    for step in key.split("."):
        if not isinstance(value, Mapping) or step not in value:
            return None
        value = value[step]
    return value if key.count(".") else None


def _handy(key: str, value: object) -> str:
    """A value of a changed copy, kept in SI with every digit, in a readable unit."""
    text, physical = toml_text(value), physical_of(key)
    if physical is None:
        return text
    try:
        quantity = read_quantity(text.strip('"'), physical.kind)
    except QuantityError:
        return text
    return f'"{as_text(quantity.value, physical.kind)}"'


def _line_of(text: str, key: str) -> int | None:
    """Line on which a key stands, as far as a plain search finds it."""
    if not text or not key:
        return None
    section, _, name = key.rpartition(".")
    current = ""
    for number, line in enumerate(text.splitlines(), start=1):
        head = re.match(r"\s*\[\s*([\w.]+)\s*\]", line)
        if head:
            current = head.group(1)
            if current == key:
                return number
        elif current == section and re.match(rf"\s*{re.escape(name)}\s*[.=]", line):
            return number
    return None
