"""The field of a sector as a file for other programs."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import OutputError
from conegap.solver.field3d.sector_solution import SectorSolution
from conegap.solver.report.field_file import FIELD, POTENTIAL, boundary_tag

__all__ = ["exported_level", "field_in_tetrahedra", "write_sector_field"]

# Some 20 MB of file.
_MOST_TETRAHEDRA = 250_000


def exported_level(solution: SectorSolution) -> int:
    """Number of the finest mesh whose file stays below about 20 MB."""
    sizes = [len(level.mesh.tetrahedra) for level in solution.levels]
    small = [k for k, size in enumerate(sizes) if size <= _MOST_TETRAHEDRA]
    return small[-1] if small else 0


def write_sector_field(path: Path, solution: SectorSolution, voltages: Mapping[str, float]) -> None:
    """Points, tetrahedra, potential and field of one mesh of a sector, as VTU.

    The points, in metres, hold ``potential [V]`` and ``field [V/m]``, E = -grad(phi), (x, y, z).
    Cells are the tetrahedra and the triangles of the boundaries; one integer says to which boundary
    a triangle belongs (`boundary_tag`), and ``field in cell [V/m]`` is the field in each
    tetrahedron (zero on triangles).

    Parameters
    ----------
    path : Path
        Ends in .vtu.
    voltages : mapping
        Of each electrode, [V].

    Raises
    ------
    OSError
        The file cannot be written.
    OutputError
        The ending is another one.
    """
    import meshio

    if path.suffix != ".vtu":
        raise OutputError(
            f"{path.name}: the field of a sector is written as .vtu; give such a name"
        )
    level = exported_level(solution)
    mesh = solution.levels[level].mesh
    points = mesh.points * mesh.scale
    potential = solution.potential(voltages, level)
    inside, field = field_in_tetrahedra(points, mesh.tetrahedra, potential)
    names = np.char.partition(mesh.names.astype(str), ":")[:, 0]
    outer = names != "inside"
    triangles, names = mesh.triangles[outer], names[outer]
    tag, numbers = boundary_tag(sorted(set(names.tolist())))
    tags = [
        np.zeros(len(mesh.tetrahedra), dtype=np.int32),
        np.array([numbers[name] for name in names.tolist()], dtype=np.int32),
    ]
    grid = meshio.Mesh(
        points,
        [("tetra", mesh.tetrahedra), ("triangle", triangles)],
        point_data={POTENTIAL: potential, FIELD: field},
        cell_data={tag: tags, "field in cell [V/m]": [inside, np.zeros((len(triangles), 3))]},
    )
    grid.write(path, file_format="vtu")


def field_in_tetrahedra(
    points: FloatArray, tetrahedra: IntArray, potential: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """E = -grad(phi) of the linear potential in every tetrahedron, and its mean at the points.

    The mean over the tetrahedra at a point is weighted with their volumes.

    Parameters
    ----------
    points : (n, 3) array, [m]
    tetrahedra : (m, 4) array
        Point numbers.
    potential : (n,) array, [V]

    Returns
    -------
    (m, 3) array, (n, 3) array, [V/m]
    """
    corner = points[tetrahedra]
    edges = corner[:, 1:] - corner[:, :1]
    rise = potential[tetrahedra[:, 1:]] - potential[tetrahedra[:, :1]]
    field = -np.linalg.solve(edges, rise[:, :, None])[:, :, 0]
    volume = np.abs(np.linalg.det(edges)) / 6.0
    weight = np.zeros(len(points))
    total = np.zeros((len(points), 3))
    for k in range(4):
        weight += np.bincount(tetrahedra[:, k], volume, len(points))
        for j in range(3):
            total[:, j] += np.bincount(tetrahedra[:, k], volume * field[:, j], len(points))
    return np.asarray(field, dtype=float), np.asarray(total / np.maximum(weight, 1e-300)[:, None])
