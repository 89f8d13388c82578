"""Paths of many singly charged ions at once through the field of a section.

Newton's law without magnetic field, self field or relativity: m x'' = e E.  Motion stays in the
plane of the section: axisymmetric paths have no angular momentum about the axis, so that a path
through the axis continues on the other side, where x is negative.  Dormand and Prince's embedded
pair of orders five and four (J. Comput. Appl. Math. 6, 1980) is applied to all ions together, each
with its own step.  A step ends where the ion leaves its cubic piece of the potential, so that
the force is a smooth polynomial within every step and the next piece is known without a search.
Scaled inside (see `conegap.solver.field_at_points`), so that paths do not depend on the mass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.constants import elementary_charge

from conegap.geometries.curves import FloatArray
from conegap.solver.coarse_mesh import IntArray
from conegap.solver.field_at_points import Cubics, FieldAtPoints
from conegap.solver.landing import Landing, landings

__all__ = ["Trajectories", "trace"]

BoolArray = NDArray[np.bool_]

_STAGES = np.zeros((7, 7))
_STAGES[1, :1] = (1 / 5,)
_STAGES[2, :2] = (3 / 40, 9 / 40)
_STAGES[3, :3] = (44 / 45, -56 / 15, 32 / 9)
_STAGES[4, :4] = (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729)
_STAGES[5, :5] = (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656)
_STAGES[6, :6] = (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84)
_ERROR = np.array([71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40])
# Shampine's continuous extension of order four: weights of the stages in powers of the share.
_BETWEEN = np.array(
    [
        [1, -8048581381 / 2820520608, 8663915743 / 2820520608, -12715105075 / 11282082432],
        [0, 0, 0, 0],
        [0, 131558114200 / 32700410799, -68118460800 / 10900136933, 87487479700 / 32700410799],
        [0, -1754552775 / 470086768, 14199869525 / 1410260304, -10690763975 / 1880347072],
        [
            0,
            127303824393 / 49829197408,
            -318862633887 / 49829197408,
            701980252875 / 199316789632,
        ],
        [0, -282668133 / 205662961, 2019193451 / 616988883, -1453857185 / 822651844],
        [0, 40617522 / 29380423, -110615467 / 29380423, 69997945 / 29380423],
    ]
)
_TOLERANCE = 1e-8
_MOST_STEPS = 40_000
_OUTSIDE = -1e-12


@dataclass(frozen=True)
class Trajectories:
    """Paths of ions from their start to where they end.

    Parameters
    ----------
    paths : tuple of (k, 2) arrays
        Points of each path; x is negative beyond the axis or line of symmetry, [m].
    times : tuple of (k,) arrays
        Time of flight at those points, [s].
    start_velocity, end_velocity : (n, 2) array
        [m/s].
    landing : tuple of Landing or None
        Where each ion ended; None for an ion that was still under way after the last step.
    energy_error : (n,) array
        Largest departure of kinetic and potential energy from their sum at the start, over the
        charge times the largest difference of potential, [-].
    mass : float
        [kg].
    """

    paths: tuple[FloatArray, ...]
    times: tuple[FloatArray, ...]
    start_velocity: FloatArray
    end_velocity: FloatArray
    landing: tuple[Landing | None, ...]
    energy_error: FloatArray
    mass: float

    @property
    def end_energy(self) -> FloatArray:
        """Kinetic energy at the end of each path, (n,) array, [J]."""
        return np.asarray(0.5 * self.mass * np.sum(self.end_velocity**2, axis=1))

    @property
    def end_angle(self) -> FloatArray:
        """Angle of the last velocity to the z axis, positive towards +x, (n,) array, [rad]."""
        return np.asarray(np.arctan2(self.end_velocity[:, 0], self.end_velocity[:, 1]))


def trace(
    field: FieldAtPoints,
    starts: FloatArray,
    velocities: FloatArray,
    mass: float,
    *,
    tolerance: float = _TOLERANCE,
    most_steps: int = _MOST_STEPS,
) -> Trajectories:
    """Follow singly charged positive ions until they meet a boundary.

    Parameters
    ----------
    field : FieldAtPoints
    starts : (n, 2) array
        Places in the vacuum, [m].
    velocities : (n, 2) array
        [m/s].
    mass : float
        Of an ion, > 0, [kg].
    tolerance : float
        Error allowed in one step: of the velocity over sqrt(e U / m) with the largest
        difference of potential U, of the place over the spacing of the mesh there, [-].
    most_steps : int
        An ion that needs more (two to six per triangle) ends without a landing, [-].

    Raises
    ------
    GeometryError
        A start is not in the vacuum.
    ValueError
        The mass is not positive.
    """
    if not mass > 0.0:
        raise ValueError(f"the mass of an ion should be positive but is {mass} kg")
    speed = math.sqrt(elementary_charge * field.volts / mass)
    state = np.hstack([np.asarray(starts) / field.scale, np.asarray(velocities) / speed])
    field.potential(np.asarray(starts))
    flight = _Flight(field, state, tolerance)
    flight.run(most_steps)
    paths, times = flight.paths(field.scale, field.scale / speed)
    found = landings(field, flight.state[:, :2], flight.state[:, 2:])
    return Trajectories(
        paths=paths,
        times=times,
        start_velocity=np.array(velocities, dtype=float),
        end_velocity=flight.state[:, 2:] * speed,
        landing=tuple(
            spot if down else None for spot, down in zip(found, flight.down, strict=True)
        ),
        energy_error=flight.energy_error,
        mass=mass,
    )


class _Flight:
    """State of all ions while they are followed, in scaled quantities.

    The unit of time is that of length over sqrt(e U / m) with the largest difference of
    potential U, so that the acceleration is the negative gradient of the scaled potential.
    ``state`` is kept in the half that is meshed; ``sign`` is -1 while the ion is in the other.
    """

    def __init__(self, field: FieldAtPoints, state: FloatArray, tolerance: float) -> None:
        count = len(state)
        self.field = field
        self.tolerance = tolerance
        self.time = np.zeros(count)
        self.down = np.zeros(count, dtype=bool)
        self.energy_error = np.zeros(count)
        self.sign = np.where((state[:, 0] < 0.0) & field.mirrored, -1.0, 1.0)
        self.folded = state * self._signs()
        self.triangle, _ = field.locate(self.folded[:, :2])
        corner = field.barycentric(self.folded[:, :2], self.triangle)
        self.piece = np.asarray(np.argmin(corner, axis=1), dtype=np.int64)
        self._log = [(np.arange(count), state[:, :2].copy(), np.zeros(count))]

    @property
    def state(self) -> FloatArray:
        """Place and velocity of every ion, (n, 4) array, x negative in the mirrored half."""
        return self.folded * self._signs()

    def _signs(self) -> FloatArray:
        one = np.ones_like(self.sign)
        return np.stack([self.sign, one, self.sign, one], axis=1)

    def run(self, most_steps: int) -> None:
        """Step until every ion is down."""
        alive = np.arange(len(self.folded))
        y = np.ascontiguousarray(self.folded.T)
        phi, gradient = self.field.cubics(self.triangle, self.piece).evaluate(y[:2])
        energy = 0.5 * (y[2] ** 2 + y[3] ** 2) + phi
        step = self._whole_cell(y, gradient, self.triangle)
        for _ in range(most_steps):
            if not len(alive):
                return
            tri = self.triangle[alive]
            cubics = self.field.cubics(tri, self.piece[alive])
            stages = _stages(cubics, y, gradient, step)
            error = _error(stages, step, self.field.spacing[tri]) / self.tolerance
            good = error <= 1.0
            share, side = _exit(cubics, y, stages, step)
            share[~good] = 0.0
            side[~good] = -1
            y = _between(y, stages, step, share)
            phi, gradient = cubics.evaluate(y[:2])
            miss = np.abs(0.5 * (y[2] ** 2 + y[3] ** 2) + phi - energy[alive])
            self.energy_error[alive] = np.maximum(self.energy_error[alive], miss)
            self.time[alive] += share * step
            self._log.append(self._entry(alive[good], y[:2, good]))
            landed = self._cross(alive, side, y, gradient)
            whole = self._whole_cell(y, gradient, self.triangle[alive])
            better = step * np.clip(0.9 * np.maximum(error, 1e-12) ** -0.2, 0.2, 4.0)
            step = np.minimum(whole, better)
            if landed.any():
                self.down[alive[landed]] = True
                self.folded[alive[landed]] = y[:, landed].T
                on = ~landed
                alive, y, gradient, step = alive[on], y[:, on], gradient[:, on], step[on]
        self.folded[alive] = y.T

    def _entry(self, who: IntArray, places: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
        return who, np.stack([places[0] * self.sign[who], places[1]], axis=1), self.time[who]

    def _whole_cell(self, y: FloatArray, gradient: FloatArray, tri: IntArray) -> FloatArray:
        """Time in which an ion moves by the spacing of the mesh, also from rest."""
        cell = self.field.spacing[tri]
        pace, push = np.hypot(y[2], y[3]), np.hypot(gradient[0], gradient[1])
        return np.asarray(2.0 * cell / (pace + np.sqrt(pace**2 + 2.0 * push * cell) + 1e-9))

    def _cross(
        self, alive: IntArray, side: IntArray, y: FloatArray, gradient: FloatArray
    ) -> BoolArray:
        """Move ions to the piece beyond a side; True where there is a boundary instead."""
        tri, piece = self.triangle[alive], self.piece[alive]
        within = (side == 0) | (side == 1)
        self.piece[alive[within]] = (piece[within] + 1 + side[within]) % 3
        out = side == 2
        beyond = self.field.neighbours[tri, piece]
        onward = out & (beyond >= 0)
        self.triangle[alive[onward]] = beyond[onward]
        back = self.field.neighbours[beyond[onward]] == tri[onward, None]
        self.piece[alive[onward]] = np.argmax(back, axis=1)
        blocked = out & (beyond < 0)
        if not blocked.any():
            return blocked
        mirror = blocked & self.field.mirror_sides[tri, piece]
        self.sign[alive[mirror]] *= -1.0
        y[0, mirror] = np.abs(y[0, mirror])
        y[2, mirror] *= -1.0
        gradient[0, mirror] *= -1.0
        return np.asarray(blocked & ~mirror)

    def paths(
        self, length: float, seconds: float
    ) -> tuple[tuple[FloatArray, ...], tuple[FloatArray, ...]]:
        """Points and times of every path in SI, for the units of length and time."""
        who = np.concatenate([entry[0] for entry in self._log])
        order = np.argsort(who, kind="stable")
        cuts = np.cumsum(np.bincount(who, minlength=len(self.folded)))[:-1]
        places = np.concatenate([entry[1] for entry in self._log])[order] * length
        times = np.concatenate([entry[2] for entry in self._log])[order] * seconds
        return tuple(np.split(places, cuts)), tuple(np.split(times, cuts))


def _stages(cubics: Cubics, y: FloatArray, gradient: FloatArray, step: FloatArray) -> FloatArray:
    """Derivatives of the state at the stages of one step, (7, 4, n) array."""
    stages = np.empty((7, *y.shape))
    stages[0, :2], stages[0, 2:] = y[2:], -gradient
    flat = stages.reshape(7, -1)
    for number in range(1, 7):
        at = y + step * (_STAGES[number, :number] @ flat[:number]).reshape(y.shape)
        stages[number, :2], stages[number, 2:] = at[2:], -cubics.evaluate(at[:2])[1]
    return stages


def _error(stages: FloatArray, step: FloatArray, cell: FloatArray) -> FloatArray:
    """Estimated error of one step: of the place over the spacing, or of the velocity, (n,)."""
    slip = np.abs(step * (_ERROR @ stages.reshape(7, -1)).reshape(stages.shape[1:]))
    slip[:2] /= cell
    return np.asarray(slip.max(axis=0))


def _between(y: FloatArray, stages: FloatArray, step: FloatArray, share: FloatArray) -> FloatArray:
    """State after a share of each step, (4, n) array."""
    weights = _BETWEEN @ (share * np.cumprod(np.stack([np.ones_like(share), *3 * [share]]), axis=0))
    return np.asarray(y + step * np.sum(weights[:, None] * stages, axis=0))


def _exit(
    cubics: Cubics, y: FloatArray, stages: FloatArray, step: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Share of each step until the ion leaves its piece, and through which side.

    Returns
    -------
    (n,) array
        1 where it stays inside, [-].
    (n,) array of int
        Barycentric coordinate that becomes negative, -1 where none does.
    """
    count = y.shape[1]
    way = (_BETWEEN.T @ stages[:, :2].reshape(7, -1)).reshape(4, 2, count) * step
    # Coordinate c along the step is the polynomial with the coefficients g[:, c].
    g = np.empty((5, 3, count))
    g[0, :2] = cubics.shares(y[:2])
    g[1:, :2] = way[:, 0, None] * cubics.slopes[:, 0] + way[:, 1, None] * cubics.slopes[:, 1]
    g[:, 2] = -g[:, 0] - g[:, 1]
    g[0, 2] += 1.0
    leaves = g.sum(axis=0) < _OUTSIDE
    g0, g1, g2, g3, g4 = g
    root = np.sqrt(np.maximum(g1 * g1 - 4.0 * g0 * g2, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        s = 2.0 * g0 / (root - g1)
        s = np.where((s > 0.0) & (s < 1.0), s, s >= 1.0)
        for _ in range(2):
            value = g0 + s * (g1 + s * (g2 + s * (g3 + s * g4)))
            slope = g1 + s * (2.0 * g2 + s * (3.0 * g3 + s * (4.0 * g4)))
            s = s - value / slope
            s = np.where((s > 0.0) & (s < 1.0), s, s >= 1.0)
    s = np.where(leaves, s, 2.0)
    side = np.argmin(s, axis=0)
    share = s[side, np.arange(count)]
    stays = share > 1.0
    return np.where(stays, 1.0, share), np.where(stays, -1, side)
