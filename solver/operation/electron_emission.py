"""Field emission of electrons from the negative electrode, by the law of Murphy and Good.

J = (a F^2 / (t^2 phi)) exp(-v b phi^(3/2) / F) at zero temperature, with the image-rounded barrier;
E. L. Murphy and R. H. Good, Phys Rev 102, 1464 (1956).  The barrier functions v and t are
R. G. Forbes' simple approximations (R. G. Forbes and J. H. B. Deane, Proc R Soc A 463, 2907 (2007),
abstract read: v within 0.0025); tests hold them against the elliptic integrals.  The constants a, b
and c follow from CODATA values.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.constants import electron_mass, elementary_charge, epsilon_0, h

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.field.solution import SurfaceField

__all__ = [
    "FIRST_CONSTANT",
    "IMAGE_CONSTANT",
    "SECOND_CONSTANT",
    "ElectronCurrent",
    "barrier_correction",
    "current_density",
    "decay_correction",
    "electron_current",
    "scaled_field",
]

FIRST_CONSTANT = float(elementary_charge**3 / (8.0 * math.pi * h))
"""a = e^3 / (8 pi h), [A J V^-2]."""
SECOND_CONSTANT = float(
    8.0 * math.pi * math.sqrt(2.0 * electron_mass) / (3.0 * elementary_charge * h)
)
"""b = 8 pi sqrt(2 m) / (3 e h), [J^(-3/2) V/m]."""
IMAGE_CONSTANT = float(elementary_charge**3 / (4.0 * math.pi * epsilon_0))
"""c^2 = e^3 / (4 pi eps0), so that f = c^2 F / phi^2, [J^2 m/V]."""

# Midpoints per segment: the current density changes by orders of magnitude along one, and
# follows the field exponentially.
_PARTS_OF_A_SEGMENT = 8


@dataclass(frozen=True)
class ElectronCurrent:
    """Electrons that leave a surface.

    Parameters
    ----------
    work_function : float
        [J].
    protrusion_factor : float
        Field on an assumed micro-protrusion over the field of the smooth surface, [-].
    current : float
        Over the whole surface, as if a protrusion stood everywhere: an upper bound; [A]
        (axisymmetric, or planar with a depth).
    greatest_density : float
        At the place of the greatest field, [A/m^2].
    greatest_scaled_field : float
        f there; at 1 the barrier is gone and the law ends, [-].
    """

    work_function: float
    protrusion_factor: float
    current: float
    greatest_density: float
    greatest_scaled_field: float

    @property
    def barrier_stands(self) -> bool:
        """Whether the law holds everywhere on the surface (f below 1)."""
        return self.greatest_scaled_field < 1.0


def scaled_field(field: FloatArray, work_function: float) -> FloatArray:
    """f = c^2 F / phi^2: field over the field that pulls the barrier down to the Fermi level.

    Parameters
    ----------
    field : (n,) array
        F, the strength that pulls electrons out, >= 0, [V/m].
    work_function : float
        phi, > 0, [J].

    Returns
    -------
    (n,) array
        [-].
    """
    return np.asarray(IMAGE_CONSTANT * np.asarray(field, dtype=float) / work_function**2)


def barrier_correction(scaled: FloatArray) -> FloatArray:
    """v(f) = 1 - f + (f / 6) ln f, within 0.0024 of the elliptic-integral form on 0 to 1.

    Parameters
    ----------
    scaled : (n,) array
        f between 0 and 1; larger values count as 1, [-].

    Returns
    -------
    (n,) array
        [-].  R. G. Forbes (2006).
    """
    f = np.clip(np.asarray(scaled, dtype=float), 0.0, 1.0)
    return np.asarray(1.0 - f + f * np.log(np.maximum(f, 1e-300)) / 6.0)


def decay_correction(scaled: FloatArray) -> FloatArray:
    """t(f) = 1 + f / 9 - (f / 18) ln f, which goes with `barrier_correction`.

    Parameters
    ----------
    scaled : (n,) array
        f between 0 and 1; larger values count as 1, [-].

    Returns
    -------
    (n,) array
        [-].  R. G. Forbes (2006); t = v - (4/3) f dv/df.
    """
    f = np.clip(np.asarray(scaled, dtype=float), 0.0, 1.0)
    return np.asarray(1.0 + f / 9.0 - f * np.log(np.maximum(f, 1e-300)) / 18.0)


def current_density(field: FloatArray, work_function: float) -> FloatArray:
    """Current density of field emission at zero temperature.

    Parameters
    ----------
    field : (n,) array
        Strength of the field that pulls electrons out; 0 or less gives none, [V/m].
    work_function : float
        phi, [J].

    Returns
    -------
    (n,) array
        J, [A/m^2].  Where f exceeds 1 the barrier is gone: the value is then a lower bound.
        E. L. Murphy and R. H. Good, Phys Rev 102, 1464 (1956).

    Raises
    ------
    ValueError
        The work function is not positive.
    """
    if not work_function > 0.0:
        raise ValueError(f"the work function {work_function} J must be positive")
    pull = np.maximum(np.asarray(field, dtype=float), 0.0)
    f = scaled_field(pull, work_function)
    strength = np.maximum(pull, 1.0)  # 1 V/m emits nothing; avoids a division by zero
    exponent = -barrier_correction(f) * SECOND_CONSTANT * work_function**1.5 / strength
    before = FIRST_CONSTANT * pull**2 / (work_function * decay_correction(f) ** 2)
    return np.asarray(before * np.exp(np.maximum(exponent, -700.0)) * (exponent > -700.0))


def electron_current(
    surface: SurfaceField,
    *,
    work_function: float,
    protrusion_factor: float,
    depth: float | None,
    mirrored: bool = False,
) -> ElectronCurrent:
    """Electron current of a surface from the field along it.

    J(beta F) is integrated over the places where the field points into the conductor.  The field
    is taken as straight between the points of the surface, in eight parts per segment.

    Parameters
    ----------
    surface : SurfaceField
        From `FieldSolution.surface`, at the voltages in question; closed outlines may follow each
        other.
    work_function : float
        phi, [J].
    protrusion_factor : float
        beta, assumed, >= 1, [-].
    depth : float or None
        Length along y of a planar section, None around an axis, [m].
    mirrored : bool
        The section is one half; counts twice.

    Raises
    ------
    ValueError
        Work function, factor or depth is out of range.
    """
    if not protrusion_factor >= 1.0:
        raise ValueError(f"the micro-protrusion factor {protrusion_factor} must be 1 or more")
    if depth is not None and not depth > 0.0:
        raise ValueError(f"the depth {depth} m must be positive")
    pull = -protrusion_factor * surface.field
    total = 0.0
    middle = (np.arange(_PARTS_OF_A_SEGMENT) + 0.5) / _PARTS_OF_A_SEGMENT
    for first, last in _chains(surface.points):
        points, along = surface.points[first : last + 1], pull[first : last + 1]
        length = np.hypot(*np.diff(points, axis=0).T)
        here = along[:-1, None] + np.diff(along)[:, None] * middle
        if depth is None:
            radius = points[:-1, 0, None] + np.diff(points[:, 0])[:, None] * middle
            width = 2.0 * math.pi * np.abs(radius)
        else:
            width = np.full_like(here, depth * (2.0 if mirrored else 1.0))
        density = current_density(here, work_function)
        total += float(np.sum(density * width * length[:, None]) / _PARTS_OF_A_SEGMENT)
    most = max(float(pull.max()), 0.0)
    return ElectronCurrent(
        work_function=work_function,
        protrusion_factor=protrusion_factor,
        current=total,
        greatest_density=float(current_density(np.array([most]), work_function)[0]),
        greatest_scaled_field=float(scaled_field(np.array([most]), work_function)[0]),
    )


def _chains(points: FloatArray) -> list[tuple[int, int]]:
    """First and last point of each outline; an outline ends where it closes on itself."""
    size = float(np.ptp(points, axis=0).max())
    chains, first = [], 0
    for k in range(1, len(points)):
        closes = k > first + 1 and np.hypot(*(points[k] - points[first])) < 1e-9 * size
        if closes or k == len(points) - 1:
            chains.append((first, k))
            first = k + 1
    return [(a, b) for a, b in chains if b > a]
