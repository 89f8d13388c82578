"""Edges traced on a micrograph: the circle, its interval, the profile and the refusals."""

from __future__ import annotations

import io
import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from PIL import Image

from conegap.geometries.curves.profile import Profile
from conegap.geometries.design.design import Design
from conegap.geometries.micrograph.apex_frame import apex_frame
from conegap.geometries.micrograph.circle_fit import fit_circle
from conegap.geometries.micrograph.measured_design import design_text, points_text
from conegap.geometries.micrograph.measured_edge import measured_edge
from conegap.geometries.micrograph.measured_profile import measured_profile
from conegap.geometries.micrograph.pixel_outline import (
    ScaleBar,
    pixel_points,
    scale_bar,
    traced_image,
)
from conegap.geometries.quantities.files import examples_folder
from conegap.solver.commands.main import main

HALF_ANGLE = math.radians(15.0)
BAR = ScaleBar(400.0, 20e-6)


def cone_outline(radius: float = 60.0, length: float = 200.0, step: float = 1.5) -> np.ndarray:
    """A cone with a round tip, from the left flank to the right, apex at (0, 0), [px]."""
    arc = radius * (math.pi / 2.0 - HALF_ANGLE)
    s = np.arange(-arc - length, arc + length, step)
    t = np.minimum(np.abs(s), arc) / radius
    beyond = np.maximum(np.abs(s) - arc, 0.0)
    x = radius * np.sin(t) + beyond * math.sin(HALF_ANGLE)
    z = radius * (np.cos(t) - 1.0) - beyond * math.cos(HALF_ANGLE)
    return np.column_stack([np.copysign(x, s), z])


def turned(points: np.ndarray, angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def csv_of(points: np.ndarray) -> str:
    rows = "\n".join(f"{x:.3f},{-z:.3f}" for x, z in points)
    return f"x,y\npx,px\n{rows}\n"


def tip_image(radius: float, tilt: float = 0.0, noise: float = 6.0) -> bytes:
    """A bright round-nosed cone on a dark ground, its edge soft over a pixel, with noise."""
    y, x = np.mgrid[0:420, 0:520].astype(float)
    u, v = x - 260.0, y - 90.0 - radius
    c, s = math.cos(tilt), math.sin(tilt)
    u, v = c * u + s * v, -s * u + c * v
    cone = radius - (np.abs(u) * math.cos(HALF_ANGLE) - v * math.sin(HALF_ANGLE))
    inside = np.maximum(
        radius - np.hypot(u, v), np.where(v > -radius * math.sin(HALF_ANGLE), cone, -1e9)
    )
    grey = 40.0 + 160.0 / (1.0 + np.exp(-np.clip(inside, -50.0, 50.0) / 1.2))
    grey += noise * np.random.default_rng(2).standard_normal(grey.shape)
    stream = io.BytesIO()
    Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).save(stream, "PNG")
    return stream.getvalue()


def test_points_on_a_circle_give_it_back() -> None:
    """EXACT: centre and radius of a circle from an arc of it, at any size and place."""
    angle = np.linspace(0.2, 1.7, 31)
    for size, place in ((1.0, 0.0), (1e-6, 3e-4), (1e5, -7e6)):
        points = place + size * np.column_stack([np.cos(angle), np.sin(angle)])
        fit = fit_circle(points)
        assert_allclose(fit.radius, size, rtol=1e-7)
        assert_allclose(fit.centre, (place, place), atol=1e-7 * max(size, abs(place)))
        assert fit.scatter < 1e-6 * size


def test_the_fits_interval_holds_the_radius_as_often_as_it_says() -> None:
    """EXACT: Monte Carlo on a known circle; 95 % of 1200 intervals, within four deviations."""
    random = np.random.default_rng(11)
    angle = np.linspace(-1.0, 1.0, 60)
    circle = 50.0 * np.column_stack([np.sin(angle), np.cos(angle)])
    hits = 0
    for _ in range(1200):
        low, high = fit_circle(circle + 0.4 * random.standard_normal(circle.shape)).interval()
        hits += low <= 50.0 <= high
    assert abs(hits / 1200.0 - 0.95) < 4.0 * math.sqrt(0.95 * 0.05 / 1200.0)


