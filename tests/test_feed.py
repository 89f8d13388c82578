"""Flow and holding of the feed."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.constants import g
from scipy.integrate import quad, solve_ivp

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.operation.feed import feed_of
from conegap.solver.operation.feed_ends import FeedEnds, feed_ends
from conegap.solver.operation.feed_laws import (
    bore_resistance,
    film_resistance,
    flat_film_resistance,
    groove_resistance,
    pinned_holding,
    plate_resistance,
    porous_resistance,
)
from conegap.solver.operation.feed_rows import feed_remarks, feed_rows, feed_warnings


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
    around = 2.0 * math.pi * first
    cylinder = flat_film_resistance(viscosity=eta, thickness=h, length=length, width=around)
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


def replaced(name: str, **values: str) -> Design:
    """A starter with values of other keys of its section on the liquid."""
    text = starter(name)
    for key, value in values.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
        assert count == 1
    return Design.from_text(text)


def _passed(design: Design, flow: float = 0.0) -> dict[str, bool | None]:
    """Of the feed as drawn, without its tolerances."""
    feed = feed_of(design)
    return _states(design, None if feed is None else FeedEnds(feed), flow)


def _states(design: Design, ends: FeedEnds | None, flow: float) -> dict[str, bool | None]:
    rows = feed_rows(design, ends, (flow, flow, flow))
    return {row.name: row.passed for row in rows}


def test_tolerances_of_temperature_and_pressure_reach_their_rows() -> None:
    """EXACT: what passes as drawn fails where the far end of its tolerance, by hand, does not."""
    row = "melting point plus 5 K against the liquid's temperature"
    for spread, passes in (("4.8 K", True), ("5.3 K", False)):
        warm = replaced("needle", temperature=f'{{ value = "440 K", tolerance = "{spread}" }}')
        # Indium melts at 429.75 K (Bureau International des Poids et Mesures, ITS-90).
        assert _passed(warm)[row] is passes
    plain = {"bore": '"50 um"', "temperature": '"313 K"'}
    feed = feed_of(replaced("capillary", **plain))
    assert feed is not None
    for sign, row, holds in (
        (1.0, "pressure of the feed against flooding", feed.outward_holding),
        (-1.0, "suction on the meniscus against its capillary pressure", feed.capillary_pressure),
    ):
        for share, passes in ((0.04, True), (0.06, False)):
            stated = (
                f'{{ value = "{sign * 0.95 * holds:.6f} Pa", tolerance = "{share * holds} Pa" }}'
            )
            stated_too = replaced("capillary", feed_pressure=stated, **plain)
            assert _states(stated_too, feed_ends(stated_too), 0.0)[row] is passes


def test_tolerances_of_angle_bore_and_column_reach_their_rows() -> None:
    """EXACT: Jurin's and Poiseuille's laws by hand at the far ends of bore, angle and column."""
    suction, flow, column = (
        "suction on the meniscus against its capillary pressure",
        "mass flow needed against what the feed carries",
        "pressure of the liquid column under acceleration",
    )
    stated = {
        "bore": '{ value = "50 um", tolerance = "5 um" }',
        "contact_angle": '{ value = "40 deg", tolerance = "10 deg" }',
        "feed_pressure": '"-20 kPa"',
        "temperature": '"313 K"',
    }
    design = replaced("capillary", **stated)
    gamma, ends = design.surface_tension, feed_ends(design)
    assert ends is not None
    worst = 2.0 * gamma * math.cos(math.radians(50.0)) / 27.5e-6
    # Both far ends at once, each as a factor of its own.
    by_hand = 2.0 * gamma / 25e-6 * math.cos(math.radians(50.0)) / 1.1
    rows = {row.name: row for row in feed_rows(design, ends, (1e-9, 1e-9, 1e-9))}
    assert_allclose([rows[suction].limit, worst], by_hand, rtol=1e-12)
    assert "bore" in rows[suction].basis
    assert "contact angle" in rows[suction].basis
    assert "length" not in rows[suction].basis
    # Flow: R^4 / L times the pressure that draws, 2 gamma cos(theta) / R less the suction.
    drawn = ends.drawn.greatest_mass_flow
    assert drawn is not None
    draws = {
        (turn, size): 2.0 * gamma * math.cos(math.radians(turn)) / size - 20e3
        for turn in (40.0, 50.0)
        for size in (22.5e-6, 25e-6, 27.5e-6)
    }
    middle = draws[40.0, 25e-6]
    narrow = draws[40.0, 22.5e-6] / middle * 0.9**4
    wide = draws[40.0, 27.5e-6] / middle * 1.1**4
    expected = drawn * min(narrow, wide, 1.0) * draws[50.0, 25e-6] / middle / 1.02
    assert_allclose(rows[flow].limit, expected, rtol=1e-10)
    # The column: its own height and the acceleration, 25 % of both.
    height = '{ value = "20 mm", tolerance = "5 mm" }'
    lines = f'column_height = {height}\nacceleration = {{ value = "4 g_0", tolerance = "1 g_0" }}'
    text = starter("capillary").replace("[voltages]", f"{lines}\n\n[voltages]", 1)
    text = re.sub(r', tolerance = "[^"]*"(, basis)', r"\1", text)
    shaken = Design.from_text(text)
    ends = feed_ends(shaken)
    assert ends is not None
    density = float(shaken.metal.density(shaken.liquid.temperature))
    row = {r.name: r for r in feed_rows(shaken, ends, (0.0, 0.0, 0.0))}[column]
    assert_allclose(row.value, density * 25e-3 * 5.0 * g, rtol=1e-12)


def test_a_tip_without_liquid_has_no_feed_that_passes() -> None:
    """REGRESSION: with a film of 0 um the rows of the feed were left out."""
    name = "flow needed over what the feed carries"
    for kind in ("needle", "crown"):
        text = re.sub(r"(?m)^film_thickness = .*$", 'film_thickness = "0 um"', starter(kind))
        bare = Design.from_text(text)
        assert feed_ends(bare) is None
        assert _passed(bare)[name] is None


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
    with refused("liquid.acceleration", "liquid.column_height"):
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
    assert replace(feed, own_resistance=None).exchange_time(cap) is None


def test_groove() -> None:
    """EXACT: deep grooves are plates, wide ones films, both with Boussinesq's end correction; a
    square duct's known resistance, 28.454 eta L / a^4 (textbook, from memory), halved in height."""
    arguments = {"viscosity": 1e-3, "length": 2e-3}
    w, d = 10e-6, 1e-3
    deep = groove_resistance(**arguments, width=w, depth=d)
    plates = plate_resistance(**arguments, height=w, width=d)
    assert_allclose(deep, plates / (1.0 - 0.630 * w / (2.0 * d)), rtol=1e-4)
    shallow = groove_resistance(**arguments, width=d, depth=w)
    film = flat_film_resistance(**arguments, thickness=w, width=d)
    assert_allclose(shallow, film / (1.0 - 0.630 * 2.0 * w / d), rtol=1e-4)
    square = groove_resistance(**arguments, width=w, depth=w / 2.0)
    assert_allclose(square, 2.0 * 28.454 * 1e-3 * 2e-3 / w**4, rtol=1e-4)


