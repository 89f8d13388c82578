"""An independent solution of a section by high-order finite elements.

Fourth-order elements on quadratically curved triangles (scikit-fem), its own boundary division,
the edge field from the gradient along the boundary by a local polynomial, charges from the
residual of the Dirichlet unknowns.  Nothing but the section is shared with the solver under test.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.constants import epsilon_0
from scipy.sparse.linalg import splu

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.geometries.curves.section import EmittingEdge, Section, electrode_of
from conegap.geometries.quantities.errors import ComputationError
from conegap.validation.reference_fem.plane_mesh import CurvedTriangles, curved_triangles

__all__ = ["FiniteElementResult", "solve_finite_element"]

_SAFETY = 2.0  # the change from a mesh 1.6 times coarser can be less than the error left

Prescribed = Mapping[str, Callable[[FloatArray], FloatArray]]


@dataclass(frozen=True)
class FiniteElementResult:
    """Field and charges of a section at given voltages.

    Parameters
    ----------
    edge_fields : mapping
        Outward normal field of greatest magnitude on each emitting edge, [V/m].
    charges : mapping
        Charge of each electrode (and "outer" where prescribed), mirrored halves counted twice,
        [C] or [C/m].
    energy : float
        [J] or [J/m].
    error : float
        Twice the largest relative change of an edge field or charge from a coarser mesh, [-].
    unknowns : int
    seconds : float
    """

    edge_fields: Mapping[str, float]
    charges: Mapping[str, float]
    energy: float
    error: float
    unknowns: int
    seconds: float


def require_skfem() -> None:
    """Refuse where scikit-fem is not installed."""
    try:
        import skfem  # noqa: F401
    except ImportError as err:
        raise ComputationError(
            "the independent finite-element check needs scikit-fem, which is not installed; "
            "install conegap with its test extra: pip install 'conegap[test]'",
            cause="missing library",
        ) from err


@dataclass(frozen=True)
class _Solved:
    edge_fields: dict[str, float]
    charges: dict[str, float]
    energy: float
    unknowns: int


def _dirichlet(
    section: Section, triangles: CurvedTriangles, basis: Any, prescribed: Prescribed
) -> list[tuple[str, IntArray, FloatArray]]:
    """Dirichlet unknowns and unit values per electrode name."""
    groups: dict[str, list[int]] = {}
    for row, (loop, index) in enumerate(triangles.owner):
        boundary = section.loops[loop][index].name
        name = boundary if boundary in prescribed else electrode_of(boundary)
        if name is not None:
            groups.setdefault(name, []).append(int(triangles.facets[row]))
    order = [*section.electrodes, *prescribed]
    taken = np.zeros(basis.N, dtype=bool)
    found = []
    for name in order:
        numbers = basis.get_dofs(np.unique(groups[name])).flatten()
        numbers = numbers[~taken[numbers]]
        taken[numbers] = True
        values = np.ones(len(numbers))
        if name in prescribed:
            values = prescribed[name](basis.doflocs[:, numbers].T * triangles.scale)
        found.append((name, numbers, values))
    return found


def _solve(
    section: Section, voltages: Mapping[str, float], prescribed: Prescribed, fineness: float
) -> _Solved:
    from skfem import Basis, BilinearForm, ElementTriP4
    from skfem.helpers import dot, grad

    triangles = curved_triangles(section, fineness)
    axisymmetric = section.symmetry == "axisymmetric"

    def stiffness(u: Any, v: Any, w: Any) -> Any:
        weight = w.x[0] if axisymmetric else 1.0
        return weight * dot(grad(u), grad(v))

    basis = Basis(triangles.mesh, ElementTriP4(), intorder=9)
    matrix = BilinearForm(stiffness).assemble(basis).tocsc()
    dirichlet = _dirichlet(section, triangles, basis, prescribed)
    u = np.zeros(basis.N)
    free = np.ones(basis.N, dtype=bool)
    for name, numbers, values in dirichlet:
        u[numbers] = voltages.get(name, 0.0) * values
        free[numbers] = False
    inside = np.flatnonzero(free)
    right = -(matrix @ u)[inside]
    u[inside] = splu(matrix[inside][:, inside]).solve(right)
    residual = matrix @ u
    unit = epsilon_0 * (2.0 if section.mirrored and not axisymmetric else 1.0)
    if axisymmetric:
        unit *= 2.0 * math.pi * triangles.scale
    return _Solved(
        {e.name: _edge_field(section, e, triangles, u) for e in section.edges if e.radius > 0.0},
        {name: unit * float(residual[numbers].sum()) for name, numbers, _ in dirichlet},
        0.5 * unit * float(u @ residual),
        basis.N,
    )


def _edge_field(
    section: Section, edge: EmittingEdge, triangles: CurvedTriangles, u: FloatArray
) -> float:
    """Outward field of greatest magnitude along an edge's curve, [V/m]."""
    from skfem import ElementTriP4, FacetBasis

    rows = triangles.on(edge.loop, edge.index)
    facets = triangles.facets[rows]
    order = np.argsort(facets)
    basis = FacetBasis(triangles.mesh, ElementTriP4(), facets=facets[order], intorder=8)
    gradient = np.asarray(basis.interpolate(u).grad)
    normal = np.asarray(basis.normals)  # out of the vacuum, into the metal
    field = np.einsum("ijk,ijk->jk", gradient, normal) / triangles.scale
    place = np.asarray(basis.global_coordinates())
    back = np.argsort(order)
    field, place = field[back], place[:, back]
    curve = section.loops[edge.loop][edge.index].curve
    s_all, f_all, length = [], [], 0.0
    for k, row in enumerate(rows):
        a, b = curve.point(triangles.parameter[row]) / triangles.scale
        along = (place[:, k].T - a) @ (b - a) / ((b - a) @ (b - a))
        chord = float(np.hypot(*(b - a)))
        inner = np.argsort(along)
        s_all.append(length + chord * along[inner])
        f_all.append(field[k][inner])
        length += chord
    s, f = np.concatenate(s_all), np.concatenate(f_all)
    return _greatest(s, f, length, curve.start[0] == 0.0, curve.end[0] == 0.0)