def test_neighbours_that_err_together_widen_the_interval() -> None:
    """EXACT: with residuals correlated by 0.7 the interval still holds the radius."""
    random = np.random.default_rng(12)
    angle = np.linspace(-1.0, 1.0, 240)
    way = np.column_stack([np.sin(angle), np.cos(angle)])
    hits = naive = 0
    for _ in range(300):
        noise = random.standard_normal(len(angle))
        for k in range(1, len(noise)):
            noise[k] = 0.7 * noise[k - 1] + math.sqrt(1.0 - 0.49) * noise[k]
        fit = fit_circle((50.0 + 0.4 * noise)[:, None] * way)
        low, high = fit.interval()
        hits += low <= 50.0 <= high
        reach = 1.96 * fit.uncertainty * math.sqrt(fit.independent / fit.points)
        naive += abs(fit.radius - 50.0) <= reach
    assert hits > 0.91 * 300
    assert naive < 0.75 * 300


def test_the_whole_interval_holds_the_radius() -> None:
    """EXACT: Monte Carlo with noise, a common offset of the outline and a misread scale bar."""
    random = np.random.default_rng(13)
    plain = cone_outline(step=2.0)
    hits = 0
    for _ in range(80):
        # A common offset moves the traced edge outward everywhere, which enlarges the radius.
        grown = cone_outline(60.0 + random.uniform(-1.0, 1.0), step=2.0)
        noisy = grown[: len(plain)] + 0.4 * random.standard_normal(grown[: len(plain)].shape)
        bar = ScaleBar(400.0 + random.uniform(-1.0, 1.0) + random.uniform(-1.0, 1.0), 20e-6)
        edge = measured_edge(
            apex_frame(turned(noisy, random.uniform(-0.1, 0.1)), "t"), bar, "t", reading=1.0
        )
        low, high = edge.interval
        hits += low <= 3e-6 <= high
    assert hits >= 0.93 * 80
    assert edge.uncertainty < 0.03 * edge.radius


def test_a_window_stops_where_the_edge_is_no_circle() -> None:
    """INVARIANT: on a parabola, whose radius grows off the apex, wide windows are refused."""
    random = np.random.default_rng(14)
    x = np.linspace(-260.0, 260.0, 900)
    parabola = np.column_stack([x, -(x**2) / 160.0])
    noisy = parabola + 0.3 * random.standard_normal(parabola.shape)
    edge = measured_edge(apex_frame(noisy, "t"), ScaleBar(1.0, 1.0), "t")
    assert edge.window.angle < math.radians(60.0)
    assert edge.windows[-1].fit.radius > 1.15 * 80.0
    low, high = edge.interval
    assert low < 80.0 < high


@pytest.mark.parametrize("tip", ["up", "down", "left", "right"])
def test_the_tip_may_point_anywhere(tip: str) -> None:
    """INVARIANT: the picture turned by quarters gives the same radius and tilt."""
    angle = {"up": 0.0, "left": math.pi / 2, "down": math.pi, "right": -math.pi / 2}[tip]
    points = turned(cone_outline(), angle + 0.06) + np.array([300.0, -200.0])
    frame = apex_frame(points[::-1], "t", tip=tip)
    assert_allclose(abs(frame.tilt), 0.06, atol=2e-3)
    assert_allclose(measured_edge(frame, BAR, "t").radius, 3e-6, rtol=1e-3)


@pytest.mark.parametrize("radius", [25.0, 70.0])
def test_a_drawn_picture_is_traced(radius: float) -> None:
    """EXACT: an image drawn with a known radius, tilted, soft and noisy; within 0.3 px."""
    points = traced_image(tip_image(radius, tilt=0.07), "tip.png")
    edge = measured_edge(apex_frame(points, "tip.png"), ScaleBar(1.0, 1.0), "tip.png")
    assert abs(edge.radius - radius) < 0.3
    low, high = edge.interval
    assert low < radius < high


