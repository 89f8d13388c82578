"""A film's cap whose edge is free to slide on the film.

As drawn, the cap is pinned where it meets the film on the flank, which is no contact line: the
liquid goes on.  With its edge lower on the flank, and with it the liquid that the film holds there,
the cap turns at less, until the edge is so low that the film's own narrowing counts; of all edges
the least voltage is that of a surface which may slide.  There the turning point does not change to
first order with the place of the edge, which is the condition of a free boundary: the surface meets
the film tangentially, as a liquid does that wets it (shipped needle: 75.1 deg where the flank lies
at 75 deg).  A surface whose edge is pinned and one whose edge slides bound what a film does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import Line
from conegap.geometries.curves.wall import ContactPlace
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.field.electrodes import per_volt
from conegap.solver.field.extrapolation import Estimate, estimate
from conegap.solver.liquid.branch import MeniscusBranch, turning_point
from conegap.solver.liquid.contact_section import contact_section
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.liquid_section import (
    MODES,
    above_metal,
    held_in,
    liquid_section,
    liquid_surface,
)
from conegap.solver.liquid.shape import cap
from conegap.solver.liquid.surface_mesh import LiquidSection, stay_outside

__all__ = ["LowerEdge", "lower_edge", "sliding_edge", "turning_with"]

# Subdivisions; the ratio to the pinned edge is of two meshes as well.
_LEVELS = (2, 4)
# Distance of the edges that are tried, in contact radii along the flank; half of it moved the
# shipped needle's least voltage by 2e-6.
_STEP = 0.5
# Of them: 4 contact radii down, where the film is a needle of its own.
_MOST_EDGES = 8


@dataclass(frozen=True)
class LowerEdge:
    """A film's cap with its edge lower on the flank than drawn.

    Parameters
    ----------
    liquid : LiquidSection
        Without regard to the metal below.
    volume : float
        Above the edge, as drawn, in cubes of its contact radius, [-].
    """

    liquid: LiquidSection
    volume: float


def lower_edge(design: Design, down: float) -> LowerEdge | None:
    """The cap of a design's film with its edge lower on the flank, None where that has ended.

    Parameters
    ----------
    down : float
        Along the flank, in contact radii of the edge as drawn, [-].
    """
    section = design.section()
    place = liquid_surface(section)
    if place is None:
        return None
    drawn, flank = (b.curve for b in section.loops[place[0]][place[1] : place[1] + 2])
    (radius, top), low = drawn.end, flank.end
    share = down * radius / flank.length
    if not isinstance(flank, Line) or share >= 1.0:
        return None
    wide, deep = flank.start + share * (low - flank.start)
    contact = (float(wide), float(deep))
    tangent = math.atan2(float(top - low[1]), float(low[0] - radius))
    ahead = (Line(contact, (float(low[0]), float(low[1]))),)
    liquid = contact_section(
        section,
        place,
        ContactPlace("film", contact, tangent, ahead),
        per_volt(design, section.electrodes),
    )
    _, above, _, _ = held_in(design, float(radius), design.surface_tension)
    frustum = math.pi / 3.0 * (top - deep) * (radius**2 + radius * wide + wide**2)
    return LowerEdge(liquid, float(above * radius**3 + frustum) / contact[0] ** 3)


def turning_with(edge: LowerEdge, progress: Progress | None = None) -> MeniscusBranch:
    """The turning point of a cap that keeps its volume above an edge.

    Below the turning point the surface may lie on the metal; it is followed as if it did not.

    Parameters
    ----------
    progress : callable or None

    Raises
    ------
    ContinuationError, MeshError
        It was not found.
    """

    angle = _cap_angle(edge.volume)
    start = cap(angle, MODES, "axisymmetric")
    return turning_point(
        edge.liquid,
        start,
        pressure=2.0 * math.sin(angle),
        held="volume",
        amount=edge.volume,
        levels=_LEVELS,
        progress=progress,
    )


def _cap_angle(volume: float) -> float:
    """Slope at the edge of a spherical cap by its volume in cubes of its contact radius, [rad].

    Its height h is the root of pi h (3 + h^2) / 6 = V, and the slope 2 atan(h).
    """
    whole = 3.0 * volume / math.pi
    root = math.sqrt(1.0 + whole**2)
    height = float(np.cbrt(whole + root) + np.cbrt(whole - root))
    return 2.0 * math.atan(height)


def _loads(
    design: Design, pinned: float, progress: Progress | None
) -> Iterator[tuple[float, float]]:
    """Distance of the edge and load at the turning point from the drawn edge on, until one rises
    or the surface rests on the metal."""
    yield 0.0, pinned
    last = pinned
    for number in range(1, _MOST_EDGES + 1):
        edge = lower_edge(design, number * _STEP)
        if edge is None:
            return
        try:
            branch = turning_with(edge, progress)
            stay_outside(above_metal(edge.liquid, design), branch.turning.shape)
        except (ContinuationError, MeshError):
            return
        load = branch.electric_bond_number.value * edge.liquid.radius
        yield number * _STEP, load
        if load > last:
            return
        last = load


def sliding_edge(
    design: Design, pinned: Estimate, progress: Progress | None = None
) -> float | None:
    """Onset of a film's cap whose edge slides over that of one whose edge is pinned as drawn, [-].

    Parameters
    ----------
    pinned : Estimate
        Electric Bond number at the turning point with the edge as drawn, of which the first two
        meshes are taken, [-].
    progress : callable or None

    Returns
    -------
    float or None
        At most 1; None where no lower edge could be solved.
    """
    two = estimate(pinned.level_sizes[:2], pinned.level_values[:2]).value
    load = two * liquid_section(design).radius
    found = np.array(list(_loads(design, load, progress)))
    if len(found) < 2:
        return None
    least = float(found[:, 1].min())
    if len(found) > 2 and found[-1, 1] > found[-2, 1]:
        curve = np.polynomial.Polynomial.fit(found[-3:, 0], found[-3:, 1], 2)
        least = min(least, float(curve(float(curve.deriv().roots()[0]))))
    return math.sqrt(min(least / load, 1.0))
