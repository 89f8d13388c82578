"""Constants of a metal, lines of its property table, and where the numbers come from."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Constant", "PropertyRecord", "Provenance"]


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """Where a number comes from.

    Attributes
    ----------
    source : str
        Author, journal and year, or the handbook.
    status : str
        ``"published"`` (seen in the source), ``"from memory"`` (to be confirmed) or ``"user"``.
    note : str
        What a user should know before relying on the number; may be empty.
    """

    source: str
    status: str
    note: str = ""


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
    source, status, note : str
        As in `Provenance`.
    """

    key: str
    unit: str
    value: float
    relative_standard_uncertainty: float
    validity: str
    source: str
    status: str
    note: str
