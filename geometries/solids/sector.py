"""The sector: the part of a three-dimensional gap that its symmetries leave to be solved.

A crown repeats every pitch and mirrors in between, an array mirrors at its middle planes, a slit
of finite length at its two middle planes.  A sector is the vacuum between such planes, with named
walls, conductors cut out of it, and the places whose field is wanted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from conegap.geometries.curves.curve import Arc, Curve, Line
from conegap.geometries.curves.section import electrode_of
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.notebook import brief
from conegap.geometries.solids.shapes import Block, Revolved, Solid

__all__ = ["Conductor", "Lip", "Room3D", "Sector", "Tip", "Wedge"]


@dataclass(frozen=True)
class Wedge:
    """A region between two half planes that meet in the z axis.

    Parameters
    ----------
    angle : float
        Between the half planes, the first of which holds the x axis, [rad].
    radius : float
        Outer radius, [m].
    bottom, top : float
        Heights z of its ends, [m].
    walls : mapping
        Boundary name of "bottom", "top" and "side"; the half planes are symmetry planes.
    """

    angle: float
    radius: float
    bottom: float
    top: float
    walls: Mapping[str, str]


@dataclass(frozen=True)
class Room3D:
    """A box-shaped region.

    Parameters
    ----------
    walls : mapping
        Boundary name of "x_low", "x_high", "y_low", "y_high", "z_low" and "z_high".
    """

    block: Block
    walls: Mapping[str, str]


@dataclass(frozen=True)
class Conductor:
    """A body of metal.

    Parameters
    ----------
    electrode : str
        "emitter", "accelerator" or "chamber".
    """

    electrode: str
    solid: Solid


@dataclass(frozen=True)
class Tip:
    """A cone with a spherical cap on a flat crest, or any round body by its outline.

    Parameters
    ----------
    name : str
        What the reader calls it.
    place : tuple of float
        Its axis, parallel to z, (x, y), [m].
    apex : float
        Height z of its apex, [m].
    radius : float
        Of the cap, [m].
    half_angle : float
        From the axis to the flank, [rad].
    height : float
        Of the apex above the crest it stands on, [m].
    reach : float
        Radius about the apex that holds only this tip's own metal, [m].
    mirrors : tuple of float
        Azimuths of the symmetry planes through its axis: (), (0,), (pi/2,) or (0, pi/2), [rad].
    body : tuple of Curve
        Closed outline in (radius, z) of a body that is no such cone, from its apex down and back
        along the axis; ``half_angle`` and ``height`` then say nothing, [m].
    """

    name: str
    place: tuple[float, float]
    apex: float
    radius: float
    half_angle: float
    height: float
    reach: float
    mirrors: tuple[float, ...] = ()
    body: tuple[Curve, ...] = ()

    @property
    def share(self) -> float:
        """Part of the tip inside the sector: 1, 1/2 or 1/4."""
        return float(0.5 ** len(self.mirrors))

    @property
    def base_radius(self) -> float:
        """Radius of its foot on the crest, [m]."""
        a, r = self.half_angle, self.radius
        return r * math.cos(a) + (self.height - r * (1.0 - math.sin(a))) * math.tan(a)

    def outline(self, below: float) -> tuple[Curve, ...]:
        """Closed outline of its metal, down to a depth below the crest, in (radius, z).

        Parameters
        ----------
        below : float
            How far the body reaches into what it stands on, >= 0, [m].
        """
        if self.body:
            return self.body
        a, r = self.half_angle, self.radius
        start = (r * math.cos(a), self.apex - r * (1.0 - math.sin(a)))
        low = self.apex - self.height - below
        foot = (start[0] + (start[1] - low) * math.tan(a), low)
        return (
            Arc((0.0, self.apex - r), r, math.pi / 2.0, a),
            Line(start, foot),
            Line(foot, (0.0, low)),
            Line((0.0, low), (0.0, self.apex)),
        )

    def solid(self, below: float) -> Revolved:
        """Its metal, down to a depth below the crest.

        Parameters
        ----------
        below : float
            [m].
        """
        return Revolved(self.outline(below), self.place)


@dataclass(frozen=True)
class Lip:
    """The rounded edge of a blade, followed along its length and round its end.

    Parameters
    ----------
    straight : float
        Length of the straight part from the middle plane x = 0, [m].
    end_radius : float
        Radius of its end in the blade's own plane y = 0, [m].
    radius : float
        Edge radius as modelled, [m].
    lean : float
        Of the flanks from the blade's plane, [rad].
    reach : float
        Radius of a tube about the edge that holds only the blade's own metal, [m].
    sweep : float
        Angle through which the edge is followed round its end, [rad].
    """

    straight: float
    end_radius: float
    radius: float
    lean: float
    reach: float
    sweep: float


@dataclass(frozen=True)
class Sector:
    """A vacuum region in three dimensions; the solver's counterpart of a plane section.

    Parameters
    ----------
    region : Wedge or Room3D
    conductors : tuple of Conductor
    tips : tuple of Tip
        Emitter metal as well; each also a place whose field is wanted.
    gap : float
        From z = 0 to the accelerator's near face, [m].
    copies : int
        How many sectors make the whole, [-].
    lip : Lip or None
        Of a blade with an end.
    parts_per_radius : float
        How many edges of the first mesh fit into a radius of curvature; fewer where long rounded
        edges run far from the tips, [-].
    notes : tuple of str
        For the report.
    """

    region: Wedge | Room3D
    conductors: tuple[Conductor, ...]
    tips: tuple[Tip, ...]
    gap: float
    copies: int = 1
    lip: Lip | None = None
    parts_per_radius: float = 2.0
    notes: tuple[str, ...] = field(default=())

    __repr__ = brief

    def __post_init__(self) -> None:
        for name in self.region.walls.values():
            electrode_of(name)
        names = [tip.name for tip in self.tips]
        if len(set(names)) < len(names):
            raise GeometryError("two tips of a sector have the same name")

    @property
    def electrodes(self) -> tuple[str, ...]:
        """Names of the electrodes present, emitter first."""
        present: set[str | None] = {c.electrode for c in self.conductors}
        present |= {electrode_of(name) for name in self.region.walls.values()}
        if self.tips:
            present.add("emitter")
        return tuple(e for e in ("emitter", "accelerator", "chamber") if e in present)

    def tip(self, name: str) -> Tip:
        """The tip of that name.

        Raises
        ------
        GeometryError
            No such tip; the message lists the names.
        """
        for tip in self.tips:
            if tip.name == name:
                return tip
        raise GeometryError(f"no tip '{name}'; the tips are {', '.join(t.name for t in self.tips)}")
