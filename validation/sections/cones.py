"""Sections around a cone, for Taylor's field law and his angle."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import lpmv

from conegap.geometries.curves.curve import Arc, FloatArray, Line
from conegap.geometries.curves.section import Boundary, Section
from conegap.validation.exact.fields import wedge_exponent
from conegap.validation.sections.exact_case import ExactCase, Potential

__all__ = ["ball_on_cone", "cone_with_arcs", "taylor_potential", "wedge_with_arcs"]


def taylor_potential(points: FloatArray) -> FloatArray:
    """-sqrt(rho) P_1/2(cos theta), apex at the origin, (n,) array, [V] for points in [m].

    Source: G. I. Taylor, Proceedings of the Royal Society A 280, 383 (1964).
    """
    rho = np.hypot(points[:, 0], points[:, 1])
    return np.asarray(-np.sqrt(rho) * lpmv(0, 0.5, points[:, 1] / rho))


def _loop(
    half_angle: float, inner: float, outer: float, ball: bool, middle: str = "axis"
) -> tuple[Boundary, ...]:
    """Vacuum around a cone between two arcs about its apex, which lies at z = 0 or -inner."""
    shift = -inner if ball else 0.0
    up, low = math.pi / 2.0, half_angle - math.pi / 2.0
    direction = np.array([math.sin(half_angle), -math.cos(half_angle)])

    def at(rho: float) -> tuple[float, float]:
        return float(rho * direction[0]), float(rho * direction[1] + shift)

    apex = (0.0, shift)
    return (
        Boundary(middle, Line((0.0, outer + shift), (0.0, inner + shift))),
        Boundary("emitter" if ball else "outer", Arc(apex, inner, up, low)),
        Boundary("emitter", Line(at(inner), at(outer))),
        Boundary("outer", Arc(apex, outer, low, up)),
    )


def cone_with_arcs(*, half_angle: float, inner: float, outer: float) -> ExactCase:
    """Cone between two arcs about its apex, Taylor's potential prescribed on both arcs.

    Only at Taylor's angle is that potential zero on the cone; at another angle the solver is
    given contradicting data and the field law on the cone must break.

    Parameters
    ----------
    half_angle : float
        Half angle of the metal cone, [rad].
    inner, outer : float
        Radii of the arcs, [m].
    """
    section = Section(
        "axisymmetric", (_loop(half_angle, inner, outer, ball=False),), (), outer - inner
    )
    return ExactCase(
        f"cone of {math.degrees(half_angle):.2f} deg in Taylor's potential",
        "Taylor, Proc. R. Soc. A 280, 383 (1964)",
        section,
        taylor_potential,
        {"emitter": 0.0, "outer": 1.0},
        {},
        {},
        True,
    )


def wedge_with_arcs(*, metal_angle: float, inner: float, outer: float) -> ExactCase:
    """Right half of a metal wedge (planar) between two arcs, its own potential on both arcs.

    phi = -rho^m cos(m theta), m = pi / (2 pi - angle), theta from +z; field m rho^(m - 1).

    Parameters
    ----------
    metal_angle : float
        Full angle inside the metal, [rad].
    inner, outer : float
        Radii of the arcs, [m].
    """
    power = wedge_exponent(metal_angle=metal_angle) + 1.0

    def potential(points: FloatArray) -> FloatArray:
        rho = np.hypot(points[:, 0], points[:, 1])
        theta = np.arctan2(points[:, 0], points[:, 1])
        return np.asarray(-(rho**power) * np.cos(power * theta))

    loop = _loop(metal_angle / 2.0, inner, outer, ball=False, middle="symmetry")
    return ExactCase(
        f"metal wedge of {math.degrees(metal_angle):.0f} deg",
        "textbook, conformal map",
        Section("planar", (loop,), (), outer - inner, mirrored=True),
        potential,
        {"emitter": 0.0, "outer": 1.0},
        {},
        {},
        True,
    )


def ball_on_cone(
    *, half_angle: float, ball: float, outer: float
) -> tuple[Section, dict[str, Potential]]:
    """Metal cone ending in a ball about its apex, with a plain driving potential far away.

    Far from both ends the field along the cone is a power of the distance from the apex, whose
    exponent is that of `conegap.validation.exact.liquid.cone_exponent`: nothing about it is put
    in.  The ball disturbs it as (ball/rho)^(2 nu + 1) and the far arc by the next root of P_nu.

    Parameters
    ----------
    half_angle : float
        Half angle of the metal cone, [rad].
    ball, outer : float
        Radius of the ball and of the far arc, [m].

    Returns
    -------
    Section
        Apex of the cone at z = -ball.
    dict
        Prescribed potential -cos(pi theta / (2 theta_cone)) on "outer", [V].
    """
    section = Section(
        "axisymmetric",
        (_loop(half_angle, ball, outer, ball=True),),
        (),
        outer - ball,
    )

    def drive(points: FloatArray) -> FloatArray:
        theta = np.arctan2(points[:, 0], points[:, 1] + ball)
        return np.asarray(-np.cos(theta * math.pi / (2.0 * (math.pi - half_angle))))

    return section, {"outer": drive}
