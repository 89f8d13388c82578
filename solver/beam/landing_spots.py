"""Where a beam meets the accelerator: the spots that sputter."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.solver.beam.trajectories import Trajectories

__all__ = ["LandingSpot", "landing_spots"]

# To the normal, [rad]: sputtering by heavy ions is strongest at 60 to 80 degrees (R. Behrisch
# and W. Eckstein, Sputtering by Particle Bombardment, Springer 2007, from memory).
_OBLIQUE = math.radians(60.0)


@dataclass(frozen=True)
class LandingSpot:
    """Ions that meet one outline of the accelerator on one side.

    Parameters
    ----------
    share : float
        Of the emitted current, mirrored halves together, [-].
    first, last : tuple of float
        Ends of the spot, (x, z), [m].
    arc_length : tuple of float
        The same along the outline, see `conegap.solver.beam.landing.Landing`; the second may exceed
        the length of a closed outline on which the spot lies across the first point, [m].
    energy : float
        Mean kinetic energy, [J].
    angle : float
        Mean angle to the surface's normal, [rad].
    """

    share: float
    first: tuple[float, float]
    last: tuple[float, float]
    arc_length: tuple[float, float]
    energy: float
    angle: float

    @property
    def oblique(self) -> bool:
        """Hit at 60 degrees or more to the normal, where sputtering is strongest."""
        return self.angle >= _OBLIQUE


def landing_spots(
    section: Section, paths: Trajectories, shares: FloatArray
) -> tuple[LandingSpot, ...]:
    """Landings on the accelerator gathered by outline, the greatest share first.

    Parameters
    ----------
    section : Section
        Of a half, landings of both sides are shown on the right.
    shares : (n,) array
        Of the current, [-].
    """
    half = section.symmetry == "axisymmetric" or section.mirrored
    groups: dict[int, list[int]] = {}
    for number, spot in enumerate(paths.landing):
        if spot is not None and spot.name == "accelerator":
            groups.setdefault(spot.boundary[0], []).append(number)
    found = []
    for loop, members in groups.items():
        spots = [spot for k in members if (spot := paths.landing[k]) is not None]
        arc = np.array([spot.arc_length for spot in spots])
        order = np.argsort(arc)
        outline = section.loops[loop]
        if all(boundary.name == "accelerator" for boundary in outline):
            # A closed outline: begin behind the widest stretch without a landing.
            around = sum(boundary.curve.length for boundary in outline)
            free = np.diff(np.append(arc[order], arc[order[0]] + around))
            order = np.roll(order, -int(np.argmax(free)) - 1)
            arc[arc < arc[order[0]]] += around
        ends = [spots[order[0]].position, spots[order[-1]].position]
        weight = shares[members] / shares[members].sum()
        first, last = ((abs(x) if half else x, z) for x, z in ends)
        found.append(
            LandingSpot(
                share=float(shares[members].sum()),
                first=first,
                last=last,
                arc_length=(float(arc[order[0]]), float(arc[order[-1]])),
                energy=float(weight @ paths.end_energy[members]),
                angle=float(weight @ np.array([spot.angle for spot in spots])),
            )
        )
    return tuple(sorted(found, key=lambda spot: -spot.share))
