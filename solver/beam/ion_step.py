"""One step of the embedded Runge-Kutta pair of Dormand and Prince, and where it leaves its piece.

The coefficients are SciPy's: Dormand and Prince (J. Comput. Appl. Math. 6, 1980, 19) with the
continuous extension of order four by Shampine (Math. Comp. 46, 1986, 135), whose weights stand in
powers of the share.

State, (4, n) array: x, z and their velocities, scaled as in `conegap.solver.beam.trajectories`.
"""

from __future__ import annotations

import numpy as np
from scipy.integrate import RK45

from conegap.geometries.curves.curve import FloatArray, IntArray
from conegap.solver.field.smooth_potential import Cubics

__all__ = ["exit_edge", "stages_of", "state_between", "step_error"]

_ROWS = (*(RK45.A[k, :k] for k in range(6)), RK45.B)  # weights of the earlier stages
# Barycentric, within rounding.
_OUTSIDE = -1e-12


def stages_of(cubics: Cubics, local: FloatArray, step: FloatArray) -> FloatArray:
    """Derivatives of the state at the stages of one step, (7, 4, n) array.

    Parameters
    ----------
    cubics : Cubics
        Piece of the potential of every ion.
    local : (4, n) array
        Place and velocity in the coordinates u and v of the piece.
    step : (n,) array
    """
    stages = np.empty((7, *local.shape))
    flat = stages.reshape(7, -1)
    terms = np.ones((6, local.shape[1]))
    at = local
    for number in range(7):
        if number:
            at = local + step * (_ROWS[number] @ flat[:number]).reshape(local.shape)
        terms[1:3] = at[:2]
        np.multiply(at[0], at[:2], out=terms[3:5])
        np.multiply(at[1], at[1], out=terms[5])
        stages[number, :2] = at[2:]
        np.einsum("ktn,tn->kn", cubics.acceleration, terms, out=stages[number, 2:])
    return stages


def step_error(
    cubics: Cubics, stages: FloatArray, step: FloatArray, cell: FloatArray
) -> FloatArray:
    """Estimated error of one step: of the place over the spacing, or of the velocity, (n,) array.

    Parameters
    ----------
    stages : (7, 4, n) array
    step : (n,) array
    cell : (n,) array
        Spacing of the mesh.
    """
    slip = step * (RK45.E @ stages.reshape(7, -1)).reshape(stages.shape[1:])
    slip = np.abs(cubics.turned(slip))
    slip[:2] /= cell
    return np.asarray(slip.max(axis=0))


def state_between(
    local: FloatArray, stages: FloatArray, step: FloatArray, share: FloatArray
) -> FloatArray:
    """State after a share of each step, in u and v, (4, n) array.

    Parameters
    ----------
    local : (4, n) array
    stages : (7, 4, n) array
    step : (n,) array
    share : (n,) array
        0 to 1, [-].
    """
    powers = np.empty((4, len(share)))
    powers[0] = share
    for k in range(1, 4):
        np.multiply(powers[k - 1], share, out=powers[k])
    weights = RK45.P @ powers
    return np.asarray(local + step * np.einsum("sn,scn->cn", weights, stages))


def exit_edge(
    local: FloatArray, stages: FloatArray, step: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Share of each step until the ion leaves its piece, and through which side.

    Parameters
    ----------
    local : (4, n) array
        Place and velocity in u and v.
    stages : (7, 4, n) array
    step : (n,) array

    Returns
    -------
    (n,) array
        1 where it stays inside, [-].
    (n,) array of int
        Barycentric coordinate that becomes negative, -1 where none does.
    """
    count = local.shape[1]
    # Coordinate c along the step is the polynomial with the coefficients g[:, c].
    g = np.empty((5, 3, count))
    g[0, :2] = local[:2]
    g[1:, :2] = (RK45.P.T @ stages[:, :2].reshape(7, -1)).reshape(4, 2, count) * step
    g[:, 2] = -g[:, 0] - g[:, 1]
    g[0, 2] += 1.0
    leaves = g.sum(axis=0) < _OUTSIDE
    g0, g1, g2, g3, g4 = g
    root = np.sqrt(np.maximum(g1 * g1 - 4.0 * g0 * g2, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        s = 2.0 * g0 / (root - g1)
        s = np.where((s > 0.0) & (s < 1.0), s, s >= 1.0)
        for _ in range(2):
            value = g0 + s * (g1 + s * (g2 + s * (g3 + s * g4)))
            slope = g1 + s * (2.0 * g2 + s * (3.0 * g3 + s * (4.0 * g4)))
            s = s - value / slope
            s = np.where((s > 0.0) & (s < 1.0), s, s >= 1.0)
    s = np.where(leaves, s, 2.0)
    side = np.argmin(s, axis=0)
    share = s[side, np.arange(count)]
    stays = share > 1.0
    return np.where(stays, 1.0, share), np.where(stays, -1, side)
