"""The ends of a slit in scans, tolerances and calibration, with made-up fields of the ends."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.solver.field3d.end_model import EndModel
from conegap.solver.field3d.lip_field import LipField
from conegap.solver.lots.lot import first_budget, solve_lot
from conegap.solver.lots.lot_file import read_lot
from conegap.solver.studies.calibration import calibrate
from conegap.solver.studies.end_shift import ENDS, Ends, ends_of
from conegap.solver.studies.nominal import FIRST_TIP, First
from conegap.solver.studies.onset import solve_onset
from conegap.solver.studies.tolerance import tolerate
from conegap.solver.studies.vary import range_of, vary

Solver = Callable[[Design, EndModel], tuple[LipField, Any]]


def made_up(design: Design, model: EndModel) -> tuple[LipField, Any]:
    """An end whose field over that in the middle is 1.2 sqrt(gap / 0.8 mm)."""
    share = 1.2 * math.sqrt(design.gap / 0.8e-3)
    lip = LipField(np.array([0.0, 1e-3]), np.array([1.0, share]), 1.0, 0.0, model.radius)
    return lip, SimpleNamespace(seconds=0.0, cells=0)


@pytest.fixture(autouse=True)
def _made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    def one_by_one(solve: Any, items: list[Any], **_: Any) -> list[Any]:
        return [solve(item) for item in items]

    for name in ("field3d.slit_end", "studies.end_shift"):
        monkeypatch.setattr(f"conegap.solver.{name}.solve_end", made_up)
        monkeypatch.setattr(f"conegap.solver.{name}.parallel_map", one_by_one)


@dataclass(frozen=True)
class Volts:
    """A rigid onset of which only the voltage is asked."""

    voltage: float


def ends(design: Design) -> Ends:
    found, (note,) = ends_of(design)
    assert found is not None
    assert "assumed" in note
    return found


def test_changes_of_lips_and_liquid_leave_the_ratio(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: the model has neither, so that nothing is solved and the ratio stays; the gap is in
    it, and the assumed radius stays that of the drawn design."""
    solved: list[float] = []

    def counted(design: Design, model: EndModel) -> tuple[LipField, Any]:
        solved.append(design.gap)
        assert model.slit.drawn_end == pytest.approx(1.3e-3)
        return made_up(design, model)

    found = ends(Design.read("slit"))
    monkeypatch.setattr("conegap.solver.studies.end_shift.solve_end", counted)
    same = [(("emitter.lip_radius", 4e-6),), (("liquid.temperature", 320.0),)]
    assert found.shifts(same) == [1.0, 1.0]
    assert solved == []
    wide = (("accelerator.gap", 1.2e-3),)
    wider_slot = (("accelerator.slot_width", 2.8e-3),)
    refused = (("accelerator.gap", -1.0),)
    shifts = found.shifts([same[0], wide, wide, wider_slot, refused])
    assert len(solved) == 3
    assert isinstance(shifts[4], str)
    assert_allclose([float(s) for s in shifts[:4]], [1.0, *[1.5**-0.5] * 2, 1.0])
    powers = found.powers(["accelerator.gap", "emitter.lip_radius", "emitter.land"])
    assert_allclose(list(powers.values()), [-0.5, 0.0, 0.0], atol=1e-12)
    # A dimension that is zero as drawn has no power, and no part in the shift.
    near = ((*wide, ("emitter.misalignment_half", 1e-7)), wide)
    assert_allclose(found.near_shifts(near), [1.5**-0.5] * 2)


def test_a_scan_gives_the_first_emission() -> None:
    """EXACT: the rigid onset of every gap over the factor of its ends, and the same headline as
    the onset of the drawn design."""
    slit = Design.read("slit")
    gaps = range_of(slit, 'accelerator.gap="0.8 mm".."1.2 mm":2')
    found = vary(slit, (gaps,), criterion="rigid")
    factors = 1.2 * np.sqrt(gaps.values / 0.8e-3)
    assert_allclose(found.voltages, np.array(found.middles, dtype=float) / factors)
    first = solve_onset(slit, criterion="rigid").first
    assert_allclose(found.voltages[0], first.voltage, rtol=1e-6)
    assert found.mode == first.mode
    assert first.mode.startswith(ENDS)
    point = found.as_dict()["points"][1]
    assert point["onset_voltage_V"] < point["middle_voltage_V"]


