"""What the reader must know of an accelerator beside the emitter's axis or askew."""

from __future__ import annotations

from conegap.solver.studies.misalignment import Misalignment

__all__ = ["misalignment_warnings"]


def misalignment_warnings(misalignment: Misalignment | None) -> tuple[str, ...]:
    """What is left aligned beside an accelerator that is not.

    Parameters
    ----------
    misalignment : Misalignment or None
    """
    if misalignment is None or not any(misalignment.place):
        return ()
    return (
        "the accelerator stands beside the emitter's axis or askew: the fields at the tip and on "
        "the accelerator are those of a solve in three dimensions; ion paths, electron currents "
        "and the energy stored in the gap are those of the aligned gap, and what the accelerator "
        "steers is not computed",
    )
