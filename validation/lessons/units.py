"""Units of the lessons."""

from __future__ import annotations

import math

from conegap.validation.lessons.lesson import Unit

__all__ = [
    "DEGREES",
    "KILOPASCALS",
    "KILOVOLTS",
    "MEGAVOLTS_PER_METRE",
    "MICROAMPERES",
    "MICROMETRES",
    "MICRONEWTONS",
    "MILLIMETRES",
    "NUMBER",
    "PERCENT",
    "PICOCOULOMBS",
    "VOLTS_PER_NANOMETRE",
]

# Each with its size in SI.
NUMBER = Unit("", 1.0)
PERCENT = Unit("%", 0.01)
DEGREES = Unit("°", math.pi / 180.0)
KILOPASCALS = Unit("kPa", 1e3)
KILOVOLTS = Unit("kV", 1e3)
MEGAVOLTS_PER_METRE = Unit("MV/m", 1e6)
VOLTS_PER_NANOMETRE = Unit("V/nm", 1e9)
PICOCOULOMBS = Unit("pC", 1e-12)
MILLIMETRES = Unit("mm", 1e-3)
MICROMETRES = Unit("µm", 1e-6)
MICRONEWTONS = Unit("µN", 1e-6)
MICROAMPERES = Unit("µA", 1e-6)
