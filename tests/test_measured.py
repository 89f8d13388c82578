"""Predictions beside published measurements: the records, the comparison and its statistics."""

from __future__ import annotations

import json
import math
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.commands.main import main
from conegap.validation.exact.drops import (
    neutral_charge_of_spheroids,
    spheroid_pole_and_equator,
    turning_of_spheroids,
)
from conegap.validation.measured.comparison import Compared, Comparison, compare
from conegap.validation.measured.predictions import PREDICTORS, Prediction
from conegap.validation.measured.record import ROOM, Measured, measured_cases, read_case

CASES = measured_cases()
STATED: dict[str, Any] = {
    "name": "a case",
    "kind": "a kind",
    "predicts": "field of a free drop",
    "source": "an author",
    "read": "abstract",
    "passage": "a passage",
}


def row(predicted: tuple[float, float, float], **measured: float) -> Compared:
    return Compared(Measured(**STATED, **measured), Prediction(*predicted))


def test_two_cases_run_and_their_statistics_follow_from_them() -> None:
    """TABLE (Taylor 1964; Kagaku Kogaku Ronbunshu 1997): drops at rest within 2 %, moving below."""
    still, moving = (one for one in CASES if one.low < 0.5 and "air" not in one.note)
    seen: list[tuple[str, int, int]] = []
    found = compare((still, moving), progress=lambda *what: seen.append(what))
    assert [what[1:] for what in seen] == [(0, 2), (1, 2), (2, 2)]
    first, second = found.rows
    # Miksis 1981, Basaran and Scriven 1989, from memory: W from 0.204 to 0.205.
    assert math.sqrt(0.204) < first.predicted.low < first.predicted.high < math.sqrt(0.205)
    assert_allclose(first.ratio, 1.0, atol=0.02)
    assert_allclose(found.median_ratio, 0.5 * (first.ratio + second.ratio), rtol=1e-14)
    assert found.share_inside == sum(one.inside for one in (first, second)) / 2.0
    numbers = found.as_dict()
    assert numbers["measured_values"] == 2
    assert numbers["limits"] == 0
    assert [case["inside"] for case in numbers["cases"]] == [first.inside, second.inside]


def test_taylors_agreement_is_stated_about_his_own_number() -> None:
    """EXACT: the interval of the first case is his criterion, solved anew, 1 % either way."""
    stated = CASES[0]
    electric_bond_number, _ = turning_of_spheroids(spheroid_pole_and_equator)
    criterion = math.sqrt(electric_bond_number)
    assert_allclose((stated.low, stated.high), (0.99 * criterion, 1.01 * criterion), rtol=2e-5)


def test_charge_at_which_a_drop_balances_is_the_one_at_which_it_may_be_drawn_out() -> None:
    """EXACT: the pull that balances the tension, and no change of energy of a spheroid."""
    charged = [one for one in CASES if one.kind == "charged drop"]
    assert len(charged) == 5
    found = PREDICTORS["charge of a drop"](charged[0])
    assert_allclose(found.value, neutral_charge_of_spheroids(), rtol=1e-4)


def test_share_and_median_leave_limits_out() -> None:
    """EXACT: intervals that meet count, limits are counted apart, whatever they say."""
    rows = (
        row((1.0, 0.9, 1.1), low=1.1, high=1.3),
        row((1.0, 0.9, 1.1), low=1.101, high=1.3),
        row((2.0, 1.9, 2.1), low=1.0, high=1.0),
        row((1.0, 0.9, 1.1), at_most=0.9),
        row((1.0, 0.9, 1.1), at_most=0.89),
    )
    found = Comparison(rows)
    assert [one.inside for one in rows] == [True, False, False, True, False]
    assert_allclose(found.share_inside, 1.0 / 3.0)
    assert_allclose(found.median_ratio, 1.2)
    assert (found.as_dict()["limits"], found.as_dict()["limits_kept"]) == (2, 1)
    nothing = Comparison(())
    assert math.isnan(nothing.share_inside)
    assert math.isnan(nothing.median_ratio)


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"low": 1.0},
        {"low": 2.0, "high": 1.0},
        {"low": 1.0, "high": 2.0, "at_most": 3.0},
        {"low": 1.0, "high": 2.0, "read": "the title"},
        {"low": 1.0, "high": 2.0, "unknown": 1.0},
    ],
)
def test_a_record_that_contradicts_itself_is_refused(wrong: dict[str, Any]) -> None:
    """INVARIANT: an interval or a limit, never both, and no key that nobody reads."""
    with pytest.raises(DesignError):
        read_case({**STATED, **wrong})


def test_every_case_says_where_it_stands_and_every_design_is_a_case() -> None:
    """INVARIANT: known predictions, sources; design files are read and none lies unused."""
    assert len({one.name for one in CASES}) == len(CASES)
    for one in CASES:
        assert one.predicts in PREDICTORS
        assert one.source
        assert one.passage
        assert bool(one.design) == (one.predicts == "voltage of a design")
    names = {place.name for place in files(ROOM).iterdir() if place.name.endswith(".toml")}
    assert names == {one.design for one in CASES if one.design} | {"cases.toml"}
    for one in CASES:
        if one.design:
            text = files(ROOM).joinpath(one.design).read_text(encoding="utf-8")
            design = Design.read(Path(str(files(ROOM).joinpath(one.design))))
            # It is drawn at the voltage at which it emitted.
            assert_allclose(design.voltage, one.at_most)
            # Every dimension says whether it was stated or assumed.
            stated = tomllib.loads(text)
            assert all(
                "basis" in value
                for section in ("emitter", "accelerator")
                for key, value in stated[section].items()
                if key not in ("kind", "contact_line")
            )


def test_the_command_writes_table_figure_and_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: files, JSON, exit code 0 although a prediction misses; --to needs --measured."""
    rows = (
        row((1.0, 0.9, 1.1), low=1.2, high=1.3),
        row((1.0, 0.9, 1.1), at_most=1.0),
    )
    monkeypatch.setattr(
        "conegap.validation.measured.comparison.compare", lambda **_: Comparison(rows)
    )
    target = tmp_path / "there"
    assert main(["validate", "--measured", "--json", "--to", str(target)]) == 0
    numbers = json.loads(capsys.readouterr().out)
    written = json.loads((target / "results.json").read_text(encoding="utf-8"))
    assert written.pop("files") == ["measured.png", "measured.svg", "results.json"]
    assert numbers == written
    assert (numbers["inside"], numbers["limits_kept"]) == (0, 1)
    assert {"measured.svg", "measured.png"} <= {place.name for place in target.iterdir()}
    assert main(["validate", "--measured", "--to", str(target)]) == 0
    out = capsys.readouterr().out
    assert "0 of 1" in out
    assert "1 of 1" in out
    assert main(["validate", "--to", str(target)]) == 2
