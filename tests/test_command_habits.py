"""Habits of a command line: streams, loudness, JSON, colour, completion, room and exit codes."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from collections import namedtuple
from collections.abc import Callable
from pathlib import Path

import pytest
from reporting import assessed_needle
from test_command_line import BAD, GOOD, lawful, pictures_of

from conegap.geometries.metals.metal import metal, metal_names
from conegap.geometries.quantities.errors import ConvergenceError
from conegap.solver.commands.main import main
from conegap.solver.commands.stage_clock import StageClock, Step
from conegap.solver.commands.terminal import Messages, console, progress_lines

COMMANDS = (
    *("start", "trace", "draw", "onset", "vary", "tolerate", "calibrate"),
    *("size", "explore", "compare", "lot", "metals", "lesson", "validate"),
)
GAP = ["--over", "accelerator.gap=0.5 mm..1 mm:2"]
SHORT = {
    "start": ["start", "needle", "--to", "mine.toml"],
    "draw": ["draw", "needle"],
    "onset": ["onset", "needle"],
    "vary": ["vary", "needle", *GAP, "--criterion", "rigid"],
    "metals": ["metals", "indium"],
    "validate": ["validate"],
}


@pytest.fixture(autouse=True)
def made_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Results at once, in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("conegap.solver.assessment.assess", lambda *_, **__: assessed_needle())
    monkeypatch.setattr("conegap.solver.figures.report_figures.report_pictures", pictures_of)
    monkeypatch.setattr("conegap.solver.figures.picture.Picture.png", b"\x89PNG")
    monkeypatch.setattr("conegap.solver.figures.picture.svg_of", lambda _, title="": "<svg></svg>")
    # Not kept by the pictures that other tests share.
    monkeypatch.setattr("conegap.solver.figures.picture.Picture.svg", "<svg></svg>")
    monkeypatch.setattr("conegap.solver.report.pdf.pdf_report", lambda *_: b"%PDF")
    monkeypatch.setattr("conegap.solver.report.page.html_report", lambda *_: "<!DOCTYPE html>")
    assessed_needle()  # with the true solver
    monkeypatch.setattr("conegap.solver.studies.variant_solver.onset_of_variants", lawful)
    monkeypatch.setattr("conegap.validation.cases.table.run_validation", lambda **_: [GOOD])


# Streams and loudness


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_examples_and_both_loudnesses(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: the help of each command shows how it is called."""
    assert main([name, "--help"]) == 0
    out = capsys.readouterr().out
    assert f"\n  conegap {name}" in out.partition("examples:")[2]
    assert "--quiet" in out
    assert "--verbose" in out
    assert main([name, "x", "--quiet", "--verbose"]) == 2


