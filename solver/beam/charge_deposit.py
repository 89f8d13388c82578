"""Charge that a steady beam leaves in the control volumes that it crosses.

A tube of current I holds the charge I dt on every stretch that its ions cross in the time dt.
Each stretch lies in one triangle of the mesh; its charge is shared among the triangle's corners by
the barycentric coordinates of its mean place over time, so that the shares add up to one and the
charge of all volumes is the current times the time of flight to rounding.  Where ions start from
rest their density has no limit, but their time in a volume has: nothing is divided by a speed.
"""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.solver.beam.launch import IonStarts
from conegap.solver.beam.trajectories import Trajectories
from conegap.solver.field.interpolation import FieldAtPoints

__all__ = ["deposited_charge", "launch_charge", "time_mean_places"]


def time_mean_places(paths: Trajectories) -> tuple[FloatArray, FloatArray]:
    """Mean place over time on every stretch of every path, and the time on it.

    From places and velocities at both ends, exact for a constant acceleration (the rule of
    Hermite's cubic: mean of the ends plus dt (v0 - v1) / 12).

    Returns
    -------
    (m, 2) array
        One path after the other, x negative on the mirrored half, [m].
    (m,) array
        [s].
    """
    place = np.vstack([0.5 * (p[1:] + p[:-1]) for p in paths.paths])
    slowing = np.vstack([v[:-1] - v[1:] for v in paths.velocities])
    spent = np.concatenate([np.diff(t) for t in paths.times])
    return place + (spent / 12.0)[:, None] * slowing, spent


def deposited_charge(field: FieldAtPoints, paths: Trajectories, currents: FloatArray) -> FloatArray:
    """Charge of every control volume.

    Parameters
    ----------
    field : FieldAtPoints
        Through which the paths were followed.
    currents : (n,) array
        Of the tube that each path stands for, [A], or [A/m] when planar.

    Returns
    -------
    (points,) array
        [C] or [C/m]; of a section that is one half, both halves together.
    """
    mean, spent = time_mean_places(paths)
    stretches = np.array([len(t) for t in paths.triangles])
    charge = np.repeat(currents, stretches) * spent
    return _shared(field, mean, np.concatenate(paths.triangles), charge)


def launch_charge(
    field: FieldAtPoints, starts: IonStarts, mass: float, currents: FloatArray
) -> FloatArray:
    """Charge of the ions between the surface and where they are first followed.

    Of a fall from rest at constant acceleration over the distance d to the speed v: the time
    2 d / v, and d / 3 from the surface as the mean place.

    Parameters
    ----------
    starts : IonStarts
    mass : float
        Of an ion, [kg].
    currents : (n,) array
        As in `deposited_charge`.

    Returns
    -------
    (points,) array
        [C] or [C/m].
    """
    speed = np.hypot(*starts.velocities(mass).T)
    there = starts.distances > 0.0
    spent = np.zeros(len(speed))
    spent[there] = 2.0 * starts.distances[there] / speed[there]
    mean = starts.positions - (2.0 / 3.0 * starts.distances)[:, None] * starts.directions
    triangle, inside = field.locate(mean / field.scale)
    # Between a curved surface and its chords there is no triangle: the launch itself is near.
    mean[~inside] = starts.positions[~inside]
    triangle[~inside] = field.locate(mean[~inside] / field.scale)[0]
    return _shared(field, mean, triangle, currents * spent)


def _shared(
    field: FieldAtPoints, mean: FloatArray, triangle: IntArray, charge: FloatArray
) -> FloatArray:
    """Charges at mean places shared among the corners of their triangles, (points,) array."""
    if field.mirrored:
        mean = np.stack([np.abs(mean[:, 0]), mean[:, 1]], axis=1)
    share = field.barycentric(mean / field.scale, triangle)
    corners = field.mesh.triangles[triangle]
    count = len(field.mesh.points)
    return np.asarray(np.bincount(corners.ravel(), (charge[:, None] * share).ravel(), count))
