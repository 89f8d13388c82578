"""Chapter 10: what is wetted decides which instability comes first."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

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
from conegap.validation.lessons.units import DEGREES, KILOPASCALS, KILOVOLTS, NUMBER, PERCENT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.geometries.curves.wall import ContactPlace
    from conegap.geometries.design.design import Design
    from conegap.solver.liquid.contact_section import Wetting
    from conegap.solver.liquid.slow_ramp import Ramp

__all__ = ["LESSON", "compute", "draw_ends", "draw_wetted", "ramps", "resting_slope", "tube"]

BORE_RADIUS = 25e-6  # m
RIM_RADIUS = 50e-6  # m, outer radius of the tube
GAP = 1e-3  # m
PRESSURE = 20e3  # Pa, of the feed
ANGLE = 40.0  # deg, advancing angle of the tube of the question
ANGLES = (28.0, 34.0, 40.0, 60.0)  # deg, advancing angles of all tubes
MODES = 12  # coefficients of a shape
TUBE = """
title = "Thick tube before a plate (invented)"
[emitter]
kind = "capillary"
bore = "50 um"
outer_diameter = "100 um"
rim_radius = "5 um"
length = "5 mm"
contact_line = "bore"
[accelerator]
kind = "plane"
gap = "1 mm"
[liquid]
metal = "gallium"
temperature = "303 K"
feed_pressure = "20 kPa"
contact_angle = "40 deg"
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


def tube(angle: float) -> tuple[Design, Wetting]:
    """A tube whose liquid advances at some angle, and what decides where its contact line sits.

    Parameters
    ----------
    angle : float
        Advancing angle, [deg].
    """
    from conegap.geometries.design.design import Design
    from conegap.solver.liquid.wetting_states import wetting_of

    design = Design.from_text(TUBE).with_value("liquid.contact_angle", math.radians(angle))
    wetting = wetting_of(design, design.surface_tension)
    assert wetting is not None
    return design, wetting


def ramps(angle: float) -> tuple[Ramp, Ramp]:
    """A slow ramp with a dry end face and one with a wetted end face.

    Parameters
    ----------
    angle : float
        Advancing angle, [deg].
    """
    from conegap.solver.liquid.wetting_states import wetting_states

    design, wetting = tube(angle)
    dry, wetted = (state.ramp for state in wetting_states(wetting, design))
    assert dry is not None
    assert wetted is not None
    return dry, wetted


def resting_slope(wetting: Wetting, place: ContactPlace, guess: float) -> float:
    """Slope of the free surface that needs no voltage to be in balance at the bore, [rad].

    Parameters
    ----------
    guess : float
        Near it, [rad].
    """
    from scipy.optimize import brentq

    from conegap.solver.liquid.contact_line import slope_on_meshes
    from conegap.solver.liquid.shape import cap

    def load(slope: float) -> float:
        shape = cap(slope, MODES, "axisymmetric")
        return slope_on_meshes(wetting, place, shape, None, slope, (2,)).value

    return float(brentq(load, guess - 0.03, guess + 0.02, xtol=1e-6))


