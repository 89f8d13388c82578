"""Stability of a liquid surface against waves across its section.

A surface in balance is displaced outward by eta(s) cos(m phi) around the axis, or eta(s) cos(k y)
along a slit, pinned at the contact line.  The change of pressure is that of surface tension,
-(div grad + kappa1^2 + kappa2^2) eta, less that of the field, lambda e (de), where the potential's
change obeys Laplace's equation with the wave's m^2 / r^2 or k^2.  The surface is stable while the
smallest eigenvalue of this balance is positive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial import chebyshev
from scipy.interpolate import make_interp_spline
from scipy.linalg import eigh

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.liquid.meniscus import MeniscusProblem
from conegap.solver.liquid.moving_field import SurfaceState
from conegap.solver.liquid.shape import MeniscusShape

__all__ = ["StabilityMatrices", "Wave", "critical_strength", "smallest_eigenvalue", "stability"]

Parity = Literal["even", "odd"]


@dataclass(frozen=True)
class Wave:
    """A wave across the section.

    Parameters
    ----------
    around : int
        Waves m around the axis (axisymmetric sections), [-].
    along : float
        Wave number k along the slit in inverse half widths (planar sections), [-].
    parity : "even" or "odd"
        Symmetry about the middle of a slit; around an axis m decides it.
    volume_held : bool
        Only displacements that keep the volume; others keep it by themselves when m or k is not
        zero or the parity is odd.
    """

    around: int = 0
    along: float = 0.0
    parity: Parity = "even"
    volume_held: bool = False

    @property
    def vanishes_in_the_middle(self) -> bool:
        """Whether displacement and potential change are zero on the axis."""
        return self.around > 0 or self.parity == "odd"


@dataclass(frozen=True)
class StabilityMatrices:
    """Tension, field and mass matrices of a displaced surface.

    Stable at strength lambda when tension - lambda field is positive definite.

    Parameters
    ----------
    tension, field, mass : (n, n) arrays
    """

    tension: FloatArray
    field: FloatArray
    mass: FloatArray


def stability(
    problem: MeniscusProblem,
    shape: MeniscusShape,
    wave: Wave,
    modes: int = 12,
    still: SurfaceState | None = None,
) -> StabilityMatrices:
    """Matrices of a wave on a given shape.

    Parameters
    ----------
    problem : MeniscusProblem
        Gives the field on the shape.
    modes : int
        Number of displacement functions, [-].
    still : SurfaceState or None
        ``problem.state(shape)`` where it is at hand, for several waves on one shape.

    Raises
    ------
    ValueError
        A wave along the slit on an axisymmetric surface, or around the axis on a planar one.
    """
    round_section = shape.symmetry == "axisymmetric"
    if (round_section and wave.along) or (not round_section and wave.around):
        raise ValueError("a wave runs around an axis or along a slit, according to the section")
    state = problem.field.wave_state(
        problem.state(shape) if still is None else still,
        wave.around,
        wave.along / problem.radius,
        wave.vanishes_in_the_middle,
    )
    ratio = problem.radius / problem.field.scale
    nodes = state.fraction
    length = shape.length
    places, gauss = np.polynomial.legendre.leggauss(4 * modes)
    s, weight = 0.5 * (1.0 + places), 0.5 * gauss * length
    r = shape.points(s)[:, 0]
    if round_section:
        weight = weight * r
    eta, slope = _displacements(s, wave, modes)
    slope = slope / length
    plane = shape.slope_derivative(s) / length
    azimuth = np.sin(shape.slope(s)) / r if round_section else np.zeros_like(s)
    across = (wave.around / r) ** 2 if round_section else np.full_like(s, wave.along**2)
    tension = (slope * weight) @ slope.T
    tension += (eta * (weight * (across - plane**2 - azimuth**2))) @ eta.T
    field = state.field * ratio
    at_nodes = _displacements(nodes, wave, modes)[0] * field
    change = state.response(at_nodes) * ratio - shape.curvature(nodes) * at_nodes
    pull = _even_spline(nodes, field * change, s)
    electric = (eta * weight) @ pull.T
    mass = (eta * weight) @ eta.T
    matrices = (tension, 0.5 * (electric + electric.T), mass)
    if wave.volume_held and not wave.vanishes_in_the_middle and wave.along == 0.0:
        keep = _volume_keeping((eta * weight).sum(axis=1))
        matrices = tuple(keep.T @ m @ keep for m in matrices)  # type: ignore[assignment]
    return StabilityMatrices(*matrices)


def smallest_eigenvalue(matrices: StabilityMatrices, electric_bond_number: float) -> float:
    """Smallest eigenvalue of the balance at a strength; positive when stable, [-].

    Parameters
    ----------
    electric_bond_number : float
        lambda = eps0 V^2 / (gamma a), [-].
    """
    return float(
        eigh(
            matrices.tension - electric_bond_number * matrices.field,
            matrices.mass,
            eigvals_only=True,
        )[0]
    )


def critical_strength(matrices: StabilityMatrices) -> float:
    """Smallest strength at which a fixed shape becomes unstable, [-].

    For a shape that stays in balance while the electric Bond number grows (a flat surface whose
    gauge pressure follows the field).
    """
    inverse = eigh(matrices.field, matrices.tension, eigvals_only=True)
    return float(1.0 / inverse[-1])


def _displacements(s: FloatArray, wave: Wave, modes: int) -> tuple[FloatArray, FloatArray]:
    """Pinned displacement functions and their derivatives in s, (modes, n) arrays."""
    power = wave.around if wave.around else (1 if wave.parity == "odd" else 0)
    values, slopes = [], []
    for k in range(modes):
        series = np.zeros(2 * k + 1)
        series[-1] = 1.0
        even = np.polynomial.Polynomial(chebyshev.cheb2poly(series))
        function = even * np.polynomial.Polynomial([1.0, 0.0, -1.0])
        function = function * np.polynomial.Polynomial([0.0, 1.0]) ** power
        values.append(function(s))
        slopes.append(function.deriv()(s))
    return np.array(values), np.array(slopes)


def _even_spline(nodes: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    """Values at points from values at the mesh's nodes, row by row."""
    return np.asarray(make_interp_spline(nodes, values.T, k=3)(at)).T


def _volume_keeping(weights: FloatArray) -> FloatArray:
    """Orthonormal combinations of displacements without volume, (n, n - 1) array."""
    full, _ = np.linalg.qr(np.column_stack([weights, np.eye(len(weights))[:, 1:]]))
    return np.asarray(full[:, 1:])
