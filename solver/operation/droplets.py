"""How much of the mass leaves as ions: mass efficiency against the current of a site.

What was found published, and how it was read:

* J. Phys. D 16, L209 (1983), abstract read: the energy spread of a gallium source follows its law
  from 2 uA up to about 25 uA and departs from it above, which the authors lay to instabilities of
  the whole liquid anode.
* "Neutral satellites in ion beams from liquid metal sources", abstract read (journal and year not
  seen): the mass lost as ions was only a fraction of all mass lost; the larger part left as
  particles below 1 um with little charge.  The abstract does not give the current.
* J. Phys. D 17, 2473 (1984), abstract read: a caesium slit of high flow impedance was made to keep
  the emission of neutral mass low, and mass loss and thrust were weighed; the abstract gives no
  figure.
* A. Reissner and others, a paper of the American Institute of Aeronautics and Astronautics on a
  porous tungsten crown 1 cm wide for indium, first page read: 1 mN at a specific impulse of 5000 s
  to 6000 s.  Single ions of 10 kV alone would have 13,200 s; voltage and number of sites are not on
  that page.  A data sheet of such a crown, first page read: up to 60 % of the indium becomes ions.

From these an order of magnitude is built and nothing more: single ions alone up to a current
I_d = 25 uA per site, and eta = I_d / I above, a form that is assumed and falls to the crown's 60 %
at 42 uA.  Both ends of its band move I_d by a factor of three, and the lower one starts from one
half.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["DROPLET_CURRENT", "DROPLET_FACTOR", "MassEfficiency"]

DROPLET_CURRENT = 25e-6
"""Current of a site at which the anode becomes unstable as a whole, J. Phys. D 16, L209 (1983),
gallium, abstract read, [A]."""

DROPLET_FACTOR = 3.0
"""By how much that current may be off either way, for other metals and other feeds: assumed, no
source, [-]."""

# Share of the mass that leaves as ions at the low end of the band already at small currents: the
# abstract of "Neutral satellites..." gives the larger part to particles, at a current not stated.
_LEAST_AT_SMALL_CURRENT = 0.5


@dataclass(frozen=True)
class MassEfficiency:
    """Mass that leaves as ions over all mass that leaves.

    Parameters
    ----------
    threshold : float
        Current of a site above which droplets carry more and more mass, > 0, [A].
    ceiling : float
        Value at small currents, [-].
    """

    threshold: float = DROPLET_CURRENT
    ceiling: float = 1.0

    def at(self, current: float) -> float:
        """Mass efficiency of a site, eta = c min(1, I_d / I), [-].

        Parameters
        ----------
        current : float
            Of the site, [A].

        Raises
        ------
        ValueError
            The current is negative or not a number.
        """
        if not current >= 0.0 or math.isinf(current):
            raise ValueError(f"the current {current} A must be finite and not negative")
        return self.ceiling * min(1.0, self.threshold / current if current > 0.0 else 1.0)

    def band(self) -> tuple[MassEfficiency, MassEfficiency]:
        """The least and the greatest that what is published allows."""
        return (
            MassEfficiency(self.threshold / DROPLET_FACTOR, _LEAST_AT_SMALL_CURRENT * self.ceiling),
            MassEfficiency(self.threshold * DROPLET_FACTOR, self.ceiling),
        )
