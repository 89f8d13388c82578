"""In which order the tips of a crown fire, and at what voltage all of them do.

No two tips are alike.  Each one's own radius sets the field it needs and the field it has; its own
height and those of its neighbours change that field to first order, its place beside the slot to
second order.  The changes are computed once and then sampled over the tolerances.  A tip that has
fired is taken to leave the others' fields as they were.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.common.progress import Progress
from conegap.solver.field.solution import solve_field
from conegap.solver.field3d.influence import height_influence
from conegap.solver.field3d.sector_factor import SectorOnset, per_volt_weights, sector_onset
from conegap.solver.onset.rigid import RigidOnset, rigid_onset_of_solution
from conegap.solver.studies.variants import onset_of_variants

__all__ = ["Firing", "FiringLaws", "firing_laws", "influence_matrix", "sampled_firing"]

# Crowns drawn: the 5th and 95th percentiles are then sure to half a percent of their rank
# (binomial).
_SAMPLES = 2000
# Any fixed number, so that a report repeats.
_SEED = 20_264_711
# Of the tips' height or the gap, whichever is less, to either side: large against the noise of
# new meshes (7e-4), small against the curvature.
_HEIGHT_STEP = 0.05
# Of the slot's width; the same reason.
_SIDE_STEP = 0.05


@dataclass(frozen=True)
class FiringLaws:
    """How a tip's onset follows from what is its own; build with `firing_laws`.

    Parameters
    ----------
    voltage : float
        Onset of a crown of equal tips, [V].
    radii, ratios : (k,) arrays
        Tip radii, [m], and onset over that of the drawn radius, [-].
    together : float
        Relative change of every tip's field per height by which all tips rise, [1/m].
    influence : (m,) array
        The same per height by which one neighbour rises, nearest first, [1/m].
    sideways : tuple of float
        First and second derivative of the logarithm of the field with the distance by which a
        tip stands outward of the slot's middle, [1/m] and [1/m^2].
    """

    voltage: float
    radii: FloatArray
    ratios: FloatArray
    together: float
    influence: FloatArray
    sideways: tuple[float, float]

    def radius_ratio(self, radius: FloatArray) -> FloatArray:
        """Onset of tips of other radii over that of the drawn one, (n,) array.

        Parameters
        ----------
        radius : (n,) array
            [m].
        """
        if len(self.radii) < 2:
            return np.ones_like(radius)
        return np.asarray(np.exp(CubicSpline(self.radii, np.log(self.ratios))(radius)))


@dataclass(frozen=True)
class Firing:
    """Onsets of the tips of a crown, sampled over the tolerances.

    Parameters
    ----------
    first, median, last : tuple of float
        Voltage at which the first tip fires, at which half of them do and at which all do: 5 %,
        50 % and 95 % of the sampled crowns, [V].
    voltages : (n,) array
        [V].
    fraction : (3, n) array
        Fraction of the tips lit at each voltage: 5 %, mean and 95 % of the crowns, [-].
    example : (tips,) array
        Onset of each tip of one crown drawn at random, [V].
    typical : (tips,) array
        Onset of the tip that fires first, second and so on: median of the crowns, [V].
    radius_scatter, height_scatter, offset : float
        Half widths of the uniform scatter of radius and height from tip to tip, and the slot's
        offset, [m].
    samples : int
        Crowns sampled.
    """

    first: tuple[float, float, float]
    median: tuple[float, float, float]
    last: tuple[float, float, float]
    voltages: FloatArray
    fraction: FloatArray
    example: FloatArray
    typical: FloatArray
    radius_scatter: float
    height_scatter: float
    offset: float
    samples: int

    def lit_share(self, voltage: float) -> float:
        """Mean fraction of the tips lit at a voltage, [-].

        Parameters
        ----------
        voltage : float
            Across the gap, [V].
        """
        return float(np.interp(voltage, self.voltages, self.fraction[1], left=0.0, right=1.0))

    @property
    def order(self) -> tuple[int, ...]:
        """Numbers of the tips of the example in the order in which they fire, from 1."""
        return tuple(int(k) + 1 for k in np.argsort(self.example))


def influence_matrix(laws: FiringLaws, tips: int) -> FloatArray:
    """Relative change of the field at each tip per height of each tip, (tips, tips) array, [1/m].

    Every row adds up to the change when all tips rise together.

    Parameters
    ----------
    tips : int
        Number of tips on the ring.
    """
    row = np.zeros(tips)
    for k, value in enumerate(laws.influence[: tips // 2], start=1):
        for place in {k % tips, -k % tips}:
            row[place] = value
    row[0] = laws.together - row[1:].sum()
    return np.asarray([np.roll(row, k) for k in range(tips)])


def firing_laws(
    design: Design, sector: SectorOnset, voltage: float, progress: Progress | None = None
) -> FiringLaws:
    """What decides a tip's onset, from solves of the crown and of one tip alone.

    Parameters
    ----------
    design : Design
        A crown.
    sector : SectorOnset
        Of the design as drawn.
    voltage : float
        Its onset by the criterion in use, [V].
    progress : callable or None

    Raises
    ------
    DesignError
        The design is no crown, or cannot be built with a changed height.
    MeshError, ConvergenceError
        A field could not be computed.
    """
    emitter = design.emitter
    if emitter.arrangement != "ring":
        raise DesignError(f"firing order: a {emitter.kind} has no ring of tips")
    if progress is not None:
        progress("firing order", 0, 4)
    radii, ratios = _radius_law(design)
    if progress is not None:
        progress("firing order", 1, 4)
    weights = per_volt_weights(design, sector.solution)
    influence = np.zeros(0)
    if emitter.count > 1:
        solved = sector.solution
        influence = height_influence(solved.sector, solved.levels[0], weights, solved.levels[1:])
    if progress is not None:
        progress("firing order", 2, 4)
    step = _HEIGHT_STEP * min(emitter.height, design.gap)
    ends = onset_of_variants(
        design,
        [
            (
                ("emitter.tip_height", emitter.height + sign * step),
                ("accelerator.gap", design.gap - sign * step),
            )
            for sign in (-1.0, 1.0)
        ],
        what="firing order: all tips raised",
    )
    low, high = (_voltage_of(end) for end in ends)
    if progress is not None:
        progress("firing order", 3, 4)
    sideways = (0.0, 0.0)
    if any(_offset(design)):
        sideways = _sideways(design, sector)
    if progress is not None:
        progress("firing order", 4, 4)
    together = -math.log(high / low) / (2.0 * step)
    return FiringLaws(voltage, radii, ratios, together, influence, sideways)


def _voltage_of(end: RigidOnset | str) -> float:
    if isinstance(end, str):
        raise DesignError(f"firing order: the crown cannot be computed with other heights: {end}")
    return end.voltage


def _offset(design: Design) -> tuple[float, float]:
    """The slot's offset and its tolerance, [m]."""
    if design.accelerator.ring_slot(design.gap) is None:
        return 0.0, 0.0
    drawn = design.dimension("accelerator.lateral_offset")
    return drawn.value, drawn.tolerance or 0.0


