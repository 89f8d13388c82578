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
    _replace_unknown_characters()
    try:
        arguments = command_parser().parse_args(sys.argv[1:] if argv is None else argv)
        with _rare_garbage_collection():
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
        # The reader of the output has gone; what is left is discarded.
        sys.stdout = open("/dev/null", "w")  # noqa: SIM115
        return DONE
    except KeyboardInterrupt:
        print("conegap: interrupted; nothing half written is left behind", file=sys.stderr)
        return INTERRUPTED


def _refuse(error: ConegapError, code: int) -> int:
    print(f"conegap: {error}", file=sys.stderr)
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
