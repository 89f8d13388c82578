"""One onset for every command: the same number and the same error, whoever asks."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.files import example_names
from conegap.solver import assessment as assessing
from conegap.solver.studies import calibration, tolerance
from conegap.solver.studies import onset as onset_module
from conegap.solver.studies import vary as varying
from conegap.solver.studies.budget import Budget
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.radius_search import Root
from conegap.solver.studies.vary import Range, vary

SOLVED: dict[tuple[object, ...], Onset] = {}


def solved_once(design: Design, **settings: Any) -> Onset:
    """`solve_onset`, once for the same design and settings: other settings are solved anew."""
    named = {"criterion": "automatic", "accuracy": 1e-3, **settings}
    key = (design.sha256, named["criterion"], named["accuracy"])
    if key not in SOLVED:
        SOLVED[key] = solve_onset(design, **settings)
    return SOLVED[key]


def _within_the_supply(assessed: assessing.Assessment) -> None:
    """The operating point keeps to its supply, and a gap that would draw more fails by name."""
    at, supply = assessed.operation.operating, assessed.design.supply
    assert at.state != "dark"
    assert supply.current_limit is not None
    assert 0.0 < at.point.current <= supply.current_limit
    assert at.point.voltage <= at.supply_voltage <= at.set_voltage
    rows = {row.name: row for row in assessed.review}
    row = rows["current that the gap would draw against the supply"]
    assert (row.passed is True) <= (at.state == "regulated")


@pytest.mark.slow
# An array and a slit with its ends take the ways of a crown and of a slit, a minute more.
@pytest.mark.parametrize("name", sorted({*example_names()} - {"array", "slit_end"}))
def test_every_study_has_the_same_onset(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: assess, vary as drawn, calibrate and tolerate: one voltage and one error."""
    design = Design.read(name)
    for module in (onset_module, assessing, varying, calibration, tolerance):
        monkeypatch.setattr(module, "solve_onset", solved_once)
    drawn = solved_once(design)
    # Ends, scatter of tips and a larger chamber have tests of their own: made up here.
    firing = SimpleNamespace(first=(0.8 * drawn.voltage, 0.9 * drawn.voltage, drawn.voltage))
    monkeypatch.setattr(onset_module, "ends_of", lambda *_: (None, ()))
    monkeypatch.setattr(onset_module, "firing_laws", lambda *_: None)
    monkeypatch.setattr(Onset, "room_shift", 1e-3)
    monkeypatch.setattr(onset_module, "sampled_firing", lambda *_: firing)
    first = drawn.earliest.voltage
    assert first == (0.9 if name == "crown" else 1.0) * drawn.voltage

    # What assess adds to the onset is left out.
    monkeypatch.setattr(assessing, "error_budget", lambda _: Budget(()))
    sector = SimpleNamespace(
        accelerator_factor=1.0,
        firing=None,
        onset=drawn.sector,
        tip_onsets=lambda: (),
        tip_voltages=lambda: (),
        as_dict=lambda _: {},
    )
    monkeypatch.setattr(assessing, "assess_sector", lambda *_, **__: sector)
    monkeypatch.setattr(assessing, "sector_rows", lambda *_: ())
    monkeypatch.setattr(assessing, "slit_end_or_why", lambda *_, **__: (None, ()))
    monkeypatch.setattr(assessing, "_beams", lambda *_, **__: (None, ()))
    assessed = assessing.assess(design, scans=False)
    assert (assessed.onset.voltage, assessed.onset.error) == (drawn.voltage, drawn.error)
    assert assessed.as_dict()["onset"]["voltage_V"] == drawn.voltage
    _within_the_supply(assessed)
    assert assessed.as_dict()["onset"]["numerical_error"] == drawn.error

    # A drawn section has no gap to vary.
    for gap in (d for d in design.dimensions() if d.key == "accelerator.gap"):
        varied = vary(design, (Range(gap, np.array([gap.value, 1.01 * gap.value])),))
        assert_allclose(varied.voltages[0], first, rtol=1e-9, atol=0)
        assert abs(varied.voltages[1] / first - 1.0) > 1e-5
        assert varied.error == drawn.error
        assert varied.criterion == drawn.criterion

    seen = []

    def stacked(design: Design, onset: Any, nominal: Any, **_: object) -> Any:
        seen.append(nominal)
        raise _Enough

    monkeypatch.setattr(tolerance, "stack_up", stacked)
    with pytest.raises(_Enough):
        tolerance.tolerate(design)
    (nominal,) = seen
    assert (nominal.voltage, nominal.numerical_error) == (drawn.voltage, drawn.error)
    assert nominal.mode == drawn.mode

    if design.emitter.edge_radius_key is None or design.emitter.kind == "slit":
        return
    root = Root(design.dimension(design.emitter.edge_radius_key).value, 0.0, 1.0, 0.4)
    monkeypatch.setattr(calibration, "find_radius", lambda *_, **__: root)
    monkeypatch.setattr(calibration, "_alternatives", lambda *_: ())
    # The radius found is that drawn, whose surface is known.
    monkeypatch.setattr(calibration, "free_surface", lambda *_: (drawn.meniscus, ()))
    calibrated = calibration.calibrate(design, first)
    assert calibrated.drawn_onset == first
    assert calibrated.mode == drawn.earliest.mode
    known = calibration.relative_uncertainty(
        measurement=0.0, tension=0.5 * nominal.tension_gain * nominal.tension, numerical=drawn.error
    )
    assert_allclose(calibrated.relative_uncertainty, known, rtol=1e-12)


class _Enough(Exception):
    """Raised where a study has its nominal onset."""
