"""NGSolve on elements of the same order as the solution, curved to the exact boundary."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from benchmarks.measured import Run, apex
from benchmarks.plain_mesh import PlainMesh, on_curve, plain_mesh
from benchmarks.problems import Problem
from conegap.geometries.curves.curve import Arc

__all__ = ["solve"]

# Order from which inner unknowns are condensed, as the library's manual advises for high orders.
_CONDENSED = 4


def solve(problem: Problem, setting: float, *, order: int) -> Run:
    """Curve, assemble, factorise, and take the gradient along the edge.

    Parameters
    ----------
    setting : float
        Spacing over the usual one, [-].
    order : int
        Of the elements, >= 2; inner unknowns are condensed from the fourth on.
    """
    import ngsolve as ng

    section = problem.section
    started = time.perf_counter()
    plain = plain_mesh(section, setting)
    meshed = time.perf_counter()
    mesh = ng.Mesh(plain.netgen)
    bend = _deformation(problem, plain, mesh, order)
    mesh.SetDeformation(bend)
    dirichlet = {
        f"{loop}_{index}": problem.voltages.get(name, 0.0)
        for name, rows in plain.dirichlet(section).items()
        for loop, index in plain.owner[rows]
    }
    space = ng.H1(mesh, order=order, dirichlet="|".join(dirichlet))
    u, v = space.TnT()
    weight = ng.x if section.symmetry == "axisymmetric" else ng.CF(1.0)
    condense = order >= _CONDENSED
    form = ng.BilinearForm(space, symmetric=True, condense=condense)
    form += weight * ng.grad(u) * ng.grad(v) * ng.dx(bonus_intorder=2)
    form.Assemble()
    found = ng.GridFunction(space)
    found.Set(
        mesh.BoundaryCF(dirichlet, default=0.0), definedon=mesh.Boundaries("|".join(dirichlet))
    )
    right = found.vec.CreateVector()
    right.data = -form.mat * found.vec
    if condense:
        right.data += form.harmonic_extension_trans * right
    inverse = form.mat.Inverse(space.FreeDofs(condense), inverse="sparsecholesky")
    found.vec.data += inverse * right
    if condense:
        found.vec.data += form.harmonic_extension * found.vec
        found.vec.data += form.inner_solve * right
    value = _edge_field(problem, plain, mesh, found, order)
    ended = time.perf_counter()
    return Run(value, int(space.ndof), int(mesh.ne), meshed - started, ended - meshed)


def _deformation(problem: Problem, plain: PlainMesh, mesh: Any, order: int) -> Any:
    """Moves the boundary of the straight triangles onto the exact curves."""
    import ngsolve as ng

    s = plain.scale
    moves: dict[str, Any] = {}
    for loop, row in enumerate(problem.section.loops):
        for index, boundary in enumerate(row):
            conic = problem.conics.get((loop, index))
            curve = boundary.curve
            if isinstance(curve, Arc):
                x, z = ng.x - curve.centre[0] / s, ng.y - curve.centre[1] / s
                stretch = curve.radius / s / ng.sqrt(x * x + z * z) - 1.0
                moves[f"{loop}_{index}"] = ng.CF((stretch * x, stretch * z))
            elif conic is not None and conic[0] == "hyperbola":
                radius, gap = (value / s for value in conic[1])
                exact = gap - gap * ng.sqrt(1.0 + ng.x * ng.x / (gap * radius))
                moves[f"{loop}_{index}"] = ng.CF((0.0, exact - ng.y))
            elif conic is not None:
                centre, wide, tall = (value / s for value in conic[1])
                x, z = ng.x / wide, (ng.y - centre) / tall
                stretch = 1.0 / ng.sqrt(x * x + z * z) - 1.0
                moves[f"{loop}_{index}"] = ng.CF((stretch * ng.x, stretch * (ng.y - centre)))
    space = ng.VectorH1(mesh, order=order)
    bend = ng.GridFunction(space)
    if moves:
        bend.Set(
            mesh.BoundaryCF(moves, default=ng.CF((0.0, 0.0))),
            definedon=mesh.Boundaries("|".join(moves)),
        )
    return bend


def _edge_field(problem: Problem, plain: PlainMesh, mesh: Any, found: Any, order: int) -> float:
    import ngsolve as ng

    edge = problem.section.edges[0]
    curve = problem.section.loops[edge.loop][edge.index].curve
    name = f"{edge.loop}_{edge.index}"
    rule = ng.IntegrationRule(ng.ET.SEGM, max(2, 2 * order - 2))
    spots = mesh.MapToAllElements({ng.ET.SEGM: rule}, mesh.Boundaries(name))
    gradient = ng.BoundaryFromVolumeCF(ng.grad(found))
    slope = np.asarray(gradient(spots)).reshape(-1, 2) / plain.scale
    place = np.column_stack(
        [np.asarray(ng.x(spots)).ravel(), np.asarray(ng.y(spots)).ravel()]
    ) * plain.scale  # fmt: skip
    _, t = on_curve(curve, place)
    # The curve's normal points into the vacuum.
    field = -np.sum(slope * curve.normal(t), axis=1)
    order_along = np.argsort(t)
    speed = float(np.hypot(*curve.derivative(np.array([edge.t]))[0]))
    return apex(t[order_along] * speed, field[order_along], from_middle=curve.start[0] == 0.0)
