"""An accelerator beside a round emitter's axis or askew to it, seen from the emitter.

The offset is the distance of the opening's middle, in the accelerator's near face, from the
emitter's axis.  The tilt is the angle between both axes, about that middle, in the plane of the
offset, positive where the opening's axis leans on to the side of a positive offset.
"""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.clearance import closest_places, crossing, inside
from conegap.geometries.curves.curve import FloatArray, polyline
from conegap.geometries.curves.section import Section, electrode_of
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["askew", "askew_clearance"]

# Points on every curve of an outline that is compared with others.
_SAMPLES = 129


def askew(points: FloatArray, offset: float, tilt: float, face: float) -> FloatArray:
    """Points of an accelerator drawn about the emitter's axis, where offset and tilt put them.

    Parameters
    ----------
    points : (n, 2) array
        In the plane of the offset, (x, z), [m].
    offset : float
        [m].
    tilt : float
        [rad].
    face : float
        Height z of the near face, [m].

    Returns
    -------
    (n, 2) array
        [m].
    """
    c, s = math.cos(tilt), math.sin(tilt)
    x, z = points[:, 0], points[:, 1] - face
    return np.stack([offset + c * x + s * z, face - s * x + c * z], axis=1)


def askew_clearance(section: Section, offset: float, tilt: float) -> float:
    """Smallest distance between a round emitter and its accelerator beside its axis or askew, [m].

    Where both are round it is smallest in the plane of offset and tilt.

    Parameters
    ----------
    section : Section
        Axisymmetric, the accelerator a body of its own, as drawn without offset and tilt.
    offset : float
        [m].
    tilt : float
        [rad].

    Raises
    ------
    GeometryError
        The accelerator reaches the emitter, the chamber or the floor.
    """
    frame, *islands = section.loops
    around = polyline([b.curve for b in frame if b.name != "axis"], _SAMPLES)
    metal = polyline([b.curve for b in frame if electrode_of(b.name) == "emitter"], _SAMPLES)
    whole = np.vstack([(around * (-1.0, 1.0))[::-1], around])
    emitter = np.vstack([(metal * (-1.0, 1.0))[::-1], metal])
    nearest = math.inf
    for loop in islands:
        right = polyline([b.curve for b in loop], _SAMPLES)
        for side in (right, right * (-1.0, 1.0)):
            moved = askew(side, offset, tilt, section.gap)
            if crossing(moved, whole) or not inside(moved[:1], whole)[0]:
                raise GeometryError(
                    "accelerator.lateral_offset, accelerator.tilt: "
                    f"{as_text(offset, LENGTH)} beside the emitter's axis and leaning by "
                    f"{math.degrees(tilt):.4g} deg the accelerator reaches the emitter, its "
                    "holder, the floor or the chamber; make them smaller, or the room wider"
                )
            nearest = min(
                nearest,
                closest_places(moved, emitter).distance,
                closest_places(emitter, moved).distance,
            )
    return nearest
