"""The slow rows of the validation table, in a file of their own: two processes share the table."""

from __future__ import annotations

import pytest
from test_validation import check

from conegap.validation.cases.row import Case
from conegap.validation.cases.table import all_cases, run_case


@pytest.mark.slow
@pytest.mark.parametrize("case", [c for c in all_cases() if c.slow], ids=lambda case: case.name)
def test_every_slow_row_of_the_table_passes(case: Case) -> None:
    """EXACT, TABLE, RATE: each slow row of ``conegap validate``, live; the row names its source."""
    check(run_case(case))
