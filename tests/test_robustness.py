"""Broken files, killed runs, full and closed disks: never a traceback, never half a result."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from conftest import refused
from random_designs.broken_files import BrokenFile, broken_file, verdict_of
from random_designs.run import broken_row, summary

from conegap.geometries.quantities.errors import OutputError
from conegap.solver.commands.main import main
from conegap.solver.common.writing import is_result_folder, new_folder

# Writes a folder of results over and over; killed at any moment.
WRITER = """
import sys
from conegap.solver.common.writing import new_folder
for turn in range(100000):
    with new_folder(sys.argv[1], room=0) as folder:
        for name in ("field.vtu", "vary.csv", "results.json"):
            text = '{"conegap_version": "%d"}' % turn
            (folder / name).write_text(text + " " * 200_000, encoding="utf-8")
    print(turn, flush=True)
"""


def started(place: Path, script: str = WRITER) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", script, str(place)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def is_whole(place: Path) -> bool:
    """Whether a folder holds all three files of the writer, of one and the same turn."""
    names = ("field.vtu", "vary.csv", "results.json")
    turns = {json.loads((place / name).read_text())["conegap_version"] for name in names}
    sizes = {(place / name).stat().st_size for name in names[:2]}
    files = json.loads((place / "results.json").read_text())["files"]
    there = sorted(path.name for path in place.iterdir())
    return len(turns) == 1 and len(sizes) == 1 and files == there == sorted(names)


def test_broken_files_give_words_and_nothing_else(tmp_path: Path) -> None:
    """INVARIANT: 200 files broken at random: refused in words or valid, never a traceback."""
    verdicts: Counter[str] = Counter()
    for number in range(200):
        folder = tmp_path / str(number)
        folder.mkdir()
        broken = broken_file(np.random.default_rng((11, number)))
        verdict, reason = verdict_of(broken, folder)
        assert verdict != "wrong", f"{broken.example}: {broken.damage}\n{reason}"
        verdicts[verdict] += 1
    assert verdicts["refused"] > 130  # the damage is real
    assert verdicts["valid"] > 5  # and not every change of a comment is refused


@pytest.mark.parametrize(
    ("example", "old", "new"),
    [
        ("profile", b'"profile_edge.csv"', b'"' + b"9" * 400 + b' um"'),
        ("needle", b'gap = { value = "1 mm"', b'gap = { value = "1e999 mm"'),
        ("needle", b"kind", b"\x00kind"),
    ],
)
def test_damage_once_found(tmp_path: Path, example: str, old: bytes, new: bytes) -> None:
    """REGRESSION: names that no file can have, numbers beyond all bounds, bytes of no text."""
    from conegap.geometries.quantities.files import examples_folder

    text = examples_folder().joinpath(f"{example}.toml").read_bytes()
    assert old in text
    broken = BrokenFile("needle", "by hand", text.replace(old, new, 1), None)
    assert verdict_of(broken, tmp_path)[0] == "refused"


def test_drawing_cut_short_is_refused(tmp_path: Path) -> None:
    """REGRESSION: a DXF file that ends within its first tags, where its reader just stops."""
    from conegap.geometries.quantities.files import examples_folder

    design = examples_folder().joinpath("drawn.toml").read_bytes()
    for length in (0, 1, 3, 7, 20, 60):
        table = examples_folder().joinpath("drawn_gap.dxf").read_bytes()[:length]
        folder = tmp_path / str(length)
        folder.mkdir()
        verdict = verdict_of(BrokenFile("drawn", "cut short", design, table), folder)
        assert verdict[0] == "refused", verdict


def test_a_breakdown_is_counted_as_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: a reader that breaks down is found and reported, with its traceback."""

    def break_down(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("conegap.geometries.design.design._build", break_down)
    row = broken_row(3, seed=11)
    assert row["verdict"] == "wrong"
    assert "ZeroDivisionError" in row["reason"]
    assert summary([], [row])["unexplained_failures"] == [row]
    assert not summary([], [row])["passed"]


def test_name_that_no_file_can_have(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: an argument of five thousand letters is no design, and says so."""
    assert main(["onset", "a" * 5000]) == 2
    assert "there is no design file" in capsys.readouterr().err


def test_killed_while_writing_leaves_the_old_or_the_new(tmp_path: Path) -> None:
    """INVARIANT: SIGKILL at eight moments: the place holds a whole result or nothing at all."""
    place = tmp_path / "report"
    seen = 0
    for turn in range(8):
        writer = started(place)
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(0.003 * turn)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        if place.exists():
            seen += 1
            assert is_whole(place)
    assert seen > 0


def test_two_runs_into_the_same_folder(tmp_path: Path) -> None:
    """INVARIANT: the folder always holds the whole result of one of them, and neither fails."""
    place = tmp_path / "report"
    script = WRITER.replace("100000", "40")
    runs = [started(place, script), started(place, script)]
    for run in runs:
        _, err = run.communicate(timeout=60)
        assert run.returncode == 0, err.decode()
    assert is_whole(place)
    assert os.listdir(tmp_path) == ["report"]


def test_leftovers_of_a_killed_run_are_taken_away(tmp_path: Path) -> None:
    """INVARIANT: only those of dead processes, and only when nothing has touched them lately."""
    run = subprocess.Popen([sys.executable, "-c", ""])
    run.wait()
    long_ago = time.time() - 7200.0
    names = (f".out.partial-{run.pid}", ".out.partial-1", f".other.partial-{run.pid}")
    for name in (*names, f".out.notes-{run.pid}"):
        (tmp_path / name).mkdir()
        os.utime(tmp_path / name, (long_ago, long_ago))
    with new_folder(tmp_path / "out") as folder:
        folder.joinpath("results.json").write_text("{}")
    left = {".out.partial-1", f".other.partial-{run.pid}", f".out.notes-{run.pid}"}
    assert {p.name for p in tmp_path.iterdir()} == {"out"} | left


def test_earlier_result_of_a_killed_run_comes_back(tmp_path: Path) -> None:
    """INVARIANT: killed between its two renames, the earlier result is not lost."""
    run = subprocess.Popen([sys.executable, "-c", ""])
    run.wait()
    hidden = tmp_path / f".out.earlier-{run.pid}"
    hidden.mkdir()
    (hidden / "results.json").write_text('{"conegap_version": "0"}')
    os.utime(hidden, (time.time() - 7200.0,) * 2)

    def stopped() -> None:
        with new_folder(tmp_path / "out"):
            raise InterruptedError

    with pytest.raises(InterruptedError):
        stopped()
    assert is_result_folder(tmp_path / "out")
    assert os.listdir(tmp_path) == ["out"]


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.ENOSPC, "no room left"), (errno.EROFS, "no permission"), (errno.EACCES, "permission")],
)
@pytest.mark.parametrize("call", ["mkdir", "rename"])
def test_closed_or_full_place(
    call: str, number: int, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: a folder that takes nothing is refused in words, and an earlier result stays."""
    place = tmp_path / "out"
    place.mkdir()
    (place / "results.json").write_text('{"conegap_version": "0"}')

    def refuse(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(f"conegap.solver.common.writing.os.{call}", refuse)

    def write() -> None:
        with new_folder(place) as folder:
            folder.joinpath("results.json").write_text('{"conegap_version": "1"}')

    with refused("", words, kind=OutputError):
        write()
    monkeypatch.undo()
    assert json.loads((place / "results.json").read_text()) == {"conegap_version": "0"}
    assert os.listdir(tmp_path) == ["out"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write")
def test_read_only_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: the command line refuses a folder without permission before it computes."""
    tmp_path.chmod(0o500)
    try:
        assert main(["onset", "needle", "--to", str(tmp_path / "report")]) == 2
    finally:
        tmp_path.chmod(0o700)
    assert "no permission" in capsys.readouterr().err
