"""``conegap tolerate``: tolerance stack-up, ranked contributions and drawing callouts."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from rich.console import Console

    from conegap.geometries.design.design import Design
    from conegap.solver.studies.tolerance import ToleranceStudy
    from conegap.solver.studies.tolerance_allocation import ToleranceAllocations
    from conegap.solver.studies.tolerance_shares import Share

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "stack up the tolerances: band, ranking, and the tolerance each dimension must hold"
EXAMPLES = """\
examples:
  conegap tolerate needle                       writes conegap-tolerance-needle
  conegap tolerate my.toml --fit 3%             callouts for a band of plus-minus 3 %
  conegap tolerate my.toml --fit supply         callouts for the supply criterion (the default)
  conegap tolerate my.toml --normal emitter.tip_radius --criterion rigid

After an interrupt the same command goes on where it stopped: finished solves are kept in the
folder.  A tolerance is rectangular over its range unless --normal names it (then it is two
standard deviations).  Exit code 1: the 95 % end of the band exceeds the supply criterion, or no
tolerance makes the band fit.
"""

_JSON, _CSV, _SVG, _PNG = "tolerance.json", "tolerance.csv", "tornado.svg", "tornado.png"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument(
        "--fit",
        metavar="WHAT",
        help="what the band shall fit into: a half width such as 3%%, or supply, or design",
    )
    parser.add_argument(
        "--normal",
        metavar="KEY",
        action="append",
        default=[],
        help="this dimension scatters normally, its tolerance being two standard deviations; "
        "'all' for every one",
    )
    add_criterion(parser)
    parser.add_argument(
        "--samples", metavar="N", default="100000", help="number of samples (default: 100000)"
    )
    parser.add_argument(
        "--seed", metavar="N", default="1", help="seed of the random numbers (default: 1)"
    )
    parser.add_argument(
        "--to", metavar="FOLDER", help="folder to write (default: conegap-tolerance-NAME)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the tables"
    )
    parser.set_defaults(run=_run)


def _whole(text: str, name: str, low: int, high: int) -> int:
    """A whole number of a command line."""
    from conegap.geometries.quantities.errors import DesignError

    if not text.isdecimal() or not low <= int(text) <= high:
        raise DesignError(f"--{name} {text}: give a whole number from {low} to {high}")
    return int(text)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.solver.commands.draw import design_name
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text
    from conegap.solver.studies.solve_cache import resumable_folder
    from conegap.solver.studies.tolerance import toleranced, tolerate
    from conegap.solver.studies.tolerance_allocation import needed_tolerances, target_of
    from conegap.solver.studies.tolerance_tables import tolerance_results

    talk = Messages.of(arguments)
    samples = _whole(arguments.samples, "samples", 1000, 2_000_000)
    seed = _whole(arguments.seed, "seed", 0, 2**31)
    target = Path(arguments.to or f"conegap-tolerance-{design_name(arguments.design)}")
    design = Design.read(arguments.design)
    normal = tuple(arguments.normal)
    toleranced(design, normal)
    wanted = target_of(arguments.fit, design)
    with resumable_folder(target, (_JSON, _CSV, _SVG, _PNG)) as (folder, kept):
        if kept.rows:
            talk.remark(f"{len(kept.rows)} solves of an earlier run are reused where they fit")
        try:
            with talk.progress() as progress:
                study = tolerate(
                    design,
                    criterion=arguments.criterion,
                    normal=normal,
                    samples=samples,
                    seed=seed,
                    kept=kept,
                    progress=progress,
                )
        except KeyboardInterrupt:
            if kept.rows:
                talk.remark(f"{len(kept.rows)} solves are kept in {target}; run the same again")
            raise
        callouts = None if wanted is None else needed_tolerances(study, wanted)
        results = tolerance_results(design, study, callouts)
        _write(design, study, callouts, json_text(results), folder)
    for warning in study.warnings:
        talk.remark(f"warning: {warning}")
    if arguments.json:
        sys.stdout.write(json_text(results))
    elif not arguments.quiet:
        _print(design, study, callouts)
    talk.remark(f"written: {target}")
    return 0 if _passes(design, study, callouts) else 1


def _passes(design: Design, study: ToleranceStudy, callouts: ToleranceAllocations | None) -> bool:
    limit = design.supply.voltage_limit
    reachable = callouts is None or callouts.reachable
    if limit is None:
        return reachable
    return reachable and study.band()[1] <= design.criteria.onset_fraction_of_supply * limit


def _write(
    design: Design,
    study: ToleranceStudy,
    callouts: ToleranceAllocations | None,
    results: str,
    folder: Path,
) -> None:
    from conegap.solver.common.writing import new_files
    from conegap.solver.figures.report_figures import charted, png_of, svg_of
    from conegap.solver.figures.tolerance import chart_tornado, tornado_size
    from conegap.solver.studies.tolerance_tables import callout_csv

    figure = charted(lambda axes: chart_tornado(axes, study, design), tornado_size(study))
    places = [folder / name for name in (_JSON, _CSV, _SVG, _PNG)]
    with new_files(places, may_replace=lambda place: True) as content:
        content.append(results)
        content.append(callout_csv(study, callouts))
        content.append(svg_of(figure, title="tornado of the tolerances"))
        content.append(png_of(figure))


def _signed(value: float) -> str:
    return f"{100.0 * value:+.2f} %"


def _curvature(line: Share) -> str:
    if line.name in ("mesh", "surroundings", "surface_tension"):
        return ""
    return f"{line.curvature:+.1e}" if line.curvature else "below noise"


def _print(design: Design, study: ToleranceStudy, callouts: ToleranceAllocations | None) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import percent, voltage_text

    out = console()
    nominal = study.nominal
    low, high = study.band()
    heading = " ".join(p for p in (design.title, design.drawing.number) if p) or design.source
    rows = [
        ("onset as drawn", f"{voltage_text(nominal.voltage)}, {nominal.mode}"),
        ("band, 5 % to 95 %", f"{voltage_text(low)} to {voltage_text(high)}"),
        ("half width over onset", percent(study.half_width)),
        (
            "response surface's error on solves held out",
            f"{study.response_surface.held_out_error:.1e} of the onset, "
            f"{study.response_surface.solves} solves",
        ),
    ]
    limit, share = design.supply.voltage_limit, design.criteria.onset_fraction_of_supply
    if limit is not None:
        words = f"chance to exceed {voltage_text(share * limit)}, {share:g} of the supply"
        rows.append((words, _chance(study, share * limit)))
    words = f"chance to exceed the design's {voltage_text(design.voltage)}"
    rows.append((words, _chance(study, design.voltage)))
    out.print(plain_table((), rows, heading))
    out.print()
    ranking = [
        (
            line.label,
            _signed(line.low),
            _signed(line.high),
            _curvature(line),
            percent(line.share) if line.share >= 1e-3 else "below 0.1 %",
        )
        for line in study.shares
    ]
    heads = ("contribution", "at lower end", "at upper end", "curvature", "share")
    out.print(plain_table(heads, ranking))
    out.print()
    if callouts is not None:
        _print_callouts(callouts, out)
    if nominal.ratio_to_rigid != 1.0:
        out.print(
            "Every changed design's turning point was solved, unless a warning names it.",
            soft_wrap=True,
        )


def _chance(study: ToleranceStudy, voltage: float) -> str:
    """A probability with its resolution."""
    value = study.chance_above(voltage)
    if value < 10.0 / study.samples:
        return f"below {1000.0 / study.samples:.1g} %"
    return f"{100.0 * value:.2g} %" if value < 0.995 else "above 99 %"


def _print_callouts(callouts: ToleranceAllocations, out: Console) -> None:
    from conegap.solver.commands.terminal import plain_table
    from conegap.solver.common.display_units import voltage_text

    table = [
        (
            row.dimension.label,
            row.dimension.text,
            f"± {row.dimension.tolerance_text}",
            f"± {row.needed_text}" if row.needed is not None else row.needed_text,
            row.verdict,
        )
        for row in callouts.rows
    ]
    heads = ("callout", "value", "drawn", "needed", "verdict")
    state = "fits as drawn" if callouts.fits_as_drawn else "does not fit as drawn"
    out.print(plain_table(heads, table, f"wanted: {callouts.target.words}; {state}"))
    low, high = (voltage_text(v) for v in callouts.band)
    if callouts.reachable:
        out.print(f"with the needed tolerances the band is {low} to {high}", soft_wrap=True)
    else:
        out.print(
            f"No tolerance makes the band fit: with perfect dimensions it is {low} to {high}. "
            "Change the drawing, or know the surface tension better.",
            soft_wrap=True,
        )
    out.print()
