"""A beam in its own charge against an independent finite-element and particle computation."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge, epsilon_0
from scipy.interpolate import RectBivariateSpline

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.field.solution import solve_field
from conegap.solver.mesh.spacing import SpacingRule
from conegap.validation.sections.beams import strip_flow
from conegap.validation.sections.polygon import polygon

skfem = pytest.importorskip("skfem")
helpers = pytest.importorskip("skfem.helpers")

# A strip beam of half width 0.5 between plates 1 apart, in a box of half width 2, mirrored about
# x = 0; ions enter with a tenth of the energy. Lengths in mm, any ion and any voltage.
UNIT, MASS, VOLTS = 1e-3, 2.2e-25, 5e3
WIDE, BOX, FIRST = 0.5, 2.0, 0.1
# What Child's law allows without that energy.
CHILD = 4.0 / 9.0 * epsilon_0 * math.sqrt(2.0 * elementary_charge / MASS) * VOLTS**1.5 / UNIT**2
CURRENT = CHILD * 2.0 * WIDE * UNIT


def finite_elements(cells: int, rays: int) -> tuple[FloatArray, FloatArray, float]:
    """Ends and end angles of the rays, and the greatest rise of the potential, [mm], [rad], [V].

    Quadratic elements on a regular mesh of triangles, a spline through their values, rays by
    steps of constant time (Verlet), charge in the load vector at the end of every step.  Lengths
    in mm, speeds over that of the whole voltage, potentials in volts.
    """
    mesh = skfem.MeshTri.init_tensor(
        np.linspace(0.0, BOX, 2 * cells + 1), np.linspace(0.0, 1.0, cells + 1)
    )
    basis = skfem.Basis(mesh, skfem.ElementTriP2())

    @skfem.BilinearForm
    def laplace(u: Any, v: Any, _: Any) -> Any:
        return helpers.dot(helpers.grad(u), helpers.grad(v))

    stiffness = laplace.assemble(basis)
    x, z = basis.doflocs
    plates = basis.get_dofs(lambda p: (np.abs(p[1]) < 1e-9) | (np.abs(p[1] - 1.0) < 1e-9))
    order = np.lexsort((z.round(9), x.round(9)))
    columns, rows = np.unique(x.round(9)), np.unique(z.round(9))
    held = np.where(z < 0.5, VOLTS, 0.0)
    load, change = np.zeros(basis.N), math.inf
    free_flight = np.sqrt(FIRST)
    share = (np.arange(rays) + 0.5) / rays
    for _ in range(30):
        found = skfem.solve(*skfem.condense(stiffness, load, x=held, D=plates))
        spline = RectBivariateSpline(columns, rows, found[order].reshape(len(columns), -1))

        def pull(place: FloatArray, spline: RectBivariateSpline = spline) -> FloatArray:
            side = np.abs(place[0])
            across = -spline.ev(side, place[1], dx=1) * np.sign(place[0])
            return np.stack([across, -spline.ev(side, place[1], dy=1)]) / (2.0 * VOLTS)

        place = np.stack([WIDE * share, np.zeros(rays)])
        speed = np.stack([np.zeros(rays), np.full(rays, free_flight)])
        step, points, force = 1.0 / cells / 2.0, [], pull(place)
        spent = []
        for _ in range(40 * cells):
            time = np.full(rays, step)
            half = speed + 0.5 * step * force
            left = 1.0 - place[1]
            time = np.clip(np.where(half[1] * step > left, left / half[1], step), 0.0, step)
            half = speed + 0.5 * time * force
            new = place + time * half
            new[1] = np.minimum(new[1], 1.0)
            points.append(0.5 * (place + new))
            spent.append(time)
            place, force = new, pull(new)
            speed = half + 0.5 * time * force
            if np.all(place[1] >= 1.0 - 1e-12):
                break
        visited, times = np.concatenate(points, axis=1), np.concatenate(spent)
        visited[0] = np.abs(visited[0])
        flying = times > 0.0
        # I t / eps0 of the half, in volts: the time unit is mm over the speed of the voltage.
        second = UNIT / math.sqrt(2.0 * elementary_charge * VOLTS / MASS)
        each = 0.5 * CURRENT / rays * times[flying] * second / epsilon_0
        new_load = basis.probes(visited[:, flying]).T @ each
        change = np.abs(new_load - load).sum() / np.abs(new_load).sum()
        load = new_load
        if change < 1e-6:
            break
    assert change < 1e-6
    bare = VOLTS * (1.0 - z)
    return place[0], np.arctan2(speed[0], speed[1]), float((found - bare).max())


def test_strip_beam_agrees_with_finite_elements_and_particles() -> None:
    """EXACT (independent computation): a strip beam at Child's current, its ends, its
    angles and the potential of its charge, with scikit-fem on another mesh by other steps."""
    ends, angles, rise = finite_elements(24, 100)
    section = polygon(
        [(0.0, UNIT), (0.0, 0.0), (BOX * UNIT, 0.0), (BOX * UNIT, UNIT)],
        ["symmetry", "emitter", "outer", "accelerator"],
        "planar",
        gap=UNIT,
        mirrored=True,
    )
    solution = solve_field(section, accuracy=1.0, rule=SpacingRule(per_clearance=0.2), meshes=3)
    tubes = 100
    x = (np.arange(tubes) + 0.5) / tubes * WIDE * UNIT
    flow = strip_flow(
        solution,
        {"emitter": VOLTS},
        np.stack([x, np.zeros(tubes)], axis=1),
        np.full(tubes, FIRST * VOLTS),
        np.full(tubes, 1.0 / tubes),
        CURRENT,
    )
    own_ends = np.array([path[-1, 0] for path in flow.paths.paths]) / UNIT
    assert ends[-1] > 1.05 * WIDE, "a beam that spreads"
    assert_allclose(own_ends, ends, atol=1e-3 * WIDE)
    assert_allclose(flow.paths.end_angle, angles, atol=1e-3)
    assert_allclose(flow.potential.max(), rise, rtol=1e-3)
