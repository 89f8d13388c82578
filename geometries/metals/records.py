"""Constants of a metal, lines of its property table, and where the numbers come from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

__all__ = ["Constant", "PropertyRecord", "Provenance"]


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """Where a number comes from.

    Attributes
    ----------
    source : str
        Author, journal and year, or the handbook.
    status : str
        ``"published"`` (read in the source), ``"unavailable"`` (no open source could be read) or
        ``"user"``.
    note : str
        What a user should know before relying on the number; may be empty.
    read : str
        What was opened: ``"table"`` (the data file of an open library), ``"page"``,
        ``"excerpt"``, ``"abstract"`` or ``"none"``; empty for a user's own value.
    spread : float
        Relative width between the values found where the status is ``"unavailable"``, else
        0, [-].
    """

    source: str
    status: str
    note: str = ""
    read: str = ""
    spread: float = 0.0

    @property
    def words(self) -> str:
        """Source, what of it was opened, and the note, as one text."""
        opened = f"Opened: {self.read}" if self.read not in ("", "none") else ""
        return ". ".join(part.rstrip(".") for part in (self.source, opened, self.note) if part)


@dataclass(frozen=True, kw_only=True)
class Constant:
    """A property that does not depend on temperature.

    Attributes
    ----------
    value, standard_uncertainty : float
        Value and one standard deviation, in the unit of the property.
    holds : str
        Where the value holds.
    provenance : Provenance
        Source and status.
    """

    value: float
    standard_uncertainty: float
    holds: str
    provenance: Provenance


@dataclass(frozen=True, kw_only=True)
class PropertyRecord:
    """One line of the property table, for printing.

    Attributes
    ----------
    key : str
        Name of the property.
    unit : str
        SI unit of `value`.
    value : float
        Value at the temperature of the table, in SI units.
    relative_standard_uncertainty : float
        One standard deviation divided by the value, [-].
    validity : str
        Range of temperature, or where a constant holds.
    provenance : Provenance
        Source, status and what was opened.
    """

    key: str
    unit: str
    value: float
    relative_standard_uncertainty: float
    validity: str
    provenance: Provenance

    COLUMNS: ClassVar = (
        "key",
        "unit",
        "value",
        "relative_standard_uncertainty",
        "validity",
        "source",
        "status",
        "note",
        "read",
        "spread",
    )

    def columns(self) -> dict[str, str | float]:
        """The line as flat columns, for a data frame or JSON."""
        return {name: getattr(self, name) for name in self.COLUMNS}

    @property
    def source(self) -> str:
        """Author, journal and year, or the handbook."""
        return self.provenance.source

    @property
    def status(self) -> str:
        """As in `Provenance`."""
        return self.provenance.status

    @property
    def note(self) -> str:
        """As in `Provenance`."""
        return self.provenance.note

    @property
    def read(self) -> str:
        """As in `Provenance`."""
        return self.provenance.read

    @property
    def spread(self) -> float:
        """As in `Provenance`."""
        return self.provenance.spread
