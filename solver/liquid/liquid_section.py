"""The free liquid surface of a design: which part moves and what is held.

Pressure is prescribed for capillary and slit, which are fed from a reservoir, and volume for the
cap of a wetted needle: a film of a micrometre cannot flow during a ramp.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from conegap.geometries.curves.section import Section
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.field.electrodes import per_volt
from conegap.solver.liquid.meniscus import Held
from conegap.solver.liquid.shape import MeniscusShape, cap
from conegap.solver.liquid.surface_mesh import LiquidSection

__all__ = ["MODES", "above_metal", "held_in", "liquid_section", "liquid_surface", "moves"]

MODES = 14
"""Coefficients of a shape: 12 leave 1e-4 in voltage for a pinned hemisphere, and from 14 to 20 the
onset of a slit moves by 4e-7, [-]."""


def moves(design: Design) -> bool:
    """Whether a design has a liquid surface that can be followed: its section has a liquid
    boundary which begins on the axis or line of symmetry, and is not drawn or meshed elsewhere."""
    if design.emitter.whole_file is not None:
        return False
    section = design.section()
    return liquid_surface(section) is not None


def liquid_surface(section: Section) -> tuple[int, int] | None:
    """(loop, index) of the liquid boundary that begins on the axis or line of symmetry, or None."""
    for number, loop in enumerate(section.loops):
        for index, boundary in enumerate(loop):
            before = loop[index - 1].name
            if boundary.name == "liquid" and before in ("axis", "symmetry"):
                return number, index
    return None


def liquid_section(design: Design) -> LiquidSection:
    """A design's section with its liquid surface left free.

    Raises
    ------
    DesignError
        The design has no free surface.
    """
    section = design.section()
    place = liquid_surface(section)
    if place is None:
        raise DesignError(
            "this design has no liquid surface that begins on the axis or line of symmetry; "
            "use the rigid criterion"
        )
    loop, index = place
    end = section.loops[loop][index].curve.end
    contact = (float(end[0]), float(end[1]))
    potentials = per_volt(design, section.electrodes)
    return above_metal(LiquidSection.ending_at(contact, section, place, potentials), design)


def above_metal(liquid: LiquidSection, design: Design) -> LiquidSection:
    """The same with the metal of the emitter below, on which its surface must not rest."""
    radius, (_, level) = liquid.radius, liquid.contact

    def clearance(shape: MeniscusShape) -> float:
        points = shape.points(np.linspace(0.0, 1.0, 201)) * radius
        height = points[:, 1] + level - design.emitter.metal_top(points[:, 0])
        return float(height.min()) / radius

    return replace(liquid, clearance=clearance)


def held_in(
    design: Design, radius: float, surface_tension: float
) -> tuple[Held, float, MeniscusShape, float]:
    """What is held during the ramp, and the surface without field.

    Parameters
    ----------
    radius : float
        Contact radius or half width, [m].
    surface_tension : float
        [N/m].

    Returns
    -------
    held : "pressure" or "volume"
    amount : float
        See `conegap.solver.liquid.meniscus.MeniscusProblem`, [-].
    start : MeniscusShape
    pressure : float
        Of the start, in gamma / a, [-].

    Raises
    ------
    DesignError
        The surface cannot hold the feed's pressure.
    """
    symmetry = design.section().symmetry
    angle = design.emitter.tip_half_angle
    if angle is not None:
        start = cap(math.pi / 2.0 - angle, MODES, symmetry)
        return "volume", start.volume, start, 2.0 * math.sin(start.contact_angle)
    pressure = design.edge_pressure * radius / surface_tension
    most = 2.0 if symmetry == "axisymmetric" else 1.0
    if abs(pressure) >= most:
        limit = most * surface_tension / radius
        raise DesignError(
            f"{design.pressure_words} is beyond the "
            f"{limit:.4g} Pa that the surface can hold at a contact radius of "
            f"{radius * 1e6:.4g} um: the liquid "
            + ("floods the edge" if pressure > 0.0 else "is drawn back into the feed")
            + " without any voltage"
        )
    return "pressure", pressure, cap(math.asin(pressure / most), MODES, symmetry), pressure
