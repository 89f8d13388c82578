"""Flow and holding of the feed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import g
from scipy.integrate import quad, solve_ivp

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.operation.feed import feed_of, feed_remarks, feed_rows, feed_warnings
from conegap.solver.operation.feed_laws import (
    bore_resistance,
    film_resistance,
    pinned_holding,
    plate_resistance,
    shank_film_resistance,
)


def design_of(kind: str, liquid: str = "") -> Design:
    return Design.from_text(starter(kind).replace("[liquid]", f"[liquid]\n{liquid}"))


def test_bore() -> None:
    """EXACT: Hagen and Poiseuille, by the parabolic profile integrated over the bore."""
    eta, length, radius, drop = 1.7e-3, 5e-3, 25e-6, 1e4
    flow, _ = quad(
        lambda r: 2 * math.pi * r * drop * (radius**2 - r**2) / (4 * eta * length), 0, radius
    )
    found = bore_resistance(viscosity=eta, length=length, radius=radius)
    assert_allclose(found, drop / flow, rtol=1e-10)
    # 8 x 1e-3 x 0.1 / (pi x 1e-12) in water through a millimetre tube, by hand.
    assert_allclose(bore_resistance(viscosity=1e-3, length=0.1, radius=1e-3), 2.546479e8, rtol=1e-6)


def test_plates() -> None:
    """EXACT: the parabolic profile between plates integrated over the height."""
    eta, length, h, width, drop = 0.6e-3, 4e-3, 1.5e-6, 1e-2, 1e4
    flow, _ = quad(lambda y: width * drop * y * (h - y) / (2 * eta * length), 0, h)
    found = plate_resistance(viscosity=eta, length=length, height=h, width=width)
    assert_allclose(found, drop / flow, rtol=1e-10)


def test_film_on_a_cone() -> None:
    """EXACT: dp/ds = 3 eta q / h^3 integrated along the slant; a straight one is a cylinder."""
    eta, h, angle, first, last = 1.8e-3, 0.5e-6, math.radians(15.0), 4e-6, 125e-6
    slant = (last - first) / math.sin(angle)

    def slope(s: float, _: object) -> float:
        return 3 * eta / (2 * math.pi * (first + s * math.sin(angle)) * h**3)

    drop = solve_ivp(slope, (0, slant), [0.0], rtol=1e-10).y[0, -1]
    arguments = {"viscosity": eta, "thickness": h, "first": first}
    found = film_resistance(**arguments, half_angle=angle, last=last)
    assert_allclose(found, drop, rtol=1e-7)
    narrow = 1e-6
    length = 1e-3
    straight = film_resistance(
        **arguments, half_angle=narrow, last=first + length * math.tan(narrow)
    )
    cylinder = shank_film_resistance(viscosity=eta, thickness=h, radius=first, length=length)
    assert_allclose(straight, cylinder, rtol=2e-4)


def test_capillary_pressures() -> None:
    """EXACT: 2 gamma cos(theta) / R in a bore, 2 gamma cos(theta) / h between plates."""
    for kind, size in (("capillary", 25e-6), ("slit", 1.5e-6)):
        design = design_of(kind)
        gamma = design.surface_tension
        feed = feed_of(design)
        assert feed is not None
        wanted = 2 * gamma * math.cos(design.liquid.contact_angle) / size
        assert_allclose(feed.capillary_pressure, wanted, rtol=1e-12)


def test_mass_flow_at_which_the_liquid_draws_back() -> None:
    """EXACT: at the greatest mass flow the pressure at the edge is minus the capillary pressure."""
    for kind in ("capillary", "slit", "needle"):
        feed = feed_of(design_of(kind))
        assert feed is not None
        most = feed.greatest_mass_flow
        assert most is not None
        pressure = feed.pressure_at(most)
        assert pressure is not None
        assert_allclose(pressure, -feed.capillary_pressure, rtol=1e-9)
        assert feed.pressure_at(0.0) == feed.feed_pressure
    bare = starter("needle").replace('film_thickness = { value = "0.5 um", tolerance = "0.3 um"',
                                     'film_thickness = { value = "0 um"')  # fmt: skip
    assert feed_of(Design.from_text(bare)) is None
    assert feed_of(Design.read("profile")) is None


def _passed(design: Design, flow: float = 0.0) -> dict[str, bool | None]:
    rows = feed_rows(design, feed_of(design), (flow, flow, flow))
    return {row.name: row.passed for row in rows}


def test_column_under_acceleration() -> None:
    """EXACT: rho a h passes just below what the meniscus holds and fails just above."""
    name = "pressure of the liquid column under acceleration"
    quiet = design_of("slit")
    assert name not in _passed(quiet)
    feed = feed_of(quiet)
    assert feed is not None
    assert feed.density is not None
    height = feed.holding / (feed.density * 20 * g)
    for factor, passes in ((0.999, True), (1.001, False)):
        text = f'acceleration = "20 g_0"\ncolumn_height = "{height * factor * 1e3!r} mm"'
        assert _passed(design_of("slit", text))[name] == passes
    with pytest.raises(DesignError, match="column_height"):
        design_of("slit", 'acceleration = "20 g_0"')


def test_holding_is_the_weaker_direction() -> None:
    """EXACT: with a forward pressure the liquid runs out first, with suction it draws back."""
    forward = feed_of(design_of("capillary"))
    assert forward is not None
    assert_allclose(forward.holding, forward.outward_holding - 20e3, rtol=1e-12)
    text = starter("capillary").replace('value = "20 kPa"', 'value = "-20 kPa"')
    backward = feed_of(Design.from_text(text))
    assert backward is not None
    assert_allclose(backward.holding, backward.capillary_pressure - 20e3, rtol=1e-12)


def test_rows_fail_for_their_own_reasons() -> None:
    """INVARIANT: too much flow, too much suction, too cold: one row each."""
    flow = "mass flow needed against what the feed carries"
    suction = "suction on the meniscus against its capillary pressure"
    cold = "melting point plus 5 K against the liquid's temperature"
    good = design_of("capillary")
    feed = feed_of(good)
    assert feed is not None
    most = feed.greatest_mass_flow
    assert most is not None
    assert all(_passed(good, 0.99 * most).values())
    assert [n for n, ok in _passed(good, 1.01 * most).items() if not ok] == [flow]
    # A poorly wetting wall: 2 gamma cos(85 deg) / R is 5 kPa.
    poor = starter("capillary").replace('value = "40 deg"', 'value = "85 deg"')
    poor = poor.replace('value = "20 kPa"', 'value = "-6 kPa"')
    assert [n for n, ok in _passed(Design.from_text(poor)).items() if not ok] == [suction]
    chilled = good.with_value("liquid.temperature", 306.0)
    assert [n for n, ok in _passed(chilled).items() if not ok] == [cold]
    assert any("freezes" in word for word in feed_warnings(chilled))
    assert any("hardly wets" in word for word in feed_warnings(Design.from_text(poor)))
    assert feed_warnings(good) == ()


def test_oxide_is_told_of_metals_that_grow_one() -> None:
    """INVARIANT: gallium has an oxide skin, gold has none."""
    assert "oxide" in " ".join(feed_remarks(design_of("capillary")))
    gold = starter("capillary").replace('"gallium"', '"gold"').replace('"313 K"', '"1400 K"')
    assert "oxide" not in " ".join(feed_remarks(Design.from_text(gold)))


def test_a_pinned_surface_holds_what_its_contact_line_allows() -> None:
    """EXACT: Young and Laplace with Gibbs's condition: the bore's edge holds the cap of its
    advancing angle, the rim a hemisphere where its direction adds up to a right angle, the lip
    the circle that is narrowest; the narrow channel below the lips does not count."""
    tube = design_of("capillary")
    gamma = tube.surface_tension
    feed = feed_of(tube)
    assert feed is not None
    bore = 2.0 * gamma * math.sin(math.radians(40.0)) / 25e-6
    assert_allclose(feed.outward_holding, bore, rtol=1e-12)
    text = starter("capillary").replace('contact_line = "bore"', 'contact_line = "rim"')
    wide = feed_of(Design.from_text(text))
    assert wide is not None
    turned = np.radians(np.linspace(0.0, 90.0, 20001))
    rim = np.sin(np.minimum(math.radians(40.0) + turned, math.pi / 2.0))
    best = 2.0 * gamma * float((rim / (45e-6 + 5e-6 * np.sin(turned))).max())
    assert_allclose(wide.outward_holding, best, rtol=1e-5)
    slit = design_of("slit")
    gamma = slit.surface_tension
    feed = feed_of(slit)
    assert feed is not None
    turned = np.radians(np.linspace(0.0, 75.0, 20001))
    lip = np.sin(np.minimum(math.radians(20.0) + turned, math.pi / 2.0))
    best = gamma * float((lip / (0.75e-6 + 3e-6 * (1.0 + np.sin(turned)))).max())
    assert_allclose(feed.outward_holding, best, rtol=1e-5)
    # Unlike lips: half the way between the two lines on which the liquid lies level.
    skew = starter("slit").replace('misalignment_half = "0 um"', 'misalignment_half = "1 um"')
    skewed = Design.from_text(skew)
    near, far = 3.75e-6, 3.75e-6 - math.sqrt(3e-6**2 - 1e-6**2)
    held = pinned_holding(skewed.section(), 1.0)
    assert_allclose(1.0 / held, (near + far) / 2.0, rtol=1e-9)


def test_flooding_and_too_open_a_feed_are_judged() -> None:
    """EXACT: a feed pressure above what the contact line holds fails; a feed that lets more than a
    hundred times the needed flow through is not proved, since droplets may use it."""
    flood, through = (
        "pressure of the feed against flooding",
        "flow that the feed lets through over the flow needed",
    )
    feed = feed_of(design_of("slit"))
    assert feed is not None
    for factor, passes in ((0.99, True), (1.01, False)):
        text = starter("slit").replace(
            'feed_pressure = "0 Pa"', f'feed_pressure = "{factor * feed.outward_holding!r} Pa"'
        )
        assert _passed(Design.from_text(text))[flood] is passes
    most = feed.greatest_mass_flow
    assert most is not None
    assert through not in _passed(design_of("slit"))
    assert _passed(design_of("slit"), most / 99.0)[through] is True
    assert _passed(design_of("slit"), most / 101.0)[through] is None


def test_exchange_time() -> None:
    """EXACT: volume over the flow that the suction drives; what the film of the shipped needle is
    taken not to bring during a ramp it could bring in less than a millisecond."""
    feed = feed_of(design_of("needle"))
    assert feed is not None
    assert feed.resistance is not None
    cap = 2.0 / 3.0 * math.pi * 4.5e-6**3
    time = feed.exchange_time(cap)
    assert time is not None
    assert_allclose(time * feed.capillary_pressure / feed.resistance, cap, rtol=1e-12)
    assert 1e-5 < time < 1e-3
    assert replace(feed, resistance=None).exchange_time(cap) is None
