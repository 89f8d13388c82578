"""Chapter 2: why 49.29 degrees, and what breaks at 45."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves.curve import FloatArray
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
)
from conegap.validation.lessons.units import DEGREES, NUMBER, PERCENT, VOLTS_PER_NANOMETRE
from conegap.validation.sections.catalogue import ball_on_cone

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LESSON", "compute", "cone_field", "draw_balance", "draw_exponent"]

BALL = 1e-7  # m, radius of the ball at the apex
OUTER = 0.1  # m; six decades for a power law
MIDDLE = math.sqrt(BALL * OUTER)
TRIED = (41.0, 45.0, 49.0, 53.0, 57.0)  # degrees, about Taylor's
BROKEN = 45.0  # degrees, the wrong cone of the exercise
NANOMETRES = 1e-8  # m from the apex, ten nanometres


def cone_field(half_angle: float) -> tuple[FloatArray, FloatArray]:
    """Field along a metal cone with a tiny ball for an apex, driven from far away.

    Nothing of Taylor's solution is put in: the far electrode has a plain potential, and the
    field takes its own power of the distance midway between ball and electrode.

    Parameters
    ----------
    half_angle : float
        [rad].

    Returns
    -------
    (n,) array
        Distance from the apex, [m].
    (n,) array
        Field, [V/m], for 1 V on the far electrode.
    """
    from conegap.solver.field.solution import solve_field

    section, driven = ball_on_cone(half_angle=half_angle, ball=BALL, outer=OUTER)
    surface = solve_field(section, prescribed=driven).surface("emitter", {"outer": 1.0})
    distance = np.hypot(surface.points[:, 0], surface.points[:, 1] + BALL)
    some = (distance > MIDDLE / 20.0) & (distance < MIDDLE * 20.0)
    return distance[some], surface.field[some]


def exponent(distance: FloatArray, field: FloatArray) -> float:
    """Slope n of E ~ r^n midway along the cone, [-].

    Parameters
    ----------
    distance, field : (n,) array
        As `cone_field` gives them, [m], [V/m].
    """
    near = (distance > MIDDLE / 6.0) & (distance < 3.0 * MIDDLE)
    return float(np.polyfit(np.log(distance[near]), np.log(field[near]), 1)[0])


def stress_over_tension(distance: FloatArray, field: FloatArray) -> FloatArray:
    """Field stress over surface tension, scaled to 1 midway, (n,) array, [-].

    The stress goes as E^2, the pressure of surface tension on a cone as 1/r.

    Parameters
    ----------
    distance, field : (n,) array
        As `cone_field` gives them, [m], [V/m].
    """
    middle = float(np.exp(np.interp(math.log(MIDDLE), np.log(distance), np.log(np.abs(field)))))
    return np.asarray((field / middle) ** 2 * distance / MIDDLE)


def compute(guess: float | None = None) -> Findings:
    """Fields along seven cones, and along the guessed one.

    Parameters
    ----------
    guess : float or None
        Half angle to try as well, [rad].
    """
    exponents, series = [], {}
    for degrees in TRIED:
        distance, field = cone_field(math.radians(degrees))
        exponents.append(exponent(distance, field))
        if degrees == BROKEN:
            series["broken_r"] = distance / MIDDLE
            series["broken"] = stress_over_tension(distance, field)
    line = np.polynomial.Polynomial.fit(np.array(exponents) + 0.5, np.array(TRIED), 3)
    found_angle = math.radians(float(line(0.0)))
    distance, field = cone_field(found_angle)
    series |= {"right_r": distance / MIDDLE, "right": stress_over_tension(distance, field)}
    series |= {"tried": np.array(TRIED), "exponents": np.array(exponents)}
    at_broken = exponents[TRIED.index(BROKEN)]
    numbers = {
        "angle": found_angle,
        "exponent": exponent(distance, field),
        "broken_exponent": at_broken,
        "decade": 1.0 - 10.0 ** (2.0 * at_broken + 1.0),
    }
    if guess is not None:
        distance, field = cone_field(guess)
        series |= {"guess_r": distance / MIDDLE, "guess": stress_over_tension(distance, field)}
        numbers |= {"guess": guess, "guess_exponent": exponent(distance, field)}
    gallium = _gallium()
    scale = math.sqrt(gallium / (epsilon_0 * NANOMETRES))
    numbers["cone_field"] = scale * math.sqrt(2.0 / math.tan(found_angle))
    legendre = exact_liquid.cone_exponent(half_angle=math.radians(BROKEN)) - 1.0
    taylor = "G. I. Taylor, Proc. R. Soc. A 280, 383 (1964)"
    return Findings(
        numbers,
        (
            Comparison("half angle in balance", DEGREES, found_angle, math.radians(49.3),
                       "published", f"{taylor}; 49.3° as in its abstract", asked=True),
            Comparison("the same to more digits", DEGREES, found_angle,
                       exact_liquid.taylor_half_angle(), "exact", "zero of $P½(cos θ)$, derived",
                       digits=6),
            Comparison("exponent of the field at that angle", NUMBER, numbers["exponent"], -0.5,
                       "exact", f"asked by the balance of stress and tension; {taylor}"),
            Comparison("exponent of the field at 45°", NUMBER, at_broken, legendre,
                       "exact", "root of $Pν(−cos α)$ less 1, textbook (Jackson, from memory)"),
        ),
        series,
    )  # fmt: skip


def _gallium() -> float:
    """Surface tension of gallium at its melting point, [N/m]."""
    from conegap.geometries.metals.metal import metal

    gallium = metal("gallium")
    return float(gallium.surface_tension(gallium.melting_point))


def draw_exponent(axes: Axes, found: Findings) -> None:
    """Exponent of the field against the half angle of the cone."""
    from conegap.solver.common.style import ACCENT, INK, LIMIT, SOFT, quiet_axes

    quiet_axes(axes)
    degrees = np.linspace(39.0, 59.0, 41)
    law = [exact_liquid.cone_exponent(half_angle=math.radians(d)) - 1.0 for d in degrees]
    axes.plot(degrees, law, color=INK, lw=1.2, label="Legendre functions")
    axes.plot(found.series["tried"], found.series["exponents"], "o", color=ACCENT, label="computed")
    axes.axhline(-0.5, color=SOFT, ls=":")
    angle = math.degrees(found.numbers["angle"])
    axes.axvline(angle, color=LIMIT, ls="--", lw=1.2)
    axes.annotate(f"{angle:.2f}°", (angle, -0.565), xytext=(5, 0), textcoords="offset points",
                  color=LIMIT)  # fmt: skip
    axes.annotate("balance needs −½", (39.3, -0.5), xytext=(0, 4), textcoords="offset points",
                  color=SOFT)  # fmt: skip
    axes.set(xlabel="half angle of the cone [°]", ylabel="exponent n of E ~ rⁿ [-]",
             xlim=(39.0, 59.0), ylim=(-0.58, -0.40))  # fmt: skip
    axes.legend(loc="lower right")


def draw_balance(axes: Axes, found: Findings) -> None:
    """Stress over tension along the cones, against distance from the apex."""
    from conegap.solver.common.style import ACCENT, INK, LIMIT, quiet_axes

    quiet_axes(axes).set_xscale("log")
    series = found.series
    angle = math.degrees(found.numbers["angle"])
    axes.plot(series["right_r"], series["right"], color=ACCENT, label=f"{angle:.2f}°, computed")
    axes.plot(series["broken_r"], series["broken"], color=LIMIT, ls="--", label=f"{BROKEN:.0f}°")
    if "guess" in series:
        tried = math.degrees(found.numbers["guess"])
        axes.plot(series["guess_r"], series["guess"], color=INK, ls=":", label=f"guess, {tried:g}°")
    axes.set(
        xlabel="distance from the apex over a middle one [-]",
        ylabel="field stress over surface tension [-]",
        xlim=(0.05, 20.0),
    )
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, 0.7), max(high, 1.3))
    axes.legend(loc="best")


def _on_guess(found: Findings) -> tuple[str, ...]:
    if "guess" not in found.numbers:
        return ()
    n = found.numbers["guess_exponent"]
    drift = 10.0 ** (2.0 * n + 1.0)
    return (
        f"Along your cone of {math.degrees(found.numbers['guess']):g}° the field goes as r to the "
        f"power {NUMBER.text(n, 3)}: ten times further out its stress is {drift:.2f} times what "
        "the tension there needs.",
    )


LESSON = Lesson(
    "angle",
    "Why 49.29 degrees",
    "the one cone on which field and surface tension balance everywhere; break it at 45",
    (
        "The field pulls on a conductor's surface with the stress $½ ε₀ E²$. Surface tension holds "
        "it with the pressure $γ$ times the sum of the curvatures, which on a cone of half angle "
        "$α$ is $γ cot α / r$ at the distance r from the apex.",
        "A cone has no length of its own, so a pressure difference, which would bring one "
        "($γ / p$), can only be zero. The stress must then fall exactly as $1 / r$, and the field "
        "as r to the power $−½$. But the power with which the field falls is not free: it is "
        "decided by the angle of the cone.",
    ),
    Question(
        "At which half angle is a cone of liquid metal in balance all along its side?",
        DEGREES,
        math.radians(10.0),
        math.radians(80.0),
    ),
    compute,
    (
        Step(
            "The angle sets the power",
            lambda found: (
                "Each dot is a field solved around a metal cone whose far electrode knows nothing "
                "of Taylor. A sharper cone crowds its field at the apex, a blunter one less; "
                f"the power $−½$ is met at {DEGREES.text(found.numbers['angle'])}.",
            ),
            Sketch(
                "exponent",
                draw_exponent,
                lambda found: (
                    "Power with which the field falls along cones of different angles. "
                    "The curve is the exact one, a root of a Legendre function."
                ),
                lambda found: (
                    "Exponent of the field against the half angle: dots on a rising "
                    f"curve that meets −0.5 at {math.degrees(found.numbers['angle']):.2f} degrees."
                ),
            ),
        ),
        Step(
            "Break it at 45°",
            lambda found: (
                "Choose the voltage so that a 45° cone is in balance at one place. Ten times "
                "further out the stress is too small by "
                f"{100.0 * found.numbers['decade']:.1f} %, ten times nearer to the apex too large: "
                "the apex is pulled out and the base sinks. No voltage cures that.",
                *_on_guess(found),
                "No property of the metal enters: every well-conducting liquid at rest has the "
                "same angle. Cones that emit, flow or end in a jet are often found narrower.",
            ),
            Sketch(
                "balance",
                draw_balance,
                lambda found: (
                    "Field stress over the pressure of surface tension along the cone. "
                    "A balanced cone is a level line."
                ),
                lambda found: (
                    "Stress over tension against distance from the apex over nearly "
                    "three decades: level at 1 for the balanced angle, falling outward through 1 "
                    "at 45 degrees."
                ),
            ),
        ),
    ),
    (
        Exercise(
            "Gallium has $γ = 0.718$ N/m. How high is the field 10 nm from the apex of a balanced "
            "gallium cone, measured along its side?",
            VOLTS_PER_NANOMETRE,
            lambda found: found.numbers["cone_field"],
            0.02,
            "Set $½ ε₀ E² = γ cot α / r$, with $α = 49.29°$ and r = 10 nm.",
            lambda found: (
                "$E = √(2 γ cot α / (ε₀ r))$ = "
                f"{VOLTS_PER_NANOMETRE.text(found.numbers['cone_field'], 3)}."
            ),
            (
                Slip(
                    lambda found: math.sqrt(2.0 * _gallium() / (epsilon_0 * NANOMETRES)),
                    "The curvature of a cone is $cot α / r$, not $1 / r$.",
                ),
                Slip(
                    lambda found: found.numbers["cone_field"] / math.sqrt(2.0),
                    "Mind the ½ in the stress $½ ε₀ E²$.",
                ),
            ),
        ),
        Exercise(
            "On the 45° cone the computed field goes as r to the power n given in the table. By "
            "how many percent does stress over tension fall when you go ten times further out?",
            PERCENT,
            lambda found: found.numbers["decade"],
            0.06,
            "The stress goes as $r^(2 n)$, the tension as $r^(−1)$; put r ten times as large.",
            lambda found: (
                "$10^(2 n + 1)$ = "
                f"{1.0 - found.numbers['decade']:.3f}: a fall of "
                f"{100.0 * found.numbers['decade']:.1f} %."
            ),
            (
                Slip(
                    lambda found: 1.0 - 10.0 ** (found.numbers["broken_exponent"] + 0.5),
                    "That is the field; the stress goes as its square.",
                ),
                Slip(
                    lambda found: 1.0 - found.numbers["decade"],
                    "That is what is left; how much is lost?",
                ),
            ),
        ),
        Exercise(
            "A mercury cone in balance is photographed from the side. What is the full angle at "
            "its apex?",
            DEGREES,
            lambda found: 2.0 * found.numbers["angle"],
            0.01,
            "The metal does not matter; mind half and full angle.",
            lambda found: (
                "Twice the half angle, "
                f"{DEGREES.text(2.0 * found.numbers['angle'])}, for mercury as for any metal."
            ),
            (
                Slip(
                    lambda found: found.numbers["angle"],
                    "That is the half angle, from the axis to the side.",
                ),
            ),
        ),
    ),
    (
        "G. I. Taylor, Disintegration of water drops in an electric field, Proceedings of the "
        "Royal Society A 280, 383 (1964): the abstract was seen, with 49.3°.",
        "A narrower cone: soap bubbles above their onset, arXiv 2604.14864: the abstract was seen, "
        "with a half angle below Taylor's.",
        "49.2901° and the exponents follow from Legendre functions; two ways to the root agree "
        "in `conegap validate`.",
    ),
    "Change BROKEN in the notebook to an angle above Taylor's, and say first which end of "
    "the cone is then pulled out. Then ask whether a needle's own half angle matters as "
    'much: `conegap vary needle --over emitter.half_angle="10 deg".."20 deg":3`.',
)
