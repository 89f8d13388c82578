"""The ways on which liquid reaches an emitting edge, as an emitter of any kind describes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

__all__ = [
    "ConeFilm",
    "FeedPath",
    "FlatFilm",
    "Groove",
    "PlateChannel",
    "PorousPlug",
    "RoundBore",
]


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
    """A round bore, or several side by side.

    Parameters
    ----------
    diameter : float
        [m].
    length : float
        [m].
    count : int
        Bores side by side.
    """

    diameter: float
    length: float
    count: int = 1


@dataclass(frozen=True)
class FlatFilm:
    """An even film on a wall.

    Parameters
    ----------
    thickness : float
        [m].
    length : float
        Along the flow, [m].
    width : float
        Across the flow, [m].
    """

    thickness: float
    length: float
    width: float


@dataclass(frozen=True)
class Groove:
    """Open grooves of rectangular section side by side.

    Parameters
    ----------
    width, depth : float
        [m].
    length : float
        Along the flow, [m].
    count : int
        Grooves side by side.
    """

    width: float
    depth: float
    length: float
    count: int


@dataclass(frozen=True)
class PorousPlug:
    """A porous body that the liquid fills.

    Parameters
    ----------
    permeability : float
        [m^2].
    area : float
        Across the flow, [m^2].
    length : float
        Along the flow, [m].
    pore_radius : float
        [m].
    """

    permeability: float
    area: float
    length: float
    pore_radius: float


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


FeedPath: TypeAlias = PlateChannel | RoundBore | ConeFilm | FlatFilm | Groove | PorousPlug
