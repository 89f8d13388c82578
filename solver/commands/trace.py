"""``conegap trace``: the edge radius behind a micrograph, and a design with its outline."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from conegap.geometries.curves.curve import FloatArray
    from conegap.geometries.micrograph.measured_edge import MeasuredEdge

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "fit the edge radius of a traced outline or image, and write a design with that outline"
EXAMPLES = """\
examples:
  conegap trace edge.png --scale "412 px = 20 um" --to edge
  conegap trace outline.csv --scale "500 px = 10 um" --tip left --to edge
  conegap trace blade.csv --scale "500 px = 10 um" --extruded --to blade

A CSV file holds a header (x,y), a unit row (px,px) and one point per row in order along the
outline, columns to the right and rows downward.  The folder holds edge.csv (the outline), edge.toml
(a design to complete), trace.svg and trace.png (look at them) and results.json.
"""
_POINTS = "edge.csv"
_DESIGN = "edge.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE", help="outline in pixels (.csv) or an image")
    parser.add_argument(
        "--scale", metavar="BAR", help='the scale bar: its length in pixels, "412 px = 20 um"'
    )
    parser.add_argument(
        "--tip",
        choices=("up", "down", "left", "right"),
        default="up",
        help="where the tip points on the picture (default: up)",
    )
    parser.add_argument(
        "--reading",
        metavar="PIXELS",
        default="1",
        help="how far the outline and each end of the bar may be misread (default: 1)",
    )
    parser.add_argument(
        "--extruded",
        action="store_true",
        help="a blade or slit lip; otherwise the outline is turned about its axis",
    )
    parser.add_argument("--to", metavar="FOLDER", help="folder to write (default: NAME-trace)")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.micrograph.apex_frame import apex_frame
    from conegap.geometries.micrograph.measured_design import design_text, points_text
    from conegap.geometries.micrograph.measured_edge import measured_edge
    from conegap.geometries.micrograph.measured_profile import measured_profile
    from conegap.geometries.micrograph.pixel_outline import scale_bar
    from conegap.geometries.quantities.errors import OutputError
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import MARKER, file_system_refusals, json_text, new_folder

    talk = Messages.of(arguments)
    bar = scale_bar(arguments.scale)
    reading = _pixels(arguments.reading)
    place = Path(arguments.file)
    target = Path(arguments.to or f"{place.stem}-trace")
    if target.exists() and any(target.iterdir() if target.is_dir() else [target]):
        raise OutputError(
            f"{target} exists already, and its design may have been completed since; give another "
            "folder with --to"
        )
    points = _outline(place)
    frame = apex_frame(points, place.name, tip=arguments.tip)
    edge = measured_edge(frame, bar, place.name, reading=reading)
    profile = measured_profile(edge, extruded=arguments.extruded)
    table = points_text(edge, profile, place.name)
    text = design_text(edge, profile, place.name, points_name=_POINTS, extruded=arguments.extruded)
    for warning in _warnings(text, table, target):
        talk.remark(f"warning: {warning}")
    with new_folder(target) as folder, file_system_refusals(target):
        (folder / _POINTS).write_text(table, encoding="utf-8")
        (folder / _DESIGN).write_text(text, encoding="utf-8")
        (folder / MARKER).write_text(json_text(_results(edge, place)), encoding="utf-8")
        _draw(edge, folder)
    if not talk.quiet:
        _print(edge)
    talk.remark(
        f"written: {target}. Look at trace.png, complete {_DESIGN} (lines marked <-), then  "
        f"conegap onset {target / _DESIGN}"
    )
    return 0


def _pixels(text: str) -> float:
    from conegap.geometries.quantities.errors import DesignError

    try:
        value = float(text.removesuffix("px"))
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 100.0:
        raise DesignError(f"--reading {text}: give a number of pixels between 0 and 100, such as 1")
    return value


def _outline(place: Path) -> FloatArray:
    from conegap.geometries.micrograph.pixel_outline import pixel_points, traced_image
    from conegap.geometries.quantities.errors import DesignError
    from conegap.geometries.quantities.files import is_file, text_of

    if not is_file(place):
        raise DesignError(f"there is no file '{place}'; give an outline (.csv) or an image")
    if place.suffix.lower() in (".csv", ".txt"):
        return pixel_points(text_of(place), place.name)
    try:
        data = place.read_bytes()
    except OSError as problem:
        raise DesignError(f"{place.name} cannot be read: {problem.strerror}") from problem
    return traced_image(data, place.name)


def _warnings(text: str, table: str, target: Path) -> tuple[str, ...]:
    """Read the new design before anything is written, so that it is known to be accepted."""
    import tempfile

    from conegap.geometries.design.design import Design

    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / _POINTS).write_text(table, encoding="utf-8")
        design = Design.from_text(text, str(target / _DESIGN), folder)
    return design.warnings


def _draw(edge: MeasuredEdge, folder: Path) -> None:
    from conegap.solver.figures.micrograph import trace_figure
    from conegap.solver.figures.report_figures import png_of, svg_of

    figure = trace_figure(edge)
    (folder / "trace.svg").write_text(svg_of(figure, title="traced edge"), encoding="utf-8")
    (folder / "trace.png").write_bytes(png_of(figure))


def _results(edge: MeasuredEdge, place: Path) -> dict[str, Any]:
    from importlib.metadata import version

    low, high = edge.interval
    return {
        "conegap_version": version("conegap"),
        "file": place.name,
        "radius_m": edge.radius,
        "radius_low_m": low,
        "radius_high_m": high,
        "standard_uncertainty_m": edge.uncertainty,
        "uncertainty_by_source_m": dict(edge.parts),
        "window_half_angle_rad": edge.window.angle,
        "points_in_window": edge.window.fit.points,
        "independent_points": edge.window.fit.independent,
        "scatter_px": edge.window.fit.scatter,
        "pixel_m": edge.bar.pixel,
        "tilt_rad": edge.frame.tilt,
        "windows": [
            {
                "half_angle_rad": window.angle,
                "radius_m": window.fit.radius * edge.bar.pixel,
                "standard_uncertainty_m": window.fit.uncertainty * edge.bar.pixel,
            }
            for window in edge.windows
        ],
    }


def _print(edge: MeasuredEdge) -> None:
    from conegap.geometries.quantities.quantity import LENGTH, as_text
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.style import pretty

    def text(value: float, digits: int = 3) -> str:
        return pretty(as_text(float(f"{value:.{digits}g}"), LENGTH))

    low, high = edge.interval
    fit = edge.window.fit
    rows = [
        ("edge radius", text(edge.radius, 4)),
        ("interval (k = 2, about 95 %)", f"{text(low, 4)} to {text(high, 4)}"),
        *((f"standard uncertainty: {name}", text(u, 2)) for name, u in edge.parts.items()),
        ("window, either side of the apex", f"{math.degrees(edge.window.angle):.0f}°"),
        ("points in the window", f"{fit.points}, worth {fit.independent:.0f} independent ones"),
        ("scatter of the points", f"{fit.scatter:.2f} px"),
        ("size of a pixel", text(edge.bar.pixel)),
        ("tilt taken out", f"{abs(math.degrees(edge.frame.tilt)):.1f}°"),
    ]
    console().print(plain_table((), rows, "Traced edge"))
