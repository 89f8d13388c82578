"""The field as a file for other programs: VTU, or XDMF with its arrays in the text."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.errors import OutputError
from conegap.solver.field.solution import FieldSolution
from conegap.solver.mesh.coarse_mesh import IntArray

__all__ = ["nodal_field", "write_field"]


def write_field(path: Path, solution: FieldSolution, voltages: Mapping[str, float]) -> None:
    """Points, triangles, potential and field of the finest mesh, as VTU or XDMF.

    The points hold ``potential`` [V] and ``field`` [V/m], E = -grad(phi), with the components
    (x or r, z, 0).  Cells are the triangles and the lines of the boundaries; for every boundary
    ``boundary_NAME`` is 1 on its lines and 0 elsewhere.

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

    # meshio writes no bytes into the text of XDMF.
    small = np.int32 if path.suffix == ".xdmf" else np.uint8
    mesh = solution.levels[-1].mesh
    points = np.asarray(mesh.points) * solution.scale
    potential = solution.potential(voltages)
    lines, names = [], []
    for chain in mesh.chains:
        name = solution.section.loops[chain.boundary[0]][chain.boundary[1]].name
        lines.append(np.stack([chain.nodes[:-1], chain.nodes[1:]], axis=1))
        names += [name] * (len(chain.nodes) - 1)
    marked = np.array(names)
    triangles = np.asarray(mesh.triangles)
    field = nodal_field(points, triangles, potential)
    grid = meshio.Mesh(
        np.column_stack([points, np.zeros(len(points))]),
        [("triangle", triangles), ("line", np.vstack(lines))],
        point_data={
            "potential": potential,
            "field": np.column_stack([field, np.zeros(len(points))]),
        },
        cell_data={
            f"boundary_{name}": [
                np.zeros(len(triangles), dtype=small),
                (marked == name).astype(small),
            ]
            for name in solution.section.boundary_names
        },
    )
    if path.suffix == ".xdmf":
        # The arrays go into the text: no HDF5 library is needed.
        grid.write(path, file_format="xdmf", data_format="XML")
    else:
        grid.write(path, file_format="vtu")


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
