"""Computations that follow ions, side by side, so that the paths of all take their steps together.

A job is a generator: it yields the swarms that it wants followed, is given their trajectories, and
returns its result.  The jobs' swarms are followed together; see
`conegap.solver.beam.trajectories.trace_together` for what that saves.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import TypeAlias, TypeVar

from conegap.solver.beam.trajectories import Swarm, Trajectories, trace_together

__all__ = ["Job", "followed", "side_by_side"]

Result = TypeVar("Result")
Job: TypeAlias = Generator[Sequence[Swarm], Sequence[Trajectories], Result]


def side_by_side(jobs: Sequence[Job[Result]]) -> list[Result]:
    """Results of jobs in their order; what a job raises is raised here.

    Parameters
    ----------
    jobs : sequence of Job
    """
    results: dict[int, Result] = {}
    wanted: dict[int, Sequence[Swarm]] = {}
    for k, job in enumerate(jobs):
        try:
            wanted[k] = next(job)
        except StopIteration as end:
            results[k] = end.value
    while wanted:
        paths = iter(trace_together([swarm for swarms in wanted.values() for swarm in swarms]))
        asked, wanted = wanted, {}
        for k, swarms in asked.items():
            try:
                wanted[k] = jobs[k].send([next(paths) for _ in swarms])
            except StopIteration as end:
                results[k] = end.value
    return [results[k] for k in range(len(jobs))]


def followed(job: Job[Result]) -> Result:
    """Result of one job alone; what it raises is raised here."""
    return side_by_side([job])[0]
