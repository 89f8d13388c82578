"""How far a computation is and how long the rest of a stage may take, from its own progress calls.

Nothing is said that is not known: a stage whose end is open (total 0) has steps so far and no time
to go, and one that turns out longer than announced becomes such a stage.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

__all__ = ["StageClock", "Step"]

# Steps after which the time of one is worth an estimate of the others.
_FEWEST = 1


@dataclass(frozen=True)
class Step:
    """One progress call with its times.

    Parameters
    ----------
    stage : str
        What is being done: the part of the call's words before ": ".
    detail : str
        The rest of the words.
    done : int
        Steps done.
    total : int or None
        Steps in all, None where that is not known.
    elapsed : float
        Since the first call of the stage, [s].
    to_go : float or None
        Of this stage at its pace so far, None where it cannot be told, [s].
    """

    stage: str
    detail: str
    done: int
    total: int | None
    elapsed: float
    to_go: float | None

    @property
    def count(self) -> str:
        """ "12 of 40", or "12 so far" where the end is open."""
        return f"{self.done} so far" if self.total is None else f"{self.done} of {self.total}"

    @property
    def rest(self) -> str:
        """ "about 2 min left", or "" where that cannot be told or is over."""
        if self.to_go is None or self.done == self.total:
            return ""
        if self.to_go < 99.5:
            return f"about {max(1.0, self.to_go):.0f} s left"
        return f"about {self.to_go / 60.0:.0f} min left"

    @property
    def words(self) -> str:
        """The whole step in a line, without its elapsed time."""
        detail = f" ({self.detail})" if self.detail else ""
        rest = f", {self.rest}" if self.rest else ""
        return f"{self.stage}{detail}: {self.count}{rest}"


@dataclass
class StageClock:
    """Turns progress calls into steps.

    Parameters
    ----------
    now : callable
        Gives a time that never goes back, [s].
    """

    now: Callable[[], float]
    _begun: dict[str, tuple[float, int]] = field(default_factory=dict)
    _last: dict[str, int] = field(default_factory=dict)
    _open: set[str] = field(default_factory=set)

    def step(self, what: str, done: int, total: int) -> Step:
        """The step of a progress call.

        Parameters
        ----------
        what : str
            "stage" or "stage: detail".
        done, total : int
            Steps done and in all, 0 where the end is open.
        """
        stage, _, detail = what.partition(": ")
        time = self.now()
        if stage not in self._begun or done < self._last[stage]:  # new, or run once more
            self._begun[stage] = (time, done)
            self._open.discard(stage)
        self._last[stage] = done
        if total <= 0 or done > total:
            self._open.add(stage)
        known = None if stage in self._open else total
        start, first = self._begun[stage]
        elapsed, counted = time - start, done - first
        to_go = None
        if known is not None and counted >= _FEWEST:
            to_go = elapsed / counted * (known - done)
        return Step(stage or "all", detail, done, known, elapsed, to_go)
