"""The dimensioned section on axes of your own.

Expected: what is drawn is true to scale, so that a millimetre is as long across as up.
"""

from __future__ import annotations

from matplotlib.figure import Figure

from conegap.geometries.design.design import Design
from conegap.solver.common.style import style
from conegap.solver.figures.section_view import draw_section, section_size
from conegap.solver.figures.window import electrodes_window
from conegap.validation.gallery.compared import compared


def main() -> bool:
    """Draw the shipped slit; `figure.savefig("slit.pdf")` would write it."""
    section = Design.read("slit").section()
    window = electrodes_window(section)
    with style():
        figure = Figure(figsize=section_size(window, 6.0))
        axes = draw_section(figure.add_axes((0.0, 0.0, 1.0, 1.0)), section, window)
    (x, y), (across, up) = axes.transData.transform([[0.0, 0.0], [1.0, 1.0]])
    words = [text.get_text() for text in axes.texts]
    print("written on the drawing:", "; ".join(word for word in words if word))
    return compared("length of a unit across over up [-]", (across - x) / (up - y), 1.0, 1e-9)


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
