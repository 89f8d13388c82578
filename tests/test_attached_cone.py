"""Extinction of an attached cone: the pull on it, scaling laws and refusals."""

from __future__ import annotations

import math
import re

from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.files import examples_folder
from conegap.solver.cone.taylor import TAYLOR_HALF_ANGLE
from conegap.solver.liquid.attached_cone import Extinction, extinction
from conegap.solver.liquid.liquid_section import liquid_section
from conegap.validation.exact.liquid import taylor_half_angle


def fed(pascal: float) -> Design:
    """The shipped capillary with a feed pressure."""
    text = examples_folder().joinpath("capillary.toml").read_text(encoding="utf-8")
    text, count = re.subn(r"feed_pressure = .*", f'feed_pressure = "{pascal!r} Pa"', text)
    assert count == 1
    return Design.from_text(text)


def found(design: Design, gamma: float) -> Extinction:
    liquid = liquid_section(design)
    return extinction(
        design, surface=_surface(design), contact=liquid.contact, surface_tension=gamma
    )


def _surface(design: Design) -> tuple[int, int]:
    for number, loop in enumerate(design.section().loops):
        for index, boundary in enumerate(loop):
            if boundary.name == "liquid":
                return number, index
    raise AssertionError("no liquid")


def test_half_angle_is_taylors() -> None:
    """EXACT: the zero of P_1/2, from the Legendre function."""
    assert_allclose(TAYLOR_HALF_ANGLE, taylor_half_angle(), rtol=1e-9, atol=0)


def test_tension_and_pressure_scale_the_voltage() -> None:
    """EXACT: V^2 is proportional to 2 gamma cos(alpha) - a p, the same field for all."""
    gamma, radius = 0.7, 25e-6
    plain = found(fed(0.0), gamma)
    assert_allclose(found(fed(0.0), 4.0 * gamma).voltage, 2.0 * plain.voltage, rtol=1e-12, atol=0)
    pressure = 0.3 * 2.0 * gamma * math.cos(TAYLOR_HALF_ANGLE) / radius
    pressed = found(fed(pressure), gamma)
    assert_allclose(pressed.voltage, math.sqrt(0.7) * plain.voltage, rtol=1e-12, atol=0)
    assert plain.low < plain.voltage < plain.high
    assert_allclose(plain.high - plain.voltage, plain.voltage - plain.low, rtol=1e-12, atol=0)


def test_a_pressure_that_alone_holds_a_cone_is_no_break() -> None:
    """INVARIANT: p = 2 gamma cos(alpha) / a carries the whole cone, yet no apex: with more pressure
    the extinction never rises, never jumps, and never falls below the estimate's own 20 %; its
    upper end has nothing of the pressure."""
    gamma, radius = 0.7, 25e-6
    limit = 2.0 * gamma * math.cos(TAYLOR_HALF_ANGLE) / radius
    plain = found(fed(0.0), gamma)
    ends = [found(fed(share * limit), gamma) for share in (0.0, 0.2, 0.359, 0.361, 0.999, 1.001)]
    volts = [one.voltage for one in ends]
    assert volts[0] > volts[1] > volts[2] > volts[3]
    assert volts[2] - volts[3] < 2e-3 * volts[0]
    assert_allclose(volts[3:], 0.8 * plain.voltage, rtol=1e-12)
    assert {one.high for one in ends} == {plain.high}
    sucked = found(fed(-0.44 * limit), gamma)
    assert_allclose([sucked.voltage, sucked.high], [1.2 * plain.voltage, 1.2 * plain.high])


def test_a_slit_is_refused() -> None:
    """INVARIANT: an attached cone is axisymmetric."""
    design = Design.read("slit")
    with refused("emitter.kind"):
        extinction(design, surface=_surface(design), contact=(1e-6, 0.0), surface_tension=0.07)
