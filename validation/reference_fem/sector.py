"""An independent solution in three dimensions by finite elements.

Quadratic elements on quadratically curved tetrahedra (scikit-fem), on a mesh of its own with its
own sizes; the normal field on a conductor from the residual of the Dirichlet unknowns and the mass
matrix of its surface.  The crown is built here from the numbers of the drawing, its tip resolved
in the one mesh, so that nothing but those numbers is shared with the solver under test.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from conegap.geometries.accelerators.annular_slot import AnnularSlot
from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.quantities.errors import ConvergenceError
from conegap.validation.exact.cap_moments import cap_field
from conegap.validation.reference_fem.plane import require_skfem

__all__ = ["FiniteElementSector", "crown_field", "crown_shape", "solve_shape"]

# Of the residual, far below the error of the elements.
_TOLERANCE = 1e-10
# Of conjugate gradients.
_MOST_STEPS = 300
# Unit of the shapes, [m].
_MILLIMETRE = 1e-3
# Largest element, [mm].
_COARSEST = 4.0
# Distance below which ends of curves are one point, [mm].
_LEAST = 1e-9
# Rounds in which elements folded by their curved edges are made straight, with their neighbours.
_MOST_STRAIGHTENED = 5


@dataclass(frozen=True)
class FiniteElementSector:
    """Flux into one conductor of a shape.

    Parameters
    ----------
    points : (n, 3) array
        Places of the unknowns on the conductor, [length unit of the shape].
    flux : (n,) array
        Residual of each: the normal field, outward from the metal, times the unknown's own shape
        function, integrated over the surface, [V length unit].
    unknowns : int
        Of the whole system.
    """

    points: FloatArray
    flux: FloatArray
    unknowns: int

    def at_apex(self, place: tuple[float, float, float], radius: float) -> float:
        """Field at the apex of a ball's cap that is halved by the plane y = 0, [V/length unit].

        Parameters
        ----------
        place : tuple of float
            The apex, [length unit].
        radius : float
            Of the ball, [length unit].
        """
        return cap_field(self.points, self.flux, place, radius, mirrors=1)


def _rounded_box(inner: float, outer: float, low: float, high: float, rounding: Any) -> Any:
    """Plane face in (x, z) with the roundings of its four corners."""
    from netgen import occ

    # corners counterclockwise from (inner, low), with the radius of each
    corners = [(inner, low), (outer, low), (outer, high), (inner, high)]
    edges, marks = [], []
    for k, (x, z) in enumerate(corners):
        before, after = corners[k - 1], corners[(k + 1) % 4]
        r = rounding[k]
        back = (np.sign(before[0] - x), np.sign(before[1] - z))
        on = (np.sign(after[0] - x), np.sign(after[1] - z))
        start = (x + r * back[0], z + r * back[1])
        end = (x + r * on[0], z + r * on[1])
        part = r * (1.0 - math.sqrt(0.5))
        middle = (x + part * (back[0] + on[0]), z + part * (back[1] + on[1]))
        marks.append((start, middle, end, r))
    for k, (start, middle, end, r) in enumerate(marks):
        if r > 0.0:
            bend = (occ.gp_Pnt(x, 0.0, z) for x, z in (start, middle, end))
            edges.append(occ.ArcOfCircle(*bend))
        following = marks[(k + 1) % 4][0]
        if math.dist(end, following) > _LEAST:
            ends = (occ.gp_Pnt(x, 0.0, z) for x, z in (end, following))
            edges.append(occ.Segment(*ends))
    return occ.Face(occ.Wire(edges))


def crown_shape(design: Design, size: float) -> Any:
    """Vacuum of half a pitch of a crown before an annular slot, from the drawing's numbers.

    Parameters
    ----------
    design : Design
        Its emitter a crown, its accelerator an annular slot with equal edges and no bevel.
    size : float
        Edge of the elements on the tip's cap over its radius, [-].

    Returns
    -------
    TopoDS_Shape
        In millimetres; faces are named "emitter", "tip", "accelerator" and "chamber".
    """
    from netgen import occ

    crown, slot, room = design.emitter, design.accelerator, design.room()
    assert isinstance(crown, Crown)
    assert isinstance(slot, AnnularSlot)
    unit = 1.0 / _MILLIMETRE
    film = design.liquid.film_thickness * unit
    ring, half = crown.pitch_radius * unit, 0.5 * crown.body_width * unit
    tall, thick = crown.tip_height * unit, crown.holder_thickness * unit
    gap, deep = design.gap * unit, slot.thickness * unit
    floor, top = -tall - thick, gap + deep + room.length * unit
    degrees = 180.0 / crown.tips
    axis = occ.Axis((0.0, 0.0, 0.0), occ.Z)

    def revolved(face: Any, name: str) -> Any:
        body = face.Revolve(axis, 360.0)
        body.faces.name = name
        return body

    wide = room.half_width * unit
    vacuum = _rounded_box(0.0, wide, floor, top, (0.0,) * 4).Revolve(axis, degrees)
    for face in vacuum.faces:
        turned = face.center.y * math.cos(math.radians(degrees)) - face.center.x * math.sin(
            math.radians(degrees)
        )
        plane = abs(face.center.y) < 1e-9 or abs(turned) < 1e-9
        low = abs(face.center.z - floor) < 1e-9
        face.name = "mirror" if plane or low else "chamber"
    edge = crown.holder_edge_radius * unit
    body = _rounded_box(ring - half, ring + half, floor - thick, -tall, (0.0, 0.0, edge, edge))
    vacuum = vacuum - revolved(body, "emitter")
    inner = 0.5 * (slot.mean_diameter - slot.slot_width) * unit
    outer = 0.5 * (slot.mean_diameter + slot.slot_width) * unit
    end, bend = slot.half_width * unit, slot.edge_radius * unit
    rim = slot.outer_edge_radius * unit
    disc = _rounded_box(0.0, inner, gap, gap + deep, (0.0, bend, bend, 0.0))
    plate = _rounded_box(outer, end, gap, gap + deep, (bend, rim, rim, bend))
    vacuum = vacuum - revolved(disc, "accelerator") - revolved(plate, "accelerator")
    # a ball and a cone in place of the outline that the solver sweeps
    r, a = (crown.tip_radius * unit) + film, crown.half_angle
    centre = film - r
    rise = centre + r * math.sin(a)
    depth = rise + tall + 0.1 * tall
    foot = r * math.cos(a) + depth * math.tan(a)
    cone = occ.Cone(
        occ.gp_Ax2(occ.gp_Pnt(ring, 0.0, rise), occ.gp_Dir(0.0, 0.0, -1.0)),
        r * math.cos(a),
        foot,
        depth,
        2.0 * math.pi,
    )
    ball = occ.Sphere((ring, 0.0, centre), r)
    ball.faces.name = "tip"
    ball.faces.maxh = size * r
    cone.faces.name = "tip"
    return vacuum - (ball + cone)


def _curved_mesh(shape: Any, coarsest: float) -> Any:
    """Quadratic mesh of a shape: scikit-fem mesh, facet numbers and their names."""
    import skfem
    from netgen.occ import OCCGeometry

    mesh = OCCGeometry(shape).GenerateMesh(
        maxh=coarsest,
        grading=0.3,
        curvaturesafety=2.0,  # two edges per radius of curvature
    )
    mesh.SecondOrder()
    points = np.array(mesh.Coordinates(), dtype=float)
    solid = mesh.Elements3D().NumPy()["nodes"][:, :10].astype(np.int64) - 1
    corners = solid[:, :4]
    used, renumbered = np.unique(corners, return_inverse=True)
    straight = skfem.MeshTet(points[used].T, renumbered.reshape(corners.shape).T)
    curved = skfem.MeshTet2.from_mesh(straight)
    number = np.full(len(points), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    count = np.int64(len(used))
    edges = np.sort(straight.edges, axis=0)
    keys = edges[0] * count + edges[1]
    order = np.argsort(keys)
    places = curved.doflocs.copy()
    pairs = ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))
    for column, (i, j) in enumerate(pairs, start=4):
        ends = np.sort(np.stack([number[solid[:, i]], number[solid[:, j]]]), axis=0)
        found = order[np.searchsorted(keys[order], ends[0] * count + ends[1])]
        places[:, len(used) + found] = points[solid[:, column]].T
    straight_places = curved.doflocs
    for _ in range(_MOST_STRAIGHTENED):
        curved = skfem.MeshTet2(places, curved.t)
        bent = _folded(curved)
        if not bent.any():
            break
        # an element that its curved edges fold is made straight, and with it those on its edges
        bad = len(used) + np.unique(straight.t2e[:, bent])
        places[:, bad] = straight_places[:, bad]
    surface = mesh.Elements2D().NumPy()
    names = np.array([d.bcname for d in mesh.FaceDescriptors()], dtype=str)
    triples = np.sort(number[surface["nodes"][:, :3].astype(np.int64) - 1], axis=1)
    facets = np.sort(straight.facets, axis=0)
    code = (facets[0] * count + facets[1]) * count + facets[2]
    sorted_codes = np.argsort(code)
    wanted = (triples[:, 0] * count + triples[:, 1]) * count + triples[:, 2]
    which = sorted_codes[np.searchsorted(code[sorted_codes], wanted)]
    return curved, which, names[surface["index"].astype(np.int64) - 1]


def _folded(mesh: Any) -> Any:
    """Which elements of a curved mesh turn inside out somewhere, (n,) array of bool."""
    corners = np.array([[0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=float)
    middles = np.array(
        [[0.5, 0.5, 0.0, 0.0, 0.5, 0.0], [0, 0.5, 0.5, 0, 0, 0.5], [0, 0, 0, 0.5, 0.5, 0.5]]
    )
    turn = mesh.mapping().detDF(np.hstack([corners, middles]))
    ratio = turn / np.max(np.abs(turn), axis=1)[:, None]
    return ratio.min(axis=1) * ratio.max(axis=1) < 0.0


def solve_shape(
    shape: Any,
    voltages: Mapping[str, float],
    wanted: tuple[str, ...],
    *,
    coarsest: float,
) -> FiniteElementSector:
    """Solve Laplace's equation in a shape with named faces; unnamed ones carry no flux.

    Parameters
    ----------
    shape : TopoDS_Shape
    voltages : mapping
        Of the Dirichlet faces, by name, [V].
    wanted : tuple of str
        Faces that make up the conductor whose field is wanted.
    coarsest : float
        Largest edge, [length unit].

    Raises
    ------
    ComputationError
        scikit-fem is not installed.
    ConvergenceError
        The linear system is not solved.
    """
    require_skfem()
    import skfem
    from skfem.models.poisson import laplace

    mesh, facets, names = _curved_mesh(shape, coarsest)
    basis = skfem.Basis(mesh, skfem.ElementTetP2(), intorder=4)
    matrix = laplace.assemble(basis).tocsr()
    potential = np.zeros(basis.N)
    dirichlet = np.zeros(basis.N, dtype=bool)
    for name, voltage in voltages.items():
        on = basis.get_dofs(facets[names == name]).all()
        potential[on] = voltage
        dirichlet[on] = True
    free = np.nonzero(~dirichlet)[0]
    potential[free] = _conjugate_gradients(matrix[free][:, free], -(matrix @ potential)[free])
    on = basis.get_dofs(facets[np.isin(names, wanted)]).all()
    return FiniteElementSector(basis.doflocs[:, on].T, (matrix @ potential)[on], basis.N)


def _conjugate_gradients(matrix: Any, source: NDArray[np.float64]) -> NDArray[np.float64]:
    import pyamg

    steps: list[float] = []
    found = pyamg.smoothed_aggregation_solver(matrix, max_coarse=50).solve(
        source, tol=_TOLERANCE, maxiter=_MOST_STEPS, accel="cg", residuals=steps
    )
    left = float(np.linalg.norm(source - matrix @ found) / np.linalg.norm(source))
    if not left <= 10.0 * _TOLERANCE:
        raise ConvergenceError(
            "the finite-element system did not converge",
            residual=left,
            tolerance=10.0 * _TOLERANCE,
        )
    return np.asarray(found)


def crown_field(design: Design, size: float) -> float:
    """Field at a tip of a crown per volt between emitter and accelerator, [1/m].

    Parameters
    ----------
    design : Design
        As for `crown_shape`; its voltages are taken in their proportion.
    size : float
        Edge of the elements on the tip's cap over its radius, [-].
    """
    voltages = {
        "emitter": design.voltages.emitter / design.voltage,
        "tip": design.voltages.emitter / design.voltage,
        "accelerator": design.voltages.accelerator / design.voltage,
        "chamber": 0.0,
    }
    shape = crown_shape(design, size)
    solution = solve_shape(shape, voltages, ("tip",), coarsest=_COARSEST)
    film = design.liquid.film_thickness
    place = (design.emitter.tip_places()[0][0] / _MILLIMETRE, 0.0, film / _MILLIMETRE)
    radius = (design.dimension("emitter.tip_radius").value + film) / _MILLIMETRE
    return solution.at_apex(place, radius) / _MILLIMETRE
