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
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError, OutputError
from conegap.solver.common.progress import Progress
from conegap.solver.common.writing import file_system_refusals
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.studies.scan import Changes, drawn_mesh, onset_of_variants
from conegap.solver.studies.turning_variants import TurningStart, turning_voltages

__all__ = [
    "KEPT",
    "OnsetOf",
    "SolveCache",
    "resumable_folder",
    "solved_onset",
    "solved_turning",
]

KEPT = "solves.jsonl"

OnsetOf = Callable[[Sequence[Changes], str], Sequence[float]]
"""Takes variants of a design and what they are for, gives their onset voltages, [V]."""


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
    design : Design
    variant : tuple of (key, SI value)
    what : str
        What was solved: "2 meshes, moved", "turning point".
    """
    changes = [f"{key} = {value!r}" for key, value in sorted(variant)]
    parts = [design.sha256, version("conegap"), what, *changes]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def solved_onset(
    design: Design,
    kept: SolveCache,
    *,
    progress: Progress | None = None,
) -> OnsetOf:
    """Rigid onset of variants by solves on two meshes, two at a time, each solved only once.

    Parameters
    ----------
    design : Design
    kept : SolveCache
        Where finished solves are looked up and kept.
    progress : callable or None

    Returns
    -------
    callable
        Takes variants and what the progress is called, gives voltages, [V]; raises
        DesignError where a variant has no onset.
    """

    drawn = cache(partial(drawn_mesh, design))

    def onset(variants: Sequence[Changes], what: str) -> list[float]:
        keys = [key_of(design, variant, "2 meshes, moved") for variant in variants]
        missing = {k: v for k, v in zip(keys, variants, strict=True) if k not in kept.rows}

        def finished(number: int, result: RigidOnset | str) -> None:
            if isinstance(result, RigidOnset):
                kept.keep(list(missing)[number], voltage_V=result.voltage)

        results = onset_of_variants(
            design,
            list(missing.values()),
            meshes=2,
            near=drawn() if missing else None,
            progress=progress,
            what=what,
            finished=finished,
        )
        for variant, result in zip(missing.values(), results, strict=True):
            if isinstance(result, str):
                changes = ", ".join(f"{key} = {value:.6g} (SI)" for key, value in variant)
                raise DesignError(
                    f"with {changes}, within the tolerances, the design cannot be computed: "
                    f"{result}"
                )
        return [float(kept.rows[key]["voltage_V"]) for key in keys]

    return onset


def solved_turning(
    design: Design,
    kept: SolveCache,
    start: TurningStart,
    notes: list[str],
    *,
    progress: Progress | None = None,
) -> OnsetOf:
    """Turning point of variants by solves on two meshes, two at a time, each solved only once.

    Where it is not found for a variant, that of the drawn design is shifted as the rigid onset
    shifts.

    Parameters
    ----------
    design : Design
    kept : SolveCache
        Where finished solves are looked up and kept.
    start : TurningStart
        Of the design as drawn.
    notes : list of str
        Gets a sentence for every variant that was shifted so.
    progress : callable or None

    Returns
    -------
    callable
        Takes variants and what the progress is called, gives voltages, [V]; raises
        DesignError where a variant has no onset, ContinuationError where the drawn design's own
        turning point is not found on two meshes.
    """
    what_of = "turning point, 2 meshes, moved"
    rigid = solved_onset(design, kept, progress=progress)

    def solve(variants: Sequence[Changes], what: str) -> list[float | str]:
        keys = [key_of(design, variant, what_of) for variant in variants]
        missing = {k: v for k, v in zip(keys, variants, strict=True) if k not in kept.rows}

        def finished(number: int, result: float | str) -> None:
            if not isinstance(result, str):
                kept.keep(list(missing)[number], voltage_V=result)

        solved = turning_voltages(
            design, missing.values(), start, progress=progress, what=what, finished=finished
        )
        reasons = dict(zip(missing, solved, strict=True))
        return [
            float(kept.rows[key]["voltage_V"]) if key in kept.rows else reasons[key] for key in keys
        ]

    def onset(variants: Sequence[Changes], what: str) -> list[float]:
        drawn, *found = solve([(), *variants], what)
        if isinstance(drawn, str):
            raise ContinuationError(drawn)
        voltages = []
        for variant, value in zip(variants, found, strict=True):
            if isinstance(value, str):
                near, far = rigid([(), variant], what)
                changes = ", ".join(f"{key} = {number:.6g} (SI)" for key, number in variant)
                notes.append(
                    f"with {changes} the turning point was not found ({value}); that onset is "
                    "shifted as the rigid surface's"
                )
                value = drawn * far / near
            voltages.append(value)
        return voltages

    return onset


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
