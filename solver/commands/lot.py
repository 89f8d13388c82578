"""``conegap lot``: measured articles of one design, from a CSV file."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from conegap.solver.commands.criterion_option import add_criterion

if TYPE_CHECKING:
    from rich.console import Console

    from conegap.geometries.design.design import Design
    from conegap.solver.lots.lot import Lot
    from conegap.solver.lots.shared_parameter import SharedParameter
    from conegap.solver.lots.supplies import Choice

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "assess a lot of measured articles: spread, outliers, the article for each supply"
EXAMPLES = """\
examples:
  conegap lot needle needles.csv                       writes conegap-lot-needles
  conegap lot my.toml lot.csv --supply "8 kV" --supply "6 kV"   the article for each supply
  conegap lot my.toml lot.csv --hidden liquid.film_thickness    fit what all of them share
  conegap lot my.toml lot.csv --arrow                  also lot.arrow, for data frames

The header of the CSV file names keys of the design file with their units, such as
  article, emitter.tip_radius [um], emitter.tip_radius.uncertainty [um], measured_onset [kV]
and every line is an article; what is empty is as drawn.  With a measured onset of three articles
or more, --hidden fits one parameter that all share: 'surface_tension', or a key that was not
measured.  After an interrupt the same command goes on where it stopped.  Exit code 1: a supply gets
no article.
"""

_JSON, _CSV, _SVG, _PNG, _ARROW = "lot.json", "lot.csv", "lot.svg", "lot.png", "lot.arrow"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("design", metavar="DESIGN", help="design file, or a shipped example's name")
    parser.add_argument("articles", metavar="CSV", help="one line an article")
    parser.add_argument(
        "--supply",
        metavar="VOLTAGE",
        action="append",
        default=[],
        help="limit of a supply that needs an article; give it once for each (default: that of "
        "the design)",
    )
    parser.add_argument(
        "--hidden", metavar="KEY", help="fit this to all measured onsets: a key, or surface_tension"
    )
    add_criterion(parser)
    parser.add_argument("--arrow", action="store_true", help="write lot.arrow too (needs pyarrow)")
    parser.add_argument("--to", metavar="FOLDER", help="folder to write (default: conegap-lot-CSV)")
    parser.add_argument(
        "--json", action="store_true", help="print the results as JSON in place of the tables"
    )
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from conegap.geometries.design.design import Design
    from conegap.solver.commands.terminal import Messages
    from conegap.solver.common.writing import json_text
    from conegap.solver.lots.lot import solve_lot
    from conegap.solver.lots.lot_file import read_lot
    from conegap.solver.lots.lot_tables import lot_results
    from conegap.solver.lots.shared_parameter import shared_parameter
    from conegap.solver.lots.supplies import articles_for_supplies
    from conegap.solver.studies.solve_cache import resumable_folder

    talk = Messages.of(arguments)
    place = Path(arguments.articles)
    target = Path(arguments.to or f"conegap-lot-{place.stem or 'articles'}")
    design = Design.read(arguments.design)
    table = read_lot(_table_text(place), place.name, design)
    limits = _limits(arguments.supply, design)
    if arguments.arrow:
        _needs_arrow()
    if arguments.hidden is not None and arguments.hidden != "surface_tension":
        design.dimension(arguments.hidden)
    with resumable_folder(target, (_JSON, _CSV, _SVG, _PNG, _ARROW)) as (folder, kept):
        if kept.rows:
            talk.remark(f"{len(kept.rows)} solves of an earlier run are reused where they fit")
        try:
            with talk.progress() as progress:
                lot = solve_lot(
                    design, table, criterion=arguments.criterion, kept=kept, progress=progress
                )
                shared = None
                if arguments.hidden is not None:
                    shared = shared_parameter(lot, arguments.hidden)
        except KeyboardInterrupt:
            if kept.rows:
                talk.remark(f"{len(kept.rows)} solves are kept in {target}; run the same again")
            raise
        choices = articles_for_supplies(lot, limits)
        results = lot_results(lot, choices, shared)
        _write(lot, choices, json_text(results), folder, arrow=arguments.arrow)
    for warning in lot.warnings:
        talk.remark(f"warning: {warning}")
    if arguments.json:
        sys.stdout.write(json_text(results))
    elif not arguments.quiet:
        _print(lot, choices, shared)
    talk.remark(f"written: {target}")
    return 0 if all(one.article for one in choices) else 1


def _table_text(place: Path) -> str:
    """Text of the table, or of a shipped one by its name."""
    from conegap.geometries.quantities.files import examples_folder, is_file, text_of

    shipped = examples_folder().joinpath(place.name)
    if not is_file(place) and place.name == str(place) and is_file(shipped):
        return shipped.read_text(encoding="utf-8")
    return text_of(place)


def _limits(given: Sequence[str], design: Design) -> list[float]:
    """Limits of the supplies: those of the command line, or that of the design."""
    from conegap.geometries.quantities.errors import DesignError
    from conegap.geometries.quantities.quantity import VOLTAGE, QuantityError, read_quantity

    found = []
    for text in given:
        try:
            value = read_quantity(text, VOLTAGE).value
        except QuantityError as problem:
            raise DesignError(f"--supply {text}: {problem}") from problem
        if not value > 0.0:
            raise DesignError(f"--supply {text}: the limit of a supply is above 0 V")
        found.append(value)
    if not given and design.supply.voltage_limit is not None:
        found.append(design.supply.voltage_limit)
    return found


def _needs_arrow() -> None:
    from conegap.geometries.quantities.errors import DesignError
    from conegap.geometries.quantities.notebook import optional_library

    try:
        optional_library("pyarrow.feather", "--arrow")
    except ImportError as problem:
        raise DesignError(str(problem)) from problem


def _write(lot: Lot, choices: Sequence[Choice], results: str, folder: Path, *, arrow: bool) -> None:
    from conegap.solver.common.writing import new_files
    from conegap.solver.figures.lot import chart_lot, lot_height
    from conegap.solver.figures.report_figures import charted, png_of, svg_of
    from conegap.solver.lots.lot_tables import lot_csv

    figure = charted(lambda axes: chart_lot(axes, lot, choices), (4.8, lot_height(lot)))
    names = (_JSON, _CSV, _SVG, _PNG, *((_ARROW,) if arrow else ()))
    with new_files([folder / name for name in names], may_replace=lambda place: True) as content:
        content.append(results)
        content.append(lot_csv(lot))
        content.append(svg_of(figure, title="onset of every article"))
        content.append(png_of(figure))
        if arrow:
            content.append(_arrow_bytes(lot))


def _arrow_bytes(lot: Lot) -> bytes:
    """The table as an Arrow file (IPC)."""
    import io

    from conegap.geometries.quantities.notebook import optional_library

    stream = io.BytesIO()
    optional_library("pyarrow.feather", "--arrow").write_feather(
        lot.to_arrow(), stream, compression="uncompressed"
    )
    return stream.getvalue()


def _print(lot: Lot, choices: Sequence[Choice], shared: SharedParameter | None) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.common.display_units import percent, voltage_text
    from conegap.solver.lots.spread import correlations, outliers, spread

    out = console()
    heads = ["article", *(d.key for d in lot.table.dimensions), "onset", "band (k = 2)"]
    measured = any(one.measured is not None for one in lot.table.articles)
    rows = []
    for one in lot.results:
        cells = [one.article.name, *(_value(one.article.value(d.key), lot, d.key)
                                     for d in lot.table.dimensions)]  # fmt: skip
        if one.refusal:
            cells += ["none", ""]
        else:
            cells += [
                voltage_text(one.voltage),
                f"{voltage_text(one.low)} to {voltage_text(one.high)}",
            ]
        if measured:
            value = one.article.measured
            cells.append("" if value is None else voltage_text(value))
        rows.append(cells)
    heads += ["measured"] if measured else []
    out.print(plain_table(heads, rows, f"{lot.design.title or lot.design.source}: {lot.mode}"))
    for one in lot.results:
        if one.refusal:
            out.print(f"{one.article.name} has no onset: {one.refusal}", soft_wrap=True)
        elif one.remark:
            out.print(f"{one.article.name}: {one.remark}", soft_wrap=True)
    found = spread(lot)
    out.print()
    facts = [
        ("onset as drawn", voltage_text(lot.drawn)),
        ("mean of the articles", voltage_text(found.mean)),
        ("standard deviation", f"{voltage_text(found.deviation)}, "
         f"{percent(found.deviation / found.mean)}"),
        ("from, to", f"{voltage_text(found.low)} to {voltage_text(found.high)}"),
    ]  # fmt: skip
    out.print(plain_table((), facts, f"spread of {found.count} articles"))
    far = [
        (one.article, one.what, _value(one.value, lot, one.what), f"{one.score:+.1f}")
        for one in outliers(lot)
    ]
    if far:
        out.print()
        heads_far = ("article", "what", "value", "modified z-score")
        out.print(plain_table(heads_far, far, "far from the others"))
    related = [
        (one.key, _OF[one.onset], f"{one.value:+.2f}", f"{one.low:+.2f} to {one.high:+.2f}",
         str(one.count))
        for one in correlations(lot)
    ]  # fmt: skip
    if related:
        out.print()
        heads_related = ("dimension", "with the", "correlation", "95 % interval", "articles")
        out.print(plain_table(heads_related, related))
    if choices:
        out.print()
        rows_of_supplies = [
            (
                voltage_text(one.limit),
                voltage_text(one.allowed),
                one.article or "none fits",
                percent(one.margin) if one.article else "",
            )
            for one in choices
        ]
        heads_supply = ("supply", "highest onset allowed", "article", "margin")
        out.print(plain_table(heads_supply, rows_of_supplies))
    if shared is not None:
        out.print()
        _print_shared(out, lot, shared)


_OF = {"onset_voltage_V": "computed onset", "measured_onset_V": "measured onset"}


def _value(value: float | None, lot: Lot, key: str) -> str:
    """A value in the unit of the design file."""
    from conegap.geometries.quantities.quantity import as_text
    from conegap.solver.common.display_units import voltage_text

    if value is None:
        return "as drawn"
    if key in _OF:
        return voltage_text(value)
    dimension = lot.design.dimension(key)
    return as_text(float(f"{value:.4g}"), dimension.kind, dimension.unit)


def _print_shared(out: Console, lot: Lot, shared: SharedParameter) -> None:
    from conegap.solver.commands.terminal import plain_table
    from conegap.solver.common.display_units import percent, voltage_text

    def words(value: float) -> str:
        if shared.key == "surface_tension":
            return f"{1e3 * value:.4g} mN/m"
        return _value(value, lot, shared.key)

    facts = [
        ("as drawn", words(shared.drawn)),
        ("fits the measured onsets best", words(shared.value)),
        ("interval (k = 2, about 95 %)", f"{words(shared.low)} to {words(shared.high)}"),
        ("scatter that is left", percent(shared.scatter)),
        ("scatter of the stated readings", percent(shared.reading)),
        ("common to all, standard uncertainty", percent(shared.common)),
        ("d ln V / d ln of it", f"{shared.slope:.3f}"),
    ]
    out.print(plain_table((), facts, f"shared by all articles: {shared.key}"))
    rows = [
        (one.article, voltage_text(one.measured), voltage_text(one.computed),
         f"{100.0 * one.relative:+.2f} %")
        for one in shared.residuals
    ]  # fmt: skip
    out.print(plain_table(("article", "measured", "computed with it", "residual"), rows))
    out.print(
        "What was not measured on the articles may explain the same onsets: the interval holds "
        "none of it.",
        soft_wrap=True,
    )
