"""Flat pinned liquid surfaces in a plane conductor: where each wave begins to grow, by Galerkin.

A surface flush with a grounded plane, pinned at its edge, with the gauge pressure that keeps it
flat, feels the pull of the field E0 at a displacement eta through the half-space above.  It is
neutral where, in units of the radius or half width a,

    integral of |grad eta|^2 = W x integral of k |eta_k|^2,    W = eps0 E0^2 a / gamma,

eta_k being the transform of eta over the whole plane.  The transform of
eta = r^m (1 - r^2) P_n^(1,m)(1 - 2 r^2) cos(m phi), or (1 - x^2) P_n^(1,1)(x), is a multiple of
J_mu(k) / k^2 (disc) or J_mu(k) / k^(3/2) (strip), with mu = m + 2 + 2 n and n + 3/2.  Both
integrals are then those of Weber and Schafheitlin, the first a diagonal matrix, and only the first
function moves any volume.

Source: derived; the integrals are checked by quadrature.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import eigh
from scipy.special import gamma, rgamma

__all__ = ["disc_threshold", "strip_threshold", "weber_schafheitlin"]


def weber_schafheitlin(mu: float, nu: float, power: float) -> float:
    """Integral of J_mu(t) J_nu(t) / t^power over t from 0 on, for mu + nu + 1 > power > 0, [-]."""
    total, apart = 0.5 * (mu + nu), 0.5 * (mu - nu)
    middle = 0.5 * (power + 1.0)
    below = rgamma(middle + apart) * rgamma(middle - apart) * rgamma(total + middle)
    return float(gamma(power) * gamma(total + 1.0 - middle) * below / 2.0**power)


def _threshold(orders: np.ndarray) -> float:
    """Least W of the functions with Bessel functions of these orders."""
    pull = [[weber_schafheitlin(mu, nu, 2.0) for nu in orders] for mu in orders]
    return float(1.0 / eigh(pull, np.diag(0.5 / orders), eigvals_only=True)[-1])


def disc_threshold(around: int = 0, *, volume_held: bool = False, functions: int = 24) -> float:
    """W = eps0 E0^2 a / gamma at which a flat pinned disc gives way, [-].

    Parameters
    ----------
    around : int
        m of the wave cos(m phi); 1 is a tilt, [-].
    volume_held : bool
        The wave moves no volume; of consequence with m = 0 alone.
    functions : int
        Of the expansion, at most 60, [-].
    """
    first = 2 if volume_held and around == 0 else 0
    return _threshold(around + 2.0 + first + 2.0 * np.arange(functions))


def strip_threshold(*, odd: bool = False, functions: int = 24) -> float:
    """W = eps0 E0^2 a / gamma at which a flat pinned strip of half width a gives way, [-].

    Parameters
    ----------
    odd : bool
        The wave rises on one side and sinks on the other, and so moves no volume.
    functions : int
        Of the expansion, at most 60, [-].
    """
    return _threshold((2.5 if odd else 1.5) + 2.0 * np.arange(functions))
