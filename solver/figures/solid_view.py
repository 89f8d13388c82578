"""A view of the electrodes in three dimensions, the accelerator cut open, drawn as dimensioned."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from conegap.geometries.curves.curve import FloatArray, polyline
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.design.design import Design
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.emitters.slit import Slit
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.emitters.tip_group import TipGroup
from conegap.geometries.parts.opening import RoundHole
from conegap.solver.common.style import INK
from conegap.solver.figures.depth_image import Camera, Faces, depth_image
from conegap.solver.figures.drawing import length_text
from conegap.solver.figures.solid_faces import (
    block,
    cut_face,
    drawn_out,
    grid_faces,
    together,
    turned,
    with_hole,
)
from conegap.solver.figures.true_section import plate_pieces

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["SolidView", "array_view", "crown_view", "draw_solid_view", "slit_end_view"]

# Across the picture: 280 dots per inch at the figures' width.
_PIXELS = 1300
# Cool for the emitter, warm for the plate, both light enough for shading, (red, green, blue).
_EMITTER = (0.78, 0.85, 0.90)
_PLATE = (0.88, 0.86, 0.82)
# Tips along a row and rows that are drawn; more cannot be told apart.
_MOST = (13, 9)


@dataclass(frozen=True)
class SolidView:
    """Faces of the electrodes with the direction they are seen from.

    Parameters
    ----------
    words : str
        What is cut off or left out, a sentence for the caption.
    """

    faces: Faces
    camera: Camera
    words: str

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Left, right, low and high along the camera's axes with a margin, [m]."""
        place = self.faces.corners.reshape(-1, 3) @ self.camera.axes().T
        low, high = place.min(axis=0), place.max(axis=0)
        room = 0.02 * float((high - low)[:2].max())
        left, bottom = float(low[0]) - room, float(low[1]) - room
        return left, float(high[0]) + room, bottom, float(high[1]) + room


def draw_solid_view(axes: Axes, view: SolidView) -> Axes:
    """The electrodes in parallel projection with a scale bar for lengths across the picture.

    Parameters
    ----------
    axes : Axes
        Filling a figure of the proportion of the view's window.
    """
    window = view.window
    picture = depth_image(view.faces, view.camera, window, _PIXELS)
    left, right, low, high = window
    axes.set_axis_off()
    axes.imshow(picture, extent=window, interpolation="antialiased", aspect="equal")
    decade = 10.0 ** math.floor(math.log10(0.22 * (right - left)))
    bar = max(m * decade for m in (1.0, 2.0, 5.0) if m * decade <= 0.22 * (right - left))
    end, base = right - 0.02 * (right - left), low + 0.02 * (high - low)
    axes.plot([end - bar, end], [base, base], color=INK, lw=2.2, solid_capstyle="butt")
    axes.annotate(
        length_text(bar),
        (end - bar / 2.0, base),
        xytext=(0.0, 3.0),
        textcoords="offset points",
        ha="center",
        va="bottom",
        fontsize=7.5,
    )
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
    return axes


def _tips(group: TipGroup, places: list[tuple[float, float]]) -> Faces:
    """Tips on a crest."""
    outline = group.tip("tip", (0.0, 0.0), math.inf, 0.0, ()).outline(0.0)[:2]
    profile = polyline(list(outline), 9)
    first = turned(profile, _EMITTER, parts=40)
    return together(
        [
            Faces(first.corners + np.array([x, y, 0.0]), first.normals, first.tints)
            for x, y in places
        ]
    )


