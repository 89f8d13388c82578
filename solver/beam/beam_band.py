"""The beam at the expected current and at both ends of its band, with its numerical error."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ConvergenceError
from conegap.geometries.quantities.notebook import brief
from conegap.solver.beam.ion_beam import Beam, compute_beam
from conegap.solver.beam.launch import LaunchModel
from conegap.solver.beam.lockstep import Job, followed, side_by_side
from conegap.solver.common.display_units import current_text
from conegap.solver.field.solution import FieldSolution

__all__ = ["BeamBand", "BeamErrors", "BeamPoint", "beam_band"]

# Paths and mesh: of the needle's half angle of 26.0 degrees at 69 uA the first mesh lacks 0.6, the
# second 0.3, the third 0.15, while 200 or 1600 paths change 0.001.
_IONS, _LEVEL = 400, 1
# The first mesh with 200 paths, when time counts.
_QUICK_IONS, _QUICK_LEVEL = 200, 0


# Where the field of the drawn edge turns round under the charge: one radius off the surface the
# half angle of a tip's beam is the same within a tenth at currents that both can carry.
_OUTER_LAUNCH = LaunchModel(start_distance=1.0)


@dataclass(frozen=True)
class BeamPoint:
    """What a beam is asked for.

    Parameters
    ----------
    current : float
        Of the emitter in the section, one tip or the whole slit; 0 where none flows, [A].
    emitter_voltage : float
        Emitter against ground at that current, [V].
    """

    current: float
    emitter_voltage: float


@dataclass(frozen=True)
class BeamErrors:
    """Estimated numerical errors of the beam at the expected current.

    Each is the error of the mesh plus what half as many paths change on the coarsest mesh; the
    rounds of charge and paths end far below.  The edge of a beam is a jump of its charge, which a
    mesh smears over a cell, so that what the charge adds is of first order in the spacing: its
    error is the difference from a mesh of half the spacing twice over, or from one of twice the
    spacing once.  The error of the paths without charge has often the other sign and is estimated
    alike, on its own.

    Parameters
    ----------
    half_angle : float
        Of the half angle that holds 95 % of what leaves, [rad].
    filling, intercepted : float
        [-].

    All are nan where another mesh has no steady beam of this current.
    """

    half_angle: float
    filling: float
    intercepted: float


@dataclass(frozen=True)
class BeamBand:
    """Beams at the currents of a band.

    Parameters
    ----------
    nominal : Beam
        At the expected current; without charge where no current is known or none is steady.
    ends : tuple of Beam or None
        At the lowest and the highest current; None where there is no steady beam.  Empty where
        the nominal beam has no charge.
    points : tuple of BeamPoint
        Expected, lowest and highest.
    errors : BeamErrors or None
        None where the nominal beam has no charge.
    notes : tuple of str
        Why there is no beam at a current of the band.
    """

    nominal: Beam
    ends: tuple[Beam | None, ...]
    points: tuple[BeamPoint, ...]
    errors: BeamErrors | None
    notes: tuple[str, ...] = ()

    __repr__ = brief

    @property
    def complete(self) -> bool:
        """Whether there is a beam with its charge at every current of the band."""
        return bool(self.ends) and all(beam is not None for beam in self.ends)

    @property
    def beams(self) -> tuple[Beam, ...]:
        """Those there are, the expected one first."""
        return (self.nominal, *(beam for beam in self.ends if beam is not None))

    def as_dict(self) -> dict[str, Any]:
        """Keys of the results contract: the beam, its band and its errors."""
        errors = self.errors
        return {
            **self.nominal.as_dict(),
            "beam_band": [
                {
                    "current_A": point.current,
                    "beam_half_angle_95_rad": _number(beam.half_angle_95),
                    "beam_opening_filled": None if beam.filling is None else _number(beam.filling),
                    "intercepted_fraction": beam.intercepted,
                    "thrust_share": _number(beam.thrust_share),
                }
                for point, beam in zip(self.points, (self.nominal, *self.ends), strict=False)
                if beam is not None
            ],
            "beam_numerical_errors": None
            if errors is None
            else {
                "beam_half_angle_95_rad": _number(errors.half_angle),
                "beam_opening_filled": _number(errors.filling),
                "intercepted_fraction": _number(errors.intercepted),
            },
        }


def beam_band(
    design: Design,
    solution: FieldSolution,
    points: Sequence[BeamPoint],
    *,
    quick: bool = False,
) -> BeamBand:
    """Beams with their own charge at the expected, the lowest and the highest current.

    Parameters
    ----------
    solution : FieldSolution
        Of ``design.section()``.
    points : sequence of BeamPoint
        Expected, lowest, highest.
    quick : bool
        On a coarser mesh and with fewer paths; the errors say what that costs.

    Raises
    ------
    DesignError
        The edges hold ions back or have no radius.
    """
    ions = _QUICK_IONS if quick else _IONS
    level = min(_QUICK_LEVEL if quick else _LEVEL, len(solution.levels) - 1)
    expected = points[0]

    def at(
        point: BeamPoint,
        emission: LaunchModel | None,
        charge: FloatArray | None = None,
        count: int = ions,
        mesh: int = level,
    ) -> Job[Beam]:
        return compute_beam(
            design,
            solution,
            current=point.current,
            emitter_voltage=point.emitter_voltage,
            emission=emission,
            ions=count,
            level=mesh,
            charge=charge,
        )

    def beam_at(point: BeamPoint, start: Beam | None = None) -> Job[tuple[Beam | None, str]]:
        """The beam of a point, and a note on how it was found or why there is none."""
        if not point.current > 0.0:
            return None, ""
        charge = None
        if start is not None and start.charge is not None:
            charge = start.charge.density * (point.current / expected.current)
        try:
            return (yield from at(point, None, charge)), ""
        except ConvergenceError:
            pass
        try:
            beam = yield from at(point, _OUTER_LAUNCH, charge)
        except ConvergenceError as error:
            return None, str(error)
        return beam, (
            f"the drawn edge cannot carry {current_text(point.current)}, which only a cusp of the "
            "liquid can: at that current the ions are followed from one edge radius off the surface"
        )

    nominal, note = followed(beam_at(expected))
    if nominal is None or nominal.charge is None:
        bare = nominal or followed(
            compute_beam(
                design, solution, emitter_voltage=expected.emitter_voltage, ions=ions, level=level
            )
        )
        return BeamBand(bare, (), tuple(points), None, (note,) if note else ())
    launch = nominal.emission
    other = min(1 if level == 0 else 0, len(solution.levels) - 1)

    def again(count: int, mesh: int) -> Job[tuple[Beam | None, str]]:
        """The expected beam on a mesh; none so close to the limit of the edge that this mesh has
        no steady one."""
        try:
            return (yield from at(expected, launch, None, count, mesh)), ""
        except ConvergenceError:
            return None, ""

    *found, (second, _), (few, _) = side_by_side(
        [*(beam_at(p, nominal) for p in points[1:]), again(ions, other), again(ions // 2, 0)]
    )
    errors = BeamErrors(math.nan, math.nan, math.nan)
    if second is not None and few is not None:
        errors = _errors(nominal, second, few, finer=level < other, coarse=level == 0)
    notes = tuple(text for text in (note, *(text for _, text in found)) if text)
    return BeamBand(nominal, tuple(beam for beam, _ in found), tuple(points), errors, notes)


def _errors(nominal: Beam, second: Beam, few: Beam, *, finer: bool, coarse: bool) -> BeamErrors:
    """Changes by another mesh, ``finer`` than the nominal beam's or not, and by half the paths, on
    the coarsest mesh of both: that of the nominal beam if that is ``coarse``."""
    many = nominal if coarse else second

    def error(whole: Callable[[Beam], float], bare: Callable[[Beam], float]) -> float:
        alone = abs(bare(second) - bare(nominal))
        added = abs(whole(second) - bare(second) - whole(nominal) + bare(nominal))
        by_mesh = (alone + added) * (2.0 if finer else 1.0)
        return float(by_mesh + abs(whole(few) - whole(many)))

    return BeamErrors(
        half_angle=error(
            lambda beam: beam.half_angle_95,
            lambda beam: math.nan if beam.charge is None else beam.charge.bare_half_angle,
        ),
        filling=error(
            lambda beam: _or_nan(beam.filling),
            lambda beam: math.nan if beam.charge is None else _or_nan(beam.charge.bare_filling),
        ),
        intercepted=error(lambda beam: beam.intercepted, lambda _: 0.0),
    )


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _number(value: float) -> float | None:
    """None in place of what JSON does not know."""
    return value if math.isfinite(value) else None
