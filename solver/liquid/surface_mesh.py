"""A section with a free liquid surface, and the coarse mesh for one of its shapes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.section import EmittingEdge, Section
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.shape import MeniscusShape, apex_grid_radius
from conegap.solver.mesh.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.mesh.morph import followed
from conegap.solver.mesh.spacing import SpacingRule

__all__ = ["LiquidSection", "SurfaceInSolid", "liquid_mesh", "stay_outside"]

# Coarse spacing along the surface and at the contact line, where the field is singular, in
# contact radii; twice of either moves the capillary's onset by 1e-5 at most.
_SURFACE_SPACING = 0.2
_CONTACT_SPACING = 0.1
# Finer than elsewhere, because the balance needs the field along the whole surface; 0.35 as
# elsewhere moves the capillary's onset by 2e-5.
_GRID_ANGLE = 0.2
# Contact radii by which a surface may dip into the solid before it is refused, for the chords of
# its sampled shape.
_TOUCH = 1e-3
# Away from the liquid the mesh may be coarser than for a field whose every surface matters.
_FAR_RULE = SpacingRule(per_radius=0.8, per_axis_distance=2.0, per_clearance=1.0, growth=0.5)


class SurfaceInSolid(ContinuationError):
    """A liquid surface rests on the solid, so its free shape is no answer."""


@dataclass(frozen=True)
class LiquidSection:
    """A section that can be drawn with any liquid surface.

    Parameters
    ----------
    draw : callable
        MeniscusShape to (Section, (loop, index) of the liquid surface); the surface starts on
        the axis or line of symmetry and ends at the contact line.
    radius : float
        Contact radius or half width, [m].
    contact : tuple of float
        Contact line (r or x, z), [m].
    potentials : mapping of electrode to potential per volt of emitter minus accelerator, [-]
    clearance : callable or None
        MeniscusShape to its least height above the solid within the contact line, in contact
        radii, negative where it would pass through; None where nothing lies below.
    """

    draw: Callable[[MeniscusShape], tuple[Section, tuple[int, int]]]
    radius: float
    contact: tuple[float, float]
    potentials: dict[str, float]
    clearance: Callable[[MeniscusShape], float] | None = None

    @classmethod
    def ending_at(
        cls,
        contact: tuple[float, float],
        section: Section,
        surface: tuple[int, int],
        potentials: dict[str, float],
        clearance: Callable[[MeniscusShape], float] | None = None,
    ) -> LiquidSection:
        """A section whose drawn liquid boundary gives way to any shape with its contact line.

        Parameters
        ----------
        contact : tuple of float
            Where the drawn boundary ends (r or x, z), [m].
        surface : (loop, index)
            The drawn boundary.
        potentials, clearance
            See the class.
        """
        radius = contact[0]

        def draw(shape: MeniscusShape) -> tuple[Section, tuple[int, int]]:
            edge = EmittingEdge("meniscus", *surface, 0.0, apex_grid_radius(shape) * radius)
            return section.with_surface(surface, (shape.curve(radius, contact),), edge), surface

        return cls(draw, radius, contact, potentials, clearance)


def stay_outside(liquid: LiquidSection, shape: MeniscusShape) -> None:
    """Refuse a shape that passes through the solid.

    Raises
    ------
    SurfaceInSolid
        It does, by more than a thousandth of the contact radius.
    """
    if liquid.clearance is None:
        return
    clearance = liquid.clearance(shape)
    if clearance < -_TOUCH:
        raise SurfaceInSolid(
            f"the liquid surface would have to pass {-clearance * liquid.radius * 1e6:.3g} um "
            "into the metal under it: the film is too thin, or the suction too strong, for a "
            "surface that is free from the axis to its contact line"
        )


def liquid_mesh(
    liquid: LiquidSection,
    section: Section,
    shape: MeniscusShape,
    near: CoarseMesh | None = None,
) -> CoarseMesh:
    """Coarse mesh with the liquid surface and its contact line well covered.

    Parameters
    ----------
    section : Section
        With the shape drawn in.
    near : CoarseMesh or None
        Of a neighbouring section, to be moved to this one where it can follow.

    Raises
    ------
    MeshError
        The shape could not be meshed.
    """
    moved = followed(near, section)
    if moved is not None:
        return moved
    s = np.linspace(0.0, 1.0, 9)
    along = shape.points(s) * liquid.radius + np.array([0.0, liquid.contact[1]])
    spacing = np.where(s > 0.95, _CONTACT_SPACING, _SURFACE_SPACING) * liquid.radius
    places = tuple(
        ((float(x), float(z)), float(h)) for (x, z), h in zip(along, spacing, strict=True)
    )
    return coarse_mesh(section, _FAR_RULE, places, _GRID_ANGLE)
