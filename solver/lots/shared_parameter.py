"""What all measured onsets of a lot share: one hidden parameter, with its interval and residuals.

ln(measured / computed) of every article is fitted by one value of the hidden parameter, least
squares in its logarithm.  The interval (k = 2, about 95 %) holds the scatter of the articles
(Student's t on n - 1 degrees of freedom), at least that of the stated readings, and what is common
to all of them and so does not average out: the numerical error, and the surface tension where that
is not the hidden parameter (JCGM 100:2008).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import BoolArray, FloatArray
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.lots.lot import Lot
from conegap.solver.studies.earliest import earliest_near
from conegap.solver.studies.turning_variants import TENSION
from conegap.solver.studies.variants import Changes

__all__ = ["Residual", "SharedParameter", "shared_parameter"]

# Fewest articles that show a scatter beside a value.
_FEWEST = 3
# Factor from the middle of a round to its ends: far enough for a slope above the scatter of
# meshes, near enough for a parabola.
_STEP = 1.15
# Rounds, and how far from the drawn value a parameter is still looked for. A choice, no source.
_ROUNDS, _FARTHEST = 6, 4.0
# d ln(onset) / d ln(parameter) below which a per cent of voltage is fifty of the parameter.
_WEAKEST = 0.02
# Half width of a rectangular distribution over its standard deviation; coverage factor; JCGM
# 100:2008.
_ROOT_THREE, _COVERAGE = math.sqrt(3.0), 2.0


@dataclass(frozen=True)
class Residual:
    """What the hidden parameter leaves unexplained of an article.

    Parameters
    ----------
    article : str
    measured, computed : float
        Onset, the computed one at the parameter found, [V].
    relative : float
        Measured over computed less one, [-].
    """

    article: str
    measured: float
    computed: float
    relative: float


@dataclass(frozen=True)
class SharedParameter:
    """The hidden parameter that fits all measured onsets best.

    Parameters
    ----------
    key : str
        Design file key, or "surface_tension".
    drawn, value, low, high : float
        As drawn, found, and the ends of its interval, SI; of the surface tension in N/m.
    slope : float
        d ln(onset) / d ln(parameter), mean of the articles, [-].
    scatter : float
        Standard deviation of ln(measured / computed) that is left, [-].
    reading : float
        The same that the stated readings explain, [-].
    common : float
        Standard uncertainty of ln(onset) that is common to all articles, [-].
    residuals : tuple of Residual
    """

    key: str
    drawn: float
    value: float
    low: float
    high: float
    slope: float
    scatter: float
    reading: float
    common: float
    residuals: tuple[Residual, ...]


# Takes ln(parameter / drawn); gives ln(onset) and its slope of every measured article.
_Model = Callable[[float], tuple[FloatArray, FloatArray]]


def shared_parameter(lot: Lot, key: str = TENSION) -> SharedParameter:
    """Fit the hidden parameter.

    Parameters
    ----------
    lot : Lot
        With measured onsets of at least three articles.
    key : str
        "surface_tension", or a key of the design file that was not measured.

    Raises
    ------
    DesignError
        Too few measured onsets, a key that was measured or does not act on the onset, or a value
        farther than a factor of four from the drawn one.
    ComputationError
        A process that was solving ended early.
    """
    both = np.isfinite(lot.voltages) & np.isfinite(lot.measured)
    if both.sum() < _FEWEST:
        raise DesignError(
            f"--hidden {key}: {int(both.sum())} articles have a measured and a computed onset; a "
            f"shared parameter needs at least {_FEWEST}, in the column 'measured_onset [kV]'"
        )
    if any(one.key == key for one in lot.table.dimensions):
        raise DesignError(
            f"--hidden {key}: this was measured on the articles; give a key that was not"
        )
    wanted = np.log(lot.measured[both])
    if key == TENSION:
        x, logs, slopes = _tension_fit(lot, np.log(lot.voltages[both]), wanted)
        drawn = lot.onset.rigid.surface_tension
    else:
        dimension = lot.design.dimension(key)
        drawn = dimension.value
        if not drawn > 0.0:
            raise DesignError(
                f"--hidden {key}: it is {dimension.text} as drawn; give it a value above zero, "
                "from which the measured onsets can tell how far it is off"
            )
        x, logs, slopes = _dimension_fit(lot, key, drawn, both, wanted)
    return _result(lot, key, drawn, both, x, wanted - logs, slopes)


def _known(key: str, voltages: Sequence[float | str]) -> list[float]:
    for voltage in voltages:
        if isinstance(voltage, str):
            raise DesignError(f"--hidden {key}: an article cannot be computed: {voltage}")
    return [v for v in voltages if not isinstance(v, str)]


def _tension_fit(
    lot: Lot, drawn: FloatArray, wanted: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """Onset with sqrt(1 + g u) of a relative change u of the surface tension, see `Onset`."""
    gain = lot.onset.tension_gain
    excess = math.exp(2.0 * float(np.mean(wanted - drawn)))
    factor = 1.0 + (excess - 1.0) / gain
    _check_span(TENSION, factor)
    slope = 0.5 * gain * factor / (1.0 + gain * (factor - 1.0))
    moved = drawn + 0.5 * math.log(1.0 + gain * (factor - 1.0))
    return math.log(factor), moved, np.full(len(drawn), slope)


def _dimension_fit(
    lot: Lot, key: str, drawn: float, both: BoolArray, wanted: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """Rounds of three solves an article about the value found last, a parabola in logarithms."""
    articles = [a for a, used in zip(lot.table.articles, both.tolist(), strict=True) if used]
    step, middle = math.log(_STEP), 0.0
    for _ in range(_ROUNDS):
        values = [drawn * math.exp(middle + sign * step) for sign in (-1.0, 0.0, 1.0)]
        variants: list[Changes] = [
            (*article.changes, (key, value)) for article in articles for value in values
        ]
        shifts = lot.onset.variants.shifts(variants, f"articles over {key}")
        sections = [s if isinstance(s, str) else lot.onset.voltage * s.ratio for s in shifts]
        y = np.log(_known(key, earliest_near(lot.onset, variants, sections))).reshape(-1, 3)
        slope, bend = (y[:, 2] - y[:, 0]) / (2.0 * step), (y[:, 2] - 2.0 * y[:, 1] + y[:, 0])
        bend /= step**2
        _check_slope(key, slope)
        move = 0.0
        for _ in range(20):  # Newton's method on the sum of squares; it halves its error twofold
            logs = y[:, 1] + slope * move + 0.5 * bend * move**2
            there = slope + bend * move
            move += float(there @ (wanted - logs)) / float(there @ there)
            move = max(-2.0 * step, min(2.0 * step, move))
        _check_span(key, math.exp(middle + move))
        if abs(move) <= 0.5 * step:
            logs = y[:, 1] + slope * move + 0.5 * bend * move**2
            return middle + move, logs, slope + bend * move
        middle += move
    raise DesignError(f"--hidden {key}: no value fits the measured onsets within {_ROUNDS} rounds")


def _check_slope(key: str, slope: FloatArray) -> None:
    size = float(np.sqrt(np.mean(slope**2)))
    if size < _WEAKEST:
        raise DesignError(
            f"--hidden {key}: the onset hardly depends on it (d ln V / d ln of it is {size:.3g}), "
            "so no value can be read from measured onsets; give another key"
        )


def _check_span(key: str, factor: float) -> None:
    if not 1.0 / _FARTHEST <= factor <= _FARTHEST:
        raise DesignError(
            f"--hidden {key}: the measured onsets ask for {factor:.3g} times its drawn value; no "
            f"more than a factor of {_FARTHEST:g} is believed. Look at the reading of the voltage "
            "and at the dimensions first, or give another key"
        )


def _result(
    lot: Lot,
    key: str,
    drawn: float,
    both: BoolArray,
    x: float,
    left: FloatArray,
    slopes: FloatArray,
) -> SharedParameter:
    """Interval and residuals."""
    from scipy.stats import t as student

    used = [one.article for one, yes in zip(lot.results, both.tolist(), strict=True) if yes]
    measured = np.array([float(article.measured or 0.0) for article in used])
    readings = np.array([article.reading for article in used]) / (_COVERAGE * measured)
    reading = float(np.sqrt(np.mean(readings**2)))
    scatter = float(np.sqrt(float(left @ left) / (len(left) - 1)))
    onset = lot.onset
    common = onset.earliest.error / _ROOT_THREE
    if key != TENSION:
        common = math.hypot(common, 0.5 * onset.tension_gain * onset.tension_uncertainty)
    weight = float(slopes @ slopes)
    own = max(scatter, reading) / math.sqrt(weight) * float(student.ppf(0.975, len(left) - 1))
    shared = _COVERAGE * common * abs(float(slopes.sum())) / weight
    half = math.hypot(own, shared)
    computed = measured * np.exp(-left)
    return SharedParameter(
        key,
        drawn,
        drawn * math.exp(x),
        drawn * math.exp(x - half),
        drawn * math.exp(x + half),
        float(slopes.mean()),
        scatter,
        reading,
        common,
        tuple(
            Residual(article.name, float(m), float(c), float(m / c - 1.0))
            for article, m, c in zip(used, measured, computed, strict=True)
        ),
    )
