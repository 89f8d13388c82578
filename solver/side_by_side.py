"""Independent computations two at a time, each in a process of its own."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from typing import TypeVar

from conegap.geometries.errors import ComputationError, ConegapError
from conegap.solver.scan_progress import Progress

__all__ = ["side_by_side"]

Item = TypeVar("Item")
Result = TypeVar("Result")

_WORKERS = 2


def _one(task: tuple[Callable[[Item], Result], Item]) -> Result | str:
    """Result of one task, or the refusal's text (runs in a worker)."""
    solve, item = task
    try:
        return solve(item)
    except ConegapError as error:
        return str(error)


def side_by_side(
    solve: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    progress: Progress | None = None,
    what: str = "solving",
    finished: Callable[[int, Result | str], None] | None = None,
) -> list[Result | str]:
    """Any result of every item, two at a time in processes of their own.

    Parameters
    ----------
    solve : callable
        Takes an item; a function of a module, since it runs in other processes.
    items : sequence
        What each computation takes.
    progress : callable or None
        Called after every item.
    what : str
        What the progress is called.
    finished : callable or None
        Gets every number and result as soon as it is there, in this process.

    Returns
    -------
    list
        In the order of the items; a text says why an item has no result.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    tasks = [(solve, item) for item in items]
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
