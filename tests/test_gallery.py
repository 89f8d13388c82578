"""The gallery, the examples in docstrings, and the documentation built from them."""

from __future__ import annotations

import doctest
import importlib
import inspect
import runpy
import statistics
import sys
import warnings
from pathlib import Path

import pdoc.doc
import pdoc.docstrings
import pytest

ROOT = Path(__file__).resolve().parents[1]
SOURCES = {
    ".".join(("conegap", *path.relative_to(ROOT).with_suffix("").parts)): path
    for package in ("geometries", "solver", "validation")
    for path in sorted((ROOT / package).rglob("*.py"))
    if path.name != "__init__.py"
}
GALLERY = "conegap.validation.gallery."
SCRIPTS = sorted(name for name, path in SOURCES.items()
                 if name.startswith(GALLERY) and "__main__" in path.read_text())  # fmt: skip
WITH_EXAMPLES = sorted(name for name, path in SOURCES.items() if ">>> " in path.read_text())


@pytest.mark.parametrize("name", SCRIPTS)
def test_script_of_the_gallery_meets_what_it_expects(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """EXACT or TABLE, as each script names: exit code 0, computed beside expected."""
    # No processes of its own: quicker.
    monkeypatch.setattr("conegap.solver.common.parallel_map._WORKERS", 1)
    # A script that another test imported would be run twice, of which Python warns.
    monkeypatch.delitem(sys.modules, name, raising=False)
    with pytest.raises(SystemExit) as ending:
        runpy.run_module(name, run_name="__main__")
    out = capsys.readouterr().out
    assert ending.value.code == 0, out
    assert ": computed " in out
    assert ", expected " in out


def test_gallery_is_short_and_guarded() -> None:
    """INVARIANT: ten scripts, at the median 40 lines at most; importing one computes nothing."""
    assert len(SCRIPTS) >= 10
    lengths = [len(SOURCES[name].read_text().splitlines()) for name in SCRIPTS]
    assert statistics.median(lengths) <= 40
    for name in SCRIPTS:
        text = SOURCES[name].read_text()
        assert text.endswith(
            'if __name__ == "__main__":\n    raise SystemExit(0 if main() else 1)\n'
        )
        assert "Expected:" in text


def test_a_script_that_misses_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: a wrong number gives exit code 1."""
    from conegap.geometries.metals.metal import Metal

    monkeypatch.setattr(Metal, "surface_tension", lambda *_: 0.6)
    name = GALLERY + "metal_at_temperature"
    monkeypatch.delitem(sys.modules, name, raising=False)
    with pytest.raises(SystemExit) as ending:
        runpy.run_module(name, run_name="__main__")
    assert ending.value.code == 1


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_in_docstrings_run(name: str) -> None:
    """EXACT: what stands below each prompt is what comes out."""
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0


@pytest.mark.parametrize(
    "name",
    [
        "conegap.solver.assessment.assess",
        "conegap.solver.studies.vary.vary",
        "conegap.solver.figures.section_view.draw_section",
        "conegap.solver.figures.field_map.draw_equipotentials",
        "conegap.solver.figures.vary.chart_variation",
    ],
)
def test_docstring_names_its_script(name: str) -> None:
    """INVARIANT: what is too slow for an example in the docstring names one of the gallery."""
    module, _, function = name.rpartition(".")
    text = inspect.getdoc(getattr(importlib.import_module(module), function)) or ""
    assert any(script in text for script in SCRIPTS)


def test_documentation_builds_without_a_warning() -> None:
    """INVARIANT: every public module, class and function is read and set by pdoc in silence."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for name in SOURCES:
            module = pdoc.doc.Module(importlib.import_module(name))
            queue: list[pdoc.doc.Doc] = [module]
            while queue:
                one = queue.pop()
                if one.name.startswith("_") or one.taken_from[0] != name:
                    continue
                pdoc.docstrings.convert(one.docstring, "numpy", SOURCES[name])
                if isinstance(one, pdoc.doc.Function):
                    assert "<unable" not in str(one.signature), one.fullname
                if isinstance(one, pdoc.doc.Namespace):
                    queue += one.own_members
