"""From measurements to goals, a table for people and one for machines."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["Goal", "csv_text", "goals", "growth", "markdown", "time_to_reach"]

# Relative errors of the edge field that the times belong to: what a design needs and what a
# shift between designs needs.
TARGETS = (1e-3, 1e-4)
# Exponent of the time over the control volumes that was promised, a little above one.
_MOST_GROWTH = 1.2
_LEAST_RANGE = 4.0 * (1.0 - 0.1)  # settings of conegap differ by nearly four
# Goals for whole commands, [s].
_COMMANDS = {"help": 0.4, "onset": 5.0, "vary": 40.0}
_WORDS = {
    "help": "`conegap --help`",
    "onset": "`conegap onset needle --criterion rigid --quick`, whole process",
    "vary": "`conegap vary needle`, 100 points",
}


@dataclass(frozen=True)
class Goal:
    """A figure that was promised and the one that was measured.

    Parameters
    ----------
    what : str
    measured : str
    limit : str
    met : bool
    """

    what: str
    measured: str
    limit: str
    met: bool


def _of(rows: Sequence[dict[str, Any]], problem: str, method: str) -> list[dict[str, Any]]:
    return [r for r in rows if r["problem"] == problem and r["method"] == method]


def _names(rows: Sequence[dict[str, Any]], key: str) -> list[str]:
    return list(dict.fromkeys(row[key] for row in rows))


def time_to_reach(rows: Sequence[dict[str, Any]], error: float) -> float:
    """Shortest time of a setting whose error, and that of every finer one, is small enough, [s].

    A lucky zero of the error on a coarse mesh does not count.  inf where none is.

    Parameters
    ----------
    rows : sequence of dict
        Of one method on one problem, from coarse to fine.
    error : float
        Relative error of the edge field, [-].
    """
    best = math.inf
    for row in reversed(rows):
        if not row["error"] <= error:
            break
        best = min(best, row["seconds"])
    return best


def growth(rows: Sequence[dict[str, Any]]) -> float:
    """Exponent of the solve time in the number of unknowns, nan for less than fourfold sizes, [-].

    Parameters
    ----------
    rows : sequence of dict
        Of one method on one problem.
    """
    size = np.array([row["unknowns"] for row in rows], dtype=float)
    time = np.array([row["solve_seconds"] for row in rows], dtype=float)
    if size.max() < _LEAST_RANGE * size.min():
        return math.nan
    return float(np.polyfit(np.log(size), np.log(time), 1)[0])


def goals(result: dict[str, Any]) -> list[Goal]:
    """Every goal, met or not.

    Parameters
    ----------
    result : dict
        From `all_measured`, with ``commands`` from `command_times`.
    """
    rows = result["rows"]
    found = []
    for problem in _names(rows, "problem"):
        for target in TARGETS:
            own = time_to_reach(_of(rows, problem, "conegap"), target)
            peers = {m: time_to_reach(_of(rows, problem, m), target)
                     for m in _names(rows, "method") if m != "conegap"}  # fmt: skip
            if not peers:
                continue
            fastest = min(peers, key=lambda name: peers[name])
            found.append(
                Goal(
                    f"{problem}: edge field within {target:g}, no slower than the fastest peer",
                    _seconds(own),
                    f"{_seconds(peers[fastest])} ({fastest})"
                    if math.isfinite(peers[fastest])
                    else "no peer reaches it",
                    own <= peers[fastest] and math.isfinite(own),
                )
            )
        exponent = growth(_of(rows, problem, "conegap"))
        what = f"{problem}: growth of the solve time with the number of control volumes"
        met = exponent <= _MOST_GROWTH
        found.append(Goal(what, f"N^{exponent:.2f}", f"N^{_MOST_GROWTH:g}", met))
    for name, times in result.get("commands", {}).items():
        value, limit = times["seconds"], _COMMANDS[name]
        found.append(Goal(_WORDS[name], _seconds(value), _seconds(limit), value < limit))
    return found


def _seconds(value: float) -> str:
    return f"{value:.3g} s" if math.isfinite(value) else "not reached"


def csv_text(result: dict[str, Any]) -> str:
    """Every row as CSV.

    Parameters
    ----------
    result : dict
        From `all_measured`.
    """
    stream = io.StringIO()
    writer = csv.DictWriter(stream, list(result["rows"][0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(result["rows"])
    return stream.getvalue()


def markdown(result: dict[str, Any]) -> str:
    """A section for the page on speed: times to reach an error, then the goals.

    Parameters
    ----------
    result : dict
        From `all_measured`, with ``commands`` from `command_times`.
    """
    rows = result["rows"]
    problems, methods = _names(rows, "problem"), _names(rows, "method")
    lines = [
        f"Measured in one run on {result['cores']} cores, one thread each, medians of "
        f"{result['repeats']} interleaved repeats: wall time with meshing, without imports, to "
        "bring the edge field, and every finer setting's, within 1e-3 / 1e-4 of its right value.",
        "",
        "| method | " + " | ".join(result["right"][p]["title"] for p in problems)
        + " | import | peak memory | growth |",
        "|---" * (len(problems) + 4) + "|",
    ]  # fmt: skip
    for method in methods:
        cells = []
        for problem in problems:
            times = [time_to_reach(_of(rows, problem, method), t) for t in TARGETS]
            cells.append(" / ".join(_seconds(t) if math.isfinite(t) else "–" for t in times))
        mine = [row for row in rows if row["method"] == method]
        exponents = [e for p in problems if math.isfinite(e := growth(_of(rows, p, method)))]
        lines.append(
            f"| {method} | " + " | ".join(cells)
            + f" | {_seconds(max(r['import_seconds'] for r in mine))}"
            + f" | {max(r['peak_megabytes'] for r in mine):.0f} MB"
            + (f" | N^{max(exponents):.2f} |" if exponents else " | – |")
        )  # fmt: skip
    lines += ["", *(f"{words}." for words in result["absent"])]
    lines += ["", "| goal | measured | limit | met |", "|---|---|---|---|"]
    lines += [
        f"| {g.what} | {g.measured} | {g.limit} | {'yes' if g.met else '**no**'} |"
        for g in goals(result)
    ]
    return "\n".join(lines) + "\n"
