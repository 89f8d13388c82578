"""The large run: random designs against the laws that must hold, broken files against the reader.

``python -m random_designs.run --designs 2000 --liquids 200 --tips 200 --files 1000`` in `tests`
works in two processes, prints its progress on standard error and a summary as JSON on standard
output, and ends with 0 only if nothing is left unexplained.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from conegap.solver.common.parallel_map import parallel_map
from random_designs.broken_files import broken_file, verdict_of
from random_designs.designs import RandomDesign, random_design
from random_designs.liquids import check_liquid, random_liquid
from random_designs.properties import Findings, check_design
from random_designs.tips import check_tips, random_tips

__all__ = ["broken_row", "design_row", "liquid_row", "main", "summary", "tip_row"]

# Of the cases in which a stated error, meant at about two standard deviations, must bound the
# change.
_HOLDING_SHARE = 0.95


def design_row(number: int, *, seed: int, every: int) -> dict[str, Any]:
    """One random design and what was found, ready for JSON.

    Parameters
    ----------
    number : int
        Which design of the run.
    seed : int
        Of the run.
    every : int
        Every how many designs a further mesh is added, which costs four times as much, [-].
    """
    random = random_design(np.random.default_rng((seed, number)).random)
    meshes = 4 if number % every == 0 else 3
    return _row(number, random, partial(check_design, meshes=meshes))


def liquid_row(number: int, *, seed: int) -> dict[str, Any]:
    """One random design whose free surface is followed, ready for JSON.

    Parameters
    ----------
    number : int
        Which design of the run.
    seed : int
        Of the run.
    """
    random = random_liquid(np.random.default_rng((seed, number)).random)
    return _row(number, random, check_liquid)


def tip_row(number: int, *, seed: int) -> dict[str, Any]:
    """One random crown or row of tips in three dimensions, ready for JSON.

    Parameters
    ----------
    number : int
        Which design of the run.
    seed : int
        Of the run.
    """
    return _row(number, random_tips(np.random.default_rng((seed, number)).random), check_tips)


def _row(
    number: int, random: RandomDesign, check: Callable[[RandomDesign, Path], Findings]
) -> dict[str, Any]:
    row: dict[str, Any] = {"number": number, "kind": random.kind}
    with _strict_folder() as folder:
        try:
            found = check(random, folder)
        except Exception:
            return {
                **row,
                "outcome": "broke down",
                "reason": traceback.format_exc(),
                "design": random.text(),
            }
    row |= {"outcome": found.outcome, "reason": found.reason}
    row["broken"] = [vars(p) for p in found.properties if not p.holds]
    row["bounds"] = [{**vars(p), "holds": p.holds} for p in found.bounds]
    if found.outcome != "solved" or row["broken"]:
        row["design"] = random.text()
    return row


@contextmanager
def _strict_folder() -> Iterator[Path]:
    """A folder for a while in which a warning of the numerics is an error."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        yield Path(folder)


def broken_row(number: int, *, seed: int) -> dict[str, Any]:
    """One broken file and what became of it, ready for JSON.

    Parameters
    ----------
    number : int
        Which file of the run.
    seed : int
        Of the run.
    """
    broken = broken_file(np.random.default_rng((seed, number)))
    with _strict_folder() as folder:
        verdict, reason = verdict_of(broken, folder)
    row = {"number": number, "example": broken.example, "damage": broken.damage, "verdict": verdict}
    return {**row, "reason": reason} if verdict == "wrong" else row


def summary(designs: Sequence[dict[str, Any]], files: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Counts, every unexplained failure, and how often the stated error was large enough.

    Parameters
    ----------
    designs : sequence of dict
        From `design_row`.
    files : sequence of dict
        From `broken_row`.
    """
    bounds: dict[str, list[bool]] = {}
    misses = []
    for row in designs:
        for bound in row.get("bounds", ()):
            bounds.setdefault(bound["name"], []).append(bound["holds"])
            if not bound["holds"]:
                misses.append({"number": row["number"], "kind": row["kind"], **bound})
    shares = {name: sum(held) / len(held) for name, held in bounds.items()}
    failures = [row for row in designs if row["outcome"] == "broke down" or row.get("broken")]
    failures += [row for row in files if row["verdict"] == "wrong"]
    refusals = [
        {key: row[key] for key in ("number", "kind", "outcome", "reason", "design")}
        for row in designs
        if row["outcome"] in ("refused", "not computed")
    ]
    return {
        "designs": len(designs),
        "outcomes": dict(Counter(f"{row['kind']}: {row['outcome']}" for row in designs)),
        "files": len(files),
        "verdicts": dict(Counter(row["verdict"] for row in files)),
        "share_of_errors_that_bound_the_change": shares,
        "bounds_missed": misses,
        "refusals": refusals,
        "unexplained_failures": failures,
        "passed": not failures and all(share >= _HOLDING_SHARE for share in shares.values()),
    }


def main(argv: Sequence[str] | None = None) -> int:
    """Run as many designs and files as asked for.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments; those of the process when left out.
    """
    parser = argparse.ArgumentParser(prog="python -m random_designs.run")
    parser.add_argument("--designs", type=int, default=0, help="how many random designs")
    parser.add_argument("--liquids", type=int, default=0, help="how many random free surfaces")
    parser.add_argument("--tips", type=int, default=0, help="how many random crowns and arrays")
    parser.add_argument("--files", type=int, default=0, help="how many broken files")
    parser.add_argument("--seed", type=int, default=1, help="another seed, other designs")
    parser.add_argument(
        "--finer-every", type=int, default=5, help="a fourth mesh for every so many designs"
    )
    parser.add_argument("--to", metavar="FILE", help="write the summary here")
    given = parser.parse_args(argv)

    def progress(what: str, done: int, whole: int) -> None:
        if done % max(1, whole // 20) == 0 or done == whole:
            print(f"{what}: {done} of {whole}", file=sys.stderr, flush=True)

    files: list[Any] = parallel_map(
        partial(broken_row, seed=given.seed), range(given.files), progress=progress, what="files"
    )
    designs: list[Any] = parallel_map(
        partial(design_row, seed=given.seed, every=given.finer_every),
        range(given.designs),
        progress=progress,
        what="designs",
    )
    designs += parallel_map(
        partial(liquid_row, seed=given.seed),
        range(given.liquids),
        progress=progress,
        what="free surfaces",
    )
    designs += parallel_map(
        partial(tip_row, seed=given.seed), range(given.tips), progress=progress, what="tips"
    )
    found = {"seed": given.seed, **summary(designs, files)}
    text = json.dumps(found, indent=2, ensure_ascii=False)
    if given.to:
        Path(given.to).write_text(text + "\n", encoding="utf-8")
    else:
        print(text)
    return 0 if found["passed"] else 1


if __name__ == "__main__":
    raise SystemExit(main())
