"""What a slow ramp of the voltage does to the contact line of a fed liquid.

The line follows V(u) of `conegap.solver.liquid.contact_line` where it rises, jumps where it falls,
and the ramp ends where no place holds it or the surface itself turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.liquid.contact_line import ContactSolve, slope_on_meshes
from conegap.solver.liquid.contact_section import Station, Wetting
from conegap.solver.liquid.continuation import ContinuationError

__all__ = ["LossMode", "Ramp", "RampStep", "ramp", "top_of_ramp"]

LossMode = Literal["turning point", "contact line gives way", "turning point, moving line"]

# By what share a later place must exceed an earlier one to hold the line, the error of V(u) on one
# coarse mesh.
_HIGHER = 1e-3
# The top of V(u) is solved anew on one mesh finer than the coarse one.
_FINER = 4


@dataclass(frozen=True)
class RampStep:
    """What the contact line does at one voltage of a slow ramp.

    Parameters
    ----------
    load : float
        eps0 V^2 / gamma, at least 0, [m].
    leaves, reaches : str
        Places.
    jumps : bool
        Whether it runs on without a further rise of the voltage.
    """

    load: float
    leaves: str
    reaches: str
    jumps: bool


@dataclass(frozen=True)
class Ramp:
    """A slow ramp from no voltage to the loss of equilibrium, on a coarse mesh.

    Parameters
    ----------
    states : tuple of ContactSolve
        Surfaces that are held one after another, the last of them where the equilibrium is lost.
    steps : tuple of RampStep
        In the order of the voltage.
    mode : str
        "turning point" where a surface turns while its line stands still (the last state lies
        beyond it), "contact line gives way" where a line leaves its corner and no later place
        holds it, "turning point, moving line" where a line on a smooth wall runs away.
    beside : tuple of ContactSolve
        The neighbours of the last state along the wall.
    """

    states: tuple[ContactSolve, ...]
    steps: tuple[RampStep, ...]
    mode: LossMode
    beside: tuple[ContactSolve, ...] = ()

    @property
    def last(self) -> ContactSolve:
        """Where the equilibrium is lost."""
        return self.states[-1]


def ramp(rest: Sequence[ContactSolve], solves: Sequence[ContactSolve]) -> Ramp:
    """The states that a slow ramp passes.

    Parameters
    ----------
    rest : sequence of ContactSolve
        At the start, from no voltage on; may be empty.
    solves : sequence of ContactSolve
        At the places along the wall, from the start on.
    """
    number = 0
    here = solves[0]
    states, steps = [*rest[:-1], here], []
    while here.rises or not here.station.pinned:
        # Without voltage the line runs on to the first place that holds it at all.
        held = [
            k
            for k in range(number + 1, len(solves))
            if solves[k].load > max(here.load, 0.0) * (1.0 if k == number + 1 else 1.0 + _HIGHER)
        ]
        if not held:
            break
        jumps = held[0] > number + 1
        number, before, here = held[0], here, solves[held[0]]
        # Over a whole piece that holds no line: a flat face beyond its edge.
        passed = before.station.piece != here.station.piece
        jumps |= passed and before.station.t == here.station.t == 0.0
        leaves, reaches = before.station.contact.place, here.station.contact.place
        if jumps or (leaves != reaches and here.load > 0.0):
            steps.append(RampStep(max(before.load, 0.0), leaves, reaches, jumps))
        states.append(here)
    mode: LossMode = "turning point, moving line"
    if here.station.pinned:
        mode = "contact line gives way" if here.rises else "turning point"
    return Ramp(tuple(states), tuple(steps), mode, tuple(solves[max(0, number - 1) : number + 2]))


def top_of_ramp(wetting: Wetting, found: Ramp) -> tuple[Station, float]:
    """Where a moving line loses its hold: the top of V(u), first on the coarse mesh, then on a
    finer one, because V(u) is so flat that the coarse mesh's own error moves its top.

    Returns
    -------
    station : Station
        That of the last state where its neighbours lie on other pieces of the wall or were not
        found.
    error : float
        By what share the load may be greater beside it, [-].
    """
    last = found.last.station
    if found.mode != "turning point, moving line":
        return last, 0.0
    # A place where two pieces meet tangentially is the end of the one before.
    piece = last.piece - 1 if last.t == 0.0 and last.piece > 0 else last.piece
    by_t = {_on(piece, s.station): s for s in (*found.states, *found.beside)}
    same = [by_t[t] for t in sorted(t for t in by_t if t is not None)]
    here = next(k for k, s in enumerate(same) if s.station == last)
    first = min(max(0, here - 1), max(0, len(same) - 3))
    same = same[first : first + 3]
    if len(same) < 3:
        beside = [s for s in found.beside if s is not found.last]
        return last, max((abs(s.load / found.last.load - 1.0) for s in beside), default=0.0)
    apart = max(abs(s.load / found.last.load - 1.0) for s in same)
    t = np.array([_on(piece, s.station) for s in same], dtype=float)
    top = _vertex(t, [s.load for s in same])
    reach = min(0.5 * float(t[2] - t[0]), top - float(t[0]), float(t[2]) - top)
    if reach <= 0.0:
        return last, 0.0
    near = np.array([top - reach, top, top + reach])
    loads, mesh = [], None
    for place in (wetting.wall.at(piece, float(one)) for one in near):
        slope, radius = wetting.advancing + place.tangent, place.position[0]
        bond = found.last.load / radius
        try:
            one = slope_on_meshes(wetting, place, found.last.shape, bond, slope, (_FINER,), mesh)
        except (ContinuationError, MeshError):
            return last, apart
        loads.append(one.value * radius)
        mesh = one.mesh
    top = _vertex(near, loads)
    return Station(piece, top, wetting.wall.at(piece, top), False), 0.0


def _on(piece: int, station: Station) -> float | None:
    """Curve parameter of a place on a piece, its end included, or None."""
    if station.piece == piece:
        return station.t
    return 1.0 if station.piece == piece + 1 and station.t == 0.0 and not station.pinned else None


def _vertex(t: FloatArray, loads: Sequence[float]) -> float:
    """Where the parabola through three points is greatest, within them."""
    curve = np.polynomial.Polynomial.fit(t, loads, 2)
    top = float(curve.deriv().roots()[0].real)
    return float(np.clip(top, t[0], t[-1]))
