"""FiPy as it comes: its own diffusion term on the cells of a triangulation."""

from __future__ import annotations

import time

import numpy as np

from benchmarks.measured import Run, apex
from benchmarks.plain_mesh import on_curve, plain_mesh
from benchmarks.problems import Problem

__all__ = ["solve"]


def solve(problem: Problem, setting: float) -> Run:
    """Solve for the triangles' centres and take the face gradient along the edge.

    Parameters
    ----------
    setting : float
        Spacing over the usual one, [-].
    """
    from fipy import CellVariable, DiffusionTerm, FaceVariable
    from fipy.meshes.mesh2D import Mesh2D
    from fipy.solvers.scipy import LinearLUSolver

    section = problem.section
    started = time.perf_counter()
    plain = plain_mesh(section, setting)
    meshed = time.perf_counter()
    count = len(plain.points)
    sides = np.sort(plain.triangles[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
    keys, inverse = np.unique(sides[:, 0] * count + sides[:, 1], return_inverse=True)
    mesh = Mesh2D(
        vertexCoords=plain.points.T,
        faceVertexIDs=np.stack([keys // count, keys % count]),
        cellFaceIDs=inverse.reshape(-1, 3).T,
    )
    ends = np.sort(plain.edges, axis=1)
    faces = np.searchsorted(keys, ends[:, 0] * count + ends[:, 1])
    potential = CellVariable(mesh=mesh, value=0.0)
    for name, rows in plain.dirichlet(section).items():
        where = np.zeros(mesh.numberOfFaces, dtype=bool)
        where[faces[rows]] = True
        potential.constrain(problem.voltages.get(name, 0.0), where=where)
    weight = FaceVariable(mesh=mesh, value=1.0)
    if section.symmetry == "axisymmetric":
        weight.setValue(mesh.faceCenters[0])
    DiffusionTerm(coeff=weight).solve(var=potential, solver=LinearLUSolver())
    edge = section.edges[0]
    curve = section.loops[edge.loop][edge.index].curve
    mine = faces[np.all(plain.owner == (edge.loop, edge.index), axis=1)]
    slope = np.asarray(potential.faceGrad.value)[:, mine]
    field = np.sum(slope * np.asarray(mesh.faceNormals)[:, mine], axis=0) / plain.scale
    place = np.asarray(mesh.faceCenters.value)[:, mine].T * plain.scale
    _, t = on_curve(curve, place)
    order = np.argsort(t)
    speed = float(np.hypot(*curve.derivative(np.array([edge.t]))[0]))
    value = apex(t[order] * speed, field[order], from_middle=curve.start[0] == 0.0)
    ended = time.perf_counter()
    cells = len(plain.triangles)
    return Run(value, cells, cells, meshed - started, ended - meshed)
