"""The section: a plane region of vacuum with named boundary curves.

A section is what a designer's drawing becomes before it is meshed.  Coordinates are (x, z) for a
planar section (extruded along y) and (r, z) for an axisymmetric one; the emitting edge lies at
z = 0 and the accelerator in the direction of +z.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray, IntArray, Line, polyline
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.quantities.notebook import brief

__all__ = [
    "BOUNDARY_NAMES",
    "Body",
    "Boundary",
    "BoundaryLine",
    "DimensionMark",
    "EmittingEdge",
    "ImportedMesh",
    "Section",
    "Symmetry",
    "electrode_of",
]

Symmetry = Literal["planar", "axisymmetric"]

BOUNDARY_NAMES = ("emitter", "liquid", "accelerator", "chamber", "axis", "symmetry", "outer")
_ELECTRODE_OF = {
    "emitter": "emitter",
    "liquid": "emitter",
    "accelerator": "accelerator",
    "chamber": "chamber",
}


def electrode_of(boundary_name: str) -> str | None:
    """The electrode a boundary belongs to, or None where no flux crosses it.

    The liquid is at the emitter's potential; axis, symmetry and outer are lines without flux.

    Parameters
    ----------
    boundary_name : str
        One of `BOUNDARY_NAMES`.

    Raises
    ------
    GeometryError
        The name is not one of `BOUNDARY_NAMES`.
    """
    if boundary_name not in BOUNDARY_NAMES:
        raise GeometryError(
            f"boundary '{boundary_name}' is unknown; the names are {', '.join(BOUNDARY_NAMES)}"
        )
    return _ELECTRODE_OF.get(boundary_name)


@dataclass(frozen=True)
class Boundary:
    """One named boundary curve; the vacuum lies to the left of its direction."""

    name: str
    curve: Curve

    def __post_init__(self) -> None:
        electrode_of(self.name)


@dataclass(frozen=True)
class EmittingEdge:
    """A place on an electrode whose field is wanted to full accuracy.

    Parameters
    ----------
    name : str
        What the reader calls it: "tip", "left lip".
    loop, index : int
        Boundary ``section.loops[loop][index]`` on which it lies, [-].
    t : float
        Curve parameter of its nominal apex, [-].
    radius : float
        Radius of curvature in the plane of the section; 0 for a sharp corner at t = 0 or 1, [m].
    """

    name: str
    loop: int
    index: int
    t: float
    radius: float


@dataclass(frozen=True)
class BoundaryLine:
    """A line of a given mesh on a boundary.

    Parameters
    ----------
    first, last : int
        Its points, the vacuum on the left.
    boundary : tuple of int
        (loop, index) in the section.
    t_first, t_last : float
        Curve parameters of its ends, [-].
    """

    first: int
    last: int
    boundary: tuple[int, int]
    t_first: float
    t_last: float


@dataclass(frozen=True)
class ImportedMesh:
    """Triangles that came with a section, to be solved on.

    Parameters
    ----------
    points : (n, 2) array
        [m].
    triangles : (m, 3) array of int
        Counterclockwise, Delaunay.
    lines : tuple of BoundaryLine
        All lines of the boundary.
    """

    points: FloatArray
    triangles: IntArray
    lines: tuple[BoundaryLine, ...]

    def moved(self, by: FloatArray) -> ImportedMesh:
        """The mesh moved by (x, z), (2,) array, [m]."""
        return replace(self, points=self.points + by)


@dataclass(frozen=True)
class Body:
    """Outline of a solid or liquid part, for drawings only, (n, 2) array, [m]."""

    material: Literal["electrode", "liquid", "insulator"]
    label: str
    outline: FloatArray


@dataclass(frozen=True)
class DimensionMark:
    """A dimension line on the drawing.

    Parameters
    ----------
    key : str
        Design file key, such as "emitter.tip_radius".
    label : str
        Text with value and unit, such as "R 4 um".
    first, last : tuple of float
        Ends of the measured distance (for a radius: centre and a point of the arc), (x, z), [m].
    kind : "linear", "radius" or "angle"
    inset : bool
        True when it belongs on the magnified view of the emitting edge.
    foot : float or None
        Height of the measured points, where a level dimension stands apart from them, [m].
    """

    key: str
    label: str
    first: tuple[float, float]
    last: tuple[float, float]
    kind: Literal["linear", "radius", "angle"] = "linear"
    inset: bool = False
    foot: float | None = None


@dataclass(frozen=True)
class Section:
    """A vacuum region, its named boundaries and its emitting edges.

    Parameters
    ----------
    symmetry : "planar" or "axisymmetric"
    loops : tuple of tuples of Boundary
        The first loop is the outer outline, counterclockwise; the others are islands, clockwise,
        so that the vacuum is on the left of every boundary.  Each loop closes on itself.
    edges : tuple of EmittingEdge
    gap : float
        Axial distance from the emitting edge to the accelerator's near face, [m].
    mirrored : bool
        The section is one half of a shape that is symmetric about x = 0 (planar only).
    bodies, marks, notes
        For drawings and reports.
    mesh : ImportedMesh or None
        Triangles to solve on in place of a mesh of conegap's own.
    radius_errors : mapping of str to float
        Relative uncertainty of the radius of an emitting edge of which only points are known, [-].
    """

    symmetry: Symmetry
    loops: tuple[tuple[Boundary, ...], ...]
    edges: tuple[EmittingEdge, ...]
    gap: float
    mirrored: bool = False
    bodies: tuple[Body, ...] = ()
    marks: tuple[DimensionMark, ...] = ()
    notes: tuple[str, ...] = field(default=())
    mesh: ImportedMesh | None = field(default=None, repr=False, compare=False)
    radius_errors: Mapping[str, float] = field(default_factory=dict)

    __repr__ = brief

    def __post_init__(self) -> None:
        for number, loop in enumerate(self.loops):
            size = np.ptp(polyline([b.curve for b in loop]), axis=0).max()
            for one, following in zip(loop, loop[1:] + loop[:1], strict=True):
                jump = np.hypot(*(one.curve.end - following.curve.start))
                if jump > 1e-9 * size:
                    raise GeometryError(
                        f"outline {number} does not close: '{one.name}' ends {jump:.3g} m away "
                        f"from the start of '{following.name}'"
                    )

    @property
    def electrodes(self) -> tuple[str, ...]:
        """Names of the electrodes present, emitter first."""
        present = {electrode_of(b.name) for loop in self.loops for b in loop}
        return tuple(e for e in ("emitter", "accelerator", "chamber") if e in present)

    @property
    def boundary_names(self) -> tuple[str, ...]:
        """Names of the boundaries present, in the order of `BOUNDARY_NAMES`."""
        present = {b.name for loop in self.loops for b in loop}
        return tuple(name for name in BOUNDARY_NAMES if name in present)

    def edge(self, name: str) -> EmittingEdge:
        """The emitting edge of that name.

        Raises
        ------
        GeometryError
            No such edge; the message lists the names.
        """
        for edge in self.edges:
            if edge.name == name:
                return edge
        raise GeometryError(
            f"no emitting edge '{name}'; this section has {', '.join(e.name for e in self.edges)}"
        )

    def with_surface(
        self, place: tuple[int, int], curves: tuple[Curve, ...], edge: EmittingEdge
    ) -> Section:
        """The section with its liquid surface drawn anew.

        Parameters
        ----------
        place : tuple of int
            (loop, index) of the liquid surface, which begins on the axis or line of symmetry.
        curves : tuple of Curve
            From the axis to the old contact line, [m].
        edge : EmittingEdge
            The only edge of the result.
        """
        loop, index = place
        row = list(self.loops[loop])
        middle = row[index - 1]
        start, apex = middle.curve.start, curves[0].start
        line = Line((float(start[0]), float(start[1])), (0.0, float(apex[1])))
        row[index - 1] = Boundary(middle.name, line)
        row[index : index + 1] = [Boundary("liquid", curve) for curve in curves]
        loops = (*self.loops[:loop], tuple(row), *self.loops[loop + 1 :])
        return replace(self, loops=loops, edges=(edge,), mesh=None)

    def outline(self, loop: int = 0, samples: int = 33) -> FloatArray:
        """Points of one outline, for drawing, (n, 2) array, [m]."""
        return polyline([b.curve for b in self.loops[loop]], samples)
