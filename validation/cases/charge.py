"""Flows in the field of their own charge, against closed forms and integrals along the ion."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from conegap.validation.cases.row import Case, Row
from conegap.validation.exact.charge_flow import (
    Shape,
    langmuir_factor,
    radial_current,
    radial_field,
)

__all__ = ["charge_cases", "conservation_rows", "field_rows", "limit_rows"]

# Emitter's radius [m], voltage [V] and ion [kg]; any would do.
_INNER, _VOLTS, _MASS = 1e-3, 5e3, 2.2e-25
# Of the current over its limit: the field at the emitter is then two thirds of that without charge.
_SHARE = 0.6
# Half angle of the sector, [rad], and paths in it: three to a cell of the finest mesh.
_SECTOR, _TUBES = math.radians(10.0), 60
_SOURCES = {
    "plane": "derived, integrated along the ion (validation/exact/charge_flow.py)",
    "cylinder": "derived, integrated along the ion; keeps to the series of Langmuir and Blodgett "
    "(1923), as quoted on pulsedpower.net, read",
    "sphere": "derived, integrated along the ion (validation/exact/charge_flow.py)",
}
_NAMES = {"plane": "between plates", "cylinder": "from a cylinder", "sphere": "from a sphere"}


def _name(shape: Shape, ratio: float) -> str:
    size = "" if shape == "plane" else f", r1/r0 = {ratio:g}"
    return f"ion flow {_NAMES[shape]}{size}"


def field_rows(shape: Shape, ratio: float) -> list[Row]:
    """Field at the emitter under 0.6 of the limiting current.

    Parameters
    ----------
    shape : "plane", "cylinder" or "sphere"
    ratio : float
        Outer over inner radius; plates have the gap ratio - 1, [-].
    """
    from conegap.validation.sections.flows import Diode

    diode = Diode(shape, _INNER, ratio, _VOLTS, _MASS, _SECTOR, _TUBES)
    current = _SHARE * radial_current(shape, ratio, 0.0)
    # Wide gaps have the finer meshes at the emitter.
    computed = diode.emitter_field(diode.flow(current, 1 if ratio > 10.0 else 2))
    exact = radial_field(shape, ratio, current)
    unit = _VOLTS / _INNER
    return [
        Row(
            _name(shape, ratio),
            _SOURCES[shape],
            "mean field at the emitter under 0.6 of the limiting current [V/m]",
            exact * unit,
            computed * unit,
            1e-3,
            note="of order 1.4 in the mesh: ions start from rest",
        )
    ]


def limit_rows(shape: Shape, ratio: float) -> list[Row]:
    """Current at which the field at the emitter is gone.

    Parameters
    ----------
    shape : "plane", "cylinder" or "sphere"
    ratio : float
        As in `field_rows`, [-].
    """
    from conegap.validation.sections.flows import Diode

    diode = Diode(shape, _INNER, ratio, _VOLTS, _MASS, _SECTOR, _TUBES)
    coarse, fine = (diode.limit(level) for level in (0, 1))
    # Close to the limit the density has no bound at the emitter, and the order is one.
    best = 2.0 * fine - coarse
    if shape == "plane":
        quantity, exact, found = "limiting current over Child's law", 1.0, best
        found /= radial_current(shape, ratio, 0.0)
    else:
        factor = "beta^2" if shape == "cylinder" else "alpha^2"
        quantity = f"factor {factor} of the limiting current"
        exact = langmuir_factor(shape, ratio)
        found = exact * radial_current(shape, ratio, 0.0) / best
    return [
        Row(
            _name(shape, ratio),
            _SOURCES[shape],
            quantity,
            exact,
            found,
            1e-3,
            note="currents of half and three quarters of it, carried on to no field; two meshes, "
            "first order",
        )
    ]


def conservation_rows() -> list[Row]:
    """Charge of all volumes, and Gauss's law over the whole section."""
    from conegap.solver.beam.charge_deposit import deposited_charge
    from conegap.validation.sections.flows import Diode

    diode = Diode("sphere", _INNER, 5.0, _VOLTS, _MASS)
    flow = diode.flow(_SHARE * radial_current("sphere", 5.0, 0.0), 0)
    flight = np.array([t[-1] for t in flow.paths.times])
    sent = flow.current * float(flow.starts.shares @ flight)
    left = deposited_charge(flow.field, flow.paths, flow.current * flow.starts.shares)
    drawn = flow.level.surface_charge({"emitter": _VOLTS}, flow.potential, flow.charge)
    name = "charge of an ion flow from a sphere"
    return [
        Row(
            name,
            "conservation of charge",
            "charge of all volumes over current times time of flight",
            1.0,
            float(left.sum()) / sent,
            1e-12,
            note="rounding of some thousand additions",
        ),
        Row(
            name,
            "Gauss's law",
            "charge of electrodes and beam over that of the emitter",
            0.0,
            float(drawn.sum() + flow.charge.sum()) / float(drawn[drawn > 0.0].sum()),
            1e-9,
            "absolute",
            note="the residual of the linear solve",
        ),
    ]


def _pierce_rows() -> list[Row]:
    """Tilt of an electrode that keeps the edge of a strip beam straight."""
    from conegap.validation.sections.beams import edge_angle

    tilts = (66.0, 69.0)
    low, high = (edge_angle(math.radians(tilt)) for tilt in tilts)
    found = tilts[0] + (tilts[1] - tilts[0]) * low / (low - high)
    return [
        Row(
            "electrode beside a strip beam at Child's limit",
            "derived, Child's potential r^(4/3) cos(4/3 angle) is zero where 4/3 angle is 90 deg",
            "angle to the beam that keeps it straight [deg]",
            67.5,
            found,
            0.1,
            "absolute",
            note="between 66 and 69 deg by a straight line; first order in the mesh",
        )
    ]


def _drift_rows() -> list[Row]:
    """Spread of a round beam in a drift."""
    from conegap.validation.sections.beams import drift_widening

    return [
        Row(
            "round beam of even density in a drift tube",
            "universal curve of beam spread, integral derived from r'' = K / r",
            "widening over 30 radii",
            2.0,
            drift_widening(2.0, level=2),
            2e-3,
            note="the curve holds for a slender beam: its perveance is 1.2e-3",
        )
    ]


def charge_cases() -> list[Case]:
    """Flows with their own charge, in the order of the table."""
    radial: list[tuple[Shape, float]] = [
        ("plane", 2.0),
        *[("cylinder", ratio) for ratio in (2.0, 5.0, 20.0)],
        *[("sphere", ratio) for ratio in (2.0, 5.0, 20.0)],
    ]
    return [
        *(Case(_name(*one), partial(field_rows, *one)) for one in radial),
        *(
            Case(f"limit of the {_name(*one)}", partial(limit_rows, *one), slow=True)
            for one in (("plane", 2.0), ("cylinder", 5.0), ("sphere", 5.0))
        ),
        Case("charge of an ion flow", conservation_rows),
        Case("electrode beside a strip beam", _pierce_rows),
        Case("round beam in a drift tube", _drift_rows, slow=True),
    ]
