"""Solved fields and sections shared by the tests of the solver."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache

import numpy as np
import pytest

from conegap.geometries.curves.curve import Arc, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import Cause, DesignError
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.liquid.followed_onset import meniscus_onset
from conegap.solver.liquid.meniscus_onset import MeniscusOnset


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One process tests a file (``--dist loadgroup``), but for tests that name their own group."""
    for item in items:
        if item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(item.path.name))


@contextmanager
def refused(
    key: str, *quotes: str, kind: type[Exception] = DesignError, cause: Cause = ""
) -> Iterator[pytest.ExceptionInfo[Exception]]:
    """Refused for this key and cause, the message quoting names, values, limits and remedies.

    An empty key or cause is not asked for.
    """
    with pytest.raises(kind) as caught:
        yield caught
    assert not key or key in getattr(caught.value, "keys", ())
    assert not cause or getattr(caught.value, "cause", "") == cause
    assert [q for q in quotes if q not in str(caught.value)] == []


# A blunt needle before a wide plate, whose mesh is small.
BLUNT = """
[emitter]
kind = "needle"
tip_radius = "40 um"
half_angle = "20 deg"
shank_diameter = "1 mm"
protrusion = "3 mm"
[accelerator]
kind = "aperture_plate"
gap = "0.6 mm"
diameter = "1.2 mm"
thickness = "0.5 mm"
edge_radius = "0.1 mm"
outer_diameter = "8 mm"
[liquid]
metal = "indium"
temperature = "450 K"
[voltages]
emitter = "6 kV"
accelerator = "-1 kV"
[chamber]
radius = "10 mm"
length = "6 mm"
"""

NEEDLE = """
title = "Needle before a plane"
[emitter]
kind = "needle"
tip_radius = {{ value = "{tip_radius!r} um", tolerance = "{tip_tolerance!r} um" }}
half_angle = "15 deg"
shank_diameter = "{shank!r} um"
shoulder_radius = "{shoulder!r} um"
protrusion = "{protrusion!r} um"
holder_diameter = "{holder!r} um"
holder_thickness = "{holder_thickness!r} um"
holder_edge_radius = "{holder_edge!r} um"
[accelerator]
kind = "plane"
gap = {{ value = "{gap!r} um", tolerance = "{gap_tolerance!r} um" }}
[liquid]
metal = "gallium"
temperature = {{ value = "310 K", tolerance = "5 K" }}
feed_pressure = "0 Pa"
[voltages]
emitter = "5 kV"
accelerator = "-1 kV"
chamber = "0 V"
[supply]
voltage_limit = "10 kV"
current_limit = "100 uA"
ballast_resistance = "10 Mohm"
[chamber]
radius = "{radius!r} um"
length = "{length!r} um"
"""
NEEDLE_MICROMETRES = {
    "tip_radius": 5.0,
    "tip_tolerance": 1.0,
    "shank": 120.0,
    "shoulder": 100.0,
    "protrusion": 900.0,
    "holder": 400.0,
    "holder_thickness": 300.0,
    "holder_edge": 50.0,
    "gap": 500.0,
    "gap_tolerance": 50.0,
    "radius": 4000.0,
    "length": 3000.0,
}


def needle_design(scale: float = 1.0) -> Design:
    """A needle before a plane with every length multiplied by ``scale``."""
    sizes = {name: scale * value for name, value in NEEDLE_MICROMETRES.items()}
    return Design.from_text(NEEDLE.format(**sizes))


def wedge_section(metal_angle: float) -> Section:
    """Right half of a sharp blade of a full angle [rad] in a grounded box."""
    half = metal_angle / 2.0
    wide, low, high = 1e-3, -1e-3, 1e-3
    if half < math.pi / 4.0:
        foot = (-low * math.tan(half), low)
        rest = [
            Boundary("outer", Line(foot, (wide, low))),
            Boundary("accelerator", Line((wide, low), (wide, high))),
        ]
    else:
        foot = (wide, -wide / math.tan(half))
        rest = [Boundary("accelerator", Line(foot, (wide, high)))]
    loop = (
        Boundary("symmetry", Line((0.0, high), (0.0, 0.0))),
        Boundary("emitter", Line((0.0, 0.0), foot)),
        *rest,
        Boundary("accelerator", Line((wide, high), (0.0, high))),
    )
    edge = EmittingEdge("blade", 0, 1, 0.0, 0.0)
    return Section("planar", (loop,), (edge,), high, mirrored=True)


def quarter_annulus(inner: float = 1.0, outer: float = 3.0) -> Section:
    """First quadrant between two circles about the origin; the inner one is the emitter."""
    up = math.pi / 2.0
    loop = (
        Boundary("emitter", Arc((0.0, 0.0), inner, up, 0.0)),
        Boundary("outer", Line((inner, 0.0), (outer, 0.0))),
        Boundary("accelerator", Arc((0.0, 0.0), outer, 0.0, up)),
        Boundary("symmetry", Line((0.0, outer), (0.0, inner))),
    )
    return Section("planar", (loop,), (EmittingEdge("edge", 0, 0, 0.5, inner),), outer - inner)


def polygon(*corners: tuple[float, float], name: str = "emitter") -> Section:
    """Closed straight outline through corners, counterclockwise, all of one name."""
    points = np.array(corners)
    loop = tuple(
        Boundary(name, Line((a[0], a[1]), (b[0], b[1])))
        for a, b in zip(points, np.roll(points, -1, axis=0), strict=True)
    )
    return Section("planar", (loop,), (), 1.0)


@pytest.fixture(scope="session")
def solved() -> Callable[[str], tuple[Design, FieldSolution]]:
    """Design and three-mesh field of a shipped example, or of the "needle before a plane"."""

    @cache
    def solve(name: str) -> tuple[Design, FieldSolution]:
        design = needle_design() if name == "needle before a plane" else Design.read(name)
        return design, solve_field(design.section())

    return solve


@pytest.fixture(scope="session")
def followed() -> Callable[[str], MeniscusOnset]:
    """Turning point of a shipped example's free surface."""
    return cache(lambda name: meniscus_onset(Design.read(name)))


@pytest.fixture
def capillary(followed: Callable[[str], MeniscusOnset]) -> MeniscusOnset:
    """That of the capillary."""
    return followed("capillary")
