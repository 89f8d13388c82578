"""Files of a design: the design file, the tables beside it, and the shipped examples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Protocol

from conegap.geometries.quantities.errors import DesignError

__all__ = [
    "Files",
    "FilesInMemory",
    "Folder",
    "example_names",
    "examples_folder",
    "is_file",
    "text_of",
]

_EXAMPLES = "conegap.geometries.examples"


def examples_folder() -> Traversable:
    """Folder of the shipped examples."""
    return resources.files(_EXAMPLES)


def example_names() -> tuple[str, ...]:
    """Names of the shipped examples, for `Design.read` and the command line."""
    found = [item.name for item in examples_folder().iterdir()]
    return tuple(sorted(name[: -len(".toml")] for name in found if name.endswith(".toml")))


def text_of(place: Path) -> str:
    """Content of the text file at a place.

    Raises
    ------
    DesignError
        The file cannot be read, or is not text in UTF-8.
    """
    try:
        return place.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as problem:
        raise DesignError(
            f"{place.name} is not a text file in UTF-8 (byte {problem.start} cannot be read); save "
            "it as plain text"
        ) from problem
    except OSError as problem:
        raise DesignError(f"{place.name} cannot be read: {problem.strerror}") from problem


class Files(Protocol):
    """The files that a design may name, wherever they lie."""

    def text(self, name: str) -> str:
        """Content of a text file; raises `DesignError` where there is none."""

    def content(self, name: str) -> bytes:
        """Content of any file; raises `DesignError` where there is none."""


@dataclass(frozen=True)
class FilesInMemory:
    """Files that are held as texts.

    Parameters
    ----------
    texts : mapping of str to str
        Content by name.
    """

    texts: Mapping[str, str]

    def text(self, name: str) -> str:
        """Content of a text file.

        Raises
        ------
        DesignError
            There is no such file.
        """
        if name not in self.texts:
            raise DesignError(_no_file(name))
        return self.texts[name]

    def content(self, name: str) -> bytes:
        """The same as bytes.

        Raises
        ------
        DesignError
            There is no such file.
        """
        return self.text(name).encode()


@dataclass(frozen=True)
class Folder:
    """Where the tables lie that a design file names.

    Parameters
    ----------
    place : Path or Traversable
        A folder on disk or inside the package.
    """

    place: Path | Traversable

    def text(self, name: str) -> str:
        """Content of a file in this folder.

        Raises
        ------
        DesignError
            There is no such file, or it cannot be read.
        """
        if isinstance(self.place, Path):
            path = self.place / name
            if not is_file(path):
                raise DesignError(_no_file(name))
            return text_of(path)
        item = self.place.joinpath(name)
        if not is_file(item):
            raise DesignError(_no_file(name))
        return item.read_text(encoding="utf-8")

    def content(self, name: str) -> bytes:
        """Content of a file in this folder that is not text, or need not be.

        Raises
        ------
        DesignError
            There is no such file, or it cannot be read.
        """
        item = self.place / name if isinstance(self.place, Path) else self.place.joinpath(name)
        if not is_file(item):
            raise DesignError(_no_file(name))
        try:
            return item.read_bytes()
        except OSError as problem:
            raise DesignError(f"{name} cannot be read: {problem.strerror}") from problem


def exists(place: Path) -> bool:
    """Whether anything is at a place; a name that none can have (too long) is none.

    Parameters
    ----------
    place : Path
    """
    try:
        return place.exists()
    except (OSError, ValueError):
        return False


def is_file(place: Path | Traversable) -> bool:
    """Whether a place is a file; a name that no file can have (too long) is none.

    Parameters
    ----------
    place : Path or Traversable
    """
    try:
        return place.is_file()
    except (OSError, ValueError):
        return False


def _no_file(name: str) -> str:
    name = name if len(name) <= 80 else f"{name[:60]}..."
    return f"there is no file '{name}' beside the design file; give its path relative to it"
