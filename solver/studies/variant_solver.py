"""Onsets of changed designs by the criterion in use, rigid or turning point, to be compared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from conegap.geometries.design.design import Design
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.liquid_section import MeniscusOnset
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.studies.budget import rigid_tension_gain
from conegap.solver.studies.scan import Changes, onset_of_variants
from conegap.solver.studies.turning_variants import (
    TENSION,
    TurningStart,
    drawn_liquid_mesh,
    turning_voltages,
)

__all__ = ["VariantSolver"]

# Change of the surface tension for a central difference: well above the scatter of the solves,
# and its square is negligible.
_SMALL = 0.02


@dataclass(frozen=True)
class VariantSolver:
    """Solves variants of a design in one way, so that their ratios are like with like.

    Parameters
    ----------
    design : Design
    meniscus : MeniscusOnset or None
        Turning point of the drawn design where that is the onset; None for the rigid surface.
    progress : callable or None
    """

    design: Design
    meniscus: MeniscusOnset | None
    progress: Progress | None

    def voltages(self, variants: Sequence[Changes], what: str) -> list[float | str]:
        """Onset voltage of every variant on two meshes, or why there is none, [V].

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)
        what : str
            What the progress is called.

        Raises
        ------
        ComputationError
            A process that was solving ended early.
        """
        if self.meniscus is not None:
            start = TurningStart.of(self.meniscus)
            return turning_voltages(
                self.design,
                variants,
                start,
                near=self._drawn_mesh,
                progress=self.progress,
                what=what,
            )
        results = onset_of_variants(self.design, variants, progress=self.progress, what=what)
        return [r if isinstance(r, str) else r.voltage for r in results]

    @cached_property
    def _drawn_mesh(self) -> CoarseMesh:
        """Of the drawn design's turning point."""
        assert self.meniscus is not None
        return drawn_liquid_mesh(self.design, TurningStart.of(self.meniscus))

    def tension_gain(self, rigid: RigidOnset) -> float:
        """d ln V / d ln gamma: of the turning point where it is found again, else rigid, [-].

        Parameters
        ----------
        rigid : RigidOnset
            Of the drawn design.
        """
        if self.meniscus is not None:
            ends: list[Changes] = [((TENSION, 1.0 + sign * _SMALL),) for sign in (-1.0, 1.0)]
            low, high = self.voltages(ends, "surface tension")
            if not isinstance(low, str) and not isinstance(high, str):
                return math.log(high / low) / (2.0 * _SMALL)
        return 0.5 * rigid_tension_gain(rigid)
