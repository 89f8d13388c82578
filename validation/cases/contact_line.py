"""A contact line that moves over lips and rims, against closed forms and a balance of forces."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from conegap.validation.cases.free_surface import force_closure
from conegap.validation.cases.row import Case, Row

if TYPE_CHECKING:
    from conegap.geometries.design.design import Design
    from conegap.solver.liquid.contact_section import Wetting

__all__ = ["contact_line_cases"]

_GIBBS = "derived, circle that meets two round lips at the contact angle"
_FORCES = "balance of forces on the liquid above its contact line, derived"


def contact_line_cases() -> list[Case]:
    """Cases of the moving contact line."""
    return [
        Case("line on a round lip without field", _lip_rows),
        Case("line on a lip and on a rim in the field", _force_rows),
    ]


def _design(name: str, pressure: float, angle: float) -> Design:
    """A shipped example with another pressure [Pa] and contact angle [deg]."""
    from conegap.geometries.design.design import Design

    pressed = Design.read(name).with_value("liquid.feed_pressure", pressure)
    return pressed.with_value("liquid.contact_angle", math.radians(angle))


def _wetting(design: Design) -> Wetting:
    from conegap.solver.liquid.wetting_states import wetting_of

    found = wetting_of(design, design.surface_tension)
    assert found is not None
    return found


def _lip_rows() -> list[Row]:
    from scipy.optimize import brentq

    from conegap.solver.liquid.contact_line import slope_on_meshes
    from conegap.solver.liquid.shape import cap

    rows = []
    for pressure in (0.0, 4e3):
        design = _design("slit", pressure, 25.0)
        wetting = _wetting(design)
        inner = design.dimension("emitter.channel_height").value / 2.0
        lip = design.dimension("emitter.lip_radius").value
        angle = math.radians(25.0)

        def excess(
            alpha: float,
            inner: float = inner,
            lip: float = lip,
            angle: float = angle,
            bend: float = wetting.pressure,
        ) -> float:
            return math.sin(angle + alpha) - bend * (inner + lip * (1.0 + math.sin(alpha)))

        alpha = float(brentq(excess, -angle - 0.3, 0.5))
        exact = inner + lip * (1.0 + math.sin(alpha))

        def load(t: float, wetting: Wetting = wetting, angle: float = angle) -> float:
            place = wetting.wall.at(1, t)
            slope = angle + place.tangent
            shape = cap(slope, wetting.modes, "planar")
            return slope_on_meshes(wetting, place, shape, None, slope, (2,)).value

        # Where the solver's surface about to advance needs no voltage.
        t = float(brentq(load, 0.38, 0.48, xtol=1e-9))
        rows.append(
            Row("line on a round lip without field", _GIBBS,
                f"half width of the liquid at {pressure:g} Pa [m]", exact,
                wetting.wall.at(1, t).position[0], 1e-8)
        )  # fmt: skip
    return rows


def _force_rows() -> list[Row]:
    from conegap.solver.liquid.contact_line import from_rest, slope_on_meshes
    from conegap.solver.liquid.contact_section import Station

    rows = []
    for name, design, piece, t in (
        ("lip of a slit, 20 deg", _design("slit", 0.0, 20.0), 1, 0.6),
        ("rim of a tube, 40 deg", _design("capillary", 2e4, 40.0), 2, 0.25),
    ):
        wetting = _wetting(design)
        place = wetting.wall.at(piece, t)
        last = from_rest(wetting, Station(piece, t, place, True))[-1]
        slope = wetting.advancing + place.tangent
        at = slope_on_meshes(
            wetting, place, last.shape, last.electric_bond_number, slope, (2, 4, 8)
        ).equilibrium
        rows.append(
            Row(name, _FORCES, "pull and pressure over tension, less 1 [-]", 0.0,
                force_closure(at), 1e-5, "absolute",
                note="the balance solved is normal to the surface, this one is axial")
        )  # fmt: skip
    return rows
