"""The finish of the emitting edge as a callout on its drawing."""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.section import DimensionMark, EmittingEdge, Section
from conegap.geometries.design.design import Design
from conegap.geometries.parts.setting import length_text
from conegap.solver.figures.window import Window, edge_point, surfaces

__all__ = ["EDGES", "edge_finish", "finish_mark"]

EDGES = (".tip_radius", ".lip_radius", ".rim_radius", ".edge_radius")
"""Dimensions that are radii of edges, by the end of their keys."""

# Roughness Rz over the edge's radius: a tenth of it changes the local curvature by as much as the
# tolerances of a lapped edge do (common practice, no source).
_SHARE = 0.1
# Where the leader touches, over the depth of the drawing below the apex, [-].
_DEPTH = 0.35


def edge_finish(design: Design) -> float | None:
    """Greatest roughness Rz of the emitting edge and its metal, None for a sharp one, [m].

    Parameters
    ----------
    design : Design
    """
    radii = [edge.radius for edge in design.section().edges]
    radii += [
        one.value
        for one in design.dimensions()
        if one.key.startswith("emitter.") and one.key.endswith(EDGES)
    ]
    round_ones = [radius for radius in radii if radius > 0.0]
    return float(f"{_SHARE * min(round_ones):.2g}") if round_ones else None


def finish_mark(
    design: Design, section: Section, edge: EmittingEdge, window: Window
) -> DimensionMark | None:
    """A leader to the emitter's metal beside the edge, None where none is seen.

    Parameters
    ----------
    design : Design
    section : Section
        Its section.
    edge : EmittingEdge
    window : Window
        Of the drawing.
    """
    finish = edge_finish(design)
    x, z = edge_point(section, edge)
    level = z - _DEPTH * (z - window.low)
    points = np.vstack(
        [p for name, p in surfaces(section, 513) if name in ("emitter", "liquid")]
        or [np.empty((0, 2))]
    )
    seen = points[(points[:, 0] < x) & (points[:, 0] > window.left) & (points[:, 1] > window.low)]
    if finish is None or not len(seen):
        return None
    spot = seen[int(np.argmin(np.abs(seen[:, 1] - level)))]
    first = (float(spot[0]) + 0.05 * window.width, float(spot[1]) - 0.02 * window.width)
    label = f"Rz ≤ {length_text(finish)}"
    return DimensionMark("finish", label, first, (float(spot[0]), float(spot[1])), "radius")
