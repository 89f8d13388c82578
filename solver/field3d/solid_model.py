"""A gap given as a solid model: three named solids of a STEP file, and the field at its tip.

The emitter and the accelerator are metal; the chamber is the space that its wall encloses, drawn as
one filled solid.  The model is laid with the emitter's axis along z and its apex, the farthest
point along the axis, at the origin.  What the sphere about the apex needs, the meridian of the tip,
is measured from the surface: half planes through the axis cut it in lines and arcs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import Arc, Curve, Line
from conegap.geometries.parts.setting import length_text
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.notebook import brief
from conegap.geometries.solids.half_space import APEX_REACH, PARTS_PER_RADIUS
from conegap.geometries.solids.sector import Tip
from conegap.geometries.solids.shapes import Revolved
from conegap.solver.field.extrapolation import Estimate
from conegap.solver.field3d.sector_solution import SectorLevel, solve_level
from conegap.solver.field3d.solids import apex_sphere, shape_of, size_cap
from conegap.solver.field3d.tetrahedra import shape_meshes
from conegap.solver.field3d.tip_field import LEAST_REACH, field_at_tip, tip_response

__all__ = ["ROLES", "SolidModel", "read_step"]

ROLES = ("emitter", "accelerator", "chamber")
# Length unit in which the mesh library hands over a STEP file, whatever unit the file states, [m].
_HANDED_OVER = 1e-3
# Of the stated extent: a rounded figure passes, a slip of a unit (at least 2.54) does not.
_EXTENT = 0.02
# Of lengths and volumes: what the modeller's own tolerance of 1e-7 mm leaves on a tip of a few um.
_ROUND = 1e-3
# Of a sequence: a third has eight times the points, which takes minutes.
_MESHES = 2


def read_step(
    path: Path,
    names: Mapping[str, str],
    extent: float,
    axis: tuple[float, float, float] = (0.0, 0.0, 1.0),
) -> SolidModel:
    """The gap that a STEP file draws.

    Parameters
    ----------
    path : Path
    names : mapping of str to str
        Name of the solid in the file that is "emitter", "accelerator" and "chamber".
    extent : float
        Largest extent of the chamber along x, y or z of the file, a check of its unit, [m].
    axis : tuple of float
        Direction in which the emitter points, in the file's directions, [-].

    Raises
    ------
    DesignError
        The file cannot be read, a solid is missing or there twice, the extent is another, solids
        overlap or touch, or the tip is not round about the axis.
    """
    from netgen.meshing import NgException
    from netgen.occ import OCCException, OCCGeometry

    _say_all(names, "names")
    if not (math.isfinite(extent) and extent > 0.0):
        raise DesignError(
            f"extent: {extent} is no length; state that of the chamber, in metres", keys=("extent",)
        )
    if not 0.0 < np.linalg.norm(axis) < math.inf:
        raise DesignError(
            f"axis: {axis} is no direction; state where the emitter points", keys=("axis",)
        )
    try:
        solids = list(OCCGeometry(str(path)).shape.solids)
    except (NgException, OCCException, RuntimeError) as error:
        raise DesignError(
            f"{path} cannot be read as a STEP file: {error}", keys=("path",)
        ) from error
    found = {}
    for role in ROLES:
        own = [solid for solid in solids if solid.name == names[role]]
        if len(own) != 1:
            there = ", ".join(sorted({str(solid.name) for solid in solids})) or "none"
            raise DesignError(
                f"{path}: {len(own)} solids are named '{names[role]}', which is to be the {role}; "
                f"exactly one must be. Names in the file: {there}",
                keys=(role,),
            )
        found[role] = own[0]
    drawn = _extent(found["chamber"]) * _HANDED_OVER
    if abs(drawn / extent - 1.0) > _EXTENT:
        raise DesignError(
            f"{path}: the chamber measures {length_text(drawn)} and not {length_text(extent)} as "
            "stated; check the unit in which the file was written",
            keys=("extent",),
        )
    return _model(found, axis)


@dataclass(frozen=True)
class SolidModel:
    """Three solids with the tip at the origin and its axis along z; from `read_step`.

    Parameters
    ----------
    shapes : mapping of str to TopoDS_Shape
        By role, in units of the scale.
    scale : float
        Distance from the apex to the nearest other metal, [m].
    tip : Tip
        Measured from the emitter's surface.
    """

    shapes: Mapping[str, Any] = field(repr=False)
    scale: float
    tip: Tip

    __repr__ = brief

    @cached_property
    def levels(self) -> tuple[SectorLevel, ...]:
        """Unit solutions of the whole space on nested meshes, in the order of `ROLES`.

        Raises
        ------
        MeshError, ConvergenceError
            The space could not be meshed or solved.
        """
        size = _extent(self.shapes["chamber"])
        meshes = shape_meshes(self._vacuum, self.scale, size, PARTS_PER_RADIUS)
        return tuple(solve_level(mesh, ROLES) for mesh in islice(meshes, _MESHES))

    def at_tip(self, voltages: Mapping[str, float]) -> Estimate:
        """Outward field at the apex, [V/m].

        Parameters
        ----------
        voltages : mapping of str to float
            Of every role, [V].

        Raises
        ------
        DesignError
            A role has no voltage.
        MeshError, ConvergenceError
            The space could not be meshed or solved.
        """
        _say_all(voltages, "voltages")
        weights = np.array([voltages[role] for role in ROLES])
        best, left = field_at_tip(self.tip, tip_response(self.tip), self.levels, weights)
        return replace(best, error=math.hypot(best.error, left))

    def _vacuum(self) -> Any:
        """The space between the solids, divided at the sphere about the apex."""
        from netgen import occ

        shape = self.shapes["chamber"]
        shape.faces.name = "chamber"
        for role in ("accelerator", "emitter"):
            body = self.shapes[role]
            body.faces.name = role
            if role == "emitter":
                size_cap(body, self.tip, self.scale)
            shape = shape - body
        sphere = apex_sphere(self.tip, self.scale)
        return occ.Glue([shape - sphere, shape * sphere])


def _extent(shape: Any) -> float:
    """Largest extent of a shape along x, y or z, in its own units."""
    low, high = shape.bounding_box
    return float(max(high.x - low.x, high.y - low.y, high.z - low.z))


def _say_all(given: Mapping[str, object], what: str) -> None:
    """Refuse a mapping that leaves a role out or has another."""
    if set(given) != set(ROLES):
        raise DesignError(
            f"{what}: one each of {', '.join(ROLES)} is wanted, and {', '.join(given) or 'none'} "
            "was given",
            keys=(what,),
        )


def _model(solids: Mapping[str, Any], axis: tuple[float, float, float]) -> SolidModel:
    """Solids as the file has them, laid with the tip at the origin, checked and measured."""
    from netgen import occ

    emitter, accelerator, chamber = (solids[role] for role in ROLES)
    for role in ("emitter", "accelerator"):
        if not (solids[role] * chamber).mass > 0.0:
            raise DesignError(
                f"the {role} lies outside the chamber, which is to be one filled solid: the space "
                "that the chamber's wall encloses",
                keys=(role,),
            )
    if emitter.Distance(accelerator) <= 0.0:
        raise DesignError(
            "the emitter and the accelerator overlap or touch; draw the gap between",
            keys=("emitter", "accelerator"),
            cause="crossing",
        )
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    origin = occ.gp_Pnt(0.0, 0.0, 0.0)
    across = math.hypot(x, y)
    if across > 0.0:
        turn = occ.Axis(origin, occ.gp_Vec(y / across, -x / across, 0.0))
        degrees = math.degrees(math.atan2(across, z))
    elif z < 0.0:
        turn, degrees = occ.Axis(origin, occ.X), 180.0
    else:
        turn, degrees = occ.Axis(origin, occ.Z), 0.0
    laid = {role: solids[role].Rotate(turn, degrees) for role in ROLES}
    apex = _apex(laid["emitter"])
    laid = {role: shape.Move(occ.gp_Vec(*(-apex))) for role, shape in laid.items()}
    point = occ.Vertex(origin)
    wall = min(face.Distance(point) for face in laid["chamber"].faces)
    away = min(laid["accelerator"].Distance(point), wall)
    if away <= 0.0:
        raise DesignError(
            "the emitter's tip touches the chamber's wall; draw it inside",
            keys=("emitter", "chamber"),
            cause="crossing",
        )
    shapes = {role: shape.Scale(origin, 1.0 / away) for role, shape in laid.items()}
    scale = away * _HANDED_OVER
    return SolidModel(shapes, scale, _tip(shapes["emitter"], scale))


def _apex(emitter: Any) -> Any:
    """The farthest point along z: where ever thinner slices below the top have their middle."""
    from netgen import occ

    low, high = emitter.bounding_box
    wide = 2.0 * max(high.x - low.x, high.y - low.y)
    # Bounding boxes are wider than the body by the modeller's tolerance: the top is found anew.
    over = high.z + wide
    ceiling = _polygon(
        [
            (low.x - wide, low.y - wide, over),
            (high.x + wide, low.y - wide, over),
            (high.x + wide, high.y + wide, over),
            (low.x - wide, high.y + wide, over),
        ]
    )
    top = over - emitter.Distance(ceiling)
    deep = 0.01 * (high.z - low.z)
    place = None
    for _ in range(12):
        corner = (low.x - wide, low.y - wide, top - deep)
        slice_ = emitter * occ.Box(corner, (high.x + wide, high.y + wide, top + wide))
        if not slice_.mass > 0.0:
            break
        place = np.array([slice_.center.x, slice_.center.y, top])
        deep *= 0.5
    if place is None:
        raise DesignError("the emitter has no end along the stated axis", keys=("axis",))
    return place


def _tip(emitter: Any, scale: float) -> Tip:
    """The round tip at the origin, with the largest sphere that holds nothing but it."""
    reach = APEX_REACH
    while True:
        meridian = _meridian(emitter, reach, scale)
        arc = meridian[0] if meridian else None
        if not isinstance(arc, Arc) or abs(arc.centre[0]) > _ROUND * arc.radius:
            raise DesignError(
                "the emitter's end along the stated axis is no rounded tip about it; state the "
                "axis of the tip, and draw its radius",
                keys=("axis",),
            )
        least = LEAST_REACH * arc.radius
        if reach * scale < least:
            raise DesignError(
                f"a sphere of {LEAST_REACH:.0f} tip radii, {length_text(least)}, about the tip "
                "holds more than a body that is round about the axis; the tip has too little room",
                keys=("emitter",),
                cause="no room",
            )
        if _round(emitter, meridian, reach, scale):
            break
        reach *= 0.5
    reach *= scale
    return Tip("tip", (0.0, 0.0), 0.0, arc.radius, 0.0, reach, reach, body=tuple(meridian))


def _half_plane(reach: float) -> Any:
    """Rectangle through the axis, twice as far as the sphere."""
    far = 2.0 * reach
    return _polygon([(0.0, 0.0, reach), (0.0, 0.0, -far), (far, 0.0, -far), (far, 0.0, reach)])


def _polygon(corners: list[tuple[float, float, float]]) -> Any:
    """Plane face between corners, in turn."""
    from netgen import occ

    points = [occ.gp_Pnt(*corner) for corner in corners]
    sides = zip(points, [*points[1:], points[0]], strict=True)
    return occ.Face(occ.Wire([occ.Segment(one, two) for one, two in sides]))


def _meridian(emitter: Any, reach: float, scale: float) -> list[Curve]:
    """Lines and arcs in (radius, z), [m], from the apex on, as far as they hang together."""
    pieces = []
    for edge in (emitter * _half_plane(reach)).edges:
        first, last = edge.parameter_interval
        places = [edge.Value(first + t * (last - first)) for t in (0.0, 0.25, 0.5, 1.0)]
        flat = np.array([[p.x, p.z] for p in places])
        inside = 2.0 * reach * (1.0 - 1e-6)
        on_rim = np.all(flat[:, 0] > inside) or np.all(flat[:, 1] < -inside)
        if not (np.all(flat[:, 0] < 1e-9) or on_rim):
            pieces.append(flat)
    found: list[Curve] = []
    end = np.zeros(2)
    while pieces:
        gaps = [min(np.hypot(*(p[0] - end)), np.hypot(*(p[-1] - end))) for p in pieces]
        k = int(np.argmin(gaps))
        if gaps[k] > 1e-5 * reach:
            break
        flat = pieces.pop(k)
        if np.hypot(*(flat[-1] - end)) < np.hypot(*(flat[0] - end)):
            flat = flat[::-1]
        start, end = (end if not found else flat[0]), flat[-1]
        found.append(_curve(start * scale, flat[1:3] * scale, end * scale))
    return found


def _curve(start: Any, between: Any, end: Any) -> Curve:
    """The line or arc through four points.

    Raises
    ------
    DesignError
        It is neither.
    """
    way = end - start
    length = float(np.hypot(*way))
    across = np.array([-way[1], way[0]]) / length
    if np.all(np.abs((between - start) @ across) < 1e-6 * length):
        return Line(tuple(start.tolist()), tuple(end.tolist()))
    middle = between[np.argmin(np.abs((between - start) @ way / length**2 - 0.5))]
    other = between[np.argmax(np.abs((between - start) @ way / length**2 - 0.5))]
    matrix = 2.0 * np.array([middle - start, end - start])
    centre = np.linalg.solve(matrix, [middle @ middle - start @ start, end @ end - start @ start])
    radius = float(np.hypot(*(start - centre)))
    if abs(np.hypot(*(other - centre)) - radius) > _ROUND * radius:
        raise DesignError(
            "the tip's outline is neither of straight lines nor of arcs; draw it of cones, "
            "cylinders, spheres and rounds",
            keys=("emitter",),
        )
    angles = np.unwrap([math.atan2(*(p - centre)[::-1]) for p in (start, middle, end)])
    return Arc((float(centre[0]), float(centre[1])), radius, float(angles[0]), float(angles[2]))


def _round(emitter: Any, meridian: list[Curve], reach: float, scale: float) -> bool:
    """Whether the metal in the sphere is the body that its meridian sweeps about the axis."""
    from netgen import occ

    rim = meridian[-1].end
    if math.hypot(*rim) <= reach * scale:
        return False
    foot = (0.0, float(rim[1]))
    outline = (*meridian, Line((float(rim[0]), foot[1]), foot), Line(foot, (0.0, 0.0)))
    sphere = occ.Sphere((0.0, 0.0, 0.0), reach)
    metal, swept = emitter * sphere, shape_of(Revolved(outline), scale) * sphere
    volumes = [metal.mass, swept.mass, (metal * swept).mass]
    return bool(max(volumes) < (1.0 + _ROUND) * min(volumes))
