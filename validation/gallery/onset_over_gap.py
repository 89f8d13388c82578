"""Onset over a range with `vary`, charted on axes of your own.

Expected: the ratio of the onsets at both ends is near ln(4 d2 / R) / ln(4 d1 / R), the law of a
hyperboloid before a plane (textbook); the shank makes it a little steeper.
"""

from __future__ import annotations

import math

from matplotlib.figure import Figure

from conegap.solver.common.style import style
from conegap.solver.figures.vary import chart_variation
from conegap.solver.studies.vary import range_of, vary
from conegap.validation.gallery.compared import compared
from conegap.validation.gallery.plain_needle import plain_needle


def main() -> bool:
    """Two gaps, each by its own field solves; the guard below lets them run side by side."""
    design = plain_needle()
    over = range_of(design, "accelerator.gap=0.5 mm..1.5 mm:2")
    variation = vary(design, (over,), criterion="rigid")
    for (gap,), voltage in zip(variation.points, variation.voltages, strict=True):
        print(f"  {gap * 1e3:.2f} mm  {voltage:.0f} V")
    with style():
        axes = chart_variation(Figure(layout="constrained").add_subplot(), variation)
    print(f"chart: {axes.get_ylabel()} over {axes.get_xlabel()}")
    ratio = float(variation.voltages[-1] / variation.voltages[0])
    law = math.log(4.0 * 1.5e-3 / 10e-6) / math.log(4.0 * 0.5e-3 / 10e-6)
    return compared("onset at 1.5 mm over onset at 0.5 mm [-]", ratio, law, 0.1)


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
