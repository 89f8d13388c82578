"""What a person asks for: quantities that are free, and what is wanted of the first emission."""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass

from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.quantity import VOLTAGE, QuantityError, as_text, read_quantity
from conegap.solver.common.display_units import axis_unit, voltage_text
from conegap.solver.studies.given_range import range_ends

__all__ = ["WANTED", "Free", "Wanted", "check_free", "free_of", "share_of", "wanted_of"]

WANTED = ("first_emission", "first_emission_low", "first_emission_high")
"""What can be wanted: the first emission, and the ends of its band (k = 2), [V]."""

# The first solves are 5, 9 and 15; a fourth quantity would ask for some 25.
_MOST_FREE = 3
# Significant digits of a found dimension: a rounding of 5e-4 at most, about the numerical error
# that a solve may have.
_DIGITS = 4

_FREE = re.compile(r"(?P<key>[^=]+)=(?P<low>.+?)\.\.(?P<high>.+)\Z", re.DOTALL)
_WISH = re.compile(r"(?P<key>[^=<>]+?)\s*(?P<sign><=|>=|=)(?P<value>.+)\Z", re.DOTALL)


@dataclass(frozen=True)
class Free:
    """A quantity that may be changed.

    Parameters
    ----------
    dimension : Dimension
        As drawn.
    low, high : float
        Between what it may lie, low < high, SI.
    """

    dimension: Dimension
    low: float
    high: float

    @property
    def key(self) -> str:
        """Design file key."""
        return self.dimension.key

    @property
    def scaled(self) -> bool:
        """Whether its logarithm is the coordinate: laws of field and onset are near power laws."""
        return self.low > 0.0

    def value(self, share: float) -> float:
        """The quantity at a share of its range, 0 to 1, in SI, rounded to four digits in its unit.

        Parameters
        ----------
        share : float
            [-].
        """
        exact = self.at(share)
        unit = axis_unit(self.dimension.kind, 0.0, self.dimension.unit)
        number = float(f"{(exact - unit.offset) / unit.size:.{_DIGITS}g}")
        return number * unit.size + unit.offset

    def at(self, share: float) -> float:
        """The value at a share of the range, unrounded, SI.

        Parameters
        ----------
        share : float
            [-].
        """
        if self.scaled:
            return float(self.low * (self.high / self.low) ** share)
        return self.low + share * (self.high - self.low)

    def share(self, value: float) -> float:
        """Where a value lies in the range, 0 at its low end and 1 at its high one, [-].

        Parameters
        ----------
        value : float
            SI; > 0 where the low end is.
        """
        if self.scaled:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def text(self, value: float) -> str:
        """A value with the unit of the design file."""
        return as_text(value, self.dimension.kind, self.dimension.unit)


@dataclass(frozen=True)
class Wanted:
    """What is wanted of the first emission.

    Parameters
    ----------
    key : str
        One of `WANTED`.
    low, high : float
        Between what it shall lie, equal for a value, 0 and infinite where open, [V].
    """

    key: str
    low: float
    high: float

    @property
    def words(self) -> str:
        """For a table."""
        if self.low == self.high:
            return f"{self.key} = {voltage_text(self.low)}"
        if math.isinf(self.high):
            return f"{self.key} at least {voltage_text(self.low)}"
        if self.low <= 0.0:
            return f"{self.key} at most {voltage_text(self.high)}"
        return f"{self.key} from {voltage_text(self.low)} to {voltage_text(self.high)}"


def free_of(design: Design, text: str) -> Free:
    """Read a range such as ``accelerator.gap=0.5 mm..2 mm``.

    Parameters
    ----------
    text : str
        KEY=FROM..TO; quotation marks around the values are allowed.

    Raises
    ------
    DesignError
        The text is no range, the key is unknown in this design, or the values are wrong.
    """
    match = _FREE.match(text.strip())
    if match is None:
        raise DesignError(
            f"--free {text}: a range is written as KEY=FROM..TO, such as "
            'accelerator.gap="0.5 mm".."2 mm"'
        )
    return Free(*range_ends(design, f"--free {text}", match))


def check_free(free: tuple[Free, ...]) -> None:
    """Refuse what cannot be sought together.

    Parameters
    ----------
    free : tuple of Free

    Raises
    ------
    DesignError
        None, more than three, or the same quantity twice.
    """
    keys = [one.key for one in free]
    if not 1 <= len(keys) <= _MOST_FREE:
        raise DesignError(
            f"--free is given {len(keys)} times; leave one to {_MOST_FREE} quantities free"
        )
    if len(set(keys)) < len(keys):
        twice = next(key for key in keys if keys.count(key) > 1)
        raise DesignError(
            f"--free: {twice} is given twice; give one range for each quantity", keys=(twice,)
        )


def share_of(text: str) -> float:
    """Read a margin such as ``2 %``, 0 % or more and less than 100 %, [-].

    Parameters
    ----------
    text : str

    Raises
    ------
    DesignError
        The text is no such share.
    """
    match = re.fullmatch(r"\s*(\d+(?:\.\d*)?)\s*%\s*", text)
    share = math.nan if match is None else float(match[1]) / 100.0
    if not share < 1.0:
        raise DesignError(
            f"--margin {text}: write a share of the limit, from 0 % to less than 100 %, such as "
            '"2 %"',
            keys=("--margin",),
        )
    return share


def wanted_of(text: str) -> Wanted:
    """Read a wish: ``first_emission=4.2 kV``, ``..<=4.2 kV``, ``..>=4 kV`` or ``..=4 kV..4.2 kV``.

    Parameters
    ----------
    text : str

    Raises
    ------
    DesignError
        The text is no wish, its key is unknown, or a voltage is wrong.
    """
    match = _WISH.match(text.strip())
    if match is None:
        raise DesignError(
            f"--wanted {text}: write KEY=VOLTAGE, KEY=FROM..TO, KEY<=VOLTAGE or KEY>=VOLTAGE, such "
            'as first_emission="4.2 kV"'
        )
    key = match["key"].strip()
    if key not in WANTED:
        close = difflib.get_close_matches(key, WANTED, n=1, cutoff=0.4)
        hint = f", did you mean '{close[0]}'?" if close else ""
        raise DesignError(
            f"--wanted {text}: '{key}' cannot be wanted{hint}; known are {', '.join(WANTED)}",
            keys=(key,),
        )
    ends = [_voltage(text, key, one) for one in match["value"].split("..")]
    sign = match["sign"]
    if len(ends) > 2 or (len(ends) == 2 and sign != "="):
        raise DesignError(f"--wanted {text}: write a range as {key}=FROM..TO", keys=(key,))
    low, high = min(ends), max(ends)
    if sign == "<=":
        low = 0.0
    elif sign == ">=":
        high = math.inf
    return Wanted(key, low, high)


def _voltage(text: str, key: str, given: str) -> float:
    try:
        value = read_quantity(given.strip().strip("\"'").strip(), VOLTAGE).value
    except QuantityError as problem:
        raise DesignError(f"--wanted {text}: {problem}", keys=(key,)) from problem
    if value <= 0.0:
        raise DesignError(
            f"--wanted {text}: {value:g} V: an onset, emitter minus accelerator, is positive; give "
            "a voltage above 0 V",
            keys=(key,),
        )
    return value
