"""Chapter 4: how much charge a drop can hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import Arc, FloatArray, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
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
from conegap.validation.lessons.units import KILOVOLTS, NUMBER, PERCENT, PICOCOULOMBS
from conegap.validation.sections import catalogue as sections

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.field.extrapolation import Estimate
    from conegap.solver.liquid.branch import LiquidSection
    from conegap.solver.liquid.shape import MeniscusShape

__all__ = ["LESSON", "charged_ball", "compute", "draw_neutral", "draw_shapes", "neutral_strengths"]

RADIUS = 10e-6  # m; any ball does, the laws scale
EXTENT = 10.0  # radius of the far sphere over that of the ball
MODES = 8  # coefficients of a shape
LEVELS = (4, 8, 16)  # subdivisions of the meshes
WAVES = (2, 4, 6)  # degrees of the even waves, Rayleigh's first


def charged_ball() -> LiquidSection:
    """A charged ball of free liquid, upper half, in a far sphere at zero.

    The plane through its middle is one of symmetry; field lines lie in it.
    """
    from conegap.solver.liquid.branch import LiquidSection
    from conegap.solver.liquid.shape import apex_grid_radius

    def draw(shape: MeniscusShape) -> tuple[Section, tuple[int, int]]:
        height, far = shape.height, EXTENT
        loop = (
            Boundary("axis", Line((0.0, far), (0.0, height))),
            Boundary("liquid", shape.curve(1.0, (1.0, 0.0))),
            Boundary("outer", Line((1.0, 0.0), (far, 0.0))),
            Boundary("accelerator", Arc((0.0, 0.0), far, 0.0, math.pi / 2.0)),
        )
        edge = EmittingEdge("apex", 0, 1, 0.0, apex_grid_radius(shape))
        return Section("axisymmetric", (loop,), (edge,), far - height), (0, 1)

    return LiquidSection(
        draw, radius=1.0, contact=(1.0, 0.0), potentials={"emitter": 1.0, "accelerator": 0.0}
    )


def neutral_strengths(level: int) -> tuple[FloatArray, FloatArray]:
    """Strengths at which a charged ball can change its shape at no cost, and those changes.

    The free surface's Jacobian at the ball is affine in the electric Bond number; it is singular
    where a change of shape is neutral.

    Parameters
    ----------
    level : int
        Subdivisions of the mesh, [-].

    Returns
    -------
    (n,) array
        eps0 E^2 R / gamma in rising order, [-].
    (n, modes) array
        Changes of the shape's coefficients, [rad].
    """
    from scipy.linalg import eig

    from conegap.solver.liquid.branch import problem_at
    from conegap.solver.liquid.shape import cap

    ball = cap(math.pi / 2.0, MODES, "axisymmetric")
    problem = problem_at(charged_ball(), ball, level, "volume with contact angle", math.pi / 2.0)
    # The field per volt is the same everywhere: b / (b - a) in units of 1 / a.
    per_volt = EXTENT / (EXTENT - 1.0)

    def jacobian(electric_bond_number: float) -> FloatArray:
        stress = 0.5 * electric_bond_number * per_volt**2
        x = problem.unknowns(ball, 2.0 - stress, electric_bond_number)
        return problem.residual_and_jacobian(x)[1][:, :-1]

    still, charged = jacobian(0.0), jacobian(1.0)
    values, vectors = eig(still, still - charged)
    real = np.isfinite(values) & (np.abs(values.imag) < 1e-6) & (values.real > 0.0)
    order = np.argsort(values.real[real])
    changes = vectors.real[:, real].T[order][:, :MODES]
    return values.real[real][order] * per_volt**2, changes


def compute(guess: float | None = None) -> Findings:
    """Charge of a ball at its balance, and the strengths at which its shape is neutral.

    Parameters
    ----------
    guess : float or None
        Not needed here, [C].
    """
    from conegap.solver.field.extrapolation import estimate
    from conegap.solver.field.solution import solve_field
    from conegap.solver.liquid.shape import cap
    from conegap.solver.onset.surface_balance import balance_field

    case = sections.concentric_spheres(inner=RADIUS, outer=5.0 * RADIUS)
    solution = solve_field(case.section)
    gamma = _gallium()
    wanted = balance_field(surface_tension=gamma, curvature=2.0 / RADIUS)
    voltage = wanted / solution.edge("tip", case.voltages).value
    charge = voltage * solution.charge("emitter", case.voltages).value
    runs = [neutral_strengths(level) for level in LEVELS]
    neutral = [estimate(LEVELS, tuple(float(run[0][k]) for run in runs)) for k in range(len(WAVES))]
    ball = cap(math.pi / 2.0, MODES, "axisymmetric")
    series: dict[str, FloatArray] = {
        "waves": np.array(WAVES, dtype=float),
        "neutral": np.array([one.value for one in neutral]),
    }
    s = np.linspace(0.0, 1.0, 91)
    for k, wave in enumerate(WAVES[:2]):
        change = runs[-1][1][k]
        longer = ball.changed(ball.coefficients + 1e-3 * change).height > 1.0
        size = (0.22, 0.4)[k] * (1.0 if longer else -1.0) / float(np.abs(change).max())
        shape = ball.changed(ball.coefficients + size * change)
        radius = (2.0 * math.pi / 3.0 / shape.volume) ** (1.0 / 3.0)
        series[f"shape_{wave}"] = radius * shape.points(s)
    rayleigh = (
        "Rayleigh, Phil. Mag. 14, 184 (1882); formula as quoted by a second source, the paper "
        "itself from memory"
    )
    closed = exact_liquid.rayleigh_charge(surface_tension=gamma, radius=RADIUS)
    rows = [
        Comparison("greatest charge of a gallium drop of 10 µm", PICOCOULOMBS, charge, closed,
                   "exact", f"{rayleigh}: $8 π √(ε₀ γ R³)$", asked=True),
    ]  # fmt: skip
    rows += [
        Comparison(f"$ε₀ E² R / γ$ at which wave n = {wave} costs nothing", NUMBER, one.value,
                   wave + 2.0, "exact", "$n + 2$, by Rayleigh's energy argument, derived",
                   error=_stated(one))
        for wave, one in zip(WAVES, neutral, strict=True)
    ]  # fmt: skip
    limit = exact_liquid.rayleigh_voltage(surface_tension=gamma, radius=RADIUS)
    numbers = {
        "charge": charge,
        "field": wanted,
        "neutral": neutral[0].value,
        "lone_voltage": limit,
        "gamma": gamma,
    }
    return Findings(numbers, tuple(rows), series)


def _stated(found: Estimate) -> float:
    """Relative error: the estimate, but at least what the last refinement moved, [-].

    The few modes of the shape limit the higher waves, which the mesh sequence does not see.
    """
    moved = abs(found.level_values[-1] - found.level_values[-2])
    return max(found.error, moved / abs(found.value))


def _gallium() -> float:
    """Surface tension of gallium at its melting point, [N/m]."""
    from conegap.geometries.metals.metal import metal

    gallium = metal("gallium")
    return float(gallium.surface_tension(gallium.melting_point))


def draw_neutral(axes: Axes, found: Findings) -> None:
    """Strength at which each wave is neutral, and the pressure balance at 4."""
    from conegap.solver.common.style import ACCENT, BAND, INK, LIMIT, SOFT, quiet_axes

    quiet_axes(axes)
    axes.axhspan(0.0, 4.0, color=BAND, lw=0.0, alpha=0.6)
    axes.text(6.9, 1.6, "the ball holds", ha="right", color=INK)
    axes.axhline(4.0, color=LIMIT, ls="--", lw=1.2)
    axes.annotate("stress equals tension: 4", (6.9, 4.0), xytext=(0, -11), ha="right",
                  textcoords="offset points", color=LIMIT)  # fmt: skip
    n = np.array([1.5, 6.8])
    axes.plot(n, n + 2.0, color=SOFT, ls=":", label="n + 2")
    axes.plot(found.series["waves"], found.series["neutral"], "o", color=ACCENT, ms=6,
              label="computed, free surface")  # fmt: skip
    axes.set(xlabel="wave number n of the change of shape [-]", ylabel="ε₀ E² R / γ [-]",
             xlim=(1.5, 7.0), ylim=(0.0, 9.5), xticks=[2, 3, 4, 5, 6])  # fmt: skip
    axes.legend(loc="upper left")


def draw_shapes(axes: Axes, found: Findings) -> None:
    """Ball and its first two neutral changes of shape, exaggerated, true to scale."""
    from conegap.solver.common.style import INK, LIMIT, SOFT

    angle = np.linspace(0.0, 2.0 * math.pi, 181)
    for place, wave in ((-1.5, 2), (1.5, 4)):
        axes.plot(place + np.cos(angle), np.sin(angle), color=SOFT, ls=":")
        quarter = found.series[f"shape_{wave}"]
        half = np.vstack([quarter, (quarter * [1.0, -1.0])[::-1]])
        whole = np.vstack([half, (half * [-1.0, 1.0])[::-1]])
        axes.plot(place + whole[:, 0], whole[:, 1], color=LIMIT if wave == 2 else INK)
        axes.text(place, -1.72, f"n = {wave}", ha="center")
    axes.set(xlim=(-2.9, 2.9), ylim=(-1.9, 1.6), aspect="equal")
    axes.set_axis_off()


LESSON = Lesson(
    "charge",
    "How much charge a drop can hold",
    "Rayleigh's limit, found twice: by balance and by stability",
    (
        "Charge on a drop sits on its surface and pulls outward with $½ ε₀ E²$; surface tension "
        "presses inward with $2 γ / R$. More charge, and at some point the drop must come apart.",
        "Two questions look different. When does the stress equal the tension, so that nothing "
        "presses on the liquid any more? And when can the ball become an oval at no cost? "
        "Rayleigh answered the second in 1882.",
    ),
    Question(
        "How much charge can a gallium drop of radius 10 µm hold ($γ = 0.718$ N/m)?",
        PICOCOULOMBS,
        1e-18,
        1.0,
    ),
    compute,
    (
        Step(
            "Two questions, one answer",
            lambda found: (
                "By balance: the field around the ball is solved, raised until its stress equals "
                f"$2 γ / R$, and the charge read off: "
                f"{PICOCOULOMBS.text(found.numbers['charge'])}, with "
                f"{found.numbers['field'] / 1e6:.0f} MV/m at the surface.",
                "By stability: the free liquid surface is asked at which $ε₀ E² R / γ$ a small "
                "change of shape costs nothing. The oval comes first, at "
                f"{found.numbers['neutral']:.2f}; four is where the stress equals the tension. "
                "That both fall together is special to the charged ball: the drop of chapter 3 "
                "gives way long before its stress reaches its tension.",
                "Waves with odd n need another symmetry than the half ball that was solved, and "
                "lie between.",
            ),
            Sketch(
                "neutral",
                draw_neutral,
                lambda found: (
                    "Strength of the field at which a change of shape with n waves "
                    "begins to grow. Below the dashed line the ball is stable against all of them."
                ),
                lambda found: (
                    "Neutral strength against wave number: computed dots near 4, 6 and "
                    "8 for n = 2, 4 and 6 on the line $n + 2$; below 4 the ball holds."
                ),
            ),
        ),
        Step(
            "What the drop turns into",
            lambda found: (
                "To first order the oval may be long or flat. The long one has sharper ends, and "
                "the rest goes by itself: in experiments two fine jets leave the ends and "
                "carry off much charge with little mass.",
            ),
            Sketch(
                "changes",
                draw_shapes,
                lambda found: (
                    "The first two neutral changes of shape as computed, exaggerated; "
                    "the axis of symmetry is upright."
                ),
                lambda found: (
                    "Two outlines over dotted circles: for n = 2 an upright oval; for "
                    "n = 4 a shape with bulges at the poles and at the equator."
                ),
                2.5,
            ),
        ),
    ),
    (
        Exercise(
            "How much charge can a gallium drop of twice that radius, 20 µm, hold?",
            PICOCOULOMBS,
            lambda found: 2.0**1.5 * found.numbers["charge"],
            0.02,
            "The charge goes as R to the power 3/2.",
            lambda found: (
                "$2^(3/2)$ = 2.83 times as much, "
                f"{PICOCOULOMBS.text(2.0**1.5 * found.numbers['charge'], 3)}: less than "
                "the eightfold of its volume, so large drops hold less charge per mass."
            ),
            (
                Slip(
                    lambda found: 8.0 * found.numbers["charge"], "Charge does not go with volume."
                ),
                Slip(lambda found: 4.0 * found.numbers["charge"], "Charge does not go with area."),
            ),
        ),
        Exercise(
            "To which voltage is the lone 10 µm gallium drop charged at its limit?",
            KILOVOLTS,
            lambda found: found.numbers["lone_voltage"],
            0.02,
            "The surface field is $E = 2 √(γ / (ε₀ R))$, and a lone ball has $V = E R$.",
            lambda found: f"$V = 2 √(γ R / ε₀)$ = {KILOVOLTS.text(found.numbers['lone_voltage'])}.",
        ),
        Exercise(
            "A drop at its limit splits into two equal drops, each with half the charge. At how "
            "many percent of its own limit is each?",
            PERCENT,
            lambda found: 0.5 * math.sqrt(2.0),
            0.01,
            "Half the volume holds $1/√2$ of the charge, since the limit goes as the root of the "
            "volume.",
            lambda found: "$½ / (1/√2)$ is 70.7 %: splitting helps, which is why it happens.",
            (
                Slip(
                    lambda found: 0.5,
                    "Each limit is smaller too: half the volume holds less charge.",
                ),
                Slip(
                    lambda found: math.sqrt(2.0),
                    "The other way round: each carries less than it could.",
                ),
            ),
        ),
    ),
    (
        "Lord Rayleigh, Philosophical Magazine 14, 184 (1882): cited from memory; the formula "
        "$Q² = 64 π² ε₀ γ R³$ and the citation were seen together in a second source.",
        "D. Duft and others, Nature 421, 128 (2003), on the jets: the citation was seen, the "
        "paper was not.",
    ),
    "Find the radius at which a gallium drop holds 1 pC, by the law and then by changing "
    "RADIUS in the notebook. Which number of the table stays?",
)
