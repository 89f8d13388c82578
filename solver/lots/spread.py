"""Spread, outliers and correlations of a lot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.lots.lot import Lot

__all__ = [
    "Correlation",
    "Outlier",
    "Spread",
    "correlations",
    "outlier_scores",
    "outliers",
    "spread",
]

# Modified z-score beyond which a value is an outlier, and the quantile that makes it comparable to
# a z-score (Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993, from memory).
_OUTLIER, _QUANTILE = 3.5, 0.6745
# Mean absolute deviation of a normal distribution over its standard deviation, sqrt(2 / pi).
_MEAN_DEVIATION = float(np.sqrt(2.0 / np.pi))
# Fewest pairs from which a correlation has an interval (Fisher's transformation needs n > 3).
_FEWEST = 4


@dataclass(frozen=True)
class Spread:
    """Spread of the computed onsets.

    Parameters
    ----------
    count : int
        Articles with an onset.
    mean, deviation, median, low, high : float
        Of the onsets; the deviation is that of a sample (n - 1), 0 for a single one, [V].
    """

    count: int
    mean: float
    deviation: float
    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Outlier:
    """A value far from those of the other articles.

    Parameters
    ----------
    article : str
    what : str
        Key of the dimension, "onset_voltage_V" or "measured_onset_V".
    value : float
        SI.
    score : float
        Modified z-score, signed, [-].
    """

    article: str
    what: str
    value: float
    score: float


@dataclass(frozen=True)
class Correlation:
    """Of the computed or the measured onset with a measured dimension.

    Parameters
    ----------
    key : str
        Of the dimension.
    onset : str
        "onset_voltage_V" or "measured_onset_V".
    count : int
        Articles with both.
    value, low, high : float
        Pearson's coefficient and its 95 % interval, [-].
    """

    key: str
    onset: str
    count: int
    value: float
    low: float
    high: float


def spread(lot: Lot) -> Spread:
    """Spread of the onsets that were found."""
    found = lot.voltages[np.isfinite(lot.voltages)]
    deviation = float(found.std(ddof=1)) if len(found) > 1 else 0.0
    return Spread(
        len(found),
        float(found.mean()),
        deviation,
        float(np.median(found)),
        float(found.min()),
        float(found.max()),
    )


def outlier_scores(values: FloatArray) -> FloatArray:
    """Modified z-scores, signed, nan where there is no value, (n,) array, [-].

    Parameters
    ----------
    values : (n,) array
        In any unit.

    Notes
    -----
    0.6745 (x - median) / MAD; where more than half of the values are equal, the mean absolute
    deviation stands for the median one.  Iglewicz and Hoaglin (1993), from memory.
    """
    known = values[np.isfinite(values)]
    if len(known) < 3:
        return np.full(len(values), np.nan)
    distance = np.abs(known - np.median(known))
    size = float(np.median(distance)) / _QUANTILE
    if size == 0.0:
        size = float(distance.mean()) / _MEAN_DEVIATION
    if size == 0.0:
        return np.where(np.isfinite(values), 0.0, np.nan)
    return np.asarray((values - np.median(known)) / size)


def outliers(lot: Lot) -> tuple[Outlier, ...]:
    """Articles whose onset or dimension lies far from the others', the farthest first."""
    columns = {key.key: lot.column(key.key) for key in lot.table.dimensions}
    columns["onset_voltage_V"] = lot.voltages
    columns["measured_onset_V"] = lot.measured
    found = []
    for what, values in columns.items():
        for one, value, score in zip(
            lot.table.articles, values.tolist(), outlier_scores(values).tolist(), strict=True
        ):
            if abs(score) > _OUTLIER:
                found.append(Outlier(one.name, what, value, score))
    return tuple(sorted(found, key=lambda one: -abs(one.score)))


def correlations(lot: Lot) -> tuple[Correlation, ...]:
    """Correlation of computed and measured onset with every measured dimension.

    Only where four articles have both and neither is constant; the largest first.
    """
    from scipy.stats import pearsonr

    found = []
    for name, onsets in (("onset_voltage_V", lot.voltages), ("measured_onset_V", lot.measured)):
        for dimension in lot.table.dimensions:
            values = lot.column(dimension.key)
            both = np.isfinite(values) & np.isfinite(onsets)
            x, y = values[both], onsets[both]
            if len(x) < _FEWEST or np.ptp(x) == 0.0 or np.ptp(y) == 0.0:
                continue
            result = pearsonr(x, y)
            interval = result.confidence_interval(0.95)
            found.append(
                Correlation(
                    dimension.key,
                    name,
                    len(x),
                    float(result.statistic),
                    float(interval.low),
                    float(interval.high),
                )
            )
    return tuple(sorted(found, key=lambda one: -abs(one.value)))
