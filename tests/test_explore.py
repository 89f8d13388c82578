"""The explorer: surfaces against fresh solves, the page's own arithmetic, refusals."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import NEEDLE as NEEDLE_BEFORE_A_PLANE
from conftest import NEEDLE_MICROMETRES, refused
from scipy.interpolate import RBFInterpolator

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError
from conegap.solver.assessment import assess
from conegap.solver.commands.main import main
from conegap.solver.explorer.explored import (
    Explored,
    explored_with,
    held_out_points,
)
from conegap.solver.explorer.offered import ranges_of_budget
from conegap.solver.explorer.page import explorer_page
from conegap.solver.operation.review import review_row
from conegap.solver.sizing.demands import Sample, sample_of
from conegap.solver.sizing.request import free_of
from conegap.solver.sizing.surfaces import design_points, interpolation_matrix
from conegap.solver.studies.budget import Budget, Contribution
from conegap.solver.studies.design_copy import source_files, source_text, with_found_values
from conegap.solver.studies.variants import Changes

NEEDLE = Design.read("needle")
TENSION, PERMITTIVITY = NEEDLE.surface_tension, 8.8541878128e-12
RANGES = ("emitter.tip_radius=2 um..6 um", 'accelerator.gap="0.8 mm".."1.3 mm"')

# Runs the functions of a page, read from its file, without a browser.
_NODE = """
const page = require("fs").readFileSync(process.argv[1], "utf8");
const data = JSON.parse(/id="data">(.*?)<\\/script>/s.exec(page)[1]);
const code = [.../<script>(.*?)<\\/script>/gs[Symbol.matchAll](page)].pop()[1];
const explorer = new Function(code + "; return explorer;")();
const found = JSON.parse(process.argv[2]).map((shares) => {
  const weights = explorer.weights(data, shares);
  if (weights === null) return null;
  const values = data.free.map((one, k) => explorer.value(one, shares[k]));
  return {
    values,
    voltages: explorer.voltages(data, weights),
    rows: data.rows.map((one) => explorer.row(one, weights)),
    file: explorer.file(data, values),
    design: explorer.designVoltage(data, values),
    outline: data.views[0].bodies.map((body) => explorer.outline(body, weights)),
  };
});
console.log(JSON.stringify(found));
"""


def hyperboloid(radius: float, gap: float) -> float:
    """Onset of a hyperboloid before a plane, far from it: sqrt(gamma R / eps0) ln(4 d / R), [V]."""
    return math.sqrt(TENSION * radius / PERMITTIVITY) * math.log(4.0 * gap / radius)


def lawful(changes: Changes) -> Sample:
    """The closed form, a band of 8 % to either side, and a mean field of at most 3.2 MV/m."""
    given = dict(changes)
    gap = given.get("accelerator.gap", NEEDLE.gap)
    voltage = hyperboloid(given.get("emitter.tip_radius", 4e-6), gap)
    row = review_row("mean field", voltage / gap, 3.2e6, "V/m", "", "")
    voltages = {
        "first_emission": voltage,
        "first_emission_low": 0.92 * voltage,
        "first_emission_high": 1.08 * voltage,
    }
    return Sample(voltages, (row,), place="tip, rigid surface")


def by_law(variants: Sequence[Changes], _what: str) -> list[Sample | str]:
    """The closed form at every variant."""
    return [lawful(changes) for changes in variants]


@pytest.fixture(scope="module")
def explored() -> Explored:
    """The closed form over radius and gap."""
    free = tuple(free_of(NEEDLE, text) for text in RANGES)
    return explored_with(NEEDLE, free, lawful(()), by_law)


@pytest.fixture(scope="module")
def page(explored: Explored, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its page."""
    place = tmp_path_factory.mktemp("explorer") / "page.html"
    text = explorer_page(
        explored,
        source_text("needle"),
        file_name="needle-explored.toml",
        words="",
        criterion="rigid",
    )
    place.write_text(text, encoding="utf-8")
    return place


