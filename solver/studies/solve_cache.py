"""Finished solves kept in a folder, so that an interrupted run goes on where it stopped.

Every solve is a line of ``solves.jsonl`` under a key made of the design's digest, the changes, the
number of meshes and the package's version: a line of another design, of another version or of a
file that was cut short is never used.  The file is replaced as a whole each time, so that it is
complete at every moment.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError, OutputError
from conegap.solver.common.writing import file_system_refusals
from conegap.solver.studies.variants import Changes

__all__ = [
    "KEPT",
    "SolveCache",
    "key_of",
    "resumable_folder",
]

KEPT = "solves.jsonl"


@dataclass
class SolveCache:
    """Results by key, in memory and, with a path, on disk.

    Parameters
    ----------
    path : Path or None
        The file of lines; None keeps nothing beyond this run.
    rows : dict
        Results by key.
    """

    path: Path | None = None
    rows: dict[str, dict[str, Any]] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"SolveCache({self.path}, {len(self.rows)} solves)"

    @classmethod
    def read(cls, path: Path) -> SolveCache:
        """Results that an earlier run left; a damaged line is passed over."""
        found: dict[str, dict[str, Any]] = {}
        with suppress(OSError, UnicodeDecodeError):
            for line in path.read_text(encoding="utf-8").splitlines():
                with suppress(ValueError):
                    row = json.loads(line)
                    if isinstance(row, dict) and isinstance(row.get("key"), str):
                        found[row["key"]] = row
        return cls(path, found)

    def keep(self, key: str, **result: Any) -> None:
        """Add a result and write the file anew.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        self.rows[key] = {"key": key, "conegap_version": version("conegap"), **result}
        if self.path is None:
            return
        partial = self.path.with_name(f".{self.path.name}.partial-{os.getpid()}")
        text = "".join(json.dumps(row) + "\n" for row in self.rows.values())
        with file_system_refusals(self.path):
            try:
                partial.write_text(text, encoding="utf-8")
                os.replace(partial, self.path)
            finally:
                partial.unlink(missing_ok=True)


def key_of(design: Design, variant: Changes, what: str) -> str:
    """Key of a solve.

    Parameters
    ----------
    variant : tuple of (key, SI value)
    what : str
        What was solved: "2 meshes, moved", "turning point".
    """
    changes = [f"{key} = {value!r}" for key, value in sorted(variant)]
    parts = [design.sha256, version("conegap"), what, *changes]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


@contextmanager
def resumable_folder(place: str | Path, own: tuple[str, ...]) -> Iterator[tuple[Path, SolveCache]]:
    """A folder for results and kept solves, made where it is missing.

    A folder made here is taken away again when the design is refused; after an interrupt or a
    computation that did not converge it stays, with the solves that were finished.

    Parameters
    ----------
    place : str or Path
        Where it shall be.
    own : tuple of str
        Names of the files that a run writes; a folder with others is left alone.

    Yields
    ------
    (Path, SolveCache)
        The folder and the solves of an earlier run.

    Raises
    ------
    OutputError
        The place is taken by something else or cannot be written.
    """
    try:
        target = Path(place).expanduser().resolve()
        present = target.exists()
    except (OSError, RuntimeError, ValueError) as problem:
        raise OutputError(f"'{place}' is no place that can be written: {problem}") from problem
    if present and not target.is_dir():
        raise OutputError(
            f"{target.name} is a file, and is left as it is; give another place with --to"
        )
    if not present and not target.parent.is_dir():
        raise OutputError(
            f"there is no folder {target.parent}; make it first, or choose another place with --to"
        )
    with file_system_refusals(target):
        names = {item.name for item in target.iterdir()} if present else set()
    foreign = sorted(name for name in names - {KEPT, *own} if not name.startswith(f".{KEPT}"))
    if foreign:
        raise OutputError(
            f"the folder {target.name} also holds {', '.join(foreign[:3])}, which this command did "
            "not write; move that away first, or give another place with --to"
        )
    kept = SolveCache.read(target / KEPT)
    if names and not kept.rows:
        raise OutputError(
            f"the folder {target.name} was not written by this command (it has no {KEPT} of "
            "conegap) and is left as it is; give another place with --to"
        )
    with file_system_refusals(target):
        target.mkdir(exist_ok=True)
    try:
        yield target, kept
    except DesignError:
        if not present:
            with suppress(OSError):
                (target / KEPT).unlink(missing_ok=True)
                target.rmdir()
        raise
    finally:
        if not present:
            with suppress(OSError):  # empty: nothing was finished
                target.rmdir()
