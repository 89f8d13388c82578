"""Classic closed-form onset estimates, shown beside the computed onset.

They assume an isolated idealised edge before an infinite plane and know nothing of shanks,
apertures or chambers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import epsilon_0

from conegap.geometries.design.design import Design

__all__ = [
    "ClassicEstimate",
    "capillary_onset",
    "classic_estimate",
    "needle_onset",
    "planar_edge_onset",
]

# Taylor's angle, a zero of P_1/2(-cos alpha), [rad]: G. I. Taylor, Proc R Soc A 280, 383 (1964).
_CONE_HALF_ANGLE = math.radians(49.2900893)
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
    within : bool
        Whether this design lies in that range.
    """

    name: str
    voltage: float
    source: str
    validity: str
    within: bool


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
    scale = math.sqrt(2.0 * surface_tension * radius * math.cos(_CONE_HALF_ANGLE) / epsilon_0)
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
    gamma = float(design.metal.surface_tension(design.liquid.temperature))
    ratio = gap / radius
    if ratio < 1.0:
        return None
    emitter = design.emitter
    if emitter.closed_form == "tube":
        return ClassicEstimate(
            "capillary formula A sqrt(2 gamma r cos 49.29 / eps0) ln(4 d / r), A = 0.667",
            capillary_onset(surface_tension=gamma, radius=radius, gap=gap),
            "D. P. H. Smith, IEEE Trans Ind Appl IA-22, 527 (1986), from memory",
            "thin-walled tube before a plane, gap at least 5 radii",
            ratio >= 5.0,
        )
    if emitter.symmetry == "planar":
        return ClassicEstimate(
            "hyperbolic edge before a plane, sqrt(2 gamma d / eps0) atan sqrt(d / R)",
            planar_edge_onset(surface_tension=gamma, radius=radius, gap=gap),
            "confocal hyperbola, exact (textbook)",
            "single thin blade before an unbroken plane",
            ratio >= 1.0,
        )
    angle = emitter.tip_half_angle
    slender = angle is not None and angle <= math.radians(20.0)
    return ClassicEstimate(
        "needle formula sqrt(gamma R / eps0) ln(4 d / R)",
        needle_onset(surface_tension=gamma, radius=radius, gap=gap),
        "hyperboloid before a plane, logarithm for d >> R (textbook)",
        "slender hyperboloidal tip before a plane, gap at least 10 radii",
        ratio >= 10.0 and slender,
    )
