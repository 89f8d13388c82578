"""Flows of ions in the field of their own charge that are known without a mesh.

Radial flows are followed with the ion (from plane, cylinder or sphere, outward): Gauss's law says
that the flux of the field through the surface that the ion has reached is that at the emitter plus
the charge sent after it, E r^n = E0 + j t, so that r'' = (E0 + j t) / r^n in time.  That is regular
where the density has no limit, and shares nothing with Poisson's equation on a mesh.  Units here:
the inner radius r0, the voltage V, the speed u = sqrt(e V / m); the current density J0 at the
emitter is j eps0 V u / r0^2.  The limits are those of Child, and of Langmuir and Blodgett for
cylinders and spheres, whose papers were not opened: all numbers here are derived.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.polynomial import Polynomial
from scipy.constants import elementary_charge, epsilon_0
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from conegap.geometries.curves.curve import FloatArray

__all__ = [
    "CHILD",
    "Shape",
    "beam_spread",
    "current_unit",
    "langmuir_coefficients",
    "langmuir_factor",
    "langmuir_series",
    "plane_share",
    "radial_current",
    "radial_field",
]

Shape = Literal["plane", "cylinder", "sphere"]
_POWER = {"plane": 0, "cylinder": 1, "sphere": 2}
CHILD = 4.0 * math.sqrt(2.0) / 9.0
"""Child's law in these units: j (r1 - r0)^2, [-]."""
# Of a a' and of a a in `langmuir_coefficients`.
_SLOPES: dict[Shape, tuple[float, float]] = {"cylinder": (4.0, 1.0), "sphere": (3.0, 0.0)}
# Powers of ln(r1 / r0): what is left out changes the factor of a ratio of 5 by less than 1e-8.
_TERMS = 16


def current_unit(inner: float, voltage: float, mass: float) -> float:
    """Current density at the emitter of j = 1, [A/m^2].

    Parameters
    ----------
    inner : float
        Radius of the emitter; of plates the unit of length, [m].
    voltage : float
        [V].
    mass : float
        Of an ion, [kg].
    """
    speed = math.sqrt(elementary_charge * voltage / mass)
    return float(epsilon_0 * voltage * speed / inner**2)


def _energy(shape: Shape, ratio: float, field: float, current: float) -> float:
    """Kinetic energy at the outer electrode for a field and a current at the emitter, over e V."""
    power = _POWER[shape]

    def along(t: float, state: list[float]) -> list[float]:
        return [state[1], (field + current * t) / state[0] ** power]

    def there(_: float, state: list[float]) -> float:
        return state[0] - ratio

    there.terminal = True  # type: ignore[attr-defined]
    # The last one to arrive starts without a field, from plates, with the acceleration j t.
    most = 40.0 * ratio * (1.0 + (6.0 * ratio / max(current, 1e-9)) ** (1.0 / 3.0))
    found = solve_ivp(
        along, (0.0, most), [1.0, 0.0], events=there, rtol=1e-11, atol=1e-13, method="DOP853"
    )
    return float(0.5 * found.y_events[0][0][1] ** 2)


def radial_current(shape: Shape, ratio: float, field: float) -> float:
    """Current density j at the emitter that leaves a field there.

    Parameters
    ----------
    shape : "plane", "cylinder" or "sphere"
    ratio : float
        Outer over inner radius; of plates 1 plus the gap, > 1, [-].
    field : float
        At the emitter, in units of V / r0; 0 gives the limit of space charge, [-].
    """
    most = 2.0 * CHILD * max(1.0, 1.0 / (ratio - 1.0) ** 2) * ratio
    least = 1e-9
    return float(brentq(lambda j: _energy(shape, ratio, field, j) - 1.0, least, most, xtol=1e-13))


def radial_field(shape: Shape, ratio: float, current: float) -> float:
    """Field at the emitter under a current density j below the limit, in units of V / r0.

    Parameters
    ----------
    shape : "plane", "cylinder" or "sphere"
    ratio : float
        As in `radial_current`, [-].
    current : float
        j, [-].
    """
    bare = {"plane": 1.0 / (ratio - 1.0), "cylinder": 1.0 / math.log(ratio)}
    most = bare.get(shape, ratio / (ratio - 1.0))
    return float(
        brentq(lambda e: _energy(shape, ratio, e, current) - 1.0, 0.0, 1.01 * most, xtol=1e-13)
    )


