"""What conegap predicts for a measured case: a value and its band."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files

from scipy.constants import epsilon_0

from conegap.geometries.design.design import Design
from conegap.solver.arrays.first_emission import first_emission
from conegap.solver.liquid.branch import MeniscusBranch
from conegap.solver.onset.surface_balance import balance_field
from conegap.solver.studies.budget import error_budget
from conegap.solver.studies.onset import solve_onset
from conegap.validation.measured.record import ROOM, Measured
from conegap.validation.sections.menisci import electric_bond_number_of_field, free_drop

__all__ = ["PREDICTORS", "Prediction", "predict"]


@dataclass(frozen=True)
class Prediction:
    """A predicted value with its band, k = 2, [V] or [-]."""

    value: float
    low: float
    high: float


@cache
def _drop() -> MeniscusBranch:
    """The free drop, followed once for all cases."""
    return free_drop()


def _drop_field(_: Measured) -> Prediction:
    """sqrt(W) at the turning point; its band is the numerical error, rectangular, k = 2."""
    found = _drop().electric_bond_number
    field = math.sqrt(electric_bond_number_of_field(found.value))
    # Half of W's relative error, for the root; two standard deviations of a rectangle.
    width = field * 0.5 * found.error * 2.0 / math.sqrt(3.0)
    return Prediction(field, field - width, field + width)


def _drop_length(_: Measured) -> Prediction:
    """Length at the turning point over the diameter at rest.

    0.3 % either way: as far as `conegap validate` holds the height there against boundary elements.
    """
    shape = _drop().turning.shape
    # The half drop keeps its volume, 2 pi / 3 of the radius at rest cubed.
    radius = (1.5 * shape.volume / math.pi) ** (1.0 / 3.0)
    length = shape.height / radius
    return Prediction(length, 0.997 * length, 1.003 * length)


def _drop_charge(_: Measured) -> Prediction:
    """Charge of a sphere whose field balances its tension, over 8 pi sqrt(eps0 gamma r^3).

    It has no band: a sphere needs no mesh, and the tension cancels from what is measured.
    """
    tension, radius = 0.02, 1e-5  # any would do
    field = balance_field(surface_tension=tension, curvature=2.0 / radius)
    charge = 4.0 * math.pi * epsilon_0 * radius**2 * field
    ratio = charge / (8.0 * math.pi * math.sqrt(epsilon_0 * tension * radius**3))
    return Prediction(ratio, ratio, ratio)


def _design_voltage(case: Measured) -> Prediction:
    """First emission of a case's design file, with the band of its tolerances."""
    with as_file(files(ROOM).joinpath(case.design)) as place:
        design = Design.read(place)
    onset = solve_onset(design)
    first = first_emission(onset, error_budget(onset), None, None).first
    return Prediction(first.voltage, first.low, first.high)


PREDICTORS: Mapping[str, Callable[[Measured], Prediction]] = {
    "field of a free drop": _drop_field,
    "length of a free drop": _drop_length,
    "charge of a drop": _drop_charge,
    "voltage of a design": _design_voltage,
}
"""How each thing that a case may predict is computed."""


def predict(case: Measured) -> Prediction:
    """The prediction for a case, computed now.

    Parameters
    ----------
    case : Measured

    Raises
    ------
    DesignError
        The design file of the case has no onset.
    ContinuationError, MeshError, ConvergenceError
        It could not be computed; there is no number then.
    """
    return PREDICTORS[case.predicts](case)
