"""Chapter 9: how sure the onset of a needle is, and which tolerance decides that."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.validation.exact import fields as exact
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

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.geometries.curves.curve import FloatArray

__all__ = ["LESSON", "compute", "draw_draws", "draw_parts"]

TENSION = 0.718  # N/m, gallium at its melting point
RADIUS = 5e-6  # m
GAP = 1e-3  # m
# Standard deviations, relative: a radius from a micrograph, a gap by feeler gauge, a tension from
# tables; invented for this chapter.
SPREADS = {"radius": 0.10, "gap": 0.05, "tension": 0.03}
STEP = 0.02  # relative change for a slope; its square is what the slope is off by
DRAWS = 100_000  # of the numerical experiment; its width is then known to some 0.3 %


def compute(guess: float | None = None) -> Findings:
    """Slopes of the onset by field solves, their combination, and draws from the closed form.

    Parameters
    ----------
    guess : float or None
        Not needed here, [-].
    """
    slopes = {}
    for name in SPREADS:
        up, down = (_solved(name, factor) for factor in (1.0 + STEP, 1.0 - STEP))
        slopes[name] = math.log(up / down) / math.log((1.0 + STEP) / (1.0 - STEP))
    parts = {name: slopes[name] * spread for name, spread in SPREADS.items()}
    combined = math.hypot(*parts.values())
    better = math.hypot(0.5 * parts["radius"], parts["gap"], parts["tension"])
    draws = np.random.default_rng(1).normal(size=(3, DRAWS))
    spread = [1.0 + size * row for size, row in zip(SPREADS.values(), draws, strict=True)]
    drawn = _drawn(*spread)
    exact_slopes = {name: _closed_slope(name) for name in SPREADS}
    exact_band = 2.0 * math.hypot(*(exact_slopes[name] * SPREADS[name] for name in SPREADS))
    low, high = np.quantile(drawn, [0.025, 0.975])
    form = "closed form of the hyperboloid (prolate spheroidal coordinates), differenced"
    return Findings(
        {
            **slopes,
            "band": 2.0 * combined,
            "better": 2.0 * better,
            "added": 2.0 * sum(parts.values()),
            "share": (parts["radius"] / combined) ** 2,
            "low": float(low) - 1.0,
            "high": float(high) - 1.0,
        },
        (
            Comparison("band of the onset, k = 2", PERCENT, 2.0 * combined, exact_band,
                       "exact", form, asked=True),
            Comparison("the same by half the width of 95 % of the draws", PERCENT,
                       2.0 * combined, 0.5 * float(high - low), "computed elsewhere",
                       f"{DRAWS} draws from normal distributions through the closed form"),
            *(
                Comparison(f"slope of ln V over ln of the {name}", NUMBER, slopes[name],
                           exact_slopes[name], "exact", form)
                for name in SPREADS
            ),
        ),
        {"parts": np.array([parts[name] for name in SPREADS]), "drawn": drawn},
        {"parts": tuple(SPREADS)},
    )  # fmt: skip


def _solved(name: str, factor: float) -> float:
    """Onset with one quantity changed, by a field solve, [V]."""
    return needle_onset(
        surface_tension=TENSION * (factor if name == "tension" else 1.0),
        radius=RADIUS * (factor if name == "radius" else 1.0),
        gap=GAP * (factor if name == "gap" else 1.0),
    )[0]


def _closed_slope(name: str) -> float:
    """Slope of ln V over ln of a quantity, by the closed form, [-]."""
    as_drawn = dict.fromkeys(SPREADS, 1.0)
    # Central difference: its error goes as the square of the step, here 1e-8.
    up, down = (_closed(**as_drawn | {name: factor}) for factor in (1.0 + 1e-4, 1.0 - 1e-4))
    return math.log(up / down) / math.log((1.0 + 1e-4) / (1.0 - 1e-4))


def _closed(radius: float, gap: float, tension: float) -> float:
    """Onset by the closed form, of factors on the three quantities, up to a constant."""
    per_volt = exact.hyperboloid_field(voltage=1.0, radius=RADIUS * radius, gap=GAP * gap)
    return math.sqrt(tension / radius) / per_volt


def _drawn(radius: FloatArray, gap: FloatArray, tension: FloatArray) -> FloatArray:
    """The same of many needles over that as drawn; its factor of d / R is tabled and read off."""
    ratio = np.log(gap / radius)
    table = np.linspace(ratio.min(), ratio.max(), 400)
    tabled = [_closed(1.0, float(x), 1.0) / _closed(1.0, 1.0, 1.0) for x in np.exp(table)]
    return np.asarray(np.sqrt(tension * radius) * np.interp(ratio, table, tabled))


def draw_parts(axes: Axes, found: Findings) -> None:
    """Contributions and their combination as bars."""
    from conegap.solver.common.style import ACCENT, BAND, INK

    names = (*found.words["parts"], "combined")
    values = [*100.0 * found.series["parts"], 50.0 * found.numbers["band"]]
    for k, value in enumerate(values):
        last = k == len(values) - 1
        axes.barh(k, value, height=0.62, color=ACCENT if last else BAND, edgecolor=INK, lw=0.6)
        axes.annotate(f"{value:.1f} %", (value, k), xytext=(5, 0), textcoords="offset points",
                      va="center")  # fmt: skip
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0)
    axes.set(xlabel="standard deviation of the onset [%]", xlim=(0.0, 1.2 * max(values)))


def draw_draws(axes: Axes, found: Findings) -> None:
    """Onsets of the drawn needles, and the band."""
    from conegap.solver.common.style import ACCENT, BAND, LIMIT, quiet_axes

    quiet_axes(axes)
    change = 100.0 * (found.series["drawn"] - 1.0)
    axes.hist(change, bins=64, range=(-16.0, 16.0), color=BAND, edgecolor=ACCENT, lw=0.4)
    for side in (-1.0, 1.0):
        axes.axvline(100.0 * side * found.numbers["band"], color=LIMIT, ls="--")
    axes.set(xlabel="onset against the needle as drawn [%]", ylabel="needles in a bin [-]",
             xlim=(-16.0, 16.0))  # fmt: skip


LESSON = Lesson(
    "tolerance",
    "How sure is the onset",
    "which tolerance decides the band, and why tolerances do not add up",
    (
        "No needle is made as drawn. Its radius, its gap and the surface tension are each known "
        "with a spread, and each spread moves the onset by its slope: a relative change of x by "
        "1 % moves the onset by n %, with n the slope of ln V over ln x.",
        "Errors that know nothing of each other seldom all point the same way, so their squares "
        "add: three parts a, b and c make the standard deviation $√(a² + b² + c²)$. Twice that, "
        "k = 2, holds about 95 % of the needles. It is the band that `conegap onset` prints.",
    ),
    Question(
        "A gallium needle of 5 µm stands 1 mm before a plate. Radius, gap and surface tension "
        "have standard deviations of 10 %, 5 % and 3 %. How wide is the band of the onset on "
        "either side (k = 2), in percent?",
        PERCENT,
        1e-3,
        1.0,
    ),
    compute,
    (
        Step(
            "One tolerance owns the band",
            lambda found: (
                f"The band is ± {100.0 * found.numbers['band']:.2f} %. The onset goes with the "
                f"power {found.numbers['radius']:.3f} of the radius and only "
                f"{found.numbers['gap']:.3f} of the gap, so the radius makes "
                f"{100.0 * found.numbers['share']:.0f} % of the variance.",
                "Money spent on the gap is lost here: without any error of the gap the band would "
                "hardly be narrower. Measure the radius.",
            ),
            Sketch(
                "parts",
                draw_parts,
                lambda found: "What each spread does to the onset, and the root of their squares.",
                lambda found: (
                    "Bars of the contributions of radius, gap and tension and of their "
                    "combination: the radius is by far the longest of the three and the "
                    "combination only a little longer."
                ),
                2.2,
            ),
        ),
        Step(
            "A hundred thousand needles",
            lambda found: (
                "Draw the three quantities at random, a hundred thousand times, and look at the "
                f"onsets: 95 % lie between {PERCENT.text(found.numbers['low'], 3)} and "
                f"+{PERCENT.text(found.numbers['high'], 3)}. The band from slopes is right as "
                "long as the onset is nearly straight over the tolerance; the two sides begin to "
                "differ where it is not.",
            ),
            Sketch(
                "draws",
                draw_draws,
                lambda found: "Onsets of needles drawn at random. Dashed: the band, k = 2.",
                lambda found: (
                    "Histogram of the onsets against the needle as drawn: a bell with nearly all "
                    "of its area between two dashed lines at plus and minus "
                    f"{100.0 * found.numbers['band']:.1f} percent."
                ),
            ),
        ),
    ),
    (
        Exercise(
            "The radius is measured twice as well, to 5 %. How wide is the band now, on either "
            "side?",
            PERCENT,
            lambda found: found.numbers["better"],
            0.02,
            "Halve the radius's part, then take the root of the sum of squares anew.",
            lambda found: f"± {PERCENT.text(found.numbers['better'], 3)}: gap and tension remain.",
            (
                Slip(
                    lambda found: 0.5 * found.numbers["band"],
                    "Only one of the three parts has been halved.",
                ),
            ),
        ),
        Exercise(
            "Somebody adds the three parts up, twice each, as if all went wrong together. How "
            "wide is that band, on either side?",
            PERCENT,
            lambda found: found.numbers["added"],
            0.02,
            "Twice the sum of slope times spread.",
            lambda found: (
                f"± {PERCENT.text(found.numbers['added'], 3)}: a worst case that hardly ever "
                "happens."
            ),
            (
                Slip(
                    lambda found: 0.5 * found.numbers["added"],
                    "That is one standard deviation of each; the band has two.",
                ),
            ),
        ),
        Exercise(
            "How many percent of the onset's variance come from the radius?",
            PERCENT,
            lambda found: found.numbers["share"],
            0.01,
            "The square of its part over the sum of all squares.",
            lambda found: f"{PERCENT.text(found.numbers['share'], 3)}.",
            (
                Slip(
                    lambda found: math.sqrt(found.numbers["share"]),
                    "Variances are squares: do not take the root.",
                ),
            ),
        ),
    ),
    (
        "Propagation of uncertainty, combined standard uncertainty and k = 2: Guide to the "
        "Expression of Uncertainty in Measurement, JCGM 100:2008, section 5; from memory.",
        "Closed form of the hyperboloid: textbook, checked in `conegap validate` and the tests.",
    ),
    "Write `conegap start needle --to mine.toml`, run `conegap onset mine.toml`, and find the "
    "tolerance that makes most of the band. Halve it, run again, and say by how much the band "
    "shrinks before you look.",
)
