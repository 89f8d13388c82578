"""The arguments of ``conegap``: one parser over all commands.

Nothing heavy is imported to build it, so that ``conegap --help`` answers at once.
"""

from __future__ import annotations

import argparse
import difflib
import importlib
import sys
from typing import Any

__all__ = [
    "DONE",
    "FAULT",
    "INTERRUPTED",
    "NOT_CONVERGED",
    "NOT_PASSED",
    "REFUSED",
    "TERMINATED",
    "command_parser",
]

# Exit codes; 130 and 143 are a shell's own for an interrupt and a termination.
DONE, NOT_PASSED, REFUSED, NOT_CONVERGED, FAULT = 0, 1, 2, 3, 4
INTERRUPTED, TERMINATED = 130, 143

_COMMANDS = (
    "start",
    "trace",
    "draw",
    "onset",
    "vary",
    "tolerate",
    "calibrate",
    "size",
    "explore",
    "compare",
    "lot",
    "metals",
    "lesson",
    "validate",
    "completion",
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
  conegap size my.toml --wanted first_emission="4 kV" --free accelerator.gap="0.5 mm".."2 mm"
  conegap explore my.toml              a page with sliders on which onset and review follow
  conegap compare rev_b.toml rev_c.toml    what changed between revisions, and what it did
  conegap lot my.toml articles.csv     measured articles: spread, outliers, the best for a supply
  conegap metals indium                properties with their sources
  conegap lesson                       a course that predicts, computes and compares
  conegap validate                     exact and published cases, computed live
  conegap completion bash              a script that completes commands with the tab key

every command: results on standard output, messages on standard error; --quiet, --verbose

exit codes:
  0 done; no criterion fails, but some may not be proved: the verdict says so
  1 done, but a criterion or a validation row fails    2 bad input, nothing written
  3 the computation did not converge, nothing reported
  4 a fault of conegap itself, nothing reported
  130 interrupted with Ctrl-C    143 terminated; nothing reported in both
"""


class _Version(argparse.Action):
    """Prints the version; looks it up only when asked."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"conegap {version('conegap')}")
        parser.exit(DONE)


class _Parser(argparse.ArgumentParser):
    """Complains in one line and points at the help."""

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Offer the nearest of the words that are allowed, before all of them."""
        if action.choices is None or value in action.choices:
            return
        words = [str(choice) for choice in action.choices]
        close = difflib.get_close_matches(str(value), words, n=1, cutoff=0.5)
        hint = f", did you mean '{close[0]}'?" if close else ""
        raise argparse.ArgumentError(
            action, f"'{value}' is not known{hint}; choose from {', '.join(words)}"
        )

    def error(self, message: str) -> None:  # type: ignore[override]
        print(f"conegap: {message}; see '{self.prog} --help'", file=sys.stderr)
        raise SystemExit(REFUSED)


def command_parser() -> argparse.ArgumentParser:
    """The parser of every command; its result holds ``run``, the function to call."""
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
        module = importlib.import_module(f"conegap.solver.commands.{name}")
        command = commands.add_parser(
            name,
            help=module.SUMMARY,
            description=module.SUMMARY[0].upper() + module.SUMMARY[1:] + ".",
            epilog=module.EXAMPLES,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        module.add_arguments(command)
        loudness = command.add_mutually_exclusive_group()
        loudness.add_argument(
            "-q",
            "--quiet",
            action="store_true",
            help="print nothing but what was asked for as data (--json) and refusals",
        )
        loudness.add_argument(
            "-v", "--verbose", action="store_true", help="say every step on standard error"
        )
    return parser
