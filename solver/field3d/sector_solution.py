"""The electrostatic field of a sector, one unit solution per electrode and mesh.

E = -grad(phi).  All conductors of a sector together enclose its vacuum, so the unit solutions of
all its electrodes add up to one and the last needs no solve of its own.
"""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import GeometryError, MeshError
from conegap.geometries.quantities.notebook import brief
from conegap.geometries.solids.sector import Sector
from conegap.solver.common.progress import Progress
from conegap.solver.field.extrapolation import Estimate, estimate
from conegap.solver.field3d.moved_tetrahedra import SectorMeshes
from conegap.solver.field3d.tetrahedra import TetraMesh, tetra_meshes
from conegap.solver.field3d.volumes import tetra_volumes, triangle_measure

__all__ = ["SectorLevel", "SectorSolution", "memory_needed", "solve_level", "solve_sector"]

# Measured on crowns and arrays, largest resident size over points of the finest mesh, with a
# margin.
_BYTES_PER_POINT = 13_000
# Of the process with its libraries, [bytes].
_BYTES_AT_REST = 300_000_000
# Points of a mesh over those of the one before.
_GROWTH = 8
# Of the memory of a usual desktop computer with 8 GiB, [bytes].
_MOST_BYTES = 6 * 1024**3
# Of the third mesh; it is left out where it would have more, because its solve would take
# minutes.
_MOST_POINTS = 250_000
# Corners of a triangle at the ends of its sides.
_SIDES = np.array([[0, 1], [1, 2], [2, 0]])


@dataclass(frozen=True)
class SectorLevel:
    """One mesh of the sequence with its unit solutions.

    Parameters
    ----------
    potentials : (electrodes, n) array
        Potential at every point per volt, [-].
    charges : (electrodes, n) array
        Flux out of every electrode point per volt, scaled (without eps0).
    measure : (n,) array
        Electrode surface that belongs to each point, scaled.
    """

    mesh: TetraMesh
    potentials: FloatArray
    charges: FloatArray
    measure: FloatArray

    __repr__ = brief


@dataclass(frozen=True)
class SectorSolution:
    """Unit solutions of a sector on nested meshes; build with `solve_sector`."""

    sector: Sector
    electrodes: tuple[str, ...]
    levels: tuple[SectorLevel, ...]
    seconds: float

    __repr__ = brief

    @property
    def cells(self) -> int:
        """Control volumes of the finest mesh."""
        return len(self.levels[-1].mesh.points)

    @property
    def level_sizes(self) -> tuple[int, ...]:
        """Parts per edge of the first mesh, for every mesh."""
        return tuple(level.mesh.subdivisions for level in self.levels)

    def weights(self, voltages: Mapping[str, float]) -> FloatArray:
        """Voltages in the order of the electrodes, (electrodes,) array, [V].

        Parameters
        ----------
        voltages : mapping
            [V].

        Raises
        ------
        GeometryError
            An electrode is named that the sector does not have.
        """
        for name in voltages:
            if name not in self.electrodes:
                raise GeometryError(
                    f"no electrode '{name}' here; the electrodes are {', '.join(self.electrodes)}"
                )
        return np.array([float(voltages.get(name, 0.0)) for name in self.electrodes])

    def potential(self, voltages: Mapping[str, float], level: int = -1) -> FloatArray:
        """Potential at the points of one mesh, (n,) array, [V].

        Parameters
        ----------
        voltages : mapping
            [V].
        level : int
            Which mesh, the finest by default.
        """
        return np.asarray(self.weights(voltages) @ self.levels[level].potentials)

    def charge(self, electrode: str, voltages: Mapping[str, float]) -> Estimate:
        """Charge on one electrode inside this sector, [C].

        Parameters
        ----------
        electrode : str
        voltages : mapping
            [V].

        Raises
        ------
        GeometryError
            No such electrode.
        """
        if electrode not in self.electrodes:
            raise GeometryError(
                f"no electrode '{electrode}'; the electrodes are {', '.join(self.electrodes)}"
            )
        weights, row = self.weights(voltages), self.electrodes.index(electrode)
        values = []
        for level in self.levels:
            # The unit potential is one on its own points and zero on all other electrodes.
            own = (level.measure > 0.0) & (level.potentials[row] > 0.5)
            total = float(np.sum(weights @ level.charges[:, own]))
            values.append(total * epsilon_0 * level.mesh.scale)
        return estimate(self.level_sizes, tuple(values))

    def surface_field(
        self,
        electrode: str,
        voltages: Mapping[str, float],
        level: int = -1,
        *,
        averaged: bool = False,
    ) -> tuple[FloatArray, FloatArray]:
        """Outward normal field at the points of one electrode on one mesh.

        At single points it is of first order, on a sphere 1 to 2 % root mean square and some points
        up to 15 % off; the mean over each point and its neighbours halves that.

        Parameters
        ----------
        electrode : str
        voltages : mapping
            [V].
        level : int
            Which mesh.
        averaged : bool
            Whether to take the mean over each point and its neighbours.

        Returns
        -------
        (k, 3) array, [m]; (k,) array, [V/m]

        Raises
        ------
        GeometryError
            No such electrode.
        """
        if electrode not in self.electrodes:
            raise GeometryError(
                f"no electrode '{electrode}'; the electrodes are {', '.join(self.electrodes)}"
            )
        at = self.levels[level]
        row = self.electrodes.index(electrode)
        own = np.nonzero((at.measure > 0.0) & (at.potentials[row] > 0.5))[0]
        flux, measure = self.weights(voltages) @ at.charges, at.measure
        if averaged:
            pairs = np.sort(at.mesh.triangles[at.mesh.faces_of(electrode)][:, _SIDES], axis=2)
            one, two = np.unique(pairs.reshape(-1, 2), axis=0).T
            flux, measure = (
                value
                + np.bincount(one, value[two], len(value))
                + np.bincount(two, value[one], len(value))
                for value in (flux, measure)
            )
        scale = at.mesh.scale
        return at.mesh.points[own] * scale, flux[own] / measure[own] / scale


