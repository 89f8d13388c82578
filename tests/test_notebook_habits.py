"""What results show of themselves: short words, HTML, data frames, and the record of a design."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from reporting import assessed_needle
from test_command_line import lawful
from test_tolerance import study_of

from conegap.geometries.design.design import Design
from conegap.geometries.design.record import design_of_record, with_entries
from conegap.geometries.metals.metal import metal, metals_to_dataframe
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.notebook import html_table
from conegap.solver.studies.vary import Range, Variation

pandas = pytest.importorskip("pandas")

# What fits on a screen.
LONGEST = 400


@cache
def variation() -> Variation:
    """A made-up scan of gap and chamber radius; 2 mm has no onset."""
    design = assessed_needle().design
    gaps, radii = np.array([1e-3, 1.5e-3, 2e-3]), np.array([0.02, 0.03])
    variants = [(("accelerator.gap", g), ("chamber.radius", r)) for g in gaps for r in radii]
    ranges = tuple(
        Range(design.dimension(key), values)
        for key, values in (("accelerator.gap", gaps), ("chamber.radius", radii))
    )
    return Variation(design, ranges, tuple(lawful(design, list(variants))))


def results() -> list[object]:
    assessment = assessed_needle()
    return [
        assessment,
        assessment.design,
        assessment.solution,
        assessment.onset,
        assessment.budget,
        variation(),
        study_of(samples=1000),
        metal("indium"),
    ]


def test_repr_fits_on_a_screen() -> None:
    """INVARIANT: one line of at most 400 characters that begins with the name of the class."""
    for one in results():
        words = repr(one)
        assert words.startswith(f"{type(one).__name__}(")
        assert len(words) <= LONGEST
        assert "\n" not in words
    assert f"{assessed_needle().emission.first.voltage:.6g} V" in repr(assessed_needle())


def inside(one: object, depth: int = 6) -> Iterator[object]:
    """A result and every dataclass in its fields, of sequences the first two."""
    if isinstance(one, tuple):
        for item in one[:2]:
            yield from inside(item, depth)
    elif is_dataclass(one) and depth:
        yield one
        for field in fields(one):
            yield from inside(getattr(one, field.name), depth - 1)


def test_repr_of_every_part_fits_on_a_screen() -> None:
    """INVARIANT: what hangs on an assessment is told in at most 1000 letters, meshes and all; two
    million were seen."""
    found = {type(one).__name__: len(repr(one)) for one in inside(assessed_needle())}
    assert len(found) > 30
    assert {name: size for name, size in found.items() if size > 1000} == {}


def test_brief_tells_kinds_and_sizes() -> None:
    """EXACT: short values as they are, long ones by kind and size, at most 300 letters."""
    words = repr(assessed_needle().solution.levels[0])
    assert words.startswith("Level(")
    assert f"{assessed_needle().solution.levels[0].potentials.shape} array" in words


class Cells(HTMLParser):
    """Counts the rows and collects the text; complains where tags do not close."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.rows = 0
        self.words: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.open.append(tag)
        self.rows += tag == "tr"

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_html_is_a_closed_table() -> None:
    """INVARIANT: every line of the result is a row, and texts of the user are escaped."""
    assessment = assessed_needle()
    found = Cells(assessment._repr_html_())
    assert found.rows == 1 + 3 + len(assessment.review)
    assert "Test <&> " in "".join(found.words)  # as the title is
    assert Cells(assessment.budget._repr_html_()).rows == 2 + len(assessment.budget.contributions)
    assert Cells(variation()._repr_html_()).rows == 1 + 6
    design = assessment.design
    assert Cells(design._repr_html_()).rows == 1 + len(design.dimensions())
    study = study_of(samples=1000)
    assert Cells(study._repr_html_()).rows == 1 + len(study.shares)
    assert "".join(Cells(html_table("<a>", [("<b>", 1)])).words) == "<a><b>1"


