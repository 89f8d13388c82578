"""A lot of measured articles: the table, the onsets, and what is read from them."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reporting import assessed_needle, plain_design

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.commands.main import main
from conegap.solver.lots.lot import ArticleOnset, Lot, solve_lot
from conegap.solver.lots.lot_file import Article, LotTable, read_lot
from conegap.solver.lots.shared_parameter import shared_parameter
from conegap.solver.lots.spread import correlations, outlier_scores, outliers, spread
from conegap.solver.lots.supplies import articles_for_supplies
from conegap.solver.studies.solve_cache import SolveCache

HEAD = "article,emitter.tip_radius [um],accelerator.gap [mm],emitter.tip_radius.uncertainty [um]"
TABLE = f"""# an invented lot
{HEAD},measured_onset [kV],measured_uncertainty [V]
A1,4.0,1.0,0.2,,
A2,5.0,,0.2,3.5,50

"A3",,,,,
A4,4.5,1.2,,3.61,50
A5,4000,1.2,0.2,3.61,50
"""


@cache
def design() -> Design:
    return Design.from_text(plain_design(), "needle.toml")


@cache
def solved() -> tuple[Lot, SolveCache]:
    """The invented lot with a rigid surface, solved once."""
    kept = SolveCache()
    table = read_lot(TABLE, "lot.csv", design())
    return solve_lot(design(), table, criterion="rigid", kept=kept), kept


def made_up(
    voltages: list[float], radii: list[float], measured: list[float | None] | None = None
) -> Lot:
    """A lot with onsets of our own."""
    key = "emitter.tip_radius"
    articles = [
        Article(f"A{k}", ((key, radius),), measured=given)
        for k, (radius, given) in enumerate(
            zip(radii, measured or [None] * len(radii), strict=True)
        )
    ]
    results = tuple(
        ArticleOnset(a, v, 0.95 * v, 1.05 * v, "" if math.isfinite(v) else "refused on purpose")
        for a, v in zip(articles, voltages, strict=True)
    )
    onset = assessed_needle().onset
    table = LotTable((design().dimension(key),), tuple(articles))
    return Lot(design(), table, onset.voltage, onset.mode, results, (), onset)


# The table


def test_table_is_read_in_si() -> None:
    """EXACT: values by their header's units; what is empty is as drawn; comments are passed."""
    table = read_lot(TABLE, "lot.csv", design())
    assert [one.key for one in table.dimensions] == ["emitter.tip_radius", "accelerator.gap"]
    first, second, third, *_ = table.articles
    assert_allclose([v for _, v in first.changes], [4e-6, 1e-3], rtol=1e-15)
    assert_allclose([v for _, v in first.uncertainties], [0.2e-6], rtol=1e-15)
    assert first.measured is None
    assert (second.measured, second.reading) == (3500.0, 50.0)
    assert second.value("accelerator.gap") is None
    assert third == Article("A3", ())


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "no articles"),
        (f"{HEAD}\nA1,4,1,0.1\n", "1 articles"),
        ("emitter.tip_radius [um]\n4\n5\n", "article"),
        ("article\nA1\nA2\n", "dimension"),
        ("article,emitter.tip_radius\nA1,4\nA2,5\n", "emitter.tip_radius"),
        ("article,emitter.tip_radius [kg]\nA1,4\nA2,5\n", "kg"),
        ("article,emitter.bore [um]\nA1,4\nA2,5\n", "emitter.bore"),
        ("article;emitter.tip_radius [um]\nA1;4\nA2;5\n", "commas"),
        (f"article,{HEAD}\nA1,A1,4,1,0.1\n", "twice"),
        (f"{HEAD}\nA1,4 um,1,0.1\nA2,5,1,0.1\n", "4 um"),
        (f"{HEAD}\nA1,nan,1,0.1\nA2,5,1,0.1\n", "nan"),
        (f"{HEAD}\nA1,4,1,-0.1\nA2,5,1,0.1\n", "-0.1"),
        (f"{HEAD}\nA1,4,1\nA2,5,1,0.1\n", "3 cells"),
        (f"{HEAD}\n,4,1,0.1\nA2,5,1,0.1\n", "no name"),
        (f"{HEAD}\nA1,4,1,0.1\nA1,5,1,0.1\n", "A1"),
        ("article,accelerator.gap [mm],emitter.tip_radius.uncertainty [um]\nA,1,1\nB,1,1\n", "tip"),
        ("article,accelerator.gap [mm],measured_uncertainty [V]\nA,1,1\nB,1,1\n", "measured_onset"),
        ("article,accelerator.gap [mm],measured_onset [kV]\nA,1,-3\nB,1,3\n", "measured_onset"),
    ],
)
def test_a_wrong_table_is_refused(text: str, named: str) -> None:
    """INVARIANT: the file is named, and what is wrong is quoted."""
    with pytest.raises(DesignError) as caught:
        read_lot(text, "lot.csv", design())
    assert "lot.csv" in str(caught.value) or "emitter.bore" in str(caught.value)
    assert named in str(caught.value)


