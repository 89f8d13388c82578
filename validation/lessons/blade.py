"""Chapter 6: why the slit differs from the needle."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0

from conegap.validation.exact import fields as exact
from conegap.validation.exact.flat_waves import strip_threshold
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
from conegap.validation.lessons.onsets import blade_onset, needle_onset
from conegap.validation.lessons.units import KILOVOLTS, MICROMETRES, NUMBER, PERCENT
from conegap.validation.sections import catalogue as sections

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LESSON", "compute", "draw_radius", "draw_slope"]

GAP = 1e-3  # m
RADII = (100e-6, 30e-6, 10e-6, 3e-6, 1e-6)  # m
SPACED = 5e-6  # m, radius of the blade whose emission sites are spaced


def compute(guess: float | None = None) -> Findings:
    """Onsets of blades and needles over the radius, a blade before a slot, a flat strip.

    Parameters
    ----------
    guess : float or None
        Not needed here, [V].
    """
    from conegap.geometries.metals.metal import metal
    from conegap.solver.field.solution import solve_field
    from conegap.solver.liquid.ridge_waves import fastest_ridge_wave
    from conegap.solver.liquid.stability import Wave
    from conegap.validation.cases.stability import threshold

    gallium, caesium = metal("gallium"), metal("caesium")
    gamma = float(gallium.surface_tension(gallium.melting_point))
    soft = float(caesium.surface_tension(caesium.melting_point))
    blades = [blade_onset(surface_tension=gamma, radius=r, gap=GAP) for r in RADII]
    needles = [needle_onset(surface_tension=gamma, radius=r, gap=GAP)[0] for r in RADII]
    onsets = np.array([onset for onset, _ in blades])
    # arctan sqrt(d / R) is a series in the root of R / d; no closed form enters the fit.
    series = np.polynomial.Polynomial.fit(np.sqrt(np.array(RADII) / GAP), onsets, 3)
    limit = float(series(0.0))
    closed = 0.5 * math.pi * math.sqrt(2.0 * gamma * GAP / epsilon_0)
    slot = sections.blade_before_slit(half_width=GAP)
    edge = solve_field(slot.section).edge("edge", slot.voltages)
    shape = {"voltage": 1.0, "radius": 1.0 / edge.curvature, "gap": slot.section.gap}
    plane = exact.planar_hyperbola_field(**shape)
    strip = threshold("planar", Wave())
    maps = "exact: confocal hyperbolas (elliptic coordinates), textbook"
    twenty = blade_onset(surface_tension=gamma, radius=20e-6, gap=GAP)
    return Findings(
        {
            "limit": limit,
            "caesium": limit * math.sqrt(soft / gamma),
            "twenty": twenty[0],
            "needle_ratio": needles[0] / needles[-1],
            "blade_ratio": float(onsets[0] / onsets[-1]),
            "slot": edge.value / plane,
            "strip": strip,
            "spacing": 1.5 * math.pi * SPACED,
            "ridge": 2.0 * math.pi / fastest_ridge_wave(stress=2.0) * SPACED,
            "closed": closed,
        },
        (
            Comparison("onset of an ever sharper gallium blade, 1 mm", KILOVOLTS, limit, closed,
                       "exact", "$(π/2) √(2 γ d / ε₀)$, limit of confocal hyperbolas; derived",
                       asked=True),
            Comparison("the same blade with an edge of 20 µm", KILOVOLTS, twenty[0],
                       math.sqrt(2.0 * gamma * GAP / epsilon_0)
                       * math.atan(math.sqrt(GAP / 20e-6)), "exact", maps, error=twenty[1]),
            Comparison("edge field before an open slot over that before a plate", NUMBER,
                       edge.value / plane, slot.edge_fields["edge"] / plane,
                       "exact", "Joukowski map of elliptic coordinates, derived"),
            Comparison("$ε₀ E₀² a / γ$ at which a flat meniscus in a slit bulges", NUMBER, strip,
                       strip_threshold(), "computed elsewhere",
                       "derived, Galerkin with Bessel functions, run here"),
        ),
        {
            "radii": np.array(RADII),
            "blades": onsets,
            "needles": np.array(needles),
        },
    )  # fmt: skip


def draw_radius(axes: Axes, found: Findings) -> None:
    """Onset of blades and needles against their radius."""
    from conegap.solver.common.style import ACCENT, INK, LIMIT, SOFT, quiet_axes

    quiet_axes(axes).set_xscale("log")
    radii = found.series["radii"] * 1e6
    r = np.geomspace(0.5e-6, 200e-6, 120)
    closed = found.numbers["closed"] / (0.5 * math.pi) * np.arctan(np.sqrt(GAP / r))
    axes.plot(r * 1e6, closed / 1e3, color=SOFT, lw=1.2, label="blade, exact")
    axes.plot(radii, found.series["blades"] / 1e3, "o", color=ACCENT, label="blade, computed")
    axes.plot(radii, found.series["needles"] / 1e3, "s--", color=INK, ms=4, lw=1.0,
              label="needle, computed")  # fmt: skip
    axes.axhline(found.numbers["limit"] / 1e3, color=LIMIT, ls="--", lw=1.2)
    axes.annotate("sharp blade", (150.0, found.numbers["limit"] / 1e3), xytext=(0, 4), ha="right",
                  textcoords="offset points", color=LIMIT)  # fmt: skip
    axes.set(xlabel="edge or tip radius R [µm]", ylabel="onset [kV]", xlim=(0.5, 200.0),
             ylim=(0.0, 23.5))  # fmt: skip
    axes.legend(loc="center left", bbox_to_anchor=(0.0, 0.52))


def draw_slope(axes: Axes, found: Findings) -> None:
    """Onset of blades against the root of radius over gap, with its end at zero."""
    from conegap.solver.common.style import ACCENT, LIMIT, SOFT, quiet_axes

    quiet_axes(axes)
    root = np.sqrt(found.series["radii"] / GAP)
    x = np.linspace(0.0, 0.34, 60)
    series = np.polynomial.Polynomial.fit(root, found.series["blades"], 3)
    axes.plot(x, series(x) / 1e3, color=SOFT, ls=":", label="cubic through the dots")
    axes.plot(root, found.series["blades"] / 1e3, "o", color=ACCENT, label="blade, computed")
    axes.plot(0.0, found.numbers["closed"] / 1e3, "D", color=LIMIT, ms=6, clip_on=False,
              label="(π/2) √(2 γ d / ε₀)")  # fmt: skip
    axes.set(xlabel="√(R / d) [-]", ylabel="onset [kV]", xlim=(0.0, 0.34), ylim=(15.0, 20.5))
    axes.legend(loc="lower left")


LESSON = Lesson(
    "blade",
    "Why the slit differs",
    "sharpening a needle always helps, sharpening a blade stops helping",
    (
        "A slit emitter is a long edge. Its surface is curved in one direction only, so tension "
        "holds it with $γ / R$ and not with $2 γ / R$, and its field lines crowd in one direction "
        "only: near a sharp blade the field goes as R to the power $−½$.",
        "The stress, the square of the field, then goes as $1 / R$. So does the tension. The "
        "question is what is left when R goes to zero.",
    ),
    Question(
        "A gallium blade ($γ = 0.718$ N/m) stands 1 mm before a flat plate. Towards which rigid "
        "onset does it go when its edge is made ever sharper? (0 if it falls to nothing)",
        KILOVOLTS,
        0.0,
        1e6,
    ),
    compute,
    (
        Step(
            "The radius cancels",
            lambda found: (
                f"From 100 µm to 1 µm the needle's onset falls "
                f"{found.numbers['needle_ratio']:.1f} times; the blade's even rises, to "
                f"{1.0 / found.numbers['blade_ratio']:.2f} times, towards "
                f"{KILOVOLTS.text(found.numbers['limit'])}. Only the gap is left in it: "
                "$(π/2) √(2 γ d / ε₀)$.",
                "So for a blade hold the gap; the lip radius matters less once it is small. In a "
                "real slit the liquid's width, not the metal's lip, limits how sharp its surface "
                "can be.",
            ),
            Sketch(
                "over_radius",
                draw_radius,
                lambda found: (
                    "Rigid onset of gallium blades and needles 1 mm before a plate. "
                    "Every dot and square is a field solve."
                ),
                lambda found: (
                    "Onset against radius, logarithmic: needles fall steeply towards "
                    "small radii, blades level off near "
                    f"{found.numbers['limit'] / 1e3:.1f} kV."
                ),
            ),
        ),
        Step(
            "The end of the line",
            lambda found: (
                "Over the root of $R / d$ the blade's onset is nearly a straight line, and its end "
                "at zero is the sharp blade. It cannot be computed there (the field of a sharp "
                "edge does not exist), only approached; `conegap onset` refuses a blade without a "
                "radius.",
                "Two warnings for real slits. An open slot before the edge takes field away: "
                "before a slot 2.7 times as wide as the gap (the table) the edge keeps "
                f"{100.0 * found.numbers['slot']:.0f} %. "
                "And a flat liquid surface in a slit of half width a bulges at "
                f"$ε₀ E₀² a / γ$ = {found.numbers['strip']:.3f}, whatever the lips.",
            ),
            Sketch(
                "towards_zero",
                draw_slope,
                lambda found: (
                    "The same blades over $√(R / d)$. The diamond is the closed form of "
                    "the sharp blade; the dotted cubic knows only the dots."
                ),
                lambda found: (
                    "Onset against the root of radius over gap: dots on a nearly "
                    "straight line that meets the diamond of the closed form at zero."
                ),
            ),
        ),
    ),
    (
        Exercise(
            "What is the limit for caesium ($γ = 0.0714$ N/m) at 1 mm?",
            KILOVOLTS,
            lambda found: found.numbers["caesium"],
            0.02,
            "$(π/2) √(2 γ d / ε₀)$, with $ε₀ = 8.854 · 10^(−12)$ F/m.",
            lambda found: (
                f"{KILOVOLTS.text(found.numbers['caesium'], 3)}: one reason why slits like caesium."
            ),
            (
                Slip(
                    lambda found: found.numbers["caesium"] / (0.5 * math.pi),
                    "The factor $π/2$ from the arctangent is missing.",
                ),
            ),
        ),
        Exercise(
            "The blade is moved from 1 mm to 0.5 mm. By how many percent does the limit fall?",
            PERCENT,
            lambda found: 1.0 - math.sqrt(0.5),
            0.02,
            "The limit goes as the root of the gap.",
            lambda found: "$1 − 1/√2$ = 29.3 %. A needle would have lost some 10 %.",
            (
                Slip(lambda found: 0.5, "It goes as $√d$, not as d."),
                Slip(lambda found: math.sqrt(0.5), "That is what is left; how much is lost?"),
            ),
        ),
        Exercise(
            "Along the edge emission settles into sites. On a flat surface the fastest wave has "
            "the length $3 π γ / (ε₀ E²)$. How far apart are the sites of a 5 µm edge at its own "
            "onset, $½ ε₀ E² = γ / R$?",
            MICROMETRES,
            lambda found: found.numbers["spacing"],
            0.02,
            "At onset $ε₀ E²$ = $2 γ / R$; put that in.",
            lambda found: (
                f"$(3 π / 2) R$ = {MICROMETRES.text(found.numbers['spacing'], 3)}. On a "
                "round ridge in the same field the fastest wave is a little shorter, "
                f"{MICROMETRES.text(found.numbers['ridge'], 3)}."
            ),
            (
                Slip(
                    lambda found: 2.0 * found.numbers["spacing"],
                    "Mind the ½: at onset $ε₀ E²$ is $2 γ / R$.",
                ),
                Slip(
                    lambda found: found.numbers["ridge"],
                    "That is a round ridge; the flat formula was asked for.",
                ),
            ),
        ),
    ),
    (
        "Confocal hyperbola and Joukowski map: textbook ingredients, derived again and checked by "
        "differencing in the tests of this package.",
        "Waves on a flat surface: L. Tonks, Physical Review 48, 562 (1935), citation seen.",
    ),
    "Say by how much the onset of the shipped slit rises when its gap is doubled, for a "
    'blade and for a needle. Then run `conegap vary slit --over accelerator.gap="0.5 '
    'mm".."1 mm":2`.',
)
