"""``conegap start``: a commented design file to edit."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

# Bytes free on the disk that a design file may need.
_ROOM = 100_000

SUMMARY = "write a commented design file of a kind of emitter"
EXAMPLES = """\
examples:
  conegap start needle                  print it
  conegap start slit --to slit_1.toml   write it, with the tables it names beside it
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from conegap.geometries.design.starters import starter_kinds

    parser.add_argument(
        "kind",
        metavar="KIND",
        help=f"kind of design: {', '.join(starter_kinds())}",
    )
    parser.add_argument("--to", metavar="FILE", help="file to write; printed when left out")
    parser.add_argument("--force", action="store_true", help="replace a file that exists")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.starters import starter, starter_tables
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import new_files

    talk = Messages.of(arguments)
    text, tables = starter(arguments.kind), starter_tables(arguments.kind)
    if arguments.to is None:
        sys.stdout.write(text)
        if tables:
            names = ", ".join(name for name, _ in tables)
            talk.remark(f"This design names {names}; with --to FILE it is written beside the file.")
        return 0
    target = Path(arguments.to)
    places = [target, *(target.parent / name for name, _ in tables)]
    with new_files(places, may_replace=lambda _: bool(arguments.force), room=_ROOM) as content:
        content.extend([text, *(table for _, table in tables)])
    for place in places:
        talk.remark(f"written: {place}")
    talk.remark(f"next: edit it, then  conegap draw {target}  and  conegap onset {target}")
    return 0
