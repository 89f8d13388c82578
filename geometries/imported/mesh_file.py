"""Meshes made elsewhere: points, triangles and named groups of boundary lines, by meshio."""

from __future__ import annotations

import contextlib
import io
import re
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.quantities.errors import DesignError

__all__ = ["MeshFile", "read_mesh"]


# Of the size of the mesh, rounding of its coordinates in double precision.
_FLAT = 1e-9
# How many of the points of each kind of cell are its corners.
_CORNERS = {"triangle": 3, "triangle6": 3, "line": 2, "line3": 2}
# How the text of XDMF names the file of an array: "gap.h5:/data0".
_HEAVY = re.compile(rb">\s*([^<>:\s][^<>:]*):/")
# The legend in the name of the tag in conegap's own field files: "boundary (1 axis, 2 emitter)".
_LEGEND = re.compile(r"(\d+) ([^,()]+)")


@dataclass(frozen=True)
class MeshFile:
    """What a mesh file holds, in its own unit.

    Parameters
    ----------
    points : (n, 2) array
    triangles : (m, 3) array
    lines : (k, 2) array
        Boundary lines that belong to a group.
    line_groups : tuple of str
        Group of every line.
    """

    points: FloatArray
    triangles: IntArray
    lines: IntArray
    line_groups: tuple[str, ...]

    @property
    def groups(self) -> tuple[str, ...]:
        """Names of the groups of lines, in the order met."""
        return tuple(dict.fromkeys(self.line_groups))


def read_mesh(data: bytes, name: str, beside: Callable[[str], bytes] | None = None) -> MeshFile:
    """Points, triangles and named lines of a mesh file.

    Names are physical names, cell sets, or the legend of the tag in conegap's own field files; a
    numbered group without a name is called by its number.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        Its name; the ending tells the format.
    beside : callable (str) -> bytes, optional
        Content of a file beside this one: XDMF may keep its arrays in a file of HDF5.

    Raises
    ------
    DesignError
        Unknown format, broken, not flat, other cells than triangles, or no groups of lines.
    """
    mesh = _read(data, name, beside)
    others = sorted({b.type for b in mesh.cells} - set(_CORNERS) - {"vertex"})
    if others:
        raise DesignError(
            f"{name} holds cells of type {', '.join(others)}; only triangles and lines are "
            "taken, so save the mesh with triangles (a quadrilateral is cut into two)"
        )
    triangles = _joined(mesh, "triangle")
    if len(triangles) == 0:
        raise DesignError(f"{name} holds no triangles; save the plane region with its cells")
    points = _flat(np.array(mesh.points, dtype=float), name)
    lines, groups = [], []
    for number, block in enumerate(mesh.cells):
        if not block.type.startswith("line"):
            continue
        ends = np.asarray(block.data, dtype=np.int64)[:, :2]
        named = _groups_of(mesh, number, len(ends))
        for line, group in zip(ends, named, strict=True):
            if group:
                lines.append(line)
                groups.append(group)
    if not lines:
        raise DesignError(
            f"{name} holds no named groups of lines; give every boundary of the mesh a group "
            "(a physical curve) named emitter, accelerator, axis, outer or chamber; where groups "
            'have numbers only, [emitter] says what they are: names = { "1" = "emitter" }'
        )
    return MeshFile(*_used(points, triangles, np.array(lines)), tuple(groups))


def _read(data: bytes, name: str, beside: Callable[[str], bytes] | None) -> Any:
    """The mesh as meshio sees it; what it prints is kept from the terminal."""
    import meshio

    ending = "".join(Path(name).suffixes[-1:])
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / f"mesh{ending}"
        place.write_bytes(data)
        if ending.lower() in (".xdmf", ".xmf"):
            _lay_beside(Path(folder), data, name, beside)
        words = io.StringIO()
        try:
            with contextlib.redirect_stdout(words), contextlib.redirect_stderr(words):
                return meshio.read(place)
        except SystemExit as problem:
            raise DesignError(_unreadable(name, words.getvalue())) from problem
        except Exception as problem:
            # meshio's readers raise whatever their parsing met.
            raise DesignError(_unreadable(name, str(problem))) from problem


def _lay_beside(
    folder: Path, data: bytes, name: str, beside: Callable[[str], bytes] | None
) -> None:
    """The files of arrays that XDMF names, laid into the folder from where it is read."""
    for found in dict.fromkeys(_HEAVY.findall(data)):
        other = found.decode(errors="replace").strip()
        if Path(other).name != other:
            raise DesignError(
                f"{name} keeps its arrays in '{other}'; lay that file beside it and write its bare "
                "name there"
            )
        if beside is None:
            raise DesignError(f"{name} keeps its arrays in '{other}', which is not given with it")
        # A mesh may lie in a folder below the design.
        near = str(Path(name).with_name(other))
        (folder / other).write_bytes(beside(near))


def _unreadable(name: str, why: str) -> str:
    reason = " ".join(why.replace("Error:", " ").split())[:160] or "unknown format"
    return (
        f"{name} cannot be read as a mesh ({reason}); save it as .msh, .vtu, .med, .inp or another "
        "format of the meshio library"
    )


def _joined(mesh: Any, kind: str) -> IntArray:
    found = [
        np.asarray(b.data, dtype=np.int64)[:, : _CORNERS[b.type]]
        for b in mesh.cells
        if b.type.startswith(kind)
    ]
    return np.vstack(found) if found else np.empty((0, 3), dtype=np.int64)


def _flat(points: FloatArray, name: str) -> FloatArray:
    """The two coordinates of the plane."""
    if points.shape[1] == 2:
        return points
    spans = np.ptp(points, axis=0)
    size = float(spans.max())
    thin = [k for k in range(3) if spans[k] <= _FLAT * size]
    if not thin:
        raise DesignError(
            f"{name} is not flat: it extends {spans[0]:.4g} x {spans[1]:.4g} x {spans[2]:.4g}; "
            "save the plane section only, with one coordinate the same everywhere"
        )
    return points[:, [k for k in range(3) if k != thin[-1]]]


def _groups_of(mesh: Any, block: int, count: int) -> Iterator[str]:
    """Group of every line of one block, "" where it has none."""
    named = [""] * count
    for key, data in mesh.cell_data.items():
        if key.startswith("boundary ("):
            meant = {int(number): word for number, word in _LEGEND.findall(key)}
            for k, tag in enumerate(np.asarray(data[block])):
                named[k] = meant.get(int(tag), "")
    for key, sets in mesh.cell_sets.items():
        members = sets[block] if block < len(sets) else None
        if key.startswith("gmsh:") or members is None:
            continue
        for k in np.asarray(members, dtype=np.int64):
            named[int(k)] = key
    words = {
        int(tag): key for key, (tag, dimension) in mesh.field_data.items() if int(dimension) == 1
    }
    for key in ("gmsh:physical", "medit:ref", "cell_tags", "MaterialIDs"):
        if key not in mesh.cell_data:
            continue
        tags = np.asarray(mesh.cell_data[key][block])
        families = getattr(mesh, "cell_tags", {})
        for line, tag in enumerate(tags):
            if not named[line] and int(tag) != 0:
                family = families.get(int(tag), [])
                named[line] = words.get(int(tag)) or (family[0] if family else str(int(tag)))
    return iter(named)


def _used(
    points: FloatArray, triangles: IntArray, lines: IntArray
) -> tuple[FloatArray, IntArray, IntArray]:
    """Without points that belong to no triangle (centres of arcs, for instance)."""
    used = np.unique(triangles)
    number = np.full(len(points), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    return points[used], number[triangles], number[lines]