def crown_view(design: Design, crown: Crown) -> SolidView:
    """Crown and slot, the front of the plate cut away.

    Parameters
    ----------
    crown : Crown
        Its emitter.
    """
    radius, half, crest = crown.pitch_radius, crown.body_width / 2.0, -crown.tip_height
    floor, edge = crest - crown.holder_thickness, crown.holder_edge_radius
    corners = [
        (radius - half, floor),
        (radius + half, floor),
        (radius + half, crest),
        (radius - half, crest),
    ]
    outline = polyline(rounded_polygon(corners, [0.0, 0.0, edge, edge], closed=True), 9)
    outline = np.vstack([outline, outline[:1]])
    parts = [turned(outline, _EMITTER), _tips(crown, list(design.emitter.tip_places()))]
    words = "The closed plane before the tips is left out."
    slot = design.accelerator.ring_slot(design.gap)
    if slot is not None:
        outer = 0.5 * (slot.mean_diameter + slot.slot_width)
        reach = min(1.25 * outer, design.accelerator.half_width)
        first, last = math.radians(-12.0), math.radians(192.0)
        for curves in slot.rings:
            ring = polyline(list(curves), 9)
            ring[:, 0] = np.minimum(ring[:, 0], reach)
            ring = np.vstack([ring, ring[:1]])
            move = np.array([slot.lateral_offset, 0.0, 0.0])
            pieces = [turned(ring, _PLATE, first=first, last=last)]
            for turn in (first, last):
                way = np.array([math.cos(turn), math.sin(turn), 0.0])
                up = np.array([0.0, 0.0, 1.0])
                pieces.append(cut_face(ring[:-1, :1] * way + ring[:-1, 1:] * up))
            whole = together(pieces)
            parts.append(Faces(whole.corners + move, whole.normals, whole.tints))
        words = "The front of plate and disc is cut away, and the plate's rim cut off."
    return SolidView(together(parts), Camera(math.radians(-90.0), math.radians(34.0)), words)


def array_view(design: Design, array: TipArray) -> SolidView:
    """Array and plate, the plate cut along the middle row.

    Parameters
    ----------
    array : TipArray
        Its emitter.
    """
    camera = Camera(math.radians(-62.0), math.radians(28.0))
    shown = array.model_copy(
        update={
            "tips_per_row": min(array.tips_per_row, _MOST[0]),
            "rows": min(array.rows, _MOST[1]),
        }
    )
    part = "" if shown.count == array.count else f" {shown.count} of {array.count} tips are shown."
    places = list(shown.tip_places())
    wide, deep, crest = shown.half_length, shown.half_depth, -array.tip_height
    floor = crest - array.holder_thickness
    parts = [
        block((-wide, -deep, floor), (wide, deep, crest), _EMITTER),
        _tips(array, places),
    ]
    slot = design.accelerator.straight_slot(design.gap)
    hole = design.accelerator.round_hole(design.gap)
    words = "The closed plane before the tips is left out."
    if slot is not None:
        loop = polyline(list(slot.blade), 9)
        loop[:, 0] = np.minimum(loop[:, 0], max(deep, 1.6 * slot.slot_width / 2.0))
        parts.append(drawn_out(loop, -1.02 * wide, 1.02 * wide, _PLATE))
        words = "The blade of the plate in front of the row is taken away."
    elif hole is not None:
        parts.append(_holed(replace(design, emitter=shown), shown, hole, (wide, deep)))
        words = "The plate is cut through a row of its holes, and its front taken away."
    return SolidView(together(parts), camera, words + part)


def _holed(design: Design, array: TipArray, hole: RoundHole, half: tuple[float, float]) -> Faces:
    """A plate with a hole over every tip, cut through the middle row, its back part."""
    wide, deep = half
    places = array.tip_places()
    cut = min(y for _, y in places if y > -1e-9)
    wall = polyline(list(hole.wall), 17)
    near, far = design.gap, design.gap + design.accelerator.depth
    across, along = array.pitch / 2.0, array.row_distance / 2.0
    parts: list[Faces] = []
    rows = sorted({y for _, y in places if y >= cut - 1e-9})
    for y in rows:
        last = math.pi if y == cut else 2.0 * math.pi
        xs = sorted(x for x, other in places if other == y)
        low = cut if y == cut else y - along
        for x in xs:
            parts.append(turned(wall, _PLATE, centre=(x, y), last=last, parts=48))
            for z, radius in ((near, float(wall[0, 0])), (far, float(wall[-1, 0]))):
                parts.append(with_hole((x, y), radius, (across, along), z, _PLATE, last=last))
        for z in (near, far):
            for one, two in ((-wide, xs[0] - across), (xs[-1] + across, wide)):
                parts.append(_level(one, two, low, y + along, z))
    for z in (near, far):
        parts.append(_level(-wide, wide, rows[-1] + along, deep, z))
    for x in (-wide, wide):
        side = np.array([[[x, cut, near], [x, deep, near]], [[x, cut, far], [x, deep, far]]])
        parts.append(grid_faces(side, _PLATE))
    back = np.array(
        [[[-wide, deep, near], [wide, deep, near]], [[-wide, deep, far], [wide, deep, far]]]
    )
    parts.append(grid_faces(back, _PLATE))
    for outline in plate_pieces(design, wide):
        parts.append(
            cut_face(np.column_stack([outline[:, 0], np.full(len(outline), cut), outline[:, 1]]))
        )
    return together(parts)


