"""Electron emission, ion current, thrust factors and feed against tables and closed forms."""

from __future__ import annotations

import math

from scipy.constants import elementary_charge

from conegap.validation.cases.row import Case, Row

__all__ = ["emission_cases"]

_FORBES = "R. G. Forbes and J. H. B. Deane, Proc R Soc A 463, 2907 (2007), abstract read"
_TUNNEL = (
    "derived, barrier with image force and energies of the electrons integrated here "
    "(validation/exact/emission.py)"
)
_MAIR = "derived, Poisson's equation of the beam integrated here (validation/exact/emission.py)"
_CRANBERG = "L. Cranberg, J Appl Phys 23, 518 (1952), end points of the abstract, paired by us"

# Work functions eV and fields V/nm: clean metal from no current to the most, and caesium on it.
_FIELDS = ((4.5, 2.0), (4.5, 3.0), (4.5, 5.0), (4.5, 7.0), (2.14, 1.0))


def _electron_rows() -> list[Row]:
    import numpy as np

    from conegap.solver.operation.electron_emission import current_density, scaled_field
    from conegap.validation.exact.emission import barrier_top_field, tunnelled_current

    rows = []
    for phi, field in _FIELDS:
        strength, energy = field * 1e9, phi * elementary_charge
        density = current_density(np.array([strength]), energy)
        rows.append(
            Row(f"field emission, {phi:g} eV at {field:g} V/nm", _TUNNEL,
                "current density [A/m^2]", tunnelled_current(strength, energy),
                float(density[0]), 0.06,
                note="up to 6 %: the law takes the slope of the barrier at the Fermi level and v(f)"
                " within 0.0024")
        )  # fmt: skip
    for phi in (4.5, 2.14):
        energy = phi * elementary_charge
        whole = scaled_field(np.array([barrier_top_field(energy)]), energy)
        rows.append(
            Row("field emission, end of the barrier", "barrier with image force, found by search",
                f"scaled field f where it ends, {phi:g} eV [-]", 1.0, float(whole[0]), 1e-9)
        )  # fmt: skip
    return rows


def _barrier_rows() -> list[Row]:
    import numpy as np

    from conegap.solver.operation.electron_emission import (
        SECOND_CONSTANT,
        barrier_correction,
    )
    from conegap.validation.exact.emission import barrier_top_field, tunnel_exponent

    energy = 4.5 * elementary_charge
    f = np.linspace(0.02, 0.98, 49)
    fields = f * barrier_top_field(energy)
    triangle = SECOND_CONSTANT * energy**1.5 / fields
    exact = np.array([tunnel_exponent(float(field), energy) for field in fields]) / triangle
    worst = float(np.abs(barrier_correction(f) - exact).max())
    return [
        Row("barrier function v(f)", _FORBES, "largest distance from the integral [-]", 0.0025,
            worst, 0.0, "at most", note="49 values of f between 0 and 1, by quadrature"),
    ]  # fmt: skip


def _clump_rows() -> list[Row]:
    from conegap.solver.operation.breakdown import CLUMP_CONSTANT

    return [
        Row("clump breakdown", _CRANBERG, "voltage across 6 m [V]", 7e6,
            math.sqrt(CLUMP_CONSTANT * 6.0), 0.0, "at most",
            note="the constant in use is that of the shortest gap, 20 kV across 0.2 mm; it must "
            "stay below the longest, 7 MV"),
    ]  # fmt: skip


