"""Drawings in DXF: named lines, arcs, polylines, ellipses and splines, and the unit they are in."""

from __future__ import annotations

import difflib
import math
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import BOUNDARY_NAMES
from conegap.geometries.imported.drawn_piece import ArcPiece, DrawnPiece, LinePiece, SplinePiece
from conegap.geometries.quantities.errors import DesignError

__all__ = ["EDGE_LAYER", "DrawnFile", "boundary_name", "read_dxf"]

EDGE_LAYER = "edge"
"""Layer whose points mark emitting edges."""

# $INSUNITS: code to metres per unit and the unit's name (Autodesk DXF reference, HEADER section).
_UNITS = {
    1: (0.0254, "inch"),
    2: (0.3048, "foot"),
    4: (1e-3, "mm"),
    5: (1e-2, "cm"),
    6: (1.0, "m"),
    8: (25.4e-9, "microinch"),
    9: (25.4e-6, "mil"),
    11: (1e-10, "angstrom"),
    12: (1e-9, "nm"),
    13: (1e-6, "um"),
    14: (1e-1, "dm"),
}
# An arc that turns by less has no length that the coordinates of a drawing could hold, [rad].
_SMALLEST_SWEEP = 1e-9


@dataclass(frozen=True)
class DrawnFile:
    """What a drawing holds, in its own unit.

    Parameters
    ----------
    pieces : tuple of (str, DrawnPiece)
        Layer and piece.
    edges : (n, 2) array
        Points on the layer `EDGE_LAYER`, drawing units.
    unit : float or None
        Metres per drawing unit where the file states it.
    unit_name : str
        "mm", or "" where the file states none.
    refused : tuple of (str, str)
        Layer and type of entities that cannot be read.
    """

    pieces: tuple[tuple[str, DrawnPiece], ...]
    edges: FloatArray
    unit: float | None
    unit_name: str
    refused: tuple[tuple[str, str], ...] = ()

    @property
    def layers(self) -> tuple[str, ...]:
        """Layers that hold pieces, in the order met."""
        return tuple(dict.fromkeys(layer for layer, _ in self.pieces))


def boundary_name(layer: str, names: Mapping[str, str]) -> str | None:
    """The boundary that a layer or group stands for, or None for one without a meaning here.

    Parameters
    ----------
    layer : str
        As the file spells it; upper and lower case are alike.
    names : mapping of str to str
        The user's own names to boundaries.

    Raises
    ------
    DesignError
        The layer is nearly the name of a boundary, which is a slip.
    """
    for own, meant in names.items():
        if own.lower() == layer.lower():
            return meant
    if layer.lower() in BOUNDARY_NAMES:
        return layer.lower()
    close = difflib.get_close_matches(layer.lower(), BOUNDARY_NAMES, n=1, cutoff=0.8)
    if close:
        raise DesignError(
            f"'{layer}' is no boundary; did you mean '{close[0]}'? Rename it, or write "
            f'names = {{ "{layer}" = "{close[0]}" }}'
        )
    return None


def read_dxf(data: bytes, name: str) -> DrawnFile:
    """The pieces of a drawing.

    Block references are dissolved; layers that are switched off or frozen do not count.

    Parameters
    ----------
    data : bytes
        Content of the file, text or binary DXF.
    name : str
        Its name, for messages.

    Raises
    ------
    DesignError
        No DXF, broken, or without any line.
    """
    from ezdxf.disassemble import recursive_decompose
    from ezdxf.entities.dxfgfx import DXFGraphic
    from ezdxf.upright import upright

    document = _document(data, name)
    pieces: list[tuple[str, DrawnPiece]] = []
    edges: list[tuple[float, float]] = []
    refused: list[tuple[str, str]] = []
    off = {
        layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()
    }
    for entity in recursive_decompose(document.modelspace()):
        if not isinstance(entity, DXFGraphic):
            continue
        layer = str(entity.dxf.layer)
        if layer.lower() in off:
            continue
        upright(entity)
        if entity.dxftype() == "POINT":
            if layer.lower() == EDGE_LAYER:
                edges.append((float(entity.dxf.location.x), float(entity.dxf.location.y)))
            continue
        with np.errstate(all="ignore"):
            found = list(_pieces(entity))
            sound = all(np.isfinite(piece.places).all() for piece in found)
        if not sound:
            raise DesignError(
                f"{name}: a {entity.dxftype()} on layer {layer} has a coordinate that is no finite "
                "number; export the drawing anew"
            )
        if not found:
            refused.append((layer, str(entity.dxftype())))
        pieces += [(layer, piece) for piece in found]
    if not pieces:
        raise DesignError(
            f"{name} holds no line, arc, polyline or spline in its model space; draw the boundary "
            f"of the vacuum on layers named {', '.join(BOUNDARY_NAMES)}"
        )
    unit, unit_name = _UNITS.get(int(document.units), (None, ""))
    return DrawnFile(tuple(pieces), np.array(edges).reshape(-1, 2), unit, unit_name, tuple(refused))


