"""The few names that scripts use: ``from conegap import Design, assess, vary``.

This file is installed as the top of the package.  A name is imported when it is first asked for,
so that ``conegap --help`` stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from conegap.geometries.design.design import Design
    from conegap.solver.assessment import Assessment, assess
    from conegap.solver.field.solution import FieldSolution, solve_field
    from conegap.solver.onset.rigid import rigid_onset
    from conegap.solver.studies.calibration import calibrate
    from conegap.solver.studies.tolerance import tolerate
    from conegap.solver.studies.vary import vary

__all__ = [
    "Assessment",
    "Design",
    "FieldSolution",
    "assess",
    "calibrate",
    "rigid_onset",
    "solve_field",
    "tolerate",
    "vary",
]

_HOMES = {
    "Assessment": "conegap.solver.assessment",
    "Design": "conegap.geometries.design.design",
    "FieldSolution": "conegap.solver.field.solution",
    "assess": "conegap.solver.assessment",
    "calibrate": "conegap.solver.studies.calibration",
    "rigid_onset": "conegap.solver.onset.rigid",
    "solve_field": "conegap.solver.field.solution",
    "tolerate": "conegap.solver.studies.tolerance",
    "vary": "conegap.solver.studies.vary",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'conegap' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
