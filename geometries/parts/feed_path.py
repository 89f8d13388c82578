"""The ways on which liquid reaches an emitting edge, as an emitter of any kind describes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

__all__ = ["ConeFilm", "FeedPath", "PlateChannel", "RoundBore"]


@dataclass(frozen=True)
class PlateChannel:
    """A channel between two parallel plates.

    Parameters
    ----------
    height : float
        Distance between the plates, [m].
    length : float
        Along the flow, [m].
    width : float
        Across the flow, [m].
    """

    height: float
    length: float
    width: float


@dataclass(frozen=True)
class RoundBore:
    """A round bore.

    Parameters
    ----------
    diameter : float
        [m].
    length : float
        [m].
    """

    diameter: float
    length: float


@dataclass(frozen=True)
class ConeFilm:
    """A film on a cone with a spherical tip and on the cylinder below it.

    Parameters
    ----------
    thickness : float
        [m].
    tip_radius : float
        Of the metal, [m].
    half_angle : float
        From the axis to the cone's flank, [rad].
    base_radius : float
        Of the cylinder, [m].
    height : float
        Of the tip above the foot of the cylinder, [m].
    """

    thickness: float
    tip_radius: float
    half_angle: float
    base_radius: float
    height: float


FeedPath: TypeAlias = PlateChannel | RoundBore | ConeFilm
