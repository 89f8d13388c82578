"""Solids as the mesh library's own shapes, and the vacuum of a sector cut out of its region."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import Arc, Curve, FloatArray, Line
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.solids.sector import Room3D, Sector, Tip, Wedge
from conegap.geometries.solids.shapes import (
    Block,
    Difference,
    ExtrudedX,
    ExtrudedZ,
    Intersection,
    PartialRevolve,
    Revolved,
    Solid,
    Union,
)

__all__ = ["apex_sphere", "shape_of", "size_cap", "vacuum_shape"]


def shape_of(solid: Solid, scale: float) -> Any:
    """A solid as a shape of the mesh library.

    Parameters
    ----------
    scale : float
        Length unit of the shape, [m].

    Raises
    ------
    MeshError
        An outline has a curve other than lines and arcs.
    """
    from netgen import occ

    if isinstance(solid, Block):
        low, high = (tuple(np.divide(corner, scale)) for corner in (solid.low, solid.high))
        return occ.Box(low, high)
    if isinstance(solid, Revolved):
        x, y = solid.centre[0] / scale, solid.centre[1] / scale
        start = np.array([math.cos(solid.start), math.sin(solid.start), 0.0])
        face = _face(solid.outline, scale, np.array([x, y, 0.0]), start, np.array([0.0, 0.0, 1.0]))
        axis = occ.Axis((x, y, 0.0), occ.Z)
        return face.Revolve(axis, math.degrees(solid.sweep))
    if isinstance(solid, ExtrudedX):
        origin = np.array([solid.low / scale, 0.0, 0.0])
        face = _face(solid.outline, scale, origin, np.eye(3)[1], np.eye(3)[2])
        return face.Extrude(occ.Vec((solid.high - solid.low) / scale, 0.0, 0.0))
    if isinstance(solid, PartialRevolve):
        x, z = solid.x / scale, solid.z / scale
        face = _face(solid.outline, scale, np.array([x, 0.0, 0.0]), np.eye(3)[1], np.eye(3)[2])
        return face.Revolve(occ.Axis((x, 0.0, z), occ.Y), math.degrees(solid.sweep))
    if isinstance(solid, ExtrudedZ):
        origin = np.array([0.0, 0.0, solid.low / scale])
        face = _face(solid.outline, scale, origin, np.eye(3)[0], np.eye(3)[1])
        return face.Extrude(occ.Vec(0.0, 0.0, (solid.high - solid.low) / scale))
    if isinstance(solid, Difference):
        shape = shape_of(solid.body, scale)
        for tool in solid.tools:
            shape = shape - shape_of(tool, scale)
        return shape
    if isinstance(solid, Union | Intersection):
        shape = shape_of(solid.parts[0], scale)
        for part in solid.parts[1:]:
            other = shape_of(part, scale)
            shape = shape + other if isinstance(solid, Union) else shape * other
        return shape
    raise MeshError(f"a {type(solid).__name__} cannot be built as a solid")


def _face(
    outline: tuple[Curve, ...],
    scale: float,
    origin: FloatArray,
    first: FloatArray,
    second: FloatArray,
) -> Any:
    """A plane face from its outline's two coordinates along two directions."""
    from netgen import occ

    def place(point: FloatArray) -> Any:
        x, y, z = origin + (point[0] * first + point[1] * second) / scale
        return occ.gp_Pnt(float(x), float(y), float(z))

    edges = []
    for curve in outline:
        begin, middle, end = curve.point(np.array([0.0, 0.5, 1.0]))
        if isinstance(curve, Line):
            edges.append(occ.Segment(place(begin), place(end)))
        elif isinstance(curve, Arc):
            edges.append(occ.ArcOfCircle(place(begin), place(middle), place(end)))
        else:
            raise MeshError(f"a {type(curve).__name__} cannot bound a solid")
    return occ.Face(occ.Wire(edges))


