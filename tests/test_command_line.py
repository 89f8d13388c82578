"""The command line: what it prints, what it writes, what it refuses and its exit codes."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from reporting import assessed_needle, plain_design, with_scans

from conegap.geometries.design.design import Design, example_names
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import ConvergenceError, DesignError, OutputError
from conegap.solver.assessment import Assessment
from conegap.solver.commands.main import main
from conegap.solver.common.writing import is_result_folder, json_text, new_files, new_folder
from conegap.solver.figures.report_figures import Picture, report_pictures
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.studies.vary import range_of
from conegap.validation.cases.row import Row

FILES = {
    "results.json",
    "report.html",
    "report.pdf",
    "field.vtu",
    *(
        f"{name}.{end}"
        for name in (
            "onset_band",
            "section",
            "edge",
            "equipotentials",
            "equipotentials_edge",
            "edge_field",
            "beam",
            "load_line",
            "onset_over_gap",
            "onset_over_edge_size",
            "budget",
        )
        for end in ("svg", "png")
    ),
}


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> Callable[[Assessment], None]:
    """Put an assessment in place of the computation, with figures drawn once."""
    monkeypatch.setattr("conegap.solver.figures.report_figures.report_pictures", pictures_of)
    monkeypatch.setattr("conegap.solver.figures.picture.Picture.png", b"\x89PNG")
    monkeypatch.setattr("conegap.solver.report.pdf.pdf_report", lambda *_: b"%PDF")

    def put(assessment: Assessment) -> None:
        monkeypatch.setattr("conegap.solver.assessment.assess", lambda *_, **__: assessment)

    return put


@cache
def pictures_with(scans: bool) -> dict[str, Picture]:
    return report_pictures(with_scans() if scans else assessed_needle())


def pictures_of(assessment: Assessment) -> dict[str, Picture]:
    return pictures_with(bool(assessment.scans))


def present() -> list[str]:
    return sorted(os.listdir())


def refusal(capsys: pytest.CaptureFixture[str]) -> str:
    """The message of a refusal: on standard error alone, without a traceback."""
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("conegap: ")
    assert "Traceback" not in err
    return err


# Start and help


def test_help_imports_nothing_heavy() -> None:
    """INVARIANT: what a slow start would need is not loaded by --help."""
    code = (
        "import sys; from conegap.solver.commands.main import main; main(['--help']); "
        "print('LOADED', *sorted(set(m.partition('.')[0] for m in sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = done.stdout.partition("LOADED")[2].split()
    assert "argparse" in loaded
    heavy = {"fipy", "matplotlib", "pint", "pydantic", "numpy", "scipy", "netgen", "rich", "jinja2"}
    assert heavy.isdisjoint(loaded)


def test_drawing_needs_no_solver() -> None:
    """INVARIANT: the figures are loaded without the solver's libraries, so that `draw` is quick."""
    code = (
        "import sys; import conegap.solver.figures.report_figures; "
        "print(*sorted(set(m.partition('.')[0] for m in sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = set(done.stdout.split())
    assert "conegap" in loaded
    assert not loaded & {"fipy", "netgen", "pint", "matplotlib", "meshio"}


def test_help_shows_commands_examples_and_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: what is there is listed, what is not there is not."""
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    for name in ("start", "draw", "onset", "vary", "metals", "lesson", "validate"):
        assert f"\n    {name} " in out
        assert main([name, "--help"]) == 0
        assert "examples:" in capsys.readouterr().out
    assert "exit codes:" in out
    assert "conegap onset needle" in out


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: the version of the package."""
    from importlib.metadata import version

    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"conegap {version('conegap')}\n"


@pytest.mark.parametrize(
    "argv", [[], ["onsett"], ["onset"], ["onset", "needle", "--fast"], ["vary", "needle"]]
)
def test_wrong_arguments(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: exit code 2 and one line that points at the help."""
    assert main(argv) == 2
    message = refusal(capsys)
    assert "--help" in message
    assert message.count("\n") == 1
    assert present() == []


# start


@pytest.mark.parametrize("kind", ["needle", "capillary", "slit", "profile"])
def test_start_writes_a_design_that_reads(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: what is written is the starter, with its tables, and a valid design."""
    assert main(["start", kind, "--to", "mine.toml"]) == 0
    assert Path("mine.toml").read_text(encoding="utf-8") == starter(kind)
    assert Design.read("mine.toml").emitter.kind == kind
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("written: mine.toml\n")
    assert present() == (["mine.toml", "profile_edge.csv"] if kind == "profile" else ["mine.toml"])


def test_start_prints_and_writes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """EXACT: standard output holds the starter and nothing else."""
    assert main(["start", "slit"]) == 0
    assert capsys.readouterr().out == starter("slit")
    assert present() == []


def test_start_leaves_files_alone_unless_forced(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: no file is replaced, none of the pair is written; --force replaces."""
    Path("profile_edge.csv").write_text("mine")
    assert main(["start", "profile", "--to", "a.toml"]) == 2
    assert "profile_edge.csv exists already" in refusal(capsys)
    assert present() == ["profile_edge.csv"]
    assert Path("profile_edge.csv").read_text() == "mine"
    assert main(["start", "profile", "--to", "a.toml", "--force"]) == 0
    assert present() == ["a.toml", "profile_edge.csv"]
    assert Path("profile_edge.csv").read_text() != "mine"


def test_start_of_an_unknown_kind(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: the nearest kind is offered."""
    assert main(["start", "needel", "--to", "a.toml"]) == 2
    assert "did you mean 'needle'" in refusal(capsys)
    assert present() == []


# draw


def test_draw_writes_svg_and_png(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: both forms by the name's end; the default name holds the design's."""
    assert main(["draw", "needle"]) == 0
    text = Path("needle-section.svg").read_text(encoding="utf-8")
    assert text.startswith("<svg")
    assert "drawn by conegap" in text
    assert "Needle N4" in text
    assert main(["draw", "slit", "--to", "s.png"]) == 0
    assert Path("s.png").read_bytes().startswith(b"\x89PNG")
    assert capsys.readouterr() == ("", "written: needle-section.svg\nwritten: s.png\n")
    assert main(["draw", "capillary", "--to", "needle-section.svg"]) == 0  # its own may go
    assert "Capillary" in Path("needle-section.svg").read_text(encoding="utf-8")
    assert main(["draw", "slit", "--to", "s.png"]) == 0


def test_draw_with_mesh_has_two_more_figures() -> None:
    """EXACT: number of figures on the sheet."""
    assert main(["draw", "needle", "--to", "plain.svg"]) == 0
    assert main(["draw", "needle", "--mesh", "--to", "mesh.svg"]) == 0
    count = [
        Path(n).read_text(encoding="utf-8").count('role="img"') for n in ("plain.svg", "mesh.svg")
    ]
    assert count == [2, 4]


def test_draw_refuses(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: foreign files, other endings and missing folders."""
    Path("photo.png").write_bytes(b"not a drawing")
    assert main(["draw", "needle", "--to", "photo.png"]) == 2
    assert "photo.png exists already" in refusal(capsys)
    assert main(["draw", "needle", "--to", "a.pdf"]) == 2
    assert ".svg or .png" in refusal(capsys)
    assert main(["draw", "needle", "--to", "nowhere/a.svg"]) == 2
    assert "there is no folder" in refusal(capsys)
    assert present() == ["photo.png"]
    assert Path("photo.png").read_bytes() == b"not a drawing"


# onset


def test_onset_end_to_end(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: a real run writes its folder alone, agrees with the Python side, and replaces."""
    Path("mine.toml").write_text(plain_design(), encoding="utf-8")
    assert main(["onset", "mine.toml", "--quick"]) == 0
    out, err = capsys.readouterr()
    assert present() == ["conegap-report-mine", "mine.toml"]
    assert set(os.listdir("conegap-report-mine")) == {n for n in FILES if "onset_over" not in n}
    results = json.loads(Path("conegap-report-mine/results.json").read_text(encoding="utf-8"))
    assert_allclose(results["onset"]["voltage_V"], assessed_needle().onset.rigid.voltage, rtol=1e-9)
    assert f"{assessed_needle().onset.rigid.voltage / 1e3:.2f} kV" in out
    assert "conegap-report-mine/report.html" in err
    assert "conegap-report-mine/report.pdf" in err
    assert "\x1b" not in out + err
    assert "pass" in out
    assert "FAIL" not in out


def test_results_keep_the_contract(computed: Callable[[Assessment], None]) -> None:
    """INVARIANT: keys of results.json that scripts rely on."""
    computed(with_scans())
    assert main(["onset", "needle"]) == 0
    assert set(os.listdir("conegap-report-needle")) == FILES
    results = json.loads(Path("conegap-report-needle/results.json").read_text(encoding="utf-8"))
    assert list(results)[:2] == ["conegap_version", "design_sha256"]
    wanted = {
        "field": {
            "edge_per_volt_1_per_m",
            "edge_numerical_error",
            "enhancement",
            "cells",
            "seconds",
        },
        "onset": {
            "voltage_V",
            "voltage_low_V",
            "voltage_high_V",
            "criterion",
            "budget",
            "edge_field_V_per_m",
            "rigid_voltage_V",
            "first_emission",
            "instabilities",
            "all_burning_V",
        },
        "accelerator": {"edge_field_V_per_m"},
        "operation": {"exhaust_speed_m_per_s", "specific_impulse_s", "intercepted_fraction"},
    }
    for section, keys in wanted.items():
        assert keys <= set(results[section]), section
    assert isinstance(results["warnings"], list)
    for row in results["review"]:
        ends = {"value_low", "value_high", "state"}
        assert set(row) == {"name", "value", "limit", "unit", "passed", "basis"} | ends


def test_json_on_the_terminal_is_the_file(
    computed: Callable[[Assessment], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: --json prints what the folder holds but for the list of its files, and no more."""
    computed(assessed_needle())
    assert main(["onset", "needle", "--json", "--to", "folder"]) == 0
    kept = json.loads(Path("folder/results.json").read_text(encoding="utf-8"))
    assert kept.pop("files") == sorted(os.listdir("folder"))
    assert capsys.readouterr().out == json_text(kept)


def test_failing_review_gives_one(
    computed: Callable[[Assessment], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: the report is written all the same, the advice is printed."""
    first, *others = assessed_needle().review
    bad = replace(first, passed=False, advice="use a stronger supply")
    computed(replace(assessed_needle(), review=(bad, *others), warnings=("mind this",)))
    assert main(["onset", "needle"]) == 1
    out, err = capsys.readouterr()
    assert "FAIL" in out
    assert "use a stronger supply" in out
    assert err.startswith("warning: mind this\nreport: ")
    assert is_result_folder(Path("conegap-report-needle"))


def test_own_report_is_replaced_as_a_whole(computed: Callable[[Assessment], None]) -> None:
    """INVARIANT: files of the earlier report are gone, nothing temporary stays."""
    computed(with_scans())
    assert main(["onset", "needle"]) == 0
    computed(assessed_needle())
    assert main(["onset", "needle"]) == 0
    assert "onset_over_gap.svg" not in os.listdir("conegap-report-needle")
    assert present() == ["conegap-report-needle"]


def test_an_empty_folder_is_used(computed: Callable[[Assessment], None]) -> None:
    """INVARIANT: a folder made beforehand takes the report."""
    computed(assessed_needle())
    Path("made").mkdir()
    assert main(["onset", "needle", "--to", "made"]) == 0
    assert is_result_folder(Path("made"))


def unreachable(*_: object, **__: object) -> Assessment:
    raise AssertionError("computed although the place was wrong")


def test_places_are_refused_before_computing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: nothing foreign is touched, and no solve is wasted on a wrong place."""
    monkeypatch.setattr("conegap.solver.assessment.assess", unreachable)
    Path("photos").mkdir()
    Path("photos/cat.jpg").write_text("cat")
    Path("plain").write_text("a file")
    Path("report").mkdir()
    Path("report/results.json").write_text('{"conegap_version": "0.1.0"}')
    Path("report/my notes.txt").write_text("notes")
    Path("other").mkdir()
    Path("other/results.json").write_text('{"some": "thing else"}')
    before = sorted(str(p) for p in Path().rglob("*"))
    for place, words in (
        ("photos", "was not written by conegap"),
        ("other", "was not written by conegap"),
        ("plain", "is a file"),
        ("report", "my notes.txt"),
        ("nowhere/deep", "there is no folder"),
        ("plain/inside", "there is no folder"),
        (".", "current folder"),
        ("..", "current folder"),
        ("/", "folder of its own"),
    ):
        assert main(["onset", "needle", "--to", place]) == 2, place
        assert words in refusal(capsys), place
    assert sorted(str(p) for p in Path().rglob("*")) == before


def test_no_room_is_refused_before_computing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: a full disk is noticed first."""
    monkeypatch.setattr("conegap.solver.assessment.assess", unreachable)
    usage = type("Usage", (), {"free": 1_000_000, "total": 1_000_000_000})
    monkeypatch.setattr("conegap.solver.common.writing.shutil.disk_usage", lambda _: usage)
    assert main(["onset", "needle"]) == 2
    assert "there is no room left" in refusal(capsys)
    assert present() == []


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "no room left"), (errno.EACCES, "no permission")]
)
def test_failure_while_writing_keeps_the_earlier_report(
    number: int,
    words: str,
    computed: Callable[[Assessment], None],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """INVARIANT: a disk that fills up in the middle leaves everything as it was."""
    computed(with_scans())
    assert main(["onset", "needle"]) == 0
    before = {p.name: p.read_bytes() for p in Path("conegap-report-needle").iterdir()}
    capsys.readouterr()

    def full(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("conegap.solver.report.field_file.write_field", full)
    assert main(["onset", "needle"]) == 2
    assert words in refusal(capsys)
    assert present() == ["conegap-report-needle"]
    assert {p.name: p.read_bytes() for p in Path("conegap-report-needle").iterdir()} == before


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (ConvergenceError("solve", residual=1.0, tolerance=1e-10), 3, "relative residual"),
        (DesignError("liquid.feed_pressure = 5 Pa floods"), 2, "floods"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (MemoryError(), 3, "memory"),
    ],
)
def test_what_stops_a_computation(
    error: BaseException,
    code: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """INVARIANT: exit code, one line, nothing left behind."""

    def stop(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr("conegap.solver.assessment.assess", stop)
    assert main(["onset", "needle"]) == code
    message = refusal(capsys)
    assert words in message
    assert message.count("\n") == 1
    assert present() == []


def test_bad_designs_write_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: key, value and remedy on standard error."""
    text = plain_design().replace('tip_radius = { value = "4 um"', 'tip_radius = { value = "4 mm"')
    assert text != plain_design()
    Path("slip.toml").write_text(text, encoding="utf-8")
    assert main(["onset", "slip.toml"]) == 2
    message = refusal(capsys)
    assert "emitter.tip_radius" in message
    assert "did you mean" in message
    assert main(["onset", "needl"]) == 2
    assert "did you mean 'needle'" in refusal(capsys).lower()
    for accuracy in ("small", "0", "nan", "2"):
        assert main(["onset", "needle", "--accuracy", accuracy]) == 2
        assert f"--accuracy {accuracy}" in refusal(capsys)
    assert present() == ["slip.toml"]


# vary


def lawful(design: Design, variants: list[object], **_: object) -> list[RigidOnset | str]:
    """Onset of made-up designs: the square root law in the gap, and a refusal above 1.8 mm."""
    found: list[RigidOnset | str] = []
    for variant in variants:
        gap = dict(variant)["accelerator.gap"]  # type: ignore[call-overload]
        onset = assessed_needle().onset.rigid
        voltage = onset.voltage * (gap / 1e-3) ** 0.5
        found.append('no "room"' if gap > 1.8e-3 else replace(onset, voltage=voltage))
    return found


def test_vary_end_to_end(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: real solves; a wider gap needs more voltage."""
    Path("mine.toml").write_text(plain_design(), encoding="utf-8")
    assert main(["vary", "mine.toml", "--over", "accelerator.gap=0.5 mm..2 mm:2"]) == 0
    out = capsys.readouterr().out
    assert "0.5 mm" in out
    assert "kV" in out
    assert "\x1b" not in out
    folder = Path("conegap-vary-mine")
    assert set(os.listdir(folder)) == {"results.json", "vary.csv", "vary.svg", "vary.png"}
    lines = folder.joinpath("vary.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].split(",")[:3] == ["accelerator.gap", "onset_voltage", "rigid_onset_voltage"]
    assert lines[1].split(",")[:2] == ["mm", "V"]
    table = np.array([[float(c) for c in line.split(",")[:2]] for line in lines[2:]])
    assert_allclose(table[:, 0], [0.5, 2.0])
    assert 1.1 < table[1, 1] / table[0, 1] < 2.0
    results = json.loads(folder.joinpath("results.json").read_text(encoding="utf-8"))
    assert_allclose([p["rigid_voltage_V"] for p in results["points"]], table[:, 1], rtol=1e-6)
    assert_allclose([p["accelerator.gap"] for p in results["points"]], table[:, 0] * 1e-3)


def test_vary_a_grid_with_a_gap_in_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: order of the points, units of the design file, refusals in table and CSV."""
    assessed_needle()  # with the true solver
    monkeypatch.setattr("conegap.solver.studies.variant_solver.onset_of_variants", lawful)
    argv = [
        "vary",
        "--criterion",
        "rigid",
        "needle",
        "--over",
        'accelerator.gap="0.5 mm".."2 mm":4',
        "--over",
        "emitter.tip_radius=2um..6um:3",
        "--to",
        "grid",
    ]
    assert main(argv) == 0
    out = capsys.readouterr().out
    assert out.count("none") == 3
    assert 'no onset at 2 mm, 2 um: no "room"' in out
    lines = Path("grid/vary.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1] == "mm,um,V,V,V/m,1,"
    assert len(lines) == 2 + 12
    assert lines[2].startswith("0.5,2,")
    assert lines[3].startswith("0.5,4,")
    assert lines[-1] == "2,6,,,,,\"no 'room'\""
    voltage = float(lines[5].split(",")[2])
    assert_allclose(voltage, assessed_needle().onset.rigid.voltage, rtol=1e-6)  # gap 1 mm


@pytest.mark.parametrize(
    ("over", "words"),
    [
        (["accelerator.gap"], "KEY=FROM..TO:N"),
        (["accelerator.gap=1 mm..2 mm"], "KEY=FROM..TO:N"),
        (["accelerator.gap=1 mm:3"], "KEY=FROM..TO:N"),
        (["accelerator.gap=1..2 mm:3"], "the unit is missing"),
        (["accelerator.gap=1 mm..2 kV:3"], "not a unit of length"),
        (["accelerator.gap=1 mm..2 mm:1"], "from 2 to"),
        (["accelerator.gap=1 mm..2 mm:x"], "from 2 to"),
        (["accelerator.gap=1 mm..1000 um:3"], "both ends are the same"),
        (["accelerator.gab=1 mm..2 mm:3"], "did you mean 'accelerator.gap'"),
        (["accelerator.gap=1 mm..2 mm:3"] * 2, "given twice"),
        (["accelerator.gap=1 mm..2 mm:30", "emitter.tip_radius=2 um..4 um:30"], "too many"),
        (
            [
                "accelerator.gap=1 mm..2 mm:2",
                "emitter.tip_radius=2 um..4 um:2",
                "emitter.protrusion=2 mm..3 mm:2",
            ],
            "one or two",
        ),
    ],
)
def test_vary_refuses(over: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: the range, the rule and the remedy; nothing written."""
    argv = ["vary", "needle"]
    for text in over:
        argv += ["--over", text]
    assert main(argv) == 2
    assert words in refusal(capsys)
    assert present() == []


def test_vary_without_any_onset(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: the first refusal is passed on."""
    assessed_needle()  # with the true solver
    monkeypatch.setattr("conegap.solver.studies.variant_solver.onset_of_variants", lawful)
    over = ["--over", "accelerator.gap=1.9 mm..2 mm:2"]
    assert main(["vary", "needle", "--criterion", "rigid", *over]) == 3
    assert 'no "room"' in refusal(capsys)
    assert present() == []


@pytest.mark.parametrize(
    "text",
    [
        "accelerator.gap=0.5 mm..2 mm:4",
        'accelerator.gap="0.5 mm".."2 mm":4',
        "accelerator.gap = 2000um .. 0.5mm : 4",
    ],
)
def test_ways_to_write_a_range(text: str) -> None:
    """EXACT: quotation marks, spaces, units and the order of the ends do not matter."""
    found = range_of(Design.read("needle"), text)
    assert found.key == "accelerator.gap"
    assert_allclose(found.values, [0.5e-3, 1e-3, 1.5e-3, 2e-3], rtol=1e-12)


# metals


def test_metals_lists_all(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: every metal with its melting point."""
    assert main(["metals"]) == 0
    out = capsys.readouterr().out
    for symbol in ("Cs", "Rb", "K", "In", "Ga", "Hg", "Sn", "Bi", "Au", "EGaIn"):
        assert f"\n{symbol} " in out
    assert "301.65 K" in out
    assert main(["metals", "--temperature", "400 K"]) == 0
    line = next(x for x in capsys.readouterr().out.splitlines() if x.startswith("In "))
    assert line.count("solid") == 3


def test_one_metal(capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: temperature in any unit; laws, sources, status and hazards."""
    assert main(["metals", "In", "--temperature", "180 degC"]) == 0
    out = capsys.readouterr().out
    assert "453.15 K" in out
    for words in ("unavailable", "published", "Keene", "0.556 - 9e-05 (T - 429.75) N/m", "attacks"):
        assert words in out


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["Fe"], "no metal 'Fe'"),
        (["indum"], "Did you mean"),
        (["In", "--temperature", "300 K"], "solid"),
        (["In", "--temperature", "500"], "the unit is missing"),
        (["In", "--temperature", "5 mm"], "not a unit of temperature"),
    ],
)
def test_metals_refuses(argv: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: what is wrong and the remedy."""
    assert main(["metals", *argv]) == 2
    assert words in refusal(capsys)


# validate

GOOD = Row("a case", "a source", "field [V/m]", 1.0, 1.0001, 1e-3)
BAD = Row("another", "a source", "charge [C]", 1.0, 1.1, 1e-3, note="the reason")


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ([GOOD], 0),
        ([GOOD, BAD], 1),
        ([GOOD, replace(GOOD, ran=False)], 0),
        ([replace(GOOD, ran=False)], 1),
    ],
)
def test_validate_fails_where_a_row_fails(
    rows: list[Row], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: exit code, table and summary; nothing run is no pass."""
    asked = {}

    def run(**given: object) -> list[Row]:
        asked.update(given)
        return rows

    monkeypatch.setattr("conegap.validation.cases.table.run_validation", run)
    assert main(["validate", "--quick"]) == code
    assert asked["include_slow"] is False
    out = capsys.readouterr().out
    assert "a case  (a source)" in out
    assert f"{sum(r.passed for r in rows)} of {len(rows)} rows pass" in out
    assert ("FAIL" in out) == (BAD in rows)
    assert ("the reason" in out) == (BAD in rows)


def test_rows_with_numbers_of_numpy_are_json(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: whatever kind of float a case computes, ``--json`` prints it."""
    row = replace(GOOD, computed=np.float64(1.0001), tolerance=np.float64(1e-3))
    monkeypatch.setattr("conegap.validation.cases.table.run_validation", lambda **_: [row])
    assert main(["validate", "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["rows"]
    assert found["passed"] is True
    assert found["tolerance"] == 1e-3


# writing


def test_folder_is_moved_only_when_complete(tmp_path: Path) -> None:
    """INVARIANT: an exception inside the block leaves the place as it was."""

    def stopped() -> None:
        with new_folder(tmp_path / "out") as folder:
            folder.joinpath("results.json").write_text("{}")
            assert not (tmp_path / "out").exists()
            raise InterruptedError

    with pytest.raises(InterruptedError):
        stopped()
    assert os.listdir(tmp_path) == []


def test_folder_filled_by_someone_meanwhile_is_kept(tmp_path: Path) -> None:
    """INVARIANT: what appears at the place during the computation is not lost."""

    def overtaken() -> None:
        with new_folder(tmp_path / "out") as folder:
            folder.joinpath("results.json").write_text("{}")
            (tmp_path / "out").mkdir()
            (tmp_path / "out" / "precious").write_text("kept")

    with refused("", "folder out", "--to", kind=OutputError):
        overtaken()
    assert [p.name for p in tmp_path.rglob("*")] == ["out", "precious"]


def test_a_link_to_a_report_stays_a_link(tmp_path: Path) -> None:
    """INVARIANT: the folder behind the link is replaced."""
    (tmp_path / "real").mkdir()
    (tmp_path / "real/results.json").write_text('{"conegap_version": "0"}')
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with new_folder(tmp_path / "link") as folder:
        folder.joinpath("results.json").write_text('{"conegap_version": "1"}')
    assert (tmp_path / "link").is_symlink()
    assert "1" in (tmp_path / "real/results.json").read_text()


def test_files_appear_together(tmp_path: Path) -> None:
    """INVARIANT: neither file is there when the second has no content."""
    places = [tmp_path / "a", tmp_path / "b"]
    with (
        pytest.raises(ValueError, match="zip"),
        new_files(places, may_replace=lambda _: True) as content,
    ):
        content.append("only one")
    assert os.listdir(tmp_path) == []
    with new_files(places, may_replace=lambda _: True) as content:
        content.extend(["one", b"two"])
    assert [p.read_text() for p in places] == ["one", "two"]


def test_examples_are_what_the_help_promises() -> None:
    """INVARIANT: the example of the help is shipped."""
    assert "needle" in example_names()


def test_an_extruded_section_is_not_revolved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INVARIANT: a slit has no axis: refused before anything is solved, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    assert main(["onset", "slit", "--revolved"]) == 2
    assert list(tmp_path.iterdir()) == []
