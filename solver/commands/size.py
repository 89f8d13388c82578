"""``conegap size``: the dimensions that give a wanted first emission and pass the review."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from rich.console import RenderableType

    from conegap.solver.assessment import Assessment
    from conegap.solver.sizing.search import Sizing
    from conegap.solver.sizing.trade import Trade

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

# Bytes free on the disk that the results may need.
_ROOM = 2_000_000

SUMMARY = "find the dimensions that give a wanted first emission and pass the review"
EXAMPLES = """\
examples:
  conegap size needle --wanted first_emission="3.2 kV" --free accelerator.gap="0.5 mm".."2 mm"
  conegap size my.toml --wanted first_emission="3 kV".."3.4 kV" --criterion rigid \\
                       --free emitter.tip_radius="2 um".."8 um" \\
                       --free accelerator.gap="0.5 mm".."2 mm" --to sized
  conegap size needle --wanted "first_emission<=3.4 kV" --criterion rigid \\
                      --free accelerator.diameter="1.8 mm".."3 mm" \\
                      --goal first_emission=least --goal beam_half_width=least

Wanted are first_emission, first_emission_low or first_emission_high (ends of the band, k = 2), as
KEY=VOLTAGE, KEY=FROM..TO, or in quotation marks "KEY<=VOLTAGE", "KEY>=VOLTAGE".  One to three
quantities may be free.  Criteria that the drawn design passes must be passed, the others must not
fail.  The folder holds design.toml, solved anew, and results.json; where demands contradict each
other they are named, no design is written and the exit code is 1.  With two goals, what one costs
of the other is printed and drawn as trade.svg and trade.png.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument(
        "--wanted",
        metavar="KEY=VOLTAGE",
        action="append",
        required=True,
        help="what the first emission shall be; may be given more than once",
    )
    parser.add_argument(
        "--free",
        metavar="KEY=FROM..TO",
        action="append",
        required=True,
        help="quantity that may be changed, and its range; up to three times",
    )
    parser.add_argument(
        "--proved", action="store_true", help="every criterion must be passed, none left open"
    )
    parser.add_argument(
        "--margin",
        metavar="SHARE",
        default="2 %",
        help="what criteria keep to their limits where the free quantities move them, or the drawn "
        "design's own where that is less (default: 2 %%)",
    )
    parser.add_argument(
        "--goal",
        metavar="KEY=least|most",
        action="append",
        default=[],
        help="give it twice for the trade-off of two goals among the designs that meet everything: "
        "first_emission, first_emission_low, first_emission_high, thrust, beam_half_width",
    )
    add_criterion(parser)
    parser.add_argument(
        "--to", metavar="FOLDER", help="folder to write (default: conegap-size-NAME)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the tables"
    )
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.solver.assessment import assess
    from conegap.solver.commands.draw import design_name
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import MARKER, file_system_refusals, json_text, new_folder
    from conegap.solver.sizing.request import check_free, free_of, share_of, wanted_of
    from conegap.solver.sizing.search import size, solver_of
    from conegap.solver.sizing.trade import goals_of, trade_off
    from conegap.solver.studies.design_copy import source_files, source_text, with_found_values

    talk = Messages.of(arguments)
    target = Path(arguments.to or f"conegap-size-{design_name(arguments.design)}")
    design = Design.read(arguments.design)
    free = tuple(free_of(design, text) for text in arguments.free)
    check_free(free)
    goals = goals_of(arguments.goal)
    margin = share_of(arguments.margin)
    wanted = tuple(wanted_of(text) for text in arguments.wanted)
    beside = source_files(arguments.design)
    text = source_text(arguments.design)
    # Refused before anything is solved where the file could not be written.
    drawn = [(one.key, one.text(one.dimension.value)) for one in free]
    with_found_values(text, drawn, name="design.toml", folder=beside)
    fresh = trade = None
    with new_folder(target, room=_ROOM) as folder:
        with talk.progress() as progress:
            found = size(
                design,
                free,
                wanted,
                criterion=arguments.criterion,
                margin=margin,
                proved=arguments.proved,
                progress=progress,
            )
            if found.met:
                texts = [(f.key, f.text(v)) for f, v in zip(free, found.values, strict=True)]
                copy = with_found_values(text, texts, name="design.toml", folder=beside)
                fresh = assess(
                    Design.from_text(copy, "design.toml", beside),
                    scans=False,
                    criterion=arguments.criterion,
                    progress=progress,
                )
                if goals is not None:
                    solve = solver_of(design, criterion=arguments.criterion, progress=progress)
                    trade = trade_off(found, goals, solve)
                with file_system_refusals(target):
                    if trade is not None:
                        _draw(trade, found, folder)
                    (folder / "design.toml").write_text(copy, encoding="utf-8")
        results = _results(design.sha256, found, fresh, trade)
        with file_system_refusals(target):
            (folder / MARKER).write_text(json_text(results), encoding="utf-8")
    if arguments.json:
        sys.stdout.write(json_text(results))
    elif not arguments.quiet:
        _print(found, fresh)
        if trade is not None:
            _print_trade(trade, found)
    talk.remark(f"written: {target}")
    return 0 if fresh is not None and not fresh.failed else 1


