"""Which demands cannot hold together within the ranges, and by how much each fails at best.

The demands are thinned out one by one to a set that cannot hold together although all but any one
of them can (a deletion filter; J. W. Chinneck, Feasibility and Infeasibility in Optimization, 2008,
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from conegap.solver.sizing.demands import EXACT, Demand, Sample
from conegap.solver.sizing.surfaces import Surfaces

__all__ = ["CONTRADICTION", "Conflict", "conflicts_of"]

CONTRADICTION = EXACT
"""Excess of the surfaces from which demands are said to contradict each other: what a wanted value
may be off, and no less than the scatter of meshing, [-]."""


@dataclass(frozen=True)
class Conflict:
    """One of the demands that cannot hold together; build with `conflicts_of`.

    Parameters
    ----------
    name : str
    missing : float
        By how much it fails at best while the others of the set hold, as an excess over its limit
        and margin, [-].
    margin : float
        That is asked of it beyond its limit, 0 where the limit itself is in conflict, [-].
    drawn : float or None
        Its excess in the design as drawn, without margin; None where that has no such row, [-].
    moves : bool
        Whether the free quantities move it at all.
    wish : bool
        Whether it is wanted of the first emission, and no criterion of the review.
    """

    name: str
    missing: float
    margin: float
    drawn: float | None
    moves: bool
    wish: bool

    @property
    def remark(self) -> str:
        """What a reader must know of it besides, "" for nothing."""
        if self.wish:
            return "" if self.moves else "the free quantities do not move it"
        said = []
        if self.drawn is not None and self.drawn > 0.0:
            said.append("fails in the design as drawn too")
        if not self.moves:
            said.append("the free quantities do not move it: free another one")
        if self.margin > 0.0:
            said.append(f"its limit can be kept, but not with the margin of {self.margin:.1%}")
        return "; ".join(said)


def conflicts_of(
    surfaces: Surfaces, demands: Sequence[Demand], drawn: Sample
) -> tuple[Conflict, ...]:
    """A set of demands that cannot hold together, of which any one less can; empty for none.

    Parameters
    ----------
    surfaces : Surfaces
        Of the excesses of the demands.
    demands : sequence of Demand
    drawn : Sample
        Of the design as drawn.
    """
    for k in surfaces.stuck(CONTRADICTION):
        missing = float(np.nanmax(surfaces.values[:, k]))
        return (_conflict(demands[k], missing, drawn, moves=False),)
    # Both sides of a wanted value stand or fall together.
    groups: dict[str, list[int]] = {}
    for k in surfaces.moving:
        groups.setdefault(demands[k].name, []).append(k)

    def excess_of(names: Sequence[str]) -> float:
        members = [k for name in names for k in groups[name]]
        return surfaces.least(members)[1] if members else -math.inf

    names = list(groups)
    if excess_of(names) <= CONTRADICTION:
        return ()
    # The wishes first, so that of two sets the one of criteria alone is found.
    for name in list(names):
        fewer = [one for one in names if one != name]
        if fewer and excess_of(fewer) > CONTRADICTION:
            names = fewer
    found = []
    for name in names:
        others = [k for one in names if one != name for k in groups[one]]
        missing = surfaces.least(groups[name], others)[1]
        found.append(_conflict(demands[groups[name][0]], missing, drawn, moves=True))
    return tuple(found)


def _conflict(demand: Demand, missing: float, drawn: Sample, *, moves: bool) -> Conflict:
    excess = demand.excess(drawn)
    return Conflict(
        name=demand.name,
        missing=missing,
        margin=0.0 if demand.key else max(-demand.slack, 0.0),
        drawn=None if excess is None else excess + demand.slack,
        moves=moves,
        wish=bool(demand.key),
    )
