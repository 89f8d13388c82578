"""One method on one problem in a process of its own: ``python -m benchmarks.child PROBLEM METHOD``.

All settings are solved from coarse to fine, so that the peak of memory after each is its own.
Prints JSON.
"""

from __future__ import annotations

import gc
import json
import resource
import sys
import time
import warnings
from dataclasses import asdict
from importlib import import_module
from pathlib import Path

__all__ = ["main"]


def main(problem_name: str, method_name: str, most: int = 99) -> str:
    """Solve, and return what was measured as JSON.

    Parameters
    ----------
    problem_name, method_name : str
        From `benchmarks.problems` and `methods`.
    most : int
        How many of the settings, the coarsest first.
    """
    warnings.simplefilter("ignore")
    from benchmarks.methods import METHODS
    from benchmarks.problems import problem_of

    method = next(m for m in METHODS if m.name == method_name)
    problem = problem_of(problem_name)
    started = time.perf_counter()
    for need in method.needs:
        import_module(need)
    solve = method.solver()
    imported = time.perf_counter() - started
    # Once without a record: what libraries load and compile at their first call.
    solve(problem, method.settings[0])
    # Python looks through all that was loaded once more, some 50 ms, and would do so at any time.
    gc.collect()
    first = time.perf_counter() - started - imported
    rows = []
    for setting in method.settings[:most]:
        before = time.process_time()
        run = solve(problem, setting)
        row = asdict(run) | {"setting": setting, "processor_seconds": time.process_time() - before}
        rows.append(row | {"peak_megabytes": _peak_megabytes()})
    return json.dumps({"import_seconds": imported, "first_seconds": first, "runs": rows})


def _peak_megabytes() -> float:
    """Largest resident size of this program; the system's other count includes its parent's."""
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii")
        line = next(line for line in status.splitlines() if line.startswith("VmHWM"))
        return float(line.split()[1]) / 1024.0
    except (OSError, StopIteration):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


if __name__ == "__main__":
    print(main(sys.argv[1], sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 99))
