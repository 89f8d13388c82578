"""Where the tips of a whole crown or array stand."""

from __future__ import annotations

import math

from conegap.geometries.design.design import Design
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.quantities.errors import DesignError

__all__ = ["tip_places"]


def tip_places(design: Design) -> tuple[tuple[float, float], ...]:
    """Axes of the tips of a crown or an array, (x, y), [m]; a crown's first one stands on x.

    Raises
    ------
    DesignError
        The design is neither.
    """
    emitter = design.emitter
    if isinstance(emitter, Crown):
        turns = [2.0 * math.pi * k / emitter.tips for k in range(emitter.tips)]
        r = emitter.pitch_radius
        return tuple((r * math.cos(t), r * math.sin(t)) for t in turns)
    if not isinstance(emitter, TipArray):
        raise DesignError(f"plan: a {emitter.kind} has no tips")
    found = []
    for j in range(emitter.rows):
        moved = (0.25 if j % 2 else -0.25) if emitter.layout == "hexagonal" else 0.0
        y = (j - (emitter.rows - 1) / 2.0) * emitter.row_distance
        for i in range(emitter.tips_per_row):
            x = (i - (emitter.tips_per_row - 1) / 2.0 + moved) * emitter.pitch
            found.append((x, y))
    return tuple(found)
