"""What a lot writes: numbers for scripts, and the table as CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from importlib.metadata import version
from typing import Any

from conegap.solver.common.display_units import axis_unit
from conegap.solver.lots.lot import Lot
from conegap.solver.lots.shared_parameter import SharedParameter
from conegap.solver.lots.spread import correlations, outliers, spread
from conegap.solver.lots.supplies import Choice

__all__ = ["lot_csv", "lot_results"]


def lot_results(
    lot: Lot, choices: Sequence[Choice], shared: SharedParameter | None
) -> dict[str, Any]:
    """Everything for ``lot.json``, SI, one unit suffix per key.

    Parameters
    ----------
    choices : sequence of Choice
    shared : SharedParameter or None
        None where no parameter was asked for.
    """
    found = spread(lot)
    result: dict[str, Any] = {
        "conegap_version": version("conegap"),
        "design_sha256": lot.design.sha256,
        "title": lot.design.title,
        "warnings": list(lot.warnings),
        "mode": lot.mode,
        "drawn_onset_V": lot.drawn,
        "numerical_error": lot.onset.earliest.error,
        "dimensions": [{"key": one.key, "si_unit": one.kind.si} for one in lot.table.dimensions],
        "articles": [
            {
                "article": one.article.name,
                "measured": dict(one.article.changes),
                "uncertainties": dict(one.article.uncertainties),
                "onset_voltage_V": _number(one.voltage),
                "onset_low_V": _number(one.low),
                "onset_high_V": _number(one.high),
                "measured_onset_V": one.article.measured,
                "refusal": one.refusal,
                "remark": one.remark,
            }
            for one in lot.results
        ],
        "spread": {
            "count": found.count,
            "mean_V": found.mean,
            "standard_deviation_V": found.deviation,
            "median_V": found.median,
            "lowest_V": found.low,
            "highest_V": found.high,
        },
        "outliers": [vars(one) for one in outliers(lot)],
        "correlations": [vars(one) for one in correlations(lot)],
        "supplies": [
            {
                "limit_V": one.limit,
                "allowed_V": one.allowed,
                "article": one.article or None,
                "margin": _number(one.margin),
            }
            for one in choices
        ],
    }
    if shared is not None:
        known = {one.key: one.kind.si for one in lot.design.dimensions()}
        result["shared_parameter"] = {
            "si_unit": known.get(shared.key, "N/m"),
            **{name: value for name, value in vars(shared).items() if name != "residuals"},
            "residuals": [vars(one) for one in shared.residuals],
        }
    return result


def lot_csv(lot: Lot) -> str:
    """The table as CSV: dimensions in the units of the design file, voltages in volts.

    What is computed stands behind what was measured.
    """
    units = [axis_unit(d.kind, 0.0, d.unit) for d in lot.table.dimensions]
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    heads = [f"{d.key} [{d.unit}]" for d in lot.table.dimensions]
    table.writerow(
        [
            *("article", *heads, "measured_onset [V]", "onset [V]", "onset_low [V]"),
            *("onset_high [V]", "refusal"),
        ]
    )
    for one in lot.results:
        cells = []
        for dimension, unit in zip(lot.table.dimensions, units, strict=True):
            value = one.article.value(dimension.key)
            cells.append("" if value is None else f"{(value - unit.offset) / unit.size:.9g}")
        measured = one.article.measured
        numbers = (math.nan if measured is None else measured, one.voltage, one.low, one.high)
        table.writerow(
            [
                one.article.name,
                *cells,
                *("" if math.isnan(value) else f"{value:.7g}" for value in numbers),
                one.refusal,
            ]
        )
    return stream.getvalue()


def _number(value: float) -> float | None:
    """None in place of nan, which JSON does not know."""
    return None if math.isnan(value) else value
