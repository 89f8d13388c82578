"""Propellant at the operating point: mass efficiency, specific impulse and life, with droplets.

Droplets carry mass and hardly any thrust, so that the specific impulse of all that leaves is that
of the ions times the mass efficiency, and a stock of propellant lasts as much shorter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from scipy.constants import elementary_charge

from conegap.geometries.design.design import Design
from conegap.solver.operation.droplets import MassEfficiency
from conegap.solver.operation.operating_point import OperatingPoint

__all__ = ["PropellantUse", "propellant_use"]


@dataclass(frozen=True)
class PropellantUse:
    """What leaves per time, and how long a stock lasts; expected value between its ends.

    Parameters
    ----------
    efficiency : tuple of float
        Low, expected and high mass efficiency, ions over all mass, [-].
    specific_impulse : tuple of float or None
        Of a parallel beam with its droplets, low, expected, high, [s]; None where no current is
        expected or the emitter is not positive against ground.
    mass_flow : tuple of float
        Of ions and droplets, low, expected, high, [kg/s].
    mass : float or None
        Propellant in the design, [kg].
    """

    efficiency: tuple[float, float, float]
    specific_impulse: tuple[float, float, float] | None
    mass_flow: tuple[float, float, float]
    mass: float | None

    @property
    def life(self) -> tuple[float, float, float] | None:
        """Time until the propellant is used up, low, expected, high, [s]; None where no mass is
        given or nothing leaves."""
        low, expected, high = self.mass_flow
        if self.mass is None or low <= 0.0:
            return None
        return self.mass / high, self.mass / expected, self.mass / low

    def as_dict(self) -> dict[str, Any]:
        """Keys of the results contract."""
        ends = ("low", "value", "high")
        found: dict[str, Any] = {
            "mass_efficiency": dict(zip(ends, self.efficiency, strict=True)),
            "mass_flow_with_droplets_kg_per_s": dict(zip(ends, self.mass_flow, strict=True)),
        }
        if self.specific_impulse is not None:
            found["specific_impulse_with_droplets_s"] = dict(
                zip(ends, self.specific_impulse, strict=True)
            )
        if self.life is not None:
            found["propellant_life_s"] = dict(zip(ends, self.life, strict=True))
        return found


def propellant_use(
    design: Design, operating: tuple[OperatingPoint, OperatingPoint, OperatingPoint]
) -> PropellantUse:
    """Use of propellant between the ends of current and mass efficiency.

    Parameters
    ----------
    design : Design
    operating : tuple of OperatingPoint
        With the least, the expected and the greatest current of the law's band.
    """
    expected = operating[1]
    worst, best = MassEfficiency().band()
    per_charge = design.metal.ion_mass / elementary_charge
    efficiency = (
        min(worst.at(at.point.per_site) for at in operating),
        MassEfficiency().at(expected.point.per_site),
        max(best.at(at.point.per_site) for at in operating),
    )
    known = [at.exhaust.specific_impulse for at in operating if at.exhaust is not None]
    return PropellantUse(
        efficiency=efficiency,
        specific_impulse=(
            (efficiency[0] * min(known), efficiency[1] * known[1], efficiency[2] * max(known))
            if len(known) == len(operating) and expected.point.current > 0.0
            else None
        ),
        mass_flow=(
            min(at.point.current * per_charge / best.at(at.point.per_site) for at in operating),
            expected.point.current * per_charge / efficiency[1],
            max(at.point.current * per_charge / worst.at(at.point.per_site) for at in operating),
        ),
        mass=design.liquid.propellant_mass,
    )
