"""The benchmarks: right values, errors and tables.  Nothing here depends on how long it takes."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any

import numpy as np
import pytest
from benchmarks import child
from benchmarks.chart import draw
from benchmarks.measured import apex
from benchmarks.measuring import all_measured, medians
from benchmarks.methods import METHODS, Method, missing
from benchmarks.plain_mesh import on_curve, plain_mesh
from benchmarks.problems import PROBLEMS, problem_of, right_value
from benchmarks.table import csv_text, goals, growth, markdown, time_to_reach

from conegap.validation.exact import fields as exact

# What each method reaches on the hyperboloid at its second setting; a wrong field is far off.
WITHIN = {"conegap": 1e-4, "scikit-fem P1": 0.3, "scikit-fem P2": 0.02, "NGSolve order 2": 0.02,
          "NGSolve order 4": 0.01, "NGSolve order 6": 2e-3, "NGSolve order 8": 1e-3}  # fmt: skip


def rows_of(method: str, points: list[tuple[int, float, float]]) -> list[dict[str, Any]]:
    """Made-up rows from (unknowns, error, seconds)."""
    return [
        {"problem": "needle", "method": method, "unknowns": n, "error": e, "seconds": t,
         "solve_seconds": t, "import_seconds": 0.5, "peak_megabytes": 100.0, "setting": k}
        for k, (n, e, t) in enumerate(points)
    ]  # fmt: skip


def made_up() -> dict[str, Any]:
    own = rows_of("conegap", [(100, 1e-2, 0.1), (400, 5e-4, 0.4), (1600, 2e-5, 1.6)])
    peer = rows_of("peer", [(100, 1e-4, 0.05), (200, 5e-3, 0.2), (400, 1e-5, 1.0)])
    return {
        "cores": 2,
        "repeats": 3,
        "right": {"needle": {"title": "a needle"}},
        "absent": ["other: not run"],
        "rows": own + peer,
        "commands": {"help": {"seconds": 0.3, "processor_seconds": 0.3}},
    }


def test_right_values_are_those_of_the_closed_forms() -> None:
    """EXACT: hyperboloid and hyperbolic edge against the formulas."""
    needle, edge = problem_of("needle"), problem_of("edge")
    assert right_value(needle) == (exact.hyperboloid_field(voltage=1.0, radius=5e-6, gap=5e-4), 0.0)
    assert right_value(edge)[0] == exact.planar_hyperbola_field(voltage=1.0, radius=5e-6, gap=5e-4)
    assert [problem_of(name).name for name in PROBLEMS] == list(PROBLEMS)
    assert problem_of("slit").exact is None


@pytest.mark.parametrize("method", METHODS, ids=lambda m: m.name)
def test_every_method_solves_the_needle(method: Method) -> None:
    """EXACT: the edge field at the second setting against the closed form of the hyperboloid."""
    if missing(method):
        pytest.skip(missing(method))
    problem = problem_of("needle")
    run = method.solver()(problem, method.settings[1])
    right, _ = right_value(problem)
    assert run.unknowns > 100
    # The default term on skewed triangles does not converge; its value is only finite.
    allowed = WITHIN.get(method.name, 10.0)
    assert abs(run.edge_field / right - 1.0) < allowed


@pytest.mark.parametrize("name", PROBLEMS)
def test_plain_mesh_covers_the_section(name: str) -> None:
    """EXACT: area of the polygon through the boundary points, points on their curves."""
    section = problem_of(name).section
    mesh = plain_mesh(section, 2.0)
    a, b, c = np.moveaxis(mesh.points[mesh.triangles], 1, 0)
    areas = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    p, q = mesh.points[mesh.edges[:, 0]], mesh.points[mesh.edges[:, 1]]
    around = 0.5 * float(np.sum(p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]))
    assert np.abs(areas).sum() == pytest.approx(abs(around), rel=1e-9)
    for (loop, index), (one, _) in zip(mesh.owner.tolist(), mesh.edges, strict=True):
        place = mesh.points[[one]] * mesh.scale
        there, _ = on_curve(section.loops[loop][index].curve, place)
        assert np.hypot(*(there - place)[0]) < 1e-6 * mesh.scale


def test_crest_of_a_parabola() -> None:
    """EXACT: vertex of a parabola between samples, and at a mirrored end, to the sampling."""
    s = np.linspace(-1.0, 1.0, 14)
    assert apex(s, 3.0 - (s - 0.07) ** 2, from_middle=False) == pytest.approx(3.0, rel=1e-6)
    s = np.linspace(0.05, 1.0, 12)
    assert apex(s, 2.0 - s**2, from_middle=True) == pytest.approx(2.0, rel=1e-7)


def test_time_to_reach_an_error_ignores_a_lucky_zero() -> None:
    """EXACT: by hand: the coarse mesh of the peer is right by chance and does not count."""
    rows = made_up()["rows"]
    own, peer = rows[:3], rows[3:]
    assert time_to_reach(own, 1e-3) == 0.4
    assert time_to_reach(own, 1e-4) == 1.6
    assert time_to_reach(peer, 1e-3) == 1.0
    assert time_to_reach(own, 1e-6) == math.inf
    assert growth(own) == pytest.approx(1.0)
    assert math.isnan(growth(own[:1]))


def test_goals_and_tables_are_complete() -> None:
    """EXACT: goals met and missed by hand; every method and every row is in the tables."""
    result = made_up()
    found = {goal.what: goal.met for goal in goals(result)}
    assert list(found.values()) == [True, False, True, True]
    text = markdown(result)
    for words in ("| conegap |", "| peer |", "a needle", "**no**", "other: not run", "2 cores"):
        assert words in text
    table = list(csv.DictReader(io.StringIO(csv_text(result))))
    assert len(table) == 6
    assert table[0]["method"] == "conegap"


def test_medians_and_errors() -> None:
    """EXACT: three repeats by hand."""
    runs = [{"edge_field": 1.1, "unknowns": 5, "cells": 4, "setting": 1, "mesh_seconds": t,
             "solve_seconds": 2 * t, "processor_seconds": t, "peak_megabytes": 1.0}
            for t in (3.0, 1.0, 2.0)]  # fmt: skip
    results = [{"import_seconds": 0.5, "runs": [run]} for run in runs]
    (row,) = medians("needle", "conegap", results, 1.0)
    assert row["error"] == pytest.approx(0.1)
    assert (row["seconds"], row["solve_seconds"]) == (6.0, 4.0)


def test_measuring_on_a_tiny_setting() -> None:
    """EXACT: one method, one problem, in a fresh process: error against the closed form."""
    said: list[str] = []
    result = all_measured(
        repeats=1, problems=("edge",), methods=("conegap",), most=1, say=said.append
    )
    (row,) = result["rows"]
    right = exact.planar_hyperbola_field(voltage=1.0, radius=5e-6, gap=5e-4)
    assert row["error"] == pytest.approx(abs(row["edge_field"] / right - 1.0))
    assert row["error"] < 1e-3
    assert row["peak_megabytes"] > 10.0
    assert said
    assert json.dumps(result)
    figure = draw(result)
    assert [axes.get_xlabel() for axes in figure.axes] == ["wall time with meshing [s]"]


def test_a_method_that_is_missing_says_how_to_get_it() -> None:
    """EXACT: the message names the package and the extra."""
    absent = Method("other", "with_other", ("no_such_package.part",), (1.0,))
    assert missing(absent) == (
        "other: not run, no_such_package is missing (pip install 'conegap[benchmark]')"
    )
    assert callable(child.main)
