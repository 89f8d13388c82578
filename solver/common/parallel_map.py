"""Independent computations two at a time, each in a process of its own.

Short work runs in the calling process: starting two more takes some two seconds, which they need to
load the modules.  On Linux a process that has them loaded stands by from the first call on, and
what works is forked from it: later calls start at once.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, forkserver, get_context, parent_process
from multiprocessing.context import BaseContext
from threading import Thread
from typing import TypeVar

from conegap.geometries.quantities.errors import ComputationError, ConegapError
from conegap.solver.common.progress import Progress

__all__ = ["parallel_map", "stand_by"]

Item = TypeVar("Item")
Result = TypeVar("Result")

# Processes: what any machine has; each holds a mesh and its factor in memory.
_WORKERS = 2
_CORES = os.cpu_count() or 1
_WORTH_A_START = 4.0
"""Processor seconds of work here that two processes, after their start, would do in half the time:
not of the clock, by which a busy machine would get two more processes for short work."""


def _one(task: tuple[Callable[[Item], Result], Item]) -> Result | str:
    """Result of one task, or the refusal's text (runs in a worker)."""
    solve, item = task
    try:
        return solve(item)
    except ConegapError as error:
        return str(error)


def parallel_map(
    solve: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    progress: Progress | None = None,
    what: str = "solving",
    finished: Callable[[int, Result | str], None] | None = None,
    brief: bool = False,
) -> list[Result | str]:
    """Any result of every item, two at a time in processes of their own.

    Parameters
    ----------
    solve : callable
        Takes an item; a function of a module, since it runs in other processes.
    items : sequence
        What each computation takes.
    progress : callable or None
        Called before the first item and after every one.
    what : str
        What the progress is called.
    finished : callable or None
        Gets every number and result as soon as it is there, in this process.
    brief : bool
        Items are often quicker than the start of a process, some two seconds: begin here, and
        start processes only once the rest would take longer than that.

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
    workers = min(_WORKERS, _CORES, len(tasks))
    started, count = time.thread_time(), 0

    def settle(k: int, result: Result | str) -> None:
        nonlocal count
        results[k] = result
        count += 1
        if finished is not None:
            finished(k, result)
        if progress is not None:
            progress(what, count, len(tasks))

    if progress is not None and tasks:
        progress(what, 0, len(tasks))
    for k, task in enumerate(tasks):
        rest = (time.thread_time() - started) / max(count, 1) * (len(tasks) - count)
        if workers > 1 and (not brief or rest > _WORTH_A_START):
            break
        settle(k, _one(task))
    if count == len(tasks):
        return results
    pool = ProcessPoolExecutor(workers, mp_context=_context(), initializer=_end_with_caller)
    complete = False
    try:
        with _interrupts_held_back(), _one_thread_each():
            waiting = {pool.submit(_one, tasks[k]): k for k in range(count, len(tasks))}
        for future in as_completed(waiting):
            settle(waiting[future], future.result())
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


def stand_by() -> None:
    """Let a process load what is loaded here, beside what this one does next, so that the first
    call of `parallel_map` need not wait for it; does nothing where none stands by."""
    if sys.platform == "linux" and parent_process() is None and min(_WORKERS, _CORES) > 1:
        _context()
        with _interrupts_held_back(), _one_thread_each():
            forkserver.ensure_running()


def _context() -> BaseContext:
    """How processes are started.

    Never forked from this one, whose numerical libraries keep threads of their own.  The process
    that stands by on Linux loads what is loaded here, with one thread; elsewhere a fork after that
    is not safe.
    """
    if sys.platform != "linux":
        return get_context("spawn")
    context = get_context("forkserver")
    loaded = sorted(name for name in sys.modules if name.startswith("conegap."))
    context.set_forkserver_preload(loaded)
    return context


def _end_with_caller() -> None:
    """End this worker when the process that asked for it ends, in whatever way."""
    caller = parent_process()

    def follow() -> None:
        if caller is not None:
            caller.join()
        os._exit(1)

    Thread(target=follow, daemon=True).start()


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Start processes whose linear algebra keeps to one thread.

    They share the cores; threads of their own made a scan a fifth slower.
    """
    before = dict(os.environ)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    try:
        yield
    finally:
        for name in os.environ.keys() - before.keys():
            del os.environ[name]


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
