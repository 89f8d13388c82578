"""Points of a mesh along a boundary, in the order of its curves."""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray
from conegap.geometries.curves.section import EmittingEdge, Section
from conegap.solver.mesh.boundary_grid import BoundaryGrid
from conegap.solver.mesh.span import BoundaryIndex
from conegap.solver.mesh.subdivision import FineMesh

__all__ = ["arc_position", "bridged", "curve_nodes", "edge_nodes", "named_nodes", "path_length"]


def curve_nodes(mesh: FineMesh, boundary: BoundaryIndex) -> tuple[IntArray, FloatArray]:
    """Points of one boundary curve in the order of its parameter.

    Parameters
    ----------
    boundary : tuple of int
        (loop, index) in the section.

    Returns
    -------
    (n,) array of int
        Point numbers.
    (n,) array
        Curve parameter of each, [-].
    """
    chains = [chain for chain in mesh.chains if chain.boundary == boundary]
    chains.sort(key=lambda chain: float(chain.parameter[0]))
    nodes = np.concatenate([chains[0].nodes[:1], *(chain.nodes[1:] for chain in chains)])
    t = np.concatenate([chains[0].parameter[:1], *(chain.parameter[1:] for chain in chains)])
    return nodes, t


def named_nodes(section: Section, mesh: FineMesh, name: str, every: int) -> IntArray:
    """Points of all boundaries of a name in order, each joint once, (n,) array.

    Parameters
    ----------
    name : str
        Boundary name.
    every : int
        1 for all points of a curve, 2 for every other one, [-].
    """
    parts: list[IntArray] = []
    for loop, row in enumerate(section.loops):
        for index, boundary in enumerate(row):
            if boundary.name != name:
                continue
            nodes = curve_nodes(mesh, (loop, index))[0][::every]
            continues = bool(parts) and parts[-1][-1] == nodes[0]
            parts.append(nodes[1:] if continues else nodes)
    return np.concatenate(parts)


def edge_nodes(mesh: FineMesh, edge: EmittingEdge, grid: BoundaryGrid | None) -> IntArray:
    """Surface points of an edge's grid, or of its whole curve without one, (n,) array.

    The outermost coarse cell at an open end of the boundary-layer grid is left out: its last point
    shares its control volume with the less regular mesh outside.
    """
    if grid is None:
        return curve_nodes(mesh, (edge.loop, edge.index))[0]
    chain: IntArray | None = None
    for number, block in enumerate(grid.blocks):
        margin = 1.0 if block.cells > 2 else 0.25 * block.cells
        first = margin if grid.open_ends[0] and number == 0 else 0.0
        left_out = grid.open_ends[1] and number == len(grid.blocks) - 1
        last = block.cells - (margin if left_out else 0.0)
        low, high = sorted(float(block.parameter(x)) for x in (first, last))
        nodes, t = curve_nodes(mesh, block.boundary)
        part = nodes[(t >= low - 1e-9) & (t <= high + 1e-9)]
        chain = part if chain is None else np.concatenate([chain, part[part != chain[-1]]])
    assert chain is not None
    return chain


def path_length(points: FloatArray) -> FloatArray:
    """Length along straight pieces from the first point to each, (n,) array, unit of the points.

    Parameters
    ----------
    points : (n, 2) array
    """
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def arc_position(points: FloatArray, place: FloatArray) -> float:
    """Length along straight pieces to the spot nearest to a place, unit of the points.

    Parameters
    ----------
    points : (n, 2) array
    place : (2,) array
    """
    along = np.diff(points, axis=0)
    share = ((place - points[:-1]) * along).sum(axis=1) / (along**2).sum(axis=1)
    share = np.clip(share, 0.0, 1.0)
    distance = np.hypot(*(points[:-1] + share[:, None] * along - place).T)
    k = int(np.argmin(distance))
    return float(path_length(points)[k] + share[k] * np.hypot(*along[k]))


def bridged(points: FloatArray, values: FloatArray, uneven: BoolArray) -> FloatArray:
    """Values along a chain with those at uneven points replaced from their neighbours.

    A cubic through the two points on each side; ends of an open chain, and places where
    neighbours are far apart (another island), stay as they are.

    Parameters
    ----------
    points : (n, 2) array
        In order along the chain.
    values : (n,) array
    uneven : (n,) array of bool
        Points whose own value is not to be trusted.

    Returns
    -------
    (n,) array
        In the unit of the values.
    """
    result = values.copy()
    s = path_length(points)
    last = len(s) - 1
    closed = last > 4 and np.hypot(*(points[0] - points[-1])) <= 1e-9 * s[-1]
    for k in np.nonzero(uneven)[0]:
        others = k + np.array([-2, -1, 1, 2])
        local = s[np.clip(others, 0, last)] - s[k]
        if closed:
            local = s[others % last] + s[-1] * (others // last) - s[k]
            others = others % last
        elif not 2 <= k < last - 1:
            continue
        if np.any(uneven[others]) or np.ptp(local) > 8.0 * np.min(np.abs(local)):
            continue
        weights = [
            np.prod([-b / (a - b) for j, b in enumerate(local) if j != i])
            for i, a in enumerate(local)
        ]
        result[k] = float(np.array(weights) @ values[others])
    return result
