"""What each tolerance, the surface tension, the mesh and the walls add to the onset's scatter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Dimension
from conegap.solver.studies.nominal import Nominal
from conegap.solver.studies.response_surface import NORMAL_SHARE, ResponseSurface

__all__ = ["Share", "other_samples", "shares"]


@dataclass(frozen=True)
class Share:
    """One line of the ranking.

    Parameters
    ----------
    name : str
        Design file key, "surface_tension", "mesh" or "surroundings".
    label : str
        Words for a table.
    low, high : float
        Shift of the onset at the lower and at the upper end of the tolerance, or at minus and
        plus one standard uncertainty, relative and signed, [-].
    share : float
        Part of the variance of log(onset), [-].
    slope : float
        d ln(onset) per tolerance at the drawn value, signed, [-].
    curvature : float
        d2 ln(onset) per tolerance squared, signed; 0 where it is lost in the noise, [-].
    elasticity : float or None
        d ln(onset) / d ln(dimension); None where the drawn value is zero or it has no meaning,
        [-].
    resolved : bool
        Whether the shift stands out of the noise of meshing.
    """

    name: str
    label: str
    low: float
    high: float
    share: float
    slope: float
    curvature: float
    elasticity: float | None
    resolved: bool


def other_samples(nominal: Nominal, samples: int, generator: np.random.Generator) -> FloatArray:
    """Samples of log(onset) from what is no dimension, (n,) array.

    Parameters
    ----------
    samples : int
    generator : numpy.random.Generator
    """
    tension = nominal.tension * generator.standard_normal(samples)
    walls = nominal.surroundings * generator.uniform(-1.0, 1.0, samples)
    mesh = nominal.numerical_error * generator.uniform(-1.0, 1.0, samples)
    lowest = 1e-3  # a surface tension that holds nothing any more is no sample
    balance = 0.5 * np.log(np.maximum(1.0 + nominal.tension_gain * tension, lowest))
    return np.asarray(balance + np.log1p(walls) + np.log1p(mesh))


def shares(
    dimensions: tuple[Dimension, ...],
    bell: tuple[bool, ...],
    response_surface: ResponseSurface,
    nominal: Nominal,
    noise: float,
) -> tuple[Share, ...]:
    """Every contribution, largest first.

    Parameters
    ----------
    dimensions : tuple of Dimension
    bell : tuple of bool
        Per dimension: normal, else rectangular.
    noise : float
        Scatter of log(onset) from one evaluation to the next, [-].
    """
    second = np.where(bell, NORMAL_SHARE**2, 1.0 / 3.0)
    fourth = np.where(bell, 3.0 * NORMAL_SHARE**4, 1.0 / 5.0)
    variances = response_surface.variances(second, fourth)
    gain = 0.5 * nominal.tension_gain * nominal.tension
    others = [
        ("surface_tension", "surface tension, one standard uncertainty", gain, gain**2),
        ("mesh", "numerical error", nominal.numerical_error, nominal.numerical_error**2 / 3.0),
        (
            "surroundings",
            "distance of the chamber walls",
            nominal.surroundings,
            nominal.surroundings**2 / 3.0,
        ),
    ]
    total = max(float(variances.sum()) + sum(v for *_, v in others), 1e-300)
    lines = []
    for k, d in enumerate(dimensions):
        low, high = float(response_surface.low[k]), float(response_surface.high[k])
        slope = 0.5 * (high - low)
        lines.append(
            Share(
                name=d.key,
                label=f"{d.label} {d.text} ± {d.tolerance_text}",
                low=float(np.expm1(low)),
                high=float(np.expm1(high)),
                share=float(variances[k]) / total,
                slope=slope,
                curvature=high + low if response_surface.curvatures[k] != 0.0 else 0.0,
                elasticity=slope * d.value / float(d.tolerance or 1.0) if d.value else None,
                resolved=max(abs(low), abs(high)) > 2.0 * noise,
            )
        )
    for name, label, size, variance in others:
        tension = name == "surface_tension"
        elasticity = 0.5 * nominal.tension_gain if tension else None
        lines.append(Share(name, label, -size, size, variance / total, size, 0.0, elasticity, True))
    return tuple(sorted(lines, key=lambda line: -line.share))
