"""Chapter 12: where the ions go, what their own charge does, and what they hit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import elementary_charge, epsilon_0

from conegap.validation.exact.charge_flow import beam_spread
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
from conegap.validation.lessons.units import (
    KILOVOLTS,
    MICROAMPERES,
    MICRONEWTONS,
    MILLIMETRES,
    NUMBER,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.beam.ion_beam import Beam

__all__ = ["LESSON", "compute", "draw_landing", "draw_spread", "needle_beam"]

WIDENING = 2.0  # of the round beam in the drift, which asks for its current
LENGTH = 20.0  # of the drift over the beam's first radius of 1 mm
CAESIUM = 132.905  # u
ENERGY = 5e3  # V, through which the ions of that beam have fallen
CURRENT = 30e-6  # A, of the needle
EMITTER, PLATE = 4e3, -1e3  # V against ground
OPENINGS = (0.7, 0.85, 1.0, 2.0)  # mm, diameters in the accelerator
HALF = 0.5  # of the opening that a beam may fill: common practice, no source
IONS = 80  # paths; 400 move the half angle by 0.1 degrees
NEEDLE = """
title = "Needle before an aperture plate (invented)"
[emitter]
kind = "needle"
tip_radius = "4 um"
half_angle = "15 deg"
shank_diameter = "0.25 mm"
protrusion = "3 mm"
[accelerator]
kind = "aperture_plate"
gap = "1 mm"
diameter = "2 mm"
thickness = "0.5 mm"
edge_radius = "0.1 mm"
[liquid]
metal = "indium"
temperature = "450 K"
film_thickness = "0 um"
[voltages]
emitter = "4 kV"
accelerator = "-1 kV"
chamber = "0 V"
[supply]
voltage_limit = "8 kV"
current_limit = "200 uA"
ballast_resistance = "20 Mohm"
[chamber]
radius = "30 mm"
length = "30 mm"
"""


def needle_beam(opening: float, current: float | None = None) -> Beam:
    """Ions of the needle through a plate with some opening.

    Parameters
    ----------
    opening : float
        Diameter, [m].
    current : float or None
        Whose charge acts on the paths; single ions when left out, [A].
    """
    from conegap.geometries.design.design import Design
    from conegap.solver.beam.ion_beam import compute_beam
    from conegap.solver.beam.lockstep import followed
    from conegap.solver.field.solution import solve_field

    design = Design.from_text(NEEDLE).with_value("accelerator.diameter", opening)
    solution = solve_field(design.section())
    return followed(compute_beam(design, solution, current=current, ions=IONS))


def drift_current(widening: float) -> float:
    """Current that widens a parallel round beam so many times over the drift, [A].

    r'' = K / r with K = I / (2 pi eps0 m v^3 / e), and m v^2 = 2 e V.

    Parameters
    ----------
    widening : float
        r / r_0, > 1, [-].
    """
    from scipy.constants import atomic_mass

    mass = CAESIUM * atomic_mass
    speed = math.sqrt(2.0 * elementary_charge * ENERGY / mass)
    perveance: float = 0.5 * (beam_spread(widening) / LENGTH) ** 2
    current: float = perveance * 2.0 * math.pi * epsilon_0 * mass * speed**3 / elementary_charge
    return current


def compute(guess: float | None = None) -> Findings:
    """A beam in a drift tube, and ions of a needle with and without their charge.

    Parameters
    ----------
    guess : float or None
        Not needed here, [-].
    """
    from conegap.geometries.metals.metal import metal
    from conegap.validation.sections.beams import drift_widening

    widened = drift_widening(WIDENING, length=LENGTH, level=2, tubes=40)
    bare = [needle_beam(opening * 1e-3) for opening in OPENINGS]
    wide, small = bare[-1], bare[0]
    charged = needle_beam(OPENINGS[-1] * 1e-3, CURRENT)
    assert charged.filling is not None
    ideal = CURRENT * math.sqrt(2.0 * metal("indium").ion_mass * EMITTER / elementary_charge)
    landing = small.spots[0].energy / elementary_charge
    curve = 1.0 + np.geomspace(1e-3, 2.0, 60)
    away = np.array([beam_spread(float(w)) for w in curve])
    unit = beam_spread(WIDENING) / LENGTH
    return Findings(
        {
            "widened": widened,
            "current": drift_current(WIDENING),
            "bare": wide.half_angle_95,
            "charged": charged.half_angle_95,
            "landed": small.intercepted,
            "energy": landing,
            "thrust": ideal * charged.thrust_factor,
            "ideal": ideal,
            "opening": OPENINGS[-1] * 1e-3 * charged.filling / HALF,
            "filling": charged.filling,
        },
        (
            Comparison("widening of the round beam", NUMBER, widened, WIDENING, "exact",
                       "universal curve of beam spread: integral derived from $r'' = K / r$",
                       asked=True),
            Comparison("energy with which ions land on the plate, over e", KILOVOLTS,
                       landing, EMITTER - PLATE, "formula",
                       "the fall from emitter to plate, textbook; the start adds what is assumed "
                       "of the emitting surface"),
        ),
        {
            "curve": np.stack([away / unit, curve], axis=1),
            "drift": np.array([[LENGTH, widened]]),
            "openings": np.array(OPENINGS) * 1e-3,
            "landed": np.array([beam.intercepted for beam in bare]),
        },
    )  # fmt: skip


def draw_spread(axes: Axes, found: Findings) -> None:
    """Radius of the beam along the drift."""
    from conegap.solver.common.style import ACCENT, INK, SOFT, quiet_axes

    quiet_axes(axes)
    axes.axhline(1.0, color=SOFT, ls=":")
    axes.plot(found.series["curve"][:, 0], found.series["curve"][:, 1], color=INK, lw=1.2,
              label="universal curve")  # fmt: skip
    axes.plot(*found.series["drift"].T, "o", color=ACCENT, ms=7, label="solved with its charge")
    axes.set(xlabel="way over the radius at the entrance [-]", ylabel="radius over the same [-]",
             xlim=(0.0, 32.0), ylim=(0.9, 3.0))  # fmt: skip
    axes.legend(loc="upper left")


def draw_landing(axes: Axes, found: Findings) -> None:
    """Share of the beam that lands on the plate over the diameter of its opening."""
    from conegap.solver.common.style import ACCENT, LIMIT, quiet_axes

    quiet_axes(axes)
    axes.plot(1e3 * found.series["openings"], 100.0 * found.series["landed"], "o-", color=ACCENT)
    axes.axhline(1.0, color=LIMIT, ls="--")
    axes.annotate("1 % is what a review allows", (2.05, 1.0), xytext=(0, 4), ha="right",
                  textcoords="offset points", color=LIMIT)  # fmt: skip
    axes.set(xlabel="diameter of the opening [mm]", ylabel="lands on the plate [%]",
             xlim=(0.5, 2.1), ylim=(-1.0, 40.0))  # fmt: skip


LESSON = Lesson(
    "beam",
    "The beam and what it hits",
    "paths of ions, the push of their own charge, and the metal in their way",
    (
        "An ion that leaves the liquid falls through the whole voltage within the gap and then "
        "coasts. How wide it goes is decided close to the tip, where the field fans out; the "
        "opening in the accelerator must be wide enough to let it pass.",
        "A beam also pushes itself apart: its charge makes a field that points outward. For a "
        "round, parallel beam in a tube without other fields the law is $r'' = K / r$, with K "
        "proportional to the current and to the voltage to the power −3/2. Slow, strong beams "
        "widen; fast, weak ones do not.",
    ),
    Question(
        "A parallel beam of caesium ions, 1 mm in radius, carries 273 µA at 5 keV. It drifts 20 mm "
        "without any field but its own. How many times as wide is it then?",
        NUMBER,
        0.1,
        1e3,
    ),
    compute,
    (
        Step(
            "A beam pushes itself apart",
            lambda found: (
                f"The solver follows rings of charge until paths and field agree, and finds "
                f"{found.numbers['widened']:.3f} times the first radius: a quarter of a "
                "milliampere doubles a stiff beam within 20 radii.",
                "A needle's beam carries less, but starts from a spot of micrometres, where the "
                "ions are still slow and their charge is dense. At 30 µA the "
                "half angle that holds 95 % of the beam grows from "
                f"{math.degrees(found.numbers['bare']):.1f}° to "
                f"{math.degrees(found.numbers['charged']):.1f}°.",
            ),
            Sketch(
                "spread",
                draw_spread,
                lambda found: (
                    f"Radius of a round beam of {1e6 * found.numbers['current']:.0f} µA and 5 keV "
                    "along a drift."
                ),
                lambda found: (
                    "Radius against the way: the curve bends up from 1, passes 2 after 20 radii, "
                    "where the solved dot lies on it, and 3 after some 30."
                ),
            ),
        ),
        Step(
            "What it hits",
            lambda found: (
                "Narrow the opening of the plate and the outer ions land on its edge, with "
                f"{found.numbers['energy'] / 1e3:.2f} keV: the whole voltage of the gap, not that "
                "of the emitter alone. At an opening of 0.7 mm it is "
                f"{100.0 * found.numbers['landed']:.0f} % of them, and they sputter the edge away.",
                "Between 1 mm and 0.7 mm it goes from none to a third. A beam has an edge, and an "
                "opening that just clears it is one offset of the plate away from hitting it.",
            ),
            Sketch(
                "landing",
                draw_landing,
                lambda found: (
                    "Share of the needle's ions that land on the plate, over the diameter of its "
                    "opening; single ions, every point a solve."
                ),
                lambda found: (
                    "Share that lands against the diameter: from "
                    f"{100.0 * found.numbers['landed']:.0f} percent at 0.7 mm it falls to nothing "
                    "at 1 mm and stays there; a dashed line at 1 percent is the limit."
                ),
                2.8,
            ),
        ),
    ),
    (
        Exercise(
            "Which current doubles the radius of the caesium beam within 40 mm in place of 20 mm?",
            MICROAMPERES,
            lambda found: 0.25 * found.numbers["current"],
            0.02,
            "The way over the radius times $√(2 K)$ stays the same, and K goes with the current.",
            lambda found: (
                f"{MICROAMPERES.text(0.25 * found.numbers['current'], 3)}: a quarter, since the "
                "way goes as the root of one over K."
            ),
            (
                Slip(
                    lambda found: 0.5 * found.numbers["current"],
                    "K stands under a root: twice the way needs less than half the current.",
                ),
            ),
        ),
        Exercise(
            "The needle emits 30 µA of indium ions (114.8 u) at 4 kV against ground, with the "
            "plate at −1 kV. Ions end at ground with a mean cosine of 0.969. What is the thrust?",
            MICRONEWTONS,
            lambda found: found.numbers["thrust"],
            0.008,
            "$F = I √(2 m V / e) cos θ$, with the voltage between emitter and ground.",
            lambda found: (
                f"{MICRONEWTONS.text(found.numbers['thrust'], 3)}: the plate's kilovolt is given "
                "back behind it."
            ),
            (
                Slip(
                    lambda found: math.sqrt(5.0 / 4.0) * found.numbers["thrust"],
                    "That is with the voltage of the gap; behind the plate the ions slow down.",
                ),
                Slip(
                    lambda found: found.numbers["ideal"],
                    "That is a parallel beam: the mean cosine is missing.",
                ),
            ),
        ),
        Exercise(
            "With its charge the needle's beam fills "
            "47.1 % of the half width of the 2 mm opening. A review allows half. Which diameter "
            "just passes, if the beam stays as it is?",
            MILLIMETRES,
            lambda found: found.numbers["opening"],
            0.02,
            "The beam's width stays; it is to be half of the opening.",
            lambda found: (
                f"{MILLIMETRES.text(found.numbers['opening'], 3)}; the solved beam gets a little "
                "narrower in a narrower opening, so this is on the safe side."
            ),
            (
                Slip(
                    lambda found: found.numbers["opening"] * HALF,
                    "There the beam fills the whole opening.",
                ),
            ),
        ),
    ),
    (
        "Universal curve of beam spread: textbooks on beams, the integral derived here and checked "
        "in `conegap validate`.",
        "Half of the opening and 1 % landing: common practice, no source.",
        "Mass of indium and caesium: standard atomic weights, from memory.",
    ),
    "Say what a ballast of 50 Mohm in place of 200 does to the current and to the half angle of "
    "the shipped needle's beam. Run `conegap start needle --to mine.toml`, change "
    "ballast_resistance, run `conegap onset mine.toml`, and read both from the first sheet.",
)
