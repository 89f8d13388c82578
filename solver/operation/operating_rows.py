"""Review of the operating point: within its supply, steady at every site, without droplets."""

from __future__ import annotations

import math

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import voltage_text
from conegap.solver.operation.droplets import DROPLET_CURRENT, DROPLET_FACTOR
from conegap.solver.operation.operating_point import OperatingPoint
from conegap.solver.operation.review import ReviewRow, review_row
from conegap.solver.operation.smallest_current import SmallestCurrent

__all__ = ["operating_rows"]


def operating_rows(
    design: Design,
    operating: tuple[OperatingPoint, OperatingPoint, OperatingPoint],
    smallest: SmallestCurrent,
) -> tuple[ReviewRow, ...]:
    """Criteria of the operating point.

    Parameters
    ----------
    design : Design
    operating : tuple of OperatingPoint
        With the least, the expected and the greatest current of the law's band.
    smallest : SmallestCurrent
        Of one site.
    """
    weak, expected, strong = operating
    rows = []
    limit = design.supply.current_limit
    if limit is not None:
        short = design.tolerance("supply.current_limit")
        less = f", its tolerance of {short:g} A taken off" if short else ""
        sag = (
            "; at the limit the supply's voltage sags to "
            f"{voltage_text(expected.supply_voltage)} of {voltage_text(expected.set_voltage)}"
            if expected.state == "current limit"
            else ""
        )
        rows.append(
            review_row(
                "current that the gap would draw against the supply",
                expected.wanted,
                limit - short,
                "A",
                f"the supply's own limit{less}{sag}; the current is an order of magnitude",
                "use a supply with more current, a larger ballast, or a lower voltage",
                span=(weak.wanted, strong.wanted if expected.current_known else math.inf),
            )
        )
    each = [at.point.per_site for at in operating]
    # A shared feed or a current limit may leave a site of the greater law less than one of the
    # smaller law, of which fewer burn.
    least, middle, most = min(each), each[1], max(each)
    if most <= 0.0:
        return tuple(rows)
    rows.append(
        review_row(
            "smallest steady current over the current of a site",
            smallest.value / (middle if middle > 0.0 else most),
            1.0,
            "",
            f"below it a site pulses or goes out; {smallest.basis}",
            "raise the voltage or lower the ballast, so that each site carries more",
            span=(
                smallest.low / most,
                smallest.high / least if least > 0.0 else math.inf,
            ),
        )
    )
    rows.append(
        review_row(
            "current of a site over that at which droplets take over",
            middle / DROPLET_CURRENT,
            1.0,
            "",
            f"{DROPLET_CURRENT * 1e6:g} uA, gallium, J. Phys. D 16, L209 (1983), abstract read; a "
            f"factor of {DROPLET_FACTOR:g} either way for other metals and feeds is assumed",
            "draw less current from each site, spread it over more sites, or show by weighing that "
            "the beam holds no droplets",
            span=(least / (DROPLET_CURRENT * DROPLET_FACTOR),
                  most / (DROPLET_CURRENT / DROPLET_FACTOR)),
        )
    )  # fmt: skip
    return tuple(rows)