def _radius_law(design: Design) -> tuple[FloatArray, FloatArray]:
    """Onset over tip radius of one tip alone, in units of the drawn one's."""
    drawn = design.dimension("emitter.tip_radius")
    scatter = drawn.tolerance or 0.0
    if scatter == 0.0:
        return np.array([drawn.value]), np.ones(1)
    radii = drawn.value + scatter * np.linspace(-1.0, 1.0, 5)
    found = []
    for radius in radii:
        other = design.with_value("emitter.tip_radius", float(radius))
        solution = solve_field(other.section(), meshes=2)
        found.append(rigid_onset_of_solution(other, solution).voltage)
    return radii, np.array(found) / found[2]


def _sideways(design: Design, sector: SectorOnset) -> tuple[float, float]:
    """Derivatives of the logarithm of the field with a tip's place across the slot."""
    pitch = design.dimension("emitter.pitch_diameter").value
    step = _SIDE_STEP * (design.accelerator.opening or 0.0)
    logs = []
    for sign in (-1.0, 0.0, 1.0):
        other = design.with_value("emitter.pitch_diameter", pitch + 2.0 * sign * step)
        solved = sector_onset(other, 1.0, near=sector.meshes) if sign else sector.first_meshes(2)
        assert solved is not None
        logs.append(math.log(solved.tips[0].per_volt.value))
    first = (logs[2] - logs[0]) / (2.0 * step)
    return first, (logs[2] - 2.0 * logs[1] + logs[0]) / step**2


def sampled_firing(design: Design, laws: FiringLaws, samples: int = _SAMPLES) -> Firing:
    """Sample crowns within their tolerances.

    Radius and height scatter uniformly from tip to tip, within plus or minus the tolerance of
    `tip_radius` and half the `runout`; the slot's offset, from crown to crown, within its own.

    Parameters
    ----------
    design : Design
        A crown.
    samples : int
        Crowns to sample, [-].

    Raises
    ------
    DesignError
        The design is no crown.
    """
    emitter = design.emitter
    if emitter.arrangement != "ring":
        raise DesignError(f"firing order: a {emitter.kind} has no ring of tips")
    offset, play = _offset(design)
    tip = design.dimension("emitter.tip_radius")
    scatter, runout = tip.tolerance or 0.0, design.dimension("emitter.runout").value
    generator = np.random.default_rng(_SEED)
    shape = (samples, emitter.count)
    radius = tip.value + scatter * generator.uniform(-1.0, 1.0, shape)
    height = 0.5 * runout * generator.uniform(-1.0, 1.0, shape)
    azimuth = 2.0 * math.pi * np.arange(emitter.count) / emitter.count
    aside = offset + play * generator.uniform(-1.0, 1.0, (samples, 1))
    outward = -aside * np.cos(azimuth)
    change = height @ influence_matrix(laws, emitter.count).T
    change = change + laws.sideways[0] * outward + 0.5 * laws.sideways[1] * outward**2
    ratio = laws.radius_ratio(radius.ravel()).reshape(shape)
    onset = np.sort(laws.voltage * ratio * np.exp(-change), axis=1)
    example = laws.voltage * ratio[0] * np.exp(-change[0])
    levels = np.linspace(0.995 * onset.min(), 1.005 * onset.max(), 201)
    lit = np.stack([np.searchsorted(row, levels, side="right") for row in onset]) / emitter.count
    middle = onset[:, (emitter.count - 1) // 2]
    return Firing(
        first=_percentiles(onset[:, 0]),
        median=_percentiles(middle),
        last=_percentiles(onset[:, -1]),
        voltages=levels,
        fraction=np.stack(
            [np.percentile(lit, 5.0, axis=0), lit.mean(axis=0), np.percentile(lit, 95.0, axis=0)]
        ),
        example=example,
        typical=np.median(onset, axis=0),
        radius_scatter=float(scatter),
        height_scatter=0.5 * runout,
        offset=offset,
        samples=samples,
    )


def _percentiles(values: FloatArray) -> tuple[float, float, float]:
    low, middle, high = np.percentile(values, [5.0, 50.0, 95.0])
    return float(low), float(middle), float(high)
