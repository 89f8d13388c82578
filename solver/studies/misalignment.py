"""What an accelerator beside the emitter's axis or askew does to the onset.

The liquid at the very end of a tip sees its surroundings through the one number that scales its
field, so that every onset of the aligned section, rigid or turning point, is divided by the factor
of the solve in three dimensions.  The field's lateral part is of first order and bends the liquid
to one side; what that does to the onset is of second order, and is not solved.

The law of the second order is that of the drawn design; changed designs keep it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError, MeshError
from conegap.geometries.quantities.notebook import brief
from conegap.geometries.solids.half_space import half_space
from conegap.solver.common.progress import Progress
from conegap.solver.field3d.askew_field import AskewField, AskewLaw
from conegap.solver.studies.variants import Changes

__all__ = ["Misalignment", "misalignment_of"]

# Least offset, over the radius of the sphere about the tip, and least tilt from which the law is
# solved: what smaller ones do is no more than the rounding of the mesh.
_LEAST_OFFSET = 0.15
_LEAST_TILT = math.radians(2.0)
# The aligned field of a mesh that lies further off the section's is not to be trusted: the shipped
# needle and capillary lie 8e-4 off, [-].
_MOST_OFF = 0.01


@dataclass(frozen=True)
class Misalignment:
    """Offset and tilt of a design's accelerator; build with `misalignment_of`.

    Parameters
    ----------
    section_per_volt : float
        Field per volt at the tip of the aligned section, [1/m].
    progress : callable or None
    """

    design: Design
    section_per_volt: float
    progress: Progress | None = field(default=None, compare=False)

    __repr__ = brief

    @property
    def place(self) -> tuple[float, float]:
        """Offset and tilt as drawn, [m] and [rad]."""
        return self.design.accelerator.askew

    @property
    def limits(self) -> tuple[float, float]:
        """How far offset and tilt go with their tolerances, [m] and [rad]."""
        offset, tilt = (
            abs(drawn) + self.design.tolerance(key)
            for key, drawn in zip(self.design.askew_keys, self.place, strict=True)
        )
        return offset, tilt

    @property
    def stated(self) -> bool:
        """Whether the drawing gives an offset, a tilt or a tolerance of one."""
        return any(self.limits)

    @cached_property
    def solved(self) -> AskewField:
        """The half space about the emitter.

        Raises
        ------
        GeometryError
            The design has no such half space.
        MeshError, ConvergenceError
            It could not be solved, or lies too far off the section.
        """
        design = self.design
        weights = {
            "emitter": design.voltages.emitter / design.voltage,
            "accelerator": design.voltages.accelerator / design.voltage,
            "chamber": 0.0,
        }
        found = AskewField(half_space(design.section()), weights, design.gap, self.progress)
        off = found.at_tip() / self.section_per_volt - 1.0
        if not abs(off) < _MOST_OFF:
            raise MeshError(
                f"the tip's field in three dimensions lies {off:+.2%} off that of the section, "
                f"more than {_MOST_OFF:.0%}: offset and tilt of the accelerator cannot be computed "
                "for this emitter; leave them and their tolerances out"
            )
        return found

    @cached_property
    def law(self) -> AskewLaw:
        """Of the second order, as far as the drawn values reach with their tolerances; without what
        offset and tilt do together where both are drawn as zero.

        Raises
        ------
        GeometryError, MeshError, ConvergenceError
            See `solved`.
        """
        return self._law(self._drawn_reach, any(self.place))

    @cached_property
    def factor(self) -> float:
        """Field at the tip of the drawn design over that of the aligned one, [-].

        Raises
        ------
        GeometryError, MeshError, ConvergenceError
            See `solved`.
        """
        return self.law.factor(*self.place) if any(self.place) else 1.0

    @property
    def error(self) -> float:
        """Relative numerical error of the factor, [-]."""
        return self.law.error(*self.place) if any(self.place) else 0.0

    @cached_property
    def accelerator_factor(self) -> float:
        """Greatest field on the accelerator as drawn over that of the aligned one, [-].

        Raises
        ------
        GeometryError, MeshError, ConvergenceError
            See `solved`.
        """
        return self.solved.accelerator_ratio(*self.place) if any(self.place) else 1.0

    def as_dict(self) -> dict[str, float]:
        """For the results contract, SI."""
        return {
            "lateral_offset_m": self.place[0],
            "tilt_rad": self.place[1],
            "field_over_aligned": self.factor,
            "numerical_error": self.error,
            "accelerator_field_over_aligned": self.accelerator_factor,
            "offset_coefficient_1_per_m2": self.law.offset,
            "tilt_coefficient_1_per_rad2": self.law.tilt,
            "offset_tilt_coefficient_1_per_m_rad": self.law.both,
        }

    def factors(self, variants: Sequence[Changes]) -> list[float]:
        """Field at the tip of every variant over that of the aligned design, [-].

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)

        Raises
        ------
        GeometryError, MeshError, ConvergenceError
            See `solved`.
        """
        places = [self._place_of(changes) for changes in variants]
        if all(place == self.place for place in places):
            return [self.factor] * len(variants)
        reach = self._drawn_reach
        for changes, place in zip(variants, places, strict=True):
            # A variant that is refused is not solved, and must not stretch the law.
            with suppress(DesignError):
                self.design.with_values(self._own(changes))
                reach = _farther(reach, self._at_least(place))
        law = self._law(reach, any(all(place) for place in (self.place, *places)))
        drawn = self.factor / law.factor(*self.place)
        return [drawn * law.factor(*place) for place in places]

    def _own(self, changes: Changes) -> Changes:
        return tuple(one for one in changes if one[0] in self.design.askew_keys)

    def _place_of(self, changes: Changes) -> tuple[float, float]:
        known = dict(changes)
        offset, tilt = (
            known.get(key, drawn)
            for key, drawn in zip(self.design.askew_keys, self.place, strict=True)
        )
        return offset, tilt

    @cached_property
    def _drawn_reach(self) -> tuple[float, float]:
        """Where the law of the drawn design is solved, [m] and [rad]."""
        return self._at_least(self.limits)

    def _at_least(self, place: tuple[float, float]) -> tuple[float, float]:
        """Where the law is solved for a place."""
        offset, tilt = (abs(value) for value in place)
        if offset:
            sphere = half_space(self.design.section()).tips[0].reach
            offset = max(offset, _LEAST_OFFSET * sphere)
        return offset, max(tilt, _LEAST_TILT) if tilt else 0.0

    def _law(self, reach: tuple[float, float], both: bool) -> AskewLaw:
        return self.solved.law(*reach, both=both)


def _farther(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return max(one[0], other[0]), max(one[1], other[1])


def misalignment_of(
    design: Design, section_per_volt: float, progress: Progress | None = None
) -> Misalignment | None:
    """Offset and tilt of a design's accelerator, or None where they are not solved.

    Parameters
    ----------
    section_per_volt : float
        Field per volt at the tip of the aligned section, [1/m].
    progress : callable or None
    """
    if not design.askew_keys:
        return None
    return Misalignment(design, section_per_volt, progress)
