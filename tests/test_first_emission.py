"""The lowest of all instabilities is the headline, everywhere."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reporting import assessed_needle, with_meniscus

from conegap.solver.arrays.first_emission import ENDS, FirstEmission, burning_rows, first_emission
from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import voltage_text
from conegap.solver.field3d.slit_end import EndPoint, SlitEnd
from conegap.solver.report.blocks import Figures
from conegap.solver.report.first_sheet import first_sheet
from conegap.solver.report.parts import report_parts
from conegap.solver.report.summary import summary
from conegap.solver.studies.budget import Budget, Contribution
from conegap.solver.studies.onset import TILT, WAVES, Onset

PLACE = "contact line as drawn"
BUDGET = Budget(
    (
        Contribution("emitter.tip_radius", "", 0.03, 0.04, ""),
        Contribution("accelerator.gap", "", 0.02, 0.015, ""),
    )
)


def onset_with(**meniscus: Any) -> Onset:
    """The made-up free surface that turns at 4 kV, with other modes."""
    onset = with_meniscus().onset
    assert onset.meniscus is not None
    return replace(onset, meniscus=replace(onset.meniscus, **meniscus))


def end_of(factor: float, error: float) -> SlitEnd:
    none = np.zeros(2)
    return SlitEnd(none, none, factor, error, 0.0, 2e-4, (), (), (), 0.0, 0)


def tilted() -> Assessment:
    """An assessment whose surface tilts before it turns."""
    return replace(with_meniscus(), onset=onset_with(tilt_voltage=3.9e3))


def test_a_tilt_before_the_turning_point_is_the_headline() -> None:
    """EXACT: 3.9 kV before 4 kV; both in the list, with the same relative band."""
    onset = onset_with(tilt_voltage=3.9e3)
    assert (onset.mode, onset.voltage) == (TILT, 3.9e3)
    found = first_emission(onset, BUDGET, None, None)
    assert [(one.mode, one.voltage) for one in found.instabilities] == [
        (TILT, 3.9e3),
        ("turning point", 4e3),
    ]
    down, up = 2.0 * math.hypot(0.03, 0.02), 2.0 * math.hypot(0.04, 0.015)
    assert_allclose([found.first.low, found.first.high], [3.9e3 * (1 - down), 3.9e3 * (1 + up)])
    assert found.all_burning == 3.9e3
    assert "tilt to one side" in onset.remark
    assert "0.9750" in onset.remark


def test_a_tilt_or_wave_after_the_turning_point_is_none() -> None:
    """EXACT: beyond the turning point there is no surface left to tilt."""
    onset = onset_with(tilt_voltage=4.1e3)
    assert onset.modes == (("turning point", 4e3),)
    assert onset.remark == ""


def test_the_ends_of_a_slit_come_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: 5.91 kV over 1.58 at the ends, then waves from 5.80 kV, then the turning point."""
    onset = onset_with(voltage=5.91e3)
    monkeypatch.setattr(type(onset.meniscus), "wave_voltage", 5.80e3)
    found = first_emission(onset, BUDGET, None, end_of(1.58, 0.079))
    assert [one.place for one in found.instabilities] == [ENDS, PLACE, PLACE]
    assert_allclose([one.voltage for one in found.instabilities], [5.91e3 / 1.58, 5.80e3, 5.91e3])
    assert [one.mode for one in found.instabilities][1:] == [WAVES, "turning point"]
    down = math.hypot(BUDGET.down, 2.0 / math.sqrt(3.0) * 0.05)
    assert_allclose(found.first.low, 5.91e3 / 1.58 * (1.0 - down))
    assert found.all_burning == 5.80e3
    (row,) = burning_rows(onset.design, found, None)
    assert (row.value, row.limit) == (5.80e3, onset.design.voltage)
    # The middle has a band as well: below the voltage of the design by less than that, it may
    # still be dark there.
    assert row.passed is False
    between = onset.design.with_value("voltages.emitter", onset.design.voltages.accelerator + 5.9e3)
    (row,) = burning_rows(between, found, None)
    assert row.span is not None
    assert_allclose(row.span, BUDGET.band(5.80e3))
    assert row.passed is None
    assert found.first.high < found.highest == row.span[1]
    calm = first_emission(onset, BUDGET, None, end_of(0.98, 0.0))
    assert [one.mode for one in calm.instabilities] == [WAVES, "turning point"]
    assert burning_rows(onset.design, calm, None) == ()


