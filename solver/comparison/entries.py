"""Entries of the design file that differ: dimensions with tolerance and basis, and all else."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.design.design_file import toml_text
from conegap.solver.comparison.revision import Revision

__all__ = ["Entry", "EntryChange", "entry_changes"]

# Values that a file states in another unit differ by rounding alone.
_ROUNDING = 1e-12


@dataclass(frozen=True)
class Entry:
    """What one revision says under a key.

    Parameters
    ----------
    text : str
        Value with its unit, or the entry as it stands.
    value : float or None
        SI; None where it is no physical quantity.
    tolerance : float or None
        Plus-minus half width, SI.
    tolerance_text : str
    basis : str
        "measured", "drawn" or "assumed"; "" where it is no physical quantity.
    given : bool
        Whether the design file states it; a default otherwise.
    """

    text: str
    value: float | None = None
    tolerance: float | None = None
    tolerance_text: str = ""
    basis: str = ""
    given: bool = True

    @property
    def words(self) -> str:
        """Value, tolerance and basis: "4 um ± 1 um, measured"."""
        tolerance = f" ± {self.tolerance_text}" if self.tolerance_text else ""
        basis = f", {self.basis}" if self.basis else ""
        return f"{self.text}{tolerance}{basis}"


@dataclass(frozen=True)
class EntryChange:
    """A key under which the revisions differ.

    Parameters
    ----------
    key, label : str
        Key of the design file, and words.
    entries : tuple of Entry or None
        One a revision; None where it has no such entry.
    """

    key: str
    label: str
    entries: tuple[Entry | None, ...]

    def what(self, number: int) -> tuple[str, ...]:
        """What differs from the first revision: "value", "tolerance", "basis", "entry".

        Parameters
        ----------
        number : int
            Of the revision.
        """
        first, other = self.entries[0], self.entries[number]
        if first is None or other is None:
            return () if first is other else ("entry",)
        if first.value is None or other.value is None:
            return () if first.text == other.text else ("entry",)
        found = []
        if not _same(first.value, other.value):
            found.append("value")
        if not _same(first.tolerance or 0.0, other.tolerance or 0.0):
            found.append("tolerance")
        if first.basis != other.basis:
            found.append("basis")
        return tuple(found)

    @property
    def follows(self) -> bool:
        """Whether no design file states it: a default that follows from other dimensions."""
        return not any(entry is not None and entry.given for entry in self.entries)


def entry_changes(revisions: Sequence[Revision]) -> tuple[EntryChange, ...]:
    """Every key under which a revision differs from the first, in the order of the design files.

    Parameters
    ----------
    revisions : sequence of Revision
        The first is the one that the others are compared with.
    """
    found = [_entries(revision) for revision in revisions]
    keys = dict.fromkeys(key for entries in found for key in entries)
    changes = []
    for key in sorted(keys, key=_place):
        labels = [entries[key][0] for entries in found if key in entries]
        sides = tuple(entries[key][1] if key in entries else None for entries in found)
        change = EntryChange(key, labels[0], sides)
        if any(change.what(k) for k in range(1, len(sides))):
            changes.append(change)
    return tuple(changes)


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=_ROUNDING, abs_tol=0.0)


_SECTIONS = ("title", "drawing", "emitter", "accelerator", "liquid", "feed", "voltages", "supply")


def _place(key: str) -> int:
    """Order of the sections; within one, sorting keeps that of the files."""
    section = key.partition(".")[0]
    return _SECTIONS.index(section) if section in _SECTIONS else len(_SECTIONS)


def _entries(revision: Revision) -> dict[str, tuple[str, Entry]]:
    """Label and entry by key: what the file states, and the dimensions that it leaves out."""
    document = revision.record["document"]
    found: dict[str, tuple[str, Entry]] = {
        key: (key.rpartition(".")[2].replace("_", " "), Entry(text))
        for key, text in _leaves(document)
    }
    if revision.design is not None:
        for key, entry in _dimensions(revision.design, document):
            found[key] = entry
    return found


def _dimensions(
    design: Design, document: Mapping[str, Any]
) -> Iterator[tuple[str, tuple[str, Entry]]]:
    for one in design.dimensions():
        section, _, name = one.key.partition(".")
        given = name in document.get(section, {})
        entry = Entry(one.text, one.value, one.tolerance, one.tolerance_text, one.basis, given)
        yield one.key, (one.label, entry)


def _leaves(table: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, str]]:
    """Key and text of every entry; a dimension's own table is one entry."""
    for name, value in table.items():
        key = f"{above}.{name}" if above else name
        if isinstance(value, Mapping) and "value" not in value:
            yield from _leaves(value, key)
        elif isinstance(value, Mapping):
            rest = [str(value[part]) for part in ("tolerance", "basis") if part in value]
            yield key, ", ".join([str(value["value"]), *rest])
        else:
            yield key, toml_text(value).strip('"')