def in_node(page: Path, shares: Sequence[Sequence[float]]) -> list[Any]:
    """What the functions of a page give at some points."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node on this machine: the page's own arithmetic is not run")
    asked = json.dumps([list(one) for one in shares])
    done = subprocess.run(
        [node, "-e", _NODE, str(page), asked], capture_output=True, text=True, check=True
    )
    found: list[Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_matrix_of_the_page_is_the_cubic_spline_of_scipy(count: int) -> None:
    """TABLE (scipy's RBFInterpolator): cubic with a linear part, at random points and values."""
    points = design_points(count)
    generator = np.random.default_rng(count)
    values = generator.standard_normal(len(points))
    at = generator.uniform(size=(50, count))
    wanted = RBFInterpolator(points, values, kernel="cubic", degree=1)(at)
    distance = np.linalg.norm(at[:, None] - points[None], axis=2)
    basis = np.column_stack([distance**3, np.ones(len(at)), at])
    np.testing.assert_allclose(basis @ interpolation_matrix(points) @ values, wanted, atol=1e-11)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_held_out_points_are_in_the_box_and_away_from_the_others(count: int) -> None:
    """INVARIANT: none is a point of the surfaces, and no part of the box is far from all solves."""
    fitted, held = design_points(count), held_out_points(count)
    assert ((held >= 0.0) & (held <= 1.0)).all()
    apart = np.linalg.norm(held[:, None] - fitted[None], axis=2).min(axis=1)
    assert apart.min() >= 0.124
    corners = {tuple(one) for one in fitted.tolist() if set(one) <= {0.0, 1.0}}
    assert len(corners) == 2**count


def test_surfaces_keep_the_stated_error(explored: Explored) -> None:
    """EXACT: sqrt(gamma R / eps0) ln(4 d / R) at 400 random settings and near every corner."""
    generator = np.random.default_rng(3)
    corners = np.array([[0.02, 0.02], [0.02, 0.98], [0.98, 0.02], [0.98, 0.98]])
    shares = np.vstack([generator.uniform(size=(400, 2)), corners])
    radius = 2e-6 * 3.0 ** shares[:, 0]
    gap = 0.8e-3 * (1.3 / 0.8) ** shares[:, 1]
    wanted = [hyperboloid(r, d) for r, d in zip(radius, gap, strict=True)]
    missed = np.abs(explored.voltages(shares)[:, 0] / np.array(wanted) - 1.0)
    assert 1e-7 < missed.max() <= explored.error < 2e-3


def test_the_page_computes_what_the_surfaces_do(explored: Explored, page: Path) -> None:
    """INVARIANT: the page's JavaScript against scipy's interpolation, and its file against the
    copy that `size` writes."""
    shares = np.vstack([np.random.default_rng(4).uniform(size=(20, 2)), explored.points])
    wanted = explored.voltages(shares)
    excess = explored.surfaces(shares, range(3, 5))
    for one, at, volts, rows in zip(in_node(page, shares.tolist()), shares, wanted, excess,
                                    strict=True):  # fmt: skip
        assert list(one["voltages"].values()) == pytest.approx(volts.tolist(), rel=1e-9)
        assert one["rows"][0]["high"] == pytest.approx(rows[0], abs=2e-7)
        written = [(f.key, f.text(v)) for f, v in zip(explored.free, one["values"], strict=True)]
        copy = with_found_values(source_text("needle"), written, name="", folder=Path())
        assert one["file"] == copy
        for f, v, u in zip(explored.free, one["values"], at, strict=True):
            assert v == pytest.approx(f.low * (f.high / f.low) ** u, rel=6e-4)


def test_outside_the_ranges_there_is_no_number(explored: Explored, page: Path) -> None:
    """INVARIANT: neither in Python nor on the page, however little outside; not for nan either."""
    radius, gap = (one.key for one in explored.free)
    for shares, key in (([1.001, 0.5], radius), ([0.5, -0.001], gap), ([math.nan, 0.5], radius)):
        with refused(key, "no number"):
            explored.voltages(np.array([shares]))
    found = in_node(page, [[1.001, 0.5], [0.5, -0.001], [1.0, 0.0]])
    assert [one is None for one in found] == [True, True, False]


def test_the_drawn_outlines_are_those_of_the_section(explored: Explored, page: Path) -> None:
    """INVARIANT: outlines blended at a random setting lie on those of the design drawn there,
    within a thousandth of the picture's width."""
    from conegap.solver.figures.window import whole_outlines

    shares = [0.37, 0.71]
    data = json.loads(re.findall(r'id="data">(.*?)</script>', page.read_text("utf-8"))[0])
    view = data["views"][0]
    radius, gap = 2e-6 * 3.0**0.37, 0.8e-3 * (1.3 / 0.8) ** 0.71
    there = NEEDLE.with_values((("emitter.tip_radius", radius), ("accelerator.gap", gap)))
    section, drawn = there.section(), NEEDLE.section()
    outlines = [o for body in section.bodies for o in whole_outlines(section, body)]
    before = [o for body in drawn.bodies for o in whole_outlines(drawn, body)]
    first = np.array(view["bodies"][0]["drawn"]).reshape(-1, 2)
    scale = np.ptp(first[:, 0]) / np.ptp(before[0][:, 0])
    corner = first[0] - before[0][0] * np.array([scale, -scale])
    for path, wanted in zip(in_node(page, [shares])[0]["outline"], outlines, strict=True):
        found = np.array([float(x) for x in re.findall(r"-?[\d.]+", path)]).reshape(-1, 2)
        np.testing.assert_allclose(
            found, corner + wanted * np.array([scale, -scale]), atol=1e-3 * view["width"]
        )


def test_a_criterion_near_its_limit_is_not_decided(explored: Explored, page: Path) -> None:
    """EXACT: the mean field V / d reaches 3.2 MV/m; far from there the page says pass or fail."""
    error = float(explored.errors[3:].max())
    shares = np.random.default_rng(5).uniform(size=(40, 2))
    states = set()
    for one, (u, w) in zip(in_node(page, shares.tolist()), shares, strict=True):
        gap = 0.8e-3 * (1.3 / 0.8) ** w
        over = math.log(hyperboloid(2e-6 * 3.0**u, gap) / gap / 3.2e6)
        state = one["rows"][0]["state"]
        states.add(state)
        assert state != ("fail" if over < 0.0 else "pass")
        if abs(over) > 2.0 * error:
            assert state == ("fail" if over > 0.0 else "pass")
    assert states >= {"pass", "fail"}


def test_the_page_needs_nothing_else_and_cannot_be_broken_out_of(explored: Explored) -> None:
    """INVARIANT: no address is fetched; a title with a closing element stays text."""
    title = '</script><script>alert("x")</script>'
    text = explorer_page(
        replace(explored, design=replace(NEEDLE, title=title)),
        source_text("needle") + f"# {title}\n",
        file_name="a.toml",
        words="",
        criterion="rigid",
    )
    assert "alert(" in text
    assert '<script>alert("x")' not in text
    assert not re.search(r"""(src|href)=["'](?!#)""", text)
    assert not re.search(r"fetch\(|XMLHttpRequest|import\(|url\((?!#)", text)
    identifiers = re.findall(r'\bid="([^"]+)"', text)
    assert len(identifiers) == len(set(identifiers))
    for field in re.findall(r"<input [^>]*>", text):
        name = re.search(r'id="([^"]+)"', field)
        assert name is not None
        assert f'for="{name[1]}"' in text or "aria-label=" in field


@pytest.mark.parametrize("kind", ["capillary", "slit", "crown", "array", "profile"])
def test_every_kind_has_a_page(kind: str, tmp_path: Path) -> None:
    """INVARIANT: both views with all bodies and a file that can be read again; the voltage of the
    design follows its slider."""
    design = Design.read(kind)
    volts = design.voltages.emitter
    free = (
        free_of(design, f"accelerator.gap={0.9e3 * design.gap} mm..{1.1e3 * design.gap} mm"),
        free_of(design, f"voltages.emitter={volts} V..{1.2 * volts} V"),
    )
    explored = explored_with(design, free, lawful(()), by_law)
    page = tmp_path / "page.html"
    text = explorer_page(
        explored, source_text(kind), file_name="a.toml", words="", criterion="rigid"
    )
    page.write_text(text, encoding="utf-8")
    (found,) = in_node(page, [[0.25, 0.5]])
    there = Design.from_text(found["file"], "a.toml", source_files(kind))
    assert there.voltage == pytest.approx(found["design"], rel=1e-3)
    assert there.gap == pytest.approx(design.gap * 0.9 * (1.1 / 0.9) ** 0.25, rel=1e-3)
    assert len(found["outline"]) >= len(design.section().bodies)
    assert all("NaN" not in path for path in found["outline"])


def test_poor_surfaces_are_refused() -> None:
    """INVARIANT: an onset with a kink that the surfaces miss by 3 % gives no page."""

    def kinked(variants: Sequence[Changes], _what: str) -> list[Sample | str]:
        found: list[Sample | str] = []
        for changes in variants:
            one = lawful(changes)
            late = 1.0 + 0.2 * (dict(changes)["accelerator.gap"] > 1.1e-3)
            volts = {key: late * value for key, value in one.voltages.items()}
            found.append(replace(one, voltages=volts))
        return found

    free = tuple(free_of(NEEDLE, text) for text in RANGES)
    with refused("--free", kind=ComputationError, cause="misfit"):
        explored_with(NEEDLE, free, lawful(()), kinked)


def test_a_design_in_the_ranges_that_cannot_be_solved_is_named() -> None:
    """INVARIANT: no page with a hole; the refusal gives the values and the remedy."""

    def lame(variants: Sequence[Changes], what: str) -> list[Sample | str]:
        return [*by_law(variants[:-1], what), "the mesh failed"]

    free = (free_of(NEEDLE, RANGES[1]),)
    with refused("accelerator.gap"):
        explored_with(NEEDLE, free, lawful(()), lame)


def test_offered_are_the_largest_lines_that_can_be_built() -> None:
    """EXACT: R 4 um +- 1 um to 2 and 6 um; a film of 0.5 um +- 0.3 um no farther than 0.35 um,
    since 0.3 um below that is still a film."""
    keys = ("emitter.tip_radius", "surface_tension", "liquid.film_thickness", "accelerator.gap")
    lines = [Contribution(key, "", 0.1 / (k + 1), 0.1, "") for k, key in enumerate(keys)]
    radius, film, gap = ranges_of_budget(NEEDLE, Budget(tuple(lines)))
    assert (radius.low, radius.high) == pytest.approx((2e-6, 6e-6))
    assert (film.low, film.high) == pytest.approx((0.35e-6, 0.65e-6))
    assert (gap.low, gap.high) == pytest.approx((0.9e-3, 1.1e-3))


def test_refused_commands_write_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: bad input is exit code 2 and leaves no file."""
    monkeypatch.chdir(tmp_path)
    for more in (
        ["--free", "accelerator.gap=1 mm"],
        ["--free", "accelerator.gapp=1 mm..2 mm"],
        ["--free", "accelerator.gap=1..2"],
        ["--to", "page.pdf"],
    ):
        assert main(["explore", "needle", *more]) == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_the_command_keeps_its_word(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """INVARIANT: fresh solves of the files that the page would save, at random settings and near
    both ends, agree with the page within the errors that it states; so do the results of the
    review."""
    place, drawn = tmp_path / "page.html", tmp_path / "drawn.toml"
    # Every row of a review is treated alike, and below the onset there is no beam to compute.
    text = NEEDLE_BEFORE_A_PLANE.format(**NEEDLE_MICROMETRES)
    drawn.write_text(text.replace('emitter = "5 kV"', 'emitter = "1 kV"'), encoding="utf-8")
    told = ["explore", str(drawn), "--criterion", "rigid", "--to", str(place)]
    assert main([*told, "--free", "emitter.tip_radius=3 um..7 um"]) == 0
    assert "held out" in capsys.readouterr().out
    data = json.loads(re.findall(r'id="data">(.*?)</script>', place.read_text("utf-8"))[0])
    shares = [*np.random.default_rng(6).uniform(size=(2, 1)).tolist(), [0.02], [0.98]]
    pages = in_node(place, shares)
    for one in pages:
        design = Design.from_text(one["file"], "explored.toml")
        fresh = sample_of(assess(design, scans=False, criterion="rigid"))
        for key, line in data["voltages"].items():
            # The file has four digits of a quantity: 5e-4 at most, of which the onset takes half.
            off = abs(math.log(one["voltages"][key] / fresh.voltages[key]))
            assert off <= line["error"] + 3e-4
        states = {row.name: row.state for row in fresh.rows}
        for row, said in zip(data["rows"], one["rows"], strict=True):
            assert said["state"] in (states[row["name"]], "not proved"), row["name"]


Run = Callable[..., str]

# What a hand does: a slider to its end, a field left empty, the file saved.
_MOVED = """
const slider = document.getElementById("slider0");
slider.value = 1;
slider.dispatchEvent(new Event("input", { bubbles: true }));
const files = [];
URL.createObjectURL = (blob) => { files.push(blob); return "#"; };
document.getElementById("save").click();
files[0].text().then((text) => {
  const kept = document.createElement("pre");
  kept.id = "saved";
  kept.textContent = text;
  document.body.append(kept);
  const field = document.getElementById("number1");
  field.value = "";
  field.dispatchEvent(new Event("input", { bubbles: true }));
});
"""


@pytest.fixture(scope="module")
def browser(page: Path) -> Run:
    """The page as a browser without a window leaves it, with a setting behind its address."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))),
                 None)  # fmt: skip
    if found is None:
        pytest.skip("no Chromium on this machine: the page is not opened in a browser")

    def opened(setting: str, script: str = "") -> str:
        copy = page.with_name("copy.html")
        text = page.read_text(encoding="utf-8")
        copy.write_text(
            text.replace("</body>", f"<script>{script}</script></body>"), encoding="utf-8"
        )
        words = [found, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom",
                 "--virtual-time-budget=2000", f"{copy.as_uri()}#{setting}"]  # fmt: skip
        done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=120)
        return done.stdout

    return opened


