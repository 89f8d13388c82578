"""Onset over a range of a quantity, every point by its own solve, beside the drawn design's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.free_surface import TURNING_POINT
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.studies.onset import Onset
from conegap.solver.studies.variants import Changes

__all__ = ["Scan", "ScanPoint", "scan", "scans_about"]

# Half to twice the drawn value: beyond it another drawing would be made; seven points of a smooth
# curve.
_SPAN = np.geomspace(0.5, 2.0, 7)


@dataclass(frozen=True)
class ScanPoint:
    """One point of a scan.

    Parameters
    ----------
    value : float
        Value of the quantity, SI.
    onset : RigidOnset or None
        None where the changed design is refused or does not converge.
    refusal : str
        Why, or "".
    turning : float or None
        Turning point of the free surface; None where it was not asked for or not found, [V].
    """

    value: float
    onset: RigidOnset | None
    refusal: str
    turning: float | None = None


@dataclass(frozen=True)
class Scan:
    """Onset over a range of one quantity.

    Parameters
    ----------
    key : str
        Design file key.
    label : str
        Words for the axis.
    unit : str
        Unit to print the values in.
    points : tuple of ScanPoint
        In rising order of value.
    """

    key: str
    label: str
    unit: str
    points: tuple[ScanPoint, ...]

    @property
    def values(self) -> FloatArray:
        """Values of the points that have an onset, SI, (n,) array."""
        return np.array([p.value for p in self.points if p.onset is not None])

    @property
    def voltages(self) -> FloatArray:
        """Onset voltages of the rigid surface, [V], (n,) array."""
        return np.array([p.onset.voltage for p in self.points if p.onset is not None])

    @property
    def free(self) -> tuple[FloatArray, FloatArray]:
        """Values, SI, and turning points, [V], where these were found, (m,) arrays."""
        found = [(p.value, p.turning) for p in self.points if p.turning is not None]
        values, voltages = np.array(found).reshape(-1, 2).T
        return values, voltages


def scan(onset: Onset, key: str, values: FloatArray) -> Scan:
    """Rigid onset over values of one quantity.

    Parameters
    ----------
    onset : Onset
        Of the design as drawn.
    key : str
        Design file key, such as "accelerator.gap".
    values : (n,) array
        SI values in rising order.

    Raises
    ------
    DesignError
        The design has no such quantity.
    ComputationError
        A process that was solving ended early.
    """
    dimension = onset.design.dimension(key)
    variants: list[Changes] = [((key, float(value)),) for value in values]
    results = onset.variants.rigid(variants, f"onset over {dimension.label}")
    points = tuple(
        ScanPoint(float(value), None, result)
        if isinstance(result, str)
        else ScanPoint(float(value), result, "")
        for value, result in zip(values, results, strict=True)
    )
    return Scan(key, dimension.label, dimension.unit, points)


def scans_about(onset: Onset) -> tuple[Scan, ...]:
    """Onset over gap and edge radius from half to twice the drawn value, by turning points too.

    Parameters
    ----------
    onset : Onset
        Of the design as drawn.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    design = onset.design
    found = []
    known = {d.key: d.value for d in design.dimensions()}
    for key in ("accelerator.gap", design.emitter.edge_radius_key):
        if key is not None and known.get(key, 0.0) > 0.0:
            found.append(scan(onset, key, known[key] * _SPAN))
    return _with_turning_points(onset, found)


def _with_turning_points(onset: Onset, scans: Sequence[Scan]) -> tuple[Scan, ...]:
    """Follow the drawn design's turning point to every point that has a rigid onset."""
    rigid: dict[Changes, float] = {
        ((scan.key, point.value),): point.onset.voltage / onset.rigid.voltage
        for scan in scans
        for point in scan.points
        if point.onset is not None
    }
    if onset.variants.solved != TURNING_POINT:
        return tuple(scans)
    try:
        found = onset.variants.turning(list(rigid), "free surface", guesses=rigid)
    except ContinuationError:
        return tuple(scans)
    at = {
        changes: onset.modes[0][1] * ratio
        for changes, ratio in zip(rigid, found, strict=True)
        if not isinstance(ratio, str)
    }
    return tuple(
        replace(
            scan,
            points=tuple(
                replace(point, turning=at.get(((scan.key, point.value),))) for point in scan.points
            ),
        )
        for scan in scans
    )