def compute(guess: float | None = None) -> Findings:
    """Ramps of tubes of several advancing angles, dry and wetted.

    Parameters
    ----------
    guess : float or None
        Not needed here, [V].
    """
    from conegap.solver.liquid.branch import turning_point
    from conegap.solver.liquid.contact_line import slope_on_meshes
    from conegap.solver.liquid.meniscus_onset import voltage_of_load
    from conegap.solver.liquid.shape import cap
    from conegap.solver.onset import closed_forms as classic
    from conegap.validation.cases.free_surface import force_closure

    design, wetting = tube(ANGLE)
    gamma = design.surface_tension

    def volts(ramp: Ramp) -> float:
        return voltage_of_load(max(state.load for state in ramp.states), gamma)

    pairs = [ramps(angle) for angle in ANGLES]
    dry, wetted = pairs[ANGLES.index(ANGLE)]
    # The moment at which the line at the bore gives way, on two meshes.
    last = dry.last
    lost = slope_on_meshes(
        wetting, last.station.contact, last.shape, None, math.radians(ANGLE), (2, 4)
    )
    onset = voltage_of_load(lost.value * BORE_RADIUS, gamma)
    still = math.asin(PRESSURE * BORE_RADIUS / (2.0 * gamma))
    rest = resting_slope(wetting, last.station.contact, still)
    # With a line that holds at any angle the surface itself turns.
    bulge = wetting.pressure * BORE_RADIUS
    branch = turning_point(
        wetting.liquid(last.station.contact), cap(still, MODES, "axisymmetric"),
        pressure=bulge, held="pressure", amount=bulge, levels=(2, 4),
    )  # fmt: skip
    turning = voltage_of_load(branch.electric_bond_number.value * BORE_RADIUS, gamma)
    gives = np.array([pair[0].mode == "contact line gives way" for pair in pairs])
    onsets = [volts(pair[0]) if way else turning for pair, way in zip(pairs, gives, strict=True)]
    smith = classic.capillary_onset(surface_tension=gamma, radius=BORE_RADIUS, gap=GAP)
    s = np.linspace(0.0, 1.0, 61)
    series = {
        "angles": np.radians(ANGLES),
        "dry": np.array(onsets),
        "wetted": np.array([volts(pair[1]) for pair in pairs]),
        "gives_way": gives * 1.0,
        "rest": dry.states[0].shape.points(s) * BORE_RADIUS,
        "dry_last": last.shape.points(s) * BORE_RADIUS,
        "wetted_last": wetted.last.shape.points(s) * wetted.last.radius,
    }
    return Findings(
        {
            "onset": onset,
            "wetted": volts(wetted),
            "lower": 1.0 - volts(wetted) / onset,
            "turning": turning,
            "steepest": branch.turning.shape.contact_angle,
            "still": still,
            "flood": 2.0 * gamma * math.sin(math.radians(ANGLE)) / BORE_RADIUS,
            "gamma": gamma,
        },
        (
            Comparison("onset of the tube with a dry end face", KILOVOLTS, onset, smith, "formula",
                       "capillary formula with 0.667, D. P. H. Smith (1986), from memory: it knows "
                       "neither pressure nor wetting", asked=True),
            Comparison("the same with a wetted end face", KILOVOLTS, volts(wetted),
                       smith * math.sqrt(RIM_RADIUS / BORE_RADIUS)
                       * math.log(4.0 * GAP / RIM_RADIUS) / math.log(4.0 * GAP / BORE_RADIUS),
                       "formula", "the same formula with the outer radius, from memory"),
            Comparison("slope at the bore without voltage", DEGREES, rest, still,
                       "exact", "$sin ψ = p a / (2 γ)$: part of a sphere, Young and Laplace"),
            Comparison("pull, pressure and tension at the loss, sum over tension", NUMBER,
                       1.0 + force_closure(lost.equilibrium), 1.0, "exact",
                       "forces along the axis on the liquid above the line, derived: tension 1"),
        ),
        series,
    )  # fmt: skip


def draw_ends(axes: Axes, found: Findings) -> None:
    """Onset over the advancing angle, dry and wetted."""
    from conegap.solver.common.style import ACCENT, INK, LIMIT, PAPER, quiet_axes

    quiet_axes(axes)
    angles = np.degrees(found.series["angles"])
    gives = found.series["gives_way"] > 0.5
    dry = found.series["dry"] / 1e3
    steepest = math.degrees(found.numbers["steepest"])
    level = found.numbers["turning"] / 1e3
    axes.plot([*angles[gives], steepest, angles[-1]], [*dry[gives], level, level], color=ACCENT)
    axes.plot(angles[gives], dry[gives], "o", color=ACCENT, ms=6, label="dry: the line gives way")
    axes.plot(angles[~gives], dry[~gives], "s", mfc=PAPER, mec=ACCENT, ms=6,
              label="dry: turning point")  # fmt: skip
    axes.plot(angles, found.series["wetted"] / 1e3, "D--", color=LIMIT, ms=5, mec=INK, mew=0.4,
              label="wetted: the line moves on the rim")  # fmt: skip
    axes.set(xlabel="advancing angle [°]", ylabel="onset [kV]", ylim=(0.0, 1.25 * dry.max()))
    axes.legend(loc="lower right")


