"""The field at the apex of an emitting edge: how great, where, on what curvature."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import EmittingEdge, Section
from conegap.geometries.quantities.errors import SharpEdgeError
from conegap.solver.field.extrapolation import Estimate
from conegap.solver.mesh.boundary_grid import BoundaryGrid
from conegap.solver.mesh.surface_chain import path_length

__all__ = ["EdgeField", "apex_of", "curvature_at", "refuse_sharp"]


@dataclass(frozen=True)
class EdgeField(Estimate):
    """Field at the apex of an emitting edge, [V/m], with where it is.

    Parameters
    ----------
    value, error, order, extrapolated, level_sizes, level_values
        See `Estimate`.
    name : str
        Of the edge.
    position : tuple of float
        Where the field is greatest, (x, z), [m].
    curvature : float
        Mean of the principal curvatures times two at that place, positive for a convex
        conductor, [1/m].
    at_border : bool
        The field still rises at the end of the edge: another place is stronger.
    """

    name: str
    position: tuple[float, float]
    curvature: float
    at_border: bool


def apex_of(
    points: FloatArray, field: FloatArray, edge: EmittingEdge, scale: float
) -> tuple[float, FloatArray, bool]:
    """Greatest value along a chain by a local polynomial, its place, and whether at its end.

    Parameters
    ----------
    points : (n, 2) array
        Points of the edge in order, [m].
    field : (n,) array
        Field there, [V/m].
    scale : float
        Length unit of the mesh, [m].

    Returns
    -------
    float
        Greatest field; on an edge without radius the field at its corner, [V/m].
    (2,) array
        Place, [m].
    bool
        The field still rises at the end of the chain, off the axis.
    """
    if edge.radius <= 0.0:
        corner = 0 if edge.t < 0.5 else len(points) - 1
        return float(field[corner]), points[corner], False
    k = int(np.argmax(field))
    if k in (0, len(points) - 1):
        on_axis = abs(points[k, 0]) <= 1e-9 * scale * max(1.0, edge.radius / scale)
        return float(field[k]), points[k], not on_axis
    s = path_length(points)
    low = max(0, min(k - 2, len(points) - 5))
    some = slice(low, low + 5) if len(points) >= 5 else slice(0, len(points))
    local = (s[some] - s[k]) / (s[some][-1] - s[some][0])
    polynomial = np.polynomial.Polynomial.fit(local, field[some], len(local) - 1)
    roots = polynomial.deriv().roots()
    real = roots[np.abs(roots.imag) < 1e-9].real
    inside = real[(real >= local[0]) & (real <= local[-1])]
    candidates = np.append(inside, 0.0)
    best = candidates[int(np.argmax(polynomial(candidates)))]
    where = s[k] + best * (s[some][-1] - s[some][0])
    place = np.array([np.interp(where, s, points[:, i]) for i in range(2)])
    return float(polynomial(best)), place, False


def curvature_at(
    section: Section, edge: EmittingEdge, grid: BoundaryGrid | None, position: FloatArray
) -> float:
    """Sum of the principal curvatures of the boundary at the place nearest a position, [1/m].

    Parameters
    ----------
    grid : BoundaryGrid or None
        Its curves are searched; the edge's own curve without one.
    position : (2,) array
        [m].
    """
    boundaries = [(edge.loop, edge.index)]
    if grid is not None:
        boundaries = [block.boundary for block in grid.blocks]
    best, result = math.inf, math.nan
    for loop, index in boundaries:
        curve = section.loops[loop][index].curve
        t = np.linspace(0.0, 1.0, 4001)
        distance = np.hypot(*(curve.point(t) - position).T)
        k = int(np.argmin(distance))
        # The edge's own curve wins ties at the joints.
        bias = 0.0 if index == edge.index else 1e-6 * edge.radius
        if distance[k] + bias < best:
            best = float(distance[k]) + bias
            at = np.array([t[k]])
            plane = -float(curve.curvature(at)[0])
            result = plane
            if section.symmetry == "axisymmetric":
                r = float(curve.point(at)[0, 0])
                normal_r = float(curve.normal(at)[0, 0])
                on_axis = r <= 1e-4 * edge.radius
                result = plane + (plane if on_axis else normal_r / r)
    return result


def refuse_sharp(edge: EmittingEdge, values: list[float]) -> None:
    """Refuse an edge without a radius, and say how its field grows.

    Parameters
    ----------
    values : list of float
        Field at the corner on every mesh, [V/m].

    Raises
    ------
    SharpEdgeError
        Always.
    """
    growth = math.log2(abs(values[-1] / values[-2]))
    raise SharpEdgeError(
        f"edge '{edge.name}' has no radius: its field grows by the factor "
        f"{2.0**growth:.3f} at every halving of the mesh (as spacing to the power "
        f"{-growth:.3f}) and has no limit; give it a real radius, such as 1 um"
    )
