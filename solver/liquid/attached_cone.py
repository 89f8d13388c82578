"""Extinction of an attached cone: where the field no longer holds a Taylor cone up.

Once emitting, the liquid stands as a cone on its contact line and goes on down to a lower voltage
than it needed to start.  The estimate balances the electric pull on a cone of Taylor's half angle
against the surface tension around its base, 2 pi a gamma cos(alpha), less the feed pressure on
the base as far as `pull_share` counts it.  Derived, and checked in `conegap validate` by the
balance of a cone between two rims.  It leaves out the space charge and the momentum of the beam.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import Arc, FloatArray, Line
from conegap.geometries.curves.section import EmittingEdge, Section
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.cone.taylor import EXTINCTION_UNCERTAINTY, TAYLOR_HALF_ANGLE, pull_share
from conegap.solver.field.electrodes import per_volt
from conegap.solver.field.solution import solve_field
from conegap.solver.onset.surface_balance import field_stress

__all__ = ["Extinction", "axial_pull", "extinction"]

# Radii of the cap that replaces the cone's end, over its base radius; the pull is extrapolated
# to none.
_ROUNDINGS = (0.1, 0.05)


@dataclass(frozen=True)
class Extinction:
    """Voltage below which an attached cone collapses.

    Parameters
    ----------
    voltage : float
        Emitter minus accelerator, [V].
    low, high : float
        Band from the uncertainty of the model, [V]; at its upper end a pressure that pushes outward
        does not help.
    basis : str
    """

    voltage: float
    low: float
    high: float
    basis: str


def extinction(
    design: Design,
    *,
    surface: tuple[int, int],
    contact: tuple[float, float],
    surface_tension: float,
) -> Extinction:
    """Extinction of an axisymmetric cone on a contact line.

    The cone's tip is rounded; two roundings show that it hardly matters, and the value is taken
    at their extrapolation to a sharp tip.

    Parameters
    ----------
    surface : tuple of int
        (loop, index) of the liquid surface in the design's section.
    contact : tuple of float
        Contact line (r, z), [m].
    surface_tension : float
        gamma, [N/m].

    Raises
    ------
    DesignError
        The section is not axisymmetric.
    """
    section = design.section()
    if section.symmetry != "axisymmetric":
        raise DesignError(
            "an attached cone is axisymmetric; a slit has a row of them", keys=("emitter.kind",)
        )
    base = contact[0]
    pull = 2.0 * math.pi * base * surface_tension * math.cos(TAYLOR_HALF_ANGLE)
    found = [
        math.sqrt(pull / _pull_per_volt_squared(design, section, surface, contact, share * base))
        for share in _ROUNDINGS
    ]
    # The pull lacks the part of the cap, which is of first order in its radius.
    wide, narrow = _ROUNDINGS
    still = found[1] + (found[1] - found[0]) * narrow / (wide - narrow)
    share = pull_share(design.edge_pressure, surface_tension=surface_tension, base_radius=base)
    voltage = still * math.sqrt(share)
    return Extinction(
        voltage=voltage,
        low=voltage * (1.0 - EXTINCTION_UNCERTAINTY),
        high=still * math.sqrt(max(share, 1.0)) * (1.0 + EXTINCTION_UNCERTAINTY),
        basis=(
            "electric pull on a rigid Taylor cone against surface tension around its base; model "
            f"uncertainty {EXTINCTION_UNCERTAINTY:.0%}, common practice, no source"
        ),
    )


def _pull_per_volt_squared(
    design: Design,
    section: Section,
    surface: tuple[int, int],
    contact: tuple[float, float],
    radius: float,
) -> float:
    """Axial force on a rounded cone per volt squared, [N/V^2]."""
    alpha = TAYLOR_HALF_ANGLE
    virtual = contact[1] + contact[0] / math.tan(alpha)
    centre = virtual - radius / math.sin(alpha)
    touch = (radius * math.cos(alpha), centre + radius * math.sin(alpha))
    faces = (Arc((0.0, centre), radius, math.pi / 2.0, alpha), Line(touch, contact))
    cone = section.with_surface(surface, faces, EmittingEdge("cone", *surface, 0.0, radius))
    # Liquid beyond the contact line (the film of a needle) is no part of the cone.
    loop, index = surface
    row = list(cone.loops[loop])
    row[index + 2 :] = [
        replace(b, name="emitter") if b.name == "liquid" else b for b in row[index + 2 :]
    ]
    cone = replace(cone, loops=(*cone.loops[:loop], tuple(row), *cone.loops[loop + 1 :]))
    solution = solve_field(cone, meshes=2)
    volts = per_volt(design, solution.electrodes)
    along = solution.surface("liquid", volts)
    return axial_pull(along.points, along.field)


def axial_pull(points: FloatArray, field: FloatArray) -> float:
    """Axial force of a field on a surface of revolution that descends outward, [N].

    The integral of eps0 E^2 / 2 over the projected rings 2 pi r dr, by the trapezoidal rule.

    Parameters
    ----------
    points : (n, 2) array
        (r, z) along the surface, outward, [m].
    field : (n,) array
        Normal field there, [V/m].
    """
    middle = 0.5 * (points[1:, 0] + points[:-1, 0])
    stress = np.array([field_stress(float(e)) for e in 0.5 * (field[1:] + field[:-1])])
    return float(np.sum(2.0 * math.pi * middle * np.diff(points[:, 0]) * stress))
