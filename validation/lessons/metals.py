"""Chapter 7: choosing a metal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import Avogadro, elementary_charge

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
    Unit,
)
from conegap.validation.lessons.units import MICROAMPERES, MICRONEWTONS, NUMBER, PERCENT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LESSON", "compute", "draw_onsets", "draw_thrust"]

RADIUS = 5e-6  # m, a usual needle
GAP = 1e-3  # m
ACCELERATION = 1e4  # V
ABOVE_MELTING = 10.0  # K; every metal just liquid
SPEED = Unit("km/s", 1e3)


def compute(guess: float | None = None) -> Findings:
    """One field solve, then every metal of the library in that gap.

    Parameters
    ----------
    guess : float or None
        Not needed here, [-].
    """
    from conegap.geometries.metals.metal import metal, metal_names
    from conegap.solver.field.solution import solve_field
    from conegap.solver.onset.surface_balance import balance_field
    from conegap.solver.operation.exhaust import ion_exhaust
    from conegap.validation.sections import catalogue as sections

    case = sections.hyperboloid_needle(radius=RADIUS, gap=GAP, prescribed=False)
    tip = solve_field(case.section).edge("tip", case.voltages)
    rows: list[tuple[float, ...]] = []
    words: dict[str, list[str]] = {"names": [], "symbols": [], "statuses": []}
    for symbol in metal_names():
        found = metal(symbol)
        gamma = float(found.surface_tension(found.melting_point))
        wanted = balance_field(surface_tension=gamma, curvature=tip.curvature)
        exhaust = ion_exhaust(ion_mass=found.ion_mass, voltage=ACCELERATION)
        warm = found.melting_point + ABOVE_MELTING
        law = found.vapour_pressure_law
        vapour = math.nan if law is None else float(found.vapour_pressure(warm))
        rows.append((wanted / tip.value, gamma, exhaust.thrust_per_current, exhaust.speed,
                     found.melting_point, vapour))  # fmt: skip
        words["names"].append(found.name)
        words["symbols"].append(symbol)
        words["statuses"].append(found.surface_tension_law.provenance.status)
    table = np.array(rows)
    order = np.argsort(table[:, 0])
    table = table[order]
    sorted_words = {key: tuple(some[k] for k in order) for key, some in words.items()}
    place = {symbol: k for k, symbol in enumerate(sorted_words["symbols"])}
    onset = {symbol: float(table[k, 0]) for symbol, k in place.items()}
    thrust = {symbol: float(table[k, 2]) for symbol, k in place.items()}
    speed = {symbol: float(table[k, 3]) for symbol, k in place.items()}
    light = metal("caesium")
    masses = f"energy conservation, textbook; {light.molar_mass * 1e3:.4f} g/mol"
    plain = math.sqrt(2.0 * elementary_charge * ACCELERATION * Avogadro / light.molar_mass)
    unread = sum(status == "unavailable" for status in sorted_words["statuses"])
    return Findings(
        {
            "ratio": onset["Ga"] / onset["Cs"],
            "caesium_thrust": thrust["Cs"],
            "gallium_thrust": thrust["Ga"],
            "gallium_speed": speed["Ga"],
            "unread": float(unread),
            "count": float(len(table)),
            "vapour": float(table[place["Cs"], 5]),
            "gallium_vapour": float(table[place["Ga"], 5]),
        },
        (
            Comparison("onset of gallium over that of caesium", NUMBER,
                       onset["Ga"] / onset["Cs"],
                       math.sqrt(0.718 / 0.0714), "exact",
                       "root of the tensions in the table, 0.718 and 0.0714 N/m", asked=True),
            Comparison("exhaust speed of caesium ions after 10 kV", SPEED, speed["Cs"], plain,
                       "exact", masses),
            Comparison("the same, as the trade quotes it", SPEED, speed["Cs"], 1e5,
                       "common practice", "100 km/s or more: common practice, no source"),
        ),
        {
            "onset": table[:, 0],
            "gamma": table[:, 1],
            "thrust": table[:, 2],
            "speed": table[:, 3],
            "melting": table[:, 4],
            "vapour": table[:, 5],
        },
        sorted_words,
    )  # fmt: skip


def draw_onsets(axes: Axes, found: Findings) -> None:
    """Onset of every metal as bars; hatched where the tension has no open source."""
    from conegap.solver.common.style import ACCENT, BAND, INK

    onsets = found.series["onset"] / 1e3
    for k, (onset, status) in enumerate(zip(onsets, found.words["statuses"], strict=True)):
        known = status == "published"
        axes.barh(k, onset, height=0.68, color=ACCENT if known else BAND, edgecolor=INK, lw=0.6,
                  hatch=None if known else "////")  # fmt: skip
        axes.annotate(f"{onset:.2f}", (onset, k), xytext=(4, 0), textcoords="offset points",
                      va="center", fontsize=7.5)  # fmt: skip
    axes.barh(-2.0, 0.0, color=ACCENT, label="tension published")
    axes.barh(-2.0, 0.0, color=BAND, edgecolor=INK, lw=0.6, hatch="////",
              label="tension without open source")  # fmt: skip
    axes.set_yticks(range(len(onsets)), found.words["names"])
    axes.set(xlabel="rigid onset [kV]", xlim=(0.0, 1.14 * float(onsets.max())),
             ylim=(-0.6, len(onsets) - 0.4))  # fmt: skip
    axes.tick_params(axis="y", length=0)
    axes.legend(loc="lower right")


def draw_thrust(axes: Axes, found: Findings) -> None:
    """Thrust per current against onset."""
    from conegap.solver.common.style import ACCENT, quiet_axes

    quiet_axes(axes)
    x, y = found.series["onset"] / 1e3, found.series["thrust"] * 1e3
    axes.plot(x, y, "o", color=ACCENT)
    for one, two, symbol in zip(x, y, found.words["symbols"], strict=True):
        beside = {"EGaIn": (-8, -3), "Sn": (6, 1), "In": (6, -9)}.get(symbol, (6, -3))
        axes.annotate(symbol, (one, two), xytext=beside, textcoords="offset points",
                      ha="right" if beside[0] < 0 else "left")  # fmt: skip
    axes.set(xlabel="rigid onset [kV]", ylabel="thrust per current [µN/mA]", xlim=(0.0, 6.0),
             ylim=(80.0, 220.0))  # fmt: skip


def _powers(value: float) -> str:
    """A number over many decades: "$7 × 10^(−4)$"."""
    digits, _, power = f"{value:.0e}".partition("e")
    return f"${digits} × 10^({int(power)})$".replace("-", "−")


def _table(found: Findings) -> Table:
    series = found.series
    rows = []
    for k, name in enumerate(found.words["names"]):
        vapour = series["vapour"][k]
        known = found.words["statuses"][k] == "published"
        rows.append((
            name,
            f"{series['gamma'][k] * 1e3:.0f}{'' if known else ' *'}",
            f"{series['onset'][k] / 1e3:.2f}",
            f"{series['melting'][k]:.1f}",
            "not known" if math.isnan(vapour) else _powers(vapour),
            f"{series['speed'][k] / 1e3:.0f}",
            f"{series['thrust'][k] * 1e3:.0f}",
        ))  # fmt: skip
    heads = ("metal", "tension at melting [mN/m]", "onset [kV]", "melts at [K]",
             "vapour 10 K above [Pa]", "exhaust [km/s]", "thrust [µN/mA]")  # fmt: skip
    return Table("Needle of 5 µm, gap 1 mm; exhaust and thrust of single ions after 10 kV. "
                 "* tension without an open source", heads,
                 tuple(rows))  # fmt: skip


LESSON = Lesson(
    "metal",
    "Choosing a metal",
    "surface tension sets the onset, the ion's mass the thrust, the vapour the trouble",
    (
        "On a rigid surface the onset goes as the square root of the surface tension, and nothing "
        "else of the metal enters. After that other things count: the melting point (somebody has "
        "to heat it), the vapour pressure (it must not evaporate or coat the insulators), the mass "
        "of the ion (thrust for a given current), and how well the numbers are known.",
    ),
    Question(
        "How many times as high is the onset of gallium as that of caesium, each at its melting "
        "point, in one and the same gap?",
        NUMBER,
        1e-3,
        1e3,
    ),
    compute,
    (
        Step(
            "The onset",
            lambda found: (
                f"One field solve serves all metals: gallium needs {found.numbers['ratio']:.2f} "
                "times the voltage of caesium. A low onset is a light supply and a wider choice "
                "of insulators.",
                f"Of the {found.numbers['count']:.0f} surface tensions here "
                f"{found.numbers['unread']:.0f} could not be read in any open source: `conegap "
                "metals` says how far the values that were found lie apart. Oxide and dirt change "
                "a tension more than the textbooks disagree.",
            ),
            Sketch(
                "onsets",
                draw_onsets,
                lambda found: (
                    "Rigid onset of a 5 µm needle 1 mm before a plate, each metal at its "
                    "melting point."
                ),
                lambda found: (
                    "Bars of the onset from caesium, lowest, to gold, highest; hatched "
                    "where the surface tension has no open source."
                ),
                3.3,
            ),
        ),
        Step(
            "What you get for it",
            lambda found: (
                "A heavy ion gives more thrust for a current, a light one more speed and so less "
                "metal used: thrust per current is $√(2 m V / e)$, speed $√(2 e V / m)$.",
                "Nothing is free. Caesium has the lowest onset and much thrust, but burns in air "
                f"and already has {_powers(found.numbers['vapour'])} Pa of vapour just above its "
                f"melting point, where gallium has {_powers(found.numbers['gallium_vapour'])} Pa. "
                "Mercury vapour is poisonous. Follow your local codes.",
            ),
            Sketch(
                "thrust",
                draw_thrust,
                lambda found: (
                    "Thrust per current of single ions after 10 kV (emitter against "
                    "ground) over the onset. Droplets are left out."
                ),
                lambda found: (
                    "Scatter of thrust per current against onset: alkali metals at low "
                    "onset, gallium lowest in thrust, mercury, bismuth and gold highest."
                ),
            ),
            _table,
        ),
    ),
    (
        Exercise(
            "A beam of 1 mA of single caesium ions has fallen through 10 kV. What is its thrust, "
            "without divergence?",
            MICRONEWTONS,
            lambda found: 1e-3 * found.numbers["caesium_thrust"],
            0.02,
            "$F = I √(2 m V / e)$, with m = 132.9 atomic masses of 1.6605e-27 kg.",
            lambda found: (
                f"{MICRONEWTONS.text(1e-3 * found.numbers['caesium_thrust'])}: the weight "
                "of some 17 mg."
            ),
            (
                Slip(
                    lambda found: 1e-3 * found.numbers["caesium_thrust"] / math.sqrt(2.0),
                    "Energy is $½ m v²$, so $v = √(2 e V / m)$: mind the 2.",
                ),
            ),
        ),
        Exercise(
            "Caesium's surface tension is uncertain by 3 % (one standard deviation). By how many "
            "percent is its onset uncertain for that reason?",
            PERCENT,
            lambda found: 0.5 * 0.03,
            0.02,
            "The onset goes as the square root of the tension.",
            lambda found: "Half of it: 1.5 %.",
            (
                Slip(lambda found: 0.03, "The root halves a small relative change."),
                Slip(
                    lambda found: math.sqrt(0.03), "Not the root of 3 %, but the change of a root."
                ),
            ),
        ),
        Exercise(
            "How much current of single gallium ions after 10 kV gives 100 µN?",
            MICROAMPERES,
            lambda found: 1e-4 / found.numbers["gallium_thrust"],
            0.02,
            "Divide by the thrust per current in the table.",
            lambda found: (
                f"{MICROAMPERES.text(1e-4 / found.numbers['gallium_thrust'], 3)}, a beam "
                "of "
                f"{1e-4 / found.numbers['gallium_thrust'] * ACCELERATION:.1f} W."
            ),
            (
                Slip(
                    lambda found: 1e-4 / found.numbers["caesium_thrust"],
                    "That is caesium; gallium ions are lighter and push less.",
                ),
            ),
        ),
    ),
    (
        "Property laws with source, status and range: `conegap metals NAME`.",
        "B. J. Keene, International Materials Reviews 38, 157 (1993), on surface tensions: the "
        "three values of the table that rest on it are from memory.",
        "K. C. Mills and Y. C. Su, International Materials Reviews 51, 329 (2006): typical "
        "systematic uncertainty 2 %, citation seen.",
    ),
    "Write `conegap start needle --to mine.toml`, change its metal to gallium and its "
    "temperature to 320 K, and say first by what factor the onset changes. Then run "
    "`conegap onset mine.toml`.",
)