def test_groove_by_finite_differences() -> None:
    """MANUFACTURED: the flow of a groove half as deep again as wide, by Poisson's equation with no
    slip on three walls and a free surface, on a plain grid, extrapolated in its spacing."""
    from scipy.sparse import diags, identity, kron
    from scipy.sparse.linalg import spsolve

    def flow(n: int) -> float:
        # Cell centres; walls half a cell away; no flux through the free surface.
        h, m = 1.0 / n, 3 * n // 2

        def second(size: int, *, free: bool):  # type: ignore[no-untyped-def]
            main = np.full(size, -2.0)
            main[0] = -3.0
            main[-1] = -1.0 if free else -3.0
            return diags([np.ones(size - 1), main, np.ones(size - 1)], [-1, 0, 1]) / h**2

        across, up = second(n, free=False), second(m, free=True)
        laplacian = kron(identity(m), across) + kron(up, identity(n))
        return float(spsolve(laplacian.tocsc(), -np.ones(n * m)).sum() * h**2)

    coarse, fine = flow(24), flow(48)
    wanted = fine + (fine - coarse) / 3.0
    found = groove_resistance(viscosity=1.0, length=1.0, width=1.0, depth=1.5)
    assert_allclose(1.0 / found, wanted, rtol=2e-4)


_PLUG = """[feed]
kind = "porous_plug"
permeability = "0.1 um^2"
pore_radius = "2 um"
diameter = "3 mm"
length = "5 mm"

[voltages]"""


