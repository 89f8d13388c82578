"""Chapter 8: where the classic formulas disagree, and which to trust."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.validation.exact import fields as exact
from conegap.validation.exact import liquid as exact_liquid
from conegap.validation.lessons.lesson import (
    Comparison,
    Exercise,
    Findings,
    Lesson,
    Question,
    Sketch,
    Slip,
    Step,
    Table,
)
from conegap.validation.lessons.onsets import needle_onset
from conegap.validation.lessons.units import KILOVOLTS, NUMBER, PERCENT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.liquid.branch import MeniscusBranch

__all__ = ["LESSON", "compute", "draw_formulas", "draw_tube", "tube_onset"]

RADIUS = 5e-6  # m, a usual needle
GAP = 5e-4  # m
BORE_RADIUS = 25e-6  # m, a usual tube
TUBE_GAP = 1e-3  # m
MODES = 8  # coefficients of a shape; enough for three digits
SPEED_DIGITS = 0.299792458  # 1e-9 c in m/s: statvolts to volts
TUBE = """
title = "Thin tube before a plate (invented)"
[emitter]
kind = "capillary"
bore = "50 um"
outer_diameter = "60 um"
rim_radius = "2 um"
length = "5 mm"
contact_line = "bore"
[accelerator]
kind = "plane"
gap = "1 mm"
[liquid]
metal = "gallium"
temperature = "303 K"
feed_pressure = "0 Pa"
[voltages]
emitter = "7 kV"
accelerator = "0 V"
chamber = "0 V"
[supply]
voltage_limit = "12 kV"
current_limit = "200 uA"
ballast_resistance = "20 Mohm"
[chamber]
radius = "10 mm"
length = "10 mm"
"""


def tube_onset() -> tuple[float, float, MeniscusBranch]:
    """Turning point of the free gallium surface on a thin tube before a plate, no feed pressure.

    Returns
    -------
    float
        Emitter minus plate, [V].
    float
        Relative error that the solver states, [-].
    MeniscusBranch
        The shapes on the way.
    """
    from conegap.geometries.design.design import Design
    from conegap.solver.liquid.branch import turning_point
    from conegap.solver.liquid.liquid_section import liquid_section
    from conegap.solver.liquid.meniscus_onset import voltage_of_bond_number
    from conegap.solver.liquid.shape import cap

    design = Design.from_text(TUBE)
    liquid = liquid_section(design)
    flat = cap(0.0, MODES, "axisymmetric")
    branch = turning_point(liquid, flat, pressure=0.0, held="pressure", amount=0.0, levels=(2, 4))
    gamma = design.surface_tension
    voltage = voltage_of_bond_number(branch.electric_bond_number.value, gamma, liquid.radius)
    return voltage, branch.electric_bond_number.error / 2.0, branch


def compute(guess: float | None = None) -> Findings:
    """Solve a needle and a tube, and evaluate the classic formulas beside them.

    Parameters
    ----------
    guess : float or None
        Not needed here, [V].
    """
    from conegap.geometries.metals.metal import metal
    from conegap.solver.onset import closed_forms as classic

    gallium = metal("gallium")
    gamma = float(gallium.surface_tension(gallium.melting_point))
    here, error = needle_onset(surface_tension=gamma, radius=RADIUS, gap=GAP)
    near, _ = needle_onset(surface_tension=gamma, radius=RADIUS, gap=10.0 * RADIUS)
    shape = {"radius": RADIUS, "gap": GAP}
    limit = exact_liquid.rayleigh_field(surface_tension=gamma, radius=RADIUS)
    log = classic.needle_onset(surface_tension=gamma, **shape)
    near_log = classic.needle_onset(surface_tension=gamma, radius=RADIUS, gap=10.0 * RADIUS)
    estimates = {
        "lone ball": exact_liquid.rayleigh_voltage(surface_tension=gamma, radius=RADIUS),
        "γ / R for 2 γ / R": log / math.sqrt(2.0),
        "paraboloids": limit / exact.paraboloid_field(voltage=1.0, **shape),
        "logarithm": log,
        "blade": classic.planar_edge_onset(surface_tension=gamma, **shape),
    }
    tube, tube_error, branch = tube_onset()
    smith = classic.capillary_onset(surface_tension=gamma, radius=BORE_RADIUS, gap=TUBE_GAP)
    exact_onset = limit / exact.hyperboloid_field(voltage=1.0, **shape)
    cosine = math.cos(exact_liquid.taylor_half_angle())
    smith_source = (
        "$√(2 γ r cos 49.29° / ε₀) ln(4 d / r)$: D. P. H. Smith, IEEE Trans. Ind. Appl. IA-22, 527 "
        "(1986), formula and factor from memory"
    )
    s = np.linspace(0.0, 1.0, 61)
    lower = [e for e in branch.equilibria if e.shape.height < 0.95 * branch.turning.shape.height]
    chosen = [lower[0], *lower[2::2]]
    return Findings(
        {
            "tube": tube,
            "smith": smith,
            "needle": here,
            "half_curvature": 1.0 - 1.0 / math.sqrt(2.0),
            "short": near / near_log - 1.0,
            "pull": 2.0 * cosine * SPEED_DIGITS**2,
            "cosine": cosine,
            "height": branch.turning.shape.height,
        },
        (
            Comparison("onset of the tube's free surface", KILOVOLTS, tube, smith,
                       "formula", f"0.667 {smith_source}", asked=True, error=tube_error),
            Comparison("the same, A = 0.6", KILOVOLTS, tube, smith * 0.6 / 0.667,
                       "formula", "another A in use, from memory"),
            Comparison("the same, A = 0.8", KILOVOLTS, tube, smith * 0.8 / 0.667,
                       "formula", "another A in use, from memory"),
            Comparison("rigid onset of the needle", KILOVOLTS, here, exact_onset,
                       "exact", "hyperboloid (textbook) and $2 γ / R$", error=error),
            *(
                Comparison(f"the same by: {name}", KILOVOLTS, here, value, "formula", source)
                for (name, value), source in zip(
                    estimates.items(),
                    (
                        "$2 √(γ R / ε₀)$: a ball with nothing near it (Rayleigh's field)",
                        "an edge's tension on a tip: met in print, from memory",
                        "confocal paraboloids, textbook: the plate is a paraboloid too",
                        "$√(γ R / ε₀) ln(4 d / R)$, textbook",
                        "$√(2 γ d / ε₀) arctan √(d / R)$, textbook: an edge, not a tip",
                    ),
                    strict=True,
                )
            ),
        ),
        {
            "estimates": np.array(list(estimates.values())),
            "turning": branch.turning.shape.points(s),
            **{f"shape_{k}": one.shape.points(s) for k, one in enumerate(chosen)},
        },
        {"estimates": tuple(estimates)},
    )  # fmt: skip


def draw_formulas(axes: Axes, found: Findings) -> None:
    """Onset of one needle by every formula, beside the solved one."""
    from conegap.solver.common.style import ACCENT, BAND, INK, LIMIT

    solved = found.numbers["needle"]
    for k, value in enumerate(found.series["estimates"]):
        good = abs(value / solved - 1.0) < 0.02
        axes.barh(k, value / 1e3, height=0.62, color=ACCENT if good else BAND, edgecolor=INK,
                  lw=0.6, hatch=None if good else "////")  # fmt: skip
        axes.annotate(f"{100.0 * (value / solved - 1.0):+.1f} %".replace("-", "−"),
                      (max(value, solved) / 1e3, k), xytext=(5, 0), textcoords="offset points",
                      va="center")  # fmt: skip
    axes.axvline(solved / 1e3, color=LIMIT, lw=1.4)
    axes.annotate("solved", (solved / 1e3, len(found.series["estimates"]) - 0.45), color=LIMIT,
                  xytext=(4, 0), textcoords="offset points", va="center")  # fmt: skip
    axes.set_yticks(range(len(found.words["estimates"])), found.words["estimates"])
    axes.tick_params(axis="y", length=0)
    axes.set(xlabel="onset of the needle [kV]",
             xlim=(0.0, 1.18e-3 * float(found.series["estimates"].max())),
             ylim=(-0.55, len(found.series["estimates"]) - 0.2))  # fmt: skip


def draw_tube(axes: Axes, found: Findings) -> None:
    """Shapes of the liquid on the tube up to its turning point, true to scale."""
    from matplotlib.patches import Rectangle

    from conegap.solver.common.style import INK, LIMIT, METAL, METAL_HATCH, SOFT

    for left in (-1.2, 1.0):
        axes.add_patch(Rectangle((left, -0.6), 0.2, 0.6, fc=METAL, ec=METAL_HATCH, hatch="////"))
    count = sum(name.startswith("shape_") for name in found.series)
    for k in range(count):
        half = found.series[f"shape_{k}"]
        axes.plot([*-half[::-1, 0], *half[:, 0]], [*half[::-1, 1], *half[:, 1]],
                  color=INK if k else SOFT, ls=":" if k == 0 else "--", lw=1.0,
                  label={0: "no voltage", 1: "on the way"}.get(k))  # fmt: skip
    half = found.series["turning"]
    axes.plot([*-half[::-1, 0], *half[:, 0]], [*half[::-1, 1], *half[:, 1]], color=LIMIT,
              label="turning point")  # fmt: skip
    axes.text(0.0, -0.38, "gallium", ha="center", color=INK)
    axes.set(xlabel="r over the bore's radius [-]", ylabel="height over the same [-]",
             aspect="equal", xlim=(-1.9, 1.9), ylim=(-0.6, 1.15))  # fmt: skip
    axes.legend(loc="upper right", bbox_to_anchor=(1.04, 1.04), handlelength=1.6)


def _trust(found: Findings) -> Table:
    return Table(
        "Which to trust",
        ("formula", "assumes", "trust it for"),
        (
            ("field of the drawn gap and stated balance", "what was drawn; surface held rigid",
             "comparing radii, gaps and metals"),
            ("turning point of the free surface", "contact line and pressure (or volume) known",
             "the onset of a fed, free surface"),
            ("logarithm, $2 γ / R$", "long thin hyperboloid, d above 40 R", "a needle, to 1 %"),
            ("capillary formula", "one fitted factor A, no pressure", "a first idea, ± 20 %"),
            ("paraboloids", "the counter electrode curves around the tip", "its own shape only"),
            ("$γ / R$ on a tip", "an edge", "nothing: 29 % low on a tip"),
        ),
    )  # fmt: skip


LESSON = Lesson(
    "formulas",
    "Where the classic formulas disagree",
    "five formulas for one needle, three factors for one tube, and which to trust",
    (
        "Handbooks offer onset formulas that differ by tens of percent, and often more. Mostly "
        "none is wrong: each answers another question. Three things tell them apart: which shape "
        "the field is for, which curvature the tension has ($2 / R$ on a tip, $1 / R$ on an edge, "
        "$cot α / r$ on a cone), and whether the liquid may move.",
        "A fitted factor hides what was not said. The capillary formula has one, A, between 0.6 "
        "and 0.8; it has no feed pressure, although pressure does part of the field's work.",
    ),
    Question(
        "A thin tube of 50 µm bore stands 1 mm before a plate, filled with gallium at no "
        "pressure. The capillary formula with A = 0.667 says 5.50 kV. At which voltage does the "
        "free liquid surface lose its balance?",
        KILOVOLTS,
        1.0,
        1e6,
    ),
    compute,
    (
        Step(
            "One tube",
            lambda found: (
                "The solver lets the surface move, flat at first and pinned at the bore, and "
                f"finds the turning point at {KILOVOLTS.text(found.numbers['tube'], 3)}; the "
                f"formula says {KILOVOLTS.text(found.numbers['smith'], 3)}, "
                f"{100.0 * (found.numbers['smith'] / found.numbers['tube'] - 1.0):.0f} % more, "
                "and its factors A reach from below to above. With pressure behind the liquid the "
                "onset falls further, and the formula cannot say how far: write "
                "`conegap start capillary`, change feed_pressure, and run `conegap onset` on it.",
            ),
            Sketch(
                "tube",
                draw_tube,
                lambda found: (
                    "The liquid on the tube from no voltage to the turning point, true "
                    "to scale; lengths in radii of the bore."
                ),
                lambda found: (
                    "Section of a tube's end with liquid shapes rising from flat to a "
                    f"dome {found.numbers['height']:.2f} bore radii high at the turning point."
                ),
                2.7,
            ),
        ),
        Step(
            "One needle",
            lambda found: (
                "For a gallium needle of 5 µm, 0.5 mm before a plate, all five formulas are "
                "honest about something. The lone ball forgets the shaft and the plate. The "
                "paraboloids bend the plate around the tip. The edge's tension on a tip is just "
                "$1/√2$. The blade's formula is for a blade.",
                "The logarithm is right for its shape and within its range. Trust a formula when "
                "its shape, its curvature and its range are yours; otherwise solve the field.",
            ),
            Sketch(
                "formulas",
                draw_formulas,
                lambda found: (
                    "Rigid onset of one gallium needle (R 5 µm, d 0.5 mm) by five "
                    "formulas; the line is the solved one. Hatched: more than 2 % off."
                ),
                lambda found: (
                    "Bars of the onset by five formulas beside the solved "
                    f"{KILOVOLTS.text(found.numbers['needle'], 3)}: lone ball and edge tension far "
                    "below, paraboloids some 10 % below, the logarithm on it, the blade far above."
                ),
                2.9,
            ),
            _trust,
        ),
    ),
    (
        Exercise(
            "A needle formula was written with the tension $γ / R$ in place of $2 γ / R$. By how "
            "many percent is its onset too low?",
            PERCENT,
            lambda found: found.numbers["half_curvature"],
            0.02,
            "The onset goes as the square root of the tension's pressure.",
            lambda found: "$1 − 1/√2$ = 29.3 %.",
            (
                Slip(lambda found: 0.5, "Half the pressure is not half the voltage."),
                Slip(lambda found: 1.0 / math.sqrt(2.0), "That is what is left."),
            ),
        ),
        Exercise(
            "Taylor (1969) writes the pull of a cone on its tube with the number 0.117, for kV, cm "
            "and dyn/cm. It is $2 cos α · 0.2998²$, the last from 1 statvolt = 299.8 V. Work it "
            "out to three digits with $α = 49.29°$.",
            NUMBER,
            lambda found: found.numbers["pull"],
            0.003,
            "cos 49.29° = 0.652.",
            lambda found: (
                f"{found.numbers['pull']:.4f}: a formula that carries its units in a "
                "number. Read the units before the formula."
            ),
            (
                Slip(
                    lambda found: 2.0 * found.numbers["cosine"] * SPEED_DIGITS,
                    "The voltage enters squared, so 0.2998 does too.",
                ),
            ),
        ),
        Exercise(
            "At a gap of only ten tip radii, by how many percent is the solved onset away from "
            "$√(γ R / ε₀) ln(4 d / R)$? (negative when it is lower)",
            PERCENT,
            lambda found: found.numbers["short"],
            0.06,
            "Chapter 5 has the case: 5 µm and 50 µm. Mind which is the larger.",
            lambda found: (
                f"{PERCENT.text(found.numbers['short'], 3)}: the logarithm promises too "
                "high an onset at short gaps."
            ),
        ),
    ),
    (
        "D. P. H. Smith, IEEE Transactions on Industry Applications IA-22, 527 (1986): formula and "
        "factor from memory; a search did not find the printed constant.",
        "G. I. Taylor, Proceedings of the Royal Society A 313, 453 (1969): formula from memory; "
        "its constant 0.117 follows as in the exercise.",
        "Closed forms for hyperboloid, paraboloid and blade: textbook, checked in `conegap "
        "validate` and the tests.",
    ),
    "Say which way the onset of a capillary goes with pressure behind its liquid, and "
    "whether any formula here knows. Then run `conegap vary capillary --over "
    'liquid.feed_pressure="0 Pa".."200 Pa":3`.',
)
