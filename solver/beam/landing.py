"""Where on the boundaries of a section paths end, and how they meet them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from conegap.geometries.curves.curve import Curve, FloatArray, IntArray
from conegap.geometries.curves.section import Section
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.mesh.boundary_walk import arc_lengths
from conegap.solver.mesh.span import BoundaryIndex

__all__ = ["Landing", "arc_origin", "landings"]

# Boundary edges near a path's end that are compared; several boundaries meet at a corner.
_CANDIDATES = 16
# Of the arc length along a curve, by Simpson's rule.
_SAMPLES = 257


@dataclass(frozen=True)
class Landing:
    """The end of a path on a boundary.

    Parameters
    ----------
    name : str
        Name of the boundary: "accelerator", "chamber" and so on.
    boundary : tuple of int
        (loop, index) in the section.
    position : tuple of float
        (x, z), x negative on the mirrored half, [m].
    arc_length : float
        From the first point of the run of equally named curves of that outline, in their
        direction (vacuum on the left), [m].
    angle : float
        Between the velocity and the inward normal; 0 is a square hit, [rad].
    """

    name: str
    boundary: BoundaryIndex
    position: tuple[float, float]
    arc_length: float
    angle: float


def arc_origin(section: Section, boundary: BoundaryIndex) -> int:
    """Index of the curve at which the arc length of a boundary starts.

    Parameters
    ----------
    boundary : tuple of int
        (loop, index).
    """
    loop = section.loops[boundary[0]]
    first = boundary[1]
    while (first - 1) % len(loop) != boundary[1] and first > 0:
        if loop[first - 1].name != loop[boundary[1]].name:
            break
        first -= 1
    return first


def landings(field: FieldAtPoints, points: FloatArray, velocities: FloatArray) -> list[Landing]:
    """The boundary nearest to each point, and how a velocity meets it.

    Parameters
    ----------
    points : (n, 2) array
        On boundaries of the mesh, scaled; x negative on the mirrored half.
    velocities : (n, 2) array
        Any unit.
    """
    section, mesh = field.section, field.mesh
    first, last, chain_of, slot = _segments(field)
    start, along = mesh.points[first], mesh.points[last] - mesh.points[first]
    tree = cKDTree(start + 0.5 * along)
    flip = np.where((points[:, 0] < 0.0) & field.mirrored, -1.0, 1.0)
    here = points * np.stack([flip, np.ones(len(points))], axis=1)
    near = np.asarray(tree.query(here, k=min(_CANDIDATES, len(first)))[1], dtype=np.int64)
    offset = here[:, None] - start[near]
    share = np.sum(offset * along[near], axis=2) / np.sum(along[near] ** 2, axis=2)
    share = np.clip(share, 0.0, 1.0)
    away = np.hypot(*np.moveaxis(offset - share[..., None] * along[near], 2, 0))
    best = np.argmin(away, axis=1)
    tables: dict[BoundaryIndex, _Table] = {}
    found = []
    for row, (place, way) in enumerate(zip(points, velocities, strict=True)):
        segment = int(near[row, best[row]])
        chain = mesh.chains[int(chain_of[segment])]
        k = int(slot[segment])
        ta, tb = float(chain.parameter[k]), float(chain.parameter[k + 1])
        t = ta + (tb - ta) * float(share[row, best[row]])
        table = tables.setdefault(chain.boundary, _Table.of(section, chain.boundary))
        normal = table.curve.normal(np.array([t]))[0]
        inward = -(way[0] * flip[row] * normal[0] + way[1] * normal[1])
        angle = math.acos(min(max(inward / max(math.hypot(*way), 1e-300), -1.0), 1.0))
        found.append(
            Landing(
                name=section.loops[chain.boundary[0]][chain.boundary[1]].name,
                boundary=chain.boundary,
                position=(float(place[0]) * field.scale, float(place[1]) * field.scale),
                arc_length=table.before + float(np.interp(t, table.t, table.s)),
                angle=angle,
            )
        )
    return found


@dataclass(frozen=True)
class _Table:
    """Arc length s over the parameter t of a curve, and the length of the curves before it."""

    curve: Curve
    t: FloatArray
    s: FloatArray
    before: float

    @classmethod
    def of(cls, section: Section, boundary: BoundaryIndex) -> _Table:
        loop = section.loops[boundary[0]]
        curve = loop[boundary[1]].curve
        t = np.linspace(0.0, 1.0, _SAMPLES)
        before = sum(b.curve.length for b in loop[arc_origin(section, boundary) : boundary[1]])
        return cls(curve, t, arc_lengths(curve, 1.0, t), before)


def _segments(field: FieldAtPoints) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """First and last point, chain and place in it of every segment of the boundaries.

    Axis and lines of symmetry are left out: no path ends there.
    """
    section = field.section
    first, last, chain_of, slot = [], [], [], []
    for number, chain in enumerate(field.mesh.chains):
        name = section.loops[chain.boundary[0]][chain.boundary[1]].name
        if field.mirrored and name in ("axis", "symmetry"):
            continue
        count = len(chain.nodes) - 1
        first.append(chain.nodes[:-1])
        last.append(chain.nodes[1:])
        chain_of.append(np.full(count, number))
        slot.append(np.arange(count))
    return (
        np.concatenate(first),
        np.concatenate(last),
        np.concatenate(chain_of),
        np.concatenate(slot),
    )
