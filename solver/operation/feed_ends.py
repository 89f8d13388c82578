"""What the tolerances of a design make of its feed: every quantity at its worse end."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from conegap.geometries.design.design import Design
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.feed import Feed, feed_of
from conegap.solver.operation.feed_loss import FeedLoss

__all__ = ["FeedEnds", "feed_ends"]

# Sections of a design file that reach its feed; electrodes and supply do not.
_SECTIONS = ("emitter", "feed", "liquid")


@dataclass(frozen=True)
class FeedEnds:
    """A feed as drawn, and at both ends of every tolerance of its design, one at a time.

    Parameters
    ----------
    drawn : Feed
    changed : tuple of (str, Feed, Feed)
        What has the tolerance, and the feed at its lower and upper end.
    """

    drawn: Feed
    changed: tuple[tuple[str, Feed, Feed], ...] = ()

    def low(self, of: Callable[[Feed], float]) -> float:
        """A quantity with every tolerance at its worse end for a low value.

        Parameters
        ----------
        of : callable
            Takes a feed and gives the quantity, in SI.
        """
        return _together(of(self.drawn), [min(values) for values in self._values(of)])

    def high(self, of: Callable[[Feed], float]) -> float:
        """A quantity with every tolerance at its worse end for a high value.

        Parameters
        ----------
        of : callable
            Takes a feed and gives the quantity, in SI.
        """
        return _together(of(self.drawn), [max(values) for values in self._values(of)])

    def losses(self, droplets: MassEfficiency) -> tuple[FeedLoss, FeedLoss]:
        """The greatest and the least loss of pressure per mass flow, with most and least droplets.

        Parameters
        ----------
        droplets : MassEfficiency
            As expected; the losses take the ends of its band.
        """
        worst, best = droplets.band()

        def own(feed: Feed) -> float:
            return feed.loss().own

        def common(feed: Feed) -> float:
            return feed.loss().common

        return (
            FeedLoss(self.high(own), self.high(common), worst),
            FeedLoss(self.low(own), self.low(common), best),
        )

    def words(self, *of: Callable[[Feed], float]) -> str:
        """Which tolerances move any of some quantities, for the basis of a row; "" for none.

        Parameters
        ----------
        *of : callable
            Each takes a feed and gives a quantity, in SI.
        """
        found = [
            label
            for k, (label, _, _) in enumerate(self.changed)
            if any(len(set(self._values(one)[k])) > 1 for one in of)
        ]
        return f"; at the worse ends of the tolerances of {', '.join(found)}" if found else ""

    def _values(self, of: Callable[[Feed], float]) -> list[tuple[float, float, float]]:
        return [(of(self.drawn), of(low), of(high)) for _, low, high in self.changed]


def feed_ends(design: Design) -> FeedEnds | None:
    """The feed of a design at the ends of its tolerances, None where it has no feed.

    Parameters
    ----------
    design : Design

    Raises
    ------
    GeometryError
        The design cannot be built at one end of a tolerance.
    """
    drawn = feed_of(design)
    if drawn is None:
        return None
    changed = []
    for dimension in design.dimensions():
        if dimension.tolerance and dimension.key.partition(".")[0] in _SECTIONS:
            low, high = (
                feed_of(design.with_value(dimension.key, dimension.value + off))
                # No tolerance is as large as its value, so that no way vanishes.
                or drawn
                for off in (-dimension.tolerance, dimension.tolerance)
            )
            changed.append((dimension.label, low, high))
    return FeedEnds(drawn, tuple(changed))


def _together(drawn: float, ends: list[float]) -> float:
    """All tolerances at once: factors of what is a product of powers, else a sum."""
    if drawn > 0.0 and all(end > 0.0 for end in ends):
        return drawn * math.prod(end / drawn for end in ends)
    return drawn + sum(end - drawn for end in ends)