def _with_feed(kind: str, section: str) -> Design:
    return Design.from_text(starter(kind).replace("[voltages]", section, 1))


def test_a_porous_plug_stands_before_the_emitter() -> None:
    """EXACT: Darcy's law by hand in series with the bore, 2 gamma cos(theta) / r of its pores, and
    a flow on either side of that limit."""
    alone, design = feed_of(design_of("capillary")), _with_feed("capillary", _PLUG)
    feed = feed_of(design)
    assert alone is not None
    assert feed is not None
    assert feed.shared is not None
    assert alone.resistance is not None
    assert feed.resistance is not None
    assert feed.density is not None
    warm = design.liquid.temperature
    eta = float(design.metal.viscosity(warm))
    darcy = eta * 5e-3 / (1e-13 * math.pi * 1.5e-3**2)
    assert_allclose(
        porous_resistance(viscosity=eta, length=5e-3, permeability=1e-13, area=math.pi * 2.25e-6),
        darcy,
        rtol=1e-12,
    )
    assert_allclose(feed.resistance - alone.resistance, darcy, rtol=1e-9)
    assert feed.capillary_pressure == alone.capillary_pressure
    held = 2.0 * float(design.metal.surface_tension(warm)) * math.cos(math.radians(40.0)) / 2e-6
    assert_allclose(feed.shared.capillary_pressure, held, rtol=1e-12)
    name = "loss in the porous plug against the pressure that it holds"
    # A pressure of the feed adds to what its pores hold, a suction takes of it.
    for pascal in (20e3, -300e3):
        fed = design.with_value("liquid.feed_pressure", pascal)
        for factor, passes in ((0.99, True), (1.01, False)):
            flow = factor * (held + pascal) * feed.density / darcy
            assert _passed(fed, flow)[name] is passes
    loss = feed.loss()
    assert_allclose((loss.own, loss.common), (0.0, feed.resistance / feed.density), rtol=1e-12)


def test_grooves_carry_beside_the_film() -> None:
    """EXACT: conductances of film and grooves add; each tip of a crown has its own."""
    groove = """[feed]
kind = "groove"
width = "8 um"
depth = "12 um"
length = "3 mm"
grooves = 3

[voltages]"""
    alone, both = feed_of(design_of("needle")), feed_of(_with_feed("needle", groove))
    assert alone is not None
    assert both is not None
    assert alone.resistance is not None
    assert both.resistance is not None
    design = Design.read("needle")
    eta = float(design.metal.viscosity(design.liquid.temperature))
    one = groove_resistance(viscosity=eta, length=3e-3, width=8e-6, depth=12e-6)
    assert_allclose(1.0 / both.resistance, 1.0 / alone.resistance + 3.0 / one, rtol=1e-12)
    assert both.shared is None
    crown = feed_of(_with_feed("crown", groove))
    assert crown is not None
    assert crown.tips == 24
    assert crown.own_resistance is not None
    assert_allclose(crown.resistance, crown.own_resistance / 24.0, rtol=1e-12)
    loss = crown.loss()
    assert loss.common == 0.0
    assert loss.own > 0.0
    shallow = groove.replace('depth = "12 um"', 'depth = "0.5 um"')
    poor = 'contact_angle = { value = "60 deg"'
    text = starter("needle").replace('contact_angle = { value = "20 deg"', poor)
    dry = Design.from_text(text.replace("[voltages]", shallow, 1))
    assert any("does not fill itself" in word for word in feed_warnings(dry))
    assert feed_warnings(_with_feed("needle", groove)) == ()


