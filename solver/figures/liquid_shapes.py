"""Figures of the free liquid surface: its shapes as the voltage rises, and the turning point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.geometries.quantities.quantity import LENGTH, PRESSURE, VOLTAGE
from conegap.solver.common.display_units import axis_unit, voltage_text
from conegap.solver.common.style import ACCENT, BAND, INK, LIMIT, SOFT, legend_below, quiet_axes
from conegap.solver.figures.field_map import label_lengths
from conegap.solver.figures.section_view import draw_bodies, set_window
from conegap.solver.figures.window import Window, is_half

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from conegap.solver.liquid.meniscus_onset import HeldState, MeniscusOnset

__all__ = ["chart_balance", "chart_branch", "draw_shapes", "shapes_window"]

# Drawn below the turning point; more lie on each other.
_SHAPES = 4
# Of the turning voltage: shapes nearer to it cannot be told from the last one.
_NEARLY = 0.985
# Of the curve between two computed shapes; smooth to the eye.
_PIECES = 12


def shapes_window(meniscus: MeniscusOnset) -> Window:
    """Room for every stable shape above its contact line.

    Parameters
    ----------
    meniscus : MeniscusOnset
    """
    radius = meniscus.radius
    low = min(s.contact[1] for s in meniscus.states)
    high = max(_last(meniscus).apex, meniscus.contact[1] + 0.6 * radius)
    return Window(-1.7 * radius, 1.7 * radius, low - 0.9 * radius, high + 0.95 * radius)


def draw_shapes(axes: Axes, section: Section, meniscus: MeniscusOnset) -> Axes:
    """Shapes of the liquid surface from no voltage to the loss of equilibrium, true to scale.

    Parameters
    ----------
    axes : Axes
    section : Section
        Of the design as drawn.
    meniscus : MeniscusOnset
    """
    window = shapes_window(meniscus)
    unit = axis_unit(LENGTH, window.width)
    set_window(axes, window, unit.size, lanes=False)
    low = min(s.contact[1] for s in meniscus.states)
    draw_bodies(axes, section, window, unit.size, outlines=False, liquid_top=low)
    last = _last(meniscus)
    # Near the turning point the voltage hardly changes: such shapes would have the same label.
    stable = [
        s
        for s in meniscus.states
        if s.held
        and s.voltage < _NEARLY * meniscus.voltage
        and s.apex < last.apex - 0.03 * last.radius
    ]
    heights = np.array([s.apex for s in stable])
    wanted = np.linspace(heights[0], last.apex, _SHAPES + 1)[:-1]
    drawn = [stable[k] for k in sorted({int(np.argmin(abs(heights - h))) for h in wanted})]
    looks = [(0, (1, 1.2)), (0, (4, 1.5)), (0, (7, 1.5, 1, 1.5)), (0, (12, 2))]
    for state, dashes in zip(drawn, looks, strict=False):
        label = voltage_text(state.voltage)
        _line(axes, section, state, unit.size, ls=dashes, color=INK, lw=1.0, label=label)
    label = f"{voltage_text(meniscus.voltage)}, {meniscus.mode}"
    _line(axes, section, last, unit.size, ls="-", color=LIMIT, lw=1.8, label=label)
    label_lengths(axes, section.symmetry == "axisymmetric", unit.name)
    axes.legend(loc="upper right", handlelength=2.8)
    return axes


def chart_branch(axes: Axes, meniscus: MeniscusOnset) -> Axes:
    """Voltage against the height of the apex: shapes held in a ramp, its end, and beyond it.

    Parameters
    ----------
    axes : Axes
    meniscus : MeniscusOnset
    """
    base = meniscus.contact[1]
    top = _last(meniscus).apex - base
    held = [s for s in meniscus.states if s.held and s.apex - base < top]
    lost = [s for s in meniscus.states if not s.held]
    furthest = max([top, *(s.apex - base for s in lost)])
    along = axis_unit(LENGTH, furthest)
    up = axis_unit(VOLTAGE, meniscus.voltage)
    peak = (top / along.size, meniscus.voltage / up.size)
    stable, marked = _smooth(
        [*((s.apex - base) / along.size for s in held), peak[0]],
        [*(s.voltage / up.size for s in held), peak[1]],
    )
    axes.plot(
        *stable, color=ACCENT, marker="o", ms=3, markevery=marked, zorder=4, label="stable shapes"
    )
    if lost:
        beyond, marked = _smooth(
            [peak[0], *((s.apex - base) / along.size for s in lost)],
            [peak[1], *(s.voltage / up.size for s in lost)],
        )
        axes.plot(
            *beyond,
            color=SOFT,
            ls=(0, (3, 1.5)),
            marker="o",
            ms=2.5,
            markevery=marked,
            lw=1.1,
            zorder=3,
            label="beyond: no stable shape",
        )
    axes.plot(
        [peak[0]],
        [peak[1]],
        ls="none",
        marker="D",
        ms=6,
        color=LIMIT,
        zorder=5,
        label=f"{meniscus.mode} {voltage_text(meniscus.voltage)}",
    )
    ends = meniscus.standing_extinction
    if ends is not None:
        low = ends.low / up.size
        high = min(ends.high, meniscus.voltage) / up.size
        axes.axhspan(
            low,
            high,
            fc=BAND,
            alpha=0.6,
            lw=0.0,
            zorder=1,
            label="an attached cone collapses here (rough)",
        )
    axes.set_ylim(0.0, 1.12 * peak[1])
    line = "contact line" if meniscus.wall_place is None else "last contact line"
    axes.set_xlabel(f"height of the apex above the {line} [{along.name}]")
    axes.set_ylabel(f"emitter minus accelerator [{up.name}]")
    quiet_axes(axes)
    return legend_below(axes)


def chart_balance(axes: Axes, meniscus: MeniscusOnset) -> Axes:
    """Pressures along the surface at the turning point: field, feed, and surface tension.

    Parameters
    ----------
    axes : Axes
    meniscus : MeniscusOnset
    """
    turning = meniscus.branch.turning
    s = turning.fraction
    unit_pressure = meniscus.surface_tension / meniscus.radius
    along = turning.shape.length * meniscus.radius * s
    field = 0.5 * turning.electric_bond_number * turning.field**2 * unit_pressure
    liquid = np.full_like(s, turning.pressure * unit_pressure)
    tension = turning.shape.curvature(s) * unit_pressure
    # The last point shares its field with the solid beside the contact line.
    inner = slice(0, -1)
    across = axis_unit(LENGTH, float(along.max()))
    up = axis_unit(PRESSURE, float(np.abs(tension[inner]).max()))
    lines = (
        (field + liquid, "field and liquid, outward", ACCENT, "-", 2.6),
        (tension, "surface tension, inward", INK, (0, (4, 2)), 1.4),
        (field, "field alone", ACCENT, (0, (1, 1.2)), 1.3),
        (liquid, "liquid alone", SOFT, (0, (6, 1.5, 1, 1.5)), 1.1),
    )
    for values, label, colour, dashes, width in lines:
        axes.plot(
            along[inner] / across.size,
            values[inner] / up.size,
            color=colour,
            ls=dashes,
            lw=width,
            label=label,
        )
    axes.set_xlim(0.0, along.max() / across.size)
    axes.set_xlabel(f"distance from the apex along the surface [{across.name}]")
    axes.set_ylabel(f"pressure [{up.name}]")
    quiet_axes(axes)
    return legend_below(axes, handle=2.6)


def _last(meniscus: MeniscusOnset) -> HeldState:
    """The surface on fine meshes without equilibrium above it."""
    from conegap.solver.liquid.meniscus_onset import HeldState

    return HeldState(meniscus.voltage, meniscus.branch.turning.shape, meniscus.contact)


def _smooth(
    heights: list[float], voltages: list[float]
) -> tuple[tuple[FloatArray, FloatArray], list[int]]:
    """A curve through computed shapes and the indices at which it passes them.

    The square of the voltage is a smooth function of the height, also where the voltage rises
    from nothing; between the shapes it is a cubic that keeps their order.
    """
    from scipy.interpolate import PchipInterpolator

    x, square = np.array(heights), np.array(voltages) ** 2
    apart = np.concatenate([[True], np.diff(x) > 1e-9 * x.max()])
    x, square = x[apart], square[apart]
    if len(x) < 3:
        return (x, np.sqrt(square)), list(range(len(x)))
    # Denser towards the left end of each piece, where the voltage may rise steeply.
    share = np.linspace(0.0, 1.0, _PIECES, endpoint=False) ** 2
    fine = np.append((x[:-1, None] + np.diff(x)[:, None] * share).ravel(), x[-1])
    curve = np.sqrt(np.maximum(PchipInterpolator(x, square)(fine), 0.0))
    return (fine, curve), list(range(0, len(fine), _PIECES))


def _line(axes: Axes, section: Section, state: HeldState, unit: float, **look: object) -> None:
    """A surface from the apex to the contact line, with its mirror image."""
    points = state.shape.points(np.linspace(0.0, 1.0, 201)) * state.radius
    across, up = points[:, 0] / unit, (points[:, 1] + state.contact[1]) / unit
    if is_half(section):
        across = np.concatenate([-across[::-1], across])
        up = np.concatenate([up[::-1], up])
    axes.plot(across, up, zorder=7, **look)  # type: ignore[arg-type]
