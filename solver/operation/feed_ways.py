"""One way of the feed: its flow resistance, what it holds by capillarity, and its words."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from conegap.geometries.parts.feed_path import (
    ConeFilm,
    FeedPath,
    FlatFilm,
    Groove,
    PlateChannel,
    PorousPlug,
    RoundBore,
)
from conegap.solver.operation.feed_laws import (
    bore_resistance,
    film_resistance,
    flat_film_resistance,
    groove_resistance,
    plate_resistance,
    porous_resistance,
)

__all__ = ["Way", "way_of"]


@dataclass(frozen=True)
class Way:
    """A way of the liquid, whatever the liquid.

    Parameters
    ----------
    kind : str
        "channel", "bore", "film", "groove" or "porous plug".
    narrowest : float
        Channel height, bore, film thickness, groove width or pore diameter, [m].
    length : float
        [m].
    unit_resistance : float
        Pressure drop per volume flow and viscosity, [1/m^3].
    wetted, bare : float
        Capillary pressure over surface tension: ``wetted`` times the cosine of the contact angle,
        less ``bare``, [1/m].
    model : str
        The approximation, for print.
    outward : float or None
        Greatest pressure over surface tension that a film on a tip holds, None where the meniscus
        at the edge decides, [1/m].
    """

    kind: str
    narrowest: float
    length: float
    unit_resistance: float
    wetted: float
    bare: float
    model: str
    outward: float | None = None

    def pull(self, contact_angle: float) -> float:
        """Largest capillary pressure over surface tension, [1/m]; below 0 it does not fill itself.

        Parameters
        ----------
        contact_angle : float
            Inside the liquid, [rad].
        """
        return self.wetted * math.cos(contact_angle) - self.bare

    def beside(self, other: Way) -> Way:
        """Both ways side by side: what this one holds, with the flow of both.

        Parameters
        ----------
        other : Way
        """
        both = 1.0 / (1.0 / self.unit_resistance + 1.0 / other.unit_resistance)
        return replace(self, unit_resistance=both, model=f"{self.model}; beside it {other.model}")


def way_of(path: FeedPath) -> Way:
    """Resistance and capillary pressure of a way by its law, see `feed_laws`.

    The capillary pressure is 2 gamma cos(theta) / R of a bore or pore, 2 gamma cos(theta) / h of a
    channel, and gamma (cos(theta) (w + 2 d) - w) / (w d) of a groove, from the energy that its
    filling frees (Young and Laplace, textbook).  A film on a tip is drawn by the cap that emits,
    2 gamma / (R + h) at its onset, whatever the angle; one on a wall by nothing of its own.  What
    pushes the film outward is held by its curvature about the shank, gamma / (r + h): it grows
    under more.

    Parameters
    ----------
    path : FeedPath
    """
    match path:
        case PlateChannel(height=h, length=length, width=width):
            unit = plate_resistance(viscosity=1.0, length=length, height=h, width=width)
            return Way("channel", h, length, unit, 2.0 / h, 0.0, "parallel plates")
        case RoundBore(diameter=bore, length=length, count=count):
            unit = bore_resistance(viscosity=1.0, length=length, radius=bore / 2.0) / count
            model = "round bore (Hagen and Poiseuille)"
            return Way("bore", bore, length, unit, 4.0 / bore, 0.0, model)
        case FlatFilm(thickness=h, length=length, width=width):
            unit = flat_film_resistance(viscosity=1.0, thickness=h, length=length, width=width)
            return Way("film", h, length, unit, 0.0, 0.0, "even smooth film on a wall")
        case Groove(width=w, depth=d, length=length, count=count):
            one = groove_resistance(viscosity=1.0, length=length, width=w, depth=d)
            wetted = (w + 2.0 * d) / (w * d)
            model = "rectangular grooves, filled to the brim with a flat surface"
            return Way("groove", w, length, one / count, wetted, 1.0 / d, model)
        case PorousPlug(permeability=k, area=area, length=length, pore_radius=pore):
            unit = porous_resistance(viscosity=1.0, length=length, permeability=k, area=area)
            return Way("porous plug", 2.0 * pore, length, unit, 2.0 / pore, 0.0, "Darcy's law")
        case ConeFilm() as film:
            unit = _cone_film(film)
            cap = 2.0 / (film.tip_radius + film.thickness)
            model = (
                "even smooth film on cone and shank, drawn by the suction of the cap at its onset"
            )
            # Every place of the film is at one pressure without flow, and the widest curves least.
            outward = 1.0 / (film.base_radius + film.thickness)
            return Way("film", film.thickness, film.height, unit, 0.0, -cap, model, outward)


def _cone_film(film: ConeFilm) -> float:
    """Resistance per viscosity of the film on a needle, [1/m^3]."""
    h, angle = film.thickness, film.half_angle
    first = max(film.tip_radius * math.cos(angle), h)
    last = max(film.base_radius, first)
    cone = unit = 0.0
    if angle > 0.0:
        cone = min((last - first) / math.tan(angle), film.height)
        unit = film_resistance(viscosity=1.0, thickness=h, half_angle=angle, first=first, last=last)
    rest = max(film.height - cone, 0.0)
    around = 2.0 * math.pi * last
    return unit + flat_film_resistance(viscosity=1.0, thickness=h, length=rest, width=around)
