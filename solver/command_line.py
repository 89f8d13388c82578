"""The command ``conegap``: runs a command line, and turns refusals into exit codes.

Nothing heavy is imported before a command is known, so that ``conegap --help`` answers at once.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from conegap.geometries.errors import ComputationError, ConegapError
from conegap.solver.command_parser import (
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


def _speak_any_alphabet() -> None:
    """Never fail on a letter that the terminal does not know."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
