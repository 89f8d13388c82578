"""Calibration: the effective edge radius behind a measured onset.

Nobody can see the radius at which a wetted edge fires.  The radius is varied until the computed
onset equals the measured one, by root finding on field solves (Brent's method on its logarithm; R.
P. Brent, Algorithms for Minimization without Derivatives, 1973).  The interval (k = 2, about 95 %,
JCGM 100:2008) holds the uncertainties of the measurement, of the surface tension and of the
computation; it does not hold the other dimensions, which may explain the same onset just as well:
each is listed with the move that would.

Where the onset is the turning point of a free surface, that is solved at every radius, from two
thirds to one and a half of the drawn one, and for the other explanations. Farther away, or where it
is lost, the rigid onset is scaled by the ratio of both at the calibrated radius.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.geometries.quantities.quantity import as_text
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.free_surface import TURNING_POINT, OnsetCriterion, free_surface
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.radius_search import Root, Voltages, find_radius
from conegap.solver.studies.variant_solver import VariantSolver
from conegap.solver.studies.variants import Changes, tolerance_ends

__all__ = ["Alternative", "Calibration", "Root", "calibrate", "find_radius", "relative_uncertainty"]

# Of log(onset) over a whole tolerance; less lies in the scatter of two meshes.
_LEAST_SHIFT = 3e-4
# Factor on the drawn radius to either side: farther away turning points are seldom followed from
# the drawn one.
_TURNING_SPAN = 1.6
# Half width of a rectangular distribution over its standard deviation, JCGM 100:2008.
_ROOT_THREE = math.sqrt(3.0)
# Coverage factor k = 2 for about 95 %, JCGM 100:2008.
_COVERAGE = 2.0


@dataclass(frozen=True)
class Alternative:
    """Another quantity that could explain the same onset, the radius being as drawn.

    Parameters
    ----------
    key, label : str
        Design file key, or "surface_tension", and words.
    drawn : str
        Drawn value with unit.
    move : float
        Change that it would take, by the slope at the drawn value, SI; relative for the surface
        tension.
    move_text : str
        The same with its unit.
    in_tolerances : float
        The move over its tolerance, or over the standard uncertainty, >= 0, [-].
    """

    key: str
    label: str
    drawn: str
    move: float
    move_text: str
    in_tolerances: float

    @property
    def plausible(self) -> bool:
        """Whether the move lies within the tolerance (two standard uncertainties)."""
        return self.in_tolerances <= (_COVERAGE if self.key == "surface_tension" else 1.0)


@dataclass(frozen=True)
class Calibration:
    """The result.

    Parameters
    ----------
    key : str
        Design file key of the radius.
    label : str
    drawn : float
        Drawn value, [m].
    edge_radius : float
        Radius of the emitting surface in the calibrated design, a film included, [m].
    measured : float
        Measured onset, [V].
    measured_uncertainty : float
        Its plus-minus, k = 2, [V].
    drawn_onset : float
        Onset of the drawn design by the criterion, [V].
    relative_uncertainty : float
        Of measured over computed onset, k = 2, [-].
    mode : str
        How the surface gives way.
    ratio_to_rigid : float
        Onset over that of the rigid surface, at the calibrated radius, [-].
    way : str
        How the onset over the radius was found, a sentence; "" where it is the rigid one.
    alternatives : tuple of Alternative
        The likeliest first.
    warnings : tuple of str
    """

    key: str
    label: str
    drawn: float
    root: Root
    edge_radius: float
    measured: float
    measured_uncertainty: float
    drawn_onset: float
    relative_uncertainty: float
    mode: str
    ratio_to_rigid: float
    way: str
    alternatives: tuple[Alternative, ...]
    warnings: tuple[str, ...]

    def __repr__(self) -> str:
        root = self.root
        return (
            f"Calibration({self.key} {root.value:.4g} m, {root.low:.4g} m to {root.high:.4g} m, "
            f"from {self.measured:.6g} V)"
        )


def relative_uncertainty(*, measurement: float, tension: float, numerical: float) -> float:
    """Uncertainty of measured over computed onset, k = 2.

    Parameters
    ----------
    measurement : float
        Of the measured voltage, relative, k = 2, [-].
    tension : float
        Standard uncertainty that the surface tension gives the onset, relative, [-].
    numerical : float
        Largest numerical error, relative, rectangular, [-].

    Returns
    -------
    float
        [-].  JCGM 100:2008.
    """
    return _COVERAGE * math.hypot(measurement / _COVERAGE, tension, numerical / _ROOT_THREE)


def calibrate(
    design: Design,
    measured: float,
    uncertainty: float = 0.0,
    *,
    criterion: OnsetCriterion = "automatic",
    progress: Progress | None = None,
) -> Calibration:
    """Infer the effective edge radius of a design from its measured onset.

    Parameters
    ----------
    measured : float
        Onset, emitter minus accelerator, > 0, [V].
    uncertainty : float
        Plus-minus of the reading, k = 2, >= 0, [V].
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`.
    progress : callable or None

    Raises
    ------
    DesignError
        The voltage is wrong, the design has no such radius, or its onset does not tell it.
    ComputationError
        A solve did not converge.
    """
    key = _radius_key(design, measured, uncertainty)
    dimension = design.dimension(key)
    onset = solve_onset(design, criterion=criterion, progress=progress)
    contact = design.emitter.meniscus_key
    if onset.meniscus is not None and contact is not None and contact != key:
        raise DesignError(
            f"calibrate: the onset of this {design.emitter.kind} is the turning point of its "
            f"liquid, which is set by {contact} and the gap and hardly by {key}, so no radius can "
            "be read from it; calibrate the rigid surface with --criterion rigid if the edge is "
            f"wetted over, or measure {contact}",
            keys=(contact,),
        )
    gain = 0.5 * onset.tension_gain
    # What is measured is the first emission: at the ends of a slit where those come first, whose
    # model has no lips, so that the radius does not change their ratio to the middle; or of the
    # first of a crown's tips, whose scatter is taken to stay.
    first, reading = onset.earliest, measured
    measured *= onset.voltage / first.voltage
    total = relative_uncertainty(
        measurement=uncertainty / reading,
        tension=gain * onset.tension_uncertainty,
        numerical=first.error,
    )
    found = None
    if onset.variants.solved == TURNING_POINT:
        found = _turning_search(onset, dimension, measured, total)
    if found is None:
        found = _rigid_search(onset, dimension, measured, total, criterion)
    root, ratio, way = found
    calibrated = design.with_value(key, root.value)
    edge = calibrated.section().edge(onset.rigid.edge_name)
    return Calibration(
        key=key,
        label=dimension.label,
        drawn=dimension.value,
        root=root,
        edge_radius=edge.radius,
        measured=reading,
        measured_uncertainty=uncertainty,
        drawn_onset=first.voltage,
        relative_uncertainty=total,
        mode=first.mode,
        ratio_to_rigid=ratio,
        way=way,
        alternatives=_alternatives(
            design,
            key,
            math.log(measured / onset.voltage),
            gain,
            onset.tension_uncertainty,
            onset.variants,
        ),
        warnings=(
            *design.warnings,
            *onset.remarks,
            *onset.earliest_notes,
            *((onset.remark,) if onset.remark else ()),
            *_notes(design, key, root),
        ),
    )


def _turning_search(
    onset: Onset, dimension: Dimension, measured: float, total: float
) -> tuple[Root, float, str] | None:
    """The radius by turning points, with its ratio to the rigid onset; None where they are lost."""
    key, variants = dimension.key, onset.variants
    try:

        def over(radii: Sequence[float]) -> list[float | str]:
            found = variants.turning([((key, r),) for r in radii], "turning point over radius")
            return [v if isinstance(v, str) else onset.voltage * v for v in found]

        root = find_radius(over, dimension.value, measured, total, span=_TURNING_SPAN)
        (there,) = variants.rigid([((key, root.value),)], "rigid onset at the radius")
    except (DesignError, ComputationError):
        return None
    if isinstance(there, str):
        return None
    return root, measured / there.voltage, "The turning point was solved at every radius."


def _rigid_search(
    onset: Onset,
    dimension: Dimension,
    measured: float,
    total: float,
    criterion: OnsetCriterion,
) -> tuple[Root, float, str]:
    """The radius by rigid onsets, scaled where a turning point is the onset."""
    design, key = onset.design, dimension.key

    def solve(radii: Sequence[float]) -> list[float | str]:
        variants: list[Changes] = [((key, r),) for r in radii]
        found = onset.variants.rigid(variants, f"onset over {dimension.label}", meshes=3)
        return [r if isinstance(r, str) else r.voltage for r in found]

    voltages, ratio = _kept(solve), onset.ratio_to_rigid
    root = find_radius(voltages, dimension.value, measured / ratio, total)
    if onset.meniscus is None:
        return root, ratio, ""
    # The ratio of turning point to rigid onset drifts with the radius: once more with that of the
    # radius found.
    there = design.with_value(key, root.value)
    again, _ = free_surface(there, criterion, onset.variants.progress)
    (rigid,) = voltages([root.value])
    if again is not None and not isinstance(rigid, str):
        turning = again.in_field(onset.rigid.factor).voltage
        ratio = onset.voltage / onset.modes[0][1] * turning / rigid
        root = find_radius(voltages, dimension.value, measured / ratio, total)
    way = (
        "The radius changes the rigid onset; it is scaled by the ratio of the onset to the "
        f"rigid one at the radius found, {ratio:.3f}."
    )
    return root, ratio, way


def _kept(solve: Voltages) -> Voltages:
    """The same voltages, each radius solved once."""
    solved: dict[float, float | str] = {}

    def voltages(radii: Sequence[float]) -> list[float | str]:
        missing = [r for r in radii if r not in solved]
        if missing:
            solved.update(zip(missing, solve(missing), strict=True))
        return [solved[r] for r in radii]

    return voltages


def _radius_key(design: Design, measured: float, uncertainty: float) -> str:
    """Key of the radius; refuses what cannot be calibrated."""
    if not (math.isfinite(measured) and measured > 0.0):
        raise DesignError(
            f"--measured: {measured:g} V is no onset; give emitter minus accelerator, above 0 V",
            keys=("--measured",),
        )
    if not 0.0 <= uncertainty < 0.5 * measured:
        raise DesignError(
            f"--uncertainty: {uncertainty:g} V; give the plus-minus of the reading, from 0 V to "
            "half of the measured voltage",
            keys=("--uncertainty",),
        )
    key = design.emitter.edge_radius_key
    if key is None:
        raise DesignError(
            f"calibrate: a {design.emitter.kind} has no single dimension that sets its emitting "
            "radius; draw it as a needle, capillary or slit",
            keys=("emitter.kind",),
        )
    return key


def _notes(design: Design, key: str, root: Root) -> tuple[str, ...]:
    found = []
    if root.low == 0.0 or math.isinf(root.high):
        found.append(
            f"the interval of {key} is open at one end: the radii looked at, a quarter to four "
            "times the drawn one, do not reach it"
        )
    if abs(root.elasticity) < 0.2:
        found.append(
            f"the onset depends weakly on {key} (d ln V / d ln R = {root.elasticity:.2f}): small "
            "errors elsewhere look like a large change of radius"
        )
    if design.liquid.film_thickness > 0.0:
        found.append(
            f"the film of {as_text(design.liquid.film_thickness, design.dimension(key).kind)} lies "
            f"on top of {key}: only the sum of both is measured"
        )
    return tuple(found)


def _alternatives(
    design: Design,
    key: str,
    wanted: float,
    gain: float,
    tension: float,
    variants: VariantSolver,
) -> tuple[Alternative, ...]:
    """How far every other toleranced quantity would have to move for a change of log(onset)."""
    others = [d for d in design.dimensions() if d.tolerance and d.key != key and _acts(d)]
    shifts = variants.shifts(tolerance_ends(others), "other explanations")
    found = []
    for k, d in enumerate(others):
        low, high = shifts[2 * k], shifts[2 * k + 1]
        if isinstance(low, str) or isinstance(high, str):
            continue
        slope = 0.5 * math.log(high.ratio / low.ratio)  # per tolerance
        if abs(slope) < _LEAST_SHIFT:
            continue
        move = wanted / slope
        unit = {"degC": "K", "°C": "K"}.get(d.unit, d.unit)
        text = as_text(move * _half(d), d.kind, unit)
        sign = "" if text.startswith("-") else "+"
        number, _, name = text.partition(" ")
        text = f"{sign}{float(number):.3g} {name}"
        found.append(Alternative(d.key, d.label, d.text, move * _half(d), text, abs(move)))
    relative = wanted / gain
    found.append(
        Alternative(
            "surface_tension",
            f"surface tension of {design.metal.name}",
            _tension_text(design),
            relative,
            f"{100.0 * relative:+.3g} %",
            abs(relative) / tension if tension > 0.0 else math.inf,
        )
    )
    return tuple(sorted(found, key=lambda one: one.in_tolerances))


def _tension_text(design: Design) -> str:
    return f"{design.surface_tension:.3g} N/m"


def _acts(dimension: Dimension) -> bool:
    return dimension.key.startswith(("emitter.", "accelerator.", "liquid."))


def _half(dimension: Dimension) -> float:
    return float(dimension.tolerance or 0.0)
