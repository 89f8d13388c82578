"""How the turning point of a free surface moves when a dimension changes.

The nominal turning point, scaled to the changed design, is the start: shapes are in contact radii,
so that it is close.  From there the turning point is found on two coarse nested meshes: those drawn
for that shape in the drawn design, moved to the changed one.  The drawn design is solved in the
same way, and only ratios are used, like with like.

On the first mesh three planes are solved, on the second one shape in the plane of its vertex, where
the electric Bond number is flat.  Too far for Newton's method, the start is carried along in two to
eight steps.  Measured on the capillary against branches followed anew: outer diameter +4.29 and
-4.31 % against +4.30 and -4.31 %, bore +3.14 and -2.96 % against +3.14 and -2.96 %; the rigid
surface gives 3.1 and 2.0 %.  Each takes 0.4 s of one processor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.curves.wall import ContactPlace
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.field.extrapolation import estimate
from conegap.solver.liquid.contact_line import slope_on_meshes
from conegap.solver.liquid.contact_section import Wetting
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.followed_onset import at_own_chamber, onset_in_proportion
from conegap.solver.liquid.liquid_section import held_in, liquid_section
from conegap.solver.liquid.meniscus import Equilibrium, Held
from conegap.solver.liquid.meniscus_onset import MeniscusOnset, voltage_of_bond_number
from conegap.solver.liquid.shape import MeniscusShape
from conegap.solver.liquid.surface_mesh import LiquidSection, SurfaceInSolid, liquid_mesh
from conegap.solver.liquid.turning_point import turning_point_on_meshes, turning_point_reach
from conegap.solver.liquid.wetting_states import wetting_of
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.studies.variants import Changes, changed_design, solve_variants

__all__ = [
    "TENSION",
    "TurningStart",
    "drawn_liquid_mesh",
    "turning_voltage",
    "turning_voltages",
]

TENSION = "surface_tension"
"""Pseudo key of a variant: factor on the surface tension, [-]."""

_CHAMBER = "voltages.chamber"

# Subdivisions of the two meshes; 2 and 4 gave the ends of the capillary's tolerances within 4e-4
# of branches followed anew.
_LEVELS = (2, 4)
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
# Steps from the drawn design, and whether its mesh is moved along or new ones are made.
_ATTEMPTS = ((1, True), (2, True), (4, False), (8, False))


@dataclass(frozen=True)
class TurningStart:
    """A turning point to start from; its own electric Bond number is the unit of all others.

    Parameters
    ----------
    coefficients : (n,) array
        Of the shape, see `MeniscusShape`, [rad].
    symmetry : "axisymmetric" or "planar"
    pressure : float
        In gamma / a, [-].
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a), [-].
    chord : (n + 1,) or (n + 2,) array
        From the shape before to the shape after the turning point, in the unknowns of
        `MeniscusProblem`; empty where a contact line gives way or moves, [-].
    wall_place : (piece, t) or None
        Of the contact line on the emitter's wall; None where it is the drawn one.
    other : float
        The highest onset of any other state of wetting, [V].
    left : float
        Highest voltage at which the line jumped on from a place, over the onset, [-].
    voltage : float
        Of the drawn design, [V].
    """

    coefficients: FloatArray
    symmetry: Symmetry
    pressure: float
    electric_bond_number: float
    chord: FloatArray
    wall_place: tuple[int, float] | None = None
    other: float = 0.0
    left: float = 0.0
    voltage: float = 0.0

    @classmethod
    def of(cls, meniscus: MeniscusOnset) -> TurningStart:
        """From a computed turning point."""
        branch, turning = meniscus.branch, meniscus.branch.turning
        start = cls(
            turning.shape.coefficients,
            turning.shape.symmetry,
            turning.pressure,
            turning.electric_bond_number,
            np.empty(0),
            meniscus.wall_place,
            max((o.voltage or 0.0 for o in meniscus.others), default=0.0),
            max(
                (t.voltage / meniscus.voltage for t in meniscus.transitions if t.jumps), default=0.0
            ),
            meniscus.voltage,
        )
        if not branch.equilibria:
            return start
        beside = [
            np.concatenate(
                [
                    e.shape.coefficients,
                    [] if branch.held == "pressure" else [e.pressure],
                    [e.electric_bond_number / turning.electric_bond_number],
                ]
            )
            for e in branch.equilibria[branch.turning_index - 2 : branch.turning_index + 1 : 2]
        ]
        return replace(start, chord=beside[1] - beside[0])


def turning_voltage(
    design: Design,
    changes: Changes,
    *,
    start: TurningStart,
    near: CoarseMesh | None = None,
    guesses: Mapping[Changes, float] = MappingProxyType({}),
) -> float:
    """Voltage of the turning point of a changed design on two coarse meshes, [V].

    Where the start is too far away for Newton's method or for the mesh, it is carried along in two
    to eight steps.  Where the contact line of the changed design loses its hold elsewhere or in
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
            return onset_in_proportion(changed, None).voltage
    drawn = {key: 1.0 if key == TENSION else design.dimension(key).value for key, _ in changes}
    reason: ComputationError = ContinuationError("no turning point was found")
    for steps, follows in _ATTEMPTS:
        here = start
        if steps == 1:
            here = replace(
                start,
                electric_bond_number=start.electric_bond_number * guess**2,
            )
        try:
            for step in range(1, steps + 1):
                share = step / steps
                part = tuple((k, drawn[k] + share * (value - drawn[k])) for k, value in changes)
                way = changes if step == steps else part
                voltage, here = _fold(design, way, here, near if follows else None)
            if changed is not None and _elsewhere(changed, start, here, voltage):
                return onset_in_proportion(changed, None).voltage
            return voltage
        except SurfaceInSolid:
            raise
        except (ContinuationError, MeshError) as error:
            reason = error
    if changed is not None:
        return onset_in_proportion(changed, None).voltage
    raise reason