def _level(left: float, right: float, low: float, high: float, z: float) -> Faces:
    corners = [[[left, low, z], [right, low, z]], [[left, high, z], [right, high, z]]]
    return grid_faces(np.array(corners), _PLATE)


def slit_end_view(design: Design, slit: Slit) -> SolidView:
    """End of a slit, the plate in front of the blade taken away.

    Parameters
    ----------
    slit : Slit
        Its emitter.
    """
    end = slit.end_radius or 0.0
    half, foot = slit.length / 2.0, -slit.protrusion
    turn = half - end
    start = max(0.0, turn - 2.5 * design.gap)
    slot = design.accelerator.straight_slot(design.gap)
    length = None if slot is None else slot.slot_length
    over = 2.0 * design.gap if length is None else max(length / 2.0 - half, 0.0) + design.gap
    opening = 0.0 if slot is None else slot.slot_width
    stop, reach = half + over, max(1.7 * slit.base_half_width, 0.95 * opening)
    parts = [
        _blade(slit, end, start),
        block((start, -reach, foot - slit.holder_thickness), (stop, reach, foot), _EMITTER),
    ]
    words = "The closed plane before the lips is left out."
    if slot is not None:
        loop = polyline(list(slot.blade), 9)
        loop[:, 0] = np.minimum(loop[:, 0], reach)
        closed = stop if length is None else min(length / 2.0, stop)
        parts.append(drawn_out(loop, start, closed, _PLATE))
        if closed < stop:
            low = (closed, 0.0, design.gap)
            parts.append(block(low, (stop, reach, design.gap + design.accelerator.depth), _PLATE))
        words = "Holder and plate are cut off; the plate in front of the blade is taken away."
    return SolidView(together(parts), Camera(math.radians(-52.0), math.radians(24.0)), words)


def _blade(slit: Slit, end: float, start: float) -> Faces:
    """Both flanks of a blade about its crest, straight, round the end and down."""
    r, lean = slit.channel_height / 2.0 + slit.lip_radius + slit.land / 2.0, slit.lean
    half, turn, deep = slit.length / 2.0, slit.length / 2.0 - end, slit.protrusion

    # What lies deeper ends inside the holder.
    lowest = -deep - 0.5 * slit.holder_thickness

    def wide(depth: FloatArray) -> FloatArray:
        edge = np.sqrt(np.maximum(r**2 - np.maximum(r - depth, 0.0) ** 2, 0.0))
        flank = r * math.cos(lean) + (depth - r * (1.0 - math.sin(lean))) * math.tan(lean)
        return np.where(depth < r * (1.0 - math.sin(lean)), edge, flank)

    def sheet(depths: FloatArray, place: Callable[[FloatArray], list[FloatArray]]) -> list[Faces]:
        found = []
        for sign in (-1.0, 1.0):
            x, z = place(depths[:, None])
            z = np.maximum(z, lowest)
            y = sign * np.broadcast_to(wide(depths)[:, None], x.shape)
            found.append(grid_faces(np.stack([x, y, z], axis=2), _EMITTER))
        return found

    below = 1.15 * deep
    depths = np.concatenate([np.linspace(0.0, r, 5), np.linspace(r, min(below, end), 30)[1:]])
    angles = np.linspace(0.0, math.pi / 2.0, 61)

    def bend(d: FloatArray) -> list[FloatArray]:
        return [turn + (end - d) * np.sin(angles), -end + (end - d) * np.cos(angles)]

    parts = sheet(depths, bend)
    run = np.array([start, turn])
    long = np.concatenate([depths, np.linspace(min(below, end), below, 8)[1:]])
    if turn > start:
        parts += sheet(long, lambda d: [run + 0.0 * d, -d + 0.0 * run])
    if below > end:
        fall = np.linspace(-end, -below, 2)
        parts += sheet(depths, lambda d: [half - d + 0.0 * fall, fall + 0.0 * d])
    keep = long[long <= deep]
    side = np.column_stack([np.full(len(keep), start), wide(keep), -keep])
    parts.append(cut_face(np.vstack([side, (side * [1.0, -1.0, 1.0])[::-1]])))
    return together(parts)
