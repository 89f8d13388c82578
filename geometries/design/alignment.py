"""A slit that is out of line beside the one that is its own mirror image."""

from __future__ import annotations

from conegap.geometries.design.design import Design

__all__ = ["aligned"]


def aligned(design: Design) -> Design:
    """A design without the offsets that break the mirror symmetry of a planar section; the same
    object where there are none.

    Raises
    ------
    DesignError
        The aligned design is refused.
    """
    found = design
    offsets = [f"emitter.{name}" for name in design.emitter.offsets]
    offsets += [f"accelerator.{name}" for name in design.accelerator.offsets]
    for key in offsets:
        if design.dimension(key).value != 0.0:
            found = found.with_value(key, 0.0)
    return found