def test_variation_as_data_frame() -> None:
    """EXACT: the points in SI; one without an onset is nan and says why."""
    frame = variation().to_dataframe()
    assert len(frame) == 6
    assert frame["accelerator.gap"].tolist() == [1e-3, 1e-3, 1.5e-3, 1.5e-3, 2e-3, 2e-3]
    wanted = variation().voltages.ravel()
    assert np.array_equal(frame["onset_voltage_V"], wanted, equal_nan=True)
    assert np.isnan(wanted[-1])
    assert frame["refusal"].tolist() == [""] * 4 + ['no "room"'] * 2
    assert frame.attrs["si_units"] == {"accelerator.gap": "m", "chamber.radius": "m"}


def test_variation_as_data_array() -> None:
    """EXACT: two coordinates with their units; a cell is found by its values."""
    pytest.importorskip("xarray")
    array = variation().to_xarray()
    assert array.dims == ("accelerator.gap", "chamber.radius")
    assert array.shape == (3, 2)
    assert array.coords["accelerator.gap"].attrs["units"] == "m"
    cell = array.sel({"accelerator.gap": 1.5e-3, "chamber.radius": 0.03})
    assert float(cell) == variation().voltages[1, 1]


def test_budget_tolerances_and_metals_as_data_frames() -> None:
    """EXACT: the lines in their order, the metals' values as the library gives them."""
    budget = assessed_needle().budget
    frame = budget.to_dataframe()
    assert frame["name"].tolist() == [line.name for line in budget.contributions]
    assert frame["up"].tolist() == [line.up for line in budget.contributions]
    assert frame.attrs["up_k2"] == budget.up
    study = study_of(samples=1000)
    assert study.to_dataframe()["share"].tolist() == [line.share for line in study.shares]
    indium = metal("indium").to_dataframe(500.0).set_index("key")
    assert indium.loc["surface_tension", "value"] == metal("indium").surface_tension(500.0)
    every = metals_to_dataframe(400.0)
    assert set(every["metal"]) == {
        one.name for one in map(metal, every["symbol"]) if one.melting_point <= 400.0
    }


def test_a_missing_library_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: an ImportError that names the library and what to install."""
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ImportError, match=r"pandas.*conegap\[tables\]"):
        variation().to_dataframe()
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(ImportError, match=r"xarray.*conegap\[tables\]"):
        variation().to_xarray()


@pytest.mark.parametrize("name", ["needle", "profile", "crown"])
def test_a_design_comes_back_from_its_record(name: str) -> None:
    """EXACT: the same dimensions, tolerances and bases by way of JSON, changes included."""
    drawn = Design.read(name)
    for design in (drawn, drawn.with_value("accelerator.gap", 1.1 * drawn.gap)):
        again = design_of_record(json.loads(json.dumps(design.record)), "report")
        assert again.dimensions() == design.dimensions()
        assert again.metal == design.metal
        assert again.gap == design.gap


def test_entries_of_another_record() -> None:
    """EXACT: only the named entries change; one that the other lacks becomes the default."""
    one = Design.read("needle")
    other = one.with_value("accelerator.gap", 2e-3).with_value("emitter.tip_radius", 5e-6)
    changed = design_of_record(with_entries(one.record, other.record, ["accelerator.gap"]), "x")
    assert changed.dimension("accelerator.gap").value == 2e-3
    assert changed.dimension("emitter.tip_radius").value == 4e-6
    record = other.record
    bare = {**record, "document": {**record["document"], "supply": {}}}
    without = design_of_record(with_entries(one.record, bare, ["supply.voltage_limit"]), "x")
    assert without.supply.voltage_limit is None
    assert without.supply.current_limit == one.supply.current_limit


@pytest.mark.parametrize(
    "record",
    [{}, {"source": "a", "document": 3, "files": [], "tables_m": {}}, Design.read("drawn").record],
)
def test_a_record_that_cannot_be_read_is_refused(record: dict[str, object]) -> None:
    """INVARIANT: damaged, or of a design whose files it does not hold: bad input."""
    with pytest.raises(DesignError):
        design_of_record(record, "report")
