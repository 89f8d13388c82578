"""Work that may never come to an end, with a limit on its processor time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TypeVar

__all__ = ["within"]

# How often the work is looked at, [s]: a finished one is seen at once all the same.
_LOOK = 0.1

Result = TypeVar("Result")


def within(seconds: float, work: Callable[[], Result]) -> Result:
    """Result of work that is given up after some processor time.

    The work runs in a thread of its own and should let go of the interpreter's lock, as compiled
    libraries do.  Nothing can stop it from outside: work that is given up goes on beside everything
    else until the process ends.  The time is the processor's, so that a busy machine gives up
    nothing; where a thread's is not to be had, the clock's.

    Parameters
    ----------
    seconds : float
        [s].
    work : callable

    Raises
    ------
    TimeoutError
        The work did not end within its time.
    Exception
        What the work raises.
    """
    results: list[Result] = []
    errors: list[BaseException] = []

    def run() -> None:
        try:
            results.append(work())
        except BaseException as error:
            errors.append(error)

    thread = threading.Thread(target=run, daemon=True)
    begun = time.monotonic()
    thread.start()
    while True:
        thread.join(_LOOK)
        if not thread.is_alive():
            break
        if _spent(thread, begun) > seconds:
            raise TimeoutError(f"no end after {seconds:g} s of processor time")
    if errors:
        raise errors[0]
    return results[0]


def _spent(thread: threading.Thread, begun: float) -> float:
    """Processor time of a thread, [s]."""
    clock = getattr(time, "pthread_getcpuclockid", None)
    if clock is None or thread.ident is None:
        return time.monotonic() - begun
    try:
        return float(time.clock_gettime(clock(thread.ident)))
    except OSError:
        # The thread has just ended.
        return 0.0
