"""A rounded blade before a slit with rounded noses, exact by a conformal map."""

from __future__ import annotations

import math

import numpy as np
from scipy.constants import epsilon_0
from scipy.optimize import minimize_scalar

from conegap.geometries.curves.curve import FloatArray, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.validation.exact import fields as exact
from conegap.validation.sections.analytic_curves import ComplexArray, ConformalMap, mapped
from conegap.validation.sections.exact_case import ExactCase

__all__ = ["blade_before_slit"]

# [V]
_UNIT = {"emitter": 1.0, "accelerator": 0.0}
# Elliptic parameter u of the cut: far enough out that the noses of the slit lie inside.
_EXTENT = 2.2


def _slit_map(*, half_width: float, focal: float, gap: float) -> ConformalMap:
    """Z(w) = -(a/2)(t + 1/t) + i d with t = i c cosh w."""
    factor = half_width / 2.0

    def value(w: ComplexArray) -> ComplexArray:
        t = 1j * focal * np.cosh(w)
        return np.asarray(-factor * (t + 1.0 / t) + 1j * gap)

    def first(w: ComplexArray) -> ComplexArray:
        t, slope = 1j * focal * np.cosh(w), 1j * focal * np.sinh(w)
        return np.asarray(-factor * (1.0 - t**-2) * slope)

    def second(w: ComplexArray) -> ComplexArray:
        t, slope = 1j * focal * np.cosh(w), 1j * focal * np.sinh(w)
        return np.asarray(-factor * (2.0 * t**-3 * slope**2 + (1.0 - t**-2) * t))

    return ConformalMap(value, first, second)


def blade_before_slit(
    *,
    half_width: float,
    height: float = 2.0,
    mapped_radius: float = 0.05,
    accelerator_angle: float = 1.5,
) -> ExactCase:
    """Rounded blade at 1 V before a slit at 0, right half, exact everywhere.

    The slit electrode is the equipotential ``accelerator_angle`` of the map, so its blades have
    round noses and a duct closes the space behind; the cut follows a field line (zero flux).

    Parameters
    ----------
    half_width : float
        Half width a of the ideal slit, [m].
    height, mapped_radius, accelerator_angle
        As for `conegap.validation.exact.fields.blade_before_slit`, [-], [-], [rad].
    """
    shape = exact.blade_before_slit(
        half_width=half_width,
        height=height,
        mapped_radius=mapped_radius,
        accelerator_angle=accelerator_angle,
    )
    focal = math.sqrt(height * (height + mapped_radius))
    blade = math.atan(math.sqrt(mapped_radius / height))
    span = accelerator_angle - blade
    slit = _slit_map(half_width=half_width, focal=focal, gap=shape.gap)

    def potential(points: FloatArray) -> FloatArray:
        s = (np.abs(points[:, 0]) + 1j * (points[:, 1] - shape.gap)) / half_width
        root = np.sqrt(s * s - 1.0)
        t = np.where((root - s).imag > 0.0, root - s, -root - s)
        angle = np.abs(np.arccosh(-1j * t / focal).imag)
        return np.asarray((accelerator_angle - angle) / span)

    def stretch(u: float) -> float:
        return float(np.abs(slit.first(np.array([u + 1j * accelerator_angle])))[0])

    nose = float(
        minimize_scalar(
            stretch, bounds=(0.0, _EXTENT), method="bounded", options={"xatol": 1e-12}
        ).x
    )
    accelerator = mapped(slit, _EXTENT + 1j * accelerator_angle, 1j * accelerator_angle)
    t_nose = 1.0 - nose / _EXTENT
    nose_radius = 1.0 / abs(float(accelerator.curvature(np.array([t_nose]))[0]))
    top = accelerator.end
    section = Section(
        "planar",
        (
            (
                Boundary("symmetry", Line((0.0, float(top[1])), (0.0, 0.0))),
                Boundary("emitter", mapped(slit, 1j * blade, _EXTENT + 1j * blade)),
                Boundary(
                    "outer", mapped(slit, _EXTENT + 1j * blade, _EXTENT + 1j * accelerator_angle)
                ),
                Boundary("accelerator", accelerator),
            ),
        ),
        (
            EmittingEdge("edge", 0, 1, 0.0, shape.radius),
            EmittingEdge("slit nose", 0, 3, t_nose, nose_radius),
        ),
        shape.gap,
        mirrored=True,
    )
    charge = epsilon_0 * 2.0 * _EXTENT / span
    return ExactCase(
        "rounded blade before a slit",
        "derived, Joukowski map of elliptic coordinates; see docstring",
        section,
        potential,
        _UNIT,
        {"edge": shape.field_per_volt, "slit nose": -1.0 / (span * stretch(nose))},
        {"emitter": charge, "accelerator": -charge},
    )
