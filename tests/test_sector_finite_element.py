"""The independent finite elements in three dimensions, checked before they check anything."""

from __future__ import annotations

import sys
from typing import Any

import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError
from conegap.validation.exact.sphere_lattice import square_layer
from conegap.validation.reference_fem.sector import crown_shape, solve_shape

PITCH = 3.0
TALL = 1.5 * PITCH


def half_cell() -> Any:
    """Half of the cell of a square layer of unit half balls, between two planes."""
    from netgen import occ

    half = PITCH / 2.0
    room = occ.Box((-half, 0.0, 0.0), (half, half, TALL))
    for face in room.faces:
        if abs(face.center.z) < 1e-9:
            face.name = "floor"
        elif abs(face.center.z - TALL) < 1e-9:
            face.name = "lid"
    ball = occ.Sphere((0.0, 0.0, 0.0), 1.0)
    ball.faces.name = "ball"
    ball.faces.maxh = 0.12
    return room - ball


def test_finite_elements_know_a_layer_of_half_balls() -> None:
    """EXACT: top field of a square layer of hemispheres by multipoles, and its charge."""
    layer = square_layer(1.0 / PITCH)
    voltages = {"floor": 0.0, "ball": 0.0, "lid": -1.0}
    found = solve_shape(half_cell(), voltages, ("ball", "floor"), coarsest=0.7)
    far = 1.0 / (TALL - layer.shift * PITCH)
    assert_allclose(found.at_apex((0.0, 0.0, 1.0), 1.0) / far, layer.top_field, rtol=2e-3)
    assert_allclose(found.flux.sum() / far, PITCH**2 / 2.0, rtol=5e-4)


def test_crown_shape_is_the_drawing() -> None:
    """EXACT: the vacuum that is cut for the finite elements lacks what the drawing fills."""
    design = Design.read("crown")
    blunt = crown_shape(design.with_value("emitter.tip_radius", 40e-6), 0.5)
    tall = crown_shape(
        design.with_value("emitter.tip_radius", 40e-6).with_value("accelerator.gap", 1.1e-3), 0.5
    )
    names = {face.name for face in blunt.faces}
    assert names == {"mirror", "chamber", "emitter", "tip", "accelerator"}
    # a gap 0.1 mm larger moves plate and lid up: the vacuum grows by 0.1 mm of the whole wedge
    wedge = 30.0**2 / 2.0 * 3.141592653589793 / design.emitter.tips  # type: ignore[union-attr]
    assert_allclose(tall.mass - blunt.mass, 0.1 * wedge, rtol=1e-6)


def test_missing_package_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """INVARIANT: without scikit-fem the check says what to install."""
    monkeypatch.setitem(sys.modules, "skfem", None)
    with refused("", "conegap[test]", kind=ComputationError, cause="missing library"):
        solve_shape(None, {}, (), coarsest=1.0)
