"""Revisions side by side: the whole comparison, and what it writes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.notebook import html_table
from conegap.solver.common.progress import Progress
from conegap.solver.comparison.effects import (
    CriterionChange,
    NumberChange,
    criterion_changes,
    operation_numbers,
)
from conegap.solver.comparison.entries import EntryChange, entry_changes
from conegap.solver.comparison.revision import Revision
from conegap.solver.comparison.shares import Shares, shares_between

__all__ = ["MOST_REVISIONS", "Comparison", "compare"]

# What a page still shows side by side.
MOST_REVISIONS = 6


@dataclass(frozen=True)
class Comparison:
    """Two or more revisions; build with `compare`.

    Parameters
    ----------
    revisions : tuple of Revision
        The first is the one that the others are compared with.
    changes : tuple of EntryChange
    criteria : tuple of CriterionChange
    operation : tuple of NumberChange
    shares : tuple of Shares
        One for every revision but the first; empty where they were not asked for.
    warnings : tuple of str
    """

    revisions: tuple[Revision, ...]
    changes: tuple[EntryChange, ...]
    criteria: tuple[CriterionChange, ...]
    operation: tuple[NumberChange, ...]
    shares: tuple[Shares, ...]
    warnings: tuple[str, ...]

    @property
    def broken(self) -> tuple[tuple[str, str], ...]:
        """Criteria that the first revision passes and another fails: (criterion, revision)."""
        return tuple(
            (row.name, self.revisions[k].name) for row in self.criteria for k in row.broken
        )

    @property
    def left_open(self) -> tuple[tuple[str, str], ...]:
        """Criteria that the first revision passes and another leaves open, with its name."""
        return tuple(
            (row.name, self.revisions[k].name) for row in self.criteria for k in row.left_open
        )

    def __repr__(self) -> str:
        names = ", ".join(f"{one.name} {one.voltage:.6g} V" for one in self.revisions)
        return (
            f"Comparison({names}; {len(self.changes)} entries differ, {len(self.broken)} criteria "
            "that passed fail)"
        )

    def _repr_html_(self) -> str:
        rows: list[tuple[str, ...]] = [
            ("first emission [V]", *(f"{one.voltage:.6g}" for one in self.revisions)),
        ]
        for change in self.changes:
            cells = ("not given" if one is None else one.words for one in change.entries)
            rows.append((change.key, *cells))
        for row in self.criteria:
            rows.append((row.name, *(row.state(k) or "none" for k in range(len(row.rows)))))
        return html_table("Comparison", rows, ("", *(one.name for one in self.revisions)))

    def as_dict(self) -> dict[str, Any]:
        """Everything for results.json, SI, one unit suffix per key."""
        return {
            "conegap_version": version("conegap"),
            "warnings": list(self.warnings),
            "revisions": [
                {
                    "name": one.name,
                    "title": one.results.get("title", ""),
                    "design_sha256": one.results.get("design_sha256", ""),
                    "criterion": one.criterion,
                    "numerical_error": one.numerical_error,
                    "first_emission": dict(one.first_emission),
                }
                for one in self.revisions
            ],
            "changes": [
                {
                    "key": change.key,
                    "label": change.label,
                    "follows": change.follows,
                    "revisions": [
                        None
                        if one is None
                        else {
                            "text": one.text,
                            "value": one.value,
                            "tolerance": one.tolerance,
                            "basis": one.basis,
                            "given": one.given,
                            "differs_in": list(change.what(k)),
                        }
                        for k, one in enumerate(change.entries)
                    ],
                }
                for change in self.changes
            ],
            "review": [
                {
                    "name": row.name,
                    "unit": row.unit,
                    "revisions": [None if one is None else dict(one) for one in row.rows],
                    "broken": bool(row.broken),
                    "left_open": bool(row.left_open),
                }
                for row in self.criteria
            ],
            "operation": {one.key: list(one.values) for one in self.operation},
            "shares": [_shares_dict(shares) for shares in self.shares],
        }


def compare(
    revisions: Sequence[Revision], *, shares: bool = True, progress: Progress | None = None
) -> Comparison:
    """Put revisions side by side.

    Parameters
    ----------
    revisions : sequence of Revision
        From `solved_revision` and `read_revision`, two to six; the first is the one that the
        others are compared with.
    shares : bool
        Solve the share of every changed entry: a field solve each, in the first revision.
    progress : callable or None

    Raises
    ------
    DesignError
        Fewer than two or more than six revisions, or two of one name.
    ComputationError
        The first revision's onset could not be solved again.
    """
    count = len(revisions)
    if not 2 <= count <= MOST_REVISIONS:
        raise DesignError(
            f"compare: {count} revisions; give two to {MOST_REVISIONS} designs or report folders"
        )
    names = [one.name for one in revisions]
    if len(set(names)) < count:
        raise DesignError(f"compare: two revisions are called the same: {', '.join(names)}")
    changes = entry_changes(revisions)
    found: tuple[Shares, ...] = ()
    if shares:
        found = tuple(
            shares_between(revisions[0], revisions[k], k, changes, progress)
            for k in range(1, count)
        )
    return Comparison(
        tuple(revisions),
        changes,
        criterion_changes(revisions),
        operation_numbers(revisions),
        found,
        _warnings(revisions),
    )


def _warnings(revisions: Sequence[Revision]) -> tuple[str, ...]:
    """What makes the difference of two voltages no difference of two designs."""
    found = []
    for what, words in (
        ([one.criterion for one in revisions], "the onset is found in different ways"),
        (
            [str(one.results.get("conegap_version")) for one in revisions],
            "the reports were written by different versions of conegap",
        ),
    ):
        if len(set(what)) > 1:
            sides = ", ".join(
                f"{one.name} {side}" for one, side in zip(revisions, what, strict=True)
            )
            found.append(f"{words} ({sides}): part of the difference comes from that")
    return tuple(found)


def _shares_dict(shares: Shares) -> dict[str, Any]:
    return {
        "before_V": shares.before,
        "after_V": shares.after,
        "difference_V": shares.total,
        "single": [
            {
                "key": one.key,
                "before": one.before,
                "after": one.after,
                "shift_V": one.shift,
                "dimension": one.dimension,
                "remark": one.remark,
            }
            for one in shares.single
        ],
        "together_V": shares.together,
        "interaction_V": shares.interaction,
        "rest_V": shares.rest,
        "numerical_error_V": shares.error,
        "refusal": shares.refusal,
    }