def draw_wetted(axes: Axes, found: Findings) -> None:
    """The end of the tube with the liquid at rest and at its loss, dry and wetted."""
    from matplotlib.patches import Rectangle

    from conegap.solver.common.style import ACCENT, LIMIT, METAL, METAL_HATCH, SOFT

    unit = 1e-6
    wall = (RIM_RADIUS - BORE_RADIUS) / unit
    for left in (-RIM_RADIUS / unit, BORE_RADIUS / unit):
        axes.add_patch(Rectangle((left, -40.0), wall, 40.0, fc=METAL, ec=METAL_HATCH, hatch="////"))
    for name, colour, style, words in (
        ("rest", SOFT, ":", "no voltage"),
        ("dry_last", ACCENT, "-", "dry, at its onset"),
        ("wetted_last", LIMIT, "--", "wetted, at its onset"),
    ):
        half = found.series[name] / unit
        axes.plot([*-half[::-1, 0], *half[:, 0]], [*half[::-1, 1], *half[:, 1]], color=colour,
                  ls=style, label=words)  # fmt: skip
    axes.set(xlabel="r [µm]", ylabel="height [µm]", aspect="equal", xlim=(-100.0, 100.0),
             ylim=(-40.0, 75.0))  # fmt: skip
    axes.legend(loc="upper right", bbox_to_anchor=(1.03, 1.05), handlelength=1.8)


