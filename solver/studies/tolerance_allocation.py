"""The inverse of a stack-up: which tolerance each dimension must hold for the band to fit.

Dimensions are tightened to a common effect on the onset, the largest first, until the sampled band
fits; the others keep their tolerance.  Dimensions that hardly matter may open to twice theirs, no
further, because the response surface knows nothing beyond.  The tolerances of the table belong
together: held all at once they make the band fit; sampled with the same random numbers as the
drawn ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.common.display_units import axis_unit
from conegap.solver.studies.tolerance import ToleranceStudy

__all__ = [
    "Target",
    "ToleranceAllocation",
    "ToleranceAllocations",
    "Verdict",
    "needed_tolerances",
    "target_of",
]

Verdict = Literal["keep", "tighten", "may open", "out of reach"]

# Factor by which a tolerance may be opened; more leaves the range in which the response surface
# was proved.
_OPEN = 2.0
# Share of the largest effect below which tightening a dimension gains nothing.
_NEGLIGIBLE = 0.1
# Bisections: 2^-40 is far below the two digits printed.
_STEPS = 40


@dataclass(frozen=True)
class Target:
    """What the band must fit into.

    Parameters
    ----------
    words : str
        For a table.
    half_width : float or None
        Greatest half width over the drawn onset, [-].
    highest : float or None
        Greatest upper end, [V].
    """

    words: str
    half_width: float | None = None
    highest: float | None = None

    def excess(self, band: tuple[float, float], onset: float) -> float:
        """How far a band is from fitting, positive when it does not, [-].

        Parameters
        ----------
        band : tuple of float
            Lower and upper end, [V].
        onset : float
            As drawn, [V].
        """
        low, high = band
        if self.half_width is not None:
            return (high - low) / (2.0 * onset) - self.half_width
        return (high - (self.highest or 0.0)) / onset


@dataclass(frozen=True)
class ToleranceAllocation:
    """One dimension of the table.

    Parameters
    ----------
    needed : float or None
        Plus-minus half width that it must hold, SI; None where no tolerance suffices.
    verdict : "keep", "tighten", "may open" or "out of reach"
    """

    dimension: Dimension
    needed: float | None
    verdict: Verdict

    @property
    def needed_text(self) -> str:
        """Needed tolerance with its unit, "none suffices" without one."""
        if self.needed is None:
            return "none suffices"
        return replace(self.dimension, tolerance=self.needed).tolerance_text


@dataclass(frozen=True)
class ToleranceAllocations:
    """The table.

    Parameters
    ----------
    fits_as_drawn : bool
    reachable : bool
        False where the band would not fit with perfect dimensions either.
    rows : tuple of ToleranceAllocation
        In the order of the study's dimensions.
    band : tuple of float
        Band with the needed tolerances, or with perfect dimensions when out of reach, [V].
    """

    target: Target
    fits_as_drawn: bool
    reachable: bool
    rows: tuple[ToleranceAllocation, ...]
    band: tuple[float, float]


def target_of(text: str | None, design: Design) -> Target | None:
    """What the band shall fit into, from a command line.

    Parameters
    ----------
    text : str or None
        A half width such as "3%", or "supply", or "design"; None means the supply where the
        design names its limit, else nothing.

    Raises
    ------
    DesignError
        The text is none of these, or the design has no supply limit.
    """
    limit = design.supply.voltage_limit
    if text is None and limit is None:
        return None
    wanted = (text or "supply").strip()
    if wanted == "supply":
        if limit is None:
            raise DesignError(
                "--fit supply: the design names no supply.voltage_limit; give it, or a half width "
                "such as --fit 3%",
                keys=("--fit", "supply.voltage_limit"),
            )
        share = design.criteria.onset_fraction_of_supply
        return Target(
            f"95 % of the onsets below {share:g} of the supply's limit", highest=share * limit
        )
    if wanted == "design":
        return Target("95 % of the onsets below the design's voltage", highest=design.voltage)
    try:
        value = float(wanted.removesuffix("%")) / (100.0 if wanted.endswith("%") else 1.0)
    except ValueError:
        value = math.nan
    if not 1e-4 <= value <= 0.9:
        raise DesignError(
            f"--fit {text}: write the half width of the band over the onset, such as 3% (between "
            "0.01% and 90%), or 'supply', or 'design'",
            keys=("--fit",),
        )
    return Target(f"half width of the band at most {100.0 * value:g} % of the onset", value)


def needed_tolerances(study: ToleranceStudy, target: Target) -> ToleranceAllocations:
    """The tolerances that make the band fit."""
    onset = study.nominal.voltage
    effect = np.array([_effect(study, d.key) for d in study.dimensions])
    ones = np.ones(len(effect))

    def fits(scales: FloatArray) -> bool:
        return target.excess(study.band(scales), onset) <= 0.0

    perfect = 0.0 * ones
    drawn_fits = fits(ones)
    if not drawn_fits and not fits(perfect):
        rows = tuple(ToleranceAllocation(d, None, "out of reach") for d in study.dimensions)
        return ToleranceAllocations(target, False, False, rows, study.band(perfect))
    if drawn_fits:
        scales = _largest(lambda cap: _opened(effect, cap), fits, effect)
        scales = scales if fits(scales) else ones
    else:
        scales = _largest(lambda cap: _tightened(effect, cap), fits, effect)
        idle = effect <= _NEGLIGIBLE * float((effect * scales).max())
        again = _largest(lambda cap: np.where(idle, _OPEN, _tightened(effect, cap)), fits, effect)
        if fits(again):
            scales = again
    scales = np.array([_rounded(d, s) for d, s in zip(study.dimensions, scales, strict=True)])
    rows = tuple(
        ToleranceAllocation(d, float(s) * float(d.tolerance or 0.0), _verdict(float(s)))
        for d, s in zip(study.dimensions, scales, strict=True)
    )
    return ToleranceAllocations(target, drawn_fits, True, rows, study.band(scales))


def _effect(study: ToleranceStudy, key: str) -> float:
    """Size of a dimension's effect: the root of its share of the variance, any scale."""
    return math.sqrt(next(line.share for line in study.shares if line.name == key))