def test_the_profile_keeps_the_radius_and_the_flank() -> None:
    """INVARIANT: the smooth curve of the profile has the fitted radius at its pole, its sharpest
    place, and the flank's direction at its end."""
    random = np.random.default_rng(15)
    outline = cone_outline()
    noisy = outline + 0.4 * random.standard_normal(outline.shape)
    edge = measured_edge(apex_frame(noisy, "t"), BAR, "t")
    points = measured_profile(edge, extruded=False)
    curve = Profile.of(points, "t", revolved=True, corners=False).curves()[0]
    bend = -curve.curvature(np.linspace(0.0, 1.0, 2001))
    assert_allclose(1.0 / bend[0], edge.radius, rtol=2e-3)
    assert bend.max() < 1.004 / edge.radius
    end = curve.tangent([1.0])[0]
    assert_allclose(math.atan2(end[0], -end[1]), HALF_ANGLE, atol=math.radians(1.0))
    assert points[-1, 1] < -0.7 * 190.0 * BAR.pixel
    both = measured_profile(edge, extruded=True)
    assert both[0, 0] < 0.0 < both[-1, 0]
    assert np.all(np.diff(both[:, 0]) > 0.0)


def test_the_shipped_outline_becomes_a_design_that_is_accepted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT: the invented micrograph was drawn with 5.00 um; `Design.read` takes its design."""
    monkeypatch.chdir(tmp_path)
    text = (examples_folder() / "micrograph_outline.csv").read_text(encoding="utf-8")
    assert "invented" in text
    Path("e9.csv").write_text(text, encoding="utf-8")
    assert main(["trace", "e9.csv", "--scale", "480 px = 25 um", "--to", "e9"]) == 0
    assert "edge radius" in capsys.readouterr().out
    found = json.loads(Path("e9/results.json").read_text(encoding="utf-8"))
    assert found["radius_low_m"] < 5e-6 < found["radius_high_m"]
    assert_allclose(found["radius_m"], 5e-6, rtol=5e-3)
    assert set(found["uncertainty_by_source_m"]) == {
        "scatter of the points",
        "choice of the window",
        "place of the outline",
        "scale bar",
    }
    design = Design.read("e9/edge.toml")
    assert_allclose(design.section().edges[0].radius, found["radius_m"], rtol=2e-4)
    assert design.warnings == ()
    assert {"trace.svg", "trace.png", "edge.csv"} <= {p.name for p in Path("e9").iterdir()}
    assert main(["trace", "e9.csv", "--scale", "480 px = 25 um", "--to", "e9"]) == 2
    assert "exists already" in capsys.readouterr().err


def test_the_radius_of_a_traced_edge_carries_its_tolerance(tmp_path: Path) -> None:
    """EXACT: at another edge radius the pole has that radius and the cone keeps its angle."""
    edge = measured_edge(apex_frame(cone_outline(), "t"), BAR, "t")
    points = measured_profile(edge, extruded=False)
    (tmp_path / "b.csv").write_text(points_text(edge, points, "t"), encoding="utf-8")
    text = design_text(edge, points, "t", points_name="b.csv", extruded=False)
    design = Design.from_text(text, "b.toml", tmp_path)
    given = design.dimension("emitter.edge_radius")
    assert_allclose(given.value, 3e-6, rtol=2e-3)
    assert_allclose(given.tolerance, math.sqrt(3.0) * edge.uncertainty, rtol=0.05)  # two digits
    changed = design.with_value("emitter.edge_radius", 1.1 * given.value)
    foot = []
    for one, radius in ((design, given.value), (changed, 1.1 * given.value)):
        section = one.section()
        assert_allclose(section.edges[0].radius, radius, rtol=1e-6)
        flank = section.loops[0][1].curve
        foot.append(flank.tangent([0.5])[0])
    assert_allclose(foot[0], foot[1], atol=1e-9)
    with refused("emitter.edge_radius", "2.997e-06 m", "1e-05 m"):
        design.with_value("emitter.edge_radius", 1e-5)


def test_an_extruded_edge_becomes_a_design_that_is_accepted(tmp_path: Path) -> None:
    """INVARIANT: both flanks are kept, and the files are read back as a planar profile."""
    edge = measured_edge(apex_frame(cone_outline(), "t"), BAR, "t")
    points = measured_profile(edge, extruded=True)
    (tmp_path / "b.csv").write_text(points_text(edge, points, "t"), encoding="utf-8")
    text = design_text(edge, points, "t", points_name="b.csv", extruded=True)
    design = Design.from_text(text, "b.toml", tmp_path)
    assert design.emitter.symmetry == "planar"
    assert_allclose(design.section().edges[0].radius, 3e-6, rtol=5e-3)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("no scale", r"the scale bar is missing; give --scale \"412 px = 20 um\""),
        ("wrong scale", r"--scale '20 um' is no scale bar"),
        ("scale unit", r"--scale '400 px = 20 kg'"),
        ("open", r"the outline is open between \(.*\) and \(.*\) px, a step of \d+ px"),
        ("crossing", r"crosses itself near"),
        ("tilted", r"the axis is tilted by \d+ deg"),
        ("few", r"holds 12 points of an outline, at least 25"),
        ("coarse", r"points lie on the rounded edge, fewer than the 12 needed"),
        ("out of frame", r"ends at its highest point, so the edge lies out of the frame"),
        ("no pixels", r"is no outline in pixels; the form is"),
        ("half written", r"line \d+: '.*' is no pair of numbers"),
        ("missing", r"there is no file"),
        ("no image", r"cannot be read as an image"),
        ("grey", r"too little contrast"),
        ("reading", r"--reading -3: give a number of pixels"),
    ],
)
def test_a_picture_that_is_wrong_is_refused(
    fault: str,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """INVARIANT: each fault has its own words, exit code 2, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    points, name = cone_outline(), "t.csv"
    scale: list[str] = ["--scale", "400 px = 20 um"]
    more: list[str] = []
    if fault == "open":
        points = np.vstack([points[:100], points[170:]])
    elif fault == "crossing":
        turn = np.linspace(0.0, 2.0 * math.pi, 27)[1:]
        loop = points[80] + 6.0 * np.column_stack([np.cos(turn) - 1.0, np.sin(turn)])
        points = np.vstack([points[:81], loop, points[81:]])
    elif fault == "tilted":
        points = turned(points, 0.5)
    elif fault == "few":
        points = points[::30][:12]
    elif fault == "coarse":
        points = cone_outline(radius=6.0, step=3.0)
    elif fault == "out of frame":
        points = points[: len(points) // 2]
    text = csv_of(points)
    if fault == "no pixels":
        text = text.replace("px,px", "um,um")
    elif fault == "half written":
        text = text[:-12]
        text = text[: text.rindex(",")] + "\n"
    Path(name).write_text(text, encoding="utf-8")
    if fault == "no scale":
        scale = []
    elif fault in ("wrong scale", "scale unit"):
        scale = ["--scale", "20 um" if fault == "wrong scale" else "400 px = 20 kg"]
    elif fault == "missing":
        name = "nowhere.csv"
    elif fault in ("no image", "grey"):
        name = "t.png"
        data = b"no image"
        if fault == "grey":
            stream = io.BytesIO()
            Image.new("L", (80, 60), 128).save(stream, "PNG")
            data = stream.getvalue()
        Path(name).write_bytes(data)
    elif fault == "reading":
        more = ["--reading", "-3"]
    before = sorted(p.name for p in tmp_path.iterdir())
    assert main(["trace", name, *scale, *more, "--to", "out"]) == 2
    assert re.search(words, capsys.readouterr().err)
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_a_scale_bar_is_read() -> None:
    """EXACT: pixels and length of a bar, and the size of a pixel."""
    assert_allclose(scale_bar("412 px = 20 um").pixel, 20e-6 / 412.0, rtol=1e-12)
    assert scale_bar(" 50 pixels=1 mm").length == 1e-3


def test_rows_of_a_picture_count_downward() -> None:
    """EXACT: the second column changes its sign; repeated points are dropped."""
    points = cone_outline()
    rows = csv_of(np.vstack([points[:1], points]))
    assert_allclose(pixel_points(rows, "t.csv"), points, atol=1e-3)
