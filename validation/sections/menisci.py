"""A liquid surface on a grounded plane in a uniform field, and what to hold on it.

Lengths are in contact radii a; the field E0 is one over the height of the box, per volt.  A drop
whose surface meets the plane at right angles is the upper half of a free drop.
"""

from __future__ import annotations

import math

from conegap.geometries.curves.curve import Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.solver.liquid.branch import (
    LiquidSection,
    MeniscusBranch,
    turning_point,
)
from conegap.solver.liquid.shape import MeniscusShape, apex_grid_radius, cap

__all__ = [
    "EXTENT",
    "electric_bond_number_of_field",
    "free_drop",
    "on_plane",
    "pinned_hemisphere",
    "pinned_under_pressure",
    "section_on_plane",
]

EXTENT = 40.0
"""Height and radius of the box, [a]; the drop's images beyond it change W by some 4e-5."""
MODES = 14
"""Coefficients of the shape."""


def section_on_plane(shape: MeniscusShape) -> Section:
    """A surface pinned at radius 1 on a grounded plane, in a box with a plane accelerator."""
    height, far = shape.height, EXTENT
    middle = "axis" if shape.symmetry == "axisymmetric" else "symmetry"
    loop = (
        Boundary(middle, Line((0.0, far), (0.0, height))),
        Boundary("liquid", shape.curve(1.0, (1.0, 0.0))),
        Boundary("emitter", Line((1.0, 0.0), (far, 0.0))),
        Boundary("outer", Line((far, 0.0), (far, far))),
        Boundary("accelerator", Line((far, far), (0.0, far))),
    )
    edge = EmittingEdge("apex", 0, 1, 0.0, apex_grid_radius(shape))
    mirrored = shape.symmetry == "planar"
    return Section(shape.symmetry, (loop,), (edge,), far - height, mirrored=mirrored)


def on_plane() -> LiquidSection:
    """`section_on_plane` with its surface left free."""
    return LiquidSection(
        lambda shape: (section_on_plane(shape), (0, 1)),
        radius=1.0,
        contact=(1.0, 0.0),
        potentials={"emitter": 1.0, "accelerator": 0.0},
    )


def electric_bond_number_of_field(electric_bond_number: float) -> float:
    """W = eps0 E0^2 a / gamma from lambda = eps0 V^2 / (gamma a), [-].

    Parameters
    ----------
    electric_bond_number : float
        lambda, [-].
    """
    return electric_bond_number / EXTENT**2


def free_drop(
    levels: tuple[int, ...] = (2, 4, 8), contact_angle: float = math.pi / 2.0
) -> MeniscusBranch:
    """Branch of a drop whose contact line moves at a fixed angle; at a right angle it is the upper
    half of a free drop.  Its a is the contact radius of the undeformed drop.

    Parameters
    ----------
    levels : tuple of int
        Subdivisions of the meshes, [-].
    contact_angle : float
        [rad].

    Raises
    ------
    ContinuationError, MeshError
        The branch could not be followed.
    """
    start = cap(contact_angle, MODES, "axisymmetric")
    return turning_point(
        on_plane(),
        start,
        pressure=2.0 * math.sin(contact_angle),
        held="volume with contact angle",
        amount=contact_angle,
        levels=levels,
    )


def pinned_hemisphere() -> MeniscusBranch:
    """Branch of a pinned drop of held volume that is a hemisphere without field.

    Raises
    ------
    ContinuationError, MeshError
        The branch could not be followed.
    """
    start = cap(math.pi / 2.0, MODES, "axisymmetric")
    return turning_point(on_plane(), start, pressure=2.0, held="volume", amount=start.volume)


def pinned_under_pressure(pressure: float) -> MeniscusBranch:
    """Branch of a pinned surface under a held gauge pressure.

    Parameters
    ----------
    pressure : float
        In gamma / a, between -2 and 2, [-].

    Raises
    ------
    ContinuationError, MeshError
        The branch could not be followed.
    """
    start = cap(math.asin(pressure / 2.0), MODES, "axisymmetric")
    return turning_point(on_plane(), start, pressure=pressure, held="pressure", amount=pressure)
