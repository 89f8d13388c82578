"""Drops in balance, followed in their height through the turning point of the field.

On the surface P - B z + W E^2 / 2 equals the sum of the principal curvatures.  With lengths in a
unit l (the contact radius or half width a of the cap without field, unless said otherwise),

    W = eps0 E0^2 l / gamma    electric Bond number of the far field E0,
    P = p l / gamma            gauge pressure of the liquid on the plane,
    B = rho g l^2 / gamma      Bond number, gravity towards the plane.

In print sqrt(W) is as common, in Gaussian units sqrt(4 pi W) (Taylor 1964), and with the stress
eps0 E0^2 / 2 over gamma / l it is W / 2.  Another unit l' turns W into W l' / l.

The height is held and W is unknown.  Where W is greatest along the branch it turns: a drop taller
than that has no neighbour in a stronger field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np
from scipy.optimize import brentq

from conegap.geometries.curves.curve import FloatArray
from conegap.validation.boundary_elements.drop import Drop, Form, Slopes
from conegap.validation.boundary_elements.panels import Panels

__all__ = [
    "BalancedDrop",
    "Branch",
    "ContactLine",
    "Resolution",
    "turning_point",
    "turning_point_under_pressure",
]

ContactLine: TypeAlias = Literal["pinned", "moving"]
"""The contact radius stays as it is, or the contact angle does."""

_MOST_STEPS = 25
_CONVERGED = 1e-10
_LARGEST = 1e3  # of a residual that may still come back
_SLOW = 0.05  # a residual that falls by less calls for a new Jacobian
_DIFFERENCE = 1e-7  # forward differences, good to as much
_STEP = 1.15  # from one height to the next
_LEAST_STEP = 1.001
_BEND = 0.2  # of a step, across it
_LOWEST = 0.05  # where a branch starts that begins flat, in contact radii
_CLOSE = 1e-8  # of the height at the turning point; W is flat there


@dataclass(frozen=True)
class Resolution:
    """Coefficients of the shape, and panels on it; see `Panels.graded`."""

    modes: int = 16
    equal: int = 3
    halved: int = 3
    degree: int = 8

    def slopes(self) -> Slopes:
        """The tables of this resolution."""
        return Slopes(Panels.graded(self.equal, self.halved, self.degree), self.modes)


@dataclass(frozen=True)
class BalancedDrop:
    """A shape in balance.

    Parameters
    ----------
    electric_bond_number : float
        W, [-].
    pressure : float
        P, [-].
    """

    drop: Drop
    electric_bond_number: float
    pressure: float

    def energy(self, young_angle: float = 0.5 * math.pi) -> float:
        """Surface energy less electric energy in a held far field, without gravity, [gamma l^2].

        Area - cos(Young's angle) x wetted area - W x moment / 2.  Along a branch its slope with
        the volume at constant W is P, and with W at constant volume -moment / 2 (virtual work).

        Parameters
        ----------
        young_angle : float
            Of a line that moves; where it is pinned the wetted area is constant, [rad].
        """
        drop = self.drop
        wetted = math.pi * drop.radius**2 if drop.form == "round" else 2.0 * drop.radius
        electric = 0.5 * self.electric_bond_number * drop.moment
        return drop.area - math.cos(young_angle) * wetted - electric


@dataclass(frozen=True)
class _State:
    """Unknowns in balance, and the Jacobian there."""

    x: FloatArray
    height: float
    jacobian: FloatArray

    @cached_property
    def change(self) -> FloatArray:
        """Of x with the height."""
        along = np.zeros_like(self.x)
        along[-1] = 1.0
        return np.asarray(np.linalg.solve(self.jacobian, along))

    @property
    def slope(self) -> float:
        """dW / d height."""
        return float(self.change[-1])

    def bends(self, other: _State) -> bool:
        """Whether another shape lies off the tangent, perhaps on another branch."""
        along = (other.height - self.height) * self.change
        return bool(np.linalg.norm(other.x - self.x - along) > _BEND * np.linalg.norm(along))


@dataclass(frozen=True)
class Branch:
    """Shapes in balance that hold one thing, with unknowns x = (coefficients, arc length, P, W).

    Parameters
    ----------
    form : "round" or "long"
    line : "pinned" or "moving"
    contact : float
        Contact radius where pinned; contact angle where the line moves, [rad].
    held : "volume" or "pressure"
    amount : float
        Of that.
    weight : float
        Bond number B, [-].
    gap : float
        To a plate above, infinite without; E0 is the voltage over it.
    """

    form: Form
    line: ContactLine
    contact: float
    held: Literal["volume", "pressure"]
    amount: float
    weight: float = 0.0
    slopes: Slopes = field(default_factory=lambda: Resolution().slopes())
    gap: float = math.inf

    def at(self, height: float) -> BalancedDrop:
        """The shape of a height, from a circular cap in one step.

        Raises
        ------
        ArithmeticError
            Newton's method did not converge.
        """
        return self._balanced(self._solve(self._first_guess(height), height).x)

    def turning_point(self, height: float) -> BalancedDrop:
        """Follow the branch upward from a height until W turns, and close in on that place.

        Raises
        ------
        ArithmeticError
            The branch could not be followed.
        """
        state = self._solve(self._first_guess(height), height)
        before, step = height, _STEP
        while state.slope > 0.0:
            try:
                beyond = self._next(state, step * state.height)
            except ArithmeticError:
                beyond = None
            if beyond is None or state.bends(beyond):
                step = math.sqrt(step)
                if step < _LEAST_STEP:
                    raise ArithmeticError(f"the branch ends at height {state.height:.4g}")
                continue
            before, state = state.height, beyond

        def slope(at: float) -> float:
            nonlocal state
            state = self._next(state, at)
            return state.slope

        brentq(slope, before, state.height, xtol=_CLOSE)
        return self._balanced(state.x)

    def _balanced(self, x: FloatArray) -> BalancedDrop:
        return BalancedDrop(self._drop(x), float(x[-1]), float(x[-2]))

    def _drop(self, x: FloatArray) -> Drop:
        return Drop(self.form, self.slopes, x[:-3], float(x[-3]), self.gap)

    def _first_guess(self, height: float) -> FloatArray:
        """A circular cap, with the field that balances its top."""
        radius = self.contact if self.line == "pinned" else height / math.tan(0.5 * self.contact)
        drop = Drop.cap(self.form, self.slopes, 2.0 * math.atan(height / radius), radius, self.gap)
        bend = float(drop.bending[0] / self.slopes.stretch[0])
        pressure = self.amount if self.held == "pressure" else bend
        strength = 2.0 * (bend - pressure) / float(drop.field[0]) ** 2
        return np.append(drop.coefficients, [drop.length, pressure, strength])

    def _residual(self, x: FloatArray, height: float) -> FloatArray:
        """Nought in balance at a height, as many as unknowns."""
        drop, (pressure, strength) = self._drop(x), x[-2:]
        total = pressure - self.weight * drop.points[:, 1] + 0.5 * strength * drop.field**2
        balance = self.slopes.tests @ (total * self.slopes.stretch - drop.bending)
        held = drop.volume if self.held == "volume" else pressure
        contact = drop.radius if self.line == "pinned" else drop.contact_angle
        return np.append(
            balance, [held - self.amount, contact - self.contact, drop.height - height]
        )

    def _jacobian(self, x: FloatArray, height: float, here: FloatArray) -> FloatArray:
        moved = x + _DIFFERENCE * np.eye(len(x))
        return np.stack([(self._residual(m, height) - here) / _DIFFERENCE for m in moved], axis=1)

    def _next(self, state: _State, height: float) -> _State:
        """Along the tangent to another height, and into balance."""
        guess = state.x + (height - state.height) * state.change
        return self._solve(guess, height, state.jacobian)

    def _solve(
        self, start: FloatArray, height: float, jacobian: FloatArray | None = None
    ) -> _State:
        """Newton's method, with a Jacobian for as long as it serves."""
        x, before = start, math.inf
        for _ in range(_MOST_STEPS):
            here = self._residual(x, height)
            size = float(np.max(np.abs(here)))
            if not size < _LARGEST:
                break
            if size < _CONVERGED:
                return _State(x, height, self._jacobian(x, height, here))
            if jacobian is None or size > _SLOW * before:
                jacobian = self._jacobian(x, height, here)
            x, before = x - np.linalg.solve(jacobian, here), size
        raise ArithmeticError(f"no shape in balance of height {height:.4g} was found")


def turning_point(
    contact_angle: float,
    *,
    line: ContactLine = "pinned",
    form: Form = "round",
    weight: float = 0.0,
    gap: float = math.inf,
    resolution: Resolution | None = None,
) -> BalancedDrop:
    """Turning point of a drop whose volume is held.

    Lengths are in contact radii a (or half widths) of the circular cap that the drop is without
    field and gravity: W = eps0 E0^2 a / gamma.  With a moving line and an angle of 90 degrees
    it is the upper half of a free drop, and a its undeformed radius.

    Parameters
    ----------
    contact_angle : float
        Of that cap, between 0 and pi, [rad].  A line that moves keeps it.
    line : "pinned" or "moving"
    form : "round" or "long"
    weight : float
        Bond number B = rho g a^2 / gamma, [-].
    gap : float
        To a plate above in a, infinite without; E0 is the voltage over it, [-].

    Raises
    ------
    ArithmeticError
        The branch could not be followed.
    """
    slopes = (resolution or Resolution()).slopes()
    cap = Drop.cap(form, slopes, contact_angle, 1.0)
    contact = 1.0 if line == "pinned" else contact_angle
    branch = Branch(form, line, contact, "volume", cap.volume, weight, slopes, gap)
    return branch.turning_point(cap.height)


def turning_point_under_pressure(
    pressure: float,
    *,
    form: Form = "round",
    gap: float = math.inf,
    resolution: Resolution | None = None,
) -> BalancedDrop:
    """Turning point of a pinned surface whose gauge pressure is held.

    Lengths are in contact radii a (or half widths): W = eps0 E0^2 a / gamma.

    Parameters
    ----------
    pressure : float
        P = p a / gamma, below 2 (round) or 1 (long), [-].
    gap : float
        As in `turning_point`, [-].
    form, resolution
        As there.

    Raises
    ------
    ArithmeticError
        The branch could not be followed.
    """
    most = 2.0 if form == "round" else 1.0
    flat = math.tan(0.5 * math.asin(max(pressure, 0.0) / most))
    slopes = (resolution or Resolution()).slopes()
    branch = Branch(form, "pinned", 1.0, "pressure", pressure, 0.0, slopes, gap)
    return branch.turning_point(max(flat, _LOWEST))