def _tightened(effect: FloatArray, cap: float) -> FloatArray:
    return np.minimum(1.0, cap / np.maximum(effect, 1e-300))


def _opened(effect: FloatArray, cap: float) -> FloatArray:
    return np.clip(cap / np.maximum(effect, 1e-300), 1.0, _OPEN)


def _largest(
    scales_of: Callable[[float], FloatArray],
    fits: Callable[[FloatArray], bool],
    effect: FloatArray,
) -> FloatArray:
    """Scales at the largest common effect with which the band fits."""
    low, high = 0.0, 2.0 * _OPEN * max(float(effect.max()), 1e-12)
    if fits(scales_of(high)):
        return scales_of(high)
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        if fits(scales_of(middle)):
            low = middle
        else:
            high = middle
    return scales_of(low)


def _rounded(dimension: Dimension, scale: float) -> float:
    """A scale that gives a tolerance of two significant digits in the drawing's unit, rounded
    toward tighter; 1 stays."""
    if scale == 1.0:
        return 1.0
    unit = {"degC": "K", "°C": "K"}.get(dimension.unit, dimension.unit)
    size = axis_unit(dimension.kind, 0.0, unit).size
    value = scale * float(dimension.tolerance or 0.0) / size
    if value <= 0.0:
        return 0.0
    digit = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.floor(value / digit * (1.0 + 1e-9)) * digit * size / float(dimension.tolerance or 1)


def _verdict(scale: float) -> Verdict:
    if abs(scale - 1.0) < 1e-6:
        return "keep"
    return "tighten" if scale < 1.0 else "may open"
