"""All measurements of one run: repeats interleaved, every method in fresh processes."""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from benchmarks.methods import METHODS, missing
from benchmarks.problems import PROBLEMS, problem_of, right_value
from conegap.geometries.quantities.errors import ComputationError

__all__ = ["all_measured", "command_times", "medians"]

_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
_TIMES = ("mesh_seconds", "solve_seconds", "processor_seconds", "peak_megabytes")


def all_measured(
    *,
    repeats: int = 3,
    problems: Sequence[str] = PROBLEMS,
    methods: Sequence[str] | None = None,
    most: int = 99,
    say: Callable[[str], None] = lambda _: None,
) -> dict[str, Any]:
    """Measure everything and return it, ready for JSON.

    Parameters
    ----------
    repeats : int
        How often; medians are kept.
    problems, methods : sequence of str
        Names of those that take part; all methods when None.
    most : int
        How many settings of each method, the coarsest first.
    say : callable
        Gets a line of progress.

    Raises
    ------
    ComputationError
        A measurement ended without a result.
    """
    right: dict[str, dict[str, Any]] = {}
    for name in problems:
        problem = problem_of(name)
        value, error = right_value(problem)
        right[name] = {"title": problem.title, "edge_field_V_per_m": value, "own_error": error,
                       "source": problem.source}  # fmt: skip
        say(f"right value of {name}: {value:.8g} V/m")
    wanted = [m for m in METHODS if methods is None or m.name in methods]
    present = [m for m in wanted if not missing(m)]
    absent = [missing(m) for m in wanted if missing(m)]
    for words in absent:
        say(words)
    found: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for turn in range(repeats):
        for name in problems:
            for method in present:
                result = _child(name, method.name, most)
                found.setdefault((name, method.name), []).append(result)
            say(f"round {turn + 1} of {repeats}: {name}")
    rows = [
        row
        for (name, method_name), results in found.items()
        for row in medians(name, method_name, results, right[name]["edge_field_V_per_m"])
    ]
    return {"cores": os.cpu_count(), "repeats": repeats, "right": right, "absent": absent,
            "rows": rows}  # fmt: skip


def medians(
    problem: str, method: str, results: Sequence[dict[str, Any]], right: float
) -> list[dict[str, Any]]:
    """One row per setting, times as medians over the repeats.

    Parameters
    ----------
    problem, method : str
    results : sequence of dict
        What the processes printed.
    right : float
        The value to be reached, [V/m].
    """
    rows = []
    for runs in zip(*(result["runs"] for result in results), strict=True):
        row: dict[str, Any] = {"problem": problem, "method": method}
        row |= {key: runs[0][key] for key in ("setting", "unknowns", "cells", "edge_field")}
        row["error"] = abs(runs[0]["edge_field"] / right - 1.0)
        row |= {key: statistics.median(run[key] for run in runs) for key in _TIMES}
        row["seconds"] = statistics.median(r["mesh_seconds"] + r["solve_seconds"] for r in runs)
        row["import_seconds"] = statistics.median(r["import_seconds"] for r in results)
        rows.append(row)
    return rows


def _child(problem: str, method: str, most: int) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.child", problem, method]
    done = subprocess.run(
        [*command, str(most)],
        capture_output=True,
        text=True,
        env=os.environ | _ONE_THREAD,
        cwd=Path(__file__).resolve().parents[1],
    )
    if done.returncode != 0:
        raise ComputationError(f"{method} on {problem} ended early: {done.stderr[-500:]}")
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return result


def command_times(repeats: int = 3, *, whole: bool = True) -> dict[str, dict[str, float]]:
    """Wall and processor time of whole commands, from start to end of the process, [s].

    Parameters
    ----------
    repeats : int
        For the quick ones; the scan of a hundred points runs once.
    whole : bool
        Also the onset and the scan.
    """
    needed = [("help", ["--help"], 2 * repeats + 1)]
    if whole:
        scan = "accelerator.gap=0.5 mm..2 mm:100"
        needed += [
            ("onset", ["onset", "needle", "--criterion", "rigid", "--quick"], repeats),
            ("vary", ["vary", "needle", "--over", scan], 1),
        ]
    return {name: _timed(words, count) for name, words, count in needed}


def _timed(words: list[str], count: int) -> dict[str, float]:
    script = "import sys; from conegap.solver.commands.main import main; sys.exit(main())"
    walls, processors = [], []
    for _ in range(count):
        with tempfile.TemporaryDirectory() as folder:
            before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", script, *words], capture_output=True, cwd=Path(folder)
            )
            walls.append(time.perf_counter() - started)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            if done.returncode > 1:
                raise ComputationError(f"conegap {' '.join(words)}: {done.stderr[-500:]!r}")
        processors.append(after.ru_utime - before.ru_utime)
    return {"seconds": statistics.median(walls), "processor_seconds": statistics.median(processors)}
