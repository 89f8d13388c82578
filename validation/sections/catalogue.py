"""All sections with exact fields, in one place."""

from __future__ import annotations

from conegap.validation.sections.axisymmetric import (
    annular_cylinder,
    concentric_spheres,
    confocal_spheroids,
    hemisphere_boss,
    hyperboloid_needle,
)
from conegap.validation.sections.cones import ball_on_cone, cone_with_arcs, wedge_with_arcs
from conegap.validation.sections.exact_case import ExactCase
from conegap.validation.sections.planar import (
    coaxial_cylinders,
    confocal_ellipses,
    half_cylinder_boss,
    planar_hyperbola,
)
from conegap.validation.sections.slit_section import blade_before_slit

__all__ = [
    "ExactCase",
    "annular_cylinder",
    "ball_on_cone",
    "blade_before_slit",
    "coaxial_cylinders",
    "concentric_spheres",
    "cone_with_arcs",
    "confocal_ellipses",
    "confocal_spheroids",
    "half_cylinder_boss",
    "hemisphere_boss",
    "hyperboloid_needle",
    "planar_hyperbola",
    "wedge_with_arcs",
]
