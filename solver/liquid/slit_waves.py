"""The first loss of symmetry on a branch of liquid shapes.

At every shape the smallest eigenvalue says whether a wave grows: along a slit, where its length is
the spacing of the emission sites, or once around an axis, where the surface tilts.  Where the
eigenvalue first crosses zero is the onset of that wave.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.liquid.branch import LiquidSection, MeniscusBranch, problem_at
from conegap.solver.liquid.meniscus import Equilibrium, MeniscusProblem
from conegap.solver.liquid.stability import Wave, smallest_eigenvalue, stability

__all__ = ["FirstWave", "first_tilt", "first_wave"]

# Subdivisions of the one mesh on which waves are compared.
_LEVEL = 2
# Displacement functions of a wave.
_MODES = 8
# In inverse half widths, evenly spread over the logarithm: waves of 3 to 63 half widths.
_WAVE_NUMBERS = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0)


@dataclass(frozen=True)
class FirstWave:
    """The first wave that grows along a slit.

    Parameters
    ----------
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a) where it begins to grow, [-].
    wave_number : float
        k in inverse half widths, [-].
    before_turning_point : bool
        Whether it begins below the turning point of the uniform meniscus.
    """

    electric_bond_number: float
    wave_number: float
    before_turning_point: bool

    @property
    def wavelength(self) -> float:
        """Wavelength in half widths, [-]."""
        return 2.0 * math.pi / self.wave_number


def first_wave(liquid: LiquidSection, branch: MeniscusBranch) -> FirstWave | None:
    """The first growing wave along the slit on a branch of uniform shapes.

    Parameters
    ----------
    liquid : LiquidSection
        Planar.
    branch : MeniscusBranch
        Of shapes with held pressure.

    Returns
    -------
    FirstWave or None
        None when no wave longer than three and shorter than sixty half widths grows before the
        last shape of the branch.
    """
    found = _first_crossing(branch, lambda shape: _least_stable(liquid, branch, shape))
    if found is None:
        return None
    electric_bond_number, wave_number, early = found
    return FirstWave(electric_bond_number, wave_number, early)


def first_tilt(liquid: LiquidSection, branch: MeniscusBranch) -> float | None:
    """Strength at which the surface tilts (one wave around the axis) before the turning point.

    A pinned flat disc of fixed volume does; a surface with held pressure usually does not.

    Parameters
    ----------
    liquid : LiquidSection
        Axisymmetric.
    branch : MeniscusBranch

    Returns
    -------
    float or None
        lambda = eps0 V^2 / (gamma a), or None when the surface stands upright until it turns, [-].
    """

    def eigenvalue(shape: Equilibrium) -> tuple[float, float]:
        problem = problem_at(liquid, shape.shape, _LEVEL, branch.held, branch.amount)
        matrices = stability(problem, shape.shape, Wave(around=1), _MODES)
        return smallest_eigenvalue(matrices, shape.electric_bond_number), 1.0

    found = _first_crossing(branch, eigenvalue)
    return found[0] if found is not None and found[2] else None


def _first_crossing(
    branch: MeniscusBranch, least: Callable[[Equilibrium], tuple[float, float]]
) -> tuple[float, float, bool] | None:
    """Strength of the first zero of an eigenvalue, its wave number, and whether it comes early."""
    previous: tuple[float, float] | None = None
    for number, shape in enumerate(branch.equilibria):
        if shape.electric_bond_number <= 0.0:
            continue
        eigenvalue, wave_number = least(shape)
        if eigenvalue <= 0.0:
            electric_bond_number = shape.electric_bond_number
            if previous is not None:
                before, value = previous
                electric_bond_number = before + (shape.electric_bond_number - before) * value / (
                    value - eigenvalue
                )
            fold = branch.electric_bond_number.value
            early = number < branch.turning_index and electric_bond_number < fold
            return min(electric_bond_number, fold), wave_number, early
        previous = (shape.electric_bond_number, eigenvalue)
    return None


def _least_stable(
    liquid: LiquidSection, branch: MeniscusBranch, shape: Equilibrium
) -> tuple[float, float]:
    """Smallest eigenvalue over the wave numbers, and its wave number."""
    problem: MeniscusProblem = problem_at(liquid, shape.shape, _LEVEL, branch.held, branch.amount)
    still = problem.state(shape.shape)
    values: FloatArray = np.array(
        [
            smallest_eigenvalue(
                stability(problem, shape.shape, Wave(along=k), _MODES, still),
                shape.electric_bond_number,
            )
            for k in _WAVE_NUMBERS
        ]
    )
    least = int(np.argmin(values))
    if 0 < least < len(values) - 1:
        some = slice(least - 1, least + 2)
        logs = np.log(np.array(_WAVE_NUMBERS[some]))
        curve = np.polynomial.Polynomial.fit(logs, values[some], 2)
        vertex = float(np.clip(curve.deriv().roots()[0].real, logs[0], logs[-1]))
        return min(float(curve(vertex)), float(values[least])), float(math.exp(vertex))
    return float(values[least]), _WAVE_NUMBERS[least]
