"""The states of wetting in which a fed emitter may be found, and where each loses its balance."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from conegap.geometries.curves.wall import ContactStart
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, DesignError, MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.field.electrodes import per_volt
from conegap.solver.field.extrapolation import Estimate
from conegap.solver.liquid.contact_line import (
    ContactSolve,
    slope_on_meshes,
    solves_along,
    start_here,
)
from conegap.solver.liquid.contact_section import Station, Wetting
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.liquid_section import MODES, liquid_surface
from conegap.solver.liquid.meniscus import Equilibrium
from conegap.solver.liquid.slow_ramp import Ramp, ramp, top_of_ramp

__all__ = [
    "LostHold",
    "WettingState",
    "greatest_pressure",
    "lost_hold",
    "settled",
    "wetting_of",
    "wetting_states",
]

# Points of a piece of the wall at which the pressure that it holds is compared: on a lip they miss
# the greatest by less than 1e-5.
_ALONG = 201
# Places of the coarse mesh that are tried again, some two degrees of a lip apart.
_STEPS_BACK = 3


@dataclass(frozen=True)
class WettingState:
    """A slow ramp from one place of the contact line.

    Parameters
    ----------
    state : str
        What is wetted without voltage.
    ramp : Ramp or None
        None where the liquid floods the emitter without voltage.
    """

    state: str
    ramp: Ramp | None


@dataclass(frozen=True)
class LostHold:
    """Where a moving contact line loses its hold, on fine meshes.

    Parameters
    ----------
    electric_bond_number : Estimate
        lambda = eps0 V^2 / (gamma a) with a there; its error holds what the place leaves open, [-].
    """

    station: Station
    equilibrium: Equilibrium
    electric_bond_number: Estimate


def wetting_of(design: Design, surface_tension: float) -> Wetting | None:
    """What decides where the contact line of a design sits, or None where it has no fed wall.

    Parameters
    ----------
    surface_tension : float
        [N/m].
    """
    wall = design.emitter.wall()
    section = design.section()
    surface = liquid_surface(section)
    if wall is None or surface is None:
        return None
    potentials = per_volt(design, section.electrodes)
    return Wetting(
        section,
        surface,
        potentials,
        wall,
        design.edge_pressure / surface_tension,
        design.liquid.advancing,
        MODES,
    )


def settled(wetting: Wetting, start: ContactStart, receding: float) -> tuple[int, float]:
    """Where the contact line stands without voltage: drawn back where the metal does not hold it.

    Parameters
    ----------
    start : ContactStart
        As drawn.
    receding : float
        Receding angle, [rad].

    Returns
    -------
    piece, t

    Raises
    ------
    DesignError
        The suction draws the liquid back into the feed.
    """
    if start.stays:
        return start.piece, start.t

    def spare(piece: int, t: float) -> float:
        contact = wetting.wall.at(piece, t)
        still = wetting.still_slope(contact.position[0])
        if still is None:
            return math.inf if wetting.pressure > 0.0 else -math.inf
        # At a corner the metal behind the line decides whether it recedes.
        behind = contact.tangent
        if wetting.wall.corner(piece, t):
            behind = wetting.wall.at(piece - 1, 1.0 - 1e-9).tangent
        return still - behind - receding

    piece, t = start.piece, start.t
    while spare(piece, t) < 0.0:
        if spare(piece, 0.0) >= 0.0:
            return piece, float(brentq(lambda u, at=piece: spare(at, u), 0.0, t))
        if piece == 0:
            raise DesignError(
                _drawn_back(receding), keys=("liquid.feed_pressure",), cause="drawn back"
            )
        piece, t = piece - 1, 1.0 - 1e-9
    return piece, t


def greatest_pressure(wetting: Wetting, design: Design, state: str | None = None) -> float:
    """Greatest pressure that any place holds without field, over the surface tension, [1/m].

    The surface about to advance is part of a sphere or cylinder (Young and Laplace, textbook): at a
    place of the wall it holds 2 gamma sin(psi) / a or gamma sin(psi) / a, psi being its slope
    there, at most a right angle.

    Parameters
    ----------
    state : str or None
        Of wetting; that of the design when left out.
    """
    wetted = design.emitter.wetting_state if state is None else state
    start = next(s for s in design.emitter.contact_starts() if s.state == wetted)
    wall, last = wetting.wall, len(wetting.wall.pieces) - 1
    held = []
    for piece in range(start.piece, last + 1):
        first = start.t if piece == start.piece else 0.0
        for t in (first,) if piece == last else np.linspace(first, 1.0, _ALONG):
            place = wall.at(piece, float(t))
            slope = min(wetting.advancing + place.tangent, math.pi / 2.0)
            held.append(wetting.most * math.sin(slope) / place.position[0])
    return max(held)


def _drawn_back(receding: float) -> str:
    return (
        "liquid.feed_pressure is more suction than the feed's opening holds at a receding angle of "
        f"{math.degrees(receding):.4g} deg: the liquid is drawn back into the feed without any "
        "voltage; lower the suction, or state the receding angle of a better wetted wall"
    )


def wetting_states(
    wetting: Wetting, design: Design, progress: Progress | None = None
) -> tuple[WettingState, ...]:
    """A slow ramp in every state of wetting, in the order of the wall.

    Parameters
    ----------
    progress : callable or None
        Called with (what, steps done, steps in all or 0).

    Raises
    ------
    DesignError
        The liquid is drawn back into the feed.
    ContinuationError, MeshError
        A surface could not be followed while its voltage still rose.
    """
    starts = design.emitter.contact_starts()
    places = [settled(wetting, start, design.liquid.receding) for start in starts]
    found: list[WettingState] = []
    later: tuple[ContactSolve, ...] = ()
    for start, (piece, t) in reversed(list(zip(starts, places, strict=True))):
        if progress is not None:
            progress("places of the contact line", len(found), len(starts))
        if not found:
            rest, solves = solves_along(wetting, (piece, t))
        else:
            place = Station(piece, t, wetting.wall.at(piece, t), True)
            rest = start_here(wetting, place)
            solves = (rest[-1], *later)
        followed = ramp(rest, solves)
        floods = followed.last.load <= 0.0
        found.insert(0, WettingState(start.state, None if floods else followed))
        later = solves
    return tuple(found)


def lost_hold(
    wetting: Wetting, followed: Ramp, levels: tuple[int, ...], *, quick: bool = False
) -> LostHold:
    """The end of a ramp whose line gives way or moves, on fine meshes.

    Parameters
    ----------
    followed : Ramp
        Its mode is not "turning point".
    levels : tuple of int
        Subdivisions of the meshes, two or more, [-].
    quick : bool
        The place as the coarse mesh has it: to about 1e-3.

    Raises
    ------
    ContinuationError, MeshError
        The surface could not be solved on fine meshes.
    """
    station, open_share = (followed.last.station, 0.0) if quick else top_of_ramp(wetting, followed)
    tries = [(station, open_share, followed.last)]
    # On a finer mesh the shapes may cease to exist a little earlier: then the place before counts,
    # and how much was still gained beyond it is the error.
    tries += [
        (s.station, abs(followed.last.load / s.load - 1.0), s)
        for s in reversed(followed.states[:-1])
        if s.load > 0.0 and not s.station.pinned
    ][:_STEPS_BACK]
    reason: ComputationError | None = None
    for tried in tries:
        station, left_open, near = tried
        contact = station.contact
        try:
            found = slope_on_meshes(
                wetting,
                contact,
                near.shape,
                near.load / contact.position[0],
                wetting.advancing + contact.tangent,
                levels,
            )
            break
        except (ContinuationError, MeshError) as error:
            reason = reason or error
    else:
        raise reason or ContinuationError("the end of the ramp was not found on fine meshes")
    bond = found.electric_bond_number
    if not isinstance(bond, Estimate):
        raise ContinuationError("the end of the ramp was solved on one mesh only")
    return LostHold(station, found.equilibrium, replace(bond, error=bond.error + left_open))
