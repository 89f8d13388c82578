"""Sections drawn or meshed elsewhere: the whole boundary of the vacuum in one file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from pydantic import Field, StrictBool

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.outline import moved
from conegap.geometries.curves.section import (
    BOUNDARY_NAMES,
    Boundary,
    EmittingEdge,
    Section,
    Symmetry,
)
from conegap.geometries.imported.closed_loops import closed_loops
from conegap.geometries.imported.dxf_file import EDGE_LAYER, DrawnFile, boundary_name, read_dxf
from conegap.geometries.imported.imported_mesh import meshed_outline, radius_error
from conegap.geometries.imported.mesh_file import MeshFile, read_mesh
from conegap.geometries.imported.whole_section import emitting_edges, framed, required_boundaries
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.part import Problem
from conegap.geometries.parts.setting import described
from conegap.geometries.quantities.errors import DesignError, GeometryError
from conegap.geometries.quantities.quantity import LENGTH, QuantityError, as_text, read_quantity

__all__ = ["DrawnEmitter", "ImportedFile", "MeshedEmitter", "WholeAccelerator", "WholeEmitter"]

ImportedFile = DrawnFile | MeshFile
"""What a drawing or a mesh file holds."""

Axis = Literal["y", "-y", "x", "-x"]
# Rows of the rotation that turns each direction of emission upwards.
_FRAME: Mapping[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "y": ((1.0, 0.0), (0.0, 1.0)),
    "-y": ((1.0, 0.0), (0.0, -1.0)),
    "x": ((0.0, 1.0), (1.0, 0.0)),
    "-x": ((0.0, 1.0), (-1.0, 0.0)),
}
# Of the size of the drawing; drawings round their coordinates to six digits or more.
_JOINT_TO_AXIS = 1e-6


class WholeEmitter(Emitter):
    """An emitter that comes in one file with its accelerator and everything around."""

    file: str
    revolved: StrictBool = described(
        "true: the section is turned about the axis; false: it is extruded", "true"
    )
    unit: str | None = None
    axis: Axis = "y"
    names: dict[str, str] = Field(default_factory=dict)
    holder_thickness: None = None  # type: ignore[assignment]
    holder_edge_radius: None = None  # type: ignore[assignment]

    @property
    def noun(self) -> str:
        return "tip" if self.revolved else "edge"

    @property
    def symmetry(self) -> Symmetry:
        return "axisymmetric" if self.revolved else "planar"

    @property
    def whole_file(self) -> str | None:
        return self.file

    def whole_section(
        self,
        accelerator: Accelerator,
        tables: Mapping[str, FloatArray],
        files: Mapping[str, Any],
    ) -> tuple[Section, tuple[Problem, ...]] | None:
        return self.whole(files[self.file])

    def problems(self) -> Iterator[Problem]:
        for own, meant in self.names.items():
            if meant not in (*BOUNDARY_NAMES, EDGE_LAYER, "nothing"):
                yield Problem(
                    "emitter.names",
                    f"'{own}' is given the name '{meant}', but the boundaries are "
                    f"{', '.join(BOUNDARY_NAMES)}; write nothing for what shall be left out",
                )
        if self.unit is not None:
            try:
                read_quantity(f"1 {self.unit}", LENGTH)
            except QuantityError as problem:
                yield Problem("emitter.unit", f"{problem}; write a unit of length such as mm")

    @classmethod
    def read(
        cls, data: bytes, name: str, beside: Callable[[str], bytes] | None = None
    ) -> ImportedFile:
        """What the file holds.

        Parameters
        ----------
        data : bytes
            Its content.
        name : str
            Its name, for messages.
        beside : callable (str) -> bytes, optional
            Content of a further file, where the file names one.

        Raises
        ------
        DesignError
            It cannot be read.
        """
        raise NotImplementedError

    def whole(self, file: ImportedFile) -> tuple[Section, tuple[Problem, ...]]:
        """The section and what looks like a slip.

        Parameters
        ----------
        file : ImportedFile
            From `read`.

        Raises
        ------
        GeometryError
            The file's outlines do not make a section.
        """
        raise NotImplementedError

    def scale(self, stated: float | None, stated_name: str, box: FloatArray) -> float:
        """Metres per unit of the file.

        Parameters
        ----------
        stated : float or None
            What the file itself says, [m].
        stated_name : str
            Its name for that unit.
        box : (2,) array
            Width and height of everything, in the file's unit.

        Raises
        ------
        DesignError
            Neither the file nor the design states a unit.
        """
        if self.unit is not None:
            return read_quantity(f"1 {self.unit}", LENGTH).value
        if stated is not None:
            return stated
        raise DesignError(
            f"{self.file} states no unit: the box is {box[0]:.4g} x {box[1]:.4g}: mm or m? Write "
            'unit = "mm" (or m, um, inch) in [emitter]',
            keys=("emitter.unit",),
        )

    def _unit_remarks(self, stated: float | None, stated_name: str) -> tuple[Problem, ...]:
        if self.unit is None or stated is None:
            return ()
        own = read_quantity(f"1 {self.unit}", LENGTH).value
        if abs(own / stated - 1.0) < 1e-9:
            return ()
        return (
            Problem(
                "emitter.unit",
                f"{self.file} says that it is drawn in {stated_name}; {self.unit} is used, as "
                "written here",
            ),
        )


class DrawnEmitter(WholeEmitter):
    """A section drawn in DXF: the layers are the boundaries of the vacuum.

    `axis` is the direction from the emitter to the accelerator on the drawing.  `names` gives
    layers of other names their meaning.  A point on the layer ``edge`` marks the emitting edge.
    """

    kind: Literal["drawn"]
    file: str = described("drawing of the section, DXF", "gap.dxf")

    @classmethod
    def read(
        cls, data: bytes, name: str, beside: Callable[[str], bytes] | None = None
    ) -> DrawnFile:
        return read_dxf(data, name)

    def whole(self, file: ImportedFile) -> tuple[Section, tuple[Problem, ...]]:
        assert isinstance(file, DrawnFile)
        named, left_out = [], []
        for layer, piece in file.pieces:
            meant = boundary_name(layer, self.names)
            if meant in BOUNDARY_NAMES:
                named.append((meant, piece))
            elif meant is None:
                left_out.append(layer)
        for layer, sort in file.refused:
            if boundary_name(layer, self.names) in BOUNDARY_NAMES:
                raise GeometryError(
                    f"{self.file}: a {sort} on layer {layer} is no line, arc, polyline, ellipse "
                    "or spline; draw it as one of these"
                )
        ignored = tuple(dict.fromkeys(left_out))
        if not named:
            raise GeometryError(
                f"{self.file}: no layer is a boundary; it has {', '.join(ignored)}. Name layers "
                f'{", ".join(BOUNDARY_NAMES)}, or write names = {{ "LAYER" = "emitter" }}'
            )
        ends = np.vstack([piece.places for _, piece in named])
        factor = self.scale(file.unit, file.unit_name, np.ptp(ends, axis=0))
        matrix = factor * np.array(_FRAME[self.axis])
        turned = [(name, piece.moved(matrix, np.zeros(2))) for name, piece in named]
        # The drawn axis is x = 0, wherever it lies on the sheet.
        lines = [p.ends for name, p in turned if name in ("axis", "symmetry")]
        shift = -float(np.array(lines)[..., 0].mean()) if lines else 0.0
        half = self.revolved or any(n == "symmetry" for n, _ in turned)
        points = np.vstack([piece.places for _, piece in turned])
        flip = 1.0
        if half and float((points[:, 0] + shift).max()) <= _JOINT_TO_AXIS * float(np.ptp(points)):
            flip = -1.0
        move = np.array([flip * shift, 0.0])
        turned = [(n, p.moved(np.diag([flip, 1.0]), move)) for n, p in turned]
        hint = ""
        if ignored:
            hint = f"; left out are the layers {', '.join(ignored)}"
        if self.revolved and not lines:
            hint += "; the axis is taken at x = 0 of the sheet, or where the layer axis is drawn"
        closed = closed_loops(turned, axis=self.revolved, half=half, hint=hint)
        required_boundaries(closed.loops, self.symmetry, self.file)
        marked = file.edges @ matrix.T * np.array([flip, 1.0]) + move
        edges = emitting_edges(closed.loops, marked)
        loops, _ = _lifted(closed.loops, self.symmetry, edges[0])
        unit = self.unit or file.unit_name
        notes = [f"The section is that of the drawing {self.file}, drawn in {unit}."]
        if closed.deviation > 0.0:
            notes.append(
                f"Splines and ellipses are redrawn within "
                f"{as_text(float(f'{max(closed.deviation, 1e-13):.2g}'), LENGTH)}."
            )
        if ignored:
            notes.append(f"Layers left out: {', '.join(ignored)}.")
        result = framed(loops, self.symmetry, edges, notes=tuple(notes), key="emitter.file")
        return result, self._unit_remarks(file.unit, file.unit_name)


class MeshedEmitter(WholeEmitter):
    """A section that was meshed elsewhere: named groups of lines are the boundaries.

    The field is computed on the file's own triangles and their subdivisions, or with
    ``anew = true`` on a mesh of conegap's own inside the same outline.
    """

    kind: Literal["meshed"]
    file: str = described("mesh of the section, any format with groups of lines", "gap.msh")
    anew: StrictBool = False

    @classmethod
    def read(cls, data: bytes, name: str, beside: Callable[[str], bytes] | None = None) -> MeshFile:
        return read_mesh(data, name, beside)

    def whole(self, file: ImportedFile) -> tuple[Section, tuple[Problem, ...]]:
        assert isinstance(file, MeshFile)
        groups = {name: boundary_name(name, self.names) for name in file.groups}
        box = np.ptp(file.points, axis=0)
        factor = self.scale(None, "", box)
        points = file.points @ (factor * np.array(_FRAME[self.axis])).T
        outline = meshed_outline(
            replace(file, points=points), groups, symmetry=self.symmetry, where=self.file
        )
        required_boundaries(outline.loops, self.symmetry, self.file)
        edges = emitting_edges(outline.loops, np.empty((0, 2)))
        loops, lift = _lifted(outline.loops, self.symmetry, edges[0])
        own = "conegap's own mesh inside its outline" if self.anew else "its own triangles"
        flips = f", {outline.flips} of their inner edges flipped" if outline.flips else ""
        notes = (
            f"The section is that of the mesh {self.file}, {len(file.triangles)} triangles in "
            f"{self.unit}; smooth curves run through its boundary points.",
            f"The field is computed on {own}{'' if self.anew else flips}.",
        )
        section = framed(loops, self.symmetry, edges, notes=notes, key="emitter.file")
        errors = {e.name: radius_error(outline.loops, outline.mesh, e) for e in edges}
        mesh = None if self.anew else outline.mesh.moved(lift)
        section = replace(section, mesh=mesh, radius_errors=errors)
        return section, ()


class WholeAccelerator(Accelerator):
    """The accelerator of a section that comes in one file with its emitter."""

    kind: Literal["in the emitter's file"] = "in the emitter's file"

    @property
    def noun(self) -> str:
        return "accelerator"


def _lifted(
    loops: tuple[tuple[Boundary, ...], ...], symmetry: Symmetry, edge: EmittingEdge
) -> tuple[tuple[tuple[Boundary, ...], ...], FloatArray]:
    """Outlines moved so that an edge lies at z = 0, and at x = 0 where there is no middle line."""
    spot = loops[edge.loop][edge.index].curve.point([edge.t])[0]
    free = symmetry == "planar" and not any(b.name == "symmetry" for loop in loops for b in loop)
    by = np.array([-float(spot[0]) if free else 0.0, -float(spot[1])])
    lifted = tuple(
        tuple(
            Boundary(b.name, c)
            for b, c in zip(loop, moved([b.curve for b in loop], by[0], by[1]), strict=True)
        )
        for loop in loops
    )
    return lifted, by