def _greatest(s: FloatArray, f: FloatArray, length: float, low: bool, high: bool) -> float:
    """Value of greatest magnitude by a local polynomial; mirrored at ends on the axis."""
    if low:
        s, f = np.concatenate([-s[::-1], s]), np.concatenate([f[::-1], f])
    if high:
        s, f = np.concatenate([s, 2.0 * length - s[::-1]]), np.concatenate([f, f[::-1]])
    peak = int(np.argmax(np.abs(f)))
    some = slice(max(0, peak - 12), peak + 13)
    fit = np.polynomial.Polynomial.fit(s[some], f[some], 6)
    fine = np.linspace(s[some][0], s[some][-1], 2001)
    values = fit(fine)
    return float(values[int(np.argmax(np.abs(values)))])


def solve_finite_element(
    section: Section,
    voltages: Mapping[str, float],
    *,
    prescribed: Prescribed | None = None,
    fineness: float = 0.5,
) -> FiniteElementResult:
    """Solve a section on two meshes and return the finer, with an error from the change.

    Parameters
    ----------
    voltages : mapping
        Potential of each electrode, missing ones at 0, [V]; "outer" scales prescribed data.
    prescribed : mapping or None
        Boundary name to a function of points, (n, 2) array [m], that gives the potential there,
        (n,) array [V].
    fineness : float
        Spacing of the finer mesh over the usual one, [-].

    Raises
    ------
    ComputationError
        scikit-fem is not installed.
    MeshError
        The section could not be meshed.
    """
    require_skfem()
    started = time.perf_counter()
    data = dict(prescribed or {})
    coarse = _solve(section, voltages, data, 1.6 * fineness)
    fine = _solve(section, voltages, data, fineness)
    pairs = [(fine.edge_fields[k], coarse.edge_fields[k]) for k in fine.edge_fields]
    if not data:  # the joint of an electrode and prescribed data has no charge of its own
        pairs += [(fine.charges[k], coarse.charges[k]) for k in fine.charges]
    error = _SAFETY * max((abs(a - b) / abs(a) for a, b in pairs if a != 0.0), default=0.0)
    return FiniteElementResult(
        fine.edge_fields,
        fine.charges,
        fine.energy,
        error,
        fine.unknowns,
        time.perf_counter() - started,
    )