def test_a_scan_of_a_crown_gives_its_first_tip(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: with a first tip at 0.9 of the onset of a tip as drawn, every point of the scan is;
    the tip as drawn stands beside it."""
    crown = Design.read("crown")
    firing: Any = SimpleNamespace(first=(3.5e3, 3.6e3, 3.7e3))
    made: Any = SimpleNamespace(
        voltage=4e3,
        mode="rigid surface",
        meniscus=None,
        remarks=(),
        firing=firing,
        ends=(None, ()),
        earliest=First(3.6e3, FIRST_TIP, 1e-3),
        earliest_notes=("note",),
        variants=SimpleNamespace(rigid=lambda variants, *_, **__: [Volts(4e3), Volts(5e3)]),
    )
    monkeypatch.setattr("conegap.solver.studies.vary.solve_onset", lambda *_, **__: made)
    gaps = range_of(crown, 'accelerator.gap="1 mm".."2 mm":2')
    found = vary(crown, (gaps,))
    assert_allclose(found.voltages, [3.6e3, 4.5e3])
    assert found.middles == (4e3, 5e3)
    assert (found.mode, found.remarks) == (FIRST_TIP, ("note",))


def test_tolerances_scatter_the_ends() -> None:
    """EXACT: the gap moves the ends by half a power more than the middle."""
    text = starter("slit").replace('tolerance = "1 um", basis', "basis")
    for kept in ("20 um", "0.2 um", "1 deg", "3 K"):
        text = text.replace(f'tolerance = "{kept}", basis', "basis")
    design = Design.from_text(text)
    assert [d.key for d in design.dimensions() if d.tolerance] == [
        "emitter.protrusion",
        "accelerator.gap",
    ]
    study = tolerate(design, criterion="rigid", samples=1000)
    assert study.nominal.mode.startswith(ENDS)
    assert study.nominal.ratio_to_rigid == 1.0
    onset = solve_onset(design, criterion="rigid")
    (wide,) = onset.variants.shifts([(("accelerator.gap", 0.85e-3),)], "gap")
    assert not isinstance(wide, str)
    gap = next(k for k, d in enumerate(study.dimensions) if d.key == "accelerator.gap")
    deviation = np.zeros((1, 2))
    deviation[0, gap] = 1.0
    shift = float(study.response_surface(deviation)[0])
    assert_allclose(shift, math.log(wide.ratio * (0.85 / 0.8) ** -0.5), rtol=1e-2)


def test_articles_of_a_lot_emit_from_their_ends() -> None:
    """EXACT: an article as drawn has the first emission of the drawn slit, one with a wider gap
    that of its middle over the factor of its own ends; so has a dimension that all share."""
    slit = Design.read("slit")
    onset = solve_onset(slit, criterion="rigid")
    text = "article,accelerator.gap [mm],accelerator.gap.uncertainty [mm]\nA,0.8,\nB,0.84,0.01\n"
    lot = solve_lot(slit, read_lot(text, "lot.csv", slit), criterion="rigid")
    assert lot.drawn == onset.first.voltage
    assert lot.mode.startswith(ENDS)
    (wide,) = onset.variants.shifts([(("accelerator.gap", 0.84e-3),)], "gap")
    assert not isinstance(wide, str)
    ratio = wide.ratio * (0.84 / 0.8) ** -0.5
    assert_allclose(lot.voltages, onset.first.voltage * np.array([1.0, ratio]), rtol=1e-9)
    # The band: the measured gap through middle and ends, the numerical error of the ends.
    slope = math.log(ratio) / math.log(0.84 / 0.8)
    bare = solve_lot(slit, read_lot(text.replace(",0.01", ","), "lot.csv", slit), criterion="rigid")
    with_gap, without = (
        (one.results[1].high / one.results[1].voltage - 1.0) for one in (lot, bare)
    )
    added = math.sqrt(with_gap**2 - without**2) / 2.0
    assert_allclose(added, abs(slope) * 0.01 / 0.8 / 2.0, rtol=0.05)
    assert any("end radius" in line.label for line in first_budget(onset).contributions)


def test_articles_of_a_crown_emit_from_their_first_tip(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: in the ratio of the drawn crown's first tip, with its scatter in the band."""
    needle = Design.read("needle")
    onset = solve_onset(needle, criterion="rigid")
    firing: Any = SimpleNamespace(first=tuple(share * onset.voltage for share in (0.85, 0.9, 0.93)))
    monkeypatch.setitem(onset.__dict__, "firing", firing)
    monkeypatch.setattr("conegap.solver.lots.lot.solve_onset", lambda *_, **__: onset)
    text = "article,accelerator.gap [mm]\nA,1.0\nB,1.1\n"
    lot = solve_lot(needle, read_lot(text, "lot.csv", needle))
    (wide,) = onset.variants.shifts([(("accelerator.gap", 1.1e-3),)], "gap")
    assert not isinstance(wide, str)
    assert_allclose(lot.voltages, 0.9 * onset.voltage * np.array([1.0, wide.ratio]), rtol=1e-9)
    assert lot.mode.startswith(FIRST_TIP)
    names = {line.name for line in first_budget(onset).contributions}
    assert "tips" in names
    assert "emitter.tip_radius" not in names


def test_a_measured_onset_is_that_of_the_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: the drawn radius comes back from the first emission of the drawn design, where a
    radius is read from a voltage that hardly depends on it."""
    monkeypatch.setattr("conegap.solver.studies.radius_search._WEAKEST", 0.01)
    slit = Design.from_text(starter("slit"))
    first = solve_onset(slit, criterion="rigid").first
    found = calibrate(slit, first.voltage, criterion="rigid")
    assert_allclose(found.root.value, 3e-6, rtol=2e-3)
    assert found.drawn_onset == first.voltage
    assert found.measured == first.voltage
