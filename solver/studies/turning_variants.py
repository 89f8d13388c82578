"""How the turning point of a free surface moves when a dimension changes.

The nominal turning point, scaled to the changed design, is the start: shapes are in contact radii,
so that it is close.  From there the turning point is found on two coarse nested meshes: those drawn
for that shape in the drawn design, moved to the changed one.  The drawn design is solved in the
same way, and only ratios are used, like with like.

Too far for Newton's method, the start is carried along in two to eight steps.  Measured on the
capillary against branches followed anew: outer diameter +4.29 and -4.31 % against +4.30 and
-4.31 %, bore +3.14 and -2.96 % against +3.14 and -2.96 %; the rigid surface gives 3.1 and 2.0 %.
Each takes some 0.25 s of one processor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from types import MappingProxyType

import numpy as np

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.field.extrapolation import estimate
from conegap.solver.liquid.contact_line import slope_on_meshes
from conegap.solver.liquid.contact_section import Wetting
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.followed_onset import at_own_chamber, voltage_in_proportion
from conegap.solver.liquid.meniscus import Equilibrium
from conegap.solver.liquid.meniscus_onset import voltage_of_bond_number
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import SurfaceInSolid
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.studies.pinned_turning import (
    LEVELS,
    drawn_liquid_mesh,
    pinned_section,
    place_of,
    turned,
)
from conegap.solver.studies.turning_start import TurningStart
from conegap.solver.studies.variants import Changes, changed_design, solve_variants

__all__ = [
    "TENSION",
    "turning_voltage",
    "turning_voltages",
]

TENSION = "surface_tension"
"""Pseudo key of a variant: factor on the surface tension, [-]."""

_CHAMBER = "voltages.chamber"

# A line that gives way must do so this much above what another state of wetting holds: near that
# the liquid may run on to the other state's place and hold.
_CLEAR = 1.15
# Change of the angle, or of the slope without field, beyond which a line may lose its hold too far
# from the drawn place for its shift to count in second order only: three degrees cost the shipped
# slit less than 1e-3, five 3e-3, [rad].
_FAR_ANGLE = math.radians(3.0)
# Least span of slopes over which the top of a pinned surface's voltage is sought: flat enough for a
# parabola, wide against the scatter of the solves, [rad].
_LEAST_SPAN = 0.05
# Shortest step on the way from the drawn design to a changed one, [-].
_SHORTEST = 1.0 / 16.0
# On the way the coarse mesh shows where to go on from.
_ON_THE_WAY = (2,)


def turning_voltage(
    design: Design,
    changes: Changes,
    *,
    start: TurningStart,
    near: CoarseMesh | None = None,
    guesses: Mapping[Changes, float] = MappingProxyType({}),
) -> float:
    """Voltage of the turning point of a changed design on two coarse meshes, [V].

    Where the start is too far away for Newton's method or for the mesh, it is carried along in
    steps.  Where the contact line of the changed design loses its hold elsewhere or in
    another way than in the drawn one, its own ramp is followed from no voltage on.

    Parameters
    ----------
    changes : ((key, SI value), ...)
        The key `TENSION` stands for a factor on the surface tension.
    start : TurningStart
        Of the design as drawn.
    near : CoarseMesh or None
        Of the design as drawn with the start's shape, to be moved to the changed one.
    guesses : mapping of changes to float
        Onset of a changed design over that of the drawn one where it is roughly known, [-].

    Raises
    ------
    DesignError
        The changed design is refused or floods.
    ContinuationError, MeshError
        No turning point was found from the start.
    """
    own = changed_design(design, _without(changes, TENSION))

    def solve(one: Design) -> float:
        shared = changes
        if own.voltages.chamber != 0.0:
            shared = (*_without(changes, _CHAMBER), (_CHAMBER, one.voltages.chamber))
        return _turning(design, shared, start, near, guesses.get(changes, 1.0))

    return at_own_chamber(own, solve, lambda voltage: voltage, start.voltage)


def _without(changes: Changes, key: str) -> Changes:
    return tuple(change for change in changes if change[0] != key)


def _turning(
    design: Design, changes: Changes, start: TurningStart, near: CoarseMesh | None, guess: float
) -> float:
    """`turning_voltage` with all voltages in proportion."""
    scaled = any(key == TENSION for key, _ in changes)
    changed = None
    if start.wall_place is not None and not scaled:
        changed = changed_design(design, changes)
        if _away(design, changed, changes, start):
            return voltage_in_proportion(changed)
    try:
        voltage, there = _carried(design, changes, start, near, guess)
    except SurfaceInSolid:
        raise
    except (ContinuationError, MeshError):
        if changed is None:
            raise
        return voltage_in_proportion(changed)
    if changed is not None and _elsewhere(changed, start, there, voltage):
        return voltage_in_proportion(changed)
    return voltage


def _carried(
    design: Design, changes: Changes, start: TurningStart, near: CoarseMesh | None, guess: float
) -> tuple[float, TurningStart]:
    """The start carried to a changed design, at once or in steps as long as Newton's method takes.

    Each step begins where the last two point; only the last is solved on both meshes.
    """
    drawn = {key: 1.0 if key == TENSION else design.dimension(key).value for key, _ in changes}
    before, here, done, step = start, start, 0.0, 1.0
    stride = 0.0
    while True:
        share = min(1.0, done + step)
        way = tuple((k, drawn[k] + share * (value - drawn[k])) for k, value in changes)
        if share == 1.0:
            way = changes
        ahead = (share - done) / stride if stride else 0.0
        first = here.beyond(before, ahead)
        if not stride:
            bond = start.electric_bond_number * guess ** (2.0 * share)
            first = replace(first, electric_bond_number=bond)
        try:
            voltage, there = _fold(
                design, way, first, near, LEVELS if share == 1.0 else _ON_THE_WAY
            )
        except SurfaceInSolid:
            raise
        except (ContinuationError, MeshError):
            step = (share - done) / 2.0
            if step < _SHORTEST:
                raise
            continue
        if share == 1.0:
            return voltage, there
        before, here, stride, done = here, there, share - done, share


def _away(design: Design, changed: Design, changes: Changes, start: TurningStart) -> bool:
    """Whether the line may be held elsewhere: angle or pressure change much, or a place that it
    left holds nearly as much."""
    (drawn, _), (wetting, contact) = (
        place_of(d, start, d.surface_tension) for d in (design, changed)
    )
    # Electrode and chamber change what both places hold in the same ratio.
    own = any(key.startswith(("emitter.", "liquid.")) for key, _ in changes)
    if own and start.left * _CLEAR > 1.0:
        return True
    if _on_corner(wetting, start):
        still = wetting.still_slope(contact.position[0])
        slope = wetting.advancing + contact.tangent
        return not len(start.chord) and (still is None or slope < still + _FAR_ANGLE)
    bent = abs(wetting.pressure - drawn.pressure) * contact.position[0] / wetting.most
    return max(abs(wetting.advancing - drawn.advancing), bent) > _FAR_ANGLE


def _elsewhere(changed: Design, start: TurningStart, found: TurningStart, voltage: float) -> bool:
    """Whether the line of a changed design leaves its corner otherwise than that of the drawn one.

    A surface that turned on its corner may reach the advancing angle before; a line that gave way
    may find a place that holds it, where another state of wetting stands nearly as much.
    """
    wetting, contact = place_of(changed, start, changed.surface_tension)
    if not _on_corner(wetting, start):
        return False
    if len(start.chord):
        slope = MeniscusShape(found.coefficients, found.symmetry).contact_angle
        return slope > wetting.advancing + contact.tangent
    return voltage < _CLEAR * start.other


def _fold(
    design: Design,
    changes: Changes,
    start: TurningStart,
    near: CoarseMesh | None,
    levels: tuple[int, ...],
) -> tuple[float, TurningStart]:
    """Voltage of a changed design's turning point close to the start, and a start from there."""
    factor = math.prod(value for key, value in changes if key == TENSION)
    design = changed_design(design, _without(changes, TENSION))
    gamma = factor * design.surface_tension
    shape = MeniscusShape(start.coefficients, start.symmetry)
    if start.wall_place is not None and not len(start.chord):
        return _hold(design, start, gamma, near, levels)
    liquid, held, amount = pinned_section(design, start, gamma)
    found, values = turned(liquid, held, amount, shape, start, near, levels)
    best = estimate(levels, values).value if len(levels) > 1 else values[0]
    voltage = voltage_of_bond_number(best, gamma, liquid.radius)
    return voltage, start.at(found)


