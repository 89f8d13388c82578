"""Chapter 1: the field of a sphere and of a needle."""

from __future__ import annotations

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
from conegap.validation.lessons.units import MEGAVOLTS_PER_METRE, NUMBER, PERCENT
from conegap.validation.sections import catalogue as sections

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LESSON", "compute", "draw_along", "draw_ratio"]

VOLTAGE = 1e3  # V
RADIUS = 5e-6  # m
RATIOS = (10.0, 30.0, 100.0, 300.0, 1000.0)  # gap over radius
OF_QUESTION = 2  # the ratio asked for, counted from 0


def compute(guess: float | None = None) -> Findings:
    """Fields of two spheres, a boss and five needles on meshes.

    Parameters
    ----------
    guess : float or None
        Not needed here, [V/m].
    """
    from conegap.solver.field.solution import solve_field

    numbers: dict[str, float] = {}
    for name, case in (
        ("spheres", sections.concentric_spheres(inner=1e-3, outer=5e-3)),
        ("boss", sections.hemisphere_boss(radius=1e-4)),
    ):
        solution = solve_field(case.section, prescribed=case.prescribed_data)
        numbers[name] = solution.edge("tip", case.voltages).value
    per_volt, errors = [], []
    for ratio in RATIOS:
        case = sections.hyperboloid_needle(radius=RADIUS, gap=ratio * RADIUS, prescribed=False)
        solution = solve_field(case.section)
        tip = solution.edge("tip", case.voltages)
        per_volt.append(tip.value)
        errors.append(tip.error)
        if ratio == RATIOS[OF_QUESTION]:
            along = solution.surface("emitter", case.voltages)
    tips = VOLTAGE * np.array(per_volt)
    gap = RATIOS[OF_QUESTION] * RADIUS
    shape = {"voltage": VOLTAGE, "radius": RADIUS, "gap": gap}
    numbers |= {
        "tip": float(tips[OF_QUESTION]),
        "fall": 1.0 - float(tips[-1] / tips[OF_QUESTION]),
    }
    textbook = "prolate spheroidal coordinates, textbook (Moon and Spencer 1961, from memory)"
    return Findings(
        numbers,
        (
            Comparison(
                "field at the needle's tip", MEGAVOLTS_PER_METRE, numbers["tip"],
                exact.hyperboloid_field(**shape), "exact", f"{textbook}",
                asked=True, error=errors[OF_QUESTION],
            ),
            Comparison(
                "the same by the logarithm $2 V / (R ln(4 d / R))$", MEGAVOLTS_PER_METRE,
                numbers["tip"], exact.hyperboloid_logarithmic_field(**shape),
                "formula", "limit of the exact form for d much above R",
            ),
            Comparison(
                "sphere in a sphere five times as wide, $E a / V$", NUMBER,
                1e-3 * numbers["spheres"],
                1e-3 * exact.concentric_spheres_field(voltage=1.0, inner=1e-3, outer=5e-3),
                "exact", "$E = V b / (a (b − a))$, textbook",
            ),
            Comparison(
                "hemisphere on a plane, apex over far field", NUMBER, numbers["boss"],
                exact.hemisphere_boss_field(uniform_field=1.0), "exact", "3, textbook",
            ),
        ),
        {
            "ratios": np.array(RATIOS),
            "tips": tips,
            "along": along.arc_length,
            "along_field": VOLTAGE * along.field,
        },
    )  # fmt: skip


def draw_ratio(axes: Axes, found: Findings) -> None:
    """Tip field times radius over voltage, against gap over radius."""
    from conegap.solver.common.style import ACCENT, INK, LIMIT, SOFT, quiet_axes

    ratio = np.geomspace(3.0, 2000.0, 200)
    unit = {"voltage": 1.0, "radius": 1.0}
    curve = [exact.hyperboloid_field(gap=float(x), **unit) for x in ratio]
    log = [exact.hyperboloid_logarithmic_field(gap=float(x), **unit) for x in ratio]
    quiet_axes(axes).set_xscale("log")
    axes.axhline(1.0, color=SOFT, ls=":", label="lone sphere, V / R")
    axes.plot(ratio, curve, color=INK, label="needle, exact")
    axes.plot(ratio, log, color=LIMIT, ls="--", lw=1.2, label="needle, logarithm")
    computed = found.series["tips"] * RADIUS / VOLTAGE
    axes.plot(found.series["ratios"], computed, "o", color=ACCENT, ms=5, label="needle, computed")
    axes.set(
        xlabel="gap over tip radius, d / R [-]",
        ylabel="tip field × radius / voltage, E R / V [-]",
        xlim=(3.0, 2000.0),
        ylim=(0.0, 1.1),
    )
    axes.legend(loc="center right", bbox_to_anchor=(1.0, 0.72))


def draw_along(axes: Axes, found: Findings) -> None:
    """Field along the needle from its tip, both axes logarithmic."""
    from conegap.solver.common.style import ACCENT, SOFT, quiet_axes

    quiet_axes(axes).set_xscale("log")
    axes.set_yscale("log")
    distance = found.series["along"][1:] / RADIUS
    axes.plot(distance, found.series["along_field"][1:] / 1e6, color=ACCENT)
    axes.axvline(1.0, color=SOFT, ls=":")
    axes.annotate("one radius", (1.0, 3.0), xytext=(4, 0), textcoords="offset points", color=SOFT)
    axes.set(
        xlabel="distance from the tip along the surface over R [-]",
        ylabel="field [MV/m]",
        xlim=(0.05, float(distance[-1])),
        ylim=(1.0, 120.0),
    )


