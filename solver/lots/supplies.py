"""Which article for which supply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import BoolArray
from conegap.solver.lots.lot import Lot

__all__ = ["Choice", "articles_for_supplies"]

# Cost of a pair that may not be: far above the sum of all margins, which are below one each.
_NEVER = 1e6


@dataclass(frozen=True)
class Choice:
    """The article for a supply.

    Parameters
    ----------
    limit : float
        Voltage limit of the supply, [V].
    allowed : float
        What the highest onset may be by the criterion of the design, [V].
    article : str
        "" where none is left that fits.
    margin : float
        What is left between the upper end of the article's band and what is allowed, over what is
        allowed; nan without an article, [-].
    """

    limit: float
    allowed: float
    article: str
    margin: float


def articles_for_supplies(lot: Lot, limits: Sequence[float]) -> tuple[Choice, ...]:
    """Give every supply an article of its own, if there is one that fits.

    As many supplies as possible get an article whose band ends below the allowed share of their
    limit; the smallest margin is as large as it can be, and then their sum.

    Parameters
    ----------
    limits : sequence of float
        Voltage limits of the supplies, in any order, [V].
    """
    from scipy.optimize import linear_sum_assignment

    share = lot.design.criteria.onset_fraction_of_supply
    highs = np.array([one.high for one in lot.results])
    allowed = share * np.array(limits, dtype=float)
    margins = 1.0 - highs[None, :] / allowed[:, None]
    fits = np.isfinite(margins) & (margins >= 0.0)
    most = _pairs(fits)
    level = max(
        (m for m in np.unique(margins[fits]) if _pairs(fits & (margins >= m)) == most),
        default=0.0,
    )
    good = fits & (margins >= level)
    cost = np.where(good, -np.where(good, margins, 0.0), _NEVER)
    chosen = dict(zip(*(part.tolist() for part in linear_sum_assignment(cost)), strict=True))
    found = []
    for k, limit in enumerate(limits):
        j = chosen.get(k)
        if j is None or not good[k, j]:
            found.append(Choice(limit, float(allowed[k]), "", np.nan))
        else:
            name = lot.results[j].article.name
            found.append(Choice(limit, float(allowed[k]), name, float(margins[k, j])))
    return tuple(found)


def _pairs(fits: BoolArray) -> int:
    """How many supplies can get an article each at the same time."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import maximum_bipartite_matching

    found = maximum_bipartite_matching(csr_matrix(fits.astype(np.int8)), perm_type="column")
    return int((found >= 0).sum())
