"""From a sector to the field at the very end of a tip.

A sphere about the tip's apex, inside the sector, holds only that tip's own metal, which is round.
There the potential is a sum over cos(m phi) of parts that do not mix, and only the part m = 0
reaches the axis: the field at the apex is that of the axisymmetric region inside the sphere with
the azimuthal mean of the sector's potential on it.  The tip is part of the sector's mesh as well,
only coarsely, so its reaction on the sphere is already there and nothing has to be iterated.

On the three-dimensional mesh itself the field at the apex is 4 to 27 % off.  Through the sphere it
is 2.6e-3, 1e-3 and 3e-4 off with 1,500, 10,000 and 70,000 points, whatever the sphere's radius (0.1
to 0.4 of the tip's height) and for half angles from 0.5 to 75 degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.errors import MeshError
from conegap.geometries.solids.sector import Tip
from conegap.solver.field.control_volumes import control_volumes, surface_measure
from conegap.solver.field.extrapolation import Estimate, estimate
from conegap.solver.field3d.near_section import near_section, rim_angle
from conegap.solver.field3d.sector_solution import SectorLevel
from conegap.solver.field3d.tetrahedra import TetraMesh
from conegap.solver.field3d.volumes import triangle_measure
from conegap.solver.mesh.coarse_mesh import coarse_mesh
from conegap.solver.mesh.subdivision import subdivide

__all__ = [
    "LEAST_REACH",
    "TipResponse",
    "apex_estimate",
    "apex_field",
    "edge_response",
    "field_at_tip",
    "polar_functions",
    "sphere_means",
    "tip_response",
]

# Polar functions on the sphere; with 3, 4 or 10 they leave 2.8e-3, 1.0e-3 or 8e-4 of the
# potential there, with these 9e-4, and the apex field stays the same to 1e-5.
_FUNCTIONS = 6
# Highest azimuthal wave fitted beside the mean, so that uneven points do not mix the waves into
# it.
_AZIMUTHAL = 4
# Subdivisions of the meshes inside the sphere, as for a plane section.
_SIZES = (2, 4, 8)
# Tip radii in the sphere; in a smaller one there is no room for a boundary-layer grid.
LEAST_REACH = 5.0


def polar_functions(polar: FloatArray, end: float, count: int = _FUNCTIONS) -> FloatArray:
    """Smooth functions of the angle from the axis that vanish on the tip's flank.

    Parameters
    ----------
    polar : (n,) array
        Angle from +z about the apex, [rad].
    end : float
        Where the sphere meets the flank, [rad].
    count : int
        How many, [-].

    Returns
    -------
    (count, n) array, [-]
    """
    t = np.clip(polar / end, -1.0, 1.0)
    return np.asarray([(1.0 - t**2) * np.cos(2 * k * np.arccos(t)) for k in range(count)])


def sphere_means(mesh: TetraMesh, tip: Tip, potentials: FloatArray) -> tuple[FloatArray, float]:
    """Azimuthal mean of potentials on the sphere about a tip, as a sum of polar functions.

    Parameters
    ----------
    potentials : (k, n) array
        Differences to the tip's own potential, [V].

    Returns
    -------
    (k, functions) array, [V]
        Coefficients of the `polar_functions`.
    float
        Root mean square of what the fit leaves, over that of the potentials, [-].
    """
    triangles = mesh.triangles[mesh.names == f"inside:{tip.name}"]
    nodes = np.unique(triangles)
    weight = triangle_measure(mesh.points, triangles)
    weight = np.sqrt(weight[nodes])
    apex = np.array([*tip.place, tip.apex]) / mesh.scale
    x, y, z = (mesh.points[nodes] - apex).T
    polar, azimuth = np.arctan2(np.hypot(x, y), z), np.arctan2(y, x)
    end = rim_angle(near_section(tip))
    columns = []
    for order, wave in _waves(tip.mirrors, azimuth):
        count = _FUNCTIONS if order == 0 else max(_FUNCTIONS - order, 2)
        columns.append(polar_functions(polar, end, count) * wave * np.sin(polar) ** order)
    matrix = np.vstack(columns).T * weight[:, None]
    given = potentials[:, nodes].T * weight[:, None]
    found, *_ = np.linalg.lstsq(matrix, given, rcond=1e-10)
    size = max(float(np.linalg.norm(given)), 1e-300)
    left = float(np.linalg.norm(matrix @ found - given)) / size
    return np.asarray(found[:_FUNCTIONS].T), left


def _waves(mirrors: tuple[float, ...], azimuth: FloatArray) -> list[tuple[int, FloatArray]]:
    """Azimuthal waves that the symmetry planes through the tip allow, with their order."""
    found = [(0, np.ones_like(azimuth))]
    if len(mirrors) == 2:
        return found + [(m, np.cos(m * azimuth)) for m in (2, 4)]
    if len(mirrors) == 1:
        turned = azimuth - mirrors[0]
        return found + [(m, np.cos(m * turned)) for m in range(1, _AZIMUTHAL + 1)]
    for m in range(1, _AZIMUTHAL):
        found += [(m, np.cos(m * azimuth)), (m, np.sin(m * azimuth))]
    return found


@dataclass(frozen=True)
class TipResponse:
    """Field at a tip's apex for each polar function on the sphere about it.

    Parameters
    ----------
    per_volt : (levels, functions) array
        On every mesh, [1/m].
    sizes : tuple of int
        Subdivisions of the meshes.
    """

    per_volt: FloatArray
    sizes: tuple[int, ...]

    def field(self, coefficients: FloatArray) -> Estimate:
        """Outward field at the apex.

        Parameters
        ----------
        coefficients : (functions,) array
            Of the potential above the tip's own on the sphere, [V].

        Returns
        -------
        Estimate
            [V/m], with the numerical error of the near region alone.
        """
        return estimate(self.sizes, tuple(float(v) for v in self.per_volt @ coefficients))


def tip_response(tip: Tip) -> TipResponse:
    """Solve the region inside the sphere about a tip for every polar function.

    Raises
    ------
    MeshError, ConvergenceError
        The region could not be solved.
    """
    if tip.reach < LEAST_REACH * tip.radius:
        raise MeshError(
            f"the sphere about the tip '{tip.name}' has {tip.reach / tip.radius:.3g} tip radii; "
            f"its region can be meshed from {LEAST_REACH:g} on",
            cause="no room",
        )
    return edge_response(near_section(tip))


def apex_field(
    mesh: TetraMesh, tip: Tip, response: TipResponse, above: FloatArray
) -> tuple[Estimate, float]:
    """Outward field at a tip's apex on one mesh.

    Parameters
    ----------
    response : TipResponse
        Of the tip, from `tip_response`.
    above : (n,) array
        Potential of the mesh's points above the tip's own, [V].

    Returns
    -------
    Estimate
        [V/m], with the numerical error of the near region alone.
    float
        What the fit on the sphere leaves, see `sphere_means`, [-].
    """
    means, left = sphere_means(mesh, tip, above[None])
    return response.field(means[0]), left


def field_at_tip(
    tip: Tip, response: TipResponse, levels: Sequence[SectorLevel], weights: FloatArray
) -> tuple[Estimate, float]:
    """Outward field at a tip's apex from nested meshes.

    Parameters
    ----------
    response : TipResponse
        Of the tip, from `tip_response`.
    levels : sequence of SectorLevel
        At least two.
    weights : (electrodes,) array
        Voltage of every electrode, the emitter first, [V].

    Returns
    -------
    Estimate
        [V/m], with the numerical errors of the meshes and of the near region.
    float
        What the fit on the finest mesh's sphere leaves, see `sphere_means`, [-].
    """
    values, left = [], 0.0
    for level in levels:
        above = weights @ level.potentials - weights[0]
        near, left = apex_field(level.mesh, tip, response, above)
        values.append(near.value)
    best = apex_estimate(tuple(level.mesh.subdivisions for level in levels), tuple(values))
    return replace(best, error=math.hypot(best.error, near.error)), left


def apex_estimate(sizes: tuple[int, ...], values: tuple[float, ...]) -> Estimate:
    """Best field at an apex; of two meshes with their whole difference as its error.

    The order is below two there: a third of the difference, as in the plane, bounded the change to
    a third mesh in 89 % of 63 random sectors only; the whole in 95 % of 65.

    Parameters
    ----------
    sizes : tuple of int
        Subdivisions of the meshes, each twice the one before, at least two, [-].
    values : tuple of float
        Field on each mesh, in any unit.

    Raises
    ------
    ValueError
        Fewer than two meshes or a ratio other than two.
    """
    found = estimate(sizes, values)
    return replace(found, error=3.0 * found.error) if len(sizes) == 2 else found


def edge_response(
    section: Section,
    *,
    bend: float | None = None,
    functions: int = _FUNCTIONS,
) -> TipResponse:
    """Field at the apex of a near section for every polar function on its outer circle.

    Parameters
    ----------
    section : Section
        From `near_section` or `near_lip_section`.
    bend : float or None
        Radius of the bend that the section was made with, [m].
    functions : int
        How many polar functions, [-].

    Raises
    ------
    MeshError, ConvergenceError
        The region could not be solved.
    """
    from conegap.solver.field.finite_volume import LaplaceOperator

    coarse = coarse_mesh(section)
    origin = np.array([0.0, 0.0] if bend is None else [bend, 0.0]) / coarse.scale

    def polar(points: FloatArray) -> FloatArray:
        across, along = (points - origin).T if bend is None else (points - origin)[:, ::-1].T
        return np.asarray(np.arctan2(across, along))

    end = max(
        float(polar(b.curve.point(np.array([0.0, 1.0])) / coarse.scale).max())
        for b in section.loops[0]
        if b.name == "outer"
    )
    rows = []
    for size in _SIZES:
        mesh = subdivide(coarse, size)
        volumes = control_volumes(mesh, section.symmetry)
        points = len(mesh.points)
        dirichlet = np.zeros(points, dtype=bool)
        values = np.zeros((functions, points))
        measure = np.zeros(points)
        for chain in mesh.chains:
            name = section.loops[chain.boundary[0]][chain.boundary[1]].name
            if name == "outer":
                place = polar(mesh.points[chain.nodes])
                values[:, chain.nodes] = polar_functions(place, end, functions)
            if name in ("outer", "emitter"):
                dirichlet[chain.nodes] = True
            if name == "emitter":
                share = surface_measure(mesh.points, chain.nodes, section.symmetry)
                np.add.at(measure, chain.nodes, share)
        for chain in mesh.chains:
            if section.loops[chain.boundary[0]][chain.boundary[1]].name == "emitter":
                values[:, chain.nodes] = 0.0
        operator = LaplaceOperator(mesh, volumes, dirichlet)
        charges = operator.charges(operator.potentials(values))
        apex = int(np.argmin(np.linalg.norm(mesh.points - origin, axis=1)))
        rows.append(charges[:, apex] / measure[apex] / coarse.scale)
    return TipResponse(np.array(rows), _SIZES)