@pytest.mark.parametrize(
    ("kind", "lines", "key"),
    [
        ("slit", 'kind = "groove"\nwidth = "9 um"\ndepth = "9 um"\nlength = "1 mm"', "feed.kind"),
        ("profile", 'kind = "film"\nthickness = "1 um"\nwidth = "1 mm"\nlength = "1 mm"',
         "feed.kind"),
        ("needle", 'kind = "wick"', "feed.kind"),
        ("needle", 'kind = "bore"\ndiameter = "0.2 mm"', "feed.length"),
        ("needle", 'kind = "bore"\ndiameter = 2\nlength = "1 mm"', "feed.diameter"),
        ("needle", 'kind = "channel"\nheight = "3 mm"\nwidth = "1 mm"\nlength = "1 mm"',
         "feed.height"),
        ("needle", _PLUG.split("[voltages]")[0][7:].replace("0.1 um^2", "1 um^2"),
         "feed.permeability"),
        ("needle", _PLUG.split("[voltages]")[0][7:].replace("2 um", "2 mm"), "feed.pore_radius"),
        ("needle", 'kind = "film"\nthickness = "2 mm"\nwidth = "1 mm"\nlength = "1 mm"',
         "feed.thickness"),
    ],
)  # fmt: skip
def test_a_feed_that_cannot_be_is_refused(kind: str, lines: str, key: str) -> None:
    """INVARIANT: the key at fault is named and no design comes out."""
    with pytest.raises(DesignError) as refused:
        _with_feed(kind, f"[feed]\n{lines}\n\n[voltages]")
    assert key in refused.value.keys


def test_other_ways_before_an_emitter() -> None:
    """EXACT: a channel, a film and two bores as their laws say, in series with the needle's film;
    a changed copy keeps the rest."""
    alone = feed_of(design_of("needle"))
    design = Design.read("needle")
    eta = float(design.metal.viscosity(design.liquid.temperature))
    assert alone is not None
    assert alone.resistance is not None
    ways = {
        'kind = "bore"\ndiameter = "0.1 mm"\nlength = "9 mm"\nbores = 2': bore_resistance(
            viscosity=eta, length=9e-3, radius=50e-6
        ) / 2.0,
        'kind = "channel"\nheight = "9 um"\nwidth = "1 mm"\nlength = "9 mm"': plate_resistance(
            viscosity=eta, length=9e-3, height=9e-6, width=1e-3
        ),
        'kind = "film"\nthickness = "9 um"\nwidth = "1 mm"\nlength = "9 mm"':
            flat_film_resistance(viscosity=eta, length=9e-3, thickness=9e-6, width=1e-3),
    }  # fmt: skip
    for lines, wanted in ways.items():
        changed = _with_feed("needle", f"[feed]\n{lines}\n\n[voltages]")
        feed = feed_of(changed)
        assert feed is not None
        assert feed.shared is not None
        assert_allclose(feed.shared.resistance, wanted, rtol=1e-12)
        assert_allclose(feed.resistance, alone.resistance + wanted, rtol=1e-12)
        longer = feed_of(changed.with_value("feed.length", 18e-3))
        assert longer is not None
        assert longer.shared is not None
        assert_allclose(longer.shared.resistance, 2.0 * wanted, rtol=1e-12)
