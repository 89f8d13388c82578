"""Chapter 11: a crown of tips, what neighbours take and in which order the tips fire."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.validation.exact import fields as exact
from conegap.validation.exact.cap_moments import cap_field
from conegap.validation.exact.sphere_lattice import square_layer
from conegap.validation.lessons.lesson import (
    Comparison,
    Exercise,
    Findings,
    Lesson,
    Question,
    Sketch,
    Slip,
    Step,
)
from conegap.validation.lessons.onsets import needle_onset
from conegap.validation.lessons.units import NUMBER, PERCENT
from conegap.validation.sections import sector_shapes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.field.extrapolation import Estimate

__all__ = ["LESSON", "boss_field", "compute", "draw_firing", "draw_screening", "earliest"]

HEIGHT = 1e-3  # m, of a boss; any does, the field has no scale
PITCHES = (2.5, 3.0, 4.0)  # of the bosses, over their height
ASKED = 3.0  # that of the exercise
TIPS = 24  # of the crown
RADIUS, GAP, TENSION = 5e-6, 1e-3, 0.718  # m, m, N/m: the gallium needle of chapter 9
SPREAD = 0.10  # standard deviation of the radius from tip to tip, relative; invented
STEP = 0.02  # relative change of the radius for a slope; its square is what the slope is off by
CROWNS = 10_000  # drawn at random; their means are then sure to 0.03 % of the onset
FINENESS = 0.6  # of the mesh, against that of a design: right to 1 %
ALLOWED = 0.02  # of the exercise: first and last tip within so much of the middle


def boss_field(pitch: float) -> Estimate:
    """Field at the top of a half ball among others on a plane over the field far above.

    Parameters
    ----------
    pitch : float
        Of their square lattice, over their height, [-].
    """
    from conegap.solver.field.extrapolation import estimate
    from conegap.solver.field3d.sector_solution import solve_sector

    tall = 1.5 * pitch * HEIGHT
    cell = sector_shapes.boss_cell(HEIGHT, pitch * HEIGHT, tall)
    solution = solve_sector(cell, meshes=2, fineness=FINENESS)
    weights, values = solution.weights({"emitter": 0.0, "accelerator": -1.0}), []
    # The plane of the feet is seen from afar a little higher than it is.
    far = 1.0 / (tall - square_layer(1.0 / pitch).shift * pitch * HEIGHT)
    for level in solution.levels:
        points = level.mesh.points * level.mesh.scale
        own = np.abs(np.linalg.norm(points, axis=1) / HEIGHT - 1.0) < 1e-6
        flux = weights @ level.charges[:, own] * level.mesh.scale
        values.append(cap_field(points[own], flux, (0.0, 0.0, HEIGHT), HEIGHT, mirrors=2) / far)
    return estimate(solution.level_sizes, tuple(values))


def earliest(tips: int, spread: float, slope: float) -> float:
    """Mean onset of the first of many tips over that of a tip as drawn, less 1, [-].

    The least of n normal deviates has the density n phi (1 - Phi)^(n - 1).

    Parameters
    ----------
    tips : int
        n, [-].
    spread : float
        Standard deviation of the radius, relative, [-].
    slope : float
        Of ln V over ln R, [-].
    """
    from scipy.integrate import quad
    from scipy.stats import norm

    def under(x: float) -> float:
        weight = tips * norm.pdf(x) * norm.sf(x) ** (tips - 1)
        return float(weight * (1.0 + spread * x) ** slope)

    return float(quad(under, -9.0, 9.0, epsabs=1e-12, limit=200)[0]) - 1.0


def compute(guess: float | None = None) -> Findings:
    """Screened bosses in three dimensions, and crowns drawn at random.

    Parameters
    ----------
    guess : float or None
        Not needed here, [-].
    """
    tops = [boss_field(pitch) for pitch in PITCHES]
    lattices = [square_layer(1.0 / pitch).top_field for pitch in PITCHES]
    up, down = (
        needle_onset(surface_tension=TENSION, radius=RADIUS * factor, gap=GAP)[0]
        for factor in (1.0 + STEP, 1.0 - STEP)
    )
    slope = math.log(up / down) / math.log((1.0 + STEP) / (1.0 - STEP))
    radii = 1.0 + SPREAD * np.random.default_rng(3).normal(size=(CROWNS, TIPS))
    onsets = np.sort(radii**slope, axis=1)
    first, last = (float(onsets[:, k].mean()) - 1.0 for k in (0, -1))
    exact_slope = _closed_slope()
    asked = PITCHES.index(ASKED)
    return Findings(
        {
            "first": -first,
            "last": last,
            "hundred": -earliest(100, SPREAD, slope),
            "screened": 1.0 - tops[asked].value / 3.0,
            "slope": slope,
            "reach": _middle_of_largest(TIPS),
            "allowed": ALLOWED / (_middle_of_largest(TIPS) * slope),
        },
        (
            Comparison(f"first of {TIPS} tips below a tip as drawn", PERCENT, -first,
                       -earliest(TIPS, SPREAD, exact_slope), "computed elsewhere",
                       "integral over the least of n normal deviates (quadrature) with the slope "
                       "of the hyperboloid's closed form", asked=True),
            *(
                Comparison(f"field on a boss at a pitch of {pitch:g} heights", NUMBER, top.value,
                           lattice, "computed elsewhere",
                           "multipoles to degree 15, Rayleigh's method; McPhedran and McKenzie, "
                           "Proc. R. Soc. A 359, 45 (1978), abstract read", error=top.error)
                for pitch, top, lattice in zip(PITCHES, tops, lattices, strict=True)
            ),
        ),
        {
            "pitches": np.array(PITCHES),
            "tops": np.array([top.value for top in tops]),
            "curve_pitch": np.linspace(2.2, 7.0, 25),
            "curve": np.array(
                [square_layer(1.0 / pitch).top_field for pitch in np.linspace(2.2, 7.0, 25)]
            ),
            "ranks": onsets.mean(axis=0) - 1.0,
            "low": np.quantile(onsets, 0.05, axis=0) - 1.0,
            "high": np.quantile(onsets, 0.95, axis=0) - 1.0,
        },
    )  # fmt: skip


def _closed_slope() -> float:
    """Slope of ln V over ln R by the closed form of the hyperboloid, [-]."""

    def onset(radius: float) -> float:
        return math.sqrt(1.0 / radius) / exact.hyperboloid_field(
            voltage=1.0, radius=radius, gap=GAP
        )

    return math.log(onset(RADIUS * 1.0001) / onset(RADIUS * 0.9999)) / math.log(1.0001 / 0.9999)


def _middle_of_largest(tips: int) -> float:
    """Mean of the largest of so many normal deviates, [-]."""
    from scipy.integrate import quad
    from scipy.stats import norm

    return float(quad(lambda x: x * tips * norm.pdf(x) * norm.cdf(x) ** (tips - 1), -9.0, 9.0)[0])


def draw_screening(axes: Axes, found: Findings) -> None:
    """Field on a boss over the pitch."""
    from conegap.solver.common.style import ACCENT, INK, SOFT, quiet_axes

    quiet_axes(axes)
    axes.axhline(3.0, color=SOFT, ls=":")
    axes.annotate("a boss alone: 3", (7.0, 3.0), xytext=(0, 4), ha="right",
                  textcoords="offset points", color=SOFT)  # fmt: skip
    axes.plot(found.series["curve_pitch"], found.series["curve"], color=INK, lw=1.0,
              label="multipoles")  # fmt: skip
    axes.plot(found.series["pitches"], found.series["tops"], "o", color=ACCENT, ms=6,
              label="solved in three dimensions")  # fmt: skip
    axes.set(xlabel="pitch over height [-]", ylabel="field on top over field afar [-]",
             xlim=(2.0, 7.1), ylim=(1.0, 3.25))  # fmt: skip
    axes.legend(loc="lower right")


def draw_firing(axes: Axes, found: Findings) -> None:
    """Onset of the tip that fires first, second and so on."""
    from conegap.solver.common.style import ACCENT, BAND, SOFT, quiet_axes

    quiet_axes(axes)
    rank = np.arange(1, len(found.series["ranks"]) + 1)
    axes.fill_between(rank, 100.0 * found.series["low"], 100.0 * found.series["high"], color=BAND,
                      lw=0.0, label="90 % of the crowns")  # fmt: skip
    axes.plot(rank, 100.0 * found.series["ranks"], "o-", color=ACCENT, ms=3.5, label="mean")
    axes.axhline(0.0, color=SOFT, ls=":")
    axes.set(xlabel="order of firing [-]", ylabel="onset against a tip as drawn [%]",
             xlim=(0.0, len(rank) + 1.0))  # fmt: skip
    axes.legend(loc="upper left")


LESSON = Lesson(
    "crown",
    "A crown of tips",
    "what neighbours take of a tip's field, and in which order the tips fire",
    (
        "Many tips share one accelerator: a crown, a row, an array. Two things part them from a "
        "single tip. Neighbours stand in each other's field and screen each other. And no two tips "
        "are alike, so that they do not fire together.",
        "The first tip that fires is not an average tip: it is the sharpest of all. With more tips "
        "the sharpest is sharper, the bluntest is blunter, and the voltages between first and last "
        "grow apart although no single tip got worse.",
    ),
    Question(
        "24 gallium needles of 5 µm stand 1 mm before a plate, far from each other. Their radii "
        "differ by 10 % (standard deviation). By how many percent does the first of them fire "
        "below a needle as drawn?",
        PERCENT,
        1e-3,
        1.0,
    ),
    compute,
    (
        Step(
            "What neighbours take",
            lambda found: (
                "Half balls on a plane are tips that can be solved exactly: one alone has three "
                "times the field afar, as chapter 1 found. At a pitch of three heights its "
                f"neighbours leave it {3.0 * (1.0 - found.numbers['screened']):.3f} times. Closer "
                "still, and the tops feel a plane that has merely been lifted.",
                "Far apart the loss falls as the inverse cube of the pitch, so more room helps "
                "much. "
                "In a crown the neighbours stand in a ring instead of all around and take less.",
            ),
            Sketch(
                "screening",
                draw_screening,
                lambda found: (
                    "Field on top of half balls on a plane, in a square lattice, over the field "
                    "far above."
                ),
                lambda found: (
                    "Field on a boss against the pitch: from 2.0 at 2.2 heights it rises towards "
                    "the level 3 of a boss alone; three solved dots lie on the line of the "
                    "multipoles."
                ),
            ),
        ),
        Step(
            "In which order they fire",
            lambda found: (
                f"The onset goes with the power {found.numbers['slope']:.3f} of the radius. Drawn "
                f"{CROWNS:,} times, the first tip fires {PERCENT.text(found.numbers['first'], 3)} "
                f"below the tip as drawn and the last {PERCENT.text(found.numbers['last'], 3)} "
                "above. Between the two a crown is partly lit, and a supply set for an average tip "
                "lights half of it.",
                "A tip that fires also draws current through the ballast, so the last ones see "
                "less voltage than the supply shows: `conegap onset crown` counts with that.",
            ),
            Sketch(
                "firing",
                draw_firing,
                lambda found: (
                    "Onset of the tip that fires first, second and so on, over crowns drawn at "
                    "random."
                ),
                lambda found: (
                    "Onset against the order of firing: a stretched S from "
                    f"{100.0 * found.numbers['first']:.1f} percent below to "
                    f"{100.0 * found.numbers['last']:.1f} percent above a tip as drawn, steepest "
                    "at both ends."
                ),
            ),
        ),
    ),
    (
        Exercise(
            "The crown gets 100 tips of the same make. By how many percent does its first tip fire "
            "below a needle as drawn?",
            PERCENT,
            lambda found: found.numbers["hundred"],
            0.03,
            "The least of 100 normal deviates is on average 2.508 below the middle.",
            lambda found: (
                f"{PERCENT.text(found.numbers['hundred'], 3)}: four times as many tips, and only "
                "a little earlier."
            ),
            (
                Slip(
                    lambda found: found.numbers["first"] * math.sqrt(100.0 / TIPS),
                    "The extreme of many does not grow with the square root of their number.",
                ),
            ),
        ),
        Exercise(
            "At a pitch of three heights, by how many percent is the field on a boss below that on "
            "a boss alone?",
            PERCENT,
            lambda found: found.numbers["screened"],
            0.03,
            "Compare with three.",
            lambda found: f"By {PERCENT.text(found.numbers['screened'], 3)}.",
            (
                Slip(
                    lambda found: 1.0 / (1.0 - found.numbers["screened"]) - 1.0,
                    "That is by how much the lone boss has more than the screened one.",
                ),
            ),
        ),
        Exercise(
            "First and last of the 24 are to fire within 2 % of the middle, on average. To how "
            "many percent (standard deviation) must the radii be alike?",
            PERCENT,
            lambda found: found.numbers["allowed"],
            0.03,
            "The extremes of 24 normal deviates lie 1.948 from the middle, and the onset goes as "
            "$R^n$ with the slope n.",
            lambda found: (
                f"To {PERCENT.text(found.numbers['allowed'], 3)}: 2 % over 1.948 and over the "
                "slope."
            ),
            (
                Slip(
                    lambda found: ALLOWED / found.numbers["reach"],
                    "The onset goes only with a power of the radius: that lets you off lightly.",
                ),
            ),
        ),
    ),
    (
        "R. C. McPhedran and D. R. McKenzie, Proceedings of the Royal Society A 359, 45 (1978): "
        "abstract read; the multipoles are computed here and checked in `conegap validate`.",
        "Density of the least of n deviates: textbook, derived in one line; 1.948 and 2.508 are "
        "integrals of it.",
        "Closed form of the hyperboloid: textbook, checked in `conegap validate` and the tests.",
    ),
    "Run `conegap start crown --to mine.toml` and `conegap onset mine.toml`, and note when the "
    "first and when all tips fire. Halve the number of tips, say which way both go, and run again.",
)
