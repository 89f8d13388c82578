"""The command ``conegap``: its arguments, and refusals turned into exit codes.

Nothing heavy is imported before a command is known, so that ``conegap --help`` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from conegap.geometries.errors import ComputationError, ConegapError

__all__ = ["DONE", "INTERRUPTED", "NOT_CONVERGED", "NOT_PASSED", "REFUSED", "main"]

DONE, NOT_PASSED, REFUSED, NOT_CONVERGED, INTERRUPTED = 0, 1, 2, 3, 130

_COMMANDS = (
    "start",
    "trace",
    "draw",
    "onset",
    "vary",
    "tolerate",
    "calibrate",
    "metals",
    "lesson",
    "validate",
)
_EXAMPLES = """\
examples:
  conegap onset needle                 the main job, on a shipped example
  conegap start slit --to my.toml      a commented design file to edit
  conegap trace edge.png --scale "412 px = 20 um" --to edge    a design from a micrograph
  conegap draw my.toml --to my.svg     its dimensioned section
  conegap onset my.toml                field, onset with its band, gap review, report folder
  conegap vary my.toml --over accelerator.gap="0.5 mm".."2 mm":7
  conegap tolerate my.toml --fit 3%    tolerance stack-up, and the tolerances that must be held
  conegap calibrate my.toml --measured "5.2 kV"    the edge radius behind a measured onset
  conegap metals indium                properties with their sources
  conegap lesson                       a course that predicts, computes and compares
  conegap validate                     exact and published cases, computed live

exit codes:
  0 done    1 done, but a criterion or a validation row fails    2 bad input, nothing written
  3 the computation did not converge, nothing reported
"""


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
        arguments = _parsed(sys.argv[1:] if argv is None else argv)
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


class _Version(argparse.Action):
    """Prints the version; looks it up only when asked."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"conegap {version('conegap')}")
        parser.exit(DONE)


class _Parser(argparse.ArgumentParser):
    """Complains in one line and points at the help."""

    def error(self, message: str) -> None:  # type: ignore[override]
        print(f"conegap: {message}; see '{self.prog} --help'", file=sys.stderr)
        raise SystemExit(REFUSED)


def _parsed(argv: Sequence[str]) -> argparse.Namespace:
    parser = _Parser(
        prog="conegap",
        description="Predicts, before metal is cut, at what voltage a liquid-metal emitter facing "
        "an accelerator electrode starts to emit.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and end")
    commands = parser.add_subparsers(
        title="commands", metavar="COMMAND", required=True, parser_class=_Parser
    )
    for name in _COMMANDS:
        module = importlib.import_module(f"conegap.solver.command_{name}")
        module.add_arguments(
            commands.add_parser(
                name,
                help=module.SUMMARY,
                description=module.SUMMARY[0].upper() + module.SUMMARY[1:] + ".",
                epilog=module.EXAMPLES,
                formatter_class=argparse.RawDescriptionHelpFormatter,
                allow_abbrev=False,
            )
        )
    return parser.parse_args(argv)
