"""One assessed needle, shared by the tests of figures, report and command line."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np

from conegap.geometries.design import Design
from conegap.geometries.starters import starter
from conegap.solver.assessment import Assessment, assess
from conegap.solver.scan import Scan, ScanPoint

__all__ = ["assessed_needle", "plain_design", "with_scans"]


def plain_design(kind: str = "needle") -> str:
    """A shipped design without tolerances, so that its budget needs no solve of its own."""
    text = re.sub(r', tolerance = "[^"]*"', "", starter(kind))
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
            voltage = assessment.onset.voltage * factor**0.5
            onset = replace(assessment.onset, voltage=voltage)
            points.append(ScanPoint(dimension.value * factor, onset, ""))
        points.append(ScanPoint(dimension.value * 3.0, None, "refused on purpose"))
        scans.append(Scan(key, dimension.label, dimension.unit, tuple(points)))
    return replace(assessment, scans=tuple(scans))
