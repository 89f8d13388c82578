"""Review of the feed: does the liquid come, how much of it, and does it stay where it is."""

from __future__ import annotations

import math

from scipy.constants import g

from conegap.geometries.design.design import Design
from conegap.solver.operation.feed import Feed
from conegap.solver.operation.feed_ways import way_of
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = ["feed_remarks", "feed_rows", "feed_warnings"]

# Above the melting point, [K], for the spread of temperature along a heated feed; common
# practice, no source.
_MARGIN = 5.0
# Feed flow over flow needed: at more the feed's own drop is below 1 % of the pressure that draws
# the liquid, so that it controls nothing; assumed, no source, [-].
_MOST_OVER_NEEDED = 100.0
# The capillary pull is then a quarter of that of full wetting, cos(75 deg) = 0.26, [rad].
_NEARLY_UNWETTING = math.radians(75.0)
_FILM_HOLDS = (
    "γ / (r + h) of a film on the shank, which grows under more, Young and Laplace, textbook"
)
_LINE_HOLDS = (
    "2 γ sin ψ / a around an axis, γ sin ψ / a between two lines, with the slope ψ at which the "
    "contact line advances and a its radius or half width, at the best place of the edge, textbook"
)
_SKINS = ("Ga", "In", "Sn", "Bi", "EGaIn", "K", "Rb", "Cs")


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
    film = feed.kind == "film"
    rows.append(
        review_row(
            "pressure of the feed against flooding",
            max(either + feed.feed_pressure, 0.0) + weight,
            feed.outward_holding,
            "Pa",
            (_FILM_HOLDS if film else _LINE_HOLDS)
            + f"; with the weight of the column where its height is given{worst}",
            "lower the feed pressure, or "
            + ("take a thinner shank" if film else "narrow the contact line"),
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