def shown(document: str, name: str) -> str:
    """Text of the element of that name."""
    found = re.search(rf'id="{name}"[^>]*>([^<]*)<', document)
    assert found is not None
    return found[1]


def test_a_browser_shows_the_answer(browser: Run) -> None:
    """EXACT: at 3 um and 1.2 mm the page shows the closed form, to the digits that it prints, and
    tells a screen reader; outside the ranges it says what was solved and shows no number."""
    there = browser("emitter.tip_radius=3&accelerator.gap=1.2")
    wanted = hyperboloid(3e-6, 1.2e-3) / 1e3
    first = shown(there, "first")
    assert float(first.removesuffix(" kV")) == pytest.approx(wanted, abs=0.011)
    assert first in shown(there, "spoken")
    assert 'value = "3 um"' in shown(there, "file")
    beyond = browser("emitter.tip_radius=7&accelerator.gap=1.2")
    assert shown(beyond, "first") == "–"
    assert "2 µm to 6 µm" in shown(beyond, "spoken")
    assert shown(beyond, "file") == ""
    assert re.search(r'<button[^>]*id="save"[^>]*disabled', beyond)


def test_a_slider_moves_the_answer_and_the_file_is_saved(browser: Run, tmp_path: Path) -> None:
    """EXACT: at the end of the slider the saved design has the range's end; a field left empty
    has no number, is marked as wrong, and cannot be saved."""
    after = browser("accelerator.gap=1.25", _MOVED)
    saved = tmp_path / "saved.toml"
    saved.write_text(shown(after, "saved"), encoding="utf-8")
    design = Design.read(saved)
    assert design.dimension("emitter.tip_radius").value == pytest.approx(6e-6, rel=1e-12)
    assert design.gap == pytest.approx(1.25e-3, rel=1e-12)
    assert "gap was solved from 0.8 mm to 1.3 mm" in shown(after, "message")
    assert shown(after, "first") == "–"
    assert re.search(r'<input[^>]*id="number1"[^>]*aria-invalid="true"', after)
    assert re.search(r'<button[^>]*id="save"[^>]*disabled', after)
