"""The first loss of symmetry on a branch of liquid shapes.

At every shape the smallest eigenvalue says whether a wave grows: along a slit, where its length is
the spacing of the emission sites, or once around an axis, where the surface tilts.  Where the
eigenvalue first crosses zero is the onset of that wave.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ComputationError
from conegap.solver.field.extrapolation import estimate
from conegap.solver.liquid.branch import problem_at
from conegap.solver.liquid.continuation import correct
from conegap.solver.liquid.meniscus import Held, MeniscusProblem
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.stability import Wave, smallest_eigenvalue, stability
from conegap.solver.liquid.surface_mesh import LiquidSection

__all__ = ["FirstWave", "LoadedShape", "first_tilt", "first_wave"]

# Subdivisions of the meshes on which a shape is balanced anew for its load and, on the second, for
# its waves, and displacement functions of a wave.
# On the shipped slit the first wave lies at 7207.8 V with 2 and 4 subdivisions and 12 functions, at
# 7210.3 V with 4 and 8, at 7208.2 V with 16 functions; with the loads of the coarse ramp at 7162 V.
_LEVELS = (2, 4)
_MODES = 12
# Tolerance of Newton's method, which leaves a hundredth of it.
_CLOSE = 1e-5
# Subdivisions for a tilt. On the drawn-out cap of the shipped needle the smallest eigenvalue just
# before the turning point is 0.8 to 1.7 on 8 subdivisions with 10 to 20 functions, but scatters
# from -1.1 to 1.5 on 4 and from -2.6 to 2.1 on 2, which once gave a tilt that is not there.
_TILT_LEVEL = 8
# In inverse half widths, evenly spread over the logarithm: waves of 3 to 63 half widths.
_WAVE_NUMBERS = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0)


@dataclass(frozen=True)
class LoadedShape:
    """A shape in balance, its section and its voltage.

    Parameters
    ----------
    liquid : LiquidSection
        With the shape's own contact line.
    pressure : float
        In gamma / a, [-].
    load : float
        eps0 V^2 / gamma, [m].
    held : bool
        Whether it is seen in a ramp.
    amount : float
        See `MeniscusProblem`, [-].
    """

    liquid: LiquidSection
    shape: MeniscusShape
    pressure: float
    load: float
    held: bool
    amount: float

    @property
    def electric_bond_number(self) -> float:
        """lambda = eps0 V^2 / (gamma a), [-]."""
        return self.load / self.liquid.radius


@dataclass(frozen=True)
class FirstWave:
    """The first wave that grows along a slit.

    Parameters
    ----------
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a) where it begins to grow, [-].
    wave_number : float
        k in inverse half widths, [-].
    """

    electric_bond_number: float
    wave_number: float

    @property
    def wavelength(self) -> float:
        """Wavelength in half widths, [-]."""
        return 2.0 * math.pi / self.wave_number


def first_wave(shapes: Sequence[LoadedShape], lost: float, radius: float) -> FirstWave | None:
    """The first growing wave along the slit on a ramp of uniform shapes with held pressure.

    The contact line is taken to stand still under the wave.

    Parameters
    ----------
    shapes : sequence of LoadedShape
        Planar, in the order of the ramp.
    lost : float
        Load eps0 V^2 / gamma at which the uniform surface loses its equilibrium, [m].
    radius : float
        Half width a in which the result is given, [m].

    Returns
    -------
    FirstWave or None
        None when no wave longer than three and shorter than sixty half widths grows before the
        last shape.
    """
    found = _first_crossing(shapes, lost, _least_stable)
    if found is None:
        return None
    load, wave_number, _ = found
    return FirstWave(load / radius, wave_number * radius)


def first_tilt(shapes: Sequence[LoadedShape], lost: float, held: Held) -> float | None:
    """Load at which the surface tilts (one wave around the axis) before it loses its equilibrium.

    A pinned flat disc of fixed volume does; a surface with held pressure usually does not.

    Parameters
    ----------
    shapes : sequence of LoadedShape
        Axisymmetric, in the order of the ramp.
    lost : float
        Load eps0 V^2 / gamma at which the upright surface loses its equilibrium, [m].
    held : "pressure" or "volume"

    Returns
    -------
    float or None
        eps0 V^2 / gamma, or None when the surface stands upright until then, [m].
    """

    def eigenvalue(one: LoadedShape) -> tuple[float, float, float]:
        problem = problem_at(one.liquid, one.shape, _TILT_LEVEL, held, one.amount)
        matrices = stability(problem, one.shape, Wave(around=1), _MODES)
        return smallest_eigenvalue(matrices, one.electric_bond_number), 1.0, one.load

    # The eigenvalue falls as the surface is drawn out: where the last shape stands, all do.
    standing = [one for one in shapes if one.held and one.load > 0.0]
    if standing and eigenvalue(standing[-1])[0] > 0.0:
        return None
    found = _first_crossing(shapes, lost, eigenvalue)
    return found[0] if found is not None and found[2] else None


def _first_crossing(
    shapes: Sequence[LoadedShape],
    lost: float,
    least: Callable[[LoadedShape], tuple[float, float, float]],
) -> tuple[float, float, bool] | None:
    """Load of the first zero of an eigenvalue, its wave number [1/m], and whether it is early."""
    previous: tuple[float, float] | None = None
    for one in shapes:
        if one.load <= 0.0:
            continue
        eigenvalue, wave_number, load = least(one)
        if eigenvalue <= 0.0:
            early = one.held and load < lost
            if previous is not None:
                before, value = previous
                load = before + (load - before) * value / (value - eigenvalue)
            return min(load, lost), wave_number, early
        previous = (load, eigenvalue)
    return None


def _rebalanced(one: LoadedShape) -> tuple[MeniscusProblem, MeniscusShape, float, float]:
    """The shape with the same slope at its contact line in balance on a mesh of its own: problem,
    shape, electric Bond number there, and load by two meshes [m].

    A shape that is not found again stands as it came.
    """
    # Every polynomial of the slope is one at the contact line: the plane in which it stays.
    direction = np.append(np.ones(len(one.shape.coefficients)), 0.0)
    direction /= np.linalg.norm(direction)
    problem = problem_at(one.liquid, one.shape, _LEVELS[0], "pressure", one.amount)
    x = problem.unknowns(one.shape, one.pressure, one.electric_bond_number)
    bonds = []
    for level in _LEVELS:
        problem = problem_at(one.liquid, one.shape, level, "pressure", one.amount, problem)
        try:
            x = correct(problem.residual_and_jacobian, x, direction, _CLOSE).x
        except ComputationError:
            return problem, one.shape, one.electric_bond_number, one.load
        bonds.append(problem.parts(x)[2])
    load = estimate(_LEVELS, tuple(bonds)).value * one.liquid.radius
    return problem, problem.shape(x), bonds[-1], load


def _least_stable(one: LoadedShape) -> tuple[float, float, float]:
    """Smallest eigenvalue over the wave numbers, its wave number [1/m], and the load [m]."""
    radius = one.liquid.radius
    problem, shape, bond, load = _rebalanced(one)
    still = problem.state(shape)
    values: FloatArray = np.array(
        [
            smallest_eigenvalue(
                stability(problem, shape, Wave(along=k), _MODES, still),
                bond,
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
        lowest = min(float(curve(vertex)), float(values[least]))
        return lowest, float(math.exp(vertex)) / radius, load
    return float(values[least]), _WAVE_NUMBERS[least] / radius, load
