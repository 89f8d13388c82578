"""Whole solves over the ranges of some quantities, the surfaces through them, and their error.

The ranges are solved at the points of a small design, corners included, and interpolated as in
`conegap.solver.sizing.surfaces`.  More points of the whole box are solved and kept out of the
surfaces: their largest miss, doubled, is the error that is stated.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.solver.assessment import Assessment
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.free_surface import OnsetCriterion
from conegap.solver.sizing.demands import Demand, Sample, sample_of
from conegap.solver.sizing.request import WANTED, Free, check_free
from conegap.solver.sizing.search import Solve, solver_of
from conegap.solver.sizing.surfaces import Surfaces, design_points
from conegap.solver.studies.variants import Changes

__all__ = [
    "SAFETY",
    "Explored",
    "explore",
    "explored_with",
    "held_out_points",
]

SAFETY = 2.0
"""Stated error over the largest miss on designs held out: of twelve random designs the largest
miss is exceeded by the next in one case of thirteen, its double hardly (common practice, no
source), [-]."""

WORST = 0.2
"""Largest stated error of the first emission that is shown, in half widths of its band: it widens
the band by a fiftieth where both are added as squares, [-]."""


@dataclass(frozen=True)
class Explored:
    """Surfaces over the ranges of some quantities; build with `explore`.

    Parameters
    ----------
    design : Design
    free : tuple of Free
    drawn : Sample
        The design as drawn.
    points : (n, d) array
        Where the surfaces pass through solves, in shares of the ranges, [-].
    demands : tuple of Demand
        What is interpolated, as excesses: first emission and its band over the drawn first
        emission, then upper and lower end of every criterion over its limit.
    values : (n, m) array
        Excesses of those solves, [-].
    errors : (m,) array
        Stated errors of the surfaces, [-].
    held_out : int
        Solves that were kept out of the surfaces.
    places : tuple of str
        Where and how the solved designs emit first, all that occur.
    unknown : tuple of str
        Criteria that some solved designs do not have.
    """

    design: Design
    free: tuple[Free, ...]
    drawn: Sample
    points: FloatArray
    demands: tuple[Demand, ...]
    values: FloatArray
    errors: FloatArray
    held_out: int
    places: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def first(self) -> float:
        """First emission of the design as drawn, [V]."""
        return self.drawn.voltages["first_emission"]

    @property
    def error(self) -> float:
        """Stated error of the first emission, relative, [-]."""
        return float(self.errors[0])

    @property
    def band_error(self) -> float:
        """Stated error of the ends of its band, relative, [-]."""
        return float(self.errors[1 : len(WANTED)].max())

    @cached_property
    def surfaces(self) -> Surfaces:
        """The interpolation of the excesses."""
        return Surfaces(self.points, self.values)

    def voltages(self, shares: FloatArray) -> FloatArray:
        """First emission, lower and upper end of its band, (k, 3) array, [V].

        Parameters
        ----------
        shares : (k, d) array
            In shares of the ranges, within 0 and 1, [-].

        Raises
        ------
        DesignError
            A point lies outside the ranges that were solved.
        """
        at = np.asarray(shares)
        # Rounding of a share at an end is no step outside.
        good = (at >= -1e-9) & (at <= 1.0 + 1e-9)
        keys = tuple(one.key for k, one in enumerate(self.free) if not good[:, k].all())
        if keys:
            raise DesignError(
                f"{', '.join(keys)}: outside the ranges that were solved there is no number; "
                "give a point within them",
                keys=keys,
            )
        return np.asarray(self.first * np.exp(self.surfaces(at, range(len(WANTED)))))


def held_out_points(count: int) -> FloatArray:
    """Points of the whole box far from those of `design_points`, (n, count) array, in shares.

    Between the five points of a line; the middles of a square's quarters and a point of each side;
    the middles of a cube's eighths and two opposite edges of each direction.  The corners
    themselves are solved, and the surfaces pass through them.

    Parameters
    ----------
    count : int
        Free quantities, 1 to 3.
    """
    if count == 1:
        return np.array([[0.125], [0.375], [0.625], [0.875]])
    inner = np.array(list(itertools.product([0.25, 0.75], repeat=count)))
    if count == 2:
        return np.vstack([inner, [[0.25, 0.0], [1.0, 0.25], [0.75, 1.0], [0.0, 0.75]]])
    edges = [np.insert([end, end], k, 0.5) for k in range(count) for end in (0.0, 1.0)]
    return np.vstack([inner, *edges])


def explore(
    design: Design,
    free: tuple[Free, ...],
    *,
    drawn: Assessment,
    criterion: OnsetCriterion = "automatic",
    progress: Progress | None = None,
) -> Explored:
    """Solve a design over ranges of its quantities, and prove the surfaces through the solves.

    Parameters
    ----------
    design : Design
    free : tuple of Free
        One to three.
    drawn : Assessment
        Of the design as drawn.
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`.
    progress : callable or None
        Called with (what, steps done, steps in all).

    Raises
    ------
    DesignError
        The ranges are wrong, or a design within them cannot be solved.
    ComputationError
        The surfaces are too poor to be shown.
    """
    solve = solver_of(design, criterion=criterion, progress=progress)
    return explored_with(design, free, sample_of(drawn), solve)


def explored_with(design: Design, free: tuple[Free, ...], drawn: Sample, solve: Solve) -> Explored:
    """As `explore`, with any solver.

    Parameters
    ----------
    design : Design
    free : tuple of Free
    drawn : Sample
    solve : callable
        See `conegap.solver.sizing.search.Solve`.

    Raises
    ------
    DesignError, ComputationError
        As for `explore`.
    """
    check_free(free)
    fitted = design_points(len(free))
    wanted = [_changes(free, one) for one in np.vstack([fitted, held_out_points(len(free))])]
    results = solve(wanted, "designs in the ranges")
    solved = [_kept(free, *pair) for pair in zip(wanted, results, strict=True)]
    points = np.array([[f.share(v) for f, (_, v) in zip(free, w, strict=True)] for w in wanted])
    names = dict.fromkeys(row.name for one in solved for row in one.rows)
    shared = [n for n in names if all(any(n == r.name for r in s.rows) for s in solved)]
    first = drawn.voltages["first_emission"]
    demands = (
        *(Demand("", key, first) for key in WANTED),
        *(Demand(name, proved=proved) for name in shared for proved in (True, False)),
    )
    values = np.array([[_excess(demand, one) for demand in demands] for one in solved])
    count = len(fitted)
    surfaces = Surfaces(points[:count], values[:count])
    missed = surfaces(points[count:], range(len(demands))) - values[count:]
    errors = SAFETY * np.abs(missed).max(axis=0)
    found = Explored(
        design=design,
        free=free,
        drawn=drawn,
        points=points[:count],
        demands=demands,
        values=values[:count],
        errors=errors,
        held_out=len(missed),
        places=tuple(dict.fromkeys(one.place for one in solved)),
        unknown=tuple(name for name in names if name not in shared),
    )
    _check(found)
    return found


def _changes(free: Sequence[Free], point: FloatArray) -> Changes:
    """Values at a point, the ends of the ranges as they were given."""
    ends = {0.0: "low", 1.0: "high"}
    return tuple(
        (f.key, float(getattr(f, ends[u])) if u in ends else f.value(u))
        for f, u in zip(free, point.tolist(), strict=True)
    )


def _kept(free: Sequence[Free], changes: Changes, result: Sample | str) -> Sample:
    if isinstance(result, str):
        words = ", ".join(f"{f.key} = {f.text(v)}" for f, (_, v) in zip(free, changes, strict=True))
        raise DesignError(
            f"with {words}, within the ranges, the design cannot be solved: {result}; give "
            "narrower ranges with --free",
            keys=tuple(f.key for f in free),
        )
    return result


def _excess(demand: Demand, one: Sample) -> float:
    found = demand.excess(one)
    assert found is not None  # rows that some designs do not have are left out
    return found


def _check(found: Explored) -> None:
    """Refuse surfaces that would mislead."""
    voltages = found.drawn.voltages
    half = (voltages["first_emission_high"] - voltages["first_emission_low"]) / (2.0 * found.first)
    if found.error > WORST * half:
        where = "; ".join(found.places)
        raise ComputationError(
            f"the surface through the solves misses a design within the ranges by "
            f"{found.error / SAFETY:.1e} of the first emission, and at most "
            f"{WORST * half / SAFETY:.1e} is allowed, {WORST / SAFETY:g} of the band's half width; "
            f"give narrower ranges with --free (within these it emits first from: {where})",
            keys=("--free",),
            cause="misfit",
        )