def plane_share(field: float) -> float:
    """Current over its limit between plates that leaves a share of the field without charge, [-].

    Poisson's equation integrates to (u - e)^2 (u + 2 e) = 12 k^2 with u^2 = e^2 + 4 k, where e is
    that share and k is 4/9 at the limit (derived).  Cylinders and spheres follow it within 1 %
    whatever their radii, and ever closer towards the limit.

    Parameters
    ----------
    field : float
        Field at the emitter over that without charge, 0 to 1, [-].
    """

    def miss(k: float) -> float:
        u = math.sqrt(field**2 + 4.0 * k)
        return (u - field) ** 2 * (u + 2.0 * field) - 12.0 * k * k

    # Near k = 0 the difference is 12 k^2 (1 / field - 1): positive as long as there is room.
    return 2.25 * float(brentq(miss, 1e-6 * (1.0 - field), 4.0 / 9.0, xtol=1e-14))


def langmuir_factor(shape: Shape, ratio: float) -> float:
    """The factor beta^2 of cylinders or alpha^2 of spheres, emitter inside, [-].

    I / l = (8 pi eps0 / 9) sqrt(2 e / m) V^1.5 / (r1 beta^2), and
    I = (16 pi eps0 / 9) sqrt(2 e / m) V^1.5 / alpha^2.

    Parameters
    ----------
    shape : "cylinder" or "sphere"
    ratio : float
        Outer over inner radius, > 1, [-].
    """
    limit = radial_current(shape, ratio, 0.0)
    return CHILD / (limit * (ratio if shape == "cylinder" else 1.0))


def langmuir_coefficients(shape: Shape, terms: int = _TERMS) -> FloatArray:
    """Coefficients of the powers 0 to ``terms`` of ln(r / r0) in a, root of the factor, [-].

    With a potential that goes as a^(4/3) (times r^(2/3) of a cylinder), Poisson's equation at the
    limit of space charge becomes 3 a a'' + a'^2 + m a a' + q a^2 = 1 in ln(r / r0), with a = 0 and
    a' = 1 at the emitter; m = 4 and q = 1 for a cylinder, 3 and 0 for a sphere.  Source: derived.

    Parameters
    ----------
    shape : "cylinder" or "sphere"
    terms : int
        >= 1.

    Returns
    -------
    (terms + 1,) array
    """
    m, q = _SLOPES[shape]
    found = np.zeros(terms + 1)
    found[1] = 1.0
    for n in range(2, terms + 1):
        a = Polynomial(found)
        left = 3.0 * a * a.deriv(2) + a.deriv() ** 2 + m * a * a.deriv() + q * a * a
        found[n] = -left.coef[n - 1] / (3.0 * n * (n - 1) + 2.0 * n)
    return found


def langmuir_series(shape: Shape, ratio: float) -> float:
    """`langmuir_factor` by the series in ln(r1 / r0), for ratios up to 5, [-].

    Parameters
    ----------
    shape : "cylinder" or "sphere"
    ratio : float
        Outer over inner radius, > 1, [-].
    """
    return float(Polynomial(langmuir_coefficients(shape))(math.log(ratio))) ** 2


def beam_spread(widening: float) -> float:
    """Distance over radius times sqrt(2 K) at which a parallel round beam has widened, [-].

    r'' = K / r with the perveance K = e I / (2 pi eps0 m v^3) gives
    z sqrt(2 K) / r_0 = integral of 1 / sqrt(ln u) from 1 to r / r_0 (the universal curve of
    textbooks on beams; derived).

    Parameters
    ----------
    widening : float
        r / r_0, > 1, [-].
    """
    # u = exp(s^2) takes the root out of the start.
    last = math.sqrt(math.log(widening))
    return float(quad(lambda s: 2.0 * math.exp(s * s), 0.0, last, epsabs=0.0, epsrel=1e-12)[0])
