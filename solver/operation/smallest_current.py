"""Smallest current at which a site burns steadily; below it the emission pulses or goes out.

J. Vac. Sci. Technol. B 15, 2332 (1997), abstract read: a model gives 217 + 0.744 T(K) nA for
gallium, in reasonable agreement with measurements between 30 and 890 deg C, which
1187 exp(-0.026 eV / k T) nA fits better.  Below 30 deg C it drops, to 380 nA at 25.8 deg C.  For 17
metals at their melting points the model spans 10 nA (mercury) to 1.0 uA (aluminium); bismuth was
measured to be at most 77 nA.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import Boltzmann, elementary_charge

__all__ = ["SmallestCurrent", "smallest_current"]

# Measured range of the gallium fit, 30 to 890 deg C, [K].
_GALLIUM_RANGE = (303.15, 1163.15)
# Ends of the model over 17 metals at their melting points, [A]; see the module's source.
_LEAST, _MOST = 10e-9, 1.0e-6
# Upper limit measured for bismuth, [A]; same source.
_BISMUTH = 77e-9
_SOURCE = "J. Vac. Sci. Technol. B 15, 2332 (1997), abstract read"


@dataclass(frozen=True)
class SmallestCurrent:
    """Smallest steady current of one site.

    Parameters
    ----------
    value : float
        [A].
    low, high : float
        Between what it lies, [A].
    basis : str
        Source, and how far it holds.
    """

    value: float
    low: float
    high: float
    basis: str


def smallest_current(symbol: str, temperature: float) -> SmallestCurrent:
    """Smallest steady current of a site of a metal.

    Parameters
    ----------
    symbol : str
        Of the metal: "Ga".
    temperature : float
        T, > 0, [K].

    Returns
    -------
    SmallestCurrent
        For gallium in its measured range the fit to the measurements, between fit and model; for
        mercury and bismuth what is published of them; for every other metal the span of all, with
        its geometric mean.

    Raises
    ------
    ValueError
        The temperature is not positive.
    """
    if not temperature > 0.0:
        raise ValueError(f"the temperature {temperature} K must be positive")
    low, high = _GALLIUM_RANGE
    if symbol == "Ga" and low <= temperature <= high:
        model = 217e-9 + 0.744e-9 * temperature
        fit = 1187e-9 * math.exp(-0.026 * elementary_charge / (Boltzmann * temperature))
        ends = min(model, fit), max(model, fit)
        return SmallestCurrent(fit, *ends, f"{_SOURCE}: model and fit to measurements of gallium")
    if symbol == "Bi":
        middle = math.sqrt(_LEAST * _BISMUTH)
        return SmallestCurrent(middle, _LEAST, _BISMUTH, f"{_SOURCE}: bismuth, at most 77 nA")
    if symbol == "Hg":
        middle = math.sqrt(_LEAST * _BISMUTH)
        return SmallestCurrent(
            _LEAST, _LEAST, middle, f"{_SOURCE}: model of mercury at its melting point, a factor "
            "of three for other temperatures assumed"
        )  # fmt: skip
    middle = math.sqrt(_LEAST * _MOST)
    return SmallestCurrent(
        middle,
        _LEAST,
        _MOST,
        f"{_SOURCE}: span of 17 metals at their melting points, 10 nA to 1 uA",
    )
