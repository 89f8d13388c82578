"""How much of a change of the onset each changed entry of the drawing makes.

Every changed entry is set alone into the first revision and solved, then all of them together, on
the first revision's own mesh where only dimensions changed; with another metal or the like the
other revision itself is all of them together.  What the single shares do not add up to is the
interaction of the changes; what is left of the difference between both first emissions after that
is the rest: another place or mode that comes first, what could not be solved, and the numerical
error of both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from conegap.geometries.design.record import design_of_record, with_entries
from conegap.geometries.quantities.errors import ConegapError
from conegap.solver.common.progress import Progress
from conegap.solver.comparison.entries import EntryChange
from conegap.solver.comparison.revision import Revision
from conegap.solver.liquid.free_surface import OnsetCriterion
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.variant_solver import Shift
from conegap.solver.studies.variants import Changes

__all__ = ["Share", "Shares", "shares_between"]

# Sections that can move an onset.
_ACTING = ("emitter", "accelerator", "liquid", "voltages", "chamber")


@dataclass(frozen=True)
class Share:
    """What one changed entry does alone.

    Parameters
    ----------
    key, label : str
    before, after : str
        Value of the first revision and of the other.
    shift : float or None
        Of the first emission, where this entry alone is changed, [V]; None where it cannot be
        changed alone.
    remark : str
        Why not, or what the shift is that of; "" where there is nothing to say.
    dimension : bool
        Whether it is a physical quantity, solved on the first revision's own mesh.
    """

    key: str
    label: str
    before: str
    after: str
    shift: float | None
    remark: str = ""
    dimension: bool = True


@dataclass(frozen=True)
class Shares:
    """Shares of the difference of two first emissions; they add up to it.

    Parameters
    ----------
    before, after : float
        First emission of both revisions, [V].
    single : tuple of Share
        The largest first.
    together : float or None
        Shift of the first revision's onset with all changes together, [V]; None where a change
        cannot be solved alone or all of them not together.
    error : float
        Numerical error of the difference, both added in quadrature, [V].
    refusal : str
        Why there are no shares, "" where there are.
    """

    before: float
    after: float
    single: tuple[Share, ...] = ()
    together: float | None = None
    error: float = 0.0
    refusal: str = ""

    @property
    def total(self) -> float:
        """Difference of the first emissions, [V]."""
        return self.after - self.before

    @property
    def interaction(self) -> float | None:
        """All changes together less each alone, [V]."""
        if self.together is None:
            return None
        return self.together - sum(one.shift or 0.0 for one in self.single)

    @property
    def rest(self) -> float:
        """What neither the single shares nor their interaction explain, [V]."""
        known = sum(one.shift or 0.0 for one in self.single)
        return self.total - known - (self.interaction or 0.0)


def shares_between(
    first: Revision,
    other: Revision,
    number: int,
    changes: Sequence[EntryChange],
    progress: Progress | None = None,
) -> Shares:
    """Solve the shares of one revision's changes.

    Parameters
    ----------
    first, other : Revision
    number : int
        Of the other revision among the entries of the changes.
    changes : sequence of EntryChange
    progress : callable or None

    Raises
    ------
    ComputationError
        The first revision's onset could not be solved again.
    """
    error = math.hypot(first.voltage * first.numerical_error, other.voltage * other.numerical_error)
    bare = Shares(first.voltage, other.voltage, error=error)
    if first.design is None or other.design is None:
        return replace(bare, refusal=first.without or other.without)
    for section in ("emitter", "accelerator"):
        kinds = [one.record["document"].get(section, {}).get("kind") for one in (first, other)]
        if kinds[0] != kinds[1]:
            words = (
                f"{section}.kind: there are no dimensions to change from {kinds[0]} to {kinds[1]}"
            )
            return replace(bare, refusal=words)
    acting = [
        change
        for change in changes
        if change.key.partition(".")[0] in _ACTING
        and not change.follows
        and {"value", "entry"} & set(change.what(number))
    ]
    if not acting:
        return bare
    onset = first.onset(progress)
    values: Changes = tuple(
        (change.key, value) for change in acting if (value := _value(change, number)) is not None
    )
    variants: list[Changes] = [(one,) for one in values]
    if len(values) > 1:
        variants.append(values)
    shifts = dict(zip(variants, onset.variants.shifts(variants, "shares"), strict=True))
    single = [
        _dimension_share(change, number, first, shifts[((change.key, value),)])
        if (value := _value(change, number)) is not None
        else _entry_share(change, number, first, other, onset, progress)
        for change in acting
    ]
    together = None
    if values:
        whole = shifts[values if len(values) > 1 else (values[0],)]
        together = None if isinstance(whole, str) else first.voltage * (whole.ratio - 1.0)
    if any(not one.dimension for one in single):
        # The other revision itself is what all changes together make.
        together = first.voltage * (other.onset_voltage / first.onset_voltage - 1.0)
    if any(one.shift is None for one in single):
        together = None  # nothing to compare it with
    single.sort(key=lambda one: -abs(one.shift or 0.0))
    return replace(bare, single=tuple(single), together=together)


def _value(change: EntryChange, number: int) -> float | None:
    """The other revision's value of a physical quantity, SI, or None."""
    entry = change.entries[number]
    return None if entry is None or change.key.count(".") != 1 else entry.value


def _words(change: EntryChange, number: int) -> tuple[str, str]:
    before, after = change.entries[0], change.entries[number]
    return tuple("not given" if one is None else one.text for one in (before, after))  # type: ignore[return-value]


def _dimension_share(
    change: EntryChange, number: int, first: Revision, shift: Shift | str
) -> Share:
    words = _words(change, number)
    if isinstance(shift, str):
        return Share(change.key, change.label, *words, None, shift)
    volts = first.voltage * (shift.ratio - 1.0)
    remark = f"of the rigid surface: {shift.lost}" if shift.lost else ""
    return Share(change.key, change.label, *words, volts, remark)


def _entry_share(
    change: EntryChange,
    number: int,
    first: Revision,
    other: Revision,
    onset: Onset,
    progress: Progress | None,
) -> Share:
    """An entry that is no physical quantity, such as the metal: a solve of its own."""
    words = _words(change, number)
    criterion: OnsetCriterion = "rigid" if onset.meniscus is None else "meniscus"
    try:
        design = design_of_record(
            with_entries(first.record, other.record, [change.key]), first.name
        )
        found = solve_onset(design, criterion=criterion, accuracy=onset.accuracy, progress=progress)
    except ConegapError as problem:
        return Share(change.key, change.label, *words, None, str(problem), dimension=False)
    volts = first.voltage * (found.voltage / onset.voltage - 1.0)
    return Share(change.key, change.label, *words, volts, dimension=False)
