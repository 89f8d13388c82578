"""An onset in numbers, as tolerances and calibration take it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from conegap.solver.liquid.free_surface import RIGID

__all__ = ["FIRST_TIP", "First", "Nominal"]

FIRST_TIP = "first tip of the crown"
"""Place of what begins at the sharpest of a crown's tips."""


class First(NamedTuple):
    """The first emission in numbers: voltage [V], place and mode, relative error [-]."""

    voltage: float
    mode: str
    error: float


@dataclass(frozen=True)
class Nominal:
    """The drawn design's onset and what makes it uncertain besides the tolerances, in numbers.

    Parameters
    ----------
    voltage : float
        Onset, [V].
    mode : str
        How the surface gives way, such as "rigid surface" or "meniscus turning point".
    ratio_to_rigid : float
        Onset over that of the rigid surface in the same place, [-].
    numerical_error : float
        Relative, rectangular, [-].
    surroundings : float
        Relative shift with a chamber twice as large, rectangular, [-].
    tension : float
        Relative standard uncertainty of the surface tension, normal, [-].
    tension_gain : float
        See `Onset.tension_gain`, [-].
    """

    voltage: float
    mode: str = RIGID
    ratio_to_rigid: float = 1.0
    numerical_error: float = 0.0
    surroundings: float = 0.0
    tension: float = 0.0
    tension_gain: float = 1.0
