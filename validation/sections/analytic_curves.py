"""Curves given by formulas, for sections whose fields are known in closed form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from conegap.geometries.curves.curve import Curve, FloatArray

__all__ = [
    "Analytic",
    "ComplexArray",
    "ComplexFunction",
    "ConformalMap",
    "hyperbola",
    "mapped",
    "semi_ellipse",
]

ComplexArray = NDArray[np.complex128]
ComplexFunction = Callable[[ComplexArray], ComplexArray]


@dataclass(frozen=True)
class Analytic(Curve):
    """A curve from functions of its parameter t in [0, 1].

    Parameters
    ----------
    position, first, second : callables (n,) array -> (n, 2) array
        Point and its first and second derivative with respect to t, [m].
    """

    position: Callable[[FloatArray], FloatArray]
    first: Callable[[FloatArray], FloatArray]
    second: Callable[[FloatArray], FloatArray]

    def point(self, t: ArrayLike) -> FloatArray:
        return self.position(np.asarray(t, dtype=float))

    def derivative(self, t: ArrayLike, order: int = 1) -> FloatArray:
        return (self.first if order == 1 else self.second)(np.asarray(t, dtype=float))

    def reversed(self) -> Analytic:
        position, first, second = self.position, self.first, self.second
        return Analytic(
            lambda t: position(1.0 - t),
            lambda t: -first(1.0 - t),
            lambda t: second(1.0 - t),
        )


def _columns(x: FloatArray, z: FloatArray) -> FloatArray:
    return np.stack([x, z], axis=1)


def hyperbola(*, radius: float, gap: float, extent: float) -> Analytic:
    """Right half of a hyperbola with apex (0, 0), confocal with the plane z = gap.

    x = c sin(v0) sinh(u), z = d - c cos(v0) cosh(u); u runs from 0 (apex) to ``extent``.

    Parameters
    ----------
    radius, gap : float
        Crest radius R and gap d, [m].
    extent : float
        Last elliptic parameter u, [-].
    """
    wide = np.sqrt(gap * radius)  # c sin v0, and c cos v0 = gap, with c^2 = d (d + R)

    def position(t: FloatArray) -> FloatArray:
        u = extent * t
        # 1 - cosh u without cancellation at the apex
        return _columns(wide * np.sinh(u), -2.0 * gap * np.sinh(u / 2.0) ** 2)

    def first(t: FloatArray) -> FloatArray:
        u = extent * t
        return extent * _columns(wide * np.cosh(u), -gap * np.sinh(u))

    def second(t: FloatArray) -> FloatArray:
        u = extent * t
        return extent**2 * _columns(wide * np.sinh(u), -gap * np.cosh(u))

    return Analytic(position, first, second)


def semi_ellipse(
    *, centre: float, wide: float, tall: float, first_angle: float, last_angle: float
) -> Analytic:
    """Part of an ellipse about (0, centre): x = wide cos(s), z = centre + tall sin(s).

    Parameters
    ----------
    centre : float
        Height of the centre, [m].
    wide, tall : float
        Half axes along x and z, [m].
    first_angle, last_angle : float
        Range of s, counterclockwise when rising, [rad].
    """
    sweep = last_angle - first_angle

    def angle(t: FloatArray) -> FloatArray:
        return first_angle * (1.0 - t) + last_angle * t

    def position(t: FloatArray) -> FloatArray:
        s = angle(t)
        return _columns(wide * np.cos(s), centre + tall * np.sin(s))

    def first(t: FloatArray) -> FloatArray:
        s = angle(t)
        return sweep * _columns(-wide * np.sin(s), tall * np.cos(s))

    def second(t: FloatArray) -> FloatArray:
        s = angle(t)
        return -(sweep**2) * _columns(wide * np.cos(s), tall * np.sin(s))

    return Analytic(position, first, second)


@dataclass(frozen=True)
class ConformalMap:
    """Analytic function Z(w) with its derivatives; equipotentials are Im w = const.

    Parameters
    ----------
    value, first, second : callables (n,) complex array -> (n,) complex array
        Z = x + i z [m] and its derivatives with respect to w.
    """

    value: ComplexFunction
    first: ComplexFunction
    second: ComplexFunction


def mapped(conformal: ConformalMap, first_w: complex, last_w: complex) -> Analytic:
    """Image under a conformal map of the straight segment from ``first_w`` to ``last_w``."""
    sweep = last_w - first_w

    def along(t: FloatArray) -> ComplexArray:
        return np.asarray(first_w + sweep * t, dtype=complex)

    def split(value: ComplexArray) -> FloatArray:
        return _columns(value.real, value.imag)

    return Analytic(
        lambda t: split(conformal.value(along(t))),
        lambda t: split(sweep * conformal.first(along(t))),
        lambda t: split(sweep**2 * conformal.second(along(t))),
    )
