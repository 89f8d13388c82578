"""The field as a file for other programs: VTU, or XDMF with its arrays in the text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import OutputError
from conegap.solver.field.solution import FieldSolution

__all__ = ["FIELD", "POTENTIAL", "boundary_lines", "boundary_tag", "nodal_field", "write_field"]

# Names of the arrays, with their units.
POTENTIAL = "potential [V]"
FIELD = "field [V/m]"


def boundary_lines(solution: FieldSolution, level: int) -> tuple[IntArray, list[str]]:
    """Lines of the boundaries of one mesh, (n, 2) array of point numbers, and the name of each.

    Parameters
    ----------
    solution : FieldSolution
    level : int
        Which mesh, -1 for the finest.
    """
    lines, names = [], []
    for chain in solution.levels[level].mesh.chains:
        name = solution.section.loops[chain.boundary[0]][chain.boundary[1]].name
        lines.append(np.stack([chain.nodes[:-1], chain.nodes[1:]], axis=1))
        names += [name] * (len(chain.nodes) - 1)
    return np.vstack(lines), names


def write_field(path: Path, solution: FieldSolution, voltages: Mapping[str, float]) -> None:
    """Points, triangles, potential and field of the finest mesh, as VTU or XDMF.

    The points, in metres, hold ``potential [V]`` and ``field [V/m]``, E = -grad(phi), with the
    components (x or r, z, 0).  Cells are the triangles and the lines of the boundaries; one integer
    says to which boundary a line belongs, and its own name what the numbers mean
    (`boundary_tag`).

    Parameters
    ----------
    path : Path
        Ends in .vtu or .xdmf.
    voltages : mapping
        Of each electrode, [V].

    Raises
    ------
    OSError
        The file cannot be written.
    OutputError
        The ending is neither of the two.
    """
    import meshio

    if path.suffix not in (".vtu", ".xdmf"):
        raise OutputError(f"{path.name}: the field is written as .vtu or .xdmf; give such a name")

    mesh = solution.levels[-1].mesh
    points = np.asarray(mesh.points) * solution.scale
    potential = solution.potential(voltages)
    lines, names = boundary_lines(solution, -1)
    tag, numbers = boundary_tag(solution.section.boundary_names)
    triangles = np.asarray(mesh.triangles)
    field = nodal_field(points, triangles, potential)
    grid = meshio.Mesh(
        np.column_stack([points, np.zeros(len(points))]),
        [("triangle", triangles), ("line", lines)],
        point_data={
            POTENTIAL: potential,
            FIELD: np.column_stack([field, np.zeros(len(points))]),
        },
        cell_data={
            tag: [
                np.zeros(len(triangles), dtype=np.int32),
                np.array([numbers[name] for name in names], dtype=np.int32),
            ]
        },
    )
    if path.suffix == ".xdmf":
        # The arrays go into the text: no HDF5 library is needed.
        grid.write(path, file_format="xdmf", data_format="XML")
    else:
        grid.write(path, file_format="vtu")


def boundary_tag(names: Sequence[str]) -> tuple[str, dict[str, int]]:
    """Name of the one array that tags the boundaries, and the number of every boundary.

    0 is the inside; the name explains the numbers, since VTU has no other place for them that every
    reader keeps: "boundary (1 axis, 2 emitter)".

    Parameters
    ----------
    names : sequence of str
        Each once.
    """
    numbers = {name: k for k, name in enumerate(names, start=1)}
    return f"boundary ({', '.join(f'{k} {name}' for name, k in numbers.items())})", numbers


def nodal_field(points: FloatArray, triangles: IntArray, potential: FloatArray) -> FloatArray:
    """E = -grad(phi) at the points, the mean over their triangles weighted with the angle there.

    Parameters
    ----------
    points : (n, 2) array, [m]
    triangles : (m, 3) array
        Point numbers.
    potential : (n,) array, [V]

    Returns
    -------
    (n, 2) array, [V/m]
    """
    a, b, c = (points[triangles[:, k]] for k in range(3))
    twice = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    slope = np.zeros((len(triangles), 2))
    for k, (one, two) in enumerate(((b, c), (c, a), (a, b))):
        value = potential[triangles[:, k]]
        slope[:, 0] += value * (one[:, 1] - two[:, 1])
        slope[:, 1] += value * (two[:, 0] - one[:, 0])
    slope /= twice[:, None]
    total = np.zeros((len(points), 2))
    weight = np.zeros(len(points))
    corners = (a, b, c)
    for k in range(3):
        u = corners[(k + 1) % 3] - corners[k]
        v = corners[(k + 2) % 3] - corners[k]
        angle = np.arctan2(np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]), np.sum(u * v, axis=1))
        weight += np.bincount(triangles[:, k], angle, len(points))
        for j in range(2):
            total[:, j] += np.bincount(triangles[:, k], angle * slope[:, j], len(points))
    return np.asarray(-total / np.maximum(weight, 1e-300)[:, None])
