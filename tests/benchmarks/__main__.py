"""``cd tests && python -m benchmarks [--quick] [--to FOLDER]``: everything."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

__all__ = ["main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print the table, and write it with the numbers and a figure.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments; those of the process when left out.
    """
    from benchmarks.chart import draw
    from benchmarks.measuring import all_measured, command_times
    from benchmarks.table import csv_text, markdown
    from conegap.geometries.quantities.errors import ConegapError

    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("--quick", action="store_true", help="one repeat, coarse, no scan")
    parser.add_argument("--to", metavar="FOLDER", help="write numbers, table and figure")
    given = parser.parse_args(argv)

    def say(words: str) -> None:
        print(words, file=sys.stderr, flush=True)

    try:
        result = all_measured(
            repeats=1 if given.quick else 3, most=2 if given.quick else 99, say=say
        )
        result["commands"] = command_times(1 if given.quick else 3, whole=not given.quick)
    except ConegapError as error:
        say(f"benchmarks: {error}")
        return 3
    text = markdown(result)
    print(text)
    if given.to:
        folder = Path(given.to)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "benchmarks.json").write_text(json.dumps(result, indent=2) + "\n", "utf-8")
        (folder / "benchmarks.csv").write_text(csv_text(result), "utf-8")
        (folder / "benchmarks.md").write_text(text, "utf-8")
        figure = draw(result)
        figure.savefig(folder / "benchmarks.svg")
        figure.savefig(folder / "benchmarks.png", dpi=200)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
