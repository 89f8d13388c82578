"""Tolerance stack-up: how the tolerances of a drawing scatter the onset, and which one matters.

Every toleranced dimension is moved to both ends of its tolerance by a field solve of its own, a
quadratic response surface of log(onset) is fitted and proved on solves held out
(`response_surface`), and the response surface is sampled: each tolerance rectangular over its
plus-minus range (JCGM 100:2008, 4.3.7) or normal with the tolerance as two standard deviations,
the surface tension normal, the numerical error and the distance of the walls rectangular.

Every changed design is solved on two meshes: those of the drawn design, moved smoothly with the
dimensions, so that shifts carry no noise of meshing. Where the mesh cannot follow (an offset that
breaks the symmetry of the drawn half; the third dimension of crowns and arrays) it is made anew,
and the scatter of that is part of the response surface's error. Where the onset is the turning
point of a free surface, every changed design's turning point is solved; one that is not found is
shifted as the rigid surface's, and a warning says so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.geometries.quantities.notebook import data_frame, html_table
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.free_surface import RIGID, OnsetCriterion
from conegap.solver.studies.end_shift import ENDS
from conegap.solver.studies.nominal import Nominal
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.response_surface import (
    ResponseSurface,
    build_response_surface,
    draw_deviations,
)
from conegap.solver.studies.solve_cache import SolveCache
from conegap.solver.studies.tolerance_shares import Share, other_samples, shares
from conegap.solver.studies.variants import Changes, all_follow, tolerance_ends

__all__ = [
    "MESH_NOISE",
    "MOVED_NOISE",
    "SECTOR_NOISE",
    "TURNING_NOISE",
    "OnsetOf",
    "ToleranceStudy",
    "stack_up",
    "tolerate",
]

MOVED_NOISE = 3e-6
"""Scatter of log(onset) where the drawn design's mesh follows; measured: below 1e-8 about smooth
curves, and Newton's method stops at this."""

MESH_NOISE = 2e-4
"""Scatter from meshing a changed design anew, two meshes; measured on scans."""

TURNING_NOISE = 5e-4
"""The same of a turning point; measured on dimensions of the capillary that hardly matter."""

SECTOR_NOISE = 7e-4
"""The same in three dimensions; measured on the crown, largest residual about smooth curves."""

WORST_HELD_OUT_ERROR = 0.1
"""Largest held-out error of a response surface that is used, in half widths of the band."""

LOW, HIGH = 0.05, 0.95
"""Ends of the band, [-]."""


# What changes an emitter's section but not the ratio of its ends to its middle.
_BESIDE_ENDS = ("liquid.", "voltages.")

OnsetOf = Callable[[Sequence[Changes], str], Sequence[float]]
"""Takes variants of a design and what they are for, gives their onset voltages, [V]."""


