"""Onset over ranges of a quantity, point by point."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from conftest import needle_design, refused
from numpy.testing import assert_allclose

from conegap.solver.mesh.coarse_mesh import coarse_mesh
from conegap.solver.onset.rigid import rigid_onset
from conegap.solver.studies.onset import solve_onset
from conegap.solver.studies.scan import Scan, scan
from conegap.solver.studies.variants import onset_of_variants


@pytest.fixture(scope="module")
def seen() -> list[tuple[str, int, int]]:
    return []


@pytest.fixture(scope="module")
def over_gap(seen: list[tuple[str, int, int]]) -> Scan:
    gaps = np.array([-1e-3, 0.3e-3, 0.5e-3, 0.8e-3])
    onset = solve_onset(needle_design(), criterion="rigid")
    onset = replace(onset, progress=lambda *step: seen.append(step))
    return scan(onset, "accelerator.gap", gaps)


def test_scan_equals_single_solves(over_gap: Scan) -> None:
    """INVARIANT: a point lies beside the drawn onset as two moved meshes say, like with like."""
    near = coarse_mesh(needle_design().section())
    changed = needle_design().with_value("accelerator.gap", 0.8e-3)
    alone = rigid_onset(changed, meshes=2, near=near)
    point = over_gap.points[3]
    assert point.onset is not None
    assert point.value == 0.8e-3
    drawn, two = rigid_onset(needle_design()), rigid_onset(needle_design(), meshes=2)
    expected = drawn.voltage * alone.voltage / two.voltage
    assert_allclose(point.onset.voltage, expected, rtol=1e-12, atol=0)
    assert point.refusal == ""
    anew = rigid_onset(changed)
    assert_allclose(point.onset.voltage, anew.voltage, rtol=alone.error, atol=0)


def test_scan_passes_through_the_drawn_design(over_gap: Scan) -> None:
    """INVARIANT: at the drawn gap the scan is the three-mesh onset."""
    found = over_gap.points[2].onset
    assert found is not None
    assert_allclose(found.voltage, rigid_onset(needle_design()).voltage, rtol=1e-9, atol=0)


def test_refused_point_says_why_and_is_left_out(over_gap: Scan) -> None:
    """EXACT: an impossible gap keeps its reason; values and voltages hold the others in order."""
    refused = over_gap.points[0]
    assert refused.onset is None
    assert "accelerator.gap" in refused.refusal
    assert_allclose(over_gap.values, [0.3e-3, 0.5e-3, 0.8e-3], rtol=1e-15, atol=0)
    assert np.all(np.diff(over_gap.voltages) > 0.0)
    assert (over_gap.key, over_gap.unit) == ("accelerator.gap", "um")


def test_progress_counts_every_point(over_gap: Scan, seen: list[tuple[str, int, int]]) -> None:
    """EXACT: one call before the first point and one after each, named after the quantity."""
    assert [step[1:] for step in seen] == [(0, 4), (1, 4), (2, 4), (3, 4), (4, 4)]
    assert all(over_gap.label in step[0] for step in seen)


def test_unknown_quantity_is_refused_at_once() -> None:
    """EXACT: a misspelled key is refused before any solve, with the nearest key."""
    with refused("accelerator.gab", "accelerator.gap"):
        scan(solve_onset(needle_design(), criterion="rigid"), "accelerator.gab", np.array([1e-3]))


def test_two_changes_at_once() -> None:
    """INVARIANT: doubling apex, flank and room is not asked for: only the named values change."""
    design = needle_design()
    changes = (("accelerator.gap", 0.7e-3), ("emitter.tip_radius", 6e-6))
    (found,) = onset_of_variants(design, [changes])
    for key, value in changes:
        design = design.with_value(key, value)
    assert not isinstance(found, str)
    near = coarse_mesh(needle_design().section())
    assert found.voltage == rigid_onset(design, meshes=2, near=near).voltage


def test_no_variants_give_no_results() -> None:
    """EXACT: an empty list of variants is answered by an empty list."""
    assert onset_of_variants(needle_design(), []) == []
