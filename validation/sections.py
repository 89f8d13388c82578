"""All sections with exact fields, in one place."""

from __future__ import annotations

from conegap.validation.axisymmetric_sections import (
    annular_cylinder,
    concentric_spheres,
    confocal_spheroids,
    hemisphere_boss,
    hyperboloid_needle,
)
from conegap.validation.cone_sections import ball_on_cone, cone_with_arcs, wedge_with_arcs
from conegap.validation.exact_case import ExactCase
from conegap.validation.planar_sections import (
    coaxial_cylinders,
    confocal_ellipses,
    half_cylinder_boss,
    planar_hyperbola,
)
from conegap.validation.slit_section import blade_before_slit

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