# The onsets


def test_an_article_is_the_design_with_its_values() -> None:
    """EXACT: one with nothing measured, and one that measures as drawn, have the drawn onset; the
    others that of `with_values` to the error of two meshes; one that cannot be built has none."""
    lot, _ = solved()
    found = {one.article.name: one for one in lot.results}
    assert_allclose(found["A3"].voltage, lot.drawn, rtol=1e-9, atol=0)
    assert_allclose(found["A1"].voltage, lot.drawn, rtol=1e-9, atol=0)
    alone = solve_lot(design(), LotTable(lot.table.dimensions, lot.table.articles[3:4]),
                      criterion="rigid")  # fmt: skip
    assert_allclose(alone.results[0].voltage, found["A4"].voltage, rtol=1e-9, atol=0)
    assert found["A4"].voltage > found["A1"].voltage
    assert math.isnan(found["A5"].voltage)
    assert "emitter" in found["A5"].refusal
    assert np.isnan(lot.column("accelerator.gap")).tolist() == [False, True, True, False, False]


def test_band_holds_the_measurement_in_place_of_the_tolerance() -> None:
    """EXACT: the design has no tolerances, so an article's band is that of the design where nothing
    was measured, and wider by slope times uncertainty where it was; a measurement without an
    uncertainty takes the widest of the lot, and the lot says so."""
    lot, _ = solved()
    found = {one.article.name: one for one in lot.results}
    wide = 1.0 - found["A1"].low / found["A1"].voltage
    unstated = 1.0 - found["A4"].low / found["A4"].voltage
    plain = 1.0 - found["A3"].low / found["A3"].voltage
    low, _ = assessed_needle().budget.band(1.0)
    assert_allclose(plain, 1.0 - low, rtol=1e-9, atol=0)
    both = [found[name].voltage for name in ("A1", "A2")]
    # Of a power law through both radii; its exponent drifts by some per cent between them.
    slope = math.log(both[1] / both[0]) / math.log(5.0 / 4.0) / 4e-6
    assert_allclose(math.sqrt(wide**2 - plain**2), slope * 0.2e-6, rtol=0.03, atol=0)
    assert_allclose(unstated, wide, rtol=0.03, atol=0)
    assert any("accelerator.gap" in warning for warning in lot.warnings)
    assert [w for w in lot.warnings if "emitter.tip_radius" in w and "A4" in w]