def _document(data: bytes, name: str) -> Any:
    """The drawing as ezdxf reads it strictly: a damaged number must not be guessed."""
    from ezdxf.filemanagement import readfile

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "drawing.dxf"
        place.write_bytes(data)
        try:
            document = readfile(place)
            auditor = document.audit()
        except Exception as problem:  # ezdxf raises many kinds for a file that is cut short
            why = str(problem).replace(str(place), name) or "it ends early"
            raise DesignError(
                f"{name} cannot be read as DXF ({why}); export it anew as DXF, R2000 or later"
            ) from problem
    if auditor.has_errors:
        first = auditor.errors[0].message
        raise DesignError(f"{name} is a damaged DXF file: {first}; export it anew")
    return document


def _pieces(entity: Any) -> Iterator[DrawnPiece]:
    """Pieces of one entity; none for a type that is no curve."""
    kind = entity.dxftype()
    if kind == "LINE":
        first, last = entity.dxf.start, entity.dxf.end
        if (first - last).magnitude > 0.0:
            yield LinePiece((first.x, first.y), (last.x, last.y))
    elif kind == "ARC":
        start = math.radians(entity.dxf.start_angle)
        sweep = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0)
        yield from _arcs(entity.dxf.center, float(entity.dxf.radius), start, sweep or 2 * math.pi)
    elif kind == "CIRCLE":
        yield from _arcs(entity.dxf.center, float(entity.dxf.radius), 0.0, 2.0 * math.pi)
    elif kind == "LWPOLYLINE" or (kind == "POLYLINE" and entity.is_2d_polyline):
        for part in entity.virtual_entities():
            yield from _pieces(part)
    elif kind == "ELLIPSE":
        from ezdxf.math import rational_bspline_from_ellipse

        yield from _spline(rational_bspline_from_ellipse(entity.construction_tool()))
    elif kind == "SPLINE":
        yield from _spline(entity.construction_tool())


def _arcs(centre: Any, radius: float, start: float, sweep: float) -> Iterator[ArcPiece]:
    """Arcs of at most half a turn, so that each is given by its ends and its sweep."""
    if not radius > 0.0 or sweep < _SMALLEST_SWEEP:
        return
    # A little above half a turn still counts as one, so that a half circle keeps its apex inside.
    count = math.ceil(sweep / (1.5 * math.pi))
    for k in range(count):
        first = start + sweep * k / count
        yield ArcPiece((centre.x, centre.y), radius, first, start + sweep * (k + 1) / count)


def _spline(tool: Any) -> Iterator[SplinePiece]:
    control = np.array([(p.x, p.y) for p in tool.control_points], dtype=float)
    weights = np.array(tool.weights() or np.ones(len(control)), dtype=float)
    knots = np.array(tool.knots(), dtype=float)
    degree = int(tool.order) - 1
    if len(control) < 2 or float(np.ptp(control, axis=0).max()) == 0.0:
        return
    whole = SplinePiece(
        knots, control, weights, degree, float(knots[degree]), float(knots[len(control)])
    )
    yield from whole.parts()
