"""conegap's own solver; the setting is the number of nested meshes, three by default."""

from __future__ import annotations

import time

from benchmarks.measured import Run
from benchmarks.problems import Problem
from conegap.solver.field.level import solve_level
from conegap.solver.field.solution import FieldSolution
from conegap.solver.mesh.coarse_mesh import coarse_mesh

__all__ = ["solve"]


def solve(problem: Problem, setting: float) -> Run:
    """The unit solutions of every electrode and the edge field with its error.

    The steps of `conegap.solver.field.solution.solve_field`, timed apart.

    Parameters
    ----------
    setting : float
        Number of meshes, [-].
    """
    section = problem.section
    started = time.perf_counter()
    coarse = coarse_mesh(section)
    meshed = time.perf_counter()
    levels = tuple(
        solve_level(coarse, 2 * 2**k, section.electrodes, {}) for k in range(int(setting))
    )
    solution = FieldSolution(section, coarse, section.electrodes, levels, 0.0)
    value = solution.edge(problem.edge, problem.voltages).value
    ended = time.perf_counter()
    return Run(value, solution.cells, solution.cells, meshed - started, ended - meshed)
