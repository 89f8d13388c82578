"""The tetrahedral meshes of a sector moved smoothly to a neighbouring sector.

Points on conductors, dividing spheres and walls keep their place along the line or arc that was
swept into the surface, and are then brought onto all surfaces of the changed sector on which they
lay, so that a foot circle stays the line where cone and crest meet.  What is free to slide, on the
axis and planes of symmetry, and the points of the vacuum follow as a harmonic extension on the
first mesh; points that a finer mesh adds inside a region follow halfway between their neighbours.

A shift between two sectors then carries no noise of meshing, where new meshes scatter by 5e-4 on a
crown and 1e-3 on an array, and meshing, four fifths of a solve in three dimensions, is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.linalg import splu
from scipy.spatial import KDTree

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray, Line
from conegap.geometries.curves.section import electrode_of
from conegap.geometries.quantities.errors import GeometryError, MeshError
from conegap.geometries.solids.faces import Ball, Face, Flat, faces_of
from conegap.geometries.solids.sector import Room3D, Sector, Wedge
from conegap.geometries.solids.shapes import Revolved
from conegap.solver.field3d.tetrahedra import TetraMesh

__all__ = ["SectorMeshes", "moved_meshes"]

# Of the unit of length: the mesh library leaves 1e-14.
_ON = 1e-9
# Sine of the angle below which two surfaces touch rather than cross: a cap runs on into its cone.
_TOUCHING = 0.02
# Steps of Newton's method onto two or three curved surfaces, which squares the distance each time.
_STEPS = 12
# Largest distance left, of the unit of length.
_LEFT = 1e-10
# Ratio of a tetrahedron's greatest and least stretch: at 4.3 (half the gap) the field at a crown's
# tip was 2e-3 off that on a new mesh, at 3.7 within the scatter of new meshes, 5e-4.
_LARGEST_STRETCH = 4.0


@dataclass(frozen=True)
class SectorMeshes:
    """Nested meshes of a sector, to be moved to its variants.

    Parameters
    ----------
    meshes : tuple of TetraMesh
        The first mesh and its refinements.
    """

    sector: Sector
    meshes: tuple[TetraMesh, ...]

    def followed(self, changed: Sector) -> list[TetraMesh]:
        """The meshes moved to a changed sector; none where they cannot follow."""
        with suppress(MeshError):
            return moved_meshes(self.meshes, self.sector, changed)
        return []


def moved_meshes(meshes: Sequence[TetraMesh], drawn: Sector, changed: Sector) -> list[TetraMesh]:
    """Nested meshes of a sector moved to a changed one.

    Parameters
    ----------
    meshes : sequence of TetraMesh
        Of the drawn sector, the first mesh and its refinements.
    drawn, changed : Sector
        Described alike.

    Returns
    -------
    list of TetraMesh
        With the same tetrahedra, in the changed sector's unit of length.

    Raises
    ------
    MeshError
        The sectors are not described alike, or a tetrahedron would be turned over or stretched
        four times as much in one direction as across it.
    """
    try:
        pairs = list(zip(_faces(drawn), _faces(changed), strict=True))
    except (GeometryError, ValueError) as error:
        raise MeshError("the mesh cannot follow to a sector of another kind") from error
    if any(type(one) is not type(two) for (one, _), (two, _) in pairs):
        raise MeshError("the mesh cannot follow to a sector of another kind")
    found: list[TetraMesh] = []
    shift: FloatArray = np.empty((0, 3))
    for number, mesh in enumerate(meshes):
        places = mesh.points * mesh.scale
        held, onto = _on_surfaces(mesh, places, pairs)
        if number == 0:
            shift = _extended(mesh, places, held, onto)
            # Of the finer meshes' tetrahedra curved faces flatten a few anyhow: see `volumes`.
            _refuse_folds(places, places + shift, mesh.tetrahedra)
        else:
            shift = _between(meshes[number - 1], shift, mesh)
        shift[held] = onto - places[held]
        moved = places + shift
        found.append(replace(mesh, points=moved / changed.gap, scale=changed.gap))
    return found


def _faces(sector: Sector) -> Iterator[tuple[Face, bool]]:
    """Every surface of a sector, and whether points may slide on it freely."""
    region = sector.region
    if isinstance(region, Wedge):
        yield from _wedge_faces(region)
    else:
        yield from _room_faces(region)
    for conductor in sector.conductors:
        for face in faces_of(conductor.solid):
            yield face, False
    for tip in sector.tips:
        for face in faces_of(tip.solid(below=0.05 * tip.height)):
            yield face, False
        yield Ball((*tip.place, tip.apex), tip.reach), False
    if sector.lip is not None:
        raise GeometryError("the mesh of a blade with an end is not moved")


def _wedge_faces(region: Wedge) -> Iterator[tuple[Face, bool]]:
    wide, low, high = region.radius, region.bottom, region.top
    corners = ((-wide, -wide, low), (wide, wide, high))
    for angle in (0.0, region.angle):
        yield Flat((-math.sin(angle), math.cos(angle), 0.0), 0.0, *corners), True
    walls = (
        ("bottom", Line((0.0, low), (wide, low))),
        ("side", Line((wide, low), (wide, high))),
        ("top", Line((wide, high), (0.0, high))),
    )
    for name, line in walls:
        for face in faces_of(Revolved((line,), (0.0, 0.0), 0.0, region.angle)):
            yield face, electrode_of(region.walls[name]) is None


def _room_faces(region: Room3D) -> Iterator[tuple[Face, bool]]:
    names = [f"{axis}_{end}" for axis in "xyz" for end in ("low", "high")]
    for name, face in zip(names, faces_of(region.block), strict=True):
        yield face, electrode_of(region.walls[name]) is None


def _on_surfaces(
    mesh: TetraMesh, places: FloatArray, pairs: Sequence[tuple[tuple[Face, bool], ...]]
) -> tuple[IntArray, FloatArray]:
    """Points on surfaces along which nothing slides, and their new places, [m]."""
    held = np.unique(mesh.triangles)
    points = places[held]
    on = np.zeros((len(pairs), len(held)), dtype=bool)
    normals = np.empty((len(pairs), len(held), 3))
    for k, ((face, _), _) in enumerate(pairs):
        away, normals[k] = face.distance(points)
        near = np.abs(away) < _ON * mesh.scale
        on[k, near] = face.bounds(points[near])
    _one_of_touching(on, normals)
    slides = np.array([free for (_, free), _ in pairs])
    fixed = on[~slides].any(axis=0)
    held, points, on = held[fixed], points[fixed], on[:, fixed]
    new, count = np.zeros_like(points), np.zeros(len(held))
    for k, ((face, free), (other, _)) in enumerate(pairs):
        if not free:
            new[on[k]] += face.carried(points[on[k]], other)
            count += on[k]
    new /= count[:, None]
    return held, _brought_onto([other for _, (other, _) in pairs], on, new, mesh.scale)


def _one_of_touching(on: BoolArray, normals: FloatArray) -> None:
    """Leave one of two surfaces that run on into each other, in which a point lies on both."""
    for number in np.nonzero(on.sum(axis=0) > 1)[0]:
        kept: list[int] = []
        for k in np.nonzero(on[:, number])[0]:
            across = [
                np.linalg.norm(np.cross(normals[k, number], normals[j, number])) for j in kept
            ]
            if across and min(across) < _TOUCHING:
                on[k, number] = False
            else:
                kept.append(int(k))


def _brought_onto(
    faces: Sequence[Face], on: BoolArray, places: FloatArray, scale: float
) -> FloatArray:
    """The nearest places that lie on all surfaces to which each point belongs, [m]."""
    for _ in range(_STEPS):
        values = np.zeros((len(faces), len(places)))
        normals = np.zeros((len(faces), len(places), 3))
        for k, face in enumerate(faces):
            if on[k].any():
                values[k, on[k]], normals[k, on[k]] = face.distance(places[on[k]])
        if np.abs(values).max(initial=0.0) < _LEFT * scale:
            return places
        # The shortest step that meets all of them, point by point.
        rows = np.moveaxis(normals, 0, 1)
        places = places - np.einsum("nij,nj->ni", np.linalg.pinv(rows, rcond=1e-6), values.T)
    raise MeshError("the mesh cannot follow: surfaces that met do not meet any more")


def _extended(mesh: TetraMesh, places: FloatArray, held: IntArray, onto: FloatArray) -> FloatArray:
    """Shift of every point of the first mesh, (n, 3) array, [m].

    First along the lines in which sliding planes meet, then on these planes, then inside.
    """
    shift = np.zeros_like(places)
    known = np.zeros(len(places), dtype=bool)
    known[held] = True
    shift[held] = onto - places[held]
    for simplices in (*_sliding(mesh, places, known), mesh.tetrahedra):
        _harmonic(places, simplices, shift, known)
    return shift


def _sliding(mesh: TetraMesh, places: FloatArray, known: BoolArray) -> tuple[IntArray, IntArray]:
    """Sides of triangles in which two sliding planes meet, and the triangles on these planes."""
    flat = mesh.triangles[~known[mesh.triangles].all(axis=1)]
    corners = places[flat]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    sides = np.sort(flat[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    of = np.repeat(np.arange(len(flat)), 3)
    order = np.lexsort(sides.T)
    sides, of = sides[order], of[order]
    same = np.nonzero((sides[1:] == sides[:-1]).all(axis=1))[0]
    bent = np.linalg.norm(np.cross(normal[of[same]], normal[of[same + 1]]), axis=1) > _TOUCHING
    return sides[same[bent]], flat


def _harmonic(places: FloatArray, simplices: IntArray, shift: FloatArray, known: BoolArray) -> None:
    """Extend the shift harmonically from the known corners of lines, triangles or tetrahedra."""
    nodes = np.unique(simplices)
    free = nodes[~known[nodes]]
    if not len(free):
        return
    matrix = _stiffness(places, simplices)[free]
    given = np.nonzero(known)[0]
    shift[free] = splu(matrix[:, free].tocsc()).solve(-(matrix[:, given] @ shift[given]))
    known[free] = True


def _stiffness(places: FloatArray, simplices: IntArray) -> csr_array:
    """Stiffness of linear elements on simplices of any dimension in space.

    Small ones are stiffer, by the root of their size, so that the thin layers about tips and edges
    move as a whole: a crown whose gap is 1.6 times as wide then stretches no tetrahedron more than
    3.7 times, and several 8 times without.
    """
    corners = places[simplices]
    spokes = corners[:, 1:] - corners[:, :1]
    gradients = np.moveaxis(np.linalg.pinv(spokes), 1, 2)
    gradients = np.concatenate([-gradients.sum(axis=1, keepdims=True), gradients], axis=1)
    # The measure without its factorial, which is common to all.
    size = np.sqrt(np.linalg.det(spokes @ np.moveaxis(spokes, 1, 2)))
    entries = np.sqrt(size)[:, None, None] * (gradients @ np.moveaxis(gradients, 1, 2))
    corner = np.broadcast_to(simplices[:, :, None], entries.shape)
    ends = (corner.ravel(), np.moveaxis(corner, 1, 2).ravel())
    return coo_array((entries.ravel(), ends), (len(places), len(places))).tocsr()


def _between(coarse: TetraMesh, shift: FloatArray, fine: TetraMesh) -> FloatArray:
    """Shift of a refined mesh's points: those of the mesh before, and halves of its edges, [m].

    Points that refinement moved onto a curved surface are off the middle of their edge; they are
    brought onto the changed surface apart from this.
    """
    count = len(coarse.points)
    corner = [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]
    edges = np.unique(np.sort(coarse.tetrahedra[:, corner].reshape(-1, 2), axis=1), axis=0)
    middle = 0.5 * (coarse.points[edges[:, 0]] + coarse.points[edges[:, 1]])
    _, which = KDTree(middle).query(fine.points[count:])
    return np.concatenate([shift, 0.5 * (shift[edges[which, 0]] + shift[edges[which, 1]])])


def _refuse_folds(before: FloatArray, after: FloatArray, tetrahedra: IntArray) -> None:
    old, new = (_spokes(points, tetrahedra) for points in (before, after))
    if np.any(np.linalg.det(old) * np.linalg.det(new) <= 0.0):
        raise MeshError("the mesh cannot follow: a tetrahedron would be turned over")
    stretches = np.linalg.svd(np.linalg.solve(old, new), compute_uv=False)
    most = float((stretches[:, 0] / stretches[:, 2]).max())
    if not most <= _LARGEST_STRETCH:
        raise MeshError(
            f"the mesh cannot follow: a tetrahedron would be stretched {most:.3g} times"
        )


def _spokes(points: FloatArray, tetrahedra: IntArray) -> FloatArray:
    """Sides from the first corner of every tetrahedron, (m, 3, 3) array."""
    corners = points[tetrahedra]
    return np.asarray(corners[:, 1:] - corners[:, :1])
