"""Scans whose every point also has the turning point of the free surface."""

from __future__ import annotations

from dataclasses import replace

from conegap.geometries.design.design import Design
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.liquid_section import MeniscusOnset
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.studies.scan import Changes, Scan
from conegap.solver.studies.turning_variants import scaled_voltages

__all__ = ["with_turning_points"]


def with_turning_points(
    design: Design,
    scans: tuple[Scan, ...],
    onset: RigidOnset,
    meniscus: MeniscusOnset,
    *,
    progress: Progress | None = None,
) -> tuple[Scan, ...]:
    """Follow the turning point of the drawn design to every point of its scans.

    Parameters
    ----------
    design : Design
    scans : tuple of Scan
    onset : RigidOnset
        Of the drawn design.
    meniscus : MeniscusOnset
        Of the drawn design.
    progress : callable or None

    Returns
    -------
    tuple of Scan
        A point without rigid onset, or where the turning point was lost, stays without one.

    Raises
    ------
    MeshError
        The drawn design could not be meshed for its shape.
    ComputationError
        A process that was solving ended early.
    """
    rigid: dict[Changes, float] = {
        ((scan.key, point.value),): point.onset.voltage
        for scan in scans
        for point in scan.points
        if point.onset is not None
    }
    wanted = list(rigid)
    try:
        found = scaled_voltages(
            design,
            wanted,
            meniscus,
            guesses={changes: voltage / onset.voltage for changes, voltage in rigid.items()},
            progress=progress,
            what="free surface",
        )
    except ContinuationError:
        return scans
    at = {k: v for k, v in zip(wanted, found, strict=True) if not isinstance(v, str)}
    return tuple(
        replace(
            scan,
            points=tuple(
                replace(point, turning=at.get(((scan.key, point.value),))) for point in scan.points
            ),
        )
        for scan in scans
    )
