"""Work in processes of its own: results in their order, and a process that stands by."""

from __future__ import annotations

import os
import sys
import time
from multiprocessing import forkserver

import pytest

from conegap.solver.common.parallel_map import parallel_map, stand_by


@pytest.mark.skipif(sys.platform != "linux", reason="no process stands by elsewhere")
def test_a_process_stands_by_where_two_can_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: with two processors one process is started to load the modules, with one none;
    its environment keeps linear algebra to one thread, and the caller's own is left as it was."""
    started: list[str | None] = []
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    monkeypatch.setattr(
        forkserver, "ensure_running", lambda: started.append(os.environ["OPENBLAS_NUM_THREADS"])
    )
    for cores, wanted in ((1, []), (2, ["1"])):
        monkeypatch.setattr("conegap.solver.common.parallel_map._CORES", cores)
        stand_by()
        assert started == wanted
    assert "OPENBLAS_NUM_THREADS" not in os.environ


def test_results_keep_their_order() -> None:
    """INVARIANT: results are those of the items in their order, whichever is ready first."""
    stand_by()
    steps: list[int] = []
    found = parallel_map(abs, [-3, 2, -1], progress=lambda _, done, total: steps.append(done))
    assert found == [3, 2, 1]
    assert steps == [0, 1, 2, 3]


def _wait(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def test_short_work_stays_here_however_long_it_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: brief work is measured by the processor's time: items that only wait, as on a busy
    machine, start no processes; work that is not brief does."""
    monkeypatch.setattr("conegap.solver.common.parallel_map._WORTH_A_START", 0.1)
    assert set(parallel_map(_wait, [0.1] * 4, brief=True)) == {os.getpid()}
    assert os.getpid() not in parallel_map(_wait, [0.0] * 2)
