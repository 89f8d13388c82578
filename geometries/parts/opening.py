"""Openings of an accelerator, as those ask for them who build and draw it in three dimensions."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.geometries.curves.curve import Curve

__all__ = ["RingSlot", "RoundHole", "StraightSlot"]


@dataclass(frozen=True)
class RoundHole:
    """A round hole over every tip.

    Parameters
    ----------
    diameter : float
        At its narrowest sharp corner, [m].
    wall : tuple of Curve
        From the near face to the far one, in (distance from the hole's axis, z), [m].
    """

    diameter: float
    wall: tuple[Curve, ...]


@dataclass(frozen=True)
class StraightSlot:
    """A slot along x between two blades.

    Parameters
    ----------
    slot_width : float
        [m].
    slot_length : float or None
        [m]; None where it is open far beyond both ends of the emitter.
    blade : tuple of Curve
        Closed outline of the blade at y > 0, in (y, z), [m].
    """

    slot_width: float
    slot_length: float | None
    blade: tuple[Curve, ...]


@dataclass(frozen=True)
class RingSlot:
    """A ring-shaped slot.

    Parameters
    ----------
    mean_diameter : float
        Of the circle in its middle, [m].
    slot_width : float
        [m].
    lateral_offset : float
        Of its middle from the emitter's, [m].
    rings : tuple of tuples of Curve
        Closed outlines of the disc inside and the plate around it, in (radius, z), [m].
    """

    mean_diameter: float
    slot_width: float
    lateral_offset: float
    rings: tuple[tuple[Curve, ...], ...]
