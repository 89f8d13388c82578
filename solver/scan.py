"""Onset over a range of a quantity, every point by its own field solve."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing import active_children, get_context
from typing import TypeVar

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.geometries.design import Design
from conegap.geometries.errors import ComputationError, ConegapError
from conegap.solver.onset import RigidOnset, rigid_onset
from conegap.solver.scan_progress import Progress

__all__ = [
    "Changes",
    "Finished",
    "Progress",
    "Scan",
    "ScanPoint",
    "changed_design",
    "onset_of_variants",
    "scan",
    "solve_variants",
]

Finished = Callable[[int, RigidOnset | str], None]
"""Called with (number of the variant, its result) as soon as a variant is solved."""

Changes = tuple[tuple[str, float], ...]
"""Changes that make a variant of a design: ((key, SI value), ...)."""

Result = TypeVar("Result")

_WORKERS = 2


@dataclass(frozen=True)
class ScanPoint:
    """One point of a scan.

    Parameters
    ----------
    value : float
        Value of the quantity, SI.
    onset : RigidOnset or None
        None where the changed design is refused or does not converge.
    refusal : str
        Why, or "".
    """

    value: float
    onset: RigidOnset | None
    refusal: str


@dataclass(frozen=True)
class Scan:
    """Onset over a range of one quantity.

    Parameters
    ----------
    key : str
        Design file key.
    label : str
        Words for the axis.
    unit : str
        Unit to print the values in.
    points : tuple of ScanPoint
        In rising order of value.
    """

    key: str
    label: str
    unit: str
    points: tuple[ScanPoint, ...]

    @property
    def values(self) -> FloatArray:
        """Values of the points that have an onset, SI, (n,) array."""
        return np.array([p.value for p in self.points if p.onset is not None])

    @property
    def voltages(self) -> FloatArray:
        """Onset voltages, [V], (n,) array."""
        return np.array([p.onset.voltage for p in self.points if p.onset is not None])


def _one(task: tuple[Callable[..., Result], Design, Changes]) -> Result | str:
    """Result of a design with some values changed, or the refusal's text (runs in a worker)."""
    solve, design, changes = task
    try:
        return solve(design, changes)
    except ConegapError as error:
        return str(error)


def changed_design(design: Design, changes: Changes) -> Design:
    """A design with some values changed.

    Parameters
    ----------
    design : Design
    changes : ((key, SI value), ...)

    Raises
    ------
    DesignError
        The changed design is refused.
    """
    for key, value in changes:
        design = design.with_value(key, value)
    return design


def _rigid(design: Design, changes: Changes, *, meshes: int) -> RigidOnset:
    return rigid_onset(changed_design(design, changes), meshes=meshes)


def onset_of_variants(
    design: Design,
    variants: Iterable[tuple[tuple[str, float], ...]],
    *,
    meshes: int = 2,
    progress: Progress | None = None,
    what: str = "solving variants",
    finished: Finished | None = None,
) -> list[RigidOnset | str]:
    """Rigid onset of every variant of a design, two at a time.

    Parameters
    ----------
    design : Design
    variants : iterable of ((key, SI value), ...)
        Changes that make each variant.
    meshes : int
        Meshes of every solve: 2 for shifts and curves, 3 where each value must carry an
        observed order, [-].
    progress : callable or None
        Called after every variant.
    what : str
        What the progress is called.
    finished : callable or None
        Gets every result as soon as it is there, in this process, so that it can be kept.

    Returns
    -------
    list of RigidOnset or str
        In the order of the variants; a text says why a variant has no onset.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    return solve_variants(
        partial(_rigid, meshes=meshes),
        design,
        variants,
        progress=progress,
        what=what,
        finished=finished,
    )


def solve_variants(
    solve: Callable[[Design, Changes], Result],
    design: Design,
    variants: Iterable[Changes],
    *,
    progress: Progress | None = None,
    what: str = "solving variants",
    finished: Callable[[int, Result | str], None] | None = None,
) -> list[Result | str]:
    """Any result of every variant of a design, two at a time.

    Parameters
    ----------
    solve : callable
        Takes the design and the changes that make a variant; a function of a module, since it
        runs in other processes.
    design : Design
    variants : iterable of ((key, SI value), ...)
    progress, what, finished
        As for `onset_of_variants`.

    Returns
    -------
    list
        In the order of the variants; a text says why a variant has no result.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    tasks = [(solve, design, variant) for variant in variants]
    results: list[Result | str] = [""] * len(tasks)
    workers = min(_WORKERS, os.cpu_count() or 1, len(tasks))
    if workers <= 1:
        for k, task in enumerate(tasks):
            results[k] = _one(task)
            if finished is not None:
                finished(k, results[k])
            if progress is not None:
                progress(what, k + 1, len(tasks))
        return results
    # Fresh processes, not forked ones: the numerical libraries keep threads of their own.
    pool = ProcessPoolExecutor(max_workers=workers, mp_context=get_context("spawn"))
    complete = False
    try:
        with _interrupts_held_back():
            waiting = {pool.submit(_one, task): k for k, task in enumerate(tasks)}
        for done, future in enumerate(as_completed(waiting), start=1):
            k = waiting[future]
            results[k] = future.result()
            if finished is not None:
                finished(k, results[k])
            if progress is not None:
                progress(what, done, len(tasks))
        complete = True
    except BrokenProcessPool as error:
        raise ComputationError(
            f"{what}: a process that was solving ended early, perhaps for want of memory; "
            "close other programs and try again"
        ) from error
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        if not complete:
            for process in active_children():
                process.terminate()
    return results


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Start processes that Ctrl-C does not reach: this process alone answers it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def scan(
    design: Design,
    key: str,
    values: FloatArray,
    *,
    meshes: int = 2,
    progress: Progress | None = None,
) -> Scan:
    """Onset over values of one quantity.

    Parameters
    ----------
    design : Design
    key : str
        Design file key, such as "accelerator.gap".
    values : (n,) array
        SI values in rising order.
    meshes : int
        Meshes of every solve: 2 for shifts and curves, 3 where each value must carry an
        observed order, [-].
    progress : callable or None

    Raises
    ------
    DesignError
        The design has no such quantity.
    """
    dimension = design.dimension(key)
    results = onset_of_variants(
        design,
        [((key, float(value)),) for value in values],
        meshes=meshes,
        progress=progress,
        what=f"onset over {dimension.label}",
    )
    points = tuple(
        ScanPoint(float(value), None, result)
        if isinstance(result, str)
        else ScanPoint(float(value), result, "")
        for value, result in zip(values, results, strict=True)
    )
    return Scan(key, dimension.label, dimension.unit, points)
