"""conegap's own solver; the setting is the subdivisions of the finest mesh, eight by default."""

from __future__ import annotations

import time

from conegap.solver.coarse_mesh import coarse_mesh
from conegap.solver.field import FieldSolution
from conegap.solver.level import solve_level
from conegap.validation.benchmarks.measured import Run
from conegap.validation.benchmarks.problems import Problem

__all__ = ["solve"]

_FROM_ONE = 4


def solve(problem: Problem, setting: float) -> Run:
    """The unit solutions of every electrode and the edge field with its error.

    The steps of `conegap.solver.field.solve_field`, timed apart; four subdivisions have
    ``first=1``.

    Parameters
    ----------
    problem : Problem
    setting : float
        Subdivisions of the finest mesh, a power of two, [-].
    """
    section = problem.section
    started = time.perf_counter()
    coarse = coarse_mesh(section)
    meshed = time.perf_counter()
    sizes = [1 if setting == _FROM_ONE else 2]
    while sizes[-1] < setting:
        sizes.append(2 * sizes[-1])
    levels = tuple(solve_level(coarse, n, section.electrodes, {}) for n in sizes)
    solution = FieldSolution(section, coarse, section.electrodes, levels, 0.0)
    value = solution.edge(problem.edge, problem.voltages).value
    ended = time.perf_counter()
    return Run(value, solution.cells, solution.cells, meshed - started, ended - meshed)
