"""``conegap calibrate``: the effective edge radius behind a measured onset."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from conegap.geometries.design.design import Design
    from conegap.solver.studies.calibration import Calibration

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

# Tolerances: what would have to move farther is no likely reason and is only counted.
_FARTHEST = 5.0

SUMMARY = "infer the effective edge radius from a measured onset"
EXAMPLES = """\
examples:
  conegap calibrate needle --measured "3.4 kV"
  conegap calibrate my.toml --measured "5.2 kV" --uncertainty "0.1 kV"
  conegap calibrate my.toml --measured "5.2 kV" --write my_measured.toml

The onset is emitter minus accelerator; --uncertainty is its plus-minus at about 95 %.  --write
makes a copy of the design file with the value and the basis "measured"; comments stay.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument(
        "--measured", metavar="VOLTAGE", required=True, help='measured onset, such as "5.2 kV"'
    )
    parser.add_argument(
        "--uncertainty",
        metavar="VOLTAGE",
        default="0 V",
        help='plus-minus of the reading, such as "0.1 kV" (default: none)',
    )
    add_criterion(parser)
    parser.add_argument("--write", metavar="FILE", help="write a copy of the design file")
    parser.add_argument("--force", action="store_true", help="replace a file that exists")
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the tables"
    )
    parser.set_defaults(run=_run)


def _voltage(text: str, name: str) -> float:
    from conegap.geometries.quantities.errors import DesignError
    from conegap.geometries.quantities.quantity import VOLTAGE, QuantityError, read_quantity

    try:
        return read_quantity(text, VOLTAGE).value
    except QuantityError as problem:
        raise DesignError(f"--{name} {text}: {problem}") from problem


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text, new_files
    from conegap.solver.studies.calibration import calibrate

    talk = Messages.of(arguments)
    measured = _voltage(arguments.measured, "measured")
    uncertainty = _voltage(arguments.uncertainty, "uncertainty")
    design = Design.read(arguments.design)
    places = [Path(arguments.write)] if arguments.write else []
    with new_files(places, may_replace=lambda place: bool(arguments.force)) as content:
        with talk.progress() as progress:
            found = calibrate(
                design,
                measured,
                uncertainty,
                criterion=arguments.criterion,
                progress=progress,
            )
        if places:
            content.append(_copy(arguments.design, places[0], design, found))
    for warning in found.warnings:
        talk.remark(f"warning: {warning}")
    if arguments.json:
        sys.stdout.write(json_text(_results(design, found)))
    elif not arguments.quiet:
        _print(design, found)
    for place in places:
        talk.remark(f"written: {place}")
    return 0


def _copy(given: str, place: Path, design: Design, found: Calibration) -> str:
    """The design file with the calibrated value; the interval becomes its tolerance."""
    from conegap.geometries.quantities.quantity import as_text
    from conegap.solver.studies.design_copy import source_text, with_measured_value

    dimension, root = design.dimension(found.key), found.root
    half = max(root.value - root.low, root.high - root.value)
    bounded = root.low > 0.0 and math.isfinite(half) and 0.0 < half < root.value
    if not bounded:
        half = float(dimension.tolerance or 0.0)
    return with_measured_value(
        source_text(given),
        found.key,
        as_text(float(f"{root.value:.4g}"), dimension.kind, dimension.unit),
        as_text(float(f"{half:.2g}"), dimension.kind, dimension.unit) if half > 0.0 else "",
        name=place.name,
        folder=place.resolve().parent,
    )


def _results(design: Design, found: Calibration) -> dict[str, Any]:
    from importlib.metadata import version

    root = found.root
    return {
        "conegap_version": version("conegap"),
        "design_sha256": design.sha256,
        "title": design.title,
        "warnings": list(found.warnings),
        "key": found.key,
        "drawn_m": found.drawn,
        "value_m": root.value,
        "value_low_m": root.low if root.low > 0.0 else None,
        "value_high_m": root.high if math.isfinite(root.high) else None,
        "emitting_radius_m": found.edge_radius,
        "elasticity": root.elasticity,
        "measured_V": found.measured,
        "measured_uncertainty_V": found.measured_uncertainty,
        "drawn_onset_V": found.drawn_onset,
        "relative_uncertainty": found.relative_uncertainty,
        "mode": found.mode,
        "ratio_to_rigid": found.ratio_to_rigid,
        "way": found.way,
        "other_explanations": [
            {
                "key": one.key,
                "drawn": one.drawn,
                "move": one.move,
                "move_text": one.move_text,
                "moves_in_tolerances": one.in_tolerances
                if math.isfinite(one.in_tolerances)
                else None,
                "plausible": one.plausible,
            }
            for one in found.alternatives
        ],
    }


def _print(design: Design, found: Calibration) -> None:
    from conegap.geometries.quantities.quantity import LENGTH, as_text
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import percent, voltage_text

    root, unit = found.root, design.dimension(found.key).unit
    out = console()

    def words(value: float) -> str:
        return as_text(float(f"{value:.4g}"), LENGTH, unit)

    low = words(root.low) if root.low > 0.0 else "open"
    high = words(root.high) if math.isfinite(root.high) else "open"
    rows = [
        (f"effective {found.label}", words(root.value)),
        ("interval (k = 2, about 95 %)", f"{low} to {high}"),
        ("as drawn", words(found.drawn)),
        ("radius of the emitting surface, film included", words(found.edge_radius)),
        ("measured onset", voltage_text(found.measured)),
        ("computed onset as drawn", f"{voltage_text(found.drawn_onset)}, {found.mode}"),
        ("uncertainty of measured over computed", percent(found.relative_uncertainty)),
        ("d ln V / d ln R", f"{root.elasticity:.3f}"),
    ]
    heading = " ".join(p for p in (design.title, design.drawing.number) if p) or design.source
    out.print(plain_table((), rows, heading))
    out.print()
    near = [one for one in found.alternatives if one.in_tolerances <= _FARTHEST]
    far = len(found.alternatives) - len(near)
    if near:
        table = [
            (
                one.label,
                one.drawn,
                one.move_text,
                f"{one.in_tolerances:.2g}",
                "could explain it alone" if one.plausible else "not alone",
            )
            for one in near
        ]
        heads = ("other explanation", "drawn", "move needed", "in tolerances", "verdict")
        out.print(plain_table(heads, table, "the radius is not the only explanation"))
        out.print(
            "Moves follow the slope at the drawn values; the surface tension's is counted in "
            f"standard uncertainties. {far} more would have to move by over "
            f"{_FARTHEST:g} tolerances. The interval holds none of them.",
            soft_wrap=True,
        )
    if found.way:
        out.print(found.way, soft_wrap=True)