LESSON = Lesson(
    "wetting",
    "Wetting and first emission",
    "one tube, two onsets: what the liquid has wetted before decides which comes first",
    (
        "Where liquid, metal and vacuum meet there is a line. Gibbs's condition holds it in place "
        "as long as the liquid's angle to the metal ahead stays below the advancing angle. The "
        "field makes the surface steeper at the line, so a rising voltage has two ways to end the "
        "calm: the surface turns unstable while the line still holds, or the line gives way first.",
        "A tube whose end face is dry holds its liquid at the bore. One whose face was wetted "
        "once, by a flood or by a careless fill, holds it at the rim, twice as wide. The pressure "
        "behind the liquid presses with $p π a²$ and the tension pulls back with $2 π a γ sin ψ$: "
        "on a wide surface the pressure does most of the work.",
    ),
    Question(
        "A tube of 50 µm bore and 100 µm outer diameter stands 1 mm before a plate, with gallium "
        "at 20 kPa that advances at 40°. Its end face is dry. At which voltage does it emit?",
        KILOVOLTS,
        1.0,
        1e6,
    ),
    compute,
    (
        Step(
            "Which end comes first",
            lambda found: (
                f"At {KILOVOLTS.text(found.numbers['onset'], 3)} the surface reaches 40° at the "
                "bore, the line gives way, and no place further out holds it at this voltage: the "
                "liquid runs out over the face. With a larger advancing angle the line holds "
                f"longer, until at {KILOVOLTS.text(found.numbers['turning'], 3)} the surface "
                "itself turns, at a slope of "
                f"{DEGREES.text(found.numbers['steepest'], 3)}: beyond it a larger angle gains "
                "nothing.",
                "Neither end is the better model. Both are solved, and the first in the ramp is "
                "the onset.",
            ),
            Sketch(
                "ends",
                draw_ends,
                lambda found: (
                    "Onset of the tube over the advancing angle; every point is a slow ramp of its "
                    "own."
                ),
                lambda found: (
                    "Onset against advancing angle. Dry: it rises steeply while the line gives way "
                    "and is level where the surface turns first. Wetted: nearly level, far below."
                ),
            ),
        ),
        Step(
            "The same tube, wetted",
            lambda found: (
                "With the face wetted the line stands at the rim, and the same tube emits at "
                f"{KILOVOLTS.text(found.numbers['wetted'], 3)}. Nothing in the drawing has "
                "changed. A review that assumes the higher onset must say who keeps the face dry.",
            ),
            Sketch(
                "wetted",
                draw_wetted,
                lambda found: (
                    "The liquid on the tube's end, true to scale: at rest, and at the onset of the "
                    "dry and of the wetted face."
                ),
                lambda found: (
                    "Section of a tube's end. A low cap stands on the bore at rest and a somewhat "
                    "steeper one at the dry onset; at the wetted onset a wide dome covers the face."
                ),
                2.9,
            ),
        ),
    ),
    (
        Exercise(
            "Without any voltage the 20 kPa bulge the surface at the bore (radius 25 µm, "
            "$γ = 0.718$ N/m). How steep is it at the line?",
            DEGREES,
            lambda found: found.numbers["still"],
            0.02,
            "Balance the forces on the cap: $p π a² = 2 π a γ sin ψ$.",
            lambda found: (
                f"$sin ψ = p a / (2 γ)$, {DEGREES.text(found.numbers['still'], 3)}: half the way "
                "to 40° is used up before the supply is switched on."
            ),
            (
                Slip(
                    lambda found: math.asin(2.0 * math.sin(found.numbers["still"])),
                    "That is a trough, curved one way; the cap on a bore is curved in two.",
                ),
            ),
        ),
        Exercise(
            "At which feed pressure does the line at the bore give way without any voltage, at an "
            "advancing angle of 40°?",
            KILOPASCALS,
            lambda found: found.numbers["flood"],
            0.02,
            "The same balance with $ψ = 40°$.",
            lambda found: (
                f"$p = 2 γ sin 40° / a$ = {KILOPASCALS.text(found.numbers['flood'], 3)}: above it "
                "the tube floods its own face."
            ),
            (
                Slip(
                    lambda found: 2.0 * found.numbers["gamma"] / BORE_RADIUS,
                    "That is what a half ball holds; the line gives way at 40° already.",
                ),
            ),
        ),
        Exercise(
            "By how many percent does wetting the face lower the onset of the tube?",
            PERCENT,
            lambda found: found.numbers["lower"],
            0.03,
            "Compare the two onsets; the dry one is 100 %.",
            lambda found: f"By {PERCENT.text(found.numbers['lower'], 3)} of the dry onset.",
            (
                Slip(
                    lambda found: found.numbers["onset"] / found.numbers["wetted"] - 1.0,
                    "That is by how much the dry one is higher than the wetted one.",
                ),
            ),
        ),
    ),
    (
        "J. W. Gibbs's condition for a line at an edge, and the fan of angles that the two flanks "
        "bracket: J. Grana Otero and I. E. Parra Fabian, arXiv 1907.03499, abstract read; Gibbs "
        "himself was not opened.",
        "Young and Laplace's law: textbook. Forces on the cap: derived, checked in `conegap "
        "validate`.",
        "D. P. H. Smith, IEEE Transactions on Industry Applications IA-22, 527 (1986): formula and "
        "factor from memory.",
    ),
    "Say what an advancing angle of 60° in place of 40° does to the dry and to the wetted onset of "
    'a capillary. Then run `conegap vary capillary --over liquid.contact_angle="40 deg"..'
    '"60 deg":3` and, in a copy by `conegap start capillary --to mine.toml` with contact_line = '
    '"rim", `conegap onset mine.toml`. Which of the two must the review assume?',
)
