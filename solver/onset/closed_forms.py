"""Classic closed-form onset estimates, shown beside the computed onset.

They assume an isolated idealised edge before an infinite plane and know nothing of shanks,
apertures or chambers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import epsilon_0

from conegap.geometries.design.design import Design
from conegap.solver.cone.taylor import TAYLOR_HALF_ANGLE

__all__ = [
    "ClassicEstimate",
    "capillary_onset",
    "classic_estimate",
    "needle_onset",
    "planar_edge_onset",
]

# A of `capillary_onset`; D. P. H. Smith (1986), from memory.
_SMITH_FACTOR = 0.667


@dataclass(frozen=True)
class ClassicEstimate:
    """A closed-form onset voltage.

    Parameters
    ----------
    name : str
        Formula in words.
    voltage : float
        Emitter minus accelerator, [V].
    source : str
    validity : str
        Range in which the formula is meant to hold.
    departures : tuple of str
        How this design lies outside that range, each with the side on which its true onset then
        lies of the formula's, where that is known.
    """

    name: str
    voltage: float
    source: str
    validity: str
    departures: tuple[str, ...]

    @property
    def within(self) -> bool:
        """Whether this design lies in the formula's range."""
        return not self.departures


def needle_onset(*, surface_tension: float, radius: float, gap: float) -> float:
    """Rigid onset of a long hyperboloid before a plane, sqrt(gamma R / eps0) ln(4 d / R), [V].

    From E = 2 V / (R ln(4 d / R)) and eps0 E^2 / 2 = 2 gamma / R; the logarithm is 3.4 % low at
    d/R = 10 and 0.4 % at 100 against the exact hyperboloid.

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    radius : float
        Apex radius R, [m].
    gap : float
        Apex to plane d, [m].
    """
    return math.sqrt(surface_tension * radius / epsilon_0) * math.log(4.0 * gap / radius)


def capillary_onset(*, surface_tension: float, radius: float, gap: float) -> float:
    """Onset of a capillary, A sqrt(2 gamma r cos(49.29 deg) / eps0) ln(4 d / r), A = 0.667, [V].

    D. P. H. Smith, IEEE Trans Ind Appl IA-22, 527 (1986); formula and A from memory.

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    radius : float
        Radius r of the contact line, [m].
    gap : float
        Meniscus to counter electrode d, [m].
    """
    scale = math.sqrt(2.0 * surface_tension * radius * math.cos(TAYLOR_HALF_ANGLE) / epsilon_0)
    return _SMITH_FACTOR * scale * math.log(4.0 * gap / radius)


def planar_edge_onset(*, surface_tension: float, radius: float, gap: float) -> float:
    """Rigid onset of a hyperbolic edge before a plane, sqrt(2 gamma d / eps0) atan sqrt(d/R), [V].

    Exact confocal hyperbola (textbook); it stays finite as R goes to zero.

    Parameters
    ----------
    surface_tension : float
        gamma, [N/m].
    radius : float
        Edge radius R, [m].
    gap : float
        Edge to plane d, [m].
    """
    angle = math.atan(math.sqrt(gap / radius))
    return math.sqrt(2.0 * surface_tension * gap / epsilon_0) * angle


