"""Chapter 5: the onset of a needle, and its logarithm."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0

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
from conegap.validation.lessons.units import KILOVOLTS, PERCENT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LESSON", "compute", "draw_gap", "draw_radius"]

RADIUS = 5e-6  # m, a usual needle
GAP = 1e-3  # m
RADII = (1e-6, 2e-6, 5e-6, 10e-6, 25e-6)  # m
GAPS = (5e-5, 2e-4, 1e-3, 2e-3, 5e-3)  # m


def compute(guess: float | None = None) -> Findings:
    """Onsets over the radius and over the gap, each by its own field solve.

    Parameters
    ----------
    guess : float or None
        Not needed here, [V].
    """
    from conegap.geometries.metals.metal import metal
    from conegap.solver.onset import closed_forms as classic

    gallium, caesium = metal("gallium"), metal("caesium")
    gamma = float(gallium.surface_tension(gallium.melting_point))
    soft = float(caesium.surface_tension(caesium.melting_point))
    places = {(radius, GAP) for radius in RADII} | {(RADIUS, gap) for gap in GAPS}
    onsets = {
        (radius, gap): needle_onset(surface_tension=gamma, radius=radius, gap=gap)
        for radius, gap in sorted(places)
    }
    here, error = onsets[RADIUS, GAP]
    limit = 2.0 * math.sqrt(gamma / (epsilon_0 * RADIUS))
    closed = limit / exact.hyperboloid_field(voltage=1.0, radius=RADIUS, gap=GAP)
    log = classic.needle_onset(surface_tension=gamma, radius=RADIUS, gap=GAP)
    alkali, _ = needle_onset(surface_tension=soft, radius=RADIUS, gap=GAP)
    short, _ = onsets[RADIUS, GAPS[0]]
    short_log = classic.needle_onset(surface_tension=gamma, radius=RADIUS, gap=GAPS[0])
    coordinates = "exact field (prolate spheroidal coordinates, textbook) and $2 γ / R$"
    return Findings(
        {
            "onset": here,
            "gamma": gamma,
            "caesium": alkali,
            "caesium_gamma": soft,
            "longer": onsets[RADIUS, 2e-3][0] / here - 1.0,
            "blunter": onsets[10e-6, GAP][0] / here - 1.0,
            "field": limit,
        },
        (
            Comparison("onset of the gallium needle, 5 µm, 1 mm", KILOVOLTS, here, closed,
                       "exact", coordinates, asked=True, error=error),
            Comparison("the same by $√(γ R / ε₀) ln(4 d / R)$", KILOVOLTS, here, log,
                       "formula", "limit for d much above R; used for liquid-metal sources since "
                       "Gomer, Appl. Phys. 19, 365 (1979), attribution from memory"),
            Comparison("gap of 50 µm, the same logarithm", KILOVOLTS, short, short_log,
                       "formula", "beyond its range: d is only 10 R"),
        ),
        {
            "radii": np.array(RADII),
            "over_radius": np.array([onsets[radius, GAP][0] for radius in RADII]),
            "gaps": np.array(GAPS),
            "over_gap": np.array([onsets[RADIUS, gap][0] for gap in GAPS]),
        },
    )  # fmt: skip


def draw_gap(axes: Axes, found: Findings) -> None:
    """Onset against the gap at one radius."""
    from conegap.solver.common.style import ACCENT, LIMIT, SOFT, quiet_axes
    from conegap.solver.onset.closed_forms import needle_onset as logarithm

    quiet_axes(axes).set_xscale("log")
    gamma = found.numbers["gamma"]
    gap = np.geomspace(3e-5, 7e-3, 100)
    log = [logarithm(surface_tension=gamma, radius=RADIUS, gap=float(d)) for d in gap]
    here = found.numbers["onset"]
    axes.plot(gap * 1e3, here * np.sqrt(gap / GAP) / 1e3, color=SOFT, ls=":",
              label="if it went as √d")  # fmt: skip
    axes.plot(gap * 1e3, np.array(log) / 1e3, color=LIMIT, ls="--", label="logarithm")
    axes.plot(found.series["gaps"] * 1e3, found.series["over_gap"] / 1e3, "o", color=ACCENT,
              label="computed")  # fmt: skip
    axes.set(xlabel="gap d [mm]", ylabel="onset [kV]", xlim=(0.03, 7.0), ylim=(0.0, 8.0))
    axes.legend(loc="upper left")


def draw_radius(axes: Axes, found: Findings) -> None:
    """Onset against the tip radius at one gap."""
    from conegap.solver.common.style import ACCENT, LIMIT, SOFT, quiet_axes
    from conegap.solver.onset.closed_forms import needle_onset as logarithm

    quiet_axes(axes)
    gamma, here = found.numbers["gamma"], found.numbers["onset"]
    radius = np.linspace(0.2e-6, 28e-6, 150)
    log = [logarithm(surface_tension=gamma, radius=float(r), gap=GAP) for r in radius]
    axes.plot(radius * 1e6, here * np.sqrt(radius / RADIUS) / 1e3, color=SOFT, ls=":",
              label="if it went as √R")  # fmt: skip
    axes.plot(radius * 1e6, np.array(log) / 1e3, color=LIMIT, ls="--", label="logarithm")
    axes.plot(found.series["radii"] * 1e6, found.series["over_radius"] / 1e3, "o", color=ACCENT,
              label="computed")  # fmt: skip
    axes.set(xlabel="tip radius R [µm]", ylabel="onset [kV]", xlim=(0.0, 28.0), ylim=(0.0, 10.5))
    axes.legend(loc="upper left")


LESSON = Lesson(
    "needle",
    "The onset of a needle and its logarithm",
    "which dimension of a needle matters, and how much",
    (
        "Hold the liquid on a needle's tip rigid for a moment, as a cap of radius R. It lets go "
        "when the stress $½ ε₀ E²$ reaches the tension $2 γ / R$, so at $E = 2 √(γ / (ε₀ R))$. The "
        "field for one volt is the subject of chapter 1; dividing one by the other gives an onset "
        "voltage.",
        "This rigid onset is a first estimate. A free surface sharpens before it goes (chapter "
        "3), and a long shank or an aperture is not a hyperboloid; `conegap onset` solves what "
        "was drawn.",
    ),
    Question(
        "Gallium ($γ = 0.718$ N/m) on a needle of 5 µm tip radius, 1 mm before a flat plate. At "
        "which voltage does the rigid cap let go?",
        KILOVOLTS,
        1.0,
        1e6,
    ),
    compute,
    (
        Step(
            "The gap hardly matters",
            lambda found: (
                f"The cap lets go at {KILOVOLTS.text(found.numbers['onset'])}, with "
                f"{found.numbers['field'] / 1e6:.0f} MV/m at the tip. Twice the gap raises that "
                f"by only {100.0 * found.numbers['longer']:.1f} %.",
                "The logarithm is a limit: good to half a percent when the gap is a hundred "
                "radii, 3 % off at ten. The textbook form with $γ / R$ in place of $2 γ / R$ "
                "belongs to an edge, not to a tip (chapter 8).",
            ),
            Sketch(
                "over_gap",
                draw_gap,
                lambda found: (
                    "Onset of the 5 µm gallium needle over its gap. Every dot is a field solve."
                ),
                lambda found: (
                    "Onset against gap, logarithmic: computed dots on the dashed "
                    "logarithm, rising slowly; a dotted square-root law would be far steeper."
                ),
            ),
        ),
        Step(
            "The radius does",
            lambda found: (
                f"Twice the radius raises the onset by {100.0 * found.numbers['blunter']:.1f} %: "
                "less than the $√2$ of the tension's part, since a blunter tip also loses less of "
                "its field to the shaft. A needle's tip radius is the dimension to hold and to "
                "measure.",
            ),
            Sketch(
                "over_radius",
                draw_radius,
                lambda found: "Onset of a gallium needle 1 mm before a plate over its tip radius.",
                lambda found: (
                    "Onset against tip radius: computed dots on the dashed logarithm, "
                    "rising steeply from zero and then below a square-root law."
                ),
            ),
        ),
    ),
    (
        Exercise(
            "The plate is moved from 1 mm to 2 mm. By how many percent does the onset rise?",
            PERCENT,
            lambda found: found.numbers["longer"],
            0.04,
            "Compare $ln(4 d / R)$ at both gaps.",
            lambda found: (
                f"$ln(1600) / ln(800)$: a rise of {100.0 * found.numbers['longer']:.1f} %."
            ),
            (
                Slip(lambda found: 1.0, "That is a flat gap; here the gap sits in a logarithm."),
                Slip(
                    lambda found: math.sqrt(2.0) - 1.0,
                    "The root belongs to the radius (and to blades, chapter 6), not to a "
                    "needle's gap.",
                ),
            ),
        ),
        Exercise(
            "The tip is worn from 5 µm to 10 µm at 1 mm. By how many percent does the onset rise?",
            PERCENT,
            lambda found: found.numbers["blunter"],
            0.04,
            "$√R$ grows by $√2$, but $ln(4 d / R)$ shrinks.",
            lambda found: f"$√2 · ln(400) / ln(800)$: {100.0 * found.numbers['blunter']:.1f} %.",
            (
                Slip(
                    lambda found: math.sqrt(2.0) - 1.0,
                    "You have the $√R$; the radius also sits in the logarithm.",
                ),
            ),
        ),
        Exercise(
            "The same needle with caesium ($γ = 0.0714$ N/m), still 5 µm and 1 mm. At which "
            "voltage?",
            KILOVOLTS,
            lambda found: found.numbers["caesium"],
            0.02,
            "Only $γ$ changes, and the onset goes as its square root.",
            lambda found: (
                f"$√(0.0714 / 0.718)$ = 0.315 of gallium's: "
                f"{KILOVOLTS.text(found.numbers['caesium'])}."
            ),
            (
                Slip(
                    lambda found: (
                        found.numbers["onset"]
                        * found.numbers["caesium_gamma"]
                        / found.numbers["gamma"]
                    ),
                    "The stress goes as the square of the voltage: take the root.",
                ),
            ),
        ),
    ),
    (
        "Hyperboloid before a plane: textbook (prolate spheroidal coordinates), derived again and "
        "checked in the tests of this package.",
        "R. Gomer, Applied Physics 19, 365 (1979); L. W. Swanson and D. R. Kingham, "
        "Applied Physics A 41, 223 (1986), on liquid-metal sources: cited from memory, their "
        "printed constants not confirmed.",
    ),
    "Choose a tip radius for the shipped needle so that it starts at 3 kV. Guess it from "
    'the slope that you found, then run `conegap vary needle --over emitter.tip_radius="1 '
    'um".."4 um":4`.',
)
