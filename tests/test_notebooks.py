"""The shipped notebooks: every cell runs, and what they claim is asserted in them."""

from __future__ import annotations

import ast
from pathlib import Path

import matplotlib as mpl
import nbformat
import pytest

from conegap.geometries.quantities.errors import OutputError
from conegap.validation.gallery.notebooks import notebook_names, notebook_text, write_notebooks

NAMES = notebook_names()


def cells(name: str) -> list[str]:
    book = nbformat.reads(notebook_text(name), as_version=4)
    nbformat.validate(book)
    return [cell.source for cell in book.cells if cell.cell_type == "code"]


def test_six_notebooks_are_shipped_without_outputs() -> None:
    """INVARIANT: the six subjects; small files, so that what is shown is what was computed here."""
    assert set(NAMES) == {
        "needle_onset", "slit_against_needle", "tolerances", "crown", "own_geometry", "teaching",
    }  # fmt: skip
    for name in NAMES:
        book = nbformat.reads(notebook_text(name), as_version=4)
        assert not any(cell.get("outputs") for cell in book.cells)


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_runs(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """EXACT or RATE, as each notebook asserts in its last cells: every cell runs in its turn."""
    pytest.importorskip("pandas")
    mpl.use("Agg")
    monkeypatch.setattr("conegap.solver.common.parallel_map._WORKERS", 1)
    space: dict[str, object] = {"__name__": "cells"}
    for source in cells(name):
        *body, last = ast.parse(source).body
        # As a notebook does: the value of the last line is shown.
        exec(compile(ast.Module(body, []), name, "exec"), space)
        if isinstance(last, ast.Expr):
            shown = eval(compile(ast.Expression(last.value), name, "eval"), space)
            assert len(repr(shown)) < 5000
        else:
            exec(compile(ast.Module([last], []), name, "exec"), space)


def test_notebooks_are_copied_and_none_is_replaced(tmp_path: Path) -> None:
    """EXACT: the files as shipped; an own file of that name stays, and nothing is written."""
    write_notebooks(tmp_path)
    assert {one.stem for one in tmp_path.iterdir()} == set(NAMES)
    assert (tmp_path / "crown.ipynb").read_text(encoding="utf-8") == notebook_text("crown")
    other = tmp_path / "other"
    other.mkdir()
    (other / "crown.ipynb").write_text("mine")
    with pytest.raises(OutputError):
        write_notebooks(other)
    assert [one.name for one in other.iterdir()] == ["crown.ipynb"]
