"""The units that a design file may use: one closed list per quantity.

A text is looked up, never evaluated, so that nothing that is no usual unit of the quantity gets a
value: no percent for an angle, no light year for a length, no expression to compute.  What a unit
is worth, and where a scale of temperature has its zero, says pint under the name given here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache

__all__ = ["known_elsewhere", "pint_name"]

_PREFIXES = {
    "p": "pico",
    "n": "nano",
    "u": "micro",
    "m": "milli",
    "c": "centi",
    "k": "kilo",
    "M": "mega",
    "G": "giga",
}
# Characters of print, in the form in which the lists below hold them.
_PRINT = str.maketrans(
    {"μ": "u", "µ": "u", "·": "*", "⋅": "*", "×": "*", "²": "^2", "³": "^3", "Ω": "ohm", "º": "°"}
)
# A unit is a short text; what is longer is refused unread.
_LONGEST = 40


def _prefixed(symbols: Iterable[str], words: Iterable[str], name: str, prefixes: str) -> _Units:
    """Symbols and words of a unit with some of the decimal prefixes, "" among them as "1"."""
    found = {}
    for prefix in prefixes:
        long = _PREFIXES.get(prefix, "")
        short = "" if prefix == "1" else prefix
        found.update({f"{short}{symbol}": f"{long}{name}" for symbol in symbols})
        found.update({f"{long}{word}": f"{long}{name}" for word in words})
    return found


def _ratios(above: _Units, below: _Units, sign: str = "/") -> _Units:
    return {
        f"{a}{sign}{b}": f"({x}) {sign} ({y})" for a, x in above.items() for b, y in below.items()
    }


_Units = dict[str, str]
_METRES = _prefixed(["m"], ["meter", "meters", "metre", "metres"], "meter", "1cmun")
_VOLTS = _prefixed(["V"], ["volt", "volts"], "volt", "1mkM")
_SECONDS = {"s": "second"}
_KELVINS = {"K": "kelvin"}
_PASCALS = _prefixed(["Pa"], ["pascal", "pascals"], "pascal", "1mkMG")
_NEWTONS_PER_METRE = {
    **_ratios({"N": "newton", "mN": "millinewton", "uN": "micronewton"}, {"m": "meter"}),
    **_ratios({"dyn": "dyne", "dyne": "dyne", "dynes": "dyne"}, {"cm": "centimeter"}),
    **_ratios({"J": "joule", "mJ": "millijoule"}, {"m^2": "meter ** 2"}),
    "erg/cm^2": "erg / centimeter ** 2",
}
_GRAMS = {"g": "gram", "kg": "kilogram"}

_ACCEPTED: Mapping[str, _Units] = {
    "length": {
        **_METRES,
        "pm": "picometer",
        **dict.fromkeys(("micron", "microns"), "micrometer"),
        **dict.fromkeys(("Å", "angstrom", "angstroms", "Angstrom", "Angstroms"), "angstrom"),
        **dict.fromkeys(("mil", "mils", "thou"), "thou"),
        **dict.fromkeys(("in", "inch", "inches"), "inch"),
        **dict.fromkeys(("uin", "microinch", "microinches"), "microinch"),
    },
    "angle": {
        **dict.fromkeys(("deg", "degree", "degrees", "°"), "degree"),
        **_prefixed(["rad"], ["radian", "radians"], "radian", "1mu"),
        **dict.fromkeys(("arcmin", "arcminute", "arcminutes"), "arcminute"),
        **dict.fromkeys(("arcsec", "arcsecond", "arcseconds"), "arcsecond"),
    },
    "voltage": {**_VOLTS, "uV": "microvolt", "kv": "kilovolt", "KV": "kilovolt"},
    "current": _prefixed(["A"], ["amp", "amps", "ampere", "amperes"], "ampere", "1pnumk"),
    "resistance": {
        **_prefixed(["ohm", "Ohm"], ["ohm", "ohms"], "ohm", "1mkMG"),
        **dict.fromkeys(("megohm", "megohms"), "megaohm"),
    },
    "temperature": {
        **_prefixed(["K"], ["kelvin", "kelvins", "Kelvin"], "kelvin", "1m"),
        **dict.fromkeys(
            ("degC", "deg*C", "°C", "celsius", "Celsius", "degree_Celsius", "degreeC", "degreesC"),
            "degC",
        ),
        **dict.fromkeys(
            ("degF", "deg*F", "°F", "fahrenheit", "Fahrenheit", "degree_Fahrenheit", "degreeF"),
            "degF",
        ),
    },
    "pressure": {
        **_PASCALS,
        "hPa": "hectopascal",
        **dict.fromkeys(("kpa", "KPa", "kPA"), "kilopascal"),
        **_prefixed(["bar"], ["bar", "bars"], "bar", "1mu"),
        **_prefixed(["torr", "Torr"], [], "torr", "1mu"),
        **dict.fromkeys(("atm", "atmosphere", "atmospheres"), "atm"),
        "mmHg": "mmHg",
        "psi": "psi",
    },
    "electric field": _ratios({**_VOLTS, "GV": "gigavolt"}, _METRES),
    "surface tension": _NEWTONS_PER_METRE,
    "slope of surface tension": {
        **_ratios(_NEWTONS_PER_METRE, {**_KELVINS, "degC": "kelvin", "°C": "kelvin"}),
        **_ratios(
            {"N": "newton", "mN": "millinewton", "uN": "micronewton"},
            {"(m*K)": "meter * kelvin"},
        ),
    },
    "density": {
        **_ratios(_GRAMS, {"m^3": "meter ** 3", "cm^3": "centimeter ** 3", "L": "liter"}),
        **_ratios(_GRAMS, {"l": "liter", "dm^3": "liter", "mL": "milliliter", "ml": "milliliter"}),
        "g/cc": "gram / centimeter ** 3",
    },
    "mass": _prefixed(["g"], ["gram", "grams"], "gram", "1pnumk"),
    "permeability": {
        **{f"{unit}^2": f"({name}) ** 2" for unit, name in _METRES.items()},
        **_prefixed(["D"], ["darcy", "darcys"], "darcy", "1mu"),
    },
    "molar mass": _ratios(_GRAMS, {"mol": "mole"}),
    "viscosity": {
        **_ratios(_PASCALS, _SECONDS, "*"),
        **_ratios({"uPa": "micropascal"}, _SECONDS, "*"),
        **dict.fromkeys(("P", "poise"), "poise"),
        **dict.fromkeys(("cP", "cp", "centipoise"), "centipoise"),
        **dict.fromkeys(("kg/m/s", "kg/(m*s)", "N*s/m^2"), "pascal * second"),
    },
    "acceleration": {
        **_ratios(_METRES, {"s^2": "second ** 2", "s/s": "second ** 2"}),
        **dict.fromkeys(("g", "g0", "g_0", "gn", "g_n"), "g_0"),
    },
    "capacitance": _prefixed(["F"], ["farad", "farads"], "farad", "1pnum"),
    "energy": {
        **_prefixed(["eV"], ["electronvolt", "electronvolts"], "electron_volt", "1mkM"),
        **_prefixed(["J"], ["joule", "joules"], "joule", "1pnumk"),
    },
}


@cache
def pint_name(unit: str, quantity: str) -> str | None:
    """Name by which pint knows a unit of a quantity, or None where the unit is not accepted.

    Parameters
    ----------
    unit : str
        As it was written: "um", "µm", "kV / mm", "m/s²".
    quantity : str
        Name of the kind of quantity: "length".
    """
    return _ACCEPTED[quantity].get(_plain(unit))


def known_elsewhere(unit: str) -> bool:
    """Whether a unit belongs to some other quantity.

    Parameters
    ----------
    unit : str
        As it was written.
    """
    plain = _plain(unit)
    return any(plain in units for units in _ACCEPTED.values())


def _plain(unit: str) -> str:
    """A unit as the lists hold it: one sign for micro and ohm, powers as ^, no idle spaces."""
    if len(unit) > _LONGEST:
        return ""
    text = unit.translate(_PRINT)
    text = unicodedata.normalize("NFKC", text).translate(_PRINT).replace("**", "^")
    text = re.sub(r"\s*([*/^])\s*", r"\1", text.strip())
    text = re.sub(r"\s+", "*", text)
    return re.sub(r"(?<=[a-zA-Z])([23])\Z", r"^\1", text)
