"""The table that ``conegap validate`` prints: every case, run live."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

from conegap.geometries.quantities.errors import ConegapError
from conegap.validation.cases.beam import beam_cases
from conegap.validation.cases.boundary_elements import boundary_element_cases
from conegap.validation.cases.charge import charge_cases
from conegap.validation.cases.cone import cone_cases
from conegap.validation.cases.contact_line import contact_line_cases
from conegap.validation.cases.emission import emission_cases
from conegap.validation.cases.facts import fact_cases
from conegap.validation.cases.field import field_cases
from conegap.validation.cases.free_surface import liquid_surface_cases
from conegap.validation.cases.liquid import liquid_cases
from conegap.validation.cases.operation import operation_cases
from conegap.validation.cases.peers import peer_cases
from conegap.validation.cases.row import Case, Row
from conegap.validation.cases.sector import sector_cases
from conegap.validation.cases.slit_end import slit_end_cases
from conegap.validation.cases.stability import stability_cases

__all__ = ["Case", "Row", "all_cases", "run_case", "run_validation"]


def all_cases() -> list[Case]:
    """Every case, in the order of the table."""
    return [
        *field_cases(),
        *liquid_cases(),
        *liquid_surface_cases(),
        *contact_line_cases(),
        *boundary_element_cases(),
        *stability_cases(),
        *sector_cases(),
        *slit_end_cases(),
        *peer_cases(),
        *emission_cases(),
        *cone_cases(),
        *operation_cases(),
        *beam_cases(),
        *charge_cases(),
        *fact_cases(),
    ]


def run_case(case: Case) -> list[Row]:
    """Rows of one case with time and slow mark; a case that breaks gives one failing row."""
    started = time.perf_counter()
    try:
        rows = case.compute()
    except ConegapError as error:
        rows = [Row(case.name, "", "computation", math.nan, math.nan, 0.0, note=str(error))]
    seconds = time.perf_counter() - started
    return [replace(row, seconds=seconds, slow=case.slow) for row in rows]


def run_validation(
    include_slow: bool = True, progress: Callable[[str, int, int], None] | None = None
) -> list[Row]:
    """Run every case and return its rows.

    Parameters
    ----------
    include_slow : bool
        Also run the cases that take more than a few seconds.
    progress : callable (case name, cases done, cases in all) or None
        Called before each case and once at the end, with an empty name.

    Returns
    -------
    list of Row
        `Row.failed` tells whether the validation failed there; a row that could not run, for
        want of an optional package, neither passes nor fails.
    """
    cases = [case for case in all_cases() if include_slow or not case.slow]
    rows: list[Row] = []
    for done, case in enumerate(cases):
        if progress is not None:
            progress(f"checks: {case.name}", done, len(cases))
        rows += run_case(case)
    if progress is not None:
        progress("checks", len(cases), len(cases))
    return rows
