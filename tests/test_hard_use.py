"""Hard use: no traceback, no false exit code, nothing of the user's lost."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from conftest import refused
from PIL import Image

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.imported.points_file import read_points
from conegap.geometries.micrograph.pixel_outline import traced_image
from conegap.geometries.quantities.errors import DesignError, OutputError
from conegap.solver.commands.main import main
from conegap.solver.common.writing import new_folder


def _changed_needle(change: Callable[[str], str]) -> None:
    Path("odd.toml").write_text(change(starter("needle")), encoding="utf-8")


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text + f"\nnumber = {'9' * 5000}\n",
        lambda text: text + f"\nx = {'[' * 3000}{']' * 3000}\n",
        lambda text: text + f"\nx = {'{a=' * 3000}1{'}' * 3000}\n",
    ],
)
def test_monstrous_design_files_are_refused(
    change: Callable[[str], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXACT: numbers of thousands of digits and thousands of brackets are bad input."""
    monkeypatch.chdir(tmp_path)
    _changed_needle(change)
    with pytest.raises(DesignError):
        Design.read("odd.toml")
    assert main(["draw", "odd.toml"]) == 2
    assert os.listdir() == ["odd.toml"]


@pytest.mark.parametrize("output", ["/dev/full", None])
@pytest.mark.parametrize("arguments", [["metals"], ["metals", "--json"]])
def test_output_that_takes_nothing(output: str | None, arguments: list[str]) -> None:
    """EXACT: a full or a closed standard output is 2, said in one line, never a passed review."""
    command = f"import sys; from {main.__module__} import main; sys.exit(main())"
    shell = f'"$0" -c "$1" {" ".join(arguments)} ' + (f">{output}" if output else ">&-")
    run = subprocess.run(
        ["bash", "-c", shell, sys.executable, command], capture_output=True, text=True, check=False
    )
    assert run.returncode == 2, run.stderr
    assert run.stderr.startswith("conegap: ")
    assert run.stderr.count("\n") == 1


def test_a_fault_is_no_failed_criterion(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: an exception that nothing foresaw is 4 in one line, not 1 and not a traceback."""

    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a\nb")

    monkeypatch.setattr("conegap.geometries.design.design.Design.read", fail)
    assert main(["draw", "needle"]) == 4
    said = capsys.readouterr().err
    assert "ZeroDivisionError" in said
    assert said.count("\n") == 1


def test_termination_leaves_nothing_behind(tmp_path: Path) -> None:
    """EXACT: SIGTERM is 143 with a word, and the folder that was being written is gone."""
    code = (
        "import sys, time, signal\n"
        f"from {main.__module__} import main\n"
        "import conegap.solver.assessment as a\n"
        "def wait(*_, **__):\n"
        "    signal.raise_signal(signal.SIGTERM); time.sleep(30)\n"
        "a.assess = wait\n"
        "sys.argv = ['conegap', 'onset', 'needle', '--to', 'out']\n"
        "sys.exit(main())\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert run.returncode == 143, run.stderr
    assert "terminated" in run.stderr
    assert "Traceback" not in run.stderr
    assert os.listdir(tmp_path) == []


def test_a_result_folder_owns_what_it_lists(tmp_path: Path) -> None:
    """EXACT: a picture that someone put into a report folder stops its replacement."""
    for _ in range(2):
        with new_folder(tmp_path / "out") as folder:
            (folder / "results.json").write_text('{"conegap_version": "0"}', encoding="utf-8")
            (folder / "section.svg").write_text("<svg/>", encoding="utf-8")
    listed = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    assert listed["files"] == ["results.json", "section.svg"]
    (tmp_path / "out" / "mine.svg").write_text("<svg/>", encoding="utf-8")
    with pytest.raises(OutputError), new_folder(tmp_path / "out"):
        pass
    assert sorted(os.listdir(tmp_path / "out")) == ["mine.svg", "results.json", "section.svg"]


def test_a_foreign_drawing_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: a drawing of ours is drawn again, one that only mentions conegap is not; a slip in
    the design is said while drawing."""
    monkeypatch.chdir(tmp_path)
    for name in ("a.svg", "a.png"):
        assert main(["draw", "needle", "--to", name]) == 0
        assert main(["draw", "needle", "--to", name]) == 0
    Path("b.svg").write_text("<svg><!-- made for conegap, by hand --></svg>", encoding="utf-8")
    assert main(["draw", "needle", "--to", "b.svg"]) == 2
    assert "by hand" in Path("b.svg").read_text(encoding="utf-8")


def test_drawing_tells_of_slips(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: the warnings of a design stand beside its drawing."""
    monkeypatch.chdir(tmp_path)
    _changed_needle(lambda text: text.replace('feed_pressure = "0 Pa"', 'feed_pressure = "2 MPa"'))
    design = Design.read("odd.toml")
    assert design.warnings
    assert main(["draw", "odd.toml"]) == 0
    assert f"warning: {design.warnings[0]}" in capsys.readouterr().err


def _disc(mode: str) -> Image.Image:
    """A dark disc of radius 60 px on a light ground, or on none."""
    y, x = np.mgrid[:200, :200]
    inside = np.hypot(x - 100.0, y - 100.0) < 60.0
    picture = np.where(inside, 30, 220).astype(np.uint8)
    if mode == "L":
        return Image.fromarray(picture)
    # Black everywhere: only the transparency tells the disc from its ground.
    alpha = np.where(inside, 255, 0).astype(np.uint8)
    return Image.fromarray(np.dstack([np.zeros((200, 200, 3), np.uint8), alpha]))


def _file(picture: Image.Image, kind: str) -> bytes:
    stream = io.BytesIO()
    picture.save(stream, format=kind)
    return stream.getvalue()


@pytest.mark.parametrize("mode", ["L", "RGBA"])
def test_transparent_images_are_composited(mode: str) -> None:
    """EXACT: a disc of 60 px, dark on light or opaque on nothing, gives the same outline."""
    points = traced_image(_file(_disc(mode), "PNG"), "disc.png")
    distance = np.hypot(points[:, 0] - 100.0, points[:, 1] + 100.0)
    assert abs(float(distance.mean()) - 60.0) < 0.6
    assert float(np.ptp(distance)) < 1.5


@pytest.mark.parametrize("kind", ["GIF", "PPM", "BMP", "PDF", "EPS"])
def test_other_images_reach_no_decoder(kind: str) -> None:
    """EXACT: what is not PNG, TIFF or JPEG by its content is refused, whatever its name."""
    picture = _disc("L").convert("RGB") if kind in ("PDF", "EPS") else _disc("L")
    with refused("", "disc.png", "TIFF"):
        traced_image(_file(picture, kind), "disc.png")
    for known in ("TIFF", "JPEG"):
        assert len(traced_image(_file(_disc("L"), known), "disc")) > 100


def test_points_too_close_are_named_by_their_lines() -> None:
    """EXACT: two points a millionth of the outline apart are refused with both lines."""
    text = "radius,height\num,um\n0,0\n1,-0.1\n1.00001,-0.1\n5,-3\n20,-40\n"
    with refused("", "lines 4 and 5"):
        read_points(text, "edge.csv")
