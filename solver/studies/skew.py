"""The free surface of a slit that is not its own mirror image.

A lip that is raised and a slot that is moved aside turn and strain the field at the liquid; turning
it the other way is the same in the mirror.  So the onset of the surface between the lips changes in
second order only, while the field of each lip changes in first.  The mean of both lips' fields
keeps the second order: the onset is that of the aligned slit, followed with its contact lines,
over the ratio of the mean to the field of an aligned lip.  The rest of the second order is not
solved; a liquid that felt the greater field alone, as a rigid lip does, bounds it from below.

On the shipped slit a slot moved aside by 50, 100 and 200 um raises the mean by 4, 17 and 67 parts
in 10,000; lips out of line by 0.2 um each lower it by 22 and set the greater 1.9 % above it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.design.alignment import aligned
from conegap.geometries.design.design import Design
from conegap.solver.field.electrodes import per_volt
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.liquid.liquid_section import moves

__all__ = ["Skew", "skew_of"]


@dataclass(frozen=True)
class Skew:
    """A slit out of line beside the aligned one.

    Parameters
    ----------
    aligned : Design
    factor : float
        Mean field of both lips over that of an aligned lip, [-].
    lopsided : float
        By what share the mean lies below the greater of both, [-].
    """

    aligned: Design
    factor: float
    lopsided: float

    @property
    def remark(self) -> str:
        """What the reader must know."""
        return (
            "emitter and accelerator are out of line: the free surface is that of the aligned slit "
            f"in {self.factor:.4f} times its field, the mean of both lips; the one lip has "
            f"{self.lopsided:.2%} more field than the mean, which the band holds downward"
        )


def skew_of(design: Design, solution: FieldSolution, accuracy: float) -> Skew | None:
    """What is out of line, or None for a design that is its own mirror image, or has no aligned
    counterpart whose surface is free.

    Parameters
    ----------
    solution : FieldSolution
        Of the design's section.
    accuracy : float
        Relative numerical error wanted in the field of the aligned lip, [-].

    Raises
    ------
    DesignError
        The aligned design cannot be built.
    MeshError, ConvergenceError
        Its field could not be solved.
    """
    straight = aligned(design)
    if straight is design or not moves(straight):
        return None
    # The liquid is drawn level with the lower lip: the fields are compared at the same depth.
    level = design.emitter.aligned_level
    deep = straight if level is None else straight.with_value(*level)
    beside = solve_field(deep.section(), accuracy=accuracy)
    fields, (flush,) = (
        [one.edge(edge.name, per_volt(of, one.electrodes)).value for edge in one.section.edges]
        for of, one in ((design, solution), (deep, beside))
    )
    mean = float(np.mean(fields))
    return Skew(straight, mean / flush, 1.0 - mean / max(fields))
