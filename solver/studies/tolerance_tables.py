"""What a stack-up writes: numbers for scripts and the callout table as CSV."""

from __future__ import annotations

import csv
import io
from importlib.metadata import version
from typing import Any

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import axis_unit
from conegap.solver.studies.tolerance import HIGH, LOW, WORST_HELD_OUT_ERROR, ToleranceStudy
from conegap.solver.studies.tolerance_allocation import ToleranceAllocations

__all__ = ["METHOD", "callout_csv", "tolerance_results"]

METHOD = (
    "field solves at both ends of each tolerance and at corners of pairs, each on two meshes made "
    "anew and compared with the drawn design on the same two; quadratic response surface "
    "of log(onset) proved on designs held out; sampled"
)


def tolerance_results(
    design: Design, study: ToleranceStudy, callouts: ToleranceAllocations | None
) -> dict[str, Any]:
    """Everything for ``tolerance.json``, SI, one unit suffix per key."""
    low, high = study.band()
    nominal, response_surface = study.nominal, study.response_surface
    limit = design.supply.voltage_limit
    share = design.criteria.onset_fraction_of_supply
    chances: dict[str, Any] = {"above_design_voltage": study.chance_above(design.voltage)}
    if limit is not None:
        chances["supply_share_voltage_V"] = share * limit
        chances["above_supply_share"] = study.chance_above(share * limit)
        chances["above_supply_limit"] = study.chance_above(limit)
    result: dict[str, Any] = {
        "conegap_version": version("conegap"),
        "design_sha256": design.sha256,
        "title": design.title,
        "warnings": list(study.warnings),
        "method": METHOD,
        "onset": {
            "voltage_V": nominal.voltage,
            "mode": nominal.mode,
            "ratio_to_rigid": nominal.ratio_to_rigid,
            "voltage_low_V": low,
            "voltage_high_V": high,
            "low_quantile": LOW,
            "high_quantile": HIGH,
            "half_width": study.half_width,
            "chances": chances,
        },
        "samples": study.samples,
        "seed": study.seed,
        "response_surface": {
            "solves": response_surface.solves,
            "fit_error": response_surface.fit_error,
            "held_out_error": response_surface.held_out_error,
            "held_out_designs": len(response_surface.held_out),
            "allowed_error": WORST_HELD_OUT_ERROR * study.half_width,
            "mesh_noise": study.noise,
        },
        "contributions": [
            {
                "name": line.name,
                "label": line.label,
                "shift_at_low": line.low,
                "shift_at_high": line.high,
                "share_of_variance": line.share,
                "slope_per_tolerance": line.slope,
                "curvature_per_tolerance_squared": line.curvature,
                "elasticity": line.elasticity,
                "above_noise": line.resolved,
            }
            for line in study.shares
        ],
        "distributions": {
            d.key: "normal, tolerance = 2 standard deviations" if bell else "rectangular"
            for d, bell in zip(study.dimensions, study.normal, strict=True)
        },
    }
    if callouts is not None:
        result["callouts"] = {
            "target": callouts.target.words,
            "fits_as_drawn": callouts.fits_as_drawn,
            "reachable": callouts.reachable,
            "voltage_low_V": callouts.band[0],
            "voltage_high_V": callouts.band[1],
            "dimensions": [
                {
                    "key": row.dimension.key,
                    "si_unit": row.dimension.kind.si,
                    "value": row.dimension.value,
                    "drawn_tolerance": row.dimension.tolerance,
                    "needed_tolerance": row.needed,
                    "verdict": row.verdict,
                }
                for row in callouts.rows
            ],
        }
    return result


def callout_csv(study: ToleranceStudy, callouts: ToleranceAllocations | None) -> str:
    """The callout table as CSV with a row of units; lengths in the unit of each line.

    Parameters
    ----------
    callouts : ToleranceAllocations or None
        Without, the needed tolerances and verdicts stay empty.
    """
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(
        [
            *("key", "dimension", "basis", "unit", "value", "drawn_tolerance", "needed_tolerance"),
            *("verdict", "shift_at_low", "shift_at_high", "share_of_variance"),
        ]
    )
    unit_column = "in column unit"
    table.writerow(["", "", "", "", unit_column, unit_column, unit_column, "", "1", "1", "1"])
    lines = {line.name: line for line in study.shares}
    rows = {} if callouts is None else {row.dimension.key: row for row in callouts.rows}
    for d in study.dimensions:
        unit = axis_unit(d.kind, 0.0, d.unit)
        line, row = lines[d.key], rows.get(d.key)
        needed = "" if row is None or row.needed is None else f"{row.needed / unit.size:.6g}"
        table.writerow(
            [
                *(d.key, d.label, d.basis, d.unit),
                f"{(d.value - unit.offset) / unit.size:.6g}",
                f"{float(d.tolerance or 0.0) / unit.size:.6g}",
                needed,
                "" if row is None else row.verdict,
                *(f"{value:.5g}" for value in (line.low, line.high, line.share)),
            ]
        )
    return stream.getvalue()
