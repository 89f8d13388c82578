"""Paths of many singly charged ions at once through the field of a section.

Newton's law without magnetic field, self field or relativity: m x'' = e E.  Motion stays in the
plane of the section: axisymmetric paths have no angular momentum about the axis, so that a path
through the axis continues on the other side, where x is negative.  Dormand and Prince's embedded
pair of orders five and four (J. Comput. Appl. Math. 6, 1980) is applied to all ions together, each
with its own step.  A step ends where the ion leaves its cubic piece of the potential, so that
the force is a smooth polynomial within every step and the next piece is known without a search.
Scaled inside (see `conegap.solver.field.interpolation`), so that paths do not depend on the mass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.constants import elementary_charge

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.quantities.notebook import brief
from conegap.solver.beam.ion_step import exit_edge, stages_of, state_between, step_error
from conegap.solver.beam.landing import Landing, landings
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.field.smooth_potential import Cubics

__all__ = ["Swarm", "Trajectories", "trace", "trace_together"]


# Error allowed in one step: of the velocity over sqrt(e U / m) with the largest difference of
# potential U, of the place over the spacing of the mesh there. At 1e-6 or 1e-10 the angles of the
# needle's and the slit's beam are the same to 1e-5; energy is then kept to 6e-7 or 4e-9 of the
# voltage, here to 1e-7.
_TOLERANCE = 1e-8
# About a thousand are needed; an ion that never lands uses up so many and ends without a landing.
_MOST_STEPS = 40_000


@dataclass(frozen=True)
class Trajectories:
    """Paths of ions from their start to where they end.

    Parameters
    ----------
    paths : tuple of (k, 2) arrays
        Points of each path; x is negative beyond the axis or line of symmetry, [m].
    times : tuple of (k,) arrays
        Time of flight at those points, [s].
    velocities : tuple of (k, 2) arrays
        At those points, [m/s].
    triangles : tuple of (k - 1,) arrays of int
        Triangle of the mesh in which each stretch between two points lies.
    end_velocity : (n, 2) array
        [m/s].
    landing : tuple of Landing or None
        Where each ion ended; None for an ion that was still under way after the last step.
    energy_error : (n,) array
        Largest deviation of kinetic and potential energy from their sum at the start, over the
        charge times the largest difference of potential, [-].
    mass : float
        [kg].
    """

    paths: tuple[FloatArray, ...]
    times: tuple[FloatArray, ...]
    velocities: tuple[FloatArray, ...]
    triangles: tuple[IntArray, ...]
    end_velocity: FloatArray
    landing: tuple[Landing | None, ...]
    energy_error: FloatArray
    mass: float

    __repr__ = brief

    @property
    def end_energy(self) -> FloatArray:
        """Kinetic energy at the end of each path, (n,) array, [J]."""
        return np.asarray(0.5 * self.mass * np.sum(self.end_velocity**2, axis=1))

    @property
    def end_angle(self) -> FloatArray:
        """Angle of the last velocity to the z axis, positive towards +x, (n,) array, [rad]."""
        return np.asarray(np.arctan2(self.end_velocity[:, 0], self.end_velocity[:, 1]))


@dataclass(frozen=True)
class Swarm:
    """Singly charged positive ions of one mass in one field, about to be followed.

    Parameters
    ----------
    field : FieldAtPoints
    starts : (n, 2) array
        Places in the vacuum, [m].
    velocities : (n, 2) array
        [m/s].
    mass : float
        Of an ion, > 0, [kg].

    Raises
    ------
    GeometryError
        A start is not in the vacuum.
    ValueError
        The mass is not positive.
    """

    field: FieldAtPoints
    starts: FloatArray
    velocities: FloatArray
    mass: float

    def __post_init__(self) -> None:
        if not self.mass > 0.0:
            raise ValueError(f"the mass of an ion should be positive but is {self.mass} kg")
        self.field.potential(np.asarray(self.starts))

    __repr__ = brief

    @property
    def pace(self) -> float:
        """Unit of velocity, sqrt(e U / m) with the largest difference of potential U, [m/s]."""
        return math.sqrt(elementary_charge * self.field.volts / self.mass)

    @property
    def state(self) -> FloatArray:
        """Places and velocities, scaled, (n, 4) array."""
        scale = self.field.scale
        return np.hstack([np.asarray(self.starts) / scale, np.asarray(self.velocities) / self.pace])


def trace(
    field: FieldAtPoints,
    starts: FloatArray,
    velocities: FloatArray,
    mass: float,
) -> Trajectories:
    """Follow singly charged positive ions until they meet a boundary.

    Parameters
    ----------
    starts : (n, 2) array
        Places in the vacuum, [m].
    velocities : (n, 2) array
        [m/s].
    mass : float
        Of an ion, > 0, [kg].

    Raises
    ------
    GeometryError
        A start is not in the vacuum.
    ValueError
        The mass is not positive.
    """
    return trace_together([Swarm(field, starts, velocities, mass)])[0]


def trace_together(swarms: Sequence[Swarm]) -> list[Trajectories]:
    """Follow the ions of several fields side by side.

    Two thirds of a step's time with a hundred ions do not depend on their number: four swarms side
    by side take 0.4 times as long as one after the other.

    Parameters
    ----------
    swarms : sequence of Swarm
    """
    flight = _Flight(swarms)
    flight.run()
    cuts = np.cumsum([0, *(len(swarm.starts) for swarm in swarms)])
    logged = flight.logged()
    found = []
    for number, swarm in enumerate(swarms):
        mine = slice(int(cuts[number]), int(cuts[number + 1]))
        field, pace, state = swarm.field, swarm.pace, flight.state[mine]
        down = np.nonzero(flight.down[mine])[0]
        landing: list[Landing | None] = [None] * len(state)
        for ion, spot in zip(down, landings(field, state[down, :2], state[down, 2:]), strict=True):
            landing[ion] = spot
        before = flight.ground.first[number]
        found.append(
            Trajectories(
                paths=tuple(part * field.scale for part in logged.places[mine]),
                times=tuple(part * (field.scale / pace) for part in logged.times[mine]),
                velocities=tuple(part * pace for part in logged.velocities[mine]),
                triangles=tuple(part[1:] - before for part in logged.triangles[mine]),
                end_velocity=state[:, 2:] * pace,
                landing=tuple(landing),
                energy_error=flight.energy_error[mine],
                mass=swarm.mass,
            )
        )
    return found


@dataclass(frozen=True)
class _Ground:
    """The triangles of several fields, numbered one field after the other from ``first``."""

    first: IntArray
    cubics: Cubics
    spacing: FloatArray
    neighbours: IntArray
    mirror_sides: BoolArray

    @classmethod
    def of(cls, fields: Sequence[FieldAtPoints]) -> _Ground:
        first = np.cumsum([0, *(len(field.neighbours) for field in fields[:-1])])
        return cls(
            first,
            Cubics.joined([field.every_cubic for field in fields]),
            np.concatenate([field.spacing for field in fields]),
            np.concatenate(
                [
                    np.where(field.neighbours < 0, -1, field.neighbours + before)
                    for field, before in zip(fields, first, strict=True)
                ]
            ),
            np.concatenate([field.mirror_sides for field in fields]),
        )


class _Flight:
    """State of all ions while they are followed, in scaled quantities.

    The unit of time is that of length over the swarm's unit of velocity, so that the acceleration
    is the negative gradient of the scaled potential.  ``folded`` is kept in the half that is
    meshed; ``sign`` is -1 while the ion is in the other.
    """

    def __init__(self, swarms: Sequence[Swarm]) -> None:
        self.ground = _Ground.of([swarm.field for swarm in swarms])
        state = np.vstack([swarm.state for swarm in swarms])
        count = len(state)
        mirrored = np.repeat(
            [swarm.field.mirrored for swarm in swarms], [len(swarm.starts) for swarm in swarms]
        )
        self.time = np.zeros(count)
        self.down = np.zeros(count, dtype=bool)
        self.energy_error = np.zeros(count)
        self.sign = np.where((state[:, 0] < 0.0) & mirrored, -1.0, 1.0)
        self.folded = state * self._signs()
        self.triangle = np.empty(count, dtype=np.int64)
        self.piece = np.empty(count, dtype=np.int64)
        done = 0
        for swarm, before in zip(swarms, self.ground.first, strict=True):
            mine = slice(done, done + len(swarm.starts))
            place = self.folded[mine, :2]
            triangle, _ = swarm.field.locate(place)
            self.piece[mine] = np.argmin(swarm.field.barycentric(place, triangle), axis=1)
            self.triangle[mine] = triangle + before
            done = mine.stop
        self._log = [(np.arange(count), state.T.copy(), np.zeros(count), self.triangle.copy())]

    @property
    def state(self) -> FloatArray:
        """Place and velocity of every ion, (n, 4) array, x negative in the mirrored half."""
        return self.folded * self._signs()

    def _signs(self) -> FloatArray:
        one = np.ones_like(self.sign)
        return np.stack([self.sign, one, self.sign, one], axis=1)

    def run(self) -> None:
        """Step until every ion is down."""
        alive = np.arange(len(self.folded))
        y = np.ascontiguousarray(self.folded.T)
        cubics = self.ground.cubics.at(3 * self.triangle + self.piece)
        phi, gradient = cubics.evaluate(cubics.shares(y[:2]))
        energy = 0.5 * (y[2] ** 2 + y[3] ** 2) + phi
        step = self._whole_cell(y, gradient, self.triangle)
        for _ in range(_MOST_STEPS):
            if not len(alive):
                return
            tri = self.triangle[alive]
            cubics = self.ground.cubics.at(3 * tri + self.piece[alive])
            local = cubics.inward(y)
            stages = stages_of(cubics, local, step)
            error = step_error(cubics, stages, step, self.ground.spacing[tri]) / _TOLERANCE
            good = error <= 1.0
            share, side = exit_edge(local, stages, step)
            share[~good] = 0.0
            side[~good] = -1
            local = state_between(local, stages, step, share)
            y = cubics.outward(local)
            phi, gradient = cubics.evaluate(local[:2])
            miss = np.abs(0.5 * (y[2] ** 2 + y[3] ** 2) + phi - energy[alive])
            self.energy_error[alive] = np.maximum(self.energy_error[alive], miss)
            self.time[alive] += share * step
            self._log.append(self._entry(alive[good], y[:, good], tri[good]))
            landed = self._cross(alive, side, y)
            whole = self._whole_cell(y, gradient, self.triangle[alive])
            # Fifth-order error control with the usual safety factor and limits of change (E.
            # Hairer, S. P. Norsett and G. Wanner, Solving Ordinary Differential Equations I,
            # II.4, from memory).
            better = step * np.clip(0.9 * np.maximum(error, 1e-12) ** -0.2, 0.2, 4.0)
            step = np.minimum(whole, better)
            # A step from what is no number never ends; such an ion is given up where it is.
            on = ~landed & np.isfinite(step) & np.isfinite(y).all(axis=0)
            if not on.all():
                self.down[alive[landed]] = True
                self.folded[alive[~on]] = y[:, ~on].T
                alive, y, step = alive[on], y[:, on], step[on]
        self.folded[alive] = y.T

    def _entry(self, who: IntArray, state: FloatArray, tri: IntArray) -> _Entry:
        sign = self.sign[who]
        return who, state * np.stack([sign, np.ones_like(sign)] * 2), self.time[who], tri

    def _whole_cell(self, y: FloatArray, gradient: FloatArray, tri: IntArray) -> FloatArray:
        """Time in which an ion moves by the spacing of the mesh, also from rest."""
        cell = self.ground.spacing[tri]
        pace, acceleration = np.hypot(y[2], y[3]), np.hypot(gradient[0], gradient[1])
        return np.asarray(2.0 * cell / (pace + np.sqrt(pace**2 + 2.0 * acceleration * cell) + 1e-9))

    def _cross(self, alive: IntArray, side: IntArray, y: FloatArray) -> BoolArray:
        """Move ions to the piece beyond a side; True where there is a boundary instead."""
        tri, piece = self.triangle[alive], self.piece[alive]
        within = (side == 0) | (side == 1)
        self.piece[alive[within]] = (piece[within] + 1 + side[within]) % 3
        out = side == 2
        beyond = self.ground.neighbours[tri, piece]
        onward = out & (beyond >= 0)
        self.triangle[alive[onward]] = beyond[onward]
        back = self.ground.neighbours[beyond[onward]] == tri[onward, None]
        self.piece[alive[onward]] = np.argmax(back, axis=1)
        blocked: BoolArray = out & (beyond < 0)
        if not blocked.any():
            return blocked
        mirror = blocked & self.ground.mirror_sides[tri, piece]
        self.sign[alive[mirror]] *= -1.0
        y[0, mirror] = np.abs(y[0, mirror])
        y[2, mirror] *= -1.0
        stopped: BoolArray = blocked & ~mirror
        return stopped

    def logged(self) -> _Logged:
        """States, times and triangles of every ion at the ends of its steps, scaled."""
        who, states, times, triangles = (
            np.concatenate(parts, axis=-1) for parts in zip(*self._log, strict=True)
        )
        order = np.argsort(who, kind="stable")
        cuts = np.cumsum(np.bincount(who, minlength=len(self.folded)))[:-1]
        states = states[:, order].T
        return _Logged(
            np.split(states[:, :2], cuts),
            np.split(states[:, 2:], cuts),
            np.split(times[order], cuts),
            np.split(triangles[order], cuts),
        )


# Numbers of ions, their states, their times and the triangles that the step went through.
_Entry = tuple[IntArray, FloatArray, FloatArray, IntArray]


@dataclass(frozen=True)
class _Logged:
    """One entry for each ion."""

    places: list[FloatArray]
    velocities: list[FloatArray]
    times: list[FloatArray]
    triangles: list[IntArray]