def vacuum_shape(sector: Sector, scale: float, fineness: float) -> Any:
    """The vacuum of a sector with named faces, divided at a sphere about every tip.

    Parameters
    ----------
    scale : float
        Length unit of the shape, [m].
    fineness : float
        Multiplies the mesh size on caps and dividing spheres, [-].

    Returns
    -------
    TopoDS_Shape
        Faces are named after their electrode, "emitter:NAME" on tips and "symmetry", "outer" or a
        wall's electrode on the region's own faces.

    Raises
    ------
    MeshError
        A body cannot be built.
    """
    from netgen import occ

    shape = _region_shape(sector.region, scale)
    for conductor in sector.conductors:
        body = shape_of(conductor.solid, scale)
        body.faces.name = conductor.electrode
        shape = shape - body
    spheres = []
    for tip in sector.tips:
        body = shape_of(tip.solid(below=0.05 * tip.height), scale)
        body.faces.name = f"emitter:{tip.name}"
        size_cap(body, tip, scale, fineness)
        shape = shape - body
        spheres.append(apex_sphere(tip, scale, fineness))
    if sector.lip is not None:
        spheres += _tube(sector, scale, fineness)
    if not spheres:
        return shape
    pieces = []
    for sphere in spheres:
        pieces.append(shape * sphere)
        shape = shape - sphere
    return occ.Glue([shape, *pieces])


def size_cap(body: Any, tip: Tip, scale: float, fineness: float = 1.0) -> None:
    """Ask for a mesh on a body's small faces that resolves its tip.

    Parameters
    ----------
    body : TopoDS_Shape
        Changed in place.
    scale : float
        Length unit of the shape, [m].
    fineness : float
        Multiplies the mesh size, [-].
    """
    for face in body.faces:
        if face.mass < 8.0 * math.pi * (tip.radius / scale) ** 2:
            face.maxh = 0.5 * fineness * tip.radius / scale


def apex_sphere(tip: Tip, scale: float, fineness: float = 1.0) -> Any:
    """The sphere about a tip's apex that divides the vacuum, its faces named "inside:NAME".

    Parameters
    ----------
    scale : float
        Length unit of the shape, [m].
    fineness : float
        Multiplies the mesh size, [-].

    Returns
    -------
    TopoDS_Shape
    """
    from netgen import occ

    x, y = tip.place
    sphere = occ.Sphere((x / scale, y / scale, tip.apex / scale), tip.reach / scale)
    sphere.faces.name = f"inside:{tip.name}"
    sphere.faces.maxh = 0.25 * fineness * tip.reach / scale
    return sphere


def _tube(sector: Sector, scale: float, fineness: float) -> list[Any]:
    """Tube about the edge of a blade: along its straight part and round its end."""
    lip, region = sector.lip, sector.region
    assert lip is not None
    assert isinstance(region, Room3D)
    start = region.block.low[0]
    circle = (
        Arc((0.0, 0.0), lip.reach, 0.0, math.pi),
        Arc((0.0, 0.0), lip.reach, math.pi, 2.0 * math.pi),
    )
    turn = start + lip.straight
    straight = shape_of(ExtrudedX(circle, start - lip.reach, turn), scale)
    bent = shape_of(PartialRevolve(circle, turn, -lip.end_radius, lip.sweep), scale)
    for name, part in (("inside:straight", straight), ("inside:bent", bent)):
        part.faces.name = name
        part.faces.maxh = 0.5 * fineness * lip.reach / scale
    return [straight, bent]


def _region_shape(region: Wedge | Room3D, scale: float) -> Any:
    """The region with its walls named."""
    if isinstance(region, Room3D):
        shape = shape_of(region.block, scale)
        low = np.divide(region.block.low, scale)
        high = np.divide(region.block.high, scale)
        for face in shape.faces:
            centre = np.array([face.center.x, face.center.y, face.center.z])
            for axis, letter in enumerate("xyz"):
                if abs(centre[axis] - low[axis]) < 1e-9 * (high - low)[axis]:
                    face.name = region.walls[f"{letter}_low"]
                elif abs(centre[axis] - high[axis]) < 1e-9 * (high - low)[axis]:
                    face.name = region.walls[f"{letter}_high"]
        return shape
    wide, low, high = region.radius, region.bottom, region.top
    outline = (
        Line((0.0, low), (wide, low)),
        Line((wide, low), (wide, high)),
        Line((wide, high), (0.0, high)),
        Line((0.0, high), (0.0, low)),
    )
    shape = shape_of(Revolved(outline, (0.0, 0.0), 0.0, region.angle), scale)
    tall = (high - low) / scale
    for face in shape.faces:
        c = face.center
        turned = c.y * math.cos(region.angle) - c.x * math.sin(region.angle)
        if abs(c.z - low / scale) < 1e-9 * tall:
            face.name = region.walls["bottom"]
        elif abs(c.z - high / scale) < 1e-9 * tall:
            face.name = region.walls["top"]
        elif abs(c.y) < 1e-9 * wide / scale or abs(turned) < 1e-9 * wide / scale:
            face.name = "symmetry"
        else:
            face.name = region.walls["side"]
    return shape