def _draw(trade: Trade, found: Sizing, folder: Path) -> None:
    from conegap.solver.figures.picture import charted, png_of, svg_of
    from conegap.solver.figures.trade import chart_trade

    figure = charted(lambda axes: chart_trade(axes, trade, found), (4.6, 3.6))
    (folder / "trade.svg").write_text(svg_of(figure, title="trade-off"), encoding="utf-8")
    (folder / "trade.png").write_bytes(png_of(figure))


def _results(
    digest: str, found: Sizing, fresh: Assessment | None, trade: Trade | None
) -> dict[str, Any]:
    from importlib.metadata import version

    from conegap.solver.sizing.demands import margin_of
    from conegap.solver.sizing.sensitivities import sensitivities

    first = None if fresh is None else fresh.emission.first
    return {
        "conegap_version": version("conegap"),
        "design_sha256": digest,
        "met": found.met,
        "found": [
            {"key": one.key, "si_unit": one.dimension.kind.si, "value": value}
            for one, value in zip(found.free, found.values, strict=True)
        ]
        if found.met
        else [],
        "predicted_V": found.predicted if found.met else None,
        "first_emission_V": None if first is None else first.voltage,
        "first_emission_low_V": None if first is None else first.low,
        "first_emission_high_V": None if first is None else first.high,
        "active": list(found.active),
        "sensitivities": [asdict(one) for one in sensitivities(found)] if found.met else [],
        "conflicts": [asdict(one) for one in found.conflicts],
        "solves": found.solves,
        "trade_off": None if trade is None else asdict(trade),
        "review": []
        if fresh is None
        else [{**row.as_dict(), "margin": margin_of(row)} for row in fresh.review],
    }


def _print(found: Sizing, fresh: Assessment | None) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import percent, voltage_text
    from conegap.solver.report.tables import review_table
    from conegap.solver.sizing.demands import margin_of

    out = console()
    if fresh is None:
        alone = len(found.conflicts) == 1
        said = "this demand can be met nowhere" if alone else "these demands cannot hold together"
        out.print(f"Within the ranges {said}:", soft_wrap=True)
        rows = [(one.name, f"{one.missing:.1%}") for one in found.conflicts]
        by = "fails at best by" if alone else "fails at best, the others holding, by"
        out.print(plain_table(("demand", by), rows))
        for one in found.conflicts:
            if one.remark:
                out.print(f"{one.name}: {one.remark}", soft_wrap=True)
        return
    first = fresh.emission.first
    sizes = [
        (one.key, one.dimension.text, one.text(value))
        for one, value in zip(found.free, found.values, strict=True)
    ]
    out.print(plain_table(("quantity", "as drawn", "found"), sizes))
    out.print()
    facts = [
        ("first emission, solved anew", voltage_text(first.voltage)),
        ("band (k = 2, about 95 %)", f"{voltage_text(first.low)} to {voltage_text(first.high)}"),
        ("from the surface predicted as", voltage_text(found.predicted)),
        ("the surface was off by", percent(abs(found.predicted / first.voltage - 1.0))),
        ("held where it is by", "; ".join(found.active) or "its smallest margin alone"),
        ("solves of the whole answer", str(found.solves)),
    ]
    out.print(plain_table((), facts))
    out.print()
    review = [
        (*row[:4], "" if (room := margin_of(one)) is None else f"{room:.1%}")
        for row, one in zip(review_table(fresh).rows, fresh.review, strict=True)
    ]
    out.print(plain_table(("gap review", "value", "limit", "result", "margin"), review))
    out.print()
    out.print(_slopes(found))


def _print_trade(trade: Trade, found: Sizing) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import percent
    from conegap.solver.report.tables import unit_value

    rows = [
        (
            *(unit_value(g.unit, v) for g, v in zip(trade.goals, one.goals, strict=True)),
            *(f.text(v) for f, v in zip(found.free, one.values, strict=True)),
        )
        for one in trade.curve[:: max(len(trade.curve) // 8, 1)]
    ]
    heads = (*(one.words for one in trade.goals), *(one.key for one in found.free))
    out = console()
    out.print()
    out.print(plain_table(heads, rows))
    if len(trade.curve) == 1:
        out.print("One design is best for both goals: there is nothing to trade.")
    out.print(
        "Between its ends, which are solved, the trade-off is read off the surfaces; at the ends "
        f"these were off by {percent(trade.off)} at most.",
        soft_wrap=True,
    )


def _signed(unit: str, value: float) -> str:
    """A change with its sign; "below 1 pA" carries none."""
    from conegap.solver.report.tables import unit_value

    text = unit_value(unit, abs(value))
    if not text[:1].isdigit():
        return text
    return f"\N{MINUS SIGN}{text}" if value < 0.0 else f"+{text}"


def _slopes(found: Sizing) -> RenderableType:
    """What changes with each free quantity, by one unit of the design file."""
    from conegap.solver.commands.terminal import plain_table
    from conegap.solver.common.display_units import axis_unit
    from conegap.solver.sizing.sensitivities import sensitivities

    units = [axis_unit(one.dimension.kind, 0.0, one.dimension.unit) for one in found.free]
    rows = []
    for one in sensitivities(found):
        steps = [slope * unit.size for slope, unit in zip(one.slopes, units, strict=True)]
        rows.append((one.name, *(_signed(one.unit, step) for step in steps)))
    heads = [f"per {unit.name} of {one.key}" for one, unit in zip(found.free, units, strict=True)]
    return plain_table(("at the answer changes", *heads), rows)
