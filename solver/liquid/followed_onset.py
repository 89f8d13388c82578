"""Onset of a design: its free surface followed until no shape is in balance."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from conegap.geometries.curves.wall import ContactPlace
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError, MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.attached_cone import Extinction, extinction
from conegap.solver.liquid.branch import MeniscusBranch, half_angle, turning_point
from conegap.solver.liquid.contact_section import Wetting
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.liquid_section import MODES, held_in, liquid_section, liquid_surface
from conegap.solver.liquid.meniscus import Held
from conegap.solver.liquid.meniscus_onset import (
    HeldState,
    MeniscusOnset,
    OtherState,
    Transition,
    voltage_of_load,
)
from conegap.solver.liquid.shape import MeniscusShape, cap
from conegap.solver.liquid.sliding_edge import sliding_edge
from conegap.solver.liquid.slit_waves import LoadedShape, first_tilt, first_wave
from conegap.solver.liquid.slow_ramp import Ramp
from conegap.solver.liquid.surface_mesh import LiquidSection
from conegap.solver.liquid.wetting_states import (
    WettingState,
    greatest_pressure,
    lost_hold,
    wetting_of,
    wetting_states,
)

__all__ = ["at_own_chamber", "meniscus_onset", "onset_in_proportion", "voltage_in_proportion"]

Result = TypeVar("Result")

# The mesh sequence does not see the truncated modes or the parabola at the turning point: measured
# on the pinned hemisphere.
_OTHER_ERROR = 1e-4
# Of the iteration for the chamber's share: a step beyond this the onset moves by less than the
# scatter of its mesh, 5e-4, because a volt on the chamber counts for a few hundredths at most.
_SETTLED = 1e-3
_MOST_SHARES = 12
# Subdivisions: of a changed design or another state of wetting, and of the drawn design.
_TWO_MESHES, _THREE_MESHES = (2, 4), (2, 4, 8)
_FILM = "edge of the film's cap"


@dataclass(frozen=True)
class _Lost:
    """Loss of equilibrium in whatever way, before it is turned into volts."""

    place: str
    mode: str
    liquid: LiquidSection
    branch: MeniscusBranch
    shapes: tuple[LoadedShape, ...]
    wall_place: tuple[int, float] | None = None

    @property
    def load(self) -> float:
        """eps0 V^2 / gamma, [m]."""
        return self.branch.electric_bond_number.value * self.liquid.radius


def meniscus_onset(design: Design, *, progress: Progress | None = None) -> MeniscusOnset:
    """Where the liquid surface of a design loses its equilibrium in a slow ramp.

    A chamber at a voltage of its own does not rise with the others.  At the loss of equilibrium it
    has its share of the voltage there, and a surface loses its equilibrium at the same voltage
    whether the chamber kept that potential or rose to it in proportion: the balance is the same at
    that voltage, and so is its derivative with the shape.  So the share is found by iteration.

    A capillary or slit is fed from a reservoir, so its pressure is held, and its contact line
    moves over the wall as J. W. Gibbs's condition has it; the film on a wetted needle is taken to
    be cut off from its supply, so the volume of its cap is held, pinned where the cap meets the
    cone.

    Parameters
    ----------
    design : Design
    progress : callable or None
        Called with (what, steps done, steps in all or 0).

    Raises
    ------
    DesignError
        The design has no free surface, or floods.
    ContinuationError, MeshError
        The branch could not be followed; no number is reported.
    SurfaceInSolid
        The surface rests on the metal (a thin film).
    """
    file = design.emitter.whole_file
    if file is not None:
        raise DesignError(
            f"the liquid surface of {file} is held as drawn; a free surface is followed only where "
            "the emitter is given by its dimensions"
        )
    return at_own_chamber(
        design, lambda one: onset_in_proportion(one, progress), lambda m: m.voltage
    )


def at_own_chamber(
    design: Design,
    solve: Callable[[Design], Result],
    voltage_of: Callable[[Result], float],
    guess: float | None = None,
) -> Result:
    """An onset at which the chamber has its own voltage.

    Parameters
    ----------
    solve : callable
        Onset of a design all of whose voltages rise in proportion.
    voltage_of : callable
        Emitter minus accelerator of an onset, [V].
    guess : float or None
        Where the iteration begins; at the voltage of the design when left out, [V].

    Raises
    ------
    ContinuationError
        The iteration does not settle.
    """
    own = design.voltages.chamber
    if own == 0.0 or design.one_with_wall:
        return solve(design)
    volts = design.voltage if guess is None else guess
    for _ in range(_MOST_SHARES):
        # In the proportion of the voltage at which it is lost.
        found = solve(design.with_value("voltages.chamber", own * design.voltage / volts))
        before, volts = volts, voltage_of(found)
        if abs(volts / before - 1.0) < _SETTLED:
            return found
    raise ContinuationError(
        f"voltages.chamber = {own:g} V decides too much of the field: the onset does not settle"
    )


def onset_in_proportion(design: Design, progress: Progress | None) -> MeniscusOnset:
    """`meniscus_onset` while all voltages, the chamber's too, rise in the proportion of the design.

    Parameters
    ----------
    progress : callable or None

    Raises
    ------
    DesignError, ContinuationError, MeshError, SurfaceInSolid
        As `meniscus_onset`.
    """
    gamma = design.surface_tension
    lost, wetting, states = _loss(design, gamma, progress)
    others: tuple[OtherState, ...] = ()
    steps: tuple[Transition, ...] = ()
    stated = _stated(design, states).ramp if states else None
    if wetting is not None and stated is not None:
        others = tuple(
            _other(wetting, s, gamma, stated, lost.load) for s in states if s.ramp is not stated
        )
        steps = tuple(
            Transition(voltage_of_load(s.load, gamma), s.leaves, s.reaches, s.jumps)
            for s in stated.steps
        )
    return _onset(design, lost, gamma, others, steps, progress)


def voltage_in_proportion(design: Design) -> float:
    """Voltage of `onset_in_proportion` on two meshes, without what is solved beside it, [V].

    Raises
    ------
    DesignError, ContinuationError, MeshError, SurfaceInSolid
        As for `meniscus_onset`.
    """
    gamma = design.surface_tension
    lost, _, _ = _loss(design, gamma, None, _TWO_MESHES)
    return voltage_of_load(lost.load, gamma)


def _loss(
    design: Design,
    gamma: float,
    progress: Progress | None,
    levels: tuple[int, ...] = _THREE_MESHES,
) -> tuple[_Lost, Wetting | None, tuple[WettingState, ...]]:
    """Loss of equilibrium, and for a fed wall its wetting and all states of it."""
    drawn = liquid_section(design)
    wetting = wetting_of(design, gamma)
    if wetting is None:
        held, amount, start, pressure = held_in(design, drawn.radius, gamma)
        lost = _turned(drawn, _FILM, held, amount, start, pressure, levels, progress)
        return lost, None, ()
    states = wetting_states(wetting, design, progress)
    ramp = _stated(design, states).ramp
    if ramp is None:
        raise DesignError(
            _floods(design, greatest_pressure(wetting, design) * gamma),
            keys=("liquid.feed_pressure",),
        )
    return _end_of(wetting, ramp, levels, progress), wetting, states


def _stated(design: Design, states: tuple[WettingState, ...]) -> WettingState:
    return next(s for s in states if s.state == design.emitter.wetting_state)


def _onset(
    design: Design,
    lost: _Lost,
    gamma: float,
    others: tuple[OtherState, ...],
    steps: tuple[Transition, ...],
    progress: Progress | None,
) -> MeniscusOnset:
    branch, liquid = lost.branch, lost.liquid
    symmetry = design.section().symmetry
    voltage = voltage_of_load(lost.load, gamma)
    tilt = first_tilt(lost.shapes, lost.load, branch.held) if symmetry == "axisymmetric" else None
    slides = None
    if lost.place == _FILM:
        slides = sliding_edge(design, branch.electric_bond_number, progress)
    wave = None
    if symmetry == "planar":
        wave = first_wave(lost.shapes, lost.load, liquid.radius)
    return MeniscusOnset(
        voltage=voltage,
        error=branch.electric_bond_number.error / 2.0 + _OTHER_ERROR,
        held=branch.held,
        place=lost.place,
        mode=lost.mode,
        contact=liquid.contact,
        surface_tension=gamma,
        apex_field=float(branch.turning.field[0]) * voltage / liquid.radius,
        half_angle=half_angle(branch.turning.shape),
        extinction=_extinction(design, liquid, gamma),
        wave=wave,
        tilt_voltage=None if tilt is None else voltage_of_load(tilt, gamma),
        branch=branch,
        states=tuple(_state(s, voltage, lost.load, gamma) for s in lost.shapes),
        wall_place=lost.wall_place,
        state=design.emitter.wetting_state,
        transitions=steps,
        others=others,
        sliding=slides,
    )


def _state(shape: LoadedShape, voltage: float, load: float, gamma: float) -> HeldState:
    """A shape of the coarse mesh; a held one is never above the onset of the fine ones."""
    volts = voltage_of_load(shape.load, gamma)
    return HeldState(
        min(volts, voltage) if shape.load < load or shape.held else volts,
        shape.shape,
        shape.liquid.contact,
        shape.held,
    )


def _turned(
    liquid: LiquidSection,
    place: str,
    held: Held,
    amount: float,
    start: MeniscusShape,
    pressure: float,
    levels: tuple[int, ...],
    progress: Progress | None,
    wall_place: tuple[int, float] | None = None,
) -> _Lost:
    """The turning point of a surface whose contact line stands still."""
    branch = turning_point(
        liquid,
        start,
        pressure=pressure,
        held=held,
        amount=amount,
        levels=levels,
        progress=progress,
    )
    shapes = tuple(
        LoadedShape(
            liquid,
            e.shape,
            e.pressure,
            e.electric_bond_number * liquid.radius,
            k < branch.turning_index,
            amount,
        )
        for k, e in enumerate(branch.equilibria)
    )
    return _Lost(place, "turning point", liquid, branch, shapes, wall_place)


def _end_of(
    wetting: Wetting, ramp: Ramp, levels: tuple[int, ...], progress: Progress | None
) -> _Lost:
    """The loss of equilibrium of a fed surface, on fine meshes."""
    last = ramp.last
    station = last.station
    place = station.contact.place
    if ramp.mode == "turning point":
        liquid = wetting.liquid(station.contact)
        pressure = wetting.pressure * liquid.radius
        still = wetting.still_slope(liquid.radius)
        start = cap(last.shape.contact_angle if still is None else still, MODES, wetting.symmetry)
        wall = (station.piece, station.t)
        return _turned(liquid, place, "pressure", pressure, start, pressure, levels, progress, wall)
    lost = lost_hold(wetting, ramp, levels)
    liquid = wetting.liquid(lost.station.contact)
    shapes = tuple(
        _loaded(wetting, s.station.contact, s.shape, s.load)
        for s in ramp.states
        if s.load >= 0.0 and s is not last
    )
    end = _loaded(
        wetting,
        lost.station.contact,
        lost.equilibrium.shape,
        lost.electric_bond_number.value * liquid.radius,
    )
    branch = MeniscusBranch(
        held="pressure",
        amount=wetting.pressure * liquid.radius,
        equilibria=(),
        turning_index=0,
        turning=lost.equilibrium,
        electric_bond_number=lost.electric_bond_number,
    )
    wall = (lost.station.piece, lost.station.t)
    return _Lost(place, ramp.mode, liquid, branch, (*shapes, end), wall)


def _loaded(
    wetting: Wetting, contact: ContactPlace, shape: MeniscusShape, load: float
) -> LoadedShape:
    liquid = wetting.liquid(contact)
    pressure = wetting.pressure * liquid.radius
    return LoadedShape(liquid, shape, pressure, load, True, pressure)


def _other(
    wetting: Wetting, state: WettingState, gamma: float, stated: Ramp, stated_load: float
) -> OtherState:
    """Another state of wetting: on two meshes, or as the stated one where both end alike."""
    ramp = state.ramp
    if ramp is None:
        return OtherState(state.state, None, "", "floods without voltage", 0.0)
    load = ramp.last.load
    if ramp.last.station == stated.last.station and ramp.mode == stated.mode:
        load = stated_load
    elif ramp.mode != "turning point":
        lost = lost_hold(wetting, ramp, _TWO_MESHES, quick=True)
        load = lost.electric_bond_number.value * lost.station.contact.position[0]
    else:
        # The surface beyond the turning point balances at less: the highest followed is nearer.
        load = max(s.load for s in ramp.states)
    contact = ramp.last.station.contact
    return OtherState(
        state.state,
        voltage_of_load(load, gamma),
        contact.place,
        ramp.mode,
        contact.position[0],
    )


def _floods(design: Design, most: float) -> str:
    return (
        f"{design.pressure_words} is beyond the {most:.4g} Pa "
        f"that any place of the emitter holds at an advancing angle of "
        f"{math.degrees(design.liquid.advancing):.4g} deg: the liquid floods the edge without any "
        "voltage; lower the pressure"
    )


def _extinction(design: Design, liquid: LiquidSection, gamma: float) -> Extinction | None:
    section = design.section()
    place = liquid_surface(section)
    if section.symmetry != "axisymmetric" or place is None:
        return None
    try:
        return extinction(design, surface=place, contact=liquid.contact, surface_tension=gamma)
    except (DesignError, MeshError):
        # A rough figure beside the onset, which stands without it.
        return None
