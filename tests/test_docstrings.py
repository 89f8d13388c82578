"""Docstrings: everything public is documented, with names, units and nothing missing."""

from __future__ import annotations

import importlib
import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType

import pytest

ROOT = Path(__file__).resolve().parents[1]
NAMES = sorted(
    ".".join(("conegap", *path.relative_to(ROOT).with_suffix("").parts))
    for package in ("geometries", "solver", "validation")
    for path in (ROOT / package).rglob("*.py")
    if path.name != "__init__.py"
)

SAYS_ALL = re.compile(
    r"(?!Any|Path|Sequence|Mapping|Iterable|\w*Array)([A-Z]|\w+\.[A-Z])\w*( \| None)?|Callable.*"
)


def documented(module_name: str) -> Iterator[tuple[str, object]]:
    """Public functions and classes of a module, and public methods of those classes."""
    module = importlib.import_module(module_name)
    for name, thing in vars(module).items():
        if name.startswith("_") or getattr(thing, "__module__", None) != module_name:
            continue
        if inspect.isclass(thing):
            yield name, thing
            for key, member in vars(thing).items():
                if key.startswith("_"):
                    continue
                if isinstance(member, classmethod | staticmethod):
                    member = member.__func__
                if isinstance(member, property):
                    member = member.fget
                if isinstance(member, FunctionType):
                    yield f"{name}.{key}", getattr(thing, key) if key in vars(thing) else member
        elif inspect.isfunction(thing):
            yield name, thing


def functions(module_name: str) -> Iterator[tuple[str, FunctionType]]:
    """Public functions of a module, without methods."""
    for name, thing in documented(module_name):
        if inspect.isfunction(thing) and "." not in name:
            yield name, thing


def text_of(thing: FunctionType) -> str:
    """Docstring, with that of the functions it refers to ("same parameters as `name`")."""
    text = inspect.getdoc(thing) or ""
    if not re.search(r"[Pp]arameters as|[Ss]ame parameters|[Ss]ee `|[Aa]s\s+for\s+`|from `", text):
        return text
    for target in re.findall(r"`([\w.]+)`", text):
        module_name, _, name = target.rpartition(".")
        module = importlib.import_module(module_name or thing.__module__)
        text += "\n" + (inspect.getdoc(getattr(module, name, None)) or "")
    return text


def entry_of(parameter: str, text: str) -> str:
    """What a docstring says about a parameter: its entry, or all of a text without entries."""
    _, section, entries = text.partition("----------\n")
    block: list[str] = []
    for line in entries.splitlines():
        if not line.startswith(" "):
            if block:
                break
            head = re.findall(r"\w+", line.partition(":")[0])
            block = [line] if parameter in head else []
        elif block:
            block.append(line)
    return "\n".join(block) if section and block else text


@pytest.mark.parametrize("module_name", NAMES)
def test_everything_public_has_a_docstring(module_name: str) -> None:
    """INVARIANT: modules, classes, functions and methods say what they are."""
    assert (importlib.import_module(module_name).__doc__ or "").strip(), module_name
    missing = [name for name, thing in documented(module_name) if not inspect.getdoc(thing)]
    assert not missing


@pytest.mark.parametrize("module_name", NAMES)
def test_every_parameter_is_named(module_name: str) -> None:
    """INVARIANT: a docstring names each parameter that its type, a class, does not explain."""
    missing = [
        f"{name}({parameter})"
        for name, function in functions(module_name)
        for parameter, what in inspect.signature(function).parameters.items()
        if not SAYS_ALL.fullmatch(str(what.annotation))
        and not re.search(rf"\b{parameter}\b", text_of(function))
    ]
    assert not missing


@pytest.mark.parametrize("module_name", NAMES)
def test_every_number_has_a_unit(module_name: str) -> None:
    """INVARIANT: a float carries its unit in brackets, [-] for a pure number, or names a unit."""
    missing = []
    for name, function in functions(module_name):
        for parameter, what in inspect.signature(function).parameters.items():
            if re.match(r"float\b", str(what.annotation)):
                entry = entry_of(parameter, text_of(function))
                if not re.search(r"\[[^\]\n]+\]|\bSI\b|\bunits?\b", entry):
                    missing.append(f"{name}({parameter})")
    assert not missing


def test_a_function_without_units_is_found() -> None:
    """EXACT: an entry without brackets is caught although another entry has them."""
    text = (
        "Do it.\n\nParameters\n----------\ngap : float\n    Width, [m].\nangle : float\n    Tilt."
    )
    assert "[" in entry_of("gap", text)
    assert "[" not in entry_of("angle", text)
    assert entry_of("gap", "At a gap, [m].") == "At a gap, [m]."
