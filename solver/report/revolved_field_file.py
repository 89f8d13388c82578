"""The field of a section turned about its axis, as solid cells for other programs."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import OutputError
from conegap.solver.field.solution import FieldSolution
from conegap.solver.report.field_file import (
    FIELD,
    POTENTIAL,
    boundary_lines,
    boundary_tag,
    nodal_field,
)

__all__ = ["revolved_cells", "write_revolved_field"]

# Steps around the axis, 10 degrees each: the volume of the polygon is 0.5 % below the circle's.
STEPS = 36
# Some 13 MB of file: the shipped needle's 115,000 cells take 5.8 MB.
_MOST_CELLS = 250_000


def write_revolved_field(
    path: Path, solution: FieldSolution, voltages: Mapping[str, float]
) -> None:
    """Solid cells, potential and field of an axisymmetric section turned about its axis, as VTU.

    The points, in metres, hold ``potential [V]`` and ``field [V/m]``, E = -grad(phi), with the
    components (x, y, z), z along the axis.  Triangles become wedges, at the axis pyramids and
    tetrahedra; boundaries become quadrilaterals, at the axis triangles, tagged as in
    `boundary_tag`.  The finest mesh is taken that gives at most 250,000 solid cells.

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
        The ending is another one, or the section is not axisymmetric.
    """
    import meshio

    if path.suffix != ".vtu":
        raise OutputError(f"{path.name}: a revolved field is written as .vtu; give such a name")
    if solution.section.symmetry != "axisymmetric":
        raise OutputError(
            f"{path.name}: the section is extruded and has no axis to be turned about; leave "
            "--revolved out"
        )
    sizes = [len(level.mesh.triangles) * STEPS for level in solution.levels]
    level = max([k for k, size in enumerate(sizes) if size <= _MOST_CELLS], default=0)
    mesh = solution.levels[level].mesh
    flat = np.asarray(mesh.points) * solution.scale
    triangles = np.asarray(mesh.triangles)
    potential = solution.potential(voltages, level)
    field = nodal_field(flat, triangles, potential)
    on_axis = flat[:, 0] <= 0.0
    # On the axis the field has no component across it.
    field[on_axis, 0] = 0.0
    tag, numbers = boundary_tag([n for n in solution.section.boundary_names if n != "axis"])
    lines, names = boundary_lines(solution, level)
    off_axis = np.array(names) != "axis"
    tagged = np.array([numbers[name] for name in names if name != "axis"], dtype=np.int32)
    number, owner, turn = _numbered(on_axis)
    x = flat[owner, 0]
    points = np.column_stack([x * np.cos(turn), x * np.sin(turn), flat[owner, 1]])
    across = field[owner, 0]
    vectors = np.column_stack([across * np.cos(turn), across * np.sin(turn), field[owner, 1]])
    solids = revolved_cells(triangles, number)
    surfaces, sources = _revolved_lines(lines[off_axis], number)
    grid = meshio.Mesh(
        points,
        [*solids.items(), *surfaces.items()],
        point_data={POTENTIAL: potential[owner], FIELD: vectors},
        cell_data={
            tag: [
                *(np.zeros(len(cells), dtype=np.int32) for cells in solids.values()),
                *(tagged[sources[kind]] for kind in surfaces),
            ]
        },
    )
    grid.write(path, file_format="vtu")


def _numbered(on_axis: np.ndarray) -> tuple[IntArray, IntArray, FloatArray]:
    """Numbers of the turned points by (step, point), and point and angle of every number."""
    count = len(on_axis)
    off = np.flatnonzero(~on_axis)
    number = np.zeros((STEPS, count), dtype=np.int64)
    axis = np.flatnonzero(on_axis)
    number[:, axis] = np.arange(len(axis))
    number[:, off] = len(axis) + np.arange(STEPS * len(off)).reshape(STEPS, len(off))
    owner = np.concatenate([axis, np.tile(off, STEPS)])
    angles = 2.0 * np.pi * np.arange(STEPS) / STEPS
    return number, owner, np.concatenate([np.zeros(len(axis)), np.repeat(angles, len(off))])


def revolved_cells(triangles: IntArray, number: IntArray) -> dict[str, IntArray]:
    """Solid cells that triangles sweep, by kind.

    Parameters
    ----------
    triangles : (m, 3) array
        Point numbers in the section, counterclockwise.
    number : (steps, n) array
        Number of every point of the section after every step; one and the same on the axis.

    Returns
    -------
    dict of str to array
        "wedge" (., 6), "pyramid" (., 5), "tetra" (., 4), those that occur, numbered as in VTK.
    """
    here, there = number, np.roll(number, -1, axis=0)
    fixed = here[0] == here[1]
    held = fixed[triangles]
    found: dict[str, list[IntArray]] = {"wedge": [], "pyramid": [], "tetra": []}
    plain = triangles[held.sum(axis=1) == 0]
    found["wedge"] = [np.hstack([a[plain], b[plain]]) for a, b in zip(here, there, strict=True)]
    # Turned so that the corner on the axis comes first, or the one off it.
    one = _first(triangles, held, 1)
    two = _first(triangles, ~held, 1)
    for a, b in zip(here, there, strict=True):
        top, p, q = one.T
        found["pyramid"].append(np.stack([a[p], a[q], b[q], b[p], a[top]], axis=1))
        p, low, high = two.T
        found["tetra"].append(np.stack([a[p], a[high], a[low], b[p]], axis=1))
    joined = {kind: np.vstack(parts) for kind, parts in found.items()}
    return {kind: cells for kind, cells in joined.items() if len(cells)}


def _first(triangles: IntArray, marked: np.ndarray, count: int) -> IntArray:
    """Triangles with so many marked corners, turned to have the first of them first."""
    chosen = marked.sum(axis=1) == count
    start = np.argmax(marked[chosen], axis=1)
    return np.take_along_axis(triangles[chosen], (start[:, None] + np.arange(3)) % 3, axis=1)


def _revolved_lines(
    lines: IntArray, number: IntArray
) -> tuple[dict[str, IntArray], dict[str, IntArray]]:
    """Surface cells that lines sweep, by kind, and the line of every one of them."""
    here, there = number, np.roll(number, -1, axis=0)
    held = (here[0] == here[1])[lines]
    plain = np.flatnonzero(held.sum(axis=1) == 0)
    one = np.flatnonzero(held.sum(axis=1) == 1)
    top = lines[one, np.argmax(held[one], axis=1)]
    low = lines[one, np.argmin(held[one], axis=1)]
    cells: dict[str, IntArray] = {}
    sources: dict[str, IntArray] = {}
    pairs = list(zip(here, there, strict=True))
    if len(plain):
        p, q = lines[plain].T
        cells["quad"] = np.vstack([np.stack([a[p], b[p], b[q], a[q]], axis=1) for a, b in pairs])
        sources["quad"] = np.tile(plain, len(pairs))
    if len(one):
        cells["triangle"] = np.vstack(
            [np.stack([a[low], b[low], a[top]], axis=1) for a, b in pairs]
        )
        sources["triangle"] = np.tile(one, len(pairs))
    return cells, sources