def _current_rows() -> list[Row]:
    from conegap.geometries.metals.metal import metal
    from conegap.solver.operation.beam_current import site_current
    from conegap.validation.exact.emission import pull_limited_current
    from conegap.validation.exact.liquid import taylor_half_angle

    rows = []
    radius, excess = 5e-6, 1e-3
    for symbol, onset in (("Ga", 6e3), ("Cs", 5e3)):
        found = metal(symbol)
        tension = float(found.surface_tension(found.melting_point))
        pull = 2.0 * math.pi * radius * tension * math.cos(taylor_half_angle())
        voltage = (1.0 + excess) * onset
        exact = pull_limited_current(
            voltage, onset_voltage=onset, onset_pull=pull, gap=1e-3, mass=found.ion_mass
        )
        current = site_current(
            voltage,
            extinction_voltage=onset,
            base_radius=radius,
            surface_tension=tension,
            ion_mass=found.ion_mass,
        )
        rows.append(
            Row(f"{found.name}, slope of the current", _MAIR, "slope at R = 5 um [A/V]",
                exact / (excess * onset), current / (excess * onset), 5e-4,
                note="0.1 % above the onset, where half of a power of the excess is left; a law of "
                "order of magnitude")
        )  # fmt: skip
    return rows


def _factor_rows() -> list[Row]:
    from scipy.integrate import quad

    from conegap.solver.operation.beam_current import thrust_factor

    weights = {
        "equal per solid angle": math.sin,
        "cosine": lambda t: math.sin(t) * math.cos(t),
        "flat fan": lambda _: 1.0,
    }
    rows = []
    for degrees in (10, 20, 30, 45):
        angle = math.radians(degrees)
        found = thrust_factor(angle)
        computed = (found.uniform, found.cosine, found.fan)
        for (what, weight), value in zip(weights.items(), computed, strict=True):
            along = quad(lambda t, w=weight: w(t) * math.cos(t), 0.0, angle)[0]
            rows.append(
                Row(f"thrust factor at {degrees} deg", "mean cosine of the beam, quadrature",
                    f"{what} [-]", along / quad(weight, 0.0, angle)[0], value, 1e-9)
            )  # fmt: skip
    return rows


def _channel_flow(*, round_bore: bool) -> float:
    """Flow through a channel of half width 1, viscosity 1 and pressure gradient 1, [-].

    The balance of shear (r u')' = -r (or u'' = -1) is solved with u = 0 on the wall; the flow is
    per 2 pi in a bore, per half a channel and depth between plates.
    """
    import numpy as np
    from scipy.integrate import solve_bvp

    def along(r: np.ndarray, y: np.ndarray) -> np.ndarray:
        metric = r if round_bore else np.ones_like(r)
        return np.stack([y[1] / metric, -metric, y[0] * metric])

    def ends(middle: np.ndarray, wall: np.ndarray) -> np.ndarray:
        return np.array([middle[1], middle[2], wall[0]])

    r = np.linspace(1e-6 if round_bore else 0.0, 1.0, 41)
    return float(solve_bvp(along, ends, r, np.zeros((3, len(r))), tol=1e-10).y[2, -1])


def _feed_rows() -> list[Row]:
    from conegap.solver.operation.feed_laws import bore_resistance, plate_resistance

    eta, length, size, width = 1.7e-3, 5e-3, 25e-6, 1e-2
    scale = eta * length
    bore = 2.0 * math.pi * size**4 * _channel_flow(round_bore=True) / scale
    plates = 2.0 * width * (0.5 * size) ** 3 * _channel_flow(round_bore=False) / scale
    source = "balance of shear, boundary-value problem solved by scipy"
    return [
        Row("flow in a bore", source, "resistance [Pa s/m^3]", 1.0 / bore,
            bore_resistance(viscosity=eta, length=length, radius=size), 1e-8),
        Row("flow between plates", source, "resistance [Pa s/m^3]", 1.0 / plates,
            plate_resistance(viscosity=eta, length=length, height=size, width=width), 1e-8),
    ]  # fmt: skip


def emission_cases() -> list[Case]:
    """Cases of electrons, ion current, thrust and feed."""
    return [
        Case("field emission", _electron_rows),
        Case("barrier function", _barrier_rows),
        Case("clump breakdown", _clump_rows),
        Case("ion current", _current_rows),
        Case("thrust factors", _factor_rows),
        Case("feed", _feed_rows),
    ]