def test_the_band_of_an_assumed_end_holds_half_and_twice_its_radius() -> None:
    """EXACT: factors 1.25 and 1.1 either side of 1.2 shift the onset by -0.04 and +0.0909, each
    rectangular, beside the budget."""
    points = (EndPoint(1e-4, 1.25), EndPoint(2e-4, 1.2), EndPoint(4e-4, 1.1))
    end = replace(end_of(1.2, 0.0), assumed=True, over_radius=points)
    first = first_emission(onset_with(), BUDGET, None, end).first
    assert_allclose(first.voltage, 4e3 / 1.2)
    down = math.hypot(BUDGET.down, 2.0 / math.sqrt(3.0) * 0.04)
    up = math.hypot(BUDGET.up, 2.0 / math.sqrt(3.0) * (1.2 / 1.1 - 1.0))
    assert_allclose([first.low, first.high], [4e3 / 1.2 * (1.0 - down), 4e3 / 1.2 * (1.0 + up)])


def test_the_first_tip_of_a_crown_and_the_last_one() -> None:
    """EXACT: the sampled first tip with the budget's band without the tip radius, which is in the
    samples already; every tip emits from the 95 % of the last."""
    onset = onset_with()
    firing = SimpleNamespace(first=(3.4e3, 3.5e3, 3.6e3), last=(4.0e3, 4.2e3, 4.5e3))
    sector: Any = SimpleNamespace(
        onset=SimpleNamespace(tips=(1,)),
        tip_voltages=lambda: (("tip", 12, 1.0, 4e3),),
        firing=firing,
    )
    found = first_emission(onset, BUDGET, sector, None)
    assert found.first.place.startswith("first tip")
    assert found.first.voltage == 3.5e3
    assert_allclose(found.first.low, 3.5e3 * (1.0 - math.hypot(1.0 / 35.0, 0.04)))
    assert_allclose(found.first.high, 3.5e3 * (1.0 + math.hypot(1.0 / 35.0, 0.03)))
    assert found.all_burning == 4.5e3


def test_terminal_sheet_and_results_have_one_headline() -> None:
    """INVARIANT: the lowest instability in the verdict, the facts, the table and results.json."""
    assessment = tilted()
    first = assessment.emission.first
    answer, sheet = summary(assessment), first_sheet(assessment)
    assert sheet.verdict == answer.verdict
    assert f"start emitting at {voltage_text(3.9e3)}" in sheet.verdict[0]
    assert TILT in sheet.verdict[0]
    assert answer.facts[0][1] == voltage_text(3.9e3)
    assert answer.emission.rows[0][:3] == (PLACE, TILT, voltage_text(3.9e3))
    part = next(part for part in report_parts(assessment) if part.key == "uncertainty")
    shown = [name for block in part.blocks if isinstance(block, Figures) for name in block.names]
    assert "first_emission" in shown
    results = assessment.as_dict()["onset"]
    assert results["first_emission"] == first.as_dict()
    assert results["first_emission"]["voltage_V"] == 3.9e3
    assert [one["mode"] for one in results["instabilities"]] == [TILT, "turning point"]
    assert results["all_burning_V"] == 3.9e3


def test_a_rigid_surface_has_one_instability() -> None:
    """EXACT: the balance of the drawn edge, with the budget's own band."""
    assessment = assessed_needle()
    found: FirstEmission = assessment.emission
    (one,) = found.instabilities
    assert (one.voltage, one.mode) == (assessment.onset.rigid.voltage, "rigid surface")
    assert (one.low, one.high) == assessment.budget.band(one.voltage)