def _hold(
    design: Design,
    start: TurningStart,
    gamma: float,
    near: CoarseMesh | None,
    levels: tuple[int, ...],
) -> tuple[float, TurningStart]:
    """Voltage at which the contact line of a changed design loses its hold at the same place.

    A moving line loses it where the voltage is greatest along the wall, so that a shift of that
    place counts in second order only.
    """
    wetting, contact = place_of(design, start, gamma)
    shape = MeniscusShape(start.coefficients, start.symmetry)
    target = wetting.advancing + contact.tangent
    bond = start.electric_bond_number

    def at(slope: float) -> tuple[float, Equilibrium, bool]:
        one = slope_on_meshes(wetting, contact, shape, bond, slope, levels, near)
        return one.value, one.equilibrium, one.rises

    value, found, rises = at(target)
    if not rises and _on_corner(wetting, start):
        # The surface turns before its line would leave the corner: the top of three slopes.
        slopes = np.linspace(min(shape.contact_angle, target - _LEAST_SPAN), target, 3)
        values = [at(float(slope))[0] for slope in slopes[:2]]
        curve = np.polynomial.Polynomial.fit(slopes, [*values, value], 2)
        top = float(np.clip(curve.deriv().roots()[0].real, slopes[0], target))
        value = float(curve(top))
    return voltage_of_bond_number(value, gamma, contact.position[0]), start.at(found)


def _on_corner(wetting: Wetting, start: TurningStart) -> bool:
    return start.wall_place is not None and wetting.wall.corner(*start.wall_place)


def turning_voltages(
    design: Design,
    variants: Iterable[Changes],
    start: TurningStart,
    *,
    near: CoarseMesh | None = None,
    guesses: Mapping[Changes, float] = MappingProxyType({}),
    progress: Progress | None = None,
    what: str = "turning points of changed designs",
    finished: Callable[[int, float | str], None] | None = None,
) -> list[float | str]:
    """`turning_voltage` of every variant, two at a time, [V]; a text says why there is none.

    Parameters
    ----------
    variants : iterable of ((key, value), ...)
    start : TurningStart
        Of the design as drawn.
    near : CoarseMesh or None
        From `drawn_liquid_mesh` where it is at hand; made where it is not.
    guesses : mapping of changes to float
        As for `turning_voltage`.
    progress, what, finished
        As for `conegap.solver.studies.variants.solve_variants`.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    return solve_variants(
        partial(
            turning_voltage,
            start=start,
            near=drawn_liquid_mesh(design, start) if near is None else near,
            guesses=dict(guesses),
        ),
        design,
        variants,
        progress=progress,
        what=what,
        finished=finished,
    )