def _text(value: float) -> str:
    return MEGAVOLTS_PER_METRE.text(value, 3)


LESSON = Lesson(
    "sphere",
    "The field of a sphere and of a needle",
    "why a sharp point concentrates the field, and how little the gap matters then",
    (
        "A voltage V across a flat gap d gives the field $V / d$ everywhere. A small conductor is "
        "different: far away its field lines spread, close to it they crowd. A lone sphere of "
        "radius R at V has the field $V / R$ at its surface, whatever stands far away. A needle is "
        "not a lone sphere: its own shaft repels field lines from the tip.",
        "Signs here and in the whole course: the voltage is that of the emitter against the other "
        "electrode, and a field is positive where it points out of the emitter.",
    ),
    Question(
        "A needle with a tip radius of 5 µm stands 0.5 mm before a flat plate, at 1 kV. Between "
        "flat plates the field would be 2 MV/m. How high is it at the tip?",
        MEGAVOLTS_PER_METRE,
        1e3,
        1e12,
    ),
    compute,
    (
        Step(
            "The tip, the lone sphere and the flat gap",
            lambda found: (
                f"The solver finds {_text(found.numbers['tip'])} at the tip: "
                f"{found.numbers['tip'] / (VOLTAGE / (RATIOS[OF_QUESTION] * RADIUS)):.0f} times "
                "the flat gap, but only "
                f"{100.0 * found.numbers['tip'] * RADIUS / VOLTAGE:.0f} % of a lone sphere of the "
                "same radius. The shaft takes the rest.",
                "Over a hundredfold change of the gap the tip field changes by little more than "
                "a factor two: the gap enters through a logarithm only.",
            ),
            Sketch(
                "tip_field",
                draw_ratio,
                lambda found: (
                    "Tip field in units of $V / R$. Dots: solved on meshes. The logarithm "
                    "joins the exact curve where the gap is long."
                ),
                lambda found: (
                    "Tip field times radius over voltage against gap over radius: "
                    "computed dots on the exact curve, falling from about 0.56 at 10 to 0.24 at "
                    "1000, below the line 1 of a lone sphere; the logarithm is a little low at "
                    "short gaps."
                ),
            ),
        ),
        Step(
            "How fast the field falls away from the tip",
            lambda found: (
                "Within one radius of the tip the field hardly falls; then it drops steeply along "
                "the shaft. Only a patch about as wide as the tip radius can emit.",
            ),
            Sketch(
                "field_along",
                draw_along,
                lambda found: "Field along the needle's surface, gap 100 radii, 1 kV.",
                lambda found: (
                    "Field along the needle, both axes logarithmic: flat near "
                    f"{_text(found.numbers['tip'])} up to one radius, then falling with distance."
                ),
            ),
        ),
    ),
    (
        Exercise(
            "A droplet sits as a half ball on a flat plate in a uniform field of 2 MV/m. How high "
            "is the field at its apex?",
            MEGAVOLTS_PER_METRE,
            lambda found: 2e6 * found.numbers["boss"],
            0.01,
            "The table has the ratio of apex field to far field.",
            lambda found: (
                "Three times the far field, 6.00 MV/m, whatever the size of the half ball."
            ),
            (
                Slip(
                    lambda found: 4e6,
                    "Twice is the half cylinder, a ridge; a half ball gathers field lines from "
                    "two directions.",
                ),
            ),
        ),
        Exercise(
            "A lone ball of radius 10 µm is at 1 kV. How high is the field at its surface?",
            MEGAVOLTS_PER_METRE,
            lambda found: 1e3 / 10e-6,
            0.01,
            "The field of a lone ball is its voltage over its radius.",
            lambda found: "$E = V / R$ = 1000 V / 10 µm = 100 MV/m.",
            (Slip(lambda found: 1e3 / 20e-6, "Divide by the radius, not by the diameter."),),
        ),
        Exercise(
            "The needle's gap is made ten times as long, 5 mm, at the same 1 kV. By how many "
            "percent does the field at its tip fall?",
            PERCENT,
            lambda found: found.numbers["fall"],
            0.04,
            "Read both values off the first picture, at $d / R$ = 100 and 1000, or use the "
            "logarithm: the field goes as $1 / ln(4 d / R)$.",
            lambda found: f"It falls by {100.0 * found.numbers['fall']:.1f} % only: a logarithm.",
            (
                Slip(
                    lambda found: 0.9,
                    "That is a flat gap, where the field is $V / d$. At a needle the gap enters "
                    "through a logarithm.",
                ),
                Slip(
                    lambda found: 1.0 - found.numbers["fall"],
                    "That is what is left; how much is lost?",
                ),
            ),
        ),
    ),
    (
        "Sphere, half ball and hyperboloid: textbook electrostatics, derived again and checked by "
        "differencing in the tests of this package.",
        "P. Moon and D. E. Spencer, Field Theory Handbook (1961): prolate spheroidal "
        "coordinates; cited from memory.",
    ),
    "Say which lowers the onset of the shipped needle more, half the gap or half the tip "
    'radius. Then run `conegap vary needle --over accelerator.gap="0.5 mm".."1 mm":2` and '
    '`conegap vary needle --over emitter.tip_radius="2 um".."4 um":2`.',
)
