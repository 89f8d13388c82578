"""What a source states: one measured value, its interval, and how far the source was read."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from importlib.resources import files
from typing import Any

from conegap.geometries.quantities.errors import DesignError

__all__ = ["ROOM", "Measured", "measured_cases", "read_case"]

ROOM = "conegap.validation.measured"
"""Package that holds the cases and their design files."""


@dataclass(frozen=True)
class Measured:
    """One published measurement.

    Parameters
    ----------
    name, kind : str
        Liquid, kind, author and year; and its group.
    predicts : str
        What is predicted; a key of `predictions.PREDICTORS`.
    source, read, passage, note : str
        Where it stands; "full text" or "abstract"; what is said there; what a reader should know.
    low, high : float
        Ends of the measured interval; equal where no uncertainty is stated, [V] or [-].
    at_most : float
        Where it emitted or burst already, in place of the interval, [V] or [-].
    design : str
        Design file in this room, for a gap.

    Raises
    ------
    DesignError
        Neither an interval nor a limit, or both.
    """

    name: str
    kind: str
    predicts: str
    source: str
    read: str
    passage: str
    note: str = ""
    low: float = math.nan
    high: float = math.nan
    at_most: float = math.nan
    design: str = ""

    def __post_init__(self) -> None:
        interval, limit = 0.0 < self.low <= self.high, self.at_most > 0.0
        if interval == limit:
            raise DesignError(
                f"{self.name}: low = {self.low}, high = {self.high}, at_most = {self.at_most}: "
                "give low and high above zero, or at_most alone"
            )
        if self.read not in ("full text", "abstract"):
            raise DesignError(f'{self.name}: read = "{self.read}": say "full text" or "abstract"')

    @property
    def bounded(self) -> bool:
        """Whether only a limit was measured."""
        return math.isfinite(self.at_most)

    @property
    def value(self) -> float:
        """Middle of the interval, or the limit, [V] or [-]."""
        return self.at_most if self.bounded else 0.5 * (self.low + self.high)

    def holds(self, low: float, high: float) -> bool:
        """Whether a predicted band and the measurement can both be true.

        Parameters
        ----------
        low, high : float
            Ends of the predicted band, [V] or [-].
        """
        if self.bounded:
            return low <= self.at_most
        return low <= self.high and self.low <= high


def read_case(table: Mapping[str, Any]) -> Measured:
    """A case from its table.

    Raises
    ------
    DesignError
        A key is missing or unknown, or the numbers contradict each other.
    """
    known = [field.name for field in fields(Measured)]
    name = str(table.get("name", "a case without name"))
    unknown = [key for key in table if key not in known]
    missing = [key for key in known[:6] if key not in table]
    if unknown or missing:
        raise DesignError(
            f"{name}: unknown keys {unknown}, missing keys {missing}; the keys are "
            f"{', '.join(known)}"
        )
    return Measured(**table)


def measured_cases() -> tuple[Measured, ...]:
    """Every case of the room, in the order of its file."""
    text = files(ROOM).joinpath("cases.toml").read_text(encoding="utf-8")
    return tuple(read_case(table) for table in tomllib.loads(text)["case"])
