"""Which onset a design has: the turning point of its free surface, or the rigid balance."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from conegap.geometries.design.design import Design
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.branch import SurfaceInSolid
from conegap.solver.liquid.followed_onset import meniscus_onset
from conegap.solver.liquid.liquid_section import moves
from conegap.solver.liquid.meniscus_onset import MeniscusOnset

__all__ = ["RIGID", "TURNING_POINT", "OnsetCriterion", "free_surface"]

OnsetCriterion = Literal["automatic", "rigid", "meniscus"]

RIGID = "rigid surface"
TURNING_POINT = "meniscus turning point"


def free_surface(
    design: Design, criterion: OnsetCriterion, progress: Progress | None = None
) -> tuple[MeniscusOnset | None, tuple[str, ...]]:
    """Turning point of the free surface where it is wanted and can be had, and remarks: why not,
    or which other state of wetting gives way at less.

    Parameters
    ----------
    criterion : "automatic", "rigid" or "meniscus"
    progress : callable or None

    Raises
    ------
    DesignError
        The free surface is demanded and the design has none.
    MeshError, ConvergenceError, ContinuationError
        The liquid's shapes could not be computed.
    """
    if criterion == "rigid":
        return None, ()
    if criterion == "automatic":
        if not any(b.name == "liquid" for loop in design.section().loops for b in loop):
            return None, ()
        file = design.emitter.whole_file
        if file is not None:
            return None, (
                f"the liquid surface of {file} is held as drawn: the onset is that "
                "of the rigid surface",
            )
        if not moves(design):
            return None, (
                f"the {design.emitter.kind} is not its own mirror image, so its free surface is "
                "not followed: the onset is that of the rigid surface",
            )
    try:
        found = meniscus_onset(design, progress=progress)
    except SurfaceInSolid as error:
        if criterion != "automatic":
            raise
        return None, (
            f"{error}; the onset is that of the rigid surface, at which the field lifts the liquid "
            "off the metal",
        )
    return found, tuple(_lower_states(design, found))


def _lower_states(design: Design, found: MeniscusOnset) -> Iterator[str]:
    """That another state of wetting gives way at less, and which angle separates the two."""
    for other in found.others:
        if other.voltage is None or other.voltage >= found.voltage:
            continue
        text = (
            f"with a {other.state} the surface gives way at {other.voltage:.4g} V, against "
            f"{found.voltage:.4g} V with the {found.state} that the design states: assume the "
            f"lower value unless the {found.state} is assured"
        )
        rest = found.states[0]
        if rest.voltage == 0.0:
            text += (
                "; the feed's pressure alone wets on below an advancing angle of "
                f"{math.degrees(rest.shape.contact_angle):.3g} deg"
            )
        yield text
