"""Chapter 3: an isolated drop in a uniform field, and its turning point."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0

from conegap.validation.exact import drops as exact_drops
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

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LESSON", "compute", "draw_branch", "draw_shapes"]

WATER = 0.0728  # N/m at 20 degC (handbooks, from memory)
DROP = 1e-3  # m, radius
RIGID = 2.0 / 3.0  # root of W at which a rigid sphere would give way at its poles


def compute(guess: float | None = None) -> Findings:
    """Follow the free drop to its turning point, and two families of spheroids beside it.

    Parameters
    ----------
    guess : float or None
        Not needed here, [-].
    """
    from conegap.validation.sections.menisci import electric_bond_number_of_field, free_drop

    branch = free_drop(levels=(2, 4))
    root = math.sqrt(electric_bond_number_of_field(branch.electric_bond_number.value))
    aspects, roots, outlines = [], [], []
    s = np.linspace(0.0, 1.0, 61)
    for equilibrium in branch.equilibria:
        shape = equilibrium.shape
        # The electric Bond number of a shape is in its own contact radius; that of the sphere is
        # wanted.
        radius = (2.0 * math.pi / 3.0 / shape.volume) ** (1.0 / 3.0)
        electric_bond_number = (
            electric_bond_number_of_field(equilibrium.electric_bond_number) / radius
        )
        aspects.append(shape.height)
        roots.append(math.sqrt(max(electric_bond_number, 0.0)))
        outlines.append(radius * shape.points(s))
    turning = branch.turning.shape
    radius = (2.0 * math.pi / 3.0 / turning.volume) ** (1.0 / 3.0)
    spheroid, spheroid_aspect = exact_drops.turning_of_spheroids(
        exact_drops.spheroid_pole_and_equator
    )
    energy, _ = exact_drops.turning_of_spheroids(exact_drops.spheroid_by_energy)
    tried = np.linspace(1.02, 2.6, 80)
    pole = [math.sqrt(exact_drops.spheroid_pole_and_equator(float(q))) for q in tried]
    taylor = "G. I. Taylor, Proc. R. Soc. A 280, 383 (1964)"
    full = (
        "full shapes: Miksis, Phys. Fluids 24, 1967 (1981), Basaran and Scriven, Phys. Fluids A "
        "1, 799 (1989), both from memory; unpublished boundary elements agree"
    )
    return Findings(
        {
            "root": root,
            "aspect": turning.height,
            "error": branch.electric_bond_number.error / 2.0,
            "spheroid": math.sqrt(spheroid),
            "spheroid_aspect": spheroid_aspect,
            "onset": root * math.sqrt(WATER / (epsilon_0 * DROP)),
        },
        (
            Comparison("length over width at the turning point", NUMBER, turning.height, 1.836,
                       "computed elsewhere", full, asked=True),
            Comparison("the same by spheroids balanced at two points", NUMBER, spheroid_aspect,
                       1.9, "published", f"{taylor}; 1.9 as in its abstract"),
            Comparison("field at the turning point, $E₀ √(ε₀ r₀ / γ)$", NUMBER, root, 0.4521,
                       "computed elsewhere", full, error=branch.electric_bond_number.error / 2.0),
            Comparison("the same by spheroids of least energy", NUMBER, root, math.sqrt(energy),
                       "formula", "derived"),
            Comparison("the same by spheroids balanced at two points", NUMBER, root,
                       math.sqrt(spheroid), "formula",
                       f"{taylor}, its approximation, evaluated here"),
            Comparison("water drops falling through a field", NUMBER, root, 0.4273,
                       "measured", "Macky, Proc. R. Soc. A 133, 565 (1931), from memory; drops "
                       "that swing burst earlier"),
        ),
        {
            "aspects": np.array(aspects),
            "roots": np.array(roots),
            "tried": tried,
            "pole": np.array(pole),
            "first": outlines[0],
            "middle": outlines[int(np.argmin(np.abs(np.array(aspects) - 1.35)))],
            "turning": radius * turning.points(s),
        },
    )  # fmt: skip


def draw_branch(axes: Axes, found: Findings) -> None:
    """Field against the aspect of the drop, with its turning point."""
    from scipy.interpolate import PchipInterpolator

    from conegap.solver.common.style import ACCENT, INK, LIMIT, SOFT, quiet_axes

    quiet_axes(axes)
    series, top = found.series, (found.numbers["aspect"], found.numbers["root"])
    order = np.argsort(series["aspects"])
    aspects, roots = series["aspects"][order], series["roots"][order]
    stable = aspects < top[0]
    curve = PchipInterpolator(
        [*aspects[stable], top[0], *aspects[~stable]], [*roots[stable], top[1], *roots[~stable]]
    )
    before, after = np.linspace(1.0, top[0], 300), np.linspace(top[0], aspects[-1], 60)
    axes.plot(before, curve(before), color=ACCENT, label="in balance, stable")
    axes.plot(aspects[stable], roots[stable], "o", color=ACCENT, ms=3.5)
    axes.plot(after, curve(after), "--", color=LIMIT, label="in balance, unstable")
    axes.plot(aspects[~stable], roots[~stable], "o", color=LIMIT, ms=3.5, mfc="none")
    axes.plot(series["tried"], series["pole"], color=SOFT, ls=":", label="Taylor's spheroids")
    axes.plot(*top, "D", color=INK, ms=6, zorder=5, label="turning point")
    axes.set(
        xlabel="length over width of the drop [-]",
        ylabel="E₀ √(ε₀ r₀ / γ) [-]",
        xlim=(1.0, max(2.4, float(aspects[-1]) + 0.1)),
        ylim=(0.0, 0.52),
    )
    axes.legend(loc="lower right")


def draw_shapes(axes: Axes, found: Findings) -> None:
    """Outlines of the drop, whole and true to scale."""
    from conegap.solver.common.style import INK, LIMIT, SOFT

    looks = (("first", SOFT, ":", "no field"), ("middle", INK, "--", "on the way"),
             ("turning", LIMIT, "-", "turning point"))  # fmt: skip
    for name, colour, dashes, label in looks:
        quarter = found.series[name]
        half = np.vstack([quarter, (quarter * [1.0, -1.0])[::-1]])
        whole = np.vstack([half, (half * [-1.0, 1.0])[::-1]])
        axes.plot(whole[:, 1], whole[:, 0], color=colour, ls=dashes, label=label)
    axes.annotate("", (2.55, 0.0), (1.8, 0.0), arrowprops={"arrowstyle": "->", "color": SOFT})
    axes.annotate("E₀", (2.1, 0.1), color=SOFT)
    axes.set(
        xlabel="along the field, over r₀ [-]",
        ylabel="across, over r₀ [-]",
        xlim=(-1.8, 2.6),
        ylim=(-1.15, 1.15),
        aspect="equal",
    )
    axes.legend(loc="upper left", bbox_to_anchor=(0.76, 1.04), handlelength=1.6)


LESSON = Lesson(
    "drop",
    "The drop in a field and its turning point",
    "why a drop holds for a while and then suddenly does not",
    (
        "An uncharged drop of conducting liquid in a uniform field $E₀$ is pulled at both ends. It "
        "lengthens; a longer drop has sharper ends; sharper ends have more field. Surface tension "
        "fights back, at first with success: for every field there is a shape in balance.",
        "But not for every field. Follow the shapes in balance and the field rises, flattens and "
        "turns back: beyond its highest value there is nothing left to be in balance with. That "
        "turning point is the onset. The drop's volume stays; its radius without field is $r₀$, "
        "and $E₀ √(ε₀ r₀ / γ)$ is the only number that counts.",
    ),
    Question(
        "How many times as long as wide is the drop when it gives way?",
        NUMBER,
        1.0,
        100.0,
    ),
    compute,
    (
        Step(
            "The turning point",
            lambda found: (
                f"The highest field is {found.numbers['root']:.4f} $√(γ / (ε₀ r₀))$, known to "
                f"{100.0 * found.numbers['error']:.1g} %, and there the drop is "
                f"{found.numbers['aspect']:.3f} times as long as wide.",
                "The shape runs fast where the field stands still: near the turning point a "
                "percent of length costs almost no field. That is why a measured length says "
                "little, and a measured voltage much.",
                "Taylor balanced spheroids at the poles and the equator only. That gives "
                f"{found.numbers['spheroid']:.4f}, "
                f"{100.0 * (found.numbers['spheroid'] / found.numbers['root'] - 1.0):.1f} % "
                "higher: very good for a shape that was guessed.",
            ),
            Sketch(
                "branch",
                draw_branch,
                lambda found: (
                    "Shapes in balance. Each dot is a liquid surface found by the "
                    "solver under the field that it shapes, on a coarse mesh; the "
                    "diamond is on finer ones. Beyond it none is stable."
                ),
                lambda found: (
                    "Field against length over width: rises from zero at a sphere, "
                    f"flattens, has its top {found.numbers['root']:.4f} at "
                    f"{found.numbers['aspect']:.2f} and turns down along unstable shapes; Taylor's "
                    "spheroids lie slightly above."
                ),
            ),
        ),
        Step(
            "What the last drop looks like",
            lambda found: (
                "The last stable drop is an egg with two equal ends, not a cone. The cone of "
                "chapter 2 comes after: it is where the liquid runs to, not where it lets go.",
            ),
            Sketch(
                "shapes",
                draw_shapes,
                lambda found: (
                    "Outlines true to scale: without field, on the way, and the last "
                    "one in balance."
                ),
                lambda found: (
                    "Three outlines of one volume: a circle, a slight oval, and an oval "
                    f"{found.numbers['aspect']:.2f} times as long as wide, along the field."
                ),
                2.9,
            ),
        ),
    ),
    (
        Exercise(
            "A raindrop of radius 1 mm has $γ = 72.8$ mN/m. At which field does it burst?",
            MEGAVOLTS_PER_METRE,
            lambda found: found.numbers["onset"],
            0.02,
            "$E₀ = 0.4521 √(γ / (ε₀ r₀))$, with $ε₀ = 8.854 · 10^(−12)$ F/m.",
            lambda found: (
                f"{MEGAVOLTS_PER_METRE.text(found.numbers['onset'], 3)}, less than half "
                "the breakdown strength of air: thunderclouds can do it."
            ),
            (
                Slip(
                    lambda found: found.numbers["onset"] / found.numbers["root"],
                    "That is $√(γ / (ε₀ r₀))$; the drop gives way at 0.4521 of it.",
                ),
                Slip(
                    lambda found: found.numbers["onset"] / math.sqrt(2.0),
                    "$r₀$ is the radius, not the diameter.",
                ),
            ),
        ),
        Exercise(
            "Old papers write the same number as $E₀ √(r₀ / T)$ in Gaussian units, in which it is "
            "larger by $√(4π)$. What do they print for the true drop?",
            NUMBER,
            lambda found: math.sqrt(4.0 * math.pi) * found.numbers["root"],
            0.005,
            "Multiply the SI number by $√(4π)$ = 3.545.",
            lambda found: (
                f"{math.sqrt(4.0 * math.pi) * found.numbers['root']:.3f}; Taylor's "
                f"spheroids give {math.sqrt(4.0 * math.pi) * found.numbers['spheroid']:.3f}."
            ),
            (
                Slip(
                    lambda found: math.sqrt(4.0 * math.pi) * found.numbers["spheroid"],
                    "That is Taylor's approximation; take the drop's true shape.",
                ),
            ),
        ),
        Exercise(
            "Hold the drop rigid as a sphere: its pole has the field $3 E₀$. Setting "
            "$½ ε₀ (3 E₀)² = 2 γ / r₀$ gives an onset. By how many percent is that too high?",
            PERCENT,
            lambda found: RIGID / found.numbers["root"] - 1.0,
            0.03,
            "Solve for $E₀ √(ε₀ r₀ / γ)$ first: it is 2/3. Compare it with the turning point.",
            lambda found: (
                "2/3 over the true number is "
                f"{RIGID / found.numbers['root']:.3f}: a rigid surface promises "
                f"{100.0 * (RIGID / found.numbers['root'] - 1.0):.1f} % too much. It cannot "
                "sharpen."
            ),
            (
                Slip(
                    lambda found: 1.0 - found.numbers["root"] / RIGID,
                    "Divide by the true onset, not by the rigid one.",
                ),
            ),
        ),
    ),
    (
        "G. I. Taylor, Proceedings of the Royal Society A 280, 383 (1964): the abstract was seen "
        "(unstable at a length of 1.9 times the width; agrees with experiments within 1 %).",
        "M. J. Miksis, Physics of Fluids 24, 1967 (1981); O. A. Basaran and L. E. Scriven, Physics "
        "of Fluids A 1, 799 (1989): numbers from memory.",
        "W. A. Macky, Proceedings of the Royal Society A 133, 565 (1931): $E √r$ = 3875 V over "
        "the root of 1 cm for water, from memory, converted here.",
    ),
    "Change WATER and DROP in the notebook to a liquid and a drop of your own. Say first "
    "which numbers of the table change and which do not.",
)
