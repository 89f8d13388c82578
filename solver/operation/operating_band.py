"""The operating point of a design with the ends of its band, and the rows that rest on it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from conegap.geometries.design.design import Design
from conegap.solver.operation.beam_current import CurrentLaw
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.feed_ends import FeedEnds
from conegap.solver.operation.feed_loss import NO_LOSS
from conegap.solver.operation.operating_point import OperatingPoint, operating_point

__all__ = ["OperatingBand", "operating_band"]

# Of the onset: a band may reach down to a surface that gives way without voltage, where the law of
# the current diverges; at a hundredth any supply is at its limit or its ballast's, [-].
_LEAST_ONSET = 0.01


@dataclass(frozen=True)
class OperatingBand:
    """Three operating points with the laws that give them.

    Parameters
    ----------
    laws : tuple of CurrentLaw
        With the slope of the current a factor of three lower, onset, extinction and resistance of
        the feed at the upper ends of their bands, and with all four the other way.
    points : tuple of OperatingPoint
        With the first of these laws and the supply at the lower ends of its tolerances; expected;
        with the second and the upper ends.
    """

    laws: tuple[CurrentLaw, CurrentLaw]
    points: tuple[OperatingPoint, OperatingPoint, OperatingPoint]

    @property
    def known(self) -> bool:
        """Whether the current is known all over the band."""
        return all(one.current_known for one in self.points)


def operating_band(
    design: Design,
    emission: CurrentLaw,
    feed: FeedEnds | None,
    *,
    onset_band: tuple[float, float],
    first: tuple[float, float, float],
) -> OperatingBand:
    """The operating point of a law and the ends of its band.

    Parameters
    ----------
    design : Design
    emission : CurrentLaw
        As expected.
    feed : FeedEnds or None
        Of the design.
    onset_band : tuple of float
        Ends of the law's onset, [V].
    first : tuple of float
        Lowest, expected and highest voltage of the first emission, [V].
    """
    low, expected, high = first
    losses = (NO_LOSS, NO_LOSS) if feed is None else feed.losses(MassEfficiency())
    slow, steep = (
        replace(_within(one, end, emission), feed=loss)
        for one, end, loss in zip(emission.band(), reversed(onset_band), losses, strict=True)
    )
    points = (
        _operated(design, slow, high, -1.0),
        _operated(design, emission, expected, 0.0),
        _operated(design, steep, low, 1.0),
    )
    return OperatingBand((slow, steep), points)


def _operated(design: Design, law: CurrentLaw, first_emission: float, end: float) -> OperatingPoint:
    """With settings and limits of the supply at an end of their tolerances, -1 or 1."""
    emitter, accelerator = (
        end * design.tolerance(f"voltages.{name}") for name in ("emitter", "accelerator")
    )
    supply = design.supply
    amperes, volts = (
        None if limit is None else limit + end * design.tolerance(f"supply.{name}")
        for name, limit in (
            ("current_limit", supply.current_limit),
            ("voltage_limit", supply.voltage_limit),
        )
    )
    return operating_point(
        law,
        voltage=design.voltage + emitter + accelerator,
        emitter_voltage=design.voltages.emitter + emitter,
        ballast=supply.ballast_resistance,
        current_limit=amperes,
        voltage_limit=volts,
        first_emission=first_emission,
        metal_ions=design.metal.gives_ions,
    )


def _within(law: CurrentLaw, end: float, expected: CurrentLaw) -> CurrentLaw:
    """A law of the band with the onset at one end of its own.

    The uncertainties of the onset and of the extinction over it are independent: together they move
    the voltage at which the law begins by the root of the sum of their squares.
    """
    drawn, start = expected.onset_voltage, expected.extinction_over_onset
    onset = max(end, _LEAST_ONSET * drawn)
    off = math.hypot(law.extinction_over_onset / start - 1.0, onset / drawn - 1.0)
    begins = drawn * start * max(1.0 + math.copysign(off, onset - drawn), _LEAST_ONSET)
    return replace(law, onset_voltage=onset, extinction_over_onset=min(begins / onset, 1.0))
