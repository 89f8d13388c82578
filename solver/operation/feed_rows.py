"""Review of the feed: does the liquid come, how much of it, and does it stay where it is."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scipy.constants import g

from conegap.geometries.design.design import Design
from conegap.solver.operation.feed import Feed
from conegap.solver.operation.feed_ends import FeedEnds
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
    design: Design, ends: FeedEnds | None, mass_flow: tuple[float, float, float]
) -> tuple[ReviewRow, ...]:
    """Criteria of the feed, each at the worse end of every tolerance.

    Parameters
    ----------
    design : Design
    ends : FeedEnds or None
        From `conegap.solver.operation.feed_ends.feed_ends`.
    mass_flow : tuple of float
        What the least, the expected and the greatest current need, droplets included, [kg/s].
    """
    colder = design.tolerance("liquid.temperature")
    warm = review_row(
        f"melting point plus {_MARGIN:g} K against the liquid's temperature",
        design.metal.melting_point + _MARGIN,
        design.liquid.temperature - colder,
        "K",
        "margin against freezing in the feed, common practice, no source"
        + (f"; the temperature's tolerance of {colder:g} K taken off" if colder else ""),
        "heat the liquid and its feed further above the melting point",
    )
    if ends is None:
        return (
            warm,
            _unknown_flow(
                "the design draws no way on which liquid comes to the emitting edge",
                "give liquid.film_thickness of a wetted tip or a section [feed], or show the flow "
                "by test",
            ),
        )
    return (
        warm,
        *_pressure_rows(design, ends),
        *_flow_rows(design, ends, mass_flow),
        *_acceleration_rows(design, ends),
    )


def _pressure_rows(design: Design, ends: FeedEnds) -> Iterator[ReviewRow]:
    """Suction and flooding at rest."""

    # With an orientation the column's weight is part of the pressure at the edge.
    def weight(feed: Feed) -> float:
        return g * feed.column if design.liquid.orientation is None else 0.0

    def pressure(feed: Feed) -> float:
        return feed.feed_pressure

    def draws(feed: Feed) -> float:
        return feed.capillary_pressure

    def holds(feed: Feed) -> float:
        return feed.outward_holding

    film = ends.drawn.kind == "film"
    if not film:
        yield review_row(
            "suction on the meniscus against its capillary pressure",
            max(-ends.low(pressure), 0.0) + ends.high(weight),
            ends.low(draws),
            "Pa",
            "2 γ cos(contact angle) over radius or channel height, textbook; with the weight "
            f"of the column where its height is given{ends.words(pressure, weight, draws)}",
            "choose a better wetted or narrower channel, or less suction in the feed",
        )
    yield review_row(
        "pressure of the feed against flooding",
        max(ends.high(pressure), 0.0) + ends.high(weight),
        ends.low(holds),
        "Pa",
        (_FILM_HOLDS if film else _LINE_HOLDS)
        + "; with the weight of the column where its height is given"
        + ends.words(pressure, weight, holds),
        "lower the feed pressure, or "
        + ("take a thinner shank" if film else "narrow the contact line"),
    )


def _flow_rows(
    design: Design, ends: FeedEnds, mass_flow: tuple[float, float, float]
) -> Iterator[ReviewRow]:
    """Enough flow, not too much of it, and what a shared way loses."""
    weak, needed, strong = mass_flow
    feed = ends.drawn
    most = feed.greatest_mass_flow
    if most is None:
        unknown = "viscosity" if design.metal.viscosity_law is None else "density"
        yield _unknown_flow(
            f"no {unknown} of {design.metal.name} is known, so that the feed's resistance is "
            "not; it is taken as none",
            f"give [liquid.custom] {unknown}, or show the flow by test",
        )
        return
    # A gap that stays dark needs no flow: a row would pass without a proof.
    if not strong > 0.0:
        return

    def carries(feed: Feed) -> float:
        return feed.greatest_mass_flow or 0.0

    worst = ends.words(carries)
    yield review_row(
        "mass flow needed against what the feed carries",
        needed,
        ends.low(carries),
        "kg/s",
        f"{feed.model}; current and droplets are orders of magnitude{worst}",
        "widen or shorten the feed, raise its pressure, or draw less current",
        span=(weak, strong),
    )
    yield review_row(
        "flow that the feed lets through over the flow needed",
        most / (needed or strong),
        _MOST_OVER_NEEDED,
        "",
        "a feed that drops less than 1 % of the pressure that draws the liquid does not hold back "
        f"droplets: assumed, no source; droplets may carry more{worst}",
        "narrow or lengthen the feed, or show by test that the beam holds no droplets",
        span=(0.0, ends.high(carries) / weak if weak > 0.0 else math.inf),
    )
    shared = feed.shared
    if shared is None or not shared.resistance or feed.density is None:
        return

    def loss(feed: Feed) -> float:
        before = feed.shared
        return 0.0 if before is None else (before.resistance or 0.0) / (feed.density or math.inf)

    def draws(feed: Feed) -> float:
        return feed.feed_pressure + (0.0 if feed.shared is None else feed.shared.capillary_pressure)

    yield review_row(
        f"loss in the {shared.kind} against the pressure that it holds",
        loss(feed) * needed,
        ends.low(draws),
        "Pa",
        "its capillary pressure, 2 γ cos(contact angle) over its pores' radius (a channel's "
        "height), textbook, with the feed's own pressure: at more it draws back on the side of the "
        "emitter; current and droplets are orders of magnitude" + ends.words(loss, draws),
        "finer pores, or more permeable, wider or shorter ones",
        span=(ends.low(loss) * weak, ends.high(loss) * strong),
    )


def _acceleration_rows(design: Design, ends: FeedEnds) -> Iterator[ReviewRow]:
    """Liquid that an acceleration drives out or back."""
    acceleration = design.liquid.acceleration
    if acceleration is None or ends.drawn.density is None:
        return
    more = design.tolerance("liquid.acceleration")

    def column(feed: Feed) -> float:
        return feed.column

    def holds(feed: Feed) -> float:
        return feed.holding

    yield review_row(
        "pressure of the liquid column under acceleration",
        ends.high(column) * (acceleration + more),
        max(ends.low(holds), 0.0),
        "Pa",
        f"ρ a h in either direction against the pinned meniscus, textbook"
        f"{ends.words(column, holds)}"
        + (f"; with the acceleration's tolerance of {more:g} m/s²" if more else ""),
        "shorten the liquid column, narrow the channel, or close the feed for launch",
    )


def _unknown_flow(basis: str, advice: str) -> ReviewRow:
    """Flow of which nothing is known: never proved."""
    name = "flow needed over what the feed carries"
    return review_row(name, 0.0, 1.0, "", basis, advice, span=(0.0, math.inf))


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