def test_a_second_run_solves_nothing_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT: every article is taken from the kept solves."""
    lot, kept = solved()
    articles = [one for one in lot.table.articles if one.name != "A5"]

    def never(*_: object, **__: object) -> None:
        raise AssertionError("solved again")

    monkeypatch.setattr("conegap.solver.studies.variant_solver.onset_of_variants", never)
    monkeypatch.setattr("conegap.solver.lots.lot.solve_onset", lambda *_, **__: lot.onset)
    monkeypatch.setattr("conegap.solver.lots.lot.error_budget", lambda _: assessed_needle().budget)
    again = solve_lot(design(), replace(lot.table, articles=tuple(articles)), kept=kept)
    assert [one.voltage for one in again.results] == [
        one.voltage for one in lot.results if one.article.name != "A5"
    ]


# Spread, outliers, correlations


def test_spread_and_outliers() -> None:
    """EXACT: by hand; median 3, median deviation 1, so 100 scores 0.6745 * 97; nan has none."""
    lot = made_up([1.0, 2.0, 3.0, 4.0, 100.0, math.nan], [1e-6] * 5 + [2e-6])
    found = spread(lot)
    assert (found.count, found.mean, found.median) == (5, 22.0, 3.0)
    assert_allclose(found.deviation, math.sqrt(np.var([1, 2, 3, 4, 100], ddof=1)), rtol=1e-14)
    far = outliers(lot)
    assert [(one.article, one.what) for one in far] == [
        ("A4", "onset_voltage_V"),
        # More than half are equal: the mean deviation, 1/6, over sqrt(2 / pi) stands in.
        ("A5", "emitter.tip_radius"),
    ]
    assert_allclose([one.score for one in far], [0.6745 * 97.0, 6.0 * math.sqrt(2.0 / math.pi)])
    assert outlier_scores(np.ones(4)).tolist() == [0.0] * 4
    assert np.isnan(outlier_scores(np.array([1.0, 2.0]))).all()


def test_correlation_has_fishers_interval() -> None:
    """EXACT: Pearson's r by its definition; tanh(atanh r +- 1.96 / sqrt(n - 3))."""
    radii = [4.0, 4.2, 4.1, 4.6, 4.4, 5.0]
    onsets = [3.0, 3.2, 3.05, 3.3, 3.35, 3.4]
    (found,) = correlations(made_up(onsets, [1e-6 * r for r in radii]))
    r = float(np.corrcoef(radii, onsets)[0, 1])
    ends = np.tanh(math.atanh(r) + np.array([-1.0, 1.0]) * 1.959964 / math.sqrt(3.0))
    assert_allclose([found.value, found.low, found.high], [r, *ends], rtol=1e-6, atol=0)
    assert correlations(made_up(onsets, [4e-6] * 6)) == ()
    assert correlations(made_up(onsets[:3], [4e-6, 5e-6, 6e-6])) == ()


# Supplies


def test_articles_are_given_to_supplies_as_trying_all_ways_does() -> None:
    """EXACT: most supplies served, then the largest smallest margin, then the largest sum."""
    generator = np.random.default_rng(3)
    for _ in range(20):
        voltages = generator.uniform(2e3, 6e3, 5)
        limits = generator.uniform(3e3, 8e3, 3).tolist()
        lot = made_up(voltages.tolist(), [4e-6] * 5)
        found = articles_for_supplies(lot, limits)
        given = [one.margin for one in found if one.article]
        assert len({one.article for one in found if one.article}) == len(given)
        share = design().criteria.onset_fraction_of_supply
        best: tuple[int, float, float] = (0, 0.0, 0.0)
        for order in itertools.permutations(range(5), 3):
            pairs = zip(order, limits, strict=True)
            margins = [1.0 - 1.05 * voltages[j] / (share * limit) for j, limit in pairs]
            good = [m for m in margins if m >= 0.0]
            if good:
                best = max(best, (len(good), min(good), sum(good)))
        assert len(given) == best[0]
        if given:
            assert_allclose([min(given), sum(given)], best[1:], rtol=1e-12, atol=0)


def test_an_article_without_onset_is_never_chosen() -> None:
    """INVARIANT: and a supply that none fits is told so."""
    lot = made_up([math.nan, 3e3, 9e3], [4e-6] * 3)
    found = articles_for_supplies(lot, [8e3, 8e3])
    assert sorted(one.article for one in found) == ["", "A1"]
    assert articles_for_supplies(lot, []) == ()


# What all of them share


def test_shared_surface_tension_is_exact() -> None:
    """EXACT: without feed pressure a rigid onset goes with its root; 10 % less in all of them."""
    voltages = [3.0e3, 3.1e3, 3.3e3, 3.2e3]
    lot = made_up(voltages, [4e-6] * 4, [math.sqrt(0.9) * v for v in voltages])
    found = shared_parameter(lot)
    assert_allclose(found.value / found.drawn, 0.9, rtol=1e-12, atol=0)
    assert_allclose([one.relative for one in found.residuals], 0.0, rtol=0, atol=1e-12)
    assert found.low < found.value < found.high
    assert_allclose(found.slope, 0.5, rtol=1e-9, atol=0)


def test_interval_of_the_shared_tension_covers() -> None:
    """RATE: readings that scatter by 1 %: the interval holds the truth in 95 % of 400 lots, and a
    binomial count of 380 is within 4 standard deviations, 17."""
    generator = np.random.default_rng(5)
    voltages = np.array([3.0e3, 3.1e3, 3.3e3, 3.2e3, 3.4e3])
    held = 0
    for _ in range(400):
        measured = voltages * math.sqrt(0.9) * np.exp(0.01 * generator.standard_normal(5))
        found = shared_parameter(made_up(voltages.tolist(), [4e-6] * 5, measured.tolist()))
        held += found.low <= 0.9 * found.drawn <= found.high
    assert abs(held - 380) <= 17


