"""Electron and ion emission from their equations, without the closed laws that they are put into.

Electrons tunnel through the barrier phi - e F x - e^2 / (16 pi eps0 x) with the probability
exp(-2 / hbar x integral of sqrt(2 m (barrier - W)) dx) (Jeffreys, Wentzel, Kramers, Brillouin), and
at zero temperature those with normal energy W below the Fermi level are (4 pi m e / h^3) |W| dW.
Ions slow the growth of a cone's pull by the charge that they carry through the gap.

Source: derived.  The integral over the barrier is that of E. L. Murphy and R. H. Good, Phys Rev
102, 1464 (1956), the pull that of G. L. R. Mair, J Phys D 17, 2323 (1984); neither was opened, and
no number here is theirs.
"""

from __future__ import annotations

import math

from scipy.constants import electron_mass, elementary_charge, epsilon_0, h, hbar
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

__all__ = ["barrier_top_field", "pull_limited_current", "tunnel_exponent", "tunnelled_current"]

_IMAGE = elementary_charge**2 / (16.0 * math.pi * epsilon_0)  # J m


def barrier_top_field(work_function: float) -> float:
    """Field whose barrier ends at the Fermi level, found by search, [V/m].

    Parameters
    ----------
    work_function : float
        phi, [J].
    """

    def top(field: float) -> float:
        place = math.sqrt(_IMAGE / (elementary_charge * field))
        return float(work_function - elementary_charge * field * place - _IMAGE / place)

    return float(brentq(top, 1e6, 1e12, rtol=1e-13))


def tunnel_exponent(field: float, work_function: float, below: float = 0.0) -> float:
    """Exponent 2 / hbar x integral of sqrt(2 m (barrier - W)) dx, by quadrature, [-].

    Parameters
    ----------
    field : float
        F, [V/m].
    work_function : float
        phi, [J].
    below : float
        -W, of the electron below the Fermi level, [J].
    """
    height = work_function + below
    force = elementary_charge * field
    apart = math.sqrt(height**2 - 4.0 * force * _IMAGE) / (2.0 * force)
    middle = height / (2.0 * force)
    # x = middle - apart cos(t) takes both roots of the barrier out of the integrand.
    scale = math.sqrt(2.0 * electron_mass * force) * apart**2

    def integrand(t: float) -> float:
        return math.sin(t) ** 2 / math.sqrt(middle - apart * math.cos(t))

    return float(2.0 / hbar * scale * quad(integrand, 0.0, math.pi, epsrel=1e-11)[0])


def tunnelled_current(field: float, work_function: float) -> float:
    """Current density at zero temperature, integrated over the electrons' energies, [A/m^2].

    Parameters
    ----------
    field : float
        F, below `barrier_top_field`, [V/m].
    work_function : float
        phi, [J].
    """
    first = tunnel_exponent(field, work_function)
    # The integrand falls by e over some 0.1 to 0.5 eV.
    unit = 0.1 * elementary_charge

    def integrand(u: float) -> float:
        return u * math.exp(first - tunnel_exponent(field, work_function, u * unit))

    supply = 4.0 * math.pi * electron_mass * elementary_charge / h**3 * unit**2
    return float(supply * math.exp(-first) * quad(integrand, 0.0, 60.0, epsrel=1e-9)[0])


def _space_charge(slope: float) -> float:
    """Load of y'' = load / sqrt(y), y from 0 to 1 over a gap of 1, that starts with a slope, [-].

    y is the part of the voltage that ions from rest have fallen through.
    """

    def miss(load: float) -> float:
        # Over x = s^2, which takes the root out of the start.
        def along(s: float, state: list[float]) -> list[float]:
            inverse = s / math.sqrt(state[0]) if state[0] > 0.0 else 1.0 / math.sqrt(slope)
            return [2.0 * s * state[1], 2.0 * load * inverse]

        found = solve_ivp(along, (0.0, 1.0), [0.0, slope], rtol=1e-11, atol=1e-14, method="DOP853")
        return float(found.y[0, -1]) - 1.0

    # Child's law is 4/9, with no slope at all.
    return float(brentq(miss, 0.0, 4.0 / 9.0, xtol=1e-13))


def pull_limited_current(
    voltage: float, *, onset_voltage: float, onset_pull: float, gap: float, mass: float
) -> float:
    """Ion current that keeps the pull on a flat site at its value at onset, [A].

    The charge between the plates, of the site's surface, holds the field on the emitter at that
    of the onset; Poisson's equation is integrated.

    Parameters
    ----------
    voltage : float
        Above the onset voltage, [V].
    onset_voltage : float
        [V].
    onset_pull : float
        Force of the field at onset without charge, [N].
    gap : float
        Between the plates; drops out, [m].
    mass : float
        Of the singly charged ion, [kg].
    """
    surface = onset_pull / (0.5 * epsilon_0 * (onset_voltage / gap) ** 2)
    speed = math.sqrt(2.0 * elementary_charge * voltage / mass)
    density = _space_charge(onset_voltage / voltage) * epsilon_0 * voltage * speed / gap**2
    return float(density * surface)
