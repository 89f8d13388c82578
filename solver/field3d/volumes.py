"""Control volumes of a tetrahedral mesh with consistent fluxes.

Every point owns the part of each tetrahedron around it that is nearer to it in barycentric
coordinates.  With the potential linear in a tetrahedron the flux through such a face is a
combination of the differences along the tetrahedron's edges, exact for any linear potential on any
mesh, however skewed (R. E. Bank and D. J. Rose, SIAM J Numer Anal 24, 777 (1987); for Laplace's
equation the balance is that of linear finite elements: J. Xu and Q. Zou, Numer Math 111, 469
(2009)).  Collected edge by edge it is a two-point flux whose face area follows from the dual mesh
and may be negative where a tetrahedron is obtuse; the plain area of a skewed face over its
distance would not be consistent.

A test shows that the plain two-point flux does not converge.
"""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.field.control_volumes import ControlVolumes

__all__ = ["corner_gradients", "sound_tetrahedra", "tetra_volumes", "triangle_measure"]

# Volume over the product of three sides, times six; sound tetrahedra have 0.05 or more.
_FLATTEST = 1e-3
# Share of flat tetrahedra that a mesh may lose; more were seen only where rounded edges are
# sharper than the mesh.
_MOST_LOST = 5e-3
# Corners at the ends of a tetrahedron's edges.
_EDGES = ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))


def corner_gradients(points: FloatArray, tetrahedra: IntArray) -> tuple[FloatArray, FloatArray]:
    """Gradients of the four barycentric coordinates, and the volumes.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    tetrahedra : (m, 4) array of int

    Returns
    -------
    (m, 4, 3) array, (m,) array
        Scaled, [1/length] and [length^3].
    """
    a, b, c = _spokes(points, tetrahedra)
    bc, ca, ab = np.cross(b, c), np.cross(c, a), np.cross(a, b)
    six = np.einsum("ij,ij->i", a, bc)
    gradients = np.empty((len(tetrahedra), 4, 3))
    for k, normal in enumerate((bc, ca, ab), start=1):
        gradients[:, k] = normal / six[:, None]
    gradients[:, 0] = -gradients[:, 1:].sum(axis=1)
    return gradients, np.abs(six) / 6.0


def _spokes(points: FloatArray, tetrahedra: IntArray) -> tuple[FloatArray, ...]:
    """From the first corner of every tetrahedron to the others, three (m, 3) arrays."""
    corners = points[tetrahedra]
    return tuple(corners[:, k] - corners[:, 0] for k in (1, 2, 3))


def sound_tetrahedra(points: FloatArray, tetrahedra: IntArray) -> IntArray:
    """The tetrahedra without those that a curved face has flattened or turned inside out.

    Refinement moves new points onto the curved faces; where a face bends within one tetrahedron
    that leaves a few with all their corners on the face and next to no volume, which hold no flux.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    tetrahedra : (m, 4) array of int

    Returns
    -------
    (k, 4) array of int

    Raises
    ------
    MeshError
        There are too many of them.
    """
    a, b, c = _spokes(points, tetrahedra)
    size = np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1) * np.linalg.norm(c, axis=1)
    shape = np.einsum("ij,ij->i", a, np.cross(b, c)) / np.maximum(size, 1e-300)
    # The mesh library turns all of them the same way.
    sound = shape * np.sign(np.median(shape)) > _FLATTEST
    lost = float(np.mean(~sound))
    if lost > _MOST_LOST:
        raise MeshError(
            f"{lost:.2%} of the sector's tetrahedra are flat or inside out: its rounded edges are "
            "too sharp for the mesh; make them rounder"
        )
    return np.asarray(tetrahedra[sound])


def tetra_volumes(points: FloatArray, tetrahedra: IntArray) -> ControlVolumes:
    """Faces between the control volumes of neighbouring points.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    tetrahedra : (m, 4) array of int

    Raises
    ------
    MeshError
        Too many tetrahedra are flat or inside out.
    """
    tetrahedra = sound_tetrahedra(points, tetrahedra)
    gradients, volume = corner_gradients(points, tetrahedra)
    count = np.int64(len(points))
    keys = np.empty((len(_EDGES), len(tetrahedra)), dtype=np.int64)
    conductance = np.empty(keys.shape)
    for row, (i, j) in enumerate(_EDGES):
        one, two = tetrahedra[:, i], tetrahedra[:, j]
        keys[row] = np.minimum(one, two) * count + np.maximum(one, two)
        dot = np.einsum("ij,ij->i", gradients[:, i], gradients[:, j])
        conductance[row] = -volume * dot
    unique, place = np.unique(keys, return_inverse=True)
    total = np.bincount(place.ravel(), conductance.ravel(), len(unique))
    first, last = unique // count, unique % count
    distance = np.linalg.norm(points[last] - points[first], axis=1)
    return ControlVolumes(first, last, total * distance, distance)


def triangle_measure(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Boundary surface that belongs to each point, a third of every triangle, (n,) array, scaled.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    triangles : (k, 3) array of int
    """
    a, b, c = (points[triangles[:, k]] for k in range(3))
    third = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 6.0
    return np.asarray(np.bincount(triangles.ravel(), np.repeat(third, 3), len(points)), dtype=float)