def test_shared_dimension_is_recovered() -> None:
    """MANUFACTURED: onsets solved with a gap of 1.3 mm, which nobody measured."""
    table = read_lot("article,emitter.tip_radius [um]\nA,3.8\nB,4.1\nC,4.4\n", "lot.csv", design())
    truth = solve_lot(design().with_value("accelerator.gap", 1.3e-3), table, criterion="rigid")
    articles = [replace(one.article, measured=one.voltage) for one in truth.results]
    lot = solve_lot(design(), replace(table, articles=tuple(articles)), criterion="rigid")
    found = shared_parameter(lot, "accelerator.gap")
    # A parabola over +-15 % and two meshes instead of three: 1e-4 of V over a slope of 0.2.
    assert_allclose(found.value, 1.3e-3, rtol=1e-3, atol=0)
    assert found.low < 1.3e-3 < found.high


@pytest.mark.parametrize(
    ("key", "measured"),
    [
        ("surface_tension", [3e3, None, 3e3, None]),
        ("emitter.tip_radius", [3e3] * 4),
        ("surface_tension", [9e3] * 4),
        ("liquid.feed_pressure", [3e3] * 4),
        ("emitter.bore", [3e3] * 4),
    ],
)
def test_a_parameter_that_cannot_be_shared_is_refused(
    key: str, measured: list[float | None]
) -> None:
    """INVARIANT: too few readings, a measured key, too far, zero as drawn, unknown."""
    with pytest.raises(DesignError) as caught:
        shared_parameter(made_up([3e3, 3.1e3, 3.2e3, 3.3e3], [4e-6] * 4, measured), key)
    assert key in str(caught.value)


# The command


def test_lot_end_to_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """INVARIANT: files that read again; exit code 1 where a supply gets no article; a second run
    goes on from the kept solves; a wrong table writes nothing."""
    monkeypatch.chdir(tmp_path)
    Path("my.toml").write_text(plain_design(), encoding="utf-8")
    Path("lot.csv").write_text(TABLE, encoding="utf-8")
    argv = ["lot", "my.toml", "lot.csv", "--criterion", "rigid"]
    assert main([*argv, "--arrow", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    folder = Path("conegap-lot-lot")
    assert {one.name for one in folder.iterdir()} == {
        "lot.json", "lot.csv", "lot.svg", "lot.png", "lot.arrow", "solves.jsonl",
    }  # fmt: skip
    assert [one["article"] for one in found["articles"]] == ["A1", "A2", "A3", "A4", "A5"]
    assert found["articles"][4]["onset_voltage_V"] is None
    assert found["supplies"][0]["article"] == "A3"
    feather = pytest.importorskip("pyarrow.feather")
    table = feather.read_table(folder / "lot.arrow")
    assert table.column("onset_voltage_V").to_pylist() == [
        one["onset_voltage_V"] for one in found["articles"]
    ]
    assert main([*argv, "--supply", "8 kV", "--supply", "2 kV"]) == 1
    out, err = capsys.readouterr()
    assert "reused" in err
    assert "none fits" in out
    Path("bad.csv").write_text(TABLE.replace("[um]", "[kg]"), encoding="utf-8")
    for wrong in (["bad.csv"], ["none.csv"], ["lot.csv", "--supply", "8 mm"],
                  ["lot.csv", "--hidden", "emitter.bore"]):  # fmt: skip
        assert main(["lot", "my.toml", *wrong, "--to", "other"]) == 2
        assert capsys.readouterr().err.startswith("conegap: ")
    assert not Path("other").exists()


def test_lot_as_data_frame() -> None:
    """EXACT: one row an article, SI; null in Arrow where there is no onset."""
    pytest.importorskip("pandas")
    lot, _ = solved()
    frame = lot.to_dataframe()
    assert frame["article"].tolist() == ["A1", "A2", "A3", "A4", "A5"]
    assert np.array_equal(frame["onset_voltage_V"], lot.voltages, equal_nan=True)
    assert frame.attrs["si_units"] == {"emitter.tip_radius": "m", "accelerator.gap": "m"}
    pytest.importorskip("pyarrow")
    assert lot.to_arrow().column("onset_voltage_V").to_pylist()[4] is None
    assert len(repr(lot)) < 200
