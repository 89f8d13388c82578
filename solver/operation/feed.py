"""The feed: does the liquid come, how much of it, and does it stay where it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import g

from conegap.geometries.design.design import Design
from conegap.geometries.parts.feed_path import ConeFilm, PlateChannel, RoundBore
from conegap.solver.liquid.wetting_states import greatest_pressure, wetting_of
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.feed_laws import (
    bore_resistance,
    film_resistance,
    pinned_holding,
    plate_resistance,
    shank_film_resistance,
)
from conegap.solver.operation.feed_loss import FeedLoss
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = [
    "Feed",
    "feed_of",
    "feed_remarks",
    "feed_rows",
    "feed_warnings",
]

# Above the melting point, [K], for the spread of temperature along a heated feed; common
# practice, no source.
_MARGIN = 5.0
# Feed flow over flow needed: at more the feed's own drop is below 1 % of the pressure that draws
# the liquid, so that it controls nothing; assumed, no source, [-].
_MOST_OVER_NEEDED = 100.0
# The capillary pull is then a quarter of that of full wetting, cos(75 deg) = 0.26, [rad].
_NEARLY_UNWETTING = math.radians(75.0)
_SKINS = ("Ga", "In", "Sn", "Bi", "EGaIn", "K", "Rb", "Cs")


@dataclass(frozen=True)
class Feed:
    """Flow resistance of the path to the emitting edge, and the pressures that it holds.

    Parameters
    ----------
    kind : "channel", "bore" or "film"
    narrowest : float
        Channel height, bore or film thickness, [m].
    length : float
        Of the narrow way, [m].
    resistance : float or None
        Pressure drop per volume flow of all tips, None where viscosity is not known, [Pa s/m^3].
    capillary_pressure : float
        Suction at which the liquid draws back into channel or bore; on a film the suction that the
        emitting cap exerts at its onset, [Pa].
    outward_holding : float
        Pressure that the surface at the edge holds back: at the best place of its contact line, see
        `conegap.solver.liquid.wetting_states.greatest_pressure`, or pinned as drawn, [Pa].
    feed_pressure : float
        Gauge pressure at the edge without flow, [Pa].
    density : float or None
        [kg/m^3].
    model : str
        The approximation, for print.
    tips : int
        Equal ways side by side, one to each tip.
    """

    kind: str
    narrowest: float
    length: float
    resistance: float | None
    capillary_pressure: float
    outward_holding: float
    feed_pressure: float
    density: float | None
    model: str
    tips: int = 1

    @property
    def own_resistance(self) -> float | None:
        """Of the way to a single tip, per volume flow of that tip, [Pa s/m^3]."""
        return None if self.resistance is None else self.resistance * self.tips

    def loss(self, droplets: MassEfficiency | None = None) -> FeedLoss:
        """Pressure loss per mass flow; none where viscosity or density is not known.

        Parameters
        ----------
        droplets : MassEfficiency or None
            How much more mass leaves than the ions carry.
        """
        own = self.own_resistance
        if own is None or self.density is None:
            return FeedLoss(droplets=droplets)
        if self.tips > 1:
            return FeedLoss(own=own / self.density, droplets=droplets)
        return FeedLoss(common=own / self.density, droplets=droplets)

    @property
    def greatest_mass_flow(self) -> float | None:
        """Mass flow at which the meniscus draws back, [kg/s]."""
        if self.resistance is None or self.density is None:
            return None
        drop = max(self.capillary_pressure + self.feed_pressure, 0.0)
        return self.density * drop / self.resistance

    def exchange_time(self, volume: float) -> float | None:
        """Time in which the pressure that draws the liquid brings a volume to one tip's edge.

        Parameters
        ----------
        volume : float
            [m^3].

        Returns
        -------
        float or None
            [s], None where viscosity is not known or nothing draws.
        """
        drop = self.capillary_pressure + self.feed_pressure
        own = self.own_resistance
        if own is None or drop <= 0.0:
            return None
        return volume * own / drop

    def pressure_at(self, mass_flow: float) -> float | None:
        """Gauge pressure at the edge with flow.

        Parameters
        ----------
        mass_flow : float
            [kg/s].

        Returns
        -------
        float or None
            [Pa].
        """
        if self.resistance is None or self.density is None:
            return None
        return self.feed_pressure - self.resistance * mass_flow / self.density

    @property
    def holding(self) -> float:
        """Pressure of an acceleration, of either sign, that leaves the liquid in place, [Pa]."""
        outward = self.outward_holding - self.feed_pressure
        inward = self.capillary_pressure + self.feed_pressure
        return max(min(outward, inward), 0.0)


def feed_of(design: Design) -> Feed | None:
    """The feed of a design, None for a bare needle or a measured profile.

    Parameters
    ----------
    design : Design
    """
    liquid, metal = design.liquid, design.metal
    warm = liquid.temperature
    gamma = float(metal.surface_tension(warm))
    eta = float(metal.viscosity(warm)) if metal.viscosity_law is not None else None
    density = float(metal.density(warm)) if metal.density_law is not None else None
    wetting = math.cos(liquid.receding)

    def feed(kind: str, narrow: float, length: float, unit: float, held: tuple[float, float],
             model: str) -> Feed:  # fmt: skip
        tips = design.emitter.count
        resistance = None if eta is None else eta * unit / tips
        pressure = design.edge_pressure
        return Feed(kind, narrow, length, resistance, *held, pressure, density, model, tips)

    place = wetting_of(design, gamma)
    outward = (
        pinned_holding(design.section(), gamma)
        if place is None
        else greatest_pressure(place, design) * gamma
    )
    match design.emitter.feed_path(liquid.film_thickness):
        case PlateChannel(height=h, length=length, width=width):
            unit = plate_resistance(viscosity=1.0, length=length, height=h, width=width)
            model = "parallel plates from the holder's face to the liquid's edge"
            return feed("channel", h, length, unit, (2 * gamma * wetting / h, outward), model)
        case RoundBore(diameter=bore, length=length):
            radius = bore / 2.0
            unit = bore_resistance(viscosity=1.0, length=length, radius=radius)
            model = "round bore (Hagen and Poiseuille) from the holder's face to the end face"
            held = (2.0 * gamma * wetting / radius, outward)
            return feed("bore", bore, length, unit, held, model)
        case ConeFilm() as film:
            return feed("film", film.thickness, film.height, *_film(film, gamma))
        case None:
            return None


def _film(film: ConeFilm, gamma: float) -> tuple[float, tuple[float, float], str]:
    """Resistance per viscosity, held pressures and model of the film on a needle."""
    h, angle = film.thickness, film.half_angle
    first = max(film.tip_radius * math.cos(angle), h)
    last = max(film.base_radius, first)
    cone = 0.0
    unit = 0.0
    if angle > 0.0:
        cone = min((last - first) / math.tan(angle), film.height)
        unit = film_resistance(viscosity=1.0, thickness=h, half_angle=angle, first=first, last=last)
    rest = max(film.height - cone, 0.0)
    unit += shank_film_resistance(viscosity=1.0, thickness=h, radius=last, length=rest)
    cap = 2.0 * gamma / (film.tip_radius + h)
    model = "even smooth film on cone and shank, drawn by the suction of the cap at its onset"
    return unit, (cap, cap), model


def feed_rows(
    design: Design, feed: Feed | None, mass_flow: tuple[float, float, float]
) -> tuple[ReviewRow, ...]:
    """Criteria of the feed.

    Parameters
    ----------
    design : Design
    feed : Feed or None
        From `feed_of`.
    mass_flow : tuple of float
        What the least, the expected and the greatest current need, droplets included, [kg/s].
    """
    weak, needed, strong = mass_flow
    rows = [
        review_row(
            f"melting point plus {_MARGIN:g} K against the liquid's temperature",
            design.metal.melting_point + _MARGIN,
            design.liquid.temperature,
            "K",
            "margin against freezing in the feed, common practice, no source",
            "heat the liquid and its feed further above the melting point",
        )
    ]
    if feed is None:
        return tuple(rows)
    # With an orientation the column's weight is part of the pressure at the edge.
    weight = _column(design, feed, g) if design.liquid.orientation is None else 0.0
    if feed.kind != "film":
        rows.append(
            review_row(
                "suction on the meniscus against its capillary pressure",
                max(-feed.feed_pressure, 0.0) + weight,
                feed.capillary_pressure,
                "Pa",
                "2 γ cos(contact angle) over radius or channel height, textbook; with the weight "
                "of the column where its height is given",
                "choose a better wetted or narrower channel, or less suction in the feed",
            )
        )
        rows.append(
            review_row(
                "pressure of the feed against flooding",
                max(feed.feed_pressure, 0.0) + weight,
                feed.outward_holding,
                "Pa",
                "2 γ sin ψ / a around an axis, γ sin ψ / a between two lines, with the slope ψ at "
                "which the contact line advances and a its radius or half width, at the best place "
                "of the edge, textbook; with the weight of the column where its height is given",
                "lower the feed pressure, or narrow the contact line",
            )
        )
    most = feed.greatest_mass_flow
    if most is not None:
        rows.append(
            review_row(
                "mass flow needed against what the feed carries",
                needed,
                most,
                "kg/s",
                f"{feed.model}; current and droplets are orders of magnitude",
                "widen or shorten the feed, raise its pressure, or draw less current",
                span=(weak, strong),
            )
        )
    if most is not None and weak > 0.0:
        rows.append(
            review_row(
                "flow that the feed lets through over the flow needed",
                most / needed,
                _MOST_OVER_NEEDED,
                "",
                "the feed's own drop should be 1 % or more of the pressure that draws the liquid, "
                "or it does not hold droplets and flooding back: an assumed limit, no source; an "
                "upper bound, since droplets may carry more",
                "narrow or lengthen the feed, or show by test that the beam holds no droplets",
                span=(0.0, most / weak),
            )
        )
    acceleration = design.liquid.acceleration
    if acceleration is not None and feed.density is not None:
        rows.append(
            review_row(
                "pressure of the liquid column under acceleration",
                _column(design, feed, acceleration),
                feed.holding,
                "Pa",
                "ρ a h in either direction against the pinned meniscus, textbook",
                "shorten the liquid column, narrow the channel, or close the feed for launch",
            )
        )
    return tuple(rows)


def _column(design: Design, feed: Feed, acceleration: float) -> float:
    """rho a h of the liquid column, 0 where it is not known, [Pa]."""
    return (feed.density or 0.0) * acceleration * (design.liquid.column_height or 0.0)


def feed_warnings(design: Design) -> tuple[str, ...]:
    """Nearly frozen or hardly wetting: the common failures of a feed.

    Parameters
    ----------
    design : Design
    """
    metal, liquid = design.metal, design.liquid
    found = []
    if liquid.temperature < metal.melting_point + _MARGIN:
        found.append(
            f"{metal.name} is only {liquid.temperature - metal.melting_point:.1f} K above its "
            "melting point: a cold spot freezes the feed"
        )
    if liquid.contact_angle > _NEARLY_UNWETTING:
        found.append(
            f"a contact angle of {math.degrees(liquid.contact_angle):.3g}° hardly wets: the feed "
            "may not prime and the liquid draws back"
        )
    return tuple(found)


def feed_remarks(design: Design) -> tuple[str, ...]:
    """What the feed's numbers leave out.

    Parameters
    ----------
    design : Design
    """
    found = ["The reservoir, its pressure drop and the heat of the feed are not modelled."]
    if design.metal.symbol in _SKINS:
        found.append(
            f"{design.metal.name.capitalize()} grows an oxide skin in air and in poor vacuum: it "
            "holds the surface, raises the onset and hinders wetting until it is removed."
        )
    return tuple(found)
