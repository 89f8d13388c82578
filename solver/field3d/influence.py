"""How the height of one tip of a crown changes the field of the others.

Raising a tip by a small height puts the potential E n_z per unit height on its old surface
(J. Hadamard, Mem Acad Sci 33, 1908); what that does elsewhere is one more solution of Laplace's
equation.  It lacks the crown's symmetry, so it is solved on half the ring, put together from
mirror images of the sector's first mesh.  One solve gives a whole row of the matrix, and the ring's
symmetry the rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.solids.sector import Sector, Wedge
from conegap.solver.field.control_volumes import ControlVolumes
from conegap.solver.field.extrapolation import estimate
from conegap.solver.field3d.sector_solution import SectorLevel
from conegap.solver.field3d.tetrahedra import TetraMesh
from conegap.solver.field3d.tip_field import apex_field, tip_response
from conegap.solver.field3d.volumes import tetra_volumes

__all__ = ["Ring", "half_ring", "height_influence"]

# Half pitches: the whole half ring of a crown of 24 tips, of a larger one the twelve nearest to
# either side, so that the ring fits into memory.
_MOST_COPIES = 24


@dataclass(frozen=True)
class Ring:
    """Half a crown put together from mirror images of one sector's mesh.

    Parameters
    ----------
    points : (n, 3) array
        Scaled.
    numbers : (copies, m) array of int
        Point of the ring for every point of the sector, in each copy.
    """

    points: FloatArray
    volumes: ControlVolumes
    numbers: IntArray


def half_ring(mesh: TetraMesh, angle: float, copies: int) -> Ring:
    """Mirror images of a wedge's mesh, side by side, with their shared points joined.

    Parameters
    ----------
    mesh : TetraMesh
        Of a wedge between the azimuths 0 and ``angle``.
    angle : float
        [rad].
    copies : int
        How many wedges, [-].
    """
    x, y, z = mesh.points.T
    radius, azimuth = np.hypot(x, y), np.arctan2(y, x)
    near = 1e-7
    on_axis = radius < near
    on_first = np.abs(y) < near
    on_last = np.abs(y * math.cos(angle) - x * math.sin(angle)) < near
    numbers = np.empty((copies, len(mesh.points)), dtype=np.int64)
    places = []
    count = 0
    for k in range(copies):
        shared = np.zeros(len(mesh.points), dtype=bool)
        if k > 0:
            shared = (on_last if k % 2 else on_first) | on_axis
            numbers[k, shared] = numbers[k - 1, shared]
        fresh = np.nonzero(~shared)[0]
        numbers[k, fresh] = count + np.arange(len(fresh))
        count += len(fresh)
        turned = k * angle + (azimuth if k % 2 == 0 else angle - azimuth)
        places.append(np.column_stack([radius * np.cos(turned), radius * np.sin(turned), z])[fresh])
    volumes = tetra_volumes(mesh.points, mesh.tetrahedra)
    return Ring(
        points=np.vstack(places),
        volumes=ControlVolumes(
            first=numbers[:, volumes.first].ravel(),
            last=numbers[:, volumes.last].ravel(),
            area=np.tile(volumes.area, copies),
            distance=np.tile(volumes.distance, copies),
        ),
        numbers=numbers,
    )


def height_influence(
    sector: Sector,
    level: SectorLevel,
    weights: FloatArray,
    finer: tuple[SectorLevel, ...] = (),
) -> FloatArray:
    """Relative change of the field at each tip of a crown per height by which one tip is raised.

    Parameters
    ----------
    sector : Sector
        Half a pitch of a crown.
    level : SectorLevel
        Its solution on one mesh.
    weights : (electrodes,) array
        Voltages of the electrodes, [V].
    finer : tuple of SectorLevel
        Its solution on the meshes that follow.  By reciprocity the influence goes with the
        integral of E^2 n_z over the raised tip, its pull, which a first mesh overrates by some
        15 %; the pull of the finer meshes takes that away.

    Returns
    -------
    (k,) array, [1/m]
        For the neighbour, the one beyond it, and so on to the opposite tip or the twelfth.

    Raises
    ------
    MeshError, ConvergenceError
        The ring or the region about a tip could not be solved.
    """
    from conegap.solver.field3d.operator import SectorOperator

    assert isinstance(sector.region, Wedge)
    tip, mesh = sector.tips[0], level.mesh
    angle = sector.region.angle
    around = round(math.pi / angle)
    copies = min(around, _MOST_COPIES)
    ring = half_ring(mesh, angle, copies)
    dirichlet = np.zeros(len(ring.points), dtype=bool)
    fixed = level.measure > 0.0
    dirichlet[ring.numbers[:, fixed].ravel()] = True
    values = np.zeros(len(ring.points))
    nodes, upward = _upward(mesh, f"emitter:{tip.name}")
    field = weights @ level.charges[:, nodes] / level.measure[nodes] / mesh.scale
    values[ring.numbers[0, nodes]] = field * upward
    operator = SectorOperator(ring.points, ring.volumes, dirichlet)
    change = operator.potential(values)[ring.numbers]
    response = tip_response(tip)
    above = weights @ level.potentials - weights[0]
    still = apex_field(mesh, tip, response, above)[0].value
    found = []
    for j in range(1, copies // 2 + 1):
        # The tip stands on the plane between two copies: the mean of both is its symmetric part.
        both = [change[k] for k in (2 * j - 1, 2 * j) if k < copies]
        found.append(apex_field(mesh, tip, response, np.mean(both, axis=0))[0].value / still)
    return np.array(found) * _pull_correction(f"emitter:{tip.name}", (level, *finer), weights)


def _pull_correction(name: str, levels: tuple[SectorLevel, ...], weights: FloatArray) -> float:
    """Pull on a tip, taken to the limit of its meshes, over that on the first one, [-]."""
    if len(levels) < 2:
        return 1.0
    pulls = []
    for level in levels:
        nodes, upward = _upward(level.mesh, name)
        flux = weights @ level.charges[:, nodes]
        pulls.append(float(np.sum(flux**2 / level.measure[nodes] * upward)))
    sizes = tuple(level.mesh.subdivisions for level in levels)
    return estimate(sizes, tuple(pulls)).value / pulls[0]


def _upward(mesh: TetraMesh, name: str) -> tuple[IntArray, FloatArray]:
    """Points of a named surface and the z part of their outward normals."""
    triangles = mesh.triangles[mesh.names == name]
    a, b, c = (mesh.points[triangles[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    total = np.zeros((len(mesh.points), 3))
    for k in range(3):
        np.add.at(total, triangles[:, k], normal)
    nodes = np.unique(triangles)
    # A tip's surface always faces upward, whichever way the mesh library turns its triangles.
    part = np.abs(total[nodes, 2]) / np.linalg.norm(total[nodes], axis=1)
    return nodes, np.asarray(part)