def memory_needed(points: int) -> int:
    """Memory that a mesh of so many points needs to be solved, [bytes]; measured, with a margin.

    Parameters
    ----------
    points : int
    """
    return _BYTES_AT_REST + _BYTES_PER_POINT * points


def solve_sector(
    sector: Sector,
    *,
    meshes: int = 3,
    fineness: float = 1.0,
    near: SectorMeshes | None = None,
    progress: Progress | None = None,
) -> SectorSolution:
    """Solve Laplace's equation in a sector on a nested sequence of meshes.

    Parameters
    ----------
    meshes : int
        Most meshes of the sequence, >= 2; each has eight times the cells of the one before, and a
        third is left out where it would have more than a quarter of a million points, [-].
    fineness : float
        Multiplies the mesh sizes, 1 for the default, [-].
    near : SectorMeshes or None
        Of a neighbouring sector, moved to this one where they can follow; as many as are wanted.
    progress : callable or None
        Called with (what, steps done, steps in all).

    Raises
    ------
    MeshError
        The sector could not be meshed, or the finest mesh would not fit into memory.
    ConvergenceError
        A solve failed.
    """
    started = time.perf_counter()
    electrodes = sector.electrodes
    levels: list[SectorLevel] = []
    moved = near.followed(sector) if near is not None and len(near.meshes) >= meshes else []
    for mesh in moved or tetra_meshes(sector, fineness=fineness):
        if not levels:
            points = len(mesh.points)
            while meshes > 2 and points * _GROWTH ** (meshes - 1) > _MOST_POINTS:
                meshes -= 1
            _refuse_too_large(points * _GROWTH ** (meshes - 1))
        if progress is not None:
            progress("sector in three dimensions", len(levels), meshes)
        levels.append(solve_level(mesh, electrodes))
        if len(levels) == meshes:
            break
    if progress is not None:
        progress("sector in three dimensions", meshes, meshes)
    return SectorSolution(sector, electrodes, tuple(levels), time.perf_counter() - started)


def _refuse_too_large(points: int) -> None:
    need = memory_needed(points)
    room = min(_MOST_BYTES, _memory_free())
    if need > room:
        raise MeshError(
            f"the sector's finest mesh would have about {points:,} points and need "
            f"{need / 1024**3:.1f} GiB of memory, more than the {room / 1024**3:.1f} GiB that are "
            "free for it; use fewer tips or a smaller region, or close other programs",
            cause="too large",
        )


def _memory_free() -> int:
    """Memory that is available now, [bytes]; without limit where the system does not say."""
    try:
        with open("/proc/meminfo", encoding="ascii") as file:
            for line in file:
                if line.startswith("MemAvailable:"):
                    return int(line.split()[1]) * 1024
    except OSError:
        pass
    try:
        return int(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") * 0.7)
    except (ValueError, OSError):
        return _MOST_BYTES


def solve_level(mesh: TetraMesh, electrodes: tuple[str, ...]) -> SectorLevel:
    """Unit solutions on one mesh.

    Parameters
    ----------
    electrodes : tuple of str
        In the order of the rows of the solutions.

    Raises
    ------
    MeshError, ConvergenceError
        The mesh is not sound, or the solve failed.
    """
    from conegap.solver.field3d.operator import SectorOperator

    count = len(mesh.points)
    dirichlet = np.zeros(count, dtype=bool)
    values = np.zeros((len(electrodes), count))
    for row, electrode in zip(values, electrodes, strict=True):
        nodes = mesh.points_on(electrode)
        nodes = nodes[~dirichlet[nodes]]
        row[nodes] = 1.0
        dirichlet[nodes] = True
    operator = SectorOperator(mesh.points, tetra_volumes(mesh.points, mesh.tetrahedra), dirichlet)
    potentials = np.empty_like(values)
    for k in range(len(electrodes) - 1):
        potentials[k] = operator.potential(values[k])
    potentials[-1] = 1.0 - potentials[:-1].sum(axis=0)
    charges = np.stack([operator.flux(row) for row in potentials])
    charges[:, ~dirichlet] = 0.0
    measure = triangle_measure(mesh.points, mesh.triangles[mesh.faces_of(*electrodes)])
    return SectorLevel(mesh, potentials, charges, measure)
