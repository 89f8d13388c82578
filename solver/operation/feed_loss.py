"""What the feed takes of the pressure at the base of a cone, by the mass that leaves."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.constants import elementary_charge

from conegap.solver.operation.droplets import MassEfficiency

__all__ = ["NO_LOSS", "FeedLoss"]


@dataclass(frozen=True)
class FeedLoss:
    """Pressure loss per mass flow, of a site's own way and of the way that all share.

    Parameters
    ----------
    own : float
        Of a single tip: flow resistance over density, per mass flow of that tip, [Pa s/kg].
    common : float
        Of the way that all sites share, per mass flow of all, [Pa s/kg].
    droplets : MassEfficiency or None
        How much more mass leaves than its ions carry; None for ions alone.
    """

    own: float = 0.0
    common: float = 0.0
    droplets: MassEfficiency | None = None

    @property
    def known(self) -> bool:
        """Whether there is a resistance."""
        return self.own > 0.0 or self.common > 0.0

    def mass_flow(self, current: float, ion_mass: float) -> float:
        """Mass that one site needs, I m / (e eta), [kg/s].

        Parameters
        ----------
        current : float
            Of the site, [A].
        ion_mass : float
            m, of a single ion, [kg].
        """
        share = 1.0 if self.droplets is None else self.droplets.at(current)
        return float(current * ion_mass / (elementary_charge * share))


NO_LOSS = FeedLoss()
"""A feed that takes no pressure."""
