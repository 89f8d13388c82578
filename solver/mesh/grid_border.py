"""The spans outside boundary-layer grids: their sides and rims in place of the surface."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.mesh.boundary_grid import BoundaryGrid
from conegap.solver.mesh.span import Span

__all__ = ["insert_grid"]


def insert_grid(loops: list[list[Span]], grid: BoundaryGrid) -> list[list[Span]]:
    """The spans of the region outside a boundary-layer grid.

    The chain's spans are cut away and replaced by the sides and the rim of the boundary-layer
    grid; a line of symmetry that the boundary-layer grid stands on is shortened to the rim.

    Parameters
    ----------
    loops : list of lists of Span

    Returns
    -------
    list of lists of Span
    """
    taken = {b.boundary: b for b in grid.blocks}
    first, last = grid.blocks[0], grid.blocks[-1]
    number = first.boundary[0]
    row = loops[number]
    position = {span.boundary: k for k, span in enumerate(row) if span.boundary in taken}
    start, stop = position[first.boundary], position[last.boundary]
    rotated = row[stop + 1 :] + row[:start] if stop >= start else row[stop + 1 : start]
    t_first = float(first.parameter(0.0))
    t_last = float(last.parameter(float(last.cells)))
    heights = grid.height(np.arange(grid.layers + 1.0))

    new: list[Span] = []
    head, tail = row[start], row[stop]
    if grid.open_ends[0] and t_first > head.first + 1e-9:
        new.append(replace(head, last=t_first))
    if grid.open_ends[0]:
        new.append(_side(grid, 0, 0.0, heights))
    new.extend(_rim(grid, number_of_block) for number_of_block in range(len(grid.blocks)))
    if grid.open_ends[1]:
        new.append(_side(grid, len(grid.blocks) - 1, float(last.cells), heights, inward=True))
    if grid.open_ends[1] and t_last < tail.last - 1e-9:
        new.append(replace(tail, first=t_last))

    rest = list(rotated)
    if not grid.open_ends[0] and rest:
        rest[-1] = _shortened(rest[-1], new[0].point(np.array([0.0]))[0], at_end=True)
    if not grid.open_ends[1] and rest:
        rest[0] = _shortened(rest[0], new[-1].point(np.array([1.0]))[0], at_end=False)
    result = list(loops)
    result[number] = new + rest
    return result


@dataclass(frozen=True)
class _SideLine:
    """Straight side of a boundary-layer grid between the surface and the rim, t in [0, 1]."""

    first: FloatArray
    last: FloatArray

    def point(self, t: FloatArray) -> FloatArray:
        """Points at the parameters t, (n, 2) array, scaled lengths."""
        return np.asarray(self.first + np.asarray(t)[:, None] * (self.last - self.first))


@dataclass(frozen=True)
class _RimLine:
    """Outermost layer of one block of a boundary-layer grid, t in [0, 1]."""

    grid: BoundaryGrid
    block: int

    def point(self, t: FloatArray) -> FloatArray:
        """Points at the parameters t, (n, 2) array, scaled lengths."""
        sigma = np.asarray(t) * self.grid.blocks[self.block].cells
        return self.grid.points(self.block, sigma, np.full_like(sigma, self.grid.layers))


def _side(
    grid: BoundaryGrid, block: int, sigma: float, heights: FloatArray, inward: bool = False
) -> Span:
    """Straight side of a boundary-layer grid as an interior line with fixed divisions."""
    low = grid.points(block, np.array([sigma]), np.array([0.0]))[0]
    high = grid.points(block, np.array([sigma]), np.array([float(grid.layers)]))[0]
    u = heights / heights[-1]
    line = _SideLine(high, low) if inward else _SideLine(low, high)
    divisions = (1.0 - u)[::-1] if inward else u
    return Span(line, 0.0, 1.0, None, straight=True, divisions=divisions)


def _rim(grid: BoundaryGrid, number: int) -> Span:
    """Outer curve of one block as an interior line with fixed divisions."""
    divisions = np.linspace(0.0, 1.0, grid.blocks[number].cells + 1)
    return Span(_RimLine(grid, number), 0.0, 1.0, None, straight=False, divisions=divisions)


def _shortened(span: Span, point: FloatArray, at_end: bool) -> Span:
    """A straight span cut at a point on it."""
    a, b = span.point(np.array([0.0, 1.0]))
    u = float((point - a) @ (b - a) / ((b - a) @ (b - a)))
    t = float(span.parameter(np.array([u]))[0])
    return replace(span, last=t) if at_end else replace(span, first=t)
