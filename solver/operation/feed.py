"""The feed: does the liquid come, how much of it, and does it stay where it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.constants import g

from conegap.geometries.design.design import Design
from conegap.solver.liquid.wetting_states import greatest_pressure, wetting_of
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.feed_laws import pinned_holding
from conegap.solver.operation.feed_loss import FeedLoss
from conegap.solver.operation.feed_ways import Way, way_of
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = [
    "Feed",
    "SharedWay",
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
class SharedWay:
    """What stands before the emitter, and all its tips share.

    Parameters
    ----------
    kind : str
    narrowest, length : float
        [m].
    resistance : float or None
        Pressure drop per volume flow, None where viscosity is not known, [Pa s/m^3].
    capillary_pressure : float
        Pressure across which it draws back, at most 2 gamma cos(theta) / r of a pore, [Pa].
    model : str
    """

    kind: str
    narrowest: float
    length: float
    resistance: float | None
    capillary_pressure: float
    model: str


@dataclass(frozen=True)
class Feed:
    """Flow resistance of the path to the emitting edge, and the pressures that it holds.

    Parameters
    ----------
    kind : str
        "channel", "bore", "film" and so on: of the emitter's own way, or of the only one.
    narrowest : float
        Channel height, bore or film thickness, [m].
    length : float
        Of the narrow way, [m].
    own_resistance : float or None
        Pressure drop per volume flow of one tip's own way, None where viscosity is not known,
        [Pa s/m^3].
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
    shared : SharedWay or None
        What [feed] of the design file puts before them.
    """

    kind: str
    narrowest: float
    length: float
    own_resistance: float | None
    capillary_pressure: float
    outward_holding: float
    feed_pressure: float
    density: float | None
    model: str
    tips: int = 1
    shared: SharedWay | None = None

    @property
    def resistance(self) -> float | None:
        """Pressure drop per volume flow of all tips, [Pa s/m^3], or None."""
        if self.own_resistance is None:
            return None
        before = 0.0 if self.shared is None else self.shared.resistance or 0.0
        return self.own_resistance / self.tips + before

    def loss(self, droplets: MassEfficiency | None = None) -> FeedLoss:
        """Pressure loss per mass flow; none where viscosity or density is not known.

        Parameters
        ----------
        droplets : MassEfficiency or None
            How much more mass leaves than the ions carry.
        """
        if self.own_resistance is None or self.resistance is None or self.density is None:
            return FeedLoss(droplets=droplets)
        own = self.own_resistance if self.tips > 1 else 0.0
        common = self.resistance - own / self.tips
        return FeedLoss(own / self.density, common / self.density, droplets)

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
        if self.own_resistance is None or drop <= 0.0:
            return None
        return volume * self.own_resistance / drop

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
    """The feed of a design, None where neither its emitter nor [feed] draws a way of the liquid.

    Parameters
    ----------
    design : Design
    """
    liquid, metal = design.liquid, design.metal
    warm, angle = liquid.temperature, liquid.receding
    gamma = float(metal.surface_tension(warm))
    eta = float(metal.viscosity(warm)) if metal.viscosity_law is not None else None

    def resistance(way: Way) -> float | None:
        return None if eta is None else eta * way.unit_resistance

    drawn, given = design.emitter.feed_path(liquid.film_thickness), design.feed.path()
    own = None if drawn is None else way_of(drawn)
    other = None if given is None else way_of(given)
    shared = None
    if own is not None and other is not None and design.feed.beside:
        own = own.beside(other)
    elif own is not None and other is not None:
        shared = SharedWay(
            other.kind,
            other.narrowest,
            other.length,
            resistance(other),
            gamma * other.pull(angle),
            other.model,
        )
    own = own or other
    if own is None:
        return None
    holds = gamma * own.pull(angle)
    place = wetting_of(design, gamma)
    if own.kind == "film":
        outward = holds
    elif place is None:
        outward = pinned_holding(design.section(), gamma)
    else:
        outward = greatest_pressure(place, design) * gamma
    each = drawn is not None or design.feed.beside
    return Feed(
        kind=own.kind,
        narrowest=own.narrowest,
        length=own.length,
        own_resistance=resistance(own),
        capillary_pressure=holds,
        outward_holding=outward,
        feed_pressure=design.edge_pressure,
        density=float(metal.density(warm)) if metal.density_law is not None else None,
        model=own.model,
        tips=design.emitter.count if each else 1,
        shared=shared,
    )


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
    colder = design.tolerance("liquid.temperature")
    rows = [
        review_row(
            f"melting point plus {_MARGIN:g} K against the liquid's temperature",
            design.metal.melting_point + _MARGIN,
            design.liquid.temperature - colder,
            "K",
            "margin against freezing in the feed, common practice, no source"
            + (f"; the temperature's tolerance of {colder:g} K taken off" if colder else ""),
            "heat the liquid and its feed further above the melting point",
        )
    ]
    if feed is None:
        return tuple(rows)
    # With an orientation the column's weight is part of the pressure at the edge.
    weight = _column(design, feed, g) if design.liquid.orientation is None else 0.0
    either = design.tolerance("liquid.feed_pressure")
    worst = f"; with the pressure's tolerance of {either:g} Pa" if either else ""
    if feed.kind != "film":
        rows.append(
            review_row(
                "suction on the meniscus against its capillary pressure",
                max(either - feed.feed_pressure, 0.0) + weight,
                feed.capillary_pressure,
                "Pa",
                "2 γ cos(contact angle) over radius or channel height, textbook; with the weight "
                f"of the column where its height is given{worst}",
                "choose a better wetted or narrower channel, or less suction in the feed",
            )
        )
        rows.append(
            review_row(
                "pressure of the feed against flooding",
                max(either + feed.feed_pressure, 0.0) + weight,
                feed.outward_holding,
                "Pa",
                "2 γ sin ψ / a around an axis, γ sin ψ / a between two lines, with the slope ψ at "
                "which the contact line advances and a its radius or half width, at the best place "
                "of the edge, textbook; with the weight of the column where its height is given"
                f"{worst}",
                "lower the feed pressure, or narrow the contact line",
            )
        )
    # A gap that stays dark needs no flow: a row would pass without a proof.
    most, flows = feed.greatest_mass_flow, strong > 0.0
    if most is not None and flows:
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
    elif most is None:
        unknown = "viscosity" if design.metal.viscosity_law is None else "density"
        rows.append(
            review_row(
                "flow needed over what the feed carries",
                0.0,
                1.0,
                "",
                f"no {unknown} of {design.metal.name} is known, so that the feed's resistance is "
                "not; it is taken as none",
                f"give [liquid.custom] {unknown}, or show the flow by test",
                span=(0.0, math.inf),
            )
        )
    if most is not None and flows:
        rows.append(
            review_row(
                "flow that the feed lets through over the flow needed",
                most / (needed or strong),
                _MOST_OVER_NEEDED,
                "",
                "a feed that drops less than 1 % of the pressure that draws the liquid does not "
                "hold back droplets: assumed, no source; droplets may carry more",
                "narrow or lengthen the feed, or show by test that the beam holds no droplets",
                span=(0.0, most / weak if weak > 0.0 else math.inf),
            )
        )
    if flows and feed.shared is not None and feed.shared.resistance and feed.density:
        lost = [feed.shared.resistance * mass / feed.density for mass in mass_flow]
        rows.append(
            review_row(
                f"loss in the {feed.shared.kind} against its capillary pressure",
                lost[1],
                feed.shared.capillary_pressure,
                "Pa",
                "2 γ cos(contact angle) over its pores' radius (a channel's height), textbook: at "
                "more it draws back on the side of the emitter; current and droplets are orders "
                "of magnitude",
                "finer pores, or more permeable, wider or shorter ones",
                span=(lost[0], lost[2]),
            )
        )
    acceleration = design.liquid.acceleration
    if acceleration is not None and feed.density is not None:
        rows.append(
            review_row(
                "pressure of the liquid column under acceleration",
                _column(design, feed, acceleration),
                max(feed.holding - either, 0.0),
                "Pa",
                f"ρ a h in either direction against the pinned meniscus, textbook{worst}",
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
    path = design.feed.path()
    if path is not None:
        way = way_of(path)
        # A film on a wall has no capillary pressure of its own.
        if way.wetted > 0.0 and way.pull(liquid.receding) <= 0.0:
            found.append(
                f"[feed]: a {way.kind} of these dimensions does not fill itself at a contact angle "
                f"of {math.degrees(liquid.receding):.3g}°: make it deeper or better wetted"
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