@dataclass(frozen=True)
class ToleranceStudy:
    """Result of a stack-up; build with `tolerate` or `stack_up`.

    Parameters
    ----------
    dimensions : tuple of Dimension
        Those with a tolerance, in the order of the drawing.
    normal : tuple of bool
        Per dimension: normal, else rectangular.
    shares : tuple of Share
        Largest share of the variance first.
    seed : int
        Of the random numbers.
    noise : float
        Scatter of log(onset) from one solve to the next that was assumed, [-].
    warnings : tuple of str
    """

    nominal: Nominal
    dimensions: tuple[Dimension, ...]
    normal: tuple[bool, ...]
    response_surface: ResponseSurface
    shares: tuple[Share, ...]
    seed: int
    noise: float
    warnings: tuple[str, ...]
    _deviations: FloatArray = field(repr=False, compare=False)
    _other: FloatArray = field(repr=False, compare=False)

    def __repr__(self) -> str:
        low, high = self.band()
        return (
            f"ToleranceStudy({len(self.dimensions)} dimensions; onset {self.nominal.voltage:.6g} V,"
            f" {low:.6g} V to {high:.6g} V at 5 % and 95 %, {self.samples} samples)"
        )

    def _repr_html_(self) -> str:
        low, high = self.band()
        rows = [(s.label, f"{s.low:+.2%}", f"{s.high:+.2%}", f"{s.share:.1%}") for s in self.shares]
        return html_table(
            f"Onset {self.nominal.voltage:.6g} V, {low:.6g} V to {high:.6g} V (5 % to 95 %)",
            rows,
            ("contribution", "at lower end", "at upper end", "share of the variance"),
        )

    def to_dataframe(self) -> Any:
        """The contributions as a pandas data frame, the largest first, as in `Share`.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        lines = [asdict(line) for line in self.shares]
        low, high = self.band()
        columns = {name: [line[name] for line in lines] for name in Share.__annotations__}
        return data_frame(
            columns, onset_V=self.nominal.voltage, voltage_low_V=low, voltage_high_V=high
        )

    @property
    def samples(self) -> int:
        """Number of samples."""
        return len(self._other)

    def voltages(self, scales: FloatArray | None = None) -> FloatArray:
        """Sampled onsets, (n,) array, [V].

        Parameters
        ----------
        scales : (d,) array or None
            Factors on the tolerances; the same random numbers are used for all factors, [-].
        """
        x = self._deviations if scales is None else self._deviations * scales
        return np.asarray(self.nominal.voltage * np.exp(self.response_surface(x) + self._other))

    def band(self, scales: FloatArray | None = None) -> tuple[float, float]:
        """5 % and 95 % of the sampled onsets, [V].

        Parameters
        ----------
        scales : (d,) array or None
            Factors on the tolerances, [-].
        """
        low, high = np.quantile(self.voltages(scales), [LOW, HIGH])
        return float(low), float(high)

    @property
    def half_width(self) -> float:
        """Half of the band over the drawn onset, [-]."""
        low, high = self.band()
        return (high - low) / (2.0 * self.nominal.voltage)

    def chance_above(self, voltage: float) -> float:
        """Share of the sampled onsets above a voltage, [-].

        Parameters
        ----------
        voltage : float
            [V].
        """
        return float(np.mean(self.voltages() > voltage))


def tolerate(
    design: Design,
    *,
    criterion: OnsetCriterion = "automatic",
    normal: tuple[str, ...] = (),
    samples: int = 100_000,
    seed: int = 1,
    kept: SolveCache | None = None,
    progress: Progress | None = None,
) -> ToleranceStudy:
    """Stack-up of a design by field solves.

    Parameters
    ----------
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`.
    normal : tuple of str
        Keys of dimensions whose deviations are normal; "all" for every one.
    samples : int
    seed : int
    kept : SolveCache or None
        Solves of an earlier run, and where new ones are kept.
    progress : callable or None
        Called with (what, steps done, steps in all).

    Raises
    ------
    DesignError
        No dimension has a tolerance, a key is unknown, or the design cannot be computed somewhere
        within its tolerances.
    MeshError, ConvergenceError, ContinuationError
        The onset of the drawn design could not be computed.
    ComputationError
        The response surface is too poor to be used.
    """
    dimensions = toleranced(design, normal)
    onset = solve_onset(design, criterion=criterion, kept=kept, progress=progress)
    nominal = onset.nominal()
    notes = [*onset.earliest_notes, *([onset.remark] if onset.remark else [])]
    study = stack_up(
        design,
        _solved(onset, nominal, notes),
        nominal,
        normal=normal,
        samples=samples,
        seed=seed,
        noise=_noise(design, dimensions, onset.criterion),
        warnings=(*design.warnings, *onset.remarks),
    )
    return replace(study, warnings=(*study.warnings, *dict.fromkeys(notes)))


def _solved(onset: Onset, nominal: Nominal, notes: list[str]) -> OnsetOf:
    """Onsets of variants by solves; notes get what one had to fall back to.

    Where the ends of a slit come first in the drawn design, they do in every variant.
    """
    ends = onset.ends[0] if nominal.mode.startswith(ENDS) else None
    keys = [d.key for d in toleranced(onset.design) if not d.key.startswith(_BESIDE_ENDS)]
    powers = {} if ends is None else ends.powers(keys)

    def onset_of(variants: Sequence[Changes], what: str) -> list[float]:
        voltages = []
        shifts = onset.variants.shifts(variants, what)
        for changes, shift in zip(variants, shifts, strict=True):
            if isinstance(shift, str):
                words = ", ".join(f"{key} = {value:.6g} (SI)" for key, value in changes)
                raise DesignError(
                    f"with {words}, within the tolerances, the design cannot be computed: {shift}"
                )
            if shift.lost:
                notes.append(f"{shift.lost}; that onset is shifted as the rigid surface's")
            beside = 1.0 if ends is None else ends.near_shift(changes, powers)
            voltages.append(nominal.voltage * shift.ratio * beside)
        return voltages

    return onset_of


def _noise(design: Design, dimensions: tuple[Dimension, ...], criterion: str) -> float:
    """Scatter of log(onset) from one changed design to the next."""
    if design.sector() is not None:
        return SECTOR_NOISE
    if all_follow(design, tolerance_ends(dimensions)):
        return MOVED_NOISE
    return MESH_NOISE if criterion == RIGID else TURNING_NOISE


def toleranced(design: Design, normal: tuple[str, ...] = ()) -> tuple[Dimension, ...]:
    """Dimensions with a tolerance, in the order of the drawing.

    Parameters
    ----------
    normal : tuple of str
        Keys that must be among them; "all" is allowed.

    Raises
    ------
    DesignError
        There are none, or a key is not among them.
    """
    found = tuple(
        d for d in design.dimensions() if d.tolerance and not d.key.startswith(("supply.",))
    )
    if not found:
        raise DesignError(
            f"{design.source}: no dimension has a tolerance, so there is nothing to stack up; "
            'write for instance gap = { value = "1 mm", tolerance = "50 um" }',
            keys=("tolerance",),
        )
    keys = [d.key for d in found]
    for key in normal:
        if key != "all" and key not in keys:
            raise DesignError(
                f"--normal {key}: no dimension of that key has a tolerance here; those that have "
                f"one are {', '.join(keys)}",
                keys=("--normal", key),
            )
    return found


def stack_up(
    design: Design,
    onset: OnsetOf,
    nominal: Nominal,
    *,
    normal: tuple[str, ...] = (),
    samples: int = 100_000,
    seed: int = 1,
    noise: float = MESH_NOISE,
    warnings: tuple[str, ...] = (),
) -> ToleranceStudy:
    """Stack-up with any onset: sensitivities, response surface, samples, ranking.

    Parameters
    ----------
    onset : callable
        Takes variants of the design and a stage's name, gives onset voltages; only their ratios
        to that of the drawn design, the variant (), are used, [V].
    nominal : Nominal
        The drawn design.
    normal : tuple of str
        Keys of dimensions whose deviations are normal; "all" for every one.
    samples, seed : int
    noise : float
        Scatter of log(onset) from one evaluation to the next, [-].
    warnings : tuple of str
        Of what came before.

    Raises
    ------
    DesignError
        As for `tolerate`.
    ComputationError
        The held-out error of the response surface exceeds a tenth of the band's half width.
    """
    dimensions = toleranced(design, normal)
    bell = tuple("all" in normal or d.key in normal for d in dimensions)
    values = np.array([d.value for d in dimensions])
    steps = np.array([float(d.tolerance or 0.0) for d in dimensions])
    drawn: list[float] = []

    def log_onset(deviations: FloatArray, what: str) -> FloatArray:
        variants = [
            tuple(
                (d.key, float(values[k] + x[k] * steps[k]))
                for k, d in enumerate(dimensions)
                if x[k] != 0.0
            )
            for x in deviations
        ]
        first: list[Changes] = [] if drawn else [()]
        found = list(onset([*first, *variants], what))
        if not drawn:
            drawn.append(found.pop(0))
        return np.log(np.array(found) / drawn[0])

    response_surface = build_response_surface(log_onset, bell, noise=noise, seed=seed)
    generator = np.random.default_rng([seed, 2])
    deviations = draw_deviations(bell, samples, generator)
    study = ToleranceStudy(
        nominal=nominal,
        dimensions=dimensions,
        normal=bell,
        response_surface=response_surface,
        shares=shares(dimensions, bell, response_surface, nominal, noise),
        seed=seed,
        noise=noise,
        warnings=warnings,
        _deviations=deviations,
        _other=other_samples(nominal, samples, generator),
    )
    allowed = WORST_HELD_OUT_ERROR * study.half_width
    if response_surface.held_out_error > max(allowed, 1e-9):
        raise ComputationError(
            f"the quadratic fit of the onset misses a design within the tolerances by "
            f"{response_surface.held_out_error:.1e} of the onset, and at most {allowed:.1e}, "
            "a tenth of the band's half width, is allowed: its band would not be right. Where the "
            "tolerances are wide, give smaller ones; where they are so small that the noise of "
            f"meshing, about {noise:.0e}, shows, the onset is as good as not scattered by them",
            cause="misfit",
        )
    return study
