"""Equipotentials of a shipped design on axes of your own.

Expected: lines 1 kV apart, at whole kilovolts between the 6 kV and the -1 kV of the electrodes.
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from conegap.geometries.design.design import Design
from conegap.solver.common.style import style
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import solve_field
from conegap.solver.figures.field_map import draw_equipotentials
from conegap.solver.figures.window import electrodes_window
from conegap.validation.gallery.compared import compared


def main() -> bool:
    """Two meshes are enough for a picture."""
    design = Design.read("profile")
    solution = solve_field(design.section(), meshes=2)
    voltages = electrode_voltages(design, solution.electrodes)
    with style():
        axes = Figure(figsize=(5.0, 5.0)).add_axes((0.15, 0.12, 0.8, 0.8))
        draw_equipotentials(axes, solution, voltages, electrodes_window(solution.section))
    levels = np.asarray(axes.collections[0].levels)  # type: ignore[attr-defined]
    print(f"{len(levels)} lines from {levels[0]:g} to {levels[-1]:g} V; {axes.get_xlabel()}")
    inside = min(voltages.values()) < levels[0] and levels[-1] < max(voltages.values())
    return bool(inside) and compared("spacing [V]", float(np.diff(levels).mean()), 1e3, 1e-9)


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
