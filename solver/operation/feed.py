"""The feed: the ways of the liquid in series, their resistance and the pressures that they hold."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.geometries.design.design import Design
from conegap.solver.liquid.wetting_states import greatest_pressure, wetting_of
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.feed_laws import pinned_holding
from conegap.solver.operation.feed_loss import FeedLoss
from conegap.solver.operation.feed_ways import Way, way_of

__all__ = [
    "Feed",
    "SharedWay",
    "feed_of",
]


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
        `conegap.solver.liquid.wetting_states.greatest_pressure`, or pinned as drawn; on a film that
        of its curvature about the shank, [Pa].
    feed_pressure : float
        Gauge pressure at the edge without flow, [Pa].
    density : float or None
        [kg/m^3].
    column : float
        Density times height of the liquid column on the edge, 0 where it is not known, [kg/m^2].
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
    column: float
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
    if own.outward is not None:
        outward = gamma * own.outward
    elif place is None:
        outward = pinned_holding(design.section(), gamma)
    else:
        outward = greatest_pressure(place, design) * gamma
    each = drawn is not None or design.feed.beside
    density = float(metal.density(warm)) if metal.density_law is not None else None
    return Feed(
        kind=own.kind,
        narrowest=own.narrowest,
        length=own.length,
        own_resistance=resistance(own),
        capillary_pressure=holds,
        outward_holding=outward,
        feed_pressure=design.edge_pressure,
        density=density,
        column=(density or 0.0) * (liquid.column_height or 0.0),
        model=own.model,
        tips=design.emitter.count if each else 1,
        shared=shared,
    )
