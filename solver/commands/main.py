"""The command ``conegap``: runs a command line, and turns refusals into exit codes.

Nothing heavy is imported before a command is known, so that ``conegap --help`` answers at once.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from conegap.geometries.quantities.errors import ComputationError, ConegapError
from conegap.solver.commands.parser import (
    DONE,
    INTERRUPTED,
    NOT_CONVERGED,
    NOT_PASSED,
    REFUSED,
    command_parser,
)

__all__ = ["DONE", "INTERRUPTED", "NOT_CONVERGED", "NOT_PASSED", "REFUSED", "main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command line.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments without the program's name; those of the process when left out.

    Returns
    -------
    int
        0 done; 1 done, but a row of the review or the validation fails; 2 bad input; 3 the
        computation did not converge; 130 interrupted.
    """
    _speak_any_alphabet()
    try:
        arguments = command_parser().parse_args(sys.argv[1:] if argv is None else argv)
        with _rare_collections():
            return int(arguments.run(arguments))
    except SystemExit as ending:
        return int(ending.code or DONE)
    except ComputationError as error:
        return _refuse(error, NOT_CONVERGED)
    except ConegapError as error:
        return _refuse(error, REFUSED)
    except MemoryError:
        print("conegap: there is not enough memory for this computation", file=sys.stderr)
        return NOT_CONVERGED
    except BrokenPipeError:
        # Whoever read the output has gone; what is left goes nowhere.
        sys.stdout = open("/dev/null", "w")  # noqa: SIM115
        return DONE
    except KeyboardInterrupt:
        print("conegap: interrupted; nothing half written is left behind", file=sys.stderr)
        return INTERRUPTED


def _refuse(error: ConegapError, code: int) -> int:
    print(f"conegap: {error}", file=sys.stderr)
    return code


@contextmanager
def _rare_collections() -> Iterator[None]:
    """Look for unused cycles of objects less often inside this block.

    The libraries keep hundreds of thousands of objects for good; looking through them took a
    tenth of a short command's time.
    """
    before = gc.get_threshold()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _speak_any_alphabet() -> None:
    """Never fail on a letter that the terminal does not know."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
