"""What a change did: criteria of the review, and numbers of the operating point."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from conegap.solver.comparison.revision import Revision

__all__ = ["CriterionChange", "NumberChange", "criterion_changes", "operation_numbers"]


@dataclass(frozen=True)
class CriterionChange:
    """One criterion in every revision.

    Parameters
    ----------
    name, unit : str
        SI unit, "" for a ratio.
    rows : tuple of mapping or None
        One a revision: value, limit, state, basis as in results.json; None where the revision has
        no such criterion.
    """

    name: str
    unit: str
    rows: tuple[Mapping[str, Any] | None, ...]

    def state(self, number: int) -> str:
        """ "pass", "fail", "not proved", or "" where the revision has no such criterion.

        Parameters
        ----------
        number : int
            Of the revision.
        """
        row = self.rows[number]
        return "" if row is None else str(row["state"])

    @property
    def broken(self) -> tuple[int, ...]:
        """Numbers of the revisions that fail what the first passes."""
        return self._passed_then("fail")

    @property
    def left_open(self) -> tuple[int, ...]:
        """Numbers of the revisions in which what the first passes is not proved."""
        return self._passed_then("not proved")

    def _passed_then(self, state: str) -> tuple[int, ...]:
        if self.state(0) != "pass":
            return ()
        return tuple(k for k in range(1, len(self.rows)) if self.state(k) == state)


@dataclass(frozen=True)
class NumberChange:
    """A number of the results in every revision.

    Parameters
    ----------
    key : str
        As in results.json below its section, with its unit suffix.
    values : tuple of float or None
        SI; None where a revision has none.
    """

    key: str
    values: tuple[float | None, ...]


def criterion_changes(revisions: Sequence[Revision]) -> tuple[CriterionChange, ...]:
    """Every criterion of the first revision, and those that others have besides.

    Parameters
    ----------
    revisions : sequence of Revision
    """
    found = [_rows(revision) for revision in revisions]
    keys = dict.fromkeys(key for rows in found for key in rows)
    changes = []
    for key in keys:
        rows = tuple(side.get(key) for side in found)
        unit = next(str(row["unit"]) for row in rows if row is not None)
        changes.append(CriterionChange(key[0], unit, rows))
    return tuple(changes)


def _rows(revision: Revision) -> dict[tuple[str, int], Mapping[str, Any]]:
    """Rows by name, whatever the metal; where a name comes twice, by its turn as well."""
    turns: Counter[str] = Counter()
    metal = None if revision.design is None else revision.design.metal.name
    found = {}
    for row in revision.results["review"]:
        name = str(row["name"])
        if metal is not None:
            name = name.replace(metal, "the liquid metal")
        found[name, turns[name]] = row
        turns[name] += 1
    return found


def operation_numbers(revisions: Sequence[Revision]) -> tuple[NumberChange, ...]:
    """Every number of the results' section on operation, whatever it offers.

    Parameters
    ----------
    revisions : sequence of Revision
    """
    found = [_numbers(revision.results.get("operation", {})) for revision in revisions]
    keys = dict.fromkeys(key for side in found for key in side)
    return tuple(NumberChange(key, tuple(side.get(key) for side in found)) for key in keys)


def _numbers(table: object, above: str = "") -> dict[str, float]:
    """Numbers by their path; lists, such as curves, are left out."""
    found: dict[str, float] = {}
    if not isinstance(table, Mapping):
        return found
    for name, value in table.items():
        key = f"{above}.{name}" if above else str(name)
        if isinstance(value, Mapping):
            found.update(_numbers(value, key))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found[key] = float(value)
    return found
