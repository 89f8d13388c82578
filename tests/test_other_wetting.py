"""Two states of wetting: each criterion is judged in the one that is the less favourable for it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose
from reporting import assessed_needle, with_meniscus

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.solver.liquid.meniscus_onset import OtherState
from conegap.solver.operation.gap_operation import GapOperation, gap_operation
from conegap.solver.operation.other_wetting import OtherWetting, flooding_rows, less_favourable
from conegap.solver.operation.review import review_row
from conegap.solver.report.operating import operating_facts

DRAWN = "current that the gap would draw against the supply"
STEADY = "smallest steady current over the current of a site"
DROPLETS = "current of a site over that at which droplets take over"


def _operated(stated: float, *others: OtherState, limit: float = 200e-6) -> GapOperation:
    """The assessed needle as if its surface gave way at a voltage, in other states at others."""
    found = assessed_needle()
    meniscus = with_meniscus().onset.meniscus
    assert meniscus is not None
    return gap_operation(
        found.design.with_value("supply.current_limit", limit),
        found.solution,
        found.onset.rigid,
        replace(meniscus, voltage=stated, extinction=None, others=others),
        onset=stated,
        onset_band=(0.95 * stated, 1.05 * stated),
        band=(0.95 * stated, stated, 1.05 * stated),
        accelerator=found.accelerator,
        site_spacing=None,
    )


def test_a_gap_that_is_dry_and_dark_is_judged_wetted() -> None:
    """REGRESSION: rows on the drawn current passed at 0 A in the stated, dark state, while the
    wetted one emitted.  EXACT: the wetted rows are those of a design that states that state."""
    wetted = OtherState("wetted end face", 3.4e3, "outer rim", "turning point", 5e-6)
    limit = 1e-6
    dark = _operated(7e3, wetted, limit=limit)
    assert dark.operating.state == "dark"
    rows = {row.name: row for row in dark.rows}
    plain = {row.name: row for row in _operated(7e3, limit=limit).rows}
    assert plain[DRAWN].passed
    assert STEADY not in plain
    assert rows[DRAWN].passed is False
    assert "wetted end face" in rows[DRAWN].basis
    assert {STEADY, DROPLETS} <= rows.keys()
    # The supply must still reach the greater onset, that of the dry state.
    name = "highest onset against the ramp limit"
    assert rows[name] == plain[name]
    (other,) = dark.others
    assert other.band is not None
    stated = _operated(3.4e3, limit=limit)
    for at, by_hand in zip(
        (other.band.points[0], other.band.points[2]), stated.operating_band, strict=True
    ):
        # Only the base of the cone differs, which decides the slope: here the limit decides.
        assert_allclose(at.point.current, by_hand.point.current, rtol=1e-9)
    told = dark.operation_dict()["other_wetting_states"]
    assert_allclose(told[0]["current_expected_A"], limit, rtol=1e-9)
    changed = replace(assessed_needle(), operation=dark)
    facts = dict(operating_facts(changed))
    assert "1 µA" in facts["with a wetted end face instead"]


def test_the_worse_of_two_rows_stands() -> None:
    """INVARIANT: fail before not proved before pass, and of two alike the one nearer its limit."""
    other = OtherWetting("wetted end face", 0.5, (1e3, 2e3, 3e3), None)
    spans = [(0.0, 0.5), (0.0, 0.8), (0.5, 1.5), (0.5, 2.0), (1.5, 2.0)]
    rows = [review_row("a", high, 1.0, "", "by", "do", span=(low, high)) for low, high in spans]
    for k, mine in enumerate(rows):
        for n, theirs in enumerate(rows):
            (row,) = less_favourable([mine], [other], lambda _, theirs=theirs: [theirs])
            assert row.span == spans[max(k, n)]
            assert ("wetted" in row.basis) == (n > k)
    assert [r.name for r in less_favourable([], [other], lambda _: rows[:1])] == ["a"]


def test_a_wetted_face_that_floods_fails_by_name() -> None:
    """EXACT: between what the bore's edge and what the rim holds, 2 gamma sin(psi) / a (Young and
    Laplace; Gibbs), the stated dry face stands and the wetted one floods."""
    text = starter("capillary").replace('value = "20 kPa", tolerance = "1 kPa"', 'value = "33 kPa"')
    design = Design.from_text(text)
    gamma = design.surface_tension
    turned = np.radians(np.linspace(0.0, 90.0, 20001))
    rim = np.sin(np.minimum(math.radians(40.0) + turned, math.pi / 2.0))
    holds = 2.0 * gamma * float((rim / (45e-6 + 5e-6 * np.sin(turned))).max())
    assert holds < 33e3 < 2.0 * gamma * math.sin(math.radians(40.0)) / 25e-6
    flooded = OtherWetting("wetted end face", 0.0, (0.0, 0.0, 0.0), None)
    (row,) = flooding_rows(design, flooded)
    assert row.passed is False
    assert_allclose([row.value, row.limit], [33e3, holds], rtol=1e-5)
    floods = OtherState("wetted end face", None, "", "floods without voltage", 0.0)
    assert _operated(3.4e3, floods).others[0].band is None
