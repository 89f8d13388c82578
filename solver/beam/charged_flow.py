"""A steady flow of ions in the field of the electrodes and of its own charge.

The charge of every control volume gives the potential (Poisson's equation), the potential gives
the paths, and the time that the paths spend in every volume gives its charge; the three are
repeated until the charge stays.  Anderson's mixing (J. ACM 12, 547 (1965), from memory) of a few
earlier rounds makes this quick also close to the limit of space charge.

Near an emitting tip the density of charge has no limit: it goes with 1 / (area speed), and ions
come from a cusp of nanometres that the section does not show.  What is resolved here is the flow
from the launch distance of `LaunchModel` outward, with the energy of the fall from the emitter in
the field with charge.  The charge between the surface and the launch is that of a fall at
constant acceleration.  So the field at the apex is one of the drawn surface under a beam of that
cone, with the resolution of the launch distance, and says nothing about the cusp; what the charge
does to the beam further out hardly depends on it, because the push on an ion goes with the charge
within its cone, I t, and an ion gains most of its angle while the beam is some tip radii wide.
Launched 0.02, 0.1, 0.5 and 1 radii off the tip of the shipped needle at 69 uA, the outermost ion
leaves at 22.9, 22.7, 22.3 and 22.3 degrees (18.2 without charge), and the potential that the
charge adds is at most 64, 64, 62 and 60 V of 5 kV.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import ConvergenceError, GeometryError
from conegap.solver.beam.charge_deposit import deposited_charge, launch_charge
from conegap.solver.beam.launch import IonStarts
from conegap.solver.beam.lockstep import Job
from conegap.solver.beam.trajectories import Swarm, Trajectories
from conegap.solver.field.charged import ChargedLevel
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.field.solution import Voltages

__all__ = ["ChargedFlow", "charged_flow"]

# Of the charge from round to round, in all: what remains moves the half angle of the needle's beam
# by some 1e-5 degrees.
_TOLERANCE = 1e-4
# Three to six are needed, near the limit of space charge twenty.
_MOST_ROUNDS = 60
# Earlier rounds that are mixed; more than four gain nothing near the limit of space charge.
_MEMORY = 4
# Halvings of a step that turns the field at the emitter round; after so many nothing is left of it.
_MOST_HALVINGS = 12


@dataclass(frozen=True)
class ChargedFlow:
    """Paths in the field with charge, and that charge.

    Parameters
    ----------
    current : float
        [A], or [A/m] when planar.
    level : ChargedLevel
    alone : Trajectories
        Paths without charge.
    field : FieldAtPoints
        With the charge.
    starts : IonStarts
    paths : Trajectories
    charge : (n,) array
        Of every control volume, [C] or [C/m].
    potential : (n,) array
        Of that charge between grounded electrodes, [V].
    rounds : int
        [-].
    change : float
        Of the charge in the last round, over the charge, [-].
    """

    current: float
    level: ChargedLevel
    alone: Trajectories
    field: FieldAtPoints
    starts: IonStarts
    paths: Trajectories
    charge: FloatArray
    potential: FloatArray
    rounds: int
    change: float


def charged_flow(
    level: ChargedLevel,
    voltages: Voltages,
    mass: float,
    launch: Callable[[FieldAtPoints], IonStarts],
    current: float,
    *,
    charge: FloatArray | None = None,
    tolerance: float = _TOLERANCE,
) -> Job[ChargedFlow]:
    """Job to find the steady flow of a current.

    Run it with `conegap.solver.beam.lockstep.followed`.

    Parameters
    ----------
    level : ChargedLevel
    voltages : mapping
        [V].
    mass : float
        Of an ion, [kg].
    launch : callable
        Starts of the ions in a field; raises `GeometryError` where it holds them back.
    current : float
        >= 0; of a mirrored planar half, that of both halves, [A] or [A/m].
    charge : (n,) array or None
        To begin with, none when left out, [C] or [C/m].
    tolerance : float
        On the change of the charge in one round, [-].

    Raises
    ------
    GeometryError
        The field holds ions back even without charge.
    ConvergenceError
        There is no steady flow of this current: the emitter cannot carry it, ions neither leave
        nor land, or the rounds did not settle.
    """

    def ready(potential: FloatArray) -> tuple[IonStarts, Swarm]:
        """Starts in the field with a potential of charge, and their ions."""
        field = level.field(voltages, potential)
        starts = launch(field)
        return starts, Swarm(field, starts.positions, starts.velocities(mass), mass)

    def deposit(starts: IonStarts, swarm: Swarm, paths: Trajectories) -> FloatArray:
        """Charge that the flow along these paths leaves."""
        lost = [spot is None for spot in paths.landing]
        if any(lost):
            raise ConvergenceError(
                "no steady beam: ions neither leave nor land, and their charge would grow for ever",
                residual=float(starts.shares[lost].sum()),
                tolerance=0.0,
            )
        tubes, field = current * starts.shares, swarm.field
        return deposited_charge(field, paths, tubes) + launch_charge(field, starts, mass, tubes)

    good = np.zeros(level.count)
    starts, swarm = ready(good)
    if charge is None:
        (alone,) = yield [swarm]
        now, more = deposit(starts, swarm, alone), []
    else:
        now, more = charge, [swarm]  # whose paths are followed along with the first round's
    mixing, halvings, change = _Mixing(), 0, np.inf
    for rounds in range(1, _MOST_ROUNDS + 1):
        potential = level.potential_of(now)
        try:
            starts, swarm = ready(potential)
        except GeometryError:
            halvings += 1
            if halvings > _MOST_HALVINGS:
                break
            now, mixing = 0.5 * (good + now), _Mixing()
            continue
        paths, *others = yield [swarm, *more]
        if more:
            alone, more = others[0], []
        found = deposit(starts, swarm, paths)
        size = float(np.abs(found).sum())
        change = float(np.abs(found - now).sum()) / size if size > 0.0 else 0.0
        if change <= tolerance:
            return ChargedFlow(
                current=current,
                level=level,
                alone=alone,
                field=swarm.field,
                starts=starts,
                paths=paths,
                charge=now,
                potential=potential,
                rounds=rounds,
                change=change,
            )
        good, now = now, mixing.next(now, found)
    raise ConvergenceError(
        f"no steady beam of {current:.3g} A (per metre of a slit) was found: its own charge turns "
        "the field at the emitter round, or the rounds of charge and paths do not settle; a "
        "smaller current or a higher voltage helps",
        residual=change,
        tolerance=tolerance,
    )


class _Mixing:
    """Anderson's mixing of the last rounds."""

    def __init__(self) -> None:
        self._given: list[FloatArray] = []
        self._found: list[FloatArray] = []

    def next(self, given: FloatArray, found: FloatArray) -> FloatArray:
        """What to try next, from what was given and what the round made of it."""
        self._given = [*self._given, given][-_MEMORY:]
        self._found = [*self._found, found][-_MEMORY:]
        if len(self._given) < 2:
            return found
        misses = np.array(self._found) - np.array(self._given)
        steps = np.diff(misses, axis=0).T
        gamma = np.linalg.lstsq(steps, misses[-1], rcond=1e-10)[0]
        return np.asarray(found - np.diff(np.array(self._found), axis=0).T @ gamma)
