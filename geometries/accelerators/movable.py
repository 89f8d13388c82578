"""Round accelerators, bodies of their own, that may stand beside the emitter's axis or askew."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import ClassVar

from conegap.geometries.accelerators.plate import OpenAccelerator, smaller
from conegap.geometries.parts.part import Offset, Problem, Tilt
from conegap.geometries.parts.setting import length_text

__all__ = ["Movable"]

# Beyond it a plate is no longer one that was meant to stand square, [rad].
_MOST_TILT = math.radians(30.0)


class Movable(OpenAccelerator):
    """An accelerator whose opening may lie beside the emitter's axis and lean away from it.

    `lateral_offset` is the distance of the opening's middle, in the near face, from the emitter's
    axis; `tilt` the angle between both axes, about that middle, in the plane of the offset,
    positive where the opening's axis leans on to the side of a positive offset.
    """

    lateral_offset: Offset = 0.0
    tilt: Tilt = 0.0

    askew_keys: ClassVar[tuple[str, ...]] = ("lateral_offset", "tilt")

    @property
    def askew(self) -> tuple[float, float]:
        return self.lateral_offset, self.tilt

    def problems(self) -> Iterator[Problem]:
        yield from super().problems()
        half = (self.opening or 0.0) / 2.0
        if abs(self.lateral_offset) >= half > 0.0:
            yield Problem(
                "accelerator.lateral_offset",
                f"the opening is moved by more than half its width, {length_text(half)}, so the "
                "emitter faces the metal beside it; "
                + smaller(abs(self.lateral_offset), half, "make it smaller"),
            )
        if abs(self.tilt) > _MOST_TILT:
            yield Problem(
                "accelerator.tilt",
                f"the accelerator leans by {math.degrees(self.tilt):.4g} deg, more than the "
                f"{math.degrees(_MOST_TILT):g} deg for which it is computed; the tilt is 0 for one "
                "that stands square to the emitter's axis",
            )

    def askew_notes(self) -> tuple[str, ...]:
        """What a drawing must say that shows it aligned."""
        if not any(self.askew):
            return ()
        return (
            "The accelerator is drawn aligned: its opening lies "
            f"{length_text(self.lateral_offset)} beside the emitter's axis and leans by "
            f"{math.degrees(self.tilt):.4g} deg.",
        )
