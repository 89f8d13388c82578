"""One assessed needle, shared by the tests of figures, report and command line."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.solver.assessment import Assessment, assess
from conegap.solver.field.extrapolation import estimate
from conegap.solver.liquid.attached_cone import Extinction
from conegap.solver.liquid.branch import MeniscusBranch
from conegap.solver.liquid.meniscus import Equilibrium
from conegap.solver.liquid.meniscus_onset import HeldState, MeniscusOnset
from conegap.solver.liquid.shape import cap
from conegap.solver.studies.scan import Scan, ScanPoint

__all__ = ["assessed_needle", "crowded", "plain_design", "with_meniscus", "with_scans"]


def plain_design(kind: str = "needle") -> str:
    """A shipped design without tolerances, so that its budget needs no solve of its own."""
    text = re.sub(r', tolerance = "[^"]*"', "", starter(kind))
    # A bare needle has no free surface to follow, which takes a minute.
    text = text.replace('film_thickness = { value = "0.5 um"', 'film_thickness = { value = "0 um"')
    # An opening that is wide enough for the beam, so that every criterion may pass.
    text = text.replace('\ndiameter = { value = "2 mm"', '\ndiameter = { value = "2.5 mm"')
    return text.replace('title = "', 'title = "Test <&> ', 1)


@cache
def assessed_needle() -> Assessment:
    """Computed once for all tests."""
    return assess(Design.from_text(plain_design(), "needle.toml"), scans=False)


@cache
def with_scans() -> Assessment:
    """The same with scans made up from the square root law."""
    assessment = assessed_needle()
    scans = []
    for key in ("accelerator.gap", "emitter.tip_radius"):
        dimension = assessment.design.dimension(key)
        points = []
        for factor in np.geomspace(0.5, 2.0, 5).tolist():
            voltage = assessment.onset.rigid.voltage * factor**0.5
            onset = replace(assessment.onset.rigid, voltage=voltage)
            points.append(ScanPoint(dimension.value * factor, onset, ""))
        points.append(ScanPoint(dimension.value * 3.0, None, "refused on purpose"))
        scans.append(Scan(key, dimension.label, dimension.unit, tuple(points)))
    return replace(assessment, scans=tuple(scans))


@cache
def with_meniscus() -> Assessment:
    """The same with a free surface made up of circular caps that turns at 4 kV."""
    radius, tension = 4e-6, 0.55
    scale = tension * radius / epsilon_0

    def shape(angle: float, volts: float) -> Equilibrium:
        nodes = np.linspace(0.0, 1.0, 9)
        return Equilibrium(cap(angle, 12, "axisymmetric"), 0.0, volts**2 / scale, nodes, nodes + 1)

    pairs = [(0.2, 0.0), (0.5, 2e3), (0.8, 3.5e3), (1.0, 4.04e3), (1.3, 3.8e3)]
    turning = shape(1.05, 4e3)
    electric_bond_number = estimate(
        (2, 4, 8), tuple(4e3**2 / scale * (1 + e) for e in (0.016, 0.004, 0.001))
    )
    branch = MeniscusBranch(
        "pressure", 0.0, tuple(shape(*p) for p in pairs), 4, turning, electric_bond_number
    )
    meniscus = MeniscusOnset(
        voltage=4e3,
        error=2e-4,
        held="pressure",
        place="contact line as drawn",
        mode="turning point",
        contact=(radius, -1e-6),
        surface_tension=tension,
        apex_field=3.7e8,
        half_angle=0.8,
        extinction=Extinction(3.5e3, 2.8e3, 4.2e3, "made up"),
        wave=None,
        tilt_voltage=None,
        branch=branch,
        states=tuple(
            HeldState(min(volts, 4e3), shape(angle, volts).shape, (radius, -1e-6), k < 4)
            for k, (angle, volts) in enumerate(pairs)
        ),
    )
    assessment = with_scans()
    return replace(assessment, onset=replace(assessment.onset, meniscus=meniscus))


@cache
def crowded() -> Assessment:
    """More than a drawing office would put on one sheet: all of it fails, and it is long."""
    assessment = with_meniscus()
    design = replace(assessment.design, title="A title that goes on and on " * 6)
    rows = tuple(
        replace(row, name=f"{row.name} ({turn})", passed=False, advice="change the drawing")
        for turn in ("first", "second")
        for row in assessment.review
    )
    warnings = tuple(f"warning number {k} with some words behind it" for k in range(12))
    return replace(assessment, design=design, review=rows, warnings=warnings)
