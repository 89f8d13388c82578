"""The command ``conegap``: runs a command line, and turns refusals into exit codes.

Nothing heavy is imported before a command is known, so that ``conegap --help`` answers at once.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType

from conegap.geometries.quantities.errors import ComputationError, ConegapError
from conegap.solver.commands.parser import (
    DONE,
    FAULT,
    INTERRUPTED,
    NOT_CONVERGED,
    REFUSED,
    TERMINATED,
    command_parser,
)

__all__ = ["main"]


class _Terminated(KeyboardInterrupt):
    """The system asks this process to end; what is half done is tidied as after an interrupt."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command line.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments without the program's name; those of the process when left out, which then also
        tidies up when it is terminated.

    Returns
    -------
    int
        0 done; 1 done, but a row of the review or the validation fails; 2 bad input; 3 the
        computation did not converge; 4 a fault of conegap itself; 130 interrupted; 143 terminated.
    """
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    if sys.stdout is None:
        return _say("the standard output is closed; send it to a file or to /dev/null", REFUSED)
    _replace_unknown_characters()
    if argv is None and threading.current_thread() is threading.main_thread():
        with suppress(ValueError, OSError):
            signal.signal(signal.SIGTERM, _terminated)
    try:
        code = _run(sys.argv[1:] if argv is None else argv)
        sys.stdout.flush()
        return code
    except ComputationError as error:
        return _say(str(error), NOT_CONVERGED)
    except ConegapError as error:
        return _say(str(error), REFUSED)
    except MemoryError:
        return _say("there is not enough memory for this computation", NOT_CONVERGED)
    except BrokenPipeError:
        # The reader of the output has gone; what is left is discarded.
        _discard_output()
        return DONE
    except _Terminated:
        return _say("terminated; nothing half written is left behind", TERMINATED)
    except KeyboardInterrupt:
        return _say("interrupted; nothing half written is left behind", INTERRUPTED)
    except OSError as problem:
        _discard_output()
        what = f"{problem.filename}: " if problem.filename else "the output cannot be written: "
        return _say(f"{what}{problem.strerror or problem}", REFUSED)
    except Exception as fault:
        return _say(_fault(fault), FAULT)


def _run(arguments: Sequence[str]) -> int:
    """Exit code of a command line."""
    try:
        parsed = command_parser().parse_args(arguments)
        with _rare_garbage_collection():
            return int(parsed.run(parsed))
    except SystemExit as ending:
        return int(ending.code or DONE)


def _fault(fault: Exception) -> str:
    """What to report of an exception that nothing foresaw, in one line."""
    last = traceback.extract_tb(fault.__traceback__)[-1:]
    place = "".join(f" in {Path(f.filename).name}, line {f.lineno}" for f in last)
    words = " ".join(str(fault).split())[:200]
    return (
        f"a fault of conegap itself, {type(fault).__name__}{place}: {words}; no number is given. "
        "Please report it with the design file"
    )


def _terminated(_number: int, _frame: FrameType | None) -> None:
    raise _Terminated


def _discard_output() -> None:
    """Send what is still to be printed nowhere, so that the end of the process is quiet."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115


def _say(message: str, code: int) -> int:
    with suppress(OSError):
        print(f"conegap: {message}", file=sys.stderr)
    return code


@contextmanager
def _rare_garbage_collection() -> Iterator[None]:
    """Collect garbage less often inside this block.

    The libraries keep hundreds of thousands of objects for good; looking through them took a
    tenth of a short command's time.
    """
    before = gc.get_threshold()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _replace_unknown_characters() -> None:
    """Replace characters that the terminal cannot show instead of failing on them."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