def _away(design: Design, changed: Design, changes: Changes, start: TurningStart) -> bool:
    """Whether the line may be held elsewhere: angle or pressure change much, or a place that it
    left holds nearly as much."""
    (drawn, _), (wetting, contact) = (
        _place(d, start, d.surface_tension) for d in (design, changed)
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
    wetting, contact = _place(changed, start, changed.surface_tension)
    if not _on_corner(wetting, start):
        return False
    if len(start.chord):
        slope = MeniscusShape(found.coefficients, found.symmetry).contact_angle
        return slope > wetting.advancing + contact.tangent
    return voltage < _CLEAR * start.other


def _fold(
    design: Design, changes: Changes, start: TurningStart, near: CoarseMesh | None
) -> tuple[float, TurningStart]:
    """Voltage of a changed design's turning point close to the start, and a start from there."""
    factor = math.prod(value for key, value in changes if key == TENSION)
    design = changed_design(design, _without(changes, TENSION))
    gamma = factor * design.surface_tension
    shape = MeniscusShape(start.coefficients, start.symmetry)
    if start.wall_place is not None and not len(start.chord):
        return _hold(design, start, gamma, near)
    liquid, held, amount = _pinned(design, start, gamma)
    length = float(np.linalg.norm(start.chord))
    middle = [] if held == "pressure" else [start.pressure]
    found, values = turning_point_on_meshes(
        liquid,
        shape,
        np.concatenate([start.coefficients, middle, [1.0]]),
        start.chord / length,
        turning_point_reach(length),
        _LEVELS,
        held=held,
        amount=amount,
        reference_field=1.0 / math.sqrt(start.electric_bond_number),
        near=near,
        quick=True,
    )
    voltage = voltage_of_bond_number(estimate(_LEVELS, values).value, gamma, liquid.radius)
    return voltage, _from_there(start, found)


def _from_there(start: TurningStart, found: Equilibrium) -> TurningStart:
    return replace(
        start,
        coefficients=found.shape.coefficients,
        pressure=found.pressure,
        electric_bond_number=found.electric_bond_number,
    )


def _hold(
    design: Design, start: TurningStart, gamma: float, near: CoarseMesh | None
) -> tuple[float, TurningStart]:
    """Voltage at which the contact line of a changed design loses its hold at the same place.

    A moving line loses it where the voltage is greatest along the wall, so that a shift of that
    place counts in second order only.
    """
    wetting, contact = _place(design, start, gamma)
    shape = MeniscusShape(start.coefficients, start.symmetry)
    target = wetting.advancing + contact.tangent
    bond = start.electric_bond_number

    def at(slope: float) -> tuple[float, Equilibrium, bool]:
        one = slope_on_meshes(wetting, contact, shape, bond, slope, _LEVELS, near)
        return one.value, one.equilibrium, one.rises

    value, found, rises = at(target)
    if not rises and _on_corner(wetting, start):
        # The surface turns before its line would leave the corner: the top of three slopes.
        slopes = np.linspace(min(shape.contact_angle, target - _LEAST_SPAN), target, 3)
        values = [at(float(slope))[0] for slope in slopes[:2]]
        curve = np.polynomial.Polynomial.fit(slopes, [*values, value], 2)
        top = float(np.clip(curve.deriv().roots()[0].real, slopes[0], target))
        value = float(curve(top))
    return voltage_of_bond_number(value, gamma, contact.position[0]), _from_there(start, found)


def _place(design: Design, start: TurningStart, gamma: float) -> tuple[Wetting, ContactPlace]:
    wetting = wetting_of(design, gamma)
    if wetting is None or start.wall_place is None:
        raise ContinuationError("the changed design has no wall for its contact line")
    return wetting, wetting.wall.at(*start.wall_place)


def _on_corner(wetting: Wetting, start: TurningStart) -> bool:
    return start.wall_place is not None and wetting.wall.corner(*start.wall_place)


def _pinned(design: Design, start: TurningStart, gamma: float) -> tuple[LiquidSection, Held, float]:
    """The section of a surface whose contact line stands still, and what is held."""
    if start.wall_place is None:
        liquid = liquid_section(design)
        held, amount, _, _ = held_in(design, liquid.radius, gamma)
        return liquid, held, amount
    wetting, contact = _place(design, start, gamma)
    return wetting.liquid(contact), "pressure", wetting.pressure * contact.position[0]


def drawn_liquid_mesh(design: Design, start: TurningStart) -> CoarseMesh:
    """Coarse mesh of the design as drawn for the start's shape, to be moved to its variants.

    Raises
    ------
    MeshError
        The shape could not be meshed.
    """
    liquid, _, _ = _pinned(design, start, design.surface_tension)
    shape = MeniscusShape(start.coefficients, start.symmetry)
    section, _ = liquid.draw(shape)
    return liquid_mesh(liquid, section, shape).prepared()


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
