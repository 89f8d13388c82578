"""Stand-ins for the demands over the box of the free quantities, and the optimum on them.

Each demand is interpolated through every solve by cubic radial basis functions with a linear part
(scipy's `RBFInterpolator`), in the logarithms of the quantities, where laws of field and onset are
nearly straight.  An optimum is sought by sequential quadratic programming from the best points of a
Sobol cloud.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.solver.sizing.demands import Demand, Sample

__all__ = ["MOVES", "Surfaces", "design_points", "interpolation_matrix"]

MOVES = 1e-3
"""Spread of an excess over all solves below which the free quantities do not move it: numerical
error of a solve, [-]."""

# Distance in shares of the ranges below which two solves tell less of a slope than their scatter of
# some 1e-3 hides: at 0.1 that is 0.01 over the whole range.
_APART = 0.1
# Points of the cloud, a power of two as Sobol's sequence wants: in three dimensions 12 to a side.
_CLOUD = 2048
# Of them the search begins at, against local optima; assumed, each costs some milliseconds.
_STARTS = 4


def design_points(count: int) -> FloatArray:
    """Where the box is solved first, (n, count) array in shares of the ranges.

    Five points of a line, nine of a square, and centre, faces and corners of a cube (a
    face-centred composite design; G. E. P. Box and K. B. Wilson, J R Stat Soc B 13, 1 (1951), from
    memory).

    Parameters
    ----------
    count : int
        Free quantities, 1 to 3.
    """
    if count == 1:
        return np.linspace(0.0, 1.0, 5)[:, None]
    axes = np.meshgrid(*[[0.0, 0.5, 1.0]] * count, indexing="ij")
    grid = np.stack([one.ravel() for one in axes], axis=1)
    if count == 2:
        return grid
    middles = (grid == 0.5).sum(axis=1)
    return np.asarray(grid[(middles == 0) | (middles >= count - 1)], dtype=float)


def interpolation_matrix(points: FloatArray) -> FloatArray:
    """The interpolation of `Surfaces` in a form that a page can evaluate, (n + 1 + d, n) array.

    With b(x) = (|x - p_1|^3, .., |x - p_n|^3, 1, x) the value at x is b(x) M v for values v
    at the points (the saddle-point system of a polyharmonic spline, from memory).

    Parameters
    ----------
    points : (n, d) array
        Not all in one plane.
    """
    count, size = points.shape
    distance = np.linalg.norm(points[:, None, :] - points[None, :, :], axis=2)
    linear = np.column_stack([np.ones(count), points])
    system = np.block([[distance**3, linear], [linear.T, np.zeros((size + 1, size + 1))]])
    return np.asarray(np.linalg.inv(system)[:, :count])


def apart(points: Sequence[FloatArray]) -> list[int]:
    """Points that lie so far from each other that scatter of meshing between them makes no slope.

    Parameters
    ----------
    points : sequence of (d,) arrays
        In shares of the ranges; of two that lie together the first is kept.

    Returns
    -------
    list of int
        Which of the points.
    """
    kept: list[int] = []
    for k, point in enumerate(points):
        if all(float(np.abs(points[one] - point).max()) >= _APART for one in kept):
            kept.append(k)
    return kept


@dataclass(frozen=True)
class Surfaces:
    """Interpolated excesses.

    Parameters
    ----------
    points : (n, d) array
        Solved points, in shares of the ranges.
    values : (n, m) array
        Excess of every demand at every point, nan where the review has no such row, [-].
    """

    points: FloatArray
    values: FloatArray

    @property
    def moving(self) -> tuple[int, ...]:
        """Demands that the free quantities move."""
        spread = np.nanmax(self.values, axis=0) - np.nanmin(self.values, axis=0)
        return tuple(int(k) for k in np.flatnonzero(spread > MOVES))

    def stuck(self, above: float) -> tuple[int, ...]:
        """Demands that fail by more than so much wherever they are known, unmoved.

        Parameters
        ----------
        above : float
            Excess, [-].
        """
        greatest = np.nanmax(self.values, axis=0)
        return tuple(
            k for k in range(len(greatest)) if k not in self.moving and greatest[k] > above
        )

    def __call__(self, at: FloatArray, demands: Sequence[int]) -> FloatArray:
        """Excesses, (k, len(demands)) array, at points, (k, d) array.

        Parameters
        ----------
        at : (k, d) array
        demands : sequence of int
        """
        found = np.empty((len(at), self.values.shape[1]))
        for columns, fit in self._fits:
            found[:, columns] = fit(at)
        return found[:, list(demands)]

    @cached_property
    def _fits(self) -> tuple[tuple[IntArray, Callable[[FloatArray], FloatArray]], ...]:
        """Columns that are known at the same points, and the interpolation of them."""
        from scipy.interpolate import RBFInterpolator

        there = ~np.isnan(self.values)
        fits: list[tuple[IntArray, Callable[[FloatArray], FloatArray]]] = []
        for pattern in np.unique(there, axis=1).T:
            columns = np.flatnonzero((there == pattern[:, None]).all(axis=0))
            values = self.values[np.ix_(pattern, columns)]
            if pattern.sum() < self.points.shape[1] + 2:
                fits.append((columns, partial(_greatest, values.max(axis=0))))
            else:
                fit = RBFInterpolator(self.points[pattern], values, kernel="cubic", degree=1)
                fits.append((columns, fit))
        return tuple(fits)

    def least(
        self,
        lowered: Sequence[int],
        held: Sequence[int] = (),
    ) -> tuple[FloatArray, float]:
        """The point that lowers the largest of some excesses as far as can be.

        Parameters
        ----------
        lowered : sequence of int
            Demands whose largest excess is lowered, at least one.
        held : sequence of int
            Demands that must hold meanwhile.

        Returns
        -------
        (d,) array, float
            The point, and the largest excess there of all demands lowered and held.
        """
        from scipy.optimize import minimize
        from scipy.stats import qmc

        count = self.points.shape[1]
        every = [*lowered, *held]
        split = len(lowered)
        cloud = np.concatenate([self.points, qmc.Sobol(count, seed=1).random(_CLOUD)])
        cloud = np.clip(cloud, 0.0, 1.0)
        excess = self(cloud, every)
        broken = np.maximum(excess[:, split:], 0.0).max(axis=1, initial=0.0)
        goal = excess[:, :split].max(axis=1)
        # Broken demands weigh far more than any gain of the goal.
        order = np.argsort(goal + 1e3 * broken)[:_STARTS]
        best, best_merit, best_goal = cloud[order[0]], np.inf, np.inf
        for start in cloud[order]:
            first = np.append(start, self(start[None, :], every)[0, :split].max())

            def aim(x: FloatArray) -> float:
                return float(x[-1])

            def room(x: FloatArray) -> FloatArray:
                found = self(x[None, :-1], every)[0]
                return np.asarray(np.concatenate([x[-1] - found[:split], -found[split:]]))

            solved = minimize(
                aim,
                first,
                method="SLSQP",
                bounds=[*[(0.0, 1.0)] * count, (-10.0, 10.0)],
                constraints=[{"type": "ineq", "fun": room}],
                options={"maxiter": 60, "ftol": 1e-8},
            )
            point = np.clip(np.asarray(solved.x[:-1]), 0.0, 1.0)
            for candidate in (point, start):
                found = self(candidate[None, :], every)[0]
                bad = max(float(found[split:].max(initial=0.0)), 0.0)
                value = float(found[:split].max())
                # Rounding of the optimiser is no breach.
                merit = value + 1e3 * (bad if bad > 1e-6 else 0.0)
                if merit < best_merit:
                    best, best_merit = candidate, merit
                    best_goal = float(found.max(initial=-np.inf))
        return np.asarray(best), best_goal


def excesses(solved: Sequence[tuple[FloatArray, Sample]], demands: Sequence[Demand]) -> Surfaces:
    """Surfaces of the excesses of some demands.

    Parameters
    ----------
    solved : sequence of ((d,) array, Sample)
        Shares of the ranges, and what was solved there.
    demands : sequence of Demand
    """
    values = [
        [np.nan if (e := demand.excess(sample)) is None else e for demand in demands]
        for _, sample in solved
    ]
    return Surfaces(np.array([point for point, _ in solved]), np.array(values, dtype=float))


def _greatest(values: FloatArray, at: FloatArray) -> FloatArray:
    """The same values at every point, where too few are known for an interpolation."""
    return np.tile(values, (len(at), 1))