def classic_estimate(design: Design, *, radius: float) -> ClassicEstimate | None:
    """The closed form that belongs to a design, or None where there is none.

    Parameters
    ----------
    radius : float
        Radius of curvature of the emitting edge with its film, [m].
    """
    gap = design.gap
    if radius <= 0.0 or gap <= 0.0:
        return None
    gamma = design.surface_tension
    ratio = gap / radius
    if ratio < 1.0:
        return None
    emitter = design.emitter
    if emitter.closed_form == "tube":
        return ClassicEstimate(
            "capillary formula A sqrt(2 gamma r cos 49.29 / eps0) ln(4 d / r), A = 0.667",
            capillary_onset(surface_tension=gamma, radius=radius, gap=gap),
            "D. P. H. Smith, IEEE Trans Ind Appl IA-22, 527 (1986), from memory",
            "thin-walled tube before an unbroken plane, no feed pressure, gap at least 5 radii",
            (*_tube(emitter.base_half_width, radius), *_near(ratio, 5.0), *_around(design)),
        )
    if emitter.symmetry == "planar":
        return ClassicEstimate(
            "hyperbolic edge before a plane, sqrt(2 gamma d / eps0) atan sqrt(d / R)",
            planar_edge_onset(surface_tension=gamma, radius=radius, gap=gap),
            "confocal hyperbola, exact (textbook)",
            "single blade as slender as the hyperbola, before an unbroken plane, no feed pressure",
            (*_blade(design, radius), *_around(design)),
        )
    angle = emitter.tip_half_angle
    slender = angle is not None and angle <= math.radians(20.0)
    return ClassicEstimate(
        "needle formula sqrt(gamma R / eps0) ln(4 d / R)",
        needle_onset(surface_tension=gamma, radius=radius, gap=gap),
        "hyperboloid before a plane, logarithm for d >> R (textbook)",
        "slender hyperboloidal tip before an unbroken plane, no feed pressure, gap at least 10 "
        "radii",
        (
            *(() if slender else (_UNKNOWN_TIP if angle is None else _BLUNT_TIP,)),
            *_near(ratio, 10.0),
            *_around(design),
        ),
    )


# More metal at the emitter's potential beside the edge takes field from it, and so does metal taken
# out of the accelerator: both follow from the maximum principle for Laplace's equation (textbook).
_BLUNT_TIP = "the cone is wider than 20°: more metal beside the tip, the true onset is higher"
_UNKNOWN_TIP = "whether the tip is slender is not known: side not known"
_THIN_WALL = 1.2  # outer over contact radius; a wall of a fifth of the radius, no source
_LEAN = math.radians(2.0)  # flanks that agree with the hyperbola's so far, no source


def _around(design: Design) -> tuple[str, ...]:
    """Departures by the accelerator and the feed."""
    found = []
    kind = design.accelerator.kind
    if kind in ("aperture_plate", "slotted_plate", "annular_slot"):
        found.append("the accelerator has an opening, which takes field: the true onset is higher")
    elif kind != "plane":
        found.append("the accelerator is no unbroken plane: side not known")
    pressure = design.edge_pressure
    if pressure != 0.0:
        side = "pushes the liquid outward: the true onset is lower"
        if pressure < 0.0:
            side = "draws the liquid back: the true onset is higher"
        found.append(f"the pressure at the edge of {pressure:.4g} Pa {side}")
    return tuple(found)


def _near(ratio: float, least: float) -> tuple[str, ...]:
    if ratio >= least:
        return ()
    return (f"the gap is only {ratio:.3g} radii: the logarithm is small, the true onset higher",)


def _tube(outer: float, contact: float) -> tuple[str, ...]:
    if outer <= _THIN_WALL * contact:
        return ()
    return (
        f"the tube is {outer / contact:.3g} times as wide as its contact line: the metal beside "
        "the meniscus takes field, the true onset is higher",
    )


def _blade(design: Design, radius: float) -> tuple[str, ...]:
    emitter, found = design.emitter, []
    lean = math.atan2(emitter.base_half_width - radius, emitter.height)
    wanted = math.atan(math.sqrt(radius / design.gap))
    if lean > wanted + _LEAN:
        found.append(
            f"the flanks lean {math.degrees(lean):.2g}° on average, the hyperbola's "
            f"{math.degrees(wanted):.2g}°: more metal beside the edge, the true onset is higher"
        )
    if emitter.line_length is not None:
        found.append(
            "two lips with a channel stand in place of one edge and share the field: the onset of "
            "the rigid lip is higher, that of the liquid across both may be lower"
        )
    return tuple(found)
