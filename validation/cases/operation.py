"""Operating point and feed against a full balance of forces, a circuit in time, and a duct."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from scipy.constants import elementary_charge

from conegap.validation.cases.row import Case, Row

if TYPE_CHECKING:
    from conegap.solver.operation.beam_current import CurrentLaw

__all__ = ["operation_cases"]

_DUCT = "derived; Galerkin's method, run here (validation/exact/ducts.py)"
_BALANCE = (
    "balance of forces on a cone with Poisson's equation of the beam integrated "
    "(validation/exact/emission.py), derived"
)
_CIRCUIT = "Kirchhoff's laws with capacitance and a feed that lags, integrated in time"
_MINIMUM = "J. Vac. Sci. Technol. B 15, 2332 (1997), abstract read"

# An indium cone: tension, [N/m], base, [m], onset and extinction in one, [V].
_TENSION, _RADIUS, _ONSET = 0.556, 5e-6, 4e3


def _law() -> CurrentLaw:
    from conegap.geometries.metals.metal import metal
    from conegap.solver.operation.beam_current import CurrentLaw

    return CurrentLaw(_ONSET, _RADIUS, _TENSION, metal("In").ion_mass)


def _fed(law: CurrentLaw, current: float, share: float) -> CurrentLaw:
    """With a feed that takes a share of the stress on the base at a current, [A] and [-]."""
    from conegap.solver.operation.feed_loss import FeedLoss

    per_mass = share * law.held_at(_ONSET) / law.ion_flow(current)
    return replace(law, feed=FeedLoss(common=per_mass))


def _balance_rows() -> list[Row]:
    from scipy.optimize import brentq

    from conegap.validation.exact.emission import pull_limited_current

    rows = []
    excess = 1e-3
    voltage = (1.0 + excess) * _ONSET
    free = _law().at(voltage).current
    base = math.pi * _RADIUS**2
    for share in (0.0, 0.2, 1.0, 5.0):
        # The loss at the current without a feed takes this share of the excess pull, 2 excess.
        law = _fed(_law(), free, 2.0 * excess * share)
        pull = law.held_at(_ONSET) * base
        per_ampere = law.feed.common * law.ion_mass / elementary_charge

        def lacking(current: float, pull: float = pull, per_ampere: float = per_ampere) -> float:
            needed = pull + base * per_ampere * current
            still = _ONSET * math.sqrt(needed / pull)
            if still >= voltage:
                return -current
            found = pull_limited_current(
                voltage,
                onset_voltage=still,
                onset_pull=needed,
                gap=1e-3,
                mass=_law().ion_mass,
            )
            return found - current

        exact = float(brentq(lacking, 1e-6 * free, 1.01 * free, xtol=1e-12 * free))
        rows.append(
            Row(f"current behind a feed that takes {share:g} of the excess pull", _BALANCE,
                "current at 1.001 V0 [A]", exact, law.at(voltage).current, 1e-3,
                note="first order in the excess voltage, 1e-3")
        )  # fmt: skip
    return rows


def _circuit_rows() -> list[Row]:
    import numpy as np
    from scipy.integrate import solve_ivp

    from conegap.solver.operation.operating_point import operating_point

    supply, ballast = 5e3, 20e6
    free = operating_point(_law(), voltage=supply, emitter_voltage=supply, ballast=ballast)
    law = _fed(_law(), free.point.current, 0.3)
    found = operating_point(law, voltage=supply, emitter_voltage=supply, ballast=ballast).point
    per_ampere = law.feed.common * law.ion_mass / elementary_charge
    capacitance, lag = 10e-12, 1e-3

    def rates(_: float, state: np.ndarray) -> list[float]:
        gap, loss = (float(value) for value in state)
        current = law.cone(
            gap,
            extinction_voltage=law.extinction(gap, max(loss, 0.0)),
            base_radius=_RADIUS,
            surface_tension=_TENSION,
            ion_mass=law.ion_mass,
        )
        return [
            ((supply - gap) / ballast - current) / capacitance,
            (per_ampere * current - loss) / lag,
        ]

    # Fifty times the slower of both, so that e^-50 of the start is left.
    run = solve_ivp(rates, (0.0, 50.0 * lag), [_ONSET, 0.0], method="LSODA", rtol=1e-10, atol=1e-8)
    gap, loss = (float(value) for value in run.y[:, -1])
    return [
        Row("operating point, ballast and feed", _CIRCUIT, "voltage across the gap [V]", gap,
            found.voltage, 1e-7, note="the tolerance of the integration"),
        Row("operating point, ballast and feed", _CIRCUIT, "pressure loss of the feed [Pa]", loss,
            found.pressure_loss, 1e-7, note="the tolerance of the integration"),
    ]  # fmt: skip


def _groove_rows() -> list[Row]:
    from conegap.solver.operation.feed_laws import groove_resistance
    from conegap.validation.exact.ducts import duct_resistance

    rows = []
    for depth in (0.5, 0.25, 0.125, 0.0625):
        # Half of the duct: its flow is half, its resistance twice.
        exact = 2.0 * duct_resistance(width=1.0, height=2.0 * depth)
        found = groove_resistance(viscosity=1.0, length=1.0, width=1.0, depth=depth)
        rows.append(
            Row(f"groove {depth:g} times as deep as wide", _DUCT,
                "flow resistance over viscosity and length, width 1 m [1/m^4]", exact, found, 2e-6,
                note="half a closed duct; the series in use leaves out 1.2e-6 of a square one")
        )  # fmt: skip
    return rows


def _smallest_rows() -> list[Row]:
    from conegap.solver.operation.smallest_current import smallest_current

    found = smallest_current("Ga", 303.15)
    return [
        Row("smallest steady current of gallium", _MINIMUM, "model over fit at 303.15 K [-]", 1.0,
            found.high / found.low, 0.02,
            note="published model and published fit to measurements, near the melting point"),
    ]  # fmt: skip


def operation_cases() -> list[Case]:
    """Cases of the operating point and the feed."""
    return [
        Case("current behind a feed", _balance_rows),
        Case("operating point", _circuit_rows),
        Case("grooves", _groove_rows),
        Case("smallest steady current", _smallest_rows),
    ]