@pytest.mark.parametrize("name", SHORT)
def test_quiet_says_nothing(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: both streams stay empty; the exit code and the files tell."""
    assert main([*SHORT[name], "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("name", ["start", "draw", "onset", "vary"])
def test_messages_go_to_standard_error(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: where something was written is no result, so a pipe does not get it."""
    assert main(SHORT[name]) == 0
    out, err = capsys.readouterr()
    words = "report: " if name == "onset" else "written: "
    assert words in err
    assert words not in out


def test_verbose_says_every_step(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: a line per step with its count, and none of them when not verbose."""
    for talk, count in ((Messages(verbose=True), 3), (Messages(), 0), (Messages(quiet=True), 0)):
        with talk.progress() as progress:
            for k in range(3):
                if progress is not None:
                    progress("scan over gap", k, 3)
        out, err = capsys.readouterr()
        assert out == ""
        assert err.count("scan over gap: ") == count
    assert main(["onset", "needle", "--verbose"]) == 0
    assert "control volumes" in capsys.readouterr().err


# JSON


def test_vary_prints_its_file(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: --json is what results.json holds, also when quiet."""
    for more in ([], ["--quiet"]):
        assert main([*SHORT["vary"], "--json", *more]) == 0
        out = capsys.readouterr().out
        kept = json.loads(Path("conegap-vary-needle/results.json").read_text(encoding="utf-8"))
        assert kept.pop("files") == ["results.json", "vary.csv", "vary.png", "vary.svg"]
        assert json.loads(out) == kept


def test_metals_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: SI values of the library; a metal below its melting point has no liquid properties."""
    assert main(["metals", "In", "--temperature", "500 K", "--json"]) == 0
    (one,) = json.loads(capsys.readouterr().out)["metals"]
    found = {line["name"]: line["value"] for line in one["properties"]}
    assert found["surface_tension"] == metal("indium").surface_tension(500.0)
    assert one["temperature_K"] == 500.0
    assert main(["metals", "--temperature", "400 K", "--json"]) == 0
    every = json.loads(capsys.readouterr().out)["metals"]
    assert [line["symbol"] for line in every] == list(metal_names())
    for line in every:
        assert line["liquid"] == (line["melting_point_K"] <= 400.0) == bool(line["properties"])
    assert main(["metals", "In", "--temperature", "300 K", "--json"]) == 2
    assert capsys.readouterr().out == ""


def test_validation_as_json(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: rows with their numbers; the exit code is that of the table."""
    monkeypatch.setattr("conegap.validation.cases.table.run_validation", lambda **_: [GOOD, BAD])
    assert main(["validate", "--json"]) == 1
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [row["passed"] for row in rows] == [True, False]
    assert rows[1]["error"] == BAD.error


# Exit codes


@pytest.mark.parametrize(
    ("code", "stop"),
    [
        (0, None),
        (1, "a row fails"),
        (2, "a bad design"),
        (3, ConvergenceError("solve", residual=1.0, tolerance=1e-10)),
    ],
)
def test_exit_codes_of_the_process(
    code: int, stop: Exception | str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXACT: 0 done, 1 a row fails, 2 bad input, 3 no convergence, as the help says."""
    if code == 1:
        monkeypatch.setattr("conegap.validation.cases.table.run_validation", lambda **_: [BAD])
    if isinstance(stop, Exception):

        def raising(**_: object) -> None:
            raise stop

        monkeypatch.setattr("conegap.validation.cases.table.run_validation", raising)
    argv = ["onset", "no such design"] if code == 2 else ["validate", "--quiet"]
    assert main(argv) == code


@pytest.mark.parametrize(
    ("argv", "wanted"),
    [(["onsett", "needle"], "'onset'"), (["vari"], "'vary'"), (["completion", "bsh"], "'bash'")],
)
def test_an_unknown_word_gets_a_suggestion(
    argv: list[str], wanted: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: bad input, and the nearest word that is allowed, before all of them."""
    assert main(argv) == 2
    message = capsys.readouterr().err
    assert wanted in message.partition("choose from")[0]
    assert message.count("\n") == 1


def test_help_names_every_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: the five of this program and the shell's own for a termination."""
    assert main(["--help"]) == 0
    words = capsys.readouterr().out.partition("exit codes:")[2].split()
    assert {"0", "1", "2", "3", "130", "143"} <= set(words)


# Progress


def steps(calls: list[tuple[float, str, int, int]]) -> list[Step]:
    """Steps of progress calls at given times."""
    times = iter([time for time, *_ in calls])
    clock = StageClock(lambda: next(times))
    return [clock.step(*call) for _, *call in calls]  # type: ignore[arg-type]


def test_time_to_go_is_that_of_the_pace_so_far() -> None:
    """EXACT: 3 s a step leave 3 s times the steps that are left; nothing before the first step."""
    calls = [(10.0 + 3.0 * k, "articles", k, 5) for k in range(6)]
    assert [one.to_go for one in steps(calls)] == [None, 12.0, 9.0, 6.0, 3.0, 0.0]
    assert [one.count for one in steps(calls)][-1] == "5 of 5"
    assert steps(calls)[-1].rest == ""
    assert "left" in steps(calls)[1].rest


def test_an_open_end_has_no_total_and_no_time() -> None:
    """INVARIANT: 0 in all, or more done than announced, never shows a total that is passed."""
    calls = [(1.0, "shapes", 12, 0), (2.0, "shapes", 13, 0), (3.0, "cases", 1, 2),
             (4.0, "cases", 3, 2), (5.0, "cases", 3, 4)]  # fmt: skip
    found = steps(calls)
    assert [one.total for one in found] == [None, None, 2, None, None]
    assert [one.to_go for one in found] == [None] * 5
    assert found[1].count.startswith("13")


def test_a_stage_that_runs_again_begins_again() -> None:
    """EXACT: its time counts from the second beginning; a detail does not make a new stage."""
    calls = [(0.0, "checks: a", 0, 2), (9.0, "checks: b", 1, 2), (20.0, "checks: a", 0, 2),
             (22.0, "checks: b", 1, 2)]  # fmt: skip
    found = steps(calls)
    assert [one.elapsed for one in found] == [0.0, 9.0, 0.0, 2.0]
    assert found[3].to_go == 2.0
    assert (found[3].stage, found[3].detail) == ("checks", "b")


def test_a_line_now_and_then_without_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: a step each 6 s and at least 20 s between lines: the steps at 24, 48 and 72 s."""
    time = 0.0
    show = progress_lines(20.0, lambda: time)
    for k in range(13):
        time = 6.0 * k
        show("articles", k, 40)
    out, err = capsys.readouterr()
    assert out == ""
    assert [line.split()[0] for line in err.splitlines()] == ["24.0", "48.0", "72.0"]
    assert "4 of 40" in err.splitlines()[0]
    with Messages().progress() as progress:  # short commands say nothing
        assert progress is not None
        progress("articles", 1, 2)
    assert capsys.readouterr() == ("", "")


def test_the_bar_shows_steps_and_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: on a terminal, with an open end too, and never a total that is passed."""
    target = Terminal()
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setattr(sys, "stderr", target)
    with Messages().progress() as progress:
        assert progress is not None
        progress("shapes", 13, 0)
        for k in range(3):
            progress("checks: one", k, 2)
    assert "13 so far" in target.getvalue()
    assert "13/0" not in target.getvalue()
    assert "2 of 2" in target.getvalue()


# Colour


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("stream", "setting", "coloured"),
    [(Terminal, None, True), (Terminal, "1", False), (io.StringIO, None, False)],
)
def test_colour_only_on_a_terminal_without_no_color(
    stream: Callable[[], io.StringIO],
    setting: str | None,
    coloured: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """INVARIANT: no escape sequence in a pipe, nor where NO_COLOR is set."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    if setting:
        monkeypatch.setenv("NO_COLOR", setting)
    target = stream()
    monkeypatch.setattr(sys, "stdout", target)
    console().print("FAIL", style="bold red")
    assert ("\x1b[" in target.getvalue()) == coloured


# Completion


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("conegap ons", {"onset"}),
        ("conegap onset need", {"needle"}),
        ("conegap start ", {"needle", "capillary", "slit", "profile"}),
        ("conegap metals ind", {"indium"}),
        ("conegap lesson sph", {"sphere"}),
        ("conegap onset needle --criterion m", {"meniscus"}),
        ("conegap vary needle --qu", {"--quiet"}),
        ("conegap vary needle --over acc", {"accelerator.gap", "accelerator.diameter"}),
        ("conegap tolerate -q capillary --normal emitter.b", {"emitter.bore"}),
        ("conegap compare need", {"needle"}),
    ],
)
def test_bash_completes(
    line: str, wanted: set[str], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """EXACT: what bash offers after the script is read."""
    shell = shutil.which("bash")
    if shell is None:
        pytest.skip("no bash on this machine")
    assert main(["completion", "bash"]) == 0
    words = [word or '""' for word in line.split(" ")]
    code = (
        capsys.readouterr().out
        + f"\nCOMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}\n"
        + "_shtab_conegap 2>/dev/null; printf '%s\\n' \"${COMPREPLY[@]}\""
    )
    # The script asks the command itself for a design's keys.
    beside = os.pathsep.join((str(Path(sys.executable).parent), os.environ.get("PATH", "")))
    done = subprocess.run(
        [shell, "-c", code], capture_output=True, text=True, check=True,
        env={**os.environ, "PATH": beside},
    )  # fmt: skip
    assert wanted <= set(done.stdout.split())
    assert len(done.stdout.split()) < 12


def test_zsh_has_its_script_and_others_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: the script names every command; an unknown shell is bad input."""
    assert main(["completion", "zsh"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("#compdef conegap")
    assert all(f"{name}:" in out for name in COMMANDS)
    assert main(["completion", "csh"]) == 2


# Places that take no files

Usage = namedtuple("Usage", "total used free")


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="this system has no /proc")
@pytest.mark.parametrize(
    "argv", [SHORT["onset"], SHORT["vary"], ["start", "needle"], SHORT["draw"]]
)
def test_a_place_that_takes_no_files_is_named_so(
    argv: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: the real reason, not a full disk."""
    ending = {"start": ".toml", "draw": ".svg"}.get(argv[0], "")
    assert main([*argv[:4], "--to", f"/proc/x{ending}"]) == 2
    err = capsys.readouterr().err
    assert "takes no new files" in err or "no permission" in err
    assert "room" not in err


@pytest.mark.parametrize(
    ("name", "free", "code"),
    [
        ("start", 200_000, 0),
        ("start", 1_000, 2),
        ("draw", 2_000_000, 0),
        ("draw", 200_000, 2),
        ("onset", 2_000_000, 2),
    ],
)
def test_room_is_asked_for_by_need(
    name: str,
    free: int,
    code: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """INVARIANT: a small file needs little room, a report tens of megabytes."""
    usage = Usage(10**9, 10**9 - free, free)
    monkeypatch.setattr("conegap.solver.common.writing.shutil.disk_usage", lambda _: usage)
    assert main(SHORT[name]) == code
    assert ("no room left" in capsys.readouterr().err) == (code == 2)
