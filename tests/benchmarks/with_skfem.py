"""scikit-fem with first- and second-order triangles, the latter curved to the exact boundary."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from scipy.sparse.linalg import splu

from benchmarks.measured import Run, apex
from benchmarks.plain_mesh import PlainMesh, on_curve, plain_mesh
from benchmarks.problems import Problem
from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import Section

__all__ = ["solve"]


def solve(problem: Problem, setting: float, *, order: int) -> Run:
    """Assemble, factorise, and take the gradient along the edge.

    Parameters
    ----------
    setting : float
        Spacing over the usual one, [-].
    order : int
        1 or 2.
    """
    from skfem import Basis, BilinearForm, ElementTriP1, ElementTriP2
    from skfem.helpers import dot, grad

    section = problem.section
    started = time.perf_counter()
    plain = plain_mesh(section, setting)
    meshed = time.perf_counter()
    mesh, facets = _mesh(section, plain, order)
    element = ElementTriP1() if order == 1 else ElementTriP2()
    round_section = section.symmetry == "axisymmetric"

    def stiffness(u: Any, v: Any, w: Any) -> Any:
        return (w.x[0] if round_section else 1.0) * dot(grad(u), grad(v))

    basis = Basis(mesh, element, intorder=2 * order + 1)
    matrix = BilinearForm(stiffness).assemble(basis).tocsc()
    u, free = np.zeros(basis.N), np.ones(basis.N, dtype=bool)
    for name, rows in plain.dirichlet(section).items():
        numbers = basis.get_dofs(facets[rows]).flatten()
        u[numbers] = problem.voltages.get(name, 0.0)
        free[numbers] = False
    inside = np.flatnonzero(free)
    factor = splu(matrix[inside][:, inside], permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                  options={"SymmetricMode": True})  # fmt: skip
    u[inside] = factor.solve(-(matrix @ u)[inside])
    value = _edge_field(problem, plain, mesh, element, facets, u, order)
    ended = time.perf_counter()
    return Run(value, int(basis.N), len(plain.triangles), meshed - started, ended - meshed)


def _mesh(section: Section, plain: PlainMesh, order: int) -> tuple[Any, IntArray]:
    """The mesh in scikit-fem's form, and the number of every boundary edge in it."""
    from skfem import MeshTri, MeshTri2

    flat = MeshTri(np.ascontiguousarray(plain.points.T), np.ascontiguousarray(plain.triangles.T))
    ends = np.sort(plain.edges, axis=1)
    keys = flat.facets[0].astype(np.int64) * len(plain.points) + flat.facets[1]
    sought = ends[:, 0] * len(plain.points) + ends[:, 1]
    sorter = np.argsort(keys)
    facets = sorter[np.searchsorted(keys[sorter], sought)]
    if order == 1:
        return flat, facets
    curved = MeshTri2.from_mesh(flat)
    places = curved.doflocs.copy()
    for loop, index in {tuple(row) for row in plain.owner.tolist()}:
        mine = np.all(plain.owner == (loop, index), axis=1)
        numbers = curved.dofs.facet_dofs[0, facets[mine]]
        curve = section.loops[loop][index].curve
        places[:, numbers] = on_curve(curve, places[:, numbers].T * plain.scale)[0].T / plain.scale
    return MeshTri2(np.ascontiguousarray(places), curved.t), facets


def _edge_field(
    problem: Problem, plain: PlainMesh, mesh: Any, element: Any, facets: IntArray, u: FloatArray,
    order: int,
) -> float:  # fmt: skip
    from skfem import FacetBasis

    edge = problem.section.edges[0]
    curve = problem.section.loops[edge.loop][edge.index].curve
    mine = np.all(plain.owner == (edge.loop, edge.index), axis=1)
    basis = FacetBasis(mesh, element, facets=np.sort(facets[mine]), intorder=max(1, 2 * order - 2))
    gradient = np.asarray(basis.interpolate(u).grad)
    normal = np.asarray(basis.normals)  # into the metal
    field = np.einsum("ijk,ijk->jk", gradient, normal).ravel() / plain.scale
    place = np.asarray(basis.global_coordinates()).reshape(2, -1).T * plain.scale
    _, t = on_curve(curve, place)
    order_along = np.argsort(t)
    speed = float(np.hypot(*curve.derivative(np.array([edge.t]))[0]))
    return apex(t[order_along] * speed, field[order_along], from_middle=curve.start[0] == 0.0)
