"""One step of the embedded Runge-Kutta pair of Dormand and Prince, and where it leaves its piece.

State, (4, n) array: x, z and their velocities, scaled as in `conegap.solver.beam.trajectories`.
"""

from __future__ import annotations

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.field.smooth_potential import Cubics
from conegap.solver.mesh.coarse_mesh import IntArray

__all__ = ["exit_edge", "stages_of", "state_between", "step_error"]

_STAGES = np.zeros((7, 7))
_STAGES[1, :1] = (1 / 5,)
_STAGES[2, :2] = (3 / 40, 9 / 40)
_STAGES[3, :3] = (44 / 45, -56 / 15, 32 / 9)
_STAGES[4, :4] = (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729)
_STAGES[5, :5] = (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656)
_STAGES[6, :6] = (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84)
_ERROR = np.array([71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40])
# Shampine's continuous extension of order four: weights of the stages in powers of the share.
_BETWEEN = np.array(
    [
        [1, -8048581381 / 2820520608, 8663915743 / 2820520608, -12715105075 / 11282082432],
        [0, 0, 0, 0],
        [0, 131558114200 / 32700410799, -68118460800 / 10900136933, 87487479700 / 32700410799],
        [0, -1754552775 / 470086768, 14199869525 / 1410260304, -10690763975 / 1880347072],
        [
            0,
            127303824393 / 49829197408,
            -318862633887 / 49829197408,
            701980252875 / 199316789632,
        ],
        [0, -282668133 / 205662961, 2019193451 / 616988883, -1453857185 / 822651844],
        [0, 40617522 / 29380423, -110615467 / 29380423, 69997945 / 29380423],
    ]
)
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
            at = local + step * (_STAGES[number, :number] @ flat[:number]).reshape(local.shape)
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
    cubics : Cubics
    stages : (7, 4, n) array
    step : (n,) array
    cell : (n,) array
        Spacing of the mesh.
    """
    slip = step * (_ERROR @ stages.reshape(7, -1)).reshape(stages.shape[1:])
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
    weights = _BETWEEN @ powers
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
    g[1:, :2] = (_BETWEEN.T @ stages[:, :2].reshape(7, -1)).reshape(4, 2, count) * step
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
