"""Where the contact line of a fed liquid sits while the voltage rises, and how it emits.

Gibbs's condition: at a place whose metal runs on at an angle alpha below the horizontal, the line
stands still while the slope psi of the liquid's surface keeps psi - alpha between the receding and
the advancing angle.  Above it the line advances.  A corner offers every alpha between those of the
two pieces that meet there (a fan of angles that the two flanks bracket: J. Grana Otero and
I. E. Parra Fabian, arXiv 1907.03499, abstract read; Gibbs himself was not opened).

Along the wall, let V(u) be the voltage of the shape in balance whose line at u is about to advance,
psi = advancing angle + alpha.  In a slow ramp the line follows V(u) where it rises.  Where V(u)
falls, the line cannot stay: it runs on to the next place whose V(u) is higher, or, where there is
none, the surface has lost its equilibrium.  The first emission is the greatest V(u) from the
starting place on; at a corner the pinned surface may turn before its line gives way.

Every V(u) is one solve: the balance of a surface pinned at u with its slope given and the voltage
unknown, regular at the turning point of the pinned surface as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.wall import ContactPlace
from conegap.geometries.quantities.errors import ComputationError, MeshError
from conegap.solver.field.extrapolation import Estimate, estimate
from conegap.solver.liquid.contact_section import Station, Wetting, between, stations
from conegap.solver.liquid.continuation import ContinuationError, correct
from conegap.solver.liquid.meniscus import Equilibrium, MeniscusProblem
from conegap.solver.liquid.moving_field import MovingField
from conegap.solver.liquid.shape import MeniscusShape, cap
from conegap.solver.liquid.surface_mesh import liquid_mesh
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.mesh.morph import followed

__all__ = [
    "ContactSolve",
    "SlopeSolve",
    "from_rest",
    "slope_on_meshes",
    "solves_along",
    "start_here",
]

# The branch is followed on the coarse mesh, its end solved on all three.
_LEVELS = (2, 4, 8)
# Steps in slope from the surface without field: Newton's method was seen to take 16 degrees.
_SLOPE_STEP = math.radians(8.0)
# A line that has drawn back rests at its advancing angle where that is the receding one as well:
# its slope is that of the root search, to 1e-12, [rad].
_ROUNDING = 1e-9
# A step along the wall is halved at most this often before the surface counts as lost.
_HALVINGS = 4
# Where the voltage has fallen already, the surface may cease to exist: soon given up.
_FEW = 1
# Largest change of an unknown in the last step of Newton's method, which leaves a hundredth of it
# (seen on the shipped capillary and slit): far below the error of any of the meshes.
_CLOSE = 1e-5
# Curvature beyond that of the pressure, in inverse contact radii, from which on it gives the scale
# of the field, which matters to the length of Newton's steps alone.
_LACKING = 0.1


@dataclass(frozen=True)
class ContactSolve:
    """A surface in balance and where its contact line is.

    Parameters
    ----------
    pressure : float
        In gamma / a, [-].
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a); negative where the liquid advances without voltage, [-].
    rises : bool
        Whether more voltage steepens the surface while the line stands still: false beyond the
        turning point of the pinned surface.
    mesh : CoarseMesh or None
        From which the meshes of neighbouring surfaces may be moved.
    """

    station: Station
    shape: MeniscusShape
    pressure: float
    electric_bond_number: float
    rises: bool = True
    mesh: CoarseMesh | None = field(default=None, repr=False, compare=False)

    @property
    def radius(self) -> float:
        """Contact radius or half width a, [m]."""
        return self.station.contact.position[0]

    @property
    def load(self) -> float:
        """eps0 V^2 / gamma, whose unit does not change along the wall, [m]."""
        return self.electric_bond_number * self.radius


@dataclass(frozen=True)
class SlopeSolve:
    """A surface in balance whose slope at the contact line is given.

    Parameters
    ----------
    problem : MeniscusProblem
        On the finest mesh.
    x : (n,) array
        Its solution, [-].
    electric_bond_number : Estimate or float
        Over the meshes, or that of a single one, [-].
    rises : bool
        See `ContactSolve`.
    mesh : CoarseMesh
        See `ContactSolve`.
    """

    problem: MeniscusProblem
    x: FloatArray
    electric_bond_number: Estimate | float
    rises: bool
    mesh: CoarseMesh

    @property
    def value(self) -> float:
        """Best value of the electric Bond number, [-]."""
        several = self.electric_bond_number
        return several.value if isinstance(several, Estimate) else several

    @property
    def shape(self) -> MeniscusShape:
        """On the finest mesh."""
        return self.problem.shape(self.x)

    @property
    def equilibrium(self) -> Equilibrium:
        """The shape with its field, on the finest mesh."""
        return self.problem.equilibrium(self.x)


def slope_on_meshes(
    wetting: Wetting,
    contact: ContactPlace,
    shape: MeniscusShape,
    bond: float | None,
    slope: float,
    levels: tuple[int, ...] = _LEVELS,
    near: CoarseMesh | None = None,
) -> SlopeSolve:
    """The surface pinned at a place whose slope at the contact line is given.

    Parameters
    ----------
    shape : MeniscusShape
        Near the answer; the meshes are made for it.
    bond : float or None
        Its electric Bond number, near the answer; None for a cap, from whose curvature and pressure
        it is guessed, [-].
    slope : float
        psi at the contact line, [rad].
    levels : tuple of int
        Subdivisions of the meshes, [-].
    near : CoarseMesh or None
        Of a neighbouring section, to be moved to this one where it can follow.

    Raises
    ------
    ContinuationError, MeshError
        No such surface was found from there.
    """
    liquid = wetting.liquid(contact)
    amount = wetting.pressure * liquid.radius
    # What tension asks of the field at the apex gives its scale where the strength is near.
    lacking = float(shape.curvature(np.zeros(1))[0]) - amount
    scale = None
    if bond is not None and bond > 0.0 and lacking > _LACKING:
        scale = math.sqrt(2.0 * lacking / bond)
    coefficients = shape.coefficients.copy()
    coefficients[0] += slope - shape.contact_angle
    shape = shape.changed(coefficients)
    section, surface = liquid.draw(shape)
    moved = followed(near, section)
    coarse = liquid_mesh(liquid, section, shape) if moved is None else moved
    # Every polynomial of the slope is one at the contact line: the plane in which it stays.
    direction = np.concatenate([np.ones(len(coefficients)), [0.0]])
    direction /= np.linalg.norm(direction)
    values: list[float] = []
    like: MeniscusProblem | None = None
    x = np.empty(0)
    for level in levels:
        problem = MeniscusProblem(
            MovingField(section, surface, level, liquid.potentials, coarse=coarse),
            radius=liquid.radius,
            contact=liquid.contact,
            held="pressure",
            amount=amount,
            reference=shape,
            like=like,
            reference_field=scale,
        )
        if like is None:
            like = problem
            if bond is None:
                lacking = float(shape.curvature(np.zeros(1))[0]) - amount
                bond = 2.0 * lacking / problem.reference_field**2
            x = problem.unknowns(shape, 0.0, bond)
        point = correct(problem.residual_and_jacobian, x, direction, _CLOSE)
        x = point.x
        values.append(problem.parts(x)[2])
    rises = float(point.tangent[-1] * point.tangent[:-1].sum()) > 0.0
    several = estimate(levels, tuple(values)) if len(levels) > 1 else values[0]
    mesh = coarse if moved is None or near is None else near
    return SlopeSolve(problem, x, several, rises, mesh)


def _solve(
    wetting: Wetting,
    station: Station,
    shape: MeniscusShape,
    bond: float | None,
    slope: float,
    near: CoarseMesh | None,
) -> ContactSolve:
    one = slope_on_meshes(wetting, station.contact, shape, bond, slope, (_LEVELS[0],), near)
    pressure = wetting.pressure * station.contact.position[0]
    return ContactSolve(station, one.shape, pressure, one.value, one.rises, one.mesh)


def from_rest(wetting: Wetting, station: Station) -> tuple[ContactSolve, ...]:
    """Surfaces at a place from the one without field to the one about to advance.

    Returns
    -------
    tuple of ContactSolve
        The last lies beyond the turning point of the pinned surface where that comes first; it is
        the only one where no surface is held without field.

    Raises
    ------
    ContinuationError, MeshError
        The surface could not be followed.
    """
    target = wetting.advancing + station.contact.tangent
    radius = station.contact.position[0]
    still = wetting.still_slope(radius)
    # Where the liquid cannot be held without field, the cap of the target's own slope is near.
    slope = target if still is None else still
    shape = cap(slope, wetting.modes, wetting.symmetry)
    found = [ContactSolve(station, shape, wetting.pressure * radius, 0.0)]
    if still is None:
        return (_solve(wetting, station, shape, None, target, None),)
    step = _SLOPE_STEP
    while True:
        away = target - slope
        there = target if abs(away) <= step else slope + math.copysign(step, away)
        guess, bond = _guess(found, slope, there)
        try:
            found.append(_solve(wetting, station, guess, bond, there, found[-1].mesh))
        except (ContinuationError, MeshError):
            step /= 2.0
            if step < _SLOPE_STEP * 0.5**_HALVINGS:
                raise
            continue
        slope = there
        if slope == target or not found[-1].rises:
            return tuple(found)


def _guess(
    found: Sequence[ContactSolve], slope: float, there: float
) -> tuple[MeniscusShape, float | None]:
    """Shape and electric Bond number at the next slope, from the last two."""
    last = found[-1]
    if len(found) == 1:
        return cap(there, len(last.shape.coefficients), last.shape.symmetry), None
    before = found[-2]
    share = (there - slope) / (slope - before.shape.contact_angle)
    coefficients = last.shape.coefficients + share * (
        last.shape.coefficients - before.shape.coefficients
    )
    bond = last.electric_bond_number
    return last.shape.changed(coefficients), bond + share * (bond - before.electric_bond_number)


def _next(
    wetting: Wetting, before: ContactSolve, station: Station, halvings: int
) -> tuple[list[ContactSolve], ComputationError | None]:
    """The surface about to advance at the next place, from that at the place before.

    Steps are halved where Newton's method or the mesh does not follow; what was found on the way is
    given as well, and the failure where the next place was not reached.
    """
    found: list[ContactSolve] = []
    here, done, share = before, 0.0, 1.0
    smallest = 0.5**halvings
    while True:
        part = min(1.0, done + share)
        place = station if part == 1.0 else between(wetting.wall, before.station, station, part)
        target = wetting.advancing + place.contact.tangent
        bond = here.load / place.contact.position[0]
        try:
            here = _solve(wetting, place, here.shape, bond, target, here.mesh)
        except (ContinuationError, MeshError) as error:
            share /= 2.0
            if share < smallest:
                return found, error
            continue
        found.append(here)
        if part == 1.0:
            return found, None
        done = part


def _unheld(wetting: Wetting, station: Station) -> ContactSolve | None:
    """A stand-in for a place where the line advances without any voltage, or None.

    Its electric Bond number is that of a unit field under a cap of the steepest slope that the
    place holds, negative.
    """
    radius = station.contact.position[0]
    slope, still = wetting.advancing + station.contact.tangent, wetting.still_slope(radius)
    if still is None:
        if wetting.pressure <= 0.0:
            return None
        slope = math.pi / 2.0
    elif still <= slope + _ROUNDING:
        return None
    shape = cap(slope, wetting.modes, wetting.symmetry)
    pressure = wetting.pressure * radius
    most = float(shape.curvature(np.zeros(1))[0])
    return ContactSolve(station, shape, pressure, 2.0 * (most - pressure))


def start_here(wetting: Wetting, station: Station) -> tuple[ContactSolve, ...]:
    """`from_rest`, or the stand-in of a place where the line advances without voltage.

    Raises
    ------
    ContinuationError, MeshError
        The surface could not be followed.
    """
    unheld = _unheld(wetting, station)
    return from_rest(wetting, station) if unheld is None else (unheld,)


def solves_along(
    wetting: Wetting, start: tuple[int, float]
) -> tuple[tuple[ContactSolve, ...], tuple[ContactSolve, ...]]:
    """The surfaces about to advance at the places along the wall.

    Beyond the turning point of the surface that is pinned there, shapes of ever steeper slope cease
    to exist; by then the voltage has fallen, so that the wall is followed no further.

    Parameters
    ----------
    start : (piece, t)
        Where the line stands without voltage.

    Returns
    -------
    rest : tuple of ContactSolve
        At the start, from no voltage on.
    solves : tuple of ContactSolve
        One for each place.

    Raises
    ------
    ContinuationError, MeshError
        The surface could not be followed while its voltage still rose.
    """
    places = stations(wetting.wall, start)
    rest = start_here(wetting, places[0])
    solves = [rest[-1]]
    for number, place in enumerate(places[1:], 1):
        unheld = _unheld(wetting, place)
        if unheld is not None:
            solves.append(unheld)
            continue
        if _unheld(wetting, solves[-1].station) is not None:
            solves.append(from_rest(wetting, place)[-1])
            continue
        falls = len(solves) > 1 and solves[-1].load < solves[-2].load
        found, failure = _next(wetting, solves[-1], place, _FEW if falls else _HALVINGS)
        solves += found
        if failure is not None:
            falls = len(solves) > 1 and solves[-1].load < solves[-2].load
            if falls or not solves[-1].rises:
                break
            raise failure
        later = any(s.pinned or s.contact.tangent > place.contact.tangent for s in places[number:])
        if not later and solves[-1].load < solves[-2].load:
            break
    return rest, tuple(solves)
